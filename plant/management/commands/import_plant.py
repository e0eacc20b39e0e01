"""Read a plant in from its folder, all of it or nothing: manage.py import_plant FOLDER"""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from plant.services.plant_import.folders import FolderRefused
from plant.services.plant_import.writing import PlantChecked, check_plant_folder, import_plant
from plant.words.plant_import import fault_words


class Command(BaseCommand):
    help = "Read a plant in from a folder that export_plant wrote, or from the ZIP file of a site's page."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("folder", type=Path)
        parser.add_argument("--dry", action="store_true", help="look everything over and write nothing")

    def handle(self, *args: Any, **given: Any) -> None:
        try:
            if given["dry"]:
                self.say_checked(check_plant_folder(given["folder"]))
                return
            done = import_plant(given["folder"], tell=self.tell if given["verbosity"] > 1 else lambda _file, _n: None)
        except FolderRefused as refusal:
            for fault in refusal.faults:
                self.stderr.write(fault_words(fault))
            more = refusal.n_faults - len(refusal.faults)
            raise CommandError(
                f"Nothing was written.{f' There are {more} more faults like these.' if more else ''}"
            ) from None
        self.stdout.write(f"{done.plant}: {done.n_rows} rows are in the book, and equal to those of the folder.")
        if done.people_known:
            self.stdout.write(f"This site knew already, and has given their roles to: {', '.join(done.people_known)}.")
        if done.people_made:
            self.stdout.write(
                f"New, and cannot sign in before they are given a first password: {', '.join(done.people_made)}. A "
                "planner does that on the page of people; for the first of them say: manage.py changepassword NAME"
            )

    def say_checked(self, found: PlantChecked) -> None:
        self.stdout.write(f"{found.name}: nothing is wrong with its {found.n_rows} rows. Nothing was written.")
        if found.people_known:
            self.stdout.write(
                f"This site has people of these names; they would be given their roles in the plant, so make sure that "
                f"they are the same people: {', '.join(found.people_known)}."
            )
        if found.people_new:
            self.stdout.write(f"New would be: {', '.join(found.people_new)}.")

    def tell(self, file: str, n: int) -> None:
        self.stdout.write(f"{file}: {n} rows")
