"""`manage.py make_keeper NAME`: for a site whose keepers have all left. Whoever reaches the shell may."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from plant.errors import Refused
from plant.models import Person
from plant.services.keepers import give_keeper


class Command(BaseCommand):
    help = "Make somebody who signs in already a keeper of this site."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("name", help="under which the person signs in")

    def handle(self, *args: Any, name: str, **options: Any) -> None:
        person = Person.objects.filter(username__iexact=name).first()
        if person is None:
            raise CommandError(f"Nobody signs in as {name}. Look at the spelling.")
        try:
            give_keeper(person=person, by=None)
        except Refused as refusal:
            raise CommandError(refusal.message) from refusal
        self.stdout.write(f"{person} keeps this site now.")
