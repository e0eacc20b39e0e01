"""How long judging a large fleet takes: once with arrays, once device by device."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from deploy.bench.verdicts import measure


class Command(BaseCommand):
    help = "Judge made-up installations at once and a sample one by one, and print both times. Touches no data base."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--installations", type=int, default=10_000)
        parser.add_argument("--sample", type=int, default=500, help="installations of the loop")
        parser.add_argument("--seed", type=int, default=2026)

    def handle(self, *args: Any, **options: Any) -> None:
        n = options["installations"]
        found = measure(n, min(n, options["sample"]), options["seed"])
        self.stdout.write(
            f"{found.n} installations at once: {found.seconds_many:.3f} s\n"
            f"{found.n_sample} in a loop over statsmodels and scipy: {found.seconds_sample:.3f} s\n"
            f"An installation takes {found.ratio:.0f} times as long in the loop. "
            f"Largest difference of the answers: {found.largest_difference:.1e}."
        )
