"""Compare the laying of rounds with a greedy plan and with OR-Tools, on the same made-up plant in the same run."""

from __future__ import annotations

import time
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from deploy.bench.round_rivals import Size, lay_with_or_tools, made_up_problem
from inspections.calc.round_check import check_round
from inspections.calc.round_problem import RoundPlan, RoundProblem
from inspections.calc.rounds import lay_greedily, lay_rounds


class Command(BaseCommand):
    help = "Share of priority planned and minutes walked: laid rounds, a greedy plan, and OR-Tools at equal time."

    def add_arguments(self, parser: ArgumentParser) -> None:
        known = Size()
        for name in ("tasks", "positions", "conveyors", "people", "days"):
            parser.add_argument(f"--{name}", type=int, default=getattr(known, name))
        parser.add_argument("--seconds", type=float, default=20.0, help="search time of each solver")
        parser.add_argument("--seed", type=int, default=1, help="of the made-up plant")

    def handle(self, *args: Any, **given: Any) -> None:
        size = Size(*(given[name] for name in ("tasks", "positions", "conveyors", "people", "days")))
        problem, n_tasks = made_up_problem(size, given["seed"])
        self.stdout.write(
            f"{n_tasks} checks in {len(problem.errands)} goes at {size.positions} positions on {size.conveyors} "
            f"conveyors, {size.people} people x {size.days} shifts, {len(problem.windows)} outage windows; "
            f"plant {given['seed']}, {given['seconds']:g} s for each solver."
        )
        self.stdout.write(
            f"{'':10}{'priority planned':>18}{'goes':>7}{'walked':>10}{'lockouts':>10}{'broken':>8}{'took':>9}"
        )
        self.row("greedy", problem, lambda: lay_greedily(problem))
        self.row("laid", problem, lambda: lay_rounds(problem, seconds=given["seconds"]))
        try:
            self.row("OR-Tools", problem, lambda: lay_with_or_tools(problem, given["seconds"]))
        except ImportError:
            self.stdout.write("OR-Tools is not installed: it comes with the optional extra `bench`.")

    def row(self, name: str, problem: RoundProblem, make: Any) -> None:
        began = time.monotonic()
        plan: RoundPlan = make()
        took = time.monotonic() - began
        broken = len(check_round(problem, plan.planned))
        minutes = plan.walk_m / problem.walking_m_s / 60
        self.stdout.write(
            f"{name:10}{plan.share_of_worth:>17.2%} {len(plan.planned):>6}{minutes:>6.0f} min{plan.lockouts:>10}"
            f"{broken:>8}{took:>7.1f} s"
        )
