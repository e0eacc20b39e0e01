"""Every moment that people give lies within bounds, in every row, whichever way it comes in."""

from __future__ import annotations

import datetime as dt
import io
import uuid

import pytest
from django.apps import apps
from django.db import models
from django.utils import timezone

from plant.calc.moments import MomentKind
from plant.errors import Refused
from plant.models import BeltChange, Incident, MeterReading, OutageWindow, Row, RunRecord, SwitchEvent
from plant.models.moments import moment_fault
from plant.services import imports
from plant.services.import_preview import preview_of
from plant.services.incidents import record_incident, record_incidents
from plant.services.outages import plan_outage, record_belt_change
from plant.services.running_hours import correct_meter_reading, record_meter_reading, record_run, record_runs
from plant.services.switch_events import keep_switch_events
from tests import make

ENDS = [dt.datetime(1, 1, 1, tzinfo=dt.UTC), dt.datetime(9999, 12, 31, 23, 59, tzinfo=dt.UTC)]
ROWS = [
    model
    for app in ("plant", "installs", "inspections", "reports")
    for model in apps.get_app_config(app).get_models()
    if issubclass(model, Row)
]
# Written by the site itself, by its own clock or reckoned from other dates.
BY_THE_SITE = {
    "inspections.couldnotdo.tried_at",
    "inspections.deferral.closes_on_before",
    "inspections.roundlaying.first_day",
    "inspections.roundlaying.laid_at",
    "inspections.roundlaying.last_day",
    "inspections.stop.ends_at",
    "inspections.stop.not_before",
    "inspections.stop.starts_at",
    "inspections.task.closed_at",
    "inspections.task.opens_on",
    "inspections.twiceclosed.decided_at",
}


def columns(model):
    for column in model._meta.concrete_fields:
        if isinstance(column, models.DateField) and column.editable:
            yield column


def test_every_column_says_what_its_moments_are_of():
    """A new column for a day or a moment: name it in `moments` of its model, or here where only the site writes it."""
    named = {f"{model._meta.label_lower}.{column.name}" for model in ROWS for column in columns(model)}
    known = {f"{model._meta.label_lower}.{name}" for model in ROWS for name in model.moments}
    assert named - known == BY_THE_SITE
    assert {each.rpartition(".")[2] for each in known} <= {
        column.name for model in ROWS for column in model._meta.concrete_fields
    }


@pytest.mark.parametrize("model", ROWS, ids=lambda model: model._meta.label_lower)
def test_no_row_takes_the_ends_of_the_calendar(model):
    for column in model._meta.concrete_fields:
        if not isinstance(column, models.DateField):
            continue
        for end in ENDS:
            value = end if isinstance(column, models.DateTimeField) else end.date()
            words = model(**{column.attname: value}).moment_faults()[column.name]
            assert "1 Jan 1850" in words


@pytest.mark.parametrize(
    ("kind", "ahead", "words"),
    [
        (MomentKind.HAPPENED, dt.timedelta(minutes=9), ""),
        (MomentKind.HAPPENED, dt.timedelta(minutes=11), "is in the future. Give a time that has passed"),
        (MomentKind.SHIFT, dt.timedelta(hours=23), ""),
        (MomentKind.SHIFT, dt.timedelta(hours=25), "is in the future"),
        (MomentKind.PLANNED, dt.timedelta(days=14 * 365), ""),
        (MomentKind.PLANNED, dt.timedelta(days=16 * 365), "out of this book's reach"),
        (MomentKind.CLOCK, dt.timedelta(days=100 * 365), ""),
    ],
)
def test_how_far_ahead_a_moment_may_lie(kind, ahead, words, at_noon):
    said = moment_fault(at_noon + ahead, kind, at_noon)
    assert words in said
    assert bool(said) == bool(words)


def test_the_sentence_names_both_bounds_in_the_plants_clock(at_noon):
    with timezone.override("Europe/Berlin"):
        said = moment_fault(ENDS[1], MomentKind.PLANNED, at_noon)
        assert said == ("9999-12-31 is out of this book's reach. Give a time from 1 Jan 1850 to 20 Nov 2041, 01:00.")
        late = moment_fault(at_noon + dt.timedelta(hours=2), MomentKind.HAPPENED, at_noon)
    assert late == "20 Nov 2026, 15:00 is in the future. Give a time that has passed, no earlier than 1 Jan 1850."


@pytest.mark.parametrize("end", ENDS, ids=["first", "last"])
def test_no_service_takes_the_ends_of_the_calendar(belt_a1, pat, end):
    now = timezone.now()
    reading = record_meter_reading(conveyor=belt_a1, by=pat, read_at=now - dt.timedelta(hours=1), reading_h=5)
    near = end + dt.timedelta(days=1 if end.year == 1 else -1)
    first, last = sorted((end, near))
    key = uuid.uuid4()
    acts = [
        lambda: record_incident(conveyor=belt_a1, by=pat, happened_at=end),
        lambda: record_incidents([{"conveyor": belt_a1, "happened_at": end, "client_key": key}], by=pat),
        lambda: record_run(conveyor=belt_a1, by=pat, starts_at=first, ends_at=last, running_h=5),
        lambda: record_runs(
            [{"conveyor": belt_a1, "starts_at": first, "ends_at": last, "running_h": 5, "client_key": key}], by=pat
        ),
        lambda: record_meter_reading(conveyor=belt_a1, by=pat, read_at=end, reading_h=5, keep_doubtful=True),
        lambda: correct_meter_reading(row=reading, by=pat, reason="misread", read_at=end, keep_doubtful=True),
        lambda: plan_outage(conveyor=belt_a1, by=pat, starts_at=first, ends_at=last),
        lambda: record_belt_change(
            conveyor=belt_a1, by=pat, changed_at=end, kind=BeltChange.Kind.SPLICE, description="splice"
        ),
        lambda: keep_switch_events([{"drift_switch": make.drift_switch(belt_a1, 9), "at": end, "is_on": True}]),
    ]
    for act in acts:
        with pytest.raises(Refused) as refusal:
            act()
        assert "1850" in refusal.value.message or "lies ahead" in refusal.value.message
    for model in (Incident, RunRecord, OutageWindow, BeltChange, SwitchEvent):
        assert not model._default_manager.exists()
    assert MeterReading.objects.count() == 1


def test_a_file_with_the_ends_of_the_calendar_is_shown_and_its_rows_are_refused(belt_a1, pat, tmp_path, settings):
    settings.MEDIA_ROOT = tmp_path
    days = ("0001-01-01 00:00", "9999-12-31 23:59", "2026-11-20 08:00")
    lines = ("tag,when\n" + "".join(f"A-1,{day}\n" for day in days)).encode()
    batch = imports.take_in_file(
        plant=belt_a1.plant,
        by=pat,
        subject="incidents",
        file=io.BytesIO(lines),
        file_name="log.csv",
        size=len(lines),
    )
    with timezone.override(belt_a1.plant.zone):
        preview = preview_of(batch)
    reasons = {row.line_number: row.problems[0]["reason"] for row in preview.wrong}
    assert set(reasons) == {2, 3}
    assert all("Write a day from 1850-01-01 to 2199-12-31." in words for words in reasons.values())
