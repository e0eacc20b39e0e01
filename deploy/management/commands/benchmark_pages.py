"""What the pages of the demo plant cost: first in a fresh process each, then again in the same."""

from __future__ import annotations

import json
import subprocess
import sys
from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand
from django.utils import timezone

from deploy.bench.pages import cost_of, demo_pages, machine_words


class Command(BaseCommand):
    help = (
        "Measures the processor's time of pages of the demo plant: in a fresh process each, and again in that process."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--times", type=int, default=3, help="how often each page is asked for again; the best counts"
        )
        parser.add_argument("--page", help="only this page, in this process, as JSON")

    def handle(self, *args: Any, **given: Any) -> None:
        pages = demo_pages()
        if given["page"]:
            self.stdout.write(json.dumps(vars(cost_of(*pages[given["page"]], given["times"]))))
            return
        self.stdout.write(f"{timezone.now():%Y-%m-%d %H:%M} UTC: {machine_words()}")
        self.stdout.write(f"{'':26}{'first':>9}{'again':>9}{'queries':>9}")
        for name in pages:
            command = [sys.executable, "manage.py", "benchmark_pages", "--page", name, "--times", str(given["times"])]
            told = subprocess.run(command, cwd=settings.BASE_DIR, text=True, check=True, stdout=subprocess.PIPE)
            cost = json.loads(told.stdout.strip().splitlines()[-1])
            self.stdout.write(f"{name:26}{cost['first_s']:>8.2f}s{cost['later_s']:>8.2f}s{cost['queries']:>9}")
            self.stdout.flush()
