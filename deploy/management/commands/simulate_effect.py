"""How often verdicts would be wrong, on plants whose truth is known."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from deploy.bench.simulation import as_table, simulate
from reports.calc.verdicts import VerdictRules


class Command(BaseCommand):
    help = "Judge plants with a known truth and print how often each method was wrong. Touches no data base."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--plants", type=int, default=60, help="plants of each scenario")
        parser.add_argument("--seed", type=int, default=2026)

    def handle(self, *args: Any, **options: Any) -> None:
        results = simulate(
            n_plants=options["plants"],
            seed=options["seed"],
            progress=lambda name: self.stderr.write(f"{name} ..."),
        )
        devices = [each.tallies["plain"].n for each in results]
        many = f"{min(devices)}" if min(devices) == max(devices) else f"{min(devices)} to {max(devices)}"
        self.stdout.write(
            f"{options['plants']} plants and {many} devices of each scenario, seed {options['seed']}; intervals at "
            f"{100 * VerdictRules().level:g} %, shares ± one standard error.\n\n"
        )
        self.stdout.write(as_table(results))
