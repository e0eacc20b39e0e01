"""How fast a plant is taken out and read in: manage.py benchmark_export --rows 1000000, in an empty book."""

from __future__ import annotations

import os
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import connection
from django.utils import timezone

from deploy.bench.plant_exports import measure


class Command(BaseCommand):
    help = "Makes a plant of so many rows in an empty book, takes it out and reads it in; prints rows a second."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--rows", type=int, default=200_000)

    def handle(self, *args: Any, **given: Any) -> None:
        try:
            found = measure(given["rows"], timezone.now())
        except ValueError as error:
            raise CommandError(f"{error} (DRIFTBOOK_DATA or DATABASE_URL).") from error
        n, load = found.n_rows, os.getloadavg()[0]
        self.stdout.write(
            f"{n:,} rows on {connection.vendor}, load {load:.1f}\n"
            f"read plainly {n / found.read_s:>12,.0f} rows a second\n"
            f"taken out    {n / found.out_s:>12,.0f}, {found.out_s / found.read_s:.1f} times as long; "
            f"grew by {found.out_grew_mb:.0f} MB at most\n"
            f"inserted     {n / found.insert_s:>12,.0f}\n"
            f"read in      {n / found.in_s:>12,.0f}, {found.in_s / found.insert_s:.1f} times as long; "
            f"grew by {found.in_grew_mb:.0f} MB at most"
        )
