"""Rules of the house: who may import whom, what is pure, that every page names its right."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from collections import Counter
from pathlib import Path

import pytest
from django.urls import URLPattern, URLResolver, get_resolver

ROOT = Path(__file__).resolve().parent.parent


def test_import_contracts_hold():
    """The contracts of pyproject.toml: apps import to the left, layers downwards, calc is free of Django."""
    done = subprocess.run(
        [str(Path(sys.executable).parent / "lint-imports")],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr


APPS = ("plant", "installs", "inspections", "reports")
LAYERS = {
    "views", "api", "files", "tables", "forms", "charts", "services", "words", "selectors", "check_rules", "models",
    "calc",
}  # fmt: skip
# What Django looks for at an app's top, and what belongs to no layer.
TOP_MODULES = {
    "__init__", "apps", "urls", "permissions", "errors", "signals", "receivers", "panels", "jobs", "admin",
    "middleware", "context_processors",
}  # fmt: skip
TOP_FOLDERS = {"management", "templatetags", "migrations", "formats", "locale", "static", "templates"}


def strays(app: Path) -> list[str]:
    """Modules and folders at an app's top that belong to no layer and to nothing that Django asks for."""
    files = [each.relative_to(app) for each in app.rglob("*") if each.is_file() and "__pycache__" not in each.parts]
    tops = {each.parts[0]: len(each.parts) > 1 for each in files}
    return sorted(
        name
        for name, is_folder in tops.items()
        if (name not in LAYERS | TOP_FOLDERS if is_folder else Path(name).stem not in TOP_MODULES)
    )


@pytest.mark.parametrize("app", APPS)
def test_every_module_stands_in_a_layer(app):
    assert strays(ROOT / app) == []


def test_a_module_beside_the_layers_is_seen(tmp_path):
    for name in ("apps.py", "panels.py", "wear.py", "services/wear.py", "static/site.css", "print/sheet.typ"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).touch()
    assert strays(tmp_path) == ["print", "wear.py"]


def test_the_contract_of_the_layers_names_each_of_them():
    """The import contract and this page mean the same layers, and the contract leaves no app and no module out."""
    with (ROOT / "pyproject.toml").open("rb") as file:
        contracts = tomllib.load(file)["tool"]["importlinter"]["contracts"]
    [inside] = [each for each in contracts if each["name"].startswith("Inside an app")]
    assert set(inside["containers"]) == set(APPS)
    assert inside["exhaustive"]
    named = {name for row in inside["layers"] for name in re.findall(r"\w+", row)}
    assert named >= LAYERS
    assert named | set(inside["exhaustive_ignores"]) <= LAYERS | TOP_MODULES | TOP_FOLDERS


# Calculations, selectors and the rules of checks answer codes and values; `words/` makes sentences of them. What reads
# like a sentence in there and is none, by file.
NO_SENTENCES = {
    # Names of traits as the file of a comparison lists them, for whoever repeats it.
    "reports/selectors/reference_groups.py": {"wet abrasive duty", "log of belt length"},
    # A rule as the pack of a phone states it, for whoever reads the pack.
    "inspections/calc/phone_rules.py": {"one grade worse"},
    # A part of what the ValueError below it says.
    "inspections/calc/recurrence.py": {", or -1 to -{} from the end"},
}
# What a programmer reads, in a traceback or a log.
FOR_PROGRAMMERS = {"ValueError", "TypeError", "LookupError", "KeyError", "RuntimeError", "AssertionError", "CannotRead"}
LOGGED = {"debug", "info", "warning", "error", "exception", "critical"}
GETTEXT = re.compile(r"_|n?p?gettext(_lazy|_noop)?")
WORD = re.compile(r"[(“\"‘]*[A-Za-z][A-Za-z'’-]+[)”\"’]*[.,;:!?…]*|%\(\w+\)[sd][.,;:!?]*")


def is_read_by_people(text: str) -> bool:
    """Three words and more: not a code, a formula, a path of a drawing, an expression to search by or a query."""
    return sum(bool(WORD.fullmatch(each)) for each in text.split()) >= 3 and not re.match(r"\s*(SELECT|WITH) ", text)


def called(node: ast.AST | None) -> str:
    """The last name of what is called: `_`, `compile`, `ValueError`."""
    func = node.func if isinstance(node, ast.Call) else None
    return func.attr if isinstance(func, ast.Attribute) else func.id if isinstance(func, ast.Name) else ""


def sentences_of(source: str) -> list[str]:
    """What a person would read of a module: texts for translation, and literals of three words and more."""
    tree, told, seen = ast.parse(source), [], set()
    for node in ast.walk(tree):
        if id(node) in seen:
            continue
        is_for_programmers = isinstance(node, ast.Raise) and called(node.exc) in FOR_PROGRAMMERS
        is_text = isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)  # a docstring
        if is_for_programmers or is_text or called(node) in LOGGED | {"compile"}:
            seen |= {id(each) for each in ast.walk(node)}
        elif GETTEXT.fullmatch(called(node)):
            told.append(ast.unparse(node))
            seen |= {id(each) for each in ast.walk(node)}
        elif isinstance(node, ast.JoinedStr):
            parts = [each.value if isinstance(each, ast.Constant) else "{}" for each in node.values]
            seen |= {id(each) for each in node.values if isinstance(each, ast.Constant)}
            told += [text for text in ["".join(parts)] if is_read_by_people(text)]
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and is_read_by_people(node.value):
            told.append(node.value)
    return told


def test_calculations_selectors_and_rules_of_checks_hold_no_sentence():
    paths = [path for layer in ("calc", "selectors", "check_rules") for path in ROOT.glob(f"*/{layer}/**/*.py")]
    assert len(paths) > 100
    found = {}
    for path in paths:
        name = str(path.relative_to(ROOT))
        told = set(sentences_of(path.read_text(encoding="utf-8")))
        assert NO_SENTENCES.get(name, set()) <= told, f"{name} has less to leave out than this page says"
        if rest := told - NO_SENTENCES.get(name, set()):
            found[name] = rest
    assert found == {}


@pytest.mark.parametrize(
    "line",
    [
        'label = _("Survey")',
        'label = gettext_lazy("Survey")',
        'words = ngettext("%s part", "%s parts", n)',
        'words = "No survey of the place belongs to this job."',
        'words = f"{tag} clashes with the fitting {n}."',
        'words = "Device %(number)s was scrapped."',
        'raise Refused("Give one reading as found.")',
        'def f():\n    return ["a", {"why": "the belt stands still"}]',
    ],
)
def test_a_sentence_is_seen(line):
    assert sentences_of(line)


@pytest.mark.parametrize(
    "line",
    [
        '"""What a planned fitting lacks."""',
        'def f():\n    """What it lacks, line by line."""',
        'raise ValueError(f"p is {p}; give a number from 0 to 1")',
        'log.info("the night made %s new checks", n)',
        'PATTERN = re.compile("ran out on the day")',
        'PATH = f"M{x:g} {y:g}H{end:g}L{a:g} {b:g}Z"',
        'share = "max(0, (new_mm - diameter_mm) / (new_mm - limit_mm))"',
        'query = "SELECT id FROM plant_conveyor ORDER BY tag"',
        'code = "readiness.no_survey"',
        'name = f"{tag} {number}"',
    ],
)
def test_what_nobody_reads_is_no_sentence(line):
    assert sentences_of(line) == []


@pytest.mark.parametrize("app", ["plant", "installs", "inspections", "reports"])
def test_calc_loads_without_django(app):
    code = (
        "import importlib, pkgutil, sys\n"
        f"import {app}.calc as calc\n"
        f"[importlib.import_module('{app}.calc.' + m.name) for m in pkgutil.iter_modules(calc.__path__)]\n"
        "bad = sorted(m for m in sys.modules if m.split('.')[0] in ('django', 'celery'))\n"
        "assert not bad, bad\n"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def pages(patterns=None, prefix=""):
    for entry in patterns if patterns is not None else get_resolver().url_patterns:
        if isinstance(entry, URLResolver):
            yield from pages(entry.url_patterns, prefix + str(entry.pattern))
        elif isinstance(entry, URLPattern):
            yield prefix + str(entry.pattern), entry.callback


def test_every_page_names_its_right():
    """A view without @right, @open_to_members or @open_to_all would be a page with no rule for who may see it."""
    unnamed = [path for path, view in pages() if not getattr(view, "right", "")]
    assert unnamed == []


def test_rights_are_real_permissions(db):
    from django.contrib.auth.models import Permission

    known = {f"{p.content_type.app_label}.{p.codename}" for p in Permission.objects.select_related("content_type")}
    named = {view.right for _path, view in pages() if view.right not in ("member", "all", "keeper")}
    assert named <= known

    from plant.permissions import RIGHTS

    assert set().union(*RIGHTS.values()) <= known


def test_every_migration_has_a_name_that_tells():
    names = [
        path.stem
        for app in ("plant", "installs", "inspections", "reports")
        for path in (ROOT / app / "migrations").glob("0*.py")
    ]
    assert names
    assert [name for name in names if "auto" in name or name.endswith("_initial")] == []


def test_there_is_no_junk_drawer():
    drawers = {"utils", "helpers", "common", "misc", "core"}
    found = [
        path
        for app in ("plant", "installs", "inspections", "reports", "deploy")
        for path in (ROOT / app).rglob("*.py")
        if path.stem in drawers or path.parent.name in drawers
    ]
    assert found == []


def test_texts_for_translation_use_plain_names_only():
    """Django leaves {{ a.b }} inside a blocktrans empty: a link would lead nowhere. Bind it with `with b=a.b`."""
    block = re.compile(r"{%\s*blocktrans(?:late)?\b[^%]*%}(.*?){%\s*endblocktrans(?:late)?\s*%}", re.DOTALL)
    bad = [
        f"{path.relative_to(ROOT)}: {name}"
        for path in ROOT.glob("*/templates/**/*")
        if path.is_file()
        for body in block.findall(path.read_text(encoding="utf-8"))
        for name in re.findall(r"{{\s*([^}]*?)\s*}}", body)
        if not re.fullmatch(r"\w+", name)
    ]
    assert bad == []


def test_every_setting_is_described():
    """Each name that is read from the environment stands in DEVELOPERS.md."""
    read = set()
    for path in (ROOT / "deploy").glob("*.py"):
        read |= set(re.findall(r"env_(?:text|flag|number)\(\s*\"([A-Z_]+)\"", path.read_text(encoding="utf-8")))
        read |= set(re.findall(r"environ(?:\.get\(|\[)\s*\"(DRIFTBOOK_[A-Z_]+)\"", path.read_text(encoding="utf-8")))
    described = set(re.findall(r"`([A-Z_]+)`", (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")))
    mail = {f"DRIFTBOOK_MAIL{ending}" for ending in described if ending.startswith("_")} | {"DRIFTBOOK_MAIL_HOST"}
    assert len(read) > 12
    assert read - described - mail == set()


def test_the_timetable_names_jobs_that_there_are():
    from deploy.system_checks import check_timetable

    assert check_timetable(None) == []


WIDTH = 120


def long_lines(path: Path) -> list[str]:
    """Lines of a file that a review sees cut off."""
    lines = path.read_text(encoding="utf-8").splitlines()
    return [f"{path.name}:{n}" for n, line in enumerate(lines, 1) if len(line) > WIDTH]


def holds_set(node):
    """Whether cases come from a set, whose order is another in each process: workers then collect other tests."""
    if isinstance(node, ast.Set | ast.SetComp):
        return True
    if isinstance(node, ast.BinOp):
        return holds_set(node.left) or holds_set(node.right)
    return isinstance(node, ast.Call) and getattr(node.func, "id", "") in {"set", "frozenset"}


@pytest.mark.parametrize(
    ("cases", "is_set"),
    [("set(Rule) - {1}", True), ("{1, 2}", True), ("[1, 2]", False), ("sorted(set(x))", False), ("[{1}]", False)],
)
def test_cases_from_a_set_are_seen(cases, is_set):
    assert holds_set(ast.parse(cases, mode="eval").body) is is_set


def test_no_cases_come_from_a_set():
    found = []
    for path in (ROOT / "tests").rglob("test_*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "attr", "") == "parametrize" and len(node.args) > 1:
                found += [f"{path.name}:{node.lineno}"] * holds_set(node.args[1])
    assert found == []


def test_a_table_is_written_by_its_tag_which_names_its_cells():
    """A heading is written once; the table of django-tables2 names its cells by its columns."""
    paths = [path for app in APPS for path in (ROOT / app).rglob("*.html")]
    by_hand = [path.name for path in paths if re.search(r'<table class="[^"]*\bregister\b', path.read_text())]
    assert by_hand == ["_table.html"]


@pytest.mark.parametrize("kind", ["html", "js", "css"])
def test_no_line_of_a_template_a_script_or_a_sheet_is_longer_than_a_screen(kind):
    paths = [path for app in APPS for path in (ROOT / app).rglob(f"*.{kind}")]
    assert paths
    assert [line for path in paths for line in long_lines(path)] == []


def test_a_long_line_is_seen(tmp_path):
    path = tmp_path / "page.html"
    path.write_text("<p>\n" + "é" * 120 + "\n" + "é" * 121 + "\n", encoding="utf-8")
    assert long_lines(path) == ["page.html:3"]


MOST_LINES_OF_A_FILE, MOST_LINES_OF_A_FUNCTION = 600, 60
PRODUCT = (*APPS, "deploy", "fixtures")


def too_long(path: Path) -> list[str]:
    """A file that is hard to find one's way in, and functions (without docstring) that are hard to hold in mind."""
    source = path.read_text(encoding="utf-8")
    n_lines = len(source.splitlines())
    found = [f"{path.name}: {n_lines} lines"] if n_lines > MOST_LINES_OF_A_FILE else []
    for each in ast.walk(ast.parse(source)):
        if isinstance(each, ast.FunctionDef | ast.AsyncFunctionDef):
            n_lines = (each.end_lineno or each.lineno) - each.lineno + 1
            if ast.get_docstring(each) is not None:
                text = each.body[0]
                n_lines -= (text.end_lineno or text.lineno) - text.lineno + 1
            if n_lines > MOST_LINES_OF_A_FUNCTION:
                found.append(f"{path.name}: {each.name} {n_lines} lines")
    return found


@pytest.mark.parametrize("folder", PRODUCT)
def test_no_file_and_no_function_is_too_long(folder):
    """Cut by what the parts know, never into numbered halves; migrations are left out."""
    paths = [path for path in (ROOT / folder).rglob("*.py") if "migrations" not in path.parts]
    assert paths
    assert [each for path in paths for each in too_long(path)] == []


def test_a_long_file_and_a_long_function_are_seen(tmp_path):
    path = tmp_path / "wear.py"
    function = 'def {name}():\n    """One.\n\n    Two.\n    """\n' + "    pass\n" * 59
    path.write_text(function.format(name="fair") + function.format(name="long") + "    pass\n", encoding="utf-8")
    assert too_long(path) == ["wear.py: long 61 lines"]
    path.write_text("PASS = 1\n" * 601, encoding="utf-8")
    assert too_long(path) == ["wear.py: 601 lines"]


# --- one name, one thing ----------------------------------------------------------------------------------------------
# Names that Django gives: what a model, table or form is set up with, and what manage.py looks for.
GIVEN_NAMES = {"Meta", "Command"}


def classes_in(tree: ast.AST, outer: str = "") -> list[tuple[str, str]]:
    """Name of each class, and the class that it stands in; empty for one that stands by itself."""
    found = []
    for each in ast.iter_child_nodes(tree):
        if isinstance(each, ast.ClassDef):
            found.append((each.name, outer))
        found += classes_in(each, each.name if isinstance(each, ast.ClassDef) else outer)
    return found


def doubled(classes: list[tuple[str, str]]) -> set[str]:
    """Names that stand for two classes.

    Choices inside a model are named after their column and always read with the model (`Incident.Cause`), so two models
    may have such of one name; but none has the name of a class that stands by itself.
    """
    alone = Counter(name for name, outer in classes if not outer)
    inner = {name for name, outer in classes if outer}
    return {name for name, n in alone.items() if n > 1 or name in inner} - GIVEN_NAMES


def test_no_two_classes_have_one_name():
    paths = [path for app in APPS for path in (ROOT / app).rglob("*.py") if "migrations" not in path.parts]
    classes = [each for path in paths for each in classes_in(ast.parse(path.read_text(encoding="utf-8")))]
    assert ("Obstacle", "CouldNotDo") in classes
    assert doubled(classes) == set()


def test_a_doubled_name_is_seen():
    first = ast.parse("class Line: pass\nclass Incident:\n    class Cause: pass\n    class Meta: pass")
    again = ast.parse("class Line: pass\nclass Cause: pass\nclass Survey:\n    class Meta: pass")
    assert doubled(classes_in(first)) == set()
    assert doubled([*classes_in(first), *classes_in(again)]) == {"Line", "Cause"}
