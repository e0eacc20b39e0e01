"""How lists and start pages keep up with the book: the same pages at so many checks and at a hundredth of them."""

from __future__ import annotations

import time
from argparse import ArgumentParser
from dataclasses import dataclass
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import connection
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from inspections.models import CheckPlan
from inspections.services.made_up_books import MadeUpBook, begin_book, grow_book
from installs.models import Installation
from plant.errors import Refused
from plant.models import Conveyor
from plant.permissions import ENGINEER, MANAGER, PLANNER, TECHNICIAN


@dataclass(frozen=True)
class Timing:
    """Queries and the shortest of several times of one page."""

    queries: int
    seconds: float


def pages_of(book: MadeUpBook) -> dict[str, tuple[str, str]]:
    """Role and address of each page that is measured."""
    checks, plan = reverse("task-list"), CheckPlan.objects.of_plant(book.plant).order_by("pk")[0].get_absolute_url()
    belt = Conveyor.objects.of_plant(book.plant).order_by("pk")[0].pk
    device = Installation.objects.of_plant(book.plant).order_by("pk")[0].get_absolute_url()
    return {
        "checks": (PLANNER, checks),
        "checks, late": (PLANNER, f"{checks}?state=late"),
        "checks, late by reason": (PLANNER, f"{checks}?state=late&why=no_window"),
        "checks, closed": (PLANNER, f"{checks}?state=closed"),
        "backlog": (PLANNER, reverse("backlog")),
        "actions": (PLANNER, reverse("action-list")),
        "opportunity": (PLANNER, f"{reverse('opportunity')}?conveyor={belt}&minutes=240"),
        "check plans": (PLANNER, reverse("check-plan-list")),
        "a check plan": (PLANNER, plan),
        "a year looked at": (PLANNER, f"{plan}?days=45"),
        "a device": (PLANNER, device),
        "today, planner": (PLANNER, reverse("today")),
        "today, technician": (TECHNICIAN, reverse("today")),
        "today, engineer": (ENGINEER, reverse("today")),
        "today, manager": (MANAGER, reverse("today")),
    }


class Command(BaseCommand):
    help = "Fills an empty book with made-up checks and measures lists and start pages, at --tasks and a hundredth."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--tasks", type=int, default=100_000, help="checks in the larger book")
        parser.add_argument("--times", type=int, default=3, help="how often each page is asked for; the best counts")

    def handle(self, *args: Any, **given: Any) -> None:
        now = timezone.now()
        try:
            book = begin_book(now)
        except Refused as refusal:
            raise CommandError(str(refusal.message)) from refusal
        measured = []
        for n_tasks in (max(given["tasks"] // 100, 100), given["tasks"]):
            began = time.monotonic()
            book = grow_book(book, n_tasks, now)
            self.stdout.write(
                f"{book.n_tasks:,} checks, {book.n_open:,} of them open: written in {time.monotonic() - began:.0f} s"
            )
            self.stdout.flush()
            measured.append({name: measure(book, *page, given["times"]) for name, page in pages_of(book).items()})
        small, large = measured
        self.stdout.write(f"{'':24}{'queries':>16}{'time':>20}{'longer by':>11}")
        for name, before in small.items():
            after = large[name]
            self.stdout.write(
                f"{name:24}{before.queries:>7} {after.queries:>8}{before.seconds:>9.3f} {after.seconds:>8.3f} s"
                f"{after.seconds / before.seconds:>9.1f} x"
            )


def measure(book: MadeUpBook, role: str, address: str, times: int) -> Timing:
    """Ask for a page as a person of a role does.

    Raises
    ------
    CommandError
        If the page does not answer with 200.
    """
    client = Client(SERVER_NAME="localhost")
    client.force_login(book.people[role])
    best, queries = float("inf"), 0

    def counting(execute: Any, *given: Any) -> Any:
        nonlocal queries
        queries += 1
        return execute(*given)

    with connection.execute_wrapper(counting):
        answer = client.get(address)
    if answer.status_code != 200:
        raise CommandError(f"{address} answers {answer.status_code} for the {role}; it has to be 200.")
    for _n in range(times):
        began = time.perf_counter()
        client.get(address)
        best = min(best, time.perf_counter() - began)
    return Timing(queries, best)
