"""A book of any size, made up to measure pages with. Only ever into a book that is empty."""

from __future__ import annotations

import datetime as dt
import itertools
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from django.contrib.auth.models import Group
from django.db import transaction
from django.db.models import Max, Model
from django.utils.translation import gettext as _

from inspections.models import Action, CheckKind, CheckPlan, CouldNotDo, Deferral, OverdueSpell, Shift, Task, Visit
from installs.models import Device, DeviceModel, Installation
from plant.errors import Refused
from plant.models import Area, Conveyor, Membership, Person, Plant, RunRecord
from plant.permissions import ENGINEER, MANAGER, PLANNER, TECHNICIAN

CHUNK = 5000
N_BELTS = 60
# One check of so many is open, the others are done; of the open ones a third is late.
ONE_OPEN_OF = 100
ONE_LATE_OF = 3
ROLES = {"made-up-planner": PLANNER, "made-up-technician": TECHNICIAN}
MORE_ROLES = {"made-up-engineer": ENGINEER, "made-up-manager": MANAGER}


@dataclass(frozen=True)
class MadeUpBook:
    """The plant, its people by role, and how many checks there are, open ones among them."""

    plant: Plant
    people: dict[str, Person]
    n_tasks: int
    n_open: int


def begin_book(now: dt.datetime) -> MadeUpBook:
    """A plant with belts that ran, people with shifts, and a plan for each built-in check; no device yet.

    Raises
    ------
    Refused
        If there is a plant in the book already.
    """
    if Plant.objects.exists():
        raise Refused(
            _("This book holds a plant already. Made-up rows go only into an empty one: set DRIFTBOOK_DATA to a folder "
              "of its own, or DATABASE_URL to an empty data base."),
            code="not_empty",
        )  # fmt: skip
    with transaction.atomic():
        plant = Plant.objects.create(name="Made-up Works", time_zone="UTC")
        people = {}
        for name, role in (ROLES | MORE_ROLES).items():
            people[role] = Person.objects.create_user(username=name, email=f"{name}@made-up.example")
            Membership.objects.create(person=people[role], plant=plant, role=Group.objects.get(name=role))
        areas = [Area.objects.create(plant=plant, code=f"M{n}", name=f"Area {n}") for n in range(6)]
        for n in range(N_BELTS):
            belt = Conveyor.objects.create(
                plant=plant, area=areas[n % 6], tag=f"M{n % 6}-{n:02}", belt_width_mm=1000, speed_m_s=2, length_m=500
            )
            RunRecord.objects.create(
                conveyor=belt, starts_at=now - dt.timedelta(days=400), ends_at=now, running_h=400 * 12.0
            )
        model = DeviceModel.objects.create(plant=plant, name="M-1", sensor_new_mm=76, sensor_limit_mm=68)
        for kind in CheckKind.objects.for_plant(plant):
            CheckPlan.objects.create(plant=plant, device_model=model, check_kind=kind, interval_days=90)
        for day in range(14):
            starts_at = (now + dt.timedelta(days=day)).replace(hour=6, minute=0, second=0, microsecond=0)
            Shift.objects.create(
                plant=plant, person=people[TECHNICIAN], day=starts_at.date(), starts_at=starts_at,
                ends_at=starts_at + dt.timedelta(hours=16),
            )  # fmt: skip
    return MadeUpBook(plant, people, 0, 0)


def grow_book(book: MadeUpBook, n_tasks: int, now: dt.datetime) -> MadeUpBook:
    """Fill a book that was begun here up to so many checks, each row like another; deferrals and actions with them."""
    plans = list(CheckPlan.objects.of_plant(book.plant).order_by("pk"))
    belts = list(Conveyor.objects.of_plant(book.plant).order_by("pk"))
    n_places = max(n_tasks // ONE_OPEN_OF // len(plans), 1)
    known = Installation.objects.of_plant(book.plant).count()
    model = plans[0].device_model
    devices = (Device(plant=book.plant, number=str(n), device_model=model) for n in range(known, n_places))
    new_devices = written(Device, devices)
    places = written(
        Installation,
        (
            Installation(
                plant=book.plant,
                conveyor=belts[n % len(belts)],
                device=device,
                strand="return",
                chainage_m=10.0 + n // len(belts),
                installed_at=now - dt.timedelta(days=3650),
            )
            for n, device in enumerate(new_devices, known)
        ),
    )
    # What was there already gets no further row: its history stays as it is, and new devices bring theirs.
    n_done = max((n_tasks - book.n_tasks) // max(len(places), 1) // len(plans) - 1, 0)
    who = book.people[TECHNICIAN]
    for some in chunks(places, 200):
        write_history(book.plant, some, plans, n_done, who, now)
    open_tasks = written(Task, open_ones(book.plant, places, plans, now.date()))
    write_beside(book, open_tasks, now)
    return MadeUpBook(
        book.plant,
        book.people,
        Task.objects.of_plant(book.plant).count(),
        Task.objects.of_plant(book.plant).open().count(),
    )


def chunks(rows: Iterable[Any], size: int) -> Iterator[list[Any]]:
    them = iter(rows)
    while some := list(itertools.islice(them, size)):
        yield some


def written(model: type[Model], rows: Iterable[Any]) -> list[Any]:
    """Rows in bulk, with their keys, on every data base."""
    before = model._default_manager.aggregate(last=Max("pk"))["last"] or 0
    for some in chunks(rows, CHUNK):
        model._default_manager.bulk_create(some)
    return list(model._default_manager.filter(pk__gt=before).order_by("pk"))


def write_history(
    plant: Plant, places: list[Installation], plans: list[CheckPlan], n_done: int, who: Person, now: dt.datetime
) -> None:
    """The visits of some devices over ten years, and the checks that were done at each."""
    step = dt.timedelta(days=3600) / max(n_done, 1)
    visits = written(
        Visit,
        (
            Visit(plant=plant, installation=place, visited_at=now - step * (n + 1), visited_by=who)
            for place in places
            for n in range(n_done)
        ),
    )
    tasks = (
        Task(
            plant=plant,
            installation_id=visit.installation_id,
            check_kind_id=plan.check_kind_id,
            check_plan=plan,
            due_on=visit.visited_at.date(),
            opens_on=visit.visited_at.date(),
            closes_on=visit.visited_at.date(),
            closed_at=visit.visited_at,
            closed_by=who,
            outcome=Task.Outcome.DONE,
            grade="act" if n % 20 == 0 else "sound",
            visit=visit,
        )
        for n, visit in enumerate(visits)
        for plan in plans
    )
    for some in chunks(tasks, CHUNK):
        Task.objects.bulk_create(some)


def open_ones(plant: Plant, places: list[Installation], plans: list[CheckPlan], today: dt.date) -> Iterator[Task]:
    for n, (place, plan) in enumerate(itertools.product(places, plans)):
        due_on = today - dt.timedelta(days=8 + n % 60) if n % ONE_LATE_OF == 0 else today + dt.timedelta(days=n % 90)
        yield Task(
            plant=plant, installation=place, check_kind_id=plan.check_kind_id, check_plan=plan, due_on=due_on,
            opens_on=due_on - dt.timedelta(days=7), closes_on=due_on + dt.timedelta(days=7),
        )  # fmt: skip


def write_beside(book: MadeUpBook, tasks: list[Task], now: dt.datetime) -> None:
    """What stands beside open checks: deferrals, tries, late spells, actions."""
    planner, who = book.people[PLANNER], book.people[TECHNICIAN]
    late = [task for task in tasks if task.closes_on < now.date()]
    written(
        Deferral,
        (
            Deferral(
                task=task, closes_on_before=task.closes_on, closes_on=task.closes_on, reason="made up",
                approved_by=planner, created_by=planner,
            )
            for task in late[::4]
        ),
    )  # fmt: skip
    written(
        CouldNotDo,
        (CouldNotDo(task=task, tried_at=now, reason="belt_running", created_by=who) for task in late[1::4]),
    )
    began_at = now - dt.timedelta(days=20)
    written(OverdueSpell, (OverdueSpell(task=task, began_at=began_at, escalated_at=now) for task in late[::2]))
    written(
        Action,
        (
            Action(
                plant=book.plant, installation_id=task.installation_id, title="Made up", owner=who,
                due_on=now.date() + dt.timedelta(days=n % 60 - 20), done_at=now if n % 2 else None,
            )
            for n, task in enumerate(tasks[::5])
        ),
    )  # fmt: skip
