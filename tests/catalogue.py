"""Every sentence that the product can show, read from its sources: Python strings, templates, scripts, sheets of paper.

Docstrings and comments are left out; a module's names and keys are in, so that a test looks for whole phrases.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).resolve().parent.parent
APPS = ("plant", "installs", "inspections", "reports")
SOURCES = (*APPS, "deploy", "fixtures")


class Sentence(NamedTuple):
    where: str
    text: str


def sentences() -> list[Sentence]:
    return [
        *(Sentence(at(path, line), text) for path in files("*.py", SOURCES) for line, text in python_strings(path)),
        *(Sentence(at(path, line), text) for path in templates() for line, text in template_texts(path)),
        *(Sentence(at(path, line), text) for path in files("*.js", APPS) for line, text in quoted(path)),
        *(Sentence(at(path, line), text) for path in files("*.typ", APPS) for line, text in quoted(path)),
    ]


def at(path: Path, line: int) -> str:
    return f"{path.relative_to(ROOT)}:{line}"


def files(pattern: str, folders: tuple[str, ...]) -> list[Path]:
    """Migrations are history: they keep the words of their day."""
    return sorted(
        path for folder in folders for path in (ROOT / folder).rglob(pattern) if "migrations" not in path.parts
    )


def templates() -> list[Path]:
    return sorted(path for app in APPS for path in (ROOT / app / "templates").rglob("*") if path.is_file())


def python_strings(path: Path) -> Iterator[tuple[int, str]]:
    notes: set[int] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):  # parents come before their children
        if isinstance(node, (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)):
            if node.body and isinstance(node.body[0], ast.Expr):
                notes.add(id(node.body[0].value))
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in notes:
            yield node.lineno, node.value


def template_texts(path: Path) -> Iterator[tuple[int, str]]:
    """The words of its tags and those that stand bare, over line breaks, without comments and HTML's own tags."""
    source = path.read_text(encoding="utf-8")
    text = re.sub(r"{%\s*comment.*?endcomment\s*%}", lambda m: "\n" * m[0].count("\n"), source, flags=re.DOTALL)
    for tag in re.finditer(r"{%.*?%}", text):
        for words in re.findall(r"\"([^\"]*)\"|'([^']*)'", tag[0]):
            yield text.count("\n", 0, tag.start()) + 1, "".join(words)
    bare = re.sub(r"{{.*?}}|{#.*?#}", "\0", re.sub(r"{%.*?%}", "\1", text))
    for found in re.finditer(r"[^<>\1]+(?![^<>]*>)", bare):
        if words := " ".join(found[0].split()).strip("\0 "):
            yield bare.count("\n", 0, found.start()) + 1, words
    for found in re.finditer(r"(?:aria-label|title|alt|placeholder)=\"([^\"]*)\"", bare):
        yield bare.count("\n", 0, found.start()) + 1, " ".join(found[1].replace("\1", " ").split())


def quoted(path: Path) -> Iterator[tuple[int, str]]:
    """Strings of a script or a sheet: three kinds of quotes, no comments."""
    text = re.sub(r"/\*.*?\*/|(?m:^\s*//.*$)", lambda m: "\n" * m[0].count("\n"), path.read_text(), flags=re.DOTALL)
    for found in re.finditer(r'"((?:[^"\\\n]|\\.)*)"|\'((?:[^\'\\\n]|\\.)*)\'|`((?:[^`\\]|\\.)*)`', text):
        yield text.count("\n", 0, found.start()) + 1, next(each for each in found.groups() if each is not None)
