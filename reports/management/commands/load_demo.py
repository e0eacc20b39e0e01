"""Makes the demo plant, Bramwick Works, as of today."""

from __future__ import annotations

import time
from typing import Any

from django.core.management.base import BaseCommand

from reports.services.demo import load_demo


class Command(BaseCommand):
    help = "Make the demo plant, Bramwick Works. A second run changes nothing; one that was killed is finished."

    def handle(self, *args: Any, **options: Any) -> None:
        begun = time.monotonic()
        if load_demo(say=self.stdout.write):
            self.stdout.write(f"Bramwick Works is in the book ({time.monotonic() - begun:.0f} s).")
