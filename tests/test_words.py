"""What no sentence of the product may say, whoever writes it."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.catalogue import sentences
from tests.oddities import oddities

# Said by a person who has done it (a tick with name and time), of a time that is planned for it, or that it is not so.
# Nothing else may speak of a belt as locked out: beside the name of a belt somebody reads it as so, and reaches in.
ABOUT_LOCKOUT = {
    "The belt is locked out, tagged and tried, by the site's procedure",
    "The belt is isolated by the site's procedure.",
    "When belts may be locked out. A window is a plan, never a permit: the site's lockout procedure comes first.",
    "That the belt stands still does not mean that it is isolated. Only the site's own lockout and its test do that.",
}
STATED = re.compile(
    r"\block(?:ed)?[ -]out\b(?! (?:and get your permit|by the site's|to mark)| first;)|\b(?:is|are|belt) isolated\b",
    re.IGNORECASE,
)


def test_no_sentence_reads_as_if_a_belt_were_locked_out():
    """What a check needs is "needs lockout"; how a belt stands is for the site's own procedure to say."""
    every = sentences()
    assert len(every) > 10_000
    bad = [
        f"{each.where}: {each.text}" for each in every if STATED.search(each.text) and each.text not in ABOUT_LOCKOUT
    ]
    assert bad == []


@pytest.mark.parametrize(
    "line",
    [
        "Q-01 Quarry Quarry",
        "70.1 mm is 113.7 % of the permitted wear: act..",
        "39.9966 N·m is 53.3 % of the target",
        "67.3942 % of it",
        "Ratio 0.21 (0.07-0.52); p 0.0000 central",
        "heterogeneity p 0.000",
        "typed 11/29/2026, 4:58:08 PM.",
        "Given up: no budget, .",
        "– → {'rule': 'finding.all_within', 'values': {'n': 5}}",
        "Reason(rule=<LabelRule.PIVOT: 'label.pivot'>, values={})",
    ],
)
def test_slips_of_sentences_are_seen(line):
    assert oddities([line])


@pytest.mark.parametrize(
    "line",
    [
        "Q-01 Q Quarry",
        "1,308.5 mm is 53.3 % of 2.75 in",
        "p 0.0123 central, p < 0.0001 mid-P",
        "rev. 7, 29 Nov 2026, 16:58",
        "and so on ... to 12.5",
        "version 0.1.0, 127.0.0.1",
    ],
)
def test_right_sentences_are_left_alone(line):
    assert oddities([line]) == []


def test_no_sentence_of_the_sources_has_a_slip():
    # The orders of a file's dates are named by an example of each; that is no day of ours.
    orders = {"day, month, year: 25/11/2026", "month, day, year: 11/25/2026"}
    said = [each for each in sentences() if " " in each.text and each.text not in orders]
    bad = [f"{each.where}: {slip}" for each in said for slip in oddities([each.text])]
    assert bad == []


# A bare :g writes a million as a power of ten, and so a unit's conversion takes its tail for the number. A sentence is
# written with `plant.calc.wording.figure`. Where :g may stand, and why:
BARE = {
    "installs/services/belt_offsets.py": "a key made from a chainage",
    "installs/services/trial_runs.py": "a key made from a chainage",
    "inspections/check_rules/offsets.py": "a code made from a chainage",
    "installs/tables/placement.py": "an address",
    "installs/views/placement.py": "an address",
    "inspections/views/check_plans.py": "what a box holds at first: a constant",
    "reports/selectors/belts.py": "an address",
    "reports/charts/forest.py": "ticks of an axis",
    "reports/charts/trend.py": "ticks of an axis",
    "reports/files/studies.py": "a file for a program",
    "reports/words/verdicts.py": "shares, up to a hundred",
}


def bare_numbers(source: str) -> Iterator[int]:
    """Lines that write a number with a bare g, but for names of rows and what only a programmer reads."""
    tree, left_out = ast.parse(source), set()
    for node in ast.walk(tree):
        is_for_programmers = (
            isinstance(node, ast.Raise)
            and isinstance(node.exc, ast.Call)
            and getattr(node.exc.func, "id", "") in {"ValueError", "TypeError"}
        )
        if is_for_programmers or (isinstance(node, ast.FunctionDef) and node.name == "__str__"):
            left_out |= {id(each) for each in ast.walk(node)}
    for node in ast.walk(tree):
        if id(node) in left_out:
            continue
        if isinstance(node, ast.FormattedValue) and node.format_spec is not None:
            if ast.unparse(node.format_spec) in {"f'g'", "f'+g'"}:
                yield node.lineno
        elif (
            isinstance(node, ast.Constant) and isinstance(node.value, str) and re.search(r"%(\(\w+\))?g\b", node.value)
        ):
            yield node.lineno


def test_a_bare_number_is_seen():
    source = """
def told(x):
    if x < 0:
        raise ValueError(f"x is {x:g}")
    return f"{x:g} m", f"{x:+g} mm", "%(at)g m" % {"at": x}, f"{x:.3g} m"
"""
    assert list(bare_numbers(source)) == [5, 5, 5]


def test_sentences_write_their_numbers_as_the_site_does():
    root = Path(__file__).parents[1]
    found = {
        str(path.relative_to(root)): [f"{path.relative_to(root)}:{line}" for line in bare_numbers(path.read_text())]
        for app in ("plant", "installs", "inspections", "reports")
        for path in sorted((root / app).rglob("*.py"))
        if "migrations" not in path.parts
    }
    assert [each for name, lines in found.items() if name not in BARE for each in lines] == []
    assert [name for name in BARE if not found.get(name)] == []


# --- days in sentences ------------------------------------------------------------------------------------------------
# The layers that make sentences, and what stands in them as ISO 8601 on purpose.
SENTENCE_LAYERS = ("calc", "selectors", "services", "words", "forms", "views", "tables", "check_rules")
ISO_ON_PURPOSE = {
    "plant/calc/import_cells.py": "how a day is to be written in the cell of a file",
    "plant/calc/import_dates.py": "how a moment is to be written in the cell of a file",
    "plant/services/import_preview.py": "the value of a cell, beside the others of its row",
}


def is_iso(node: ast.AST) -> bool:
    """A day or a moment as text: 2026-11-30."""
    if isinstance(node, ast.Attribute) and node.attr == "isoformat":
        return True
    return isinstance(node, ast.FormattedValue) and "%Y-%m-%d" in (ast.unparse(node.format_spec or ast.Constant("")))


def is_bare_day(node: ast.AST) -> bool:
    """A date that would be put into a sentence as Python writes it; told by its name."""
    name = node.attr if isinstance(node, ast.Attribute) else node.id if isinstance(node, ast.Name) else ""
    return name.endswith("_on") or name in {"day", "today"}


def put_in(node: ast.AST) -> list[ast.AST]:
    """What is put into a sentence there: right of the % of a text that is translated, or as a value of a reason."""
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Mod):
        calls = [each for each in ast.walk(node.left) if isinstance(each, ast.Call)]
        names = {each.func.id for each in calls if isinstance(each.func, ast.Name)}
        if isinstance(node.right, ast.Dict):
            return list(node.right.values)
        return [node.right] if names & {"_", "ngettext", "gettext"} else []
    return []


def days_put_in(source: str) -> Iterator[int]:
    """Lines that put a day into a sentence without its words."""
    for node in ast.walk(ast.parse(source)):
        for value in put_in(node):
            if is_bare_day(value) or any(is_iso(each) for each in ast.walk(value)):
                yield value.lineno
        # A reason holds the date itself.
        is_reason = isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Reason"
        if is_reason and any(is_iso(each) for argument in node.args[1:] for each in ast.walk(argument)):
            yield node.lineno


@pytest.mark.parametrize(
    ("line", "is_slip"),
    [
        ('_("Scrapped on %(day)s.") % {"day": device.scrapped_on}', True),
        ('_("Removed on %s.") % part.removed_on.isoformat()', True),
        ('_("Since %s") % f"{due:%Y-%m-%d}"', True),
        ('Reason(Rule.ON, {"on": day.isoformat()})', True),
        ('_("Scrapped on %(day)s.") % {"day": day_words(device.scrapped_on)}', False),
        ('Reason(Rule.ON, {"on": day})', False),
        ('f"{url}?day={day.isoformat()}"', False),
    ],
)
def test_a_day_without_its_words_is_seen(line, is_slip):
    assert bool(list(days_put_in(line))) is is_slip


def test_a_day_in_a_sentence_is_written_as_the_site_writes_days():
    found, root = [], Path(__file__).parents[1]
    for app in ("plant", "installs", "inspections", "reports"):
        for path in sorted(path for layer in SENTENCE_LAYERS for path in (root / app / layer).rglob("*.py")):
            if str(path.relative_to(root)) not in ISO_ON_PURPOSE:
                found += [f"{path.relative_to(root)}:{line}" for line in days_put_in(path.read_text())]
    assert found == []
