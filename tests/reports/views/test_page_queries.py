"""Pages that people wait for most: how many queries they take, and that the number does not grow with the book."""

from __future__ import annotations

import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from deploy.bench.made_up_books import begin_book, grow_book
from inspections.models import CheckPlan
from installs.models import Installation
from plant.models import Incident, Person
from plant.services.kept import make_all_kept
from reports.models import MonthlyReport
from reports.services.months import draft_month, month_before

# Who opens what, and the most queries that it takes.
PAGES = {
    "start of the technician": ("technician", lambda: reverse("today"), 20),
    "start of the planner": ("planner", lambda: reverse("today"), 32),
    "start of the engineer": ("reliability engineer", lambda: reverse("today"), 32),
    "start of the manager": ("manager", lambda: reverse("today"), 20),
    "installation": ("reliability engineer", lambda: Installation.objects.order_by("pk")[0].get_absolute_url(), 84),
    "backlog": ("planner", lambda: reverse("backlog"), 30),
    "placement": ("reliability engineer", lambda: reverse("placement"), 18),
    "pack of the phone": ("technician", lambda: reverse("round-pack"), 34),
    "draft of a month": ("reliability engineer", lambda: MonthlyReport.objects.get().get_absolute_url(), 16),
    "what-if of an interval": ("planner", lambda: f"{plan_address()}?days=45", 46),
}


def plan_address():
    return CheckPlan.objects.order_by("pk")[0].get_absolute_url()


def book_of(n_tasks, book, now):
    """A book with so many checks, an incident for every second device, and all results kept."""
    grown = grow_book(book, n_tasks, now)
    Incident.objects.all().delete()
    Incident.objects.bulk_create(
        Incident(
            plant=each.plant,
            conveyor=each.conveyor,
            strand="return",
            chainage_m=each.chainage_m,
            happened_at=now - dt.timedelta(days=9 + n),
        )
        for n, each in enumerate(Installation.objects.order_by("pk")[::2])
    )
    make_all_kept([book.plant])
    return grown


@pytest.fixture
def begun(db):
    book = begin_book(timezone.now())
    last = month_before(timezone.localdate(timezone=book.plant.zone))
    draft_month(plant=book.plant, month=last, by=None)
    return book


def test_no_page_takes_more_queries_in_a_larger_book(begun, client):
    now = timezone.now()

    def queries():
        taken = {}
        for name, (role, address, _most) in PAGES.items():
            client.force_login(Person.objects.get(pk=begun.people[role].pk))
            client.get(address())
            with CaptureQueriesContext(connection) as asked:
                assert client.get(address()).status_code == 200
            taken[name] = len(asked)
        return taken

    few = queries_in(book_of(2400, begun, now), queries)
    many = queries_in(book_of(4800, begun, now), queries)
    assert many == few
    assert {name: n for name, n in few.items() if n > PAGES[name][2]} == {}


def queries_in(book, queries):
    assert Installation.objects.of_plant(book.plant).count() > 1
    return queries()
