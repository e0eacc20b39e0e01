"""Write everything of a plant as a folder of open files: manage.py export_plant "Alder Pit" --to FOLDER"""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from plant.files.plant_export import write_folder
from plant.models import Plant


class Command(BaseCommand):
    help = "Write everything of a plant as a folder of open files (CSV, Parquet, photos, papers) with a dictionary."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("plant", help="name of the plant")
        parser.add_argument("--to", type=Path, required=True, metavar="FOLDER", help="must not be there yet")

    def handle(self, *args: Any, **given: Any) -> None:
        plant = Plant.objects.filter(name=given["plant"]).first()
        if plant is None:
            names = ", ".join(Plant.objects.values_list("name", flat=True))
            raise CommandError(f"There is no plant “{given['plant']}”; there are: {names or 'none'}.")
        target: Path = given["to"]
        try:
            n = write_folder(plant, target, now=timezone.now())
        except FileExistsError as error:
            raise CommandError(f"{target} is there already. Name a folder that is not, or take it away.") from error
        except OSError as error:
            raise CommandError(f"{target} cannot be written ({error.strerror}). Nothing half is left there.") from error
        self.stdout.write(f"{n} rows of {plant} are in {target}. Read README.txt there first.")
