"""A plant with a row in every file that a plant is taken out in, and a site that holds none."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

from django.db import transaction
from django.utils import timezone

from inspections.models import ActionNote, CheckKind, Deferral, RoundLaying
from installs.models import CauseTest, FittingNeed, FitUp, Isolation, ModelSheet
from plant.files.plant_export import write_folder
from plant.models import Incident, OutageWindow, Plant
from plant.selectors.export_tables import own_models
from plant.services.outages import cancel_outage
from plant.services.people import give_role, take_role
from reports.models import MonthMail, Subscription
from reports.services.months import draft_month, publish_month
from tests import make
from tests.two_plants import furnish, staff

# Texts that a careless writer or reader of CSV spoils.
HARD = [
    '=HYPERLINK("http://example.invalid")',
    "'already quoted",
    'a "quoted", word',
    "first line\r\nsecond line\nthird",
    "  spaces at both ends ",
    "-5",
    "Förderband ü ✓ 带",
    "NULL",
    "",
]


def full_plant(name: str = "Alder Pit", mark: str = "Al") -> Plant:
    """One row and more of every kind, with history, corrections, a removed row and a published month."""
    at = make.plant(name=name, time_zone="Europe/Berlin", currency="EUR", cost_of_stop_hour=0.1 + 0.2)
    people = staff(at, mark)
    rows = furnish(at, mark, people)
    tech, planner = people["technician"], people["planner"]
    now = timezone.now()
    fitting, task, belt, action = rows["fitting"], rows["task"], rows["conveyor"], rows["action"]
    for n, text in enumerate(HARD):
        make.incident(belt, now - dt.timedelta(days=3, hours=n), note=text, created_by=tech, was_loaded=None)
    wrong = make.incident(belt, now - dt.timedelta(days=4), import_batch=rows["import_batch"])
    Incident.objects.create(
        plant=at, conveyor=belt, happened_at=wrong.happened_at, corrects=wrong, correction_reason="wrong side"
    )
    # A row that only histories know, and a job that named it.
    window = make.outage(belt, now + dt.timedelta(days=2), 4)
    fitting.outage_window = window
    fitting.save()
    fitting.crew.add(tech, planner)
    cancel_outage(window, by=planner, version=window.version, why="not needed")
    assert not OutageWindow.objects.filter(pk=window.pk).exists()
    # Roles that were given, taken and given again.
    give_role(person=tech, plant=at, role="planner")
    take_role(person=tech, plant=at, role="planner")
    give_role(person=tech, plant=at, role="planner")
    ModelSheet.objects.create(
        device_model=rows["device_model"], number=1, content={"name": "T", "mass_kg": 1e20, "x": None}
    )
    CauseTest.objects.create(survey=rows["survey"], cause="splice", found="cured")
    rows["survey"].photos.add(rows["photo"])
    rows["visit"].photos.add(rows["photo"])
    rows["trial_run"].photos.add(rows["photo"])
    action.photos.add(rows["photo"])
    FittingNeed.objects.create(fitting=fitting, name="sling")
    FitUp.objects.create(fitting=fitting, bracket_spacing_mm=1500.5)
    cycle = Isolation.objects.create(
        fitting=fitting, cycle=1, isolated_at=now, isolated_by=tech, points="drive", created_by=tech
    )
    cycle.people.add(tech)
    Deferral.objects.create(
        task=task, closes_on_before=task.closes_on, closes_on=task.closes_on + dt.timedelta(days=7), reason="no window",
        approved_by=planner,
    )  # fmt: skip
    note = ActionNote.objects.create(action=action, text="seen again")
    note.photos.add(rows["photo"])
    RoundLaying.objects.create(
        plant=at, first_day=now.date(), last_day=now.date(), n_due=2, n_planned=1,
        left_out=[{"tasks": [task.pk], "reason": "no time", "change": ""}],
    )  # fmt: skip
    month = (rows["month"].month - dt.timedelta(days=1)).replace(day=1)
    make.incident(belt, dt.datetime.combine(month, dt.time(12), dt.UTC), note="of the published month")
    draft = draft_month(plant=at, month=month, by=people["reliability engineer"])
    report = publish_month(draft, by=people["manager"], version=draft.version)
    Subscription.objects.create(plant=at, person=people["manager"])
    MonthMail.objects.create(report=report, person=people["manager"], sent_at=now, tries=1)
    return at


def empty_site() -> None:
    """Take every plant and person away, as if the site had never had any."""
    for model in own_models():
        if hasattr(model, "history"):
            history = model.history.model._base_manager.all()
            history._raw_delete(history.db)
        for field in model._meta.local_many_to_many:
            links = field.remote_field.through._base_manager.all()
            links._raw_delete(links.db)
    for model in own_models():
        rows = model._base_manager.exclude(plant=None) if model is CheckKind else model._base_manager.all()
        rows._raw_delete(rows.db)


def taken_out(plant: Plant, target: Path, now: dt.datetime | None = None) -> Path:
    write_folder(plant, target, now=now or timezone.now())
    return target


def made_once(blocker: Any, target: Path) -> Path:
    """The folder of such a plant; the book is empty again then."""
    with blocker.unblock(), transaction.atomic():
        folder = taken_out(full_plant(), target)
        transaction.set_rollback(True)
    return folder


def texts_of(folder: Path) -> dict[str, bytes]:
    """Every file of a folder but the manifest, which knows the moment of writing."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.name != "manifest.json"
    }
