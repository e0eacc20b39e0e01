"""Makes the results that pages read as rows, so that nobody waits for the first one."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand

from plant.models import Plant
from plant.services.kept import make_all_kept


class Command(BaseCommand):
    help = "Makes kept results that are missing, or that the book or the product has gone past."

    def handle(self, *args: Any, **given: Any) -> None:
        make_all_kept(Plant.objects.all(), say=self.stdout.write)
