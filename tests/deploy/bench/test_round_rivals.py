"""The comparison of rounds runs, is fair, and its plant is the same each time."""

from __future__ import annotations

import io

import pytest
from django.core.management import call_command

from deploy.bench.round_rivals import Size, lay_with_or_tools, made_up_problem
from inspections.calc.round_check import check_round
from inspections.calc.rounds import lay_greedily, lay_rounds

SMALL = Size(tasks=40, positions=20, conveyors=8, people=2, days=2)


def test_the_command_names_each_rival_and_what_is_broken():
    out = io.StringIO()
    call_command(
        "benchmark_rounds",
        *("--tasks=40", "--positions=20", "--conveyors=8", "--people=2", "--days=2", "--seconds=0.3"),
        stdout=out,
    )
    lines = out.getvalue().splitlines()
    assert lines[0].startswith("40 checks in ")
    rows = {line.split()[0]: line.split() for line in lines[2:4]}
    assert set(rows) == {"greedy", "laid"}
    assert {row[-3] for row in rows.values()} == {"0"}  # no rule is broken


def test_a_seed_makes_the_same_plant():
    assert made_up_problem(SMALL, 3) == made_up_problem(SMALL, 3)
    assert made_up_problem(SMALL, 3) != made_up_problem(SMALL, 4)


def test_or_tools_solves_the_same_problem_by_the_same_rules():
    pytest.importorskip("ortools")
    problem, _n = made_up_problem(SMALL, 1)
    theirs, ours = lay_with_or_tools(problem, 1.0), lay_rounds(problem, iterations=400)
    assert check_round(problem, theirs.planned) == []
    assert theirs.planned
    assert ours.worth_planned_s >= 0.99 * theirs.worth_planned_s
    assert ours.worth_planned_s >= 0.99 * lay_greedily(problem).worth_planned_s
