"""What is kept of the effect of devices: every input moves the stamp, and every process shows the same."""

from __future__ import annotations

import datetime as dt
import os
import re
import sqlite3
import subprocess
import sys
import uuid
from functools import partial

import pytest
from django.db import connection, models, transaction
from django.db.models import F
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from inspections.models import CheckPlan, Deferral
from inspections.selectors.plan_advice import year_if
from inspections.selectors.plan_years import YEAR
from installs.models import DeviceModel, Installation, ModelSheet
from plant.models import ConveyorPart, Incident, MeterReading, PlantQuerySet, RunRecord, WriteCounter
from plant.selectors.running_hours import hours_of, ledger_of, ledgers_of
from plant.services import kept
from plant.services.conveyors import change_conveyor, remove_part
from plant.services.incidents import record_incidents, withdraw_incident
from plant.services.kept import (
    at_hand,
    make_all_kept,
    models_read,
    names_of,
    parts_of,
    stale_parts,
    topic_names,
    topics_on_demand,
)
from plant.services.running_hours import correct_run, record_meter_reading, record_runs
from reports.selectors.kept_effect import REFERENCE, WHOLE, kept_reference
from reports.selectors.studies import gather_reference, reference_for, study_of
from reports.services.kept_months import MONTH
from tests import make
from tests.two_plants import furnish, staff

UTC = dt.UTC
DAY = dt.timedelta(days=1)


def named(each):
    return each if isinstance(each, str) else each._meta.label


@pytest.fixture
def furnished(alder):
    """A plant with a row of every kind that an address can name, and every result of it."""
    rows = furnish(alder, "Al", staff(alder, "al"))
    belt = rows["conveyor"]
    MeterReading.objects.create(conveyor=belt, read_at=timezone.now() - DAY, reading_h=100.0)
    make.incident(belt, timezone.now() - 2 * DAY)
    task = rows["task"]
    Deferral.objects.create(
        task=task,
        closes_on_before=task.closes_on,
        closes_on=task.closes_on + 9 * DAY,
        reason="shut down",
        approved_by=rows["membership"].person,
    )
    model = rows["device_model"]
    if not model.sheets.exists():
        ModelSheet.objects.create(device_model=model, number=1, content={"effect_length_m": 40.0})
    make_all_kept([alder])
    for name in topics_on_demand():
        WriteCounter.objects.create(plant=alder, topic=name)
    return alder


# --- every input of every topic ---------------------------------------------------------------------------------------
@pytest.mark.parametrize("topic", topic_names())
def test_a_write_to_each_input_moves_the_stamp(furnished, other, topic):
    WriteCounter.objects.create(plant=other, topic=topic)
    WriteCounter.objects.create(plant=other, topic=f"{topic}/1")
    wrong = []
    for model in models_read(topic):
        # Taken back, so that one furnished plant is enough for all.
        with transaction.atomic():
            wrong += [f"{named(model)}: {each}" for each in not_counted(furnished, topic, model)]
            transaction.set_rollback(True)
    assert models_read(topic)
    assert wrong == []


def not_counted(plant, topic, model):
    """The ways of writing rows of a model that a topic's counters do not count as one write, or at all."""
    row = model._default_manager.all().of_plant(plant).first()
    if row is None:
        return ["the furnished plant has no row of it"]
    rows = model._default_manager.filter(pk=row.pk)

    def moved(write):
        """How many writes the plant's counters of the topic counted, the one that counted most."""
        counters = WriteCounter.objects.filter(plant=plant, topic__in=names_of(topic, plant))
        before = {each.topic: each.stamp for each in counters}
        write()
        return max(each.stamp - before[each.topic] for each in counters.all())

    found = {
        # Entries refuse to be saved again; their first saving goes the same way.
        "save": moved(lambda: models.Model.save(row)) >= 1,
        "update": moved(lambda: rows.update(created_at=F("created_at"))) == 1,
        "bulk_update": moved(lambda: model._default_manager.bulk_update([row], ["created_at"])) == 1,
        "bulk_create": moved(lambda: model._default_manager.bulk_create([row], ignore_conflicts=True)) == 1,
        "stale": topic in topics_on_demand()
        or set(stale_parts(plant, topic, timezone.now())) == set(names_of(topic, plant)),
        "of another plant": {each.stamp for each in WriteCounter.objects.exclude(plant=plant)} == {0},
    }
    return [name for name, is_right in found.items() if not is_right]


@pytest.mark.parametrize(
    "model", sorted({model for name in topic_names() for model in models_read(name)}, key=named), ids=named
)
def test_each_input_is_written_through_query_sets_that_tell(model):
    assert isinstance(model._default_manager.all(), PlantQuerySet)


def makers_of(topic, plant):
    """What makes each part of a topic; of one for each of many things those of the first."""
    those = kept._topics[topic]
    if topic == YEAR:
        plan = CheckPlan.objects.of_plant(plant).first()
        return [lambda: year_if(plan, make.today(), timezone.now())]
    if topic == MONTH:
        draft = parts_of(topic, plant)[0]
        return [partial(those.make_asked, plant, timezone.now(), part) for part in (draft, f"{draft}-verdicts")]
    key = [] if those.each is None else [those.each.keys_of(plant)[0]]
    return those.make(plant, timezone.now(), *key).values()


# Who wrote a row is shown, not computed with; another topic's result is read only where it holds.
NOT_COMPUTED_WITH = {"plant_person", "plant_keptresult", "plant_writecounter"}


@pytest.mark.parametrize("topic", topic_names())
def test_a_topic_names_every_table_that_it_reads(furnished, topic):
    known = {model._meta.db_table for model in models_read(topic)} | NOT_COMPUTED_WITH
    # The history of a record is written when the record is.
    known |= {model.history.model._meta.db_table for model in models_read(topic) if hasattr(model, "history")}
    makers = list(makers_of(topic, furnished))
    with CaptureQueriesContext(connection) as asked:
        for make_it in makers:
            make_it()
    read = {table for each in asked for table in re.findall(r'(?:FROM|JOIN) "(\w+)"', each["sql"])}
    assert read
    assert read <= known, f"{topic} reads {sorted(read - known)}, which no write to them makes it anew"


@pytest.mark.parametrize("topic", topic_names())
def test_what_is_kept_is_what_was_made(furnished, topic):
    """Written, read back and written again it is the same text: nothing is lost on the way."""
    those = kept._topics[topic]
    for make_it in makers_of(topic, furnished):
        text = those.write(make_it())
        assert those.write(those.read(text)) == text


# --- through what people do -------------------------------------------------------------------------------------------
@pytest.fixture
def long_belt(alder):
    """2000 m with a drift switch in every third tile, and three years of hours."""
    belt = make.conveyor(alder, tag="L-1", length_m=2000.0)
    now = timezone.now()
    make.run_record(belt, now - 1000 * DAY, now - DAY, 12.0 * 999)
    for n in range(24):
        make.drift_switch(belt, 25.0 + 50.0 * n)
    for n in range(60):
        make.incident(belt, now - (20 + 12 * n) * DAY, chainage_m=25.0 + 50.0 * (n % 24))
    return belt


def test_switches_that_are_removed_are_no_stretches_any_more(alder, long_belt, pat):
    before = reference_for(alder, timezone.now()).n_untreated
    at_hand(alder, REFERENCE, WHOLE)
    for part in ConveyorPart.objects.filter(conveyor=long_belt).order_by("chainage_m")[:8]:
        remove_part(part, by=pat, version=part.version, removed_on=make.today() - 2 * DAY)
    now = timezone.now()
    fresh = gather_reference(alder, now).n_untreated
    assert fresh == before - 2 * 8  # both strands
    assert reference_for(alder, now).n_untreated == fresh
    assert at_hand(alder, REFERENCE, WHOLE).value.n_untreated == fresh


def test_a_belt_that_runs_faster_has_new_traits(alder, long_belt, pat):
    at_hand(alder, REFERENCE, WHOLE)
    change_conveyor(long_belt, by=pat, version=long_belt.version, speed_m_s=3.4)
    for found in (reference_for(alder, timezone.now()), at_hand(alder, REFERENCE, WHOLE).value):
        assert {each.traits["belt speed"] for each in found.places} == {3.4}


def test_files_rows_and_corrections_move_the_stamp(alder, long_belt, pat, tess):
    def is_fresh_after(write):
        at_hand(alder, REFERENCE, WHOLE)
        assert kept_reference(alder, timezone.now()) is not None
        write()
        return kept_reference(alder, timezone.now()) is not None

    now = timezone.now()
    hours = {"conveyor": long_belt, "starts_at": now - 0.5 * DAY, "ends_at": now - 0.25 * DAY, "running_h": 3.0}
    incident = {"conveyor": long_belt, "happened_at": now - 3 * DAY, "strand": "return", "chainage_m": 25.0}
    assert not is_fresh_after(lambda: record_runs([{**hours, "client_key": uuid.uuid4()}], by=pat))
    assert not is_fresh_after(lambda: record_incidents([{**incident, "client_key": uuid.uuid4()}], by=pat))
    row = Incident.objects.current().first()
    assert not is_fresh_after(lambda: withdraw_incident(row=row, by=tess, reason="twice in the book"))
    assert not is_fresh_after(
        lambda: record_meter_reading(conveyor=long_belt, read_at=now - DAY, reading_h=5.0, by=tess)
    )
    assert not is_fresh_after(lambda: make.installation(long_belt, "7", installed_at=now - 90 * DAY))
    assert not is_fresh_after(lambda: DeviceModel.objects.get().save())
    assert not is_fresh_after(lambda: Installation.objects.get().delete())


# --- ledgers ----------------------------------------------------------------------------------------------------------
def running_since(belt, n_days):
    return ledger_of(belt).hours(timezone.now() - n_days * DAY, timezone.now())


def test_a_ledger_that_is_kept_says_what_one_that_is_built_says(alder, long_belt):
    now = timezone.now()
    make.run_record(long_belt, now - 40 * DAY, now - 39 * DAY, 60.0)  # more hours than the clock has
    built = hours_of([long_belt])[long_belt.pk].ledger
    make_all_kept([alder])
    with CaptureQueriesContext(connection) as asked:
        read = ledger_of(long_belt)
    assert [each["sql"].count("plant_runrecord") for each in asked] == [0]
    window = now - 1200 * DAY, now
    assert built.set_aside
    assert (read.hours(*window), read.gaps(*window), read.set_aside) == (
        built.hours(*window),
        built.gaps(*window),
        built.set_aside,
    )


def test_new_hours_corrections_and_another_meter_are_seen_at_once(alder, long_belt, pat, tess):
    make_all_kept([alder])
    known, now = running_since(long_belt, 0.9).running_h, timezone.now()
    record_runs(
        [
            {
                "conveyor": long_belt,
                "starts_at": now - 0.5 * DAY,
                "ends_at": now - 0.25 * DAY,
                "running_h": 3.0,
                "client_key": uuid.uuid4(),
            }
        ],
        by=pat,
    )
    assert running_since(long_belt, 0.9).running_h == pytest.approx(known + 3.0)
    make_all_kept([alder])
    correct_run(row=RunRecord.objects.order_by("pk").last(), by=pat, reason="another belt", withdraw=True)
    assert running_since(long_belt, 0.9).running_h == pytest.approx(known)
    fresh = make.conveyor(alder, tag="M-1")
    for n, shown in enumerate([9990.0, 2.0]):
        record_meter_reading(conveyor=fresh, read_at=now - (3 - n) * DAY, reading_h=shown, by=tess, keep_doubtful=True)
    make_all_kept([alder])
    assert running_since(fresh, 5).running_h == 0
    change_conveyor(fresh, by=pat, version=fresh.version, meter_rolls_over_at_h=10_000.0)
    fresh.refresh_from_db()
    assert running_since(fresh, 5).running_h == pytest.approx(12.0)


def test_a_page_of_hours_reads_one_row_whatever_was_written(alder, long_belt, django_assert_num_queries):
    other_belts = [make.conveyor(alder, tag=f"L-{n}") for n in range(2, 6)]
    make_all_kept([alder])
    with django_assert_num_queries(1):
        ledgers_of([long_belt])
    with django_assert_num_queries(1):
        ledgers_of([long_belt, *other_belts])
    make.run_record(other_belts[0], timezone.now() - DAY, timezone.now(), 3.0)
    with django_assert_num_queries(3):
        ledgers_of([long_belt, *other_belts])


# --- two processes ----------------------------------------------------------------------------------------------------
ASK = """
import django; django.setup()
from django.utils import timezone
from installs.models import Installation
from plant.services.kept import at_hand
one = Installation.objects.get()
from reports.selectors.studies import study_of
kept = at_hand(one.plant, "reference", "whole")
found = study_of(one, kept.as_of, kept.value)
print(found.verdict, found.answers.shrunk, found.answers.reference_per_1000_h, kept.as_of.isoformat(), sep="|")
"""


@pytest.mark.django_db(transaction=True)
def test_a_cold_process_shows_what_a_warm_one_shows(alder, long_belt, pat, tmp_path):
    one = make.installation(long_belt, "7", installed_at=timezone.now() - 300 * DAY, chainage_m=400.0)
    at_hand(alder, REFERENCE, WHOLE)
    long_belt.refresh_from_db()
    change_conveyor(long_belt, by=pat, version=long_belt.version, speed_m_s=3.4)
    warm = at_hand(alder, REFERENCE, WHOLE)
    found = study_of(one, warm.as_of, warm.value)
    here = [found.verdict, found.answers.shrunk, found.answers.reference_per_1000_h, warm.as_of.isoformat()]
    told = subprocess.run(
        [sys.executable, "-c", ASK],
        env={**os.environ, "DATABASE_URL": address_for_others(tmp_path), "DJANGO_SETTINGS_MODULE": "tests.settings"},
        check=True,
        text=True,
        stdout=subprocess.PIPE,
    ).stdout
    assert told.strip().splitlines()[-1] == "|".join(map(str, here))


def address_for_others(folder):
    """Where another process finds this book: one in memory is written into a file."""
    if connection.vendor == "postgresql":
        scheme, _slash, _name = os.environ["DATABASE_URL"].rpartition("/")
        return f"{scheme}/{connection.settings_dict['NAME']}"
    connection.ensure_connection()
    with sqlite3.connect(folder / "book.sqlite3") as copy:
        connection.connection.backup(copy)
    return f"sqlite:///{folder / 'book.sqlite3'}"
