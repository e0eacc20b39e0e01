"""Pages that are measured in a small and in a large book, and how long each takes."""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import Any

from django.core.management.base import CommandError
from django.db import connection
from django.test import Client
from django.urls import reverse

from deploy.bench.made_up_books import MadeUpBook
from inspections.models import CheckPlan
from installs.models import Installation
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
