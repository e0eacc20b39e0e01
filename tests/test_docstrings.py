"""What the calculations say of themselves: each what it does, those that others call what they take."""

from __future__ import annotations

import ast
import re
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent


def calculations():
    """(file, its function) of every function of calc that other files may call."""
    for app in ("plant", "installs", "inspections", "reports"):
        for path in sorted((ROOT / app / "calc").glob("*.py")):
            for node in ast.parse(path.read_text(encoding="utf-8")).body:
                if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                    yield path, node


def names_in_parameters(text):
    """What the section of parameters of a docstring names, also several with commas between them."""
    section = re.search(r"^Parameters\n-+\n(.*?)(?=^\w+\n-{3,}|\Z)", text, re.DOTALL | re.MULTILINE)
    heads = re.findall(r"^(\S[^:\n]*)", section.group(1), re.MULTILINE) if section else []
    return set(re.findall(r"\w+", " ".join(heads)))


def test_every_calculation_says_what_it_does():
    assert [f"{path.name}: {node.name}" for path, node in calculations() if not ast.get_docstring(node)] == []


def test_calculations_that_others_call_name_their_parameters():
    """With the unit or the meaning of each; a function that only its own file calls needs one sentence."""
    called = {}
    for app in ("plant", "installs", "inspections", "reports", "fixtures"):
        for path in (ROOT / app).rglob("*.py"):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                name = getattr(node, "id", None) or getattr(node, "attr", None)
                if isinstance(node, ast.Name | ast.Attribute):
                    called.setdefault(name, set()).add(path)
    unnamed = []
    for path, node in calculations():
        parameters = [each.arg for each in [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]]
        missing = set(parameters) - names_in_parameters(ast.get_docstring(node) or "")
        if missing and called.get(node.name, set()) - {path} and is_imported(path, node.name):
            unnamed.append(f"{path.relative_to(ROOT)}: {node.name}({', '.join(sorted(missing))})")
    assert unnamed == []


def is_imported(path, name):
    """Whether another file takes the function, or its whole module, from here."""
    module = ".".join(path.relative_to(ROOT).with_suffix("").parts)
    package, stem = module.rsplit(".", 1)
    whole = rf"from {re.escape(package)} import [^\n]*\b{stem}\b|from \.{{0,2}} import [^\n]*\b{stem}\b"
    single = rf"from (?:{re.escape(module)}|\.+{stem}) import (?:\([^)]*|[^\n]*)\b{name}\b"
    others = [
        each
        for app in ("plant", "installs", "inspections", "reports", "fixtures")
        for each in (ROOT / app).rglob("*.py")
    ]
    texts = (each.read_text(encoding="utf-8") for each in others if each != path)
    return any(re.search(single, text) or (re.search(whole, text) and f"{stem}.{name}" in text) for text in texts)
