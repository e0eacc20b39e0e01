"""Pages of the demo plant that people wait for most, and the processor's time that each costs."""

from __future__ import annotations

import os
import platform
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError
from django.db import connection
from django.test import Client
from django.urls import reverse

from fixtures import scenario
from inspections.models import CheckPlan
from installs.models import Installation
from plant.models import Conveyor, Person, Plant
from reports.models import MonthlyReport


@dataclass(frozen=True)
class PageCost:
    """What one page costs: processor time of its first request in a process, of the best later one, and its queries."""

    first_s: float
    later_s: float
    queries: int


def demo_pages() -> dict[str, tuple[str, str]]:
    """Person and address of each page, by the words of the table.

    Raises
    ------
    CommandError
        If the demo plant is not in the book.
    """
    plant = Plant.objects.filter(name=scenario.PLANT_NAME).first()
    if plant is None:
        raise CommandError("The demo plant is not in this book: manage.py load_demo writes it.")
    # The device that stands longest has the most to be shown of.
    device = Installation.objects.of_plant(plant).in_place().order_by("installed_at")[0]
    belt = Conveyor.objects.of_plant(plant).order_by("tag")[0]
    plan = CheckPlan.objects.of_plant(plant).order_by("pk")[0]
    draft = MonthlyReport.objects.of_plant(plant).drafts().first()
    month = {"draft of a month": ("engineer-1", draft.get_absolute_url())} if draft is not None else {}
    return {
        **month,
        "account": ("engineer-1", reverse("account")),
        "start, technician": ("technician-1", reverse("today")),
        "start, planner": ("planner-1", reverse("today")),
        "start, engineer": ("engineer-1", reverse("today")),
        "start, manager": ("manager-1", reverse("today")),
        "pack of the phone": ("technician-1", reverse("round-pack")),
        "installation": ("engineer-1", device.get_absolute_url()),
        "effect list": ("engineer-1", reverse("effect-list")),
        "effect of one": ("engineer-1", reverse("effect-detail", args=[device.pk])),
        "conveyor": ("engineer-1", belt.get_absolute_url()),
        "backlog": ("planner-1", reverse("backlog")),
        "placement": ("engineer-1", reverse("placement")),
        "life": ("engineer-1", reverse("life")),
        "a check plan": ("planner-1", plan.get_absolute_url()),
        "what-if of an interval": ("planner-1", f"{plan.get_absolute_url()}?days=45"),
    }


def cost_of(person: str, address: str, times: int) -> PageCost:
    """Ask for a page as one person, in this process.

    Raises
    ------
    CommandError
        If the page does not answer with 200.
    """
    client = Client(SERVER_NAME="localhost")
    client.force_login(Person.objects.get(username=person))
    queries = 0

    def counting(execute: Any, *given: Any) -> Any:
        nonlocal queries
        queries += 1
        return execute(*given)

    first_s = _seconds(client, address)
    with connection.execute_wrapper(counting):
        later = [_seconds(client, address)]
    later += [_seconds(client, address) for _n in range(times - 1)]
    return PageCost(first_s, min(later), queries)


def _seconds(client: Client, address: str) -> float:
    began = time.process_time()
    answer = client.get(address)
    if answer.status_code != 200:
        raise CommandError(f"{address} answers {answer.status_code}; it has to be 200.")
    return time.process_time() - began


def machine_words() -> str:
    """The machine in one line: processor, cores, memory, Python, data base."""
    name = platform.processor() or platform.machine()
    known = Path("/proc/cpuinfo")
    if known.exists():
        lines = known.read_text(encoding="utf-8", errors="replace").splitlines()
        name = next((line.partition(":")[2].strip() for line in lines if line.startswith("model name")), name)
    memory = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 2**30 if hasattr(os, "sysconf") else 0.0
    return (
        f"{name}, {os.cpu_count()} cores, {memory:.0f} GB, Python {platform.python_version()}, {connection.vendor}, "
        f"load {os.getloadavg()[0]:.1f}"
    )
