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
    "reports/calc/verdicts.py": "constants of the rules",
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
