"""Rules of the house: who may import whom, what is pure, that every page names its right."""

from __future__ import annotations

import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from django.urls import URLPattern, URLResolver, get_resolver

ROOT = Path(__file__).resolve().parent.parent


def test_import_contracts_hold():
    """The contracts of pyproject.toml: apps import to the left, layers downwards, calc is free of Django."""
    done = subprocess.run(
        [str(Path(sys.executable).parent / "lint-imports"), "--no-cache"],
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
            if entry.app_name != "admin":
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
    named = {view.right for _path, view in pages() if view.right not in ("member", "all")}
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
