"""Prints one number for all that the book holds, to compare two sites by."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import connection

from deploy.backups.book_hash import hashes_of_files, hashes_of_tables, total
from plant.models import Plant
from plant.selectors.export_rows import hashes_of_plant


class Command(BaseCommand):
    help = "Prints one number for all rows and files of the book; equal numbers are equal books, on either data base."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--plant", help="of one plant's book alone, the same on every site that holds it")
        parser.add_argument("--parts", action="store_true", help="print that of each table and file too")

    def handle(self, *args: Any, **given: Any) -> None:
        if given["plant"]:
            plant = Plant.objects.filter(name=given["plant"]).first()
            if plant is None:
                raise CommandError(f"There is no plant “{given['plant']}”.")
            parts = hashes_of_plant(plant, connection.alias)
        else:
            parts = {**hashes_of_tables(connection), **hashes_of_files(Path(settings.DATA_DIR))}
        if given["parts"]:
            for name, value in sorted(parts.items()):
                self.stdout.write(f"{value}  {name}")
        self.stdout.write(total(parts))
