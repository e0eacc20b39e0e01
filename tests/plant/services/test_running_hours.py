"""Running hours and meter readings: what is written, what is asked back."""

from __future__ import annotations

import datetime as dt
import uuid

import pytest

from plant.errors import Refused
from plant.models import MeterReading, RunRecord
from plant.selectors.running_hours import hours_of, ledger_of
from plant.services.running_hours import (
    correct_meter_reading,
    correct_run,
    record_meter_reading,
    record_run,
    record_runs,
)

DAY = dt.timedelta(days=1)


def test_hours_in_a_span_reach_the_ledger(belt_a1, pat, at_noon):
    record_run(conveyor=belt_a1, by=pat, starts_at=at_noon - 2 * DAY, ends_at=at_noon - DAY, running_h=12.0)
    exposure = ledger_of(belt_a1).hours(at_noon - 2 * DAY, at_noon)
    assert exposure.running_h == pytest.approx(12.0)
    assert exposure.covered_h == pytest.approx(24.0)
    assert exposure.coverage == pytest.approx(0.5)


def test_beside_the_box_stands_what_a_span_holds(belt_a1, pat, at_noon):
    with pytest.raises(Refused) as refusal:
        record_run(conveyor=belt_a1, by=pat, starts_at=at_noon - DAY, ends_at=at_noon, running_h=25.0)
    assert refusal.value.fields["running_h"] == "At most 24.0 h."


@pytest.mark.parametrize(
    ("start", "end", "hours", "words"),
    [
        (1, 2, 5.0, "not after it starts"),
        (2, 1, 25.0, "more than the clock has"),
        (2, 1, -1.0, "negative"),
        (2, -3, 5.0, "in the future"),
    ],
)
def test_hours_that_cannot_be_are_refused(belt_a1, pat, at_noon, start, end, hours, words):
    with pytest.raises(Refused, match=words):
        record_run(
            conveyor=belt_a1,
            by=pat,
            starts_at=at_noon - start * DAY,
            ends_at=at_noon - end * DAY,
            running_h=hours,
            now=at_noon,
        )
    assert not RunRecord.objects.exists()


def test_many_spans_are_written_once(belt_a1, pat, at_noon):
    rows = [
        {
            "client_key": uuid.uuid5(uuid.NAMESPACE_OID, str(n)),
            "conveyor": belt_a1,
            "starts_at": at_noon - (n + 1) * DAY,
            "ends_at": at_noon - n * DAY,
            "running_h": 10.0,
        }
        for n in range(30)
    ]
    assert record_runs(rows, by=pat) == 30
    assert record_runs(rows, by=pat) == 0
    assert ledger_of(belt_a1).hours(at_noon - 30 * DAY, at_noon).running_h == pytest.approx(300.0)


def test_a_corrected_span_counts_once(belt_a1, pat, at_noon):
    row = record_run(conveyor=belt_a1, by=pat, starts_at=at_noon - 2 * DAY, ends_at=at_noon - DAY, running_h=12.0)
    correct_run(row=row, by=pat, reason="misread", running_h=10.0)
    assert ledger_of(belt_a1).hours(at_noon - 2 * DAY, at_noon).running_h == pytest.approx(10.0)


def test_a_meter_that_runs_backwards_is_asked_back(belt_a1, pat, at_noon):
    record_meter_reading(conveyor=belt_a1, by=pat, read_at=at_noon - 10 * DAY, reading_h=5300.0)
    with pytest.raises(Refused, match=r"run backwards: 3,560\.0 h after 5,300\.0 h") as refusal:
        record_meter_reading(conveyor=belt_a1, by=pat, read_at=at_noon, reading_h=3560.0)
    assert refusal.value.code == "doubtful"
    assert MeterReading.objects.count() == 1


def test_a_meter_that_jumps_is_asked_back(belt_a1, pat, at_noon):
    record_meter_reading(conveyor=belt_a1, by=pat, read_at=at_noon - DAY, reading_h=100.0)
    with pytest.raises(Refused, match="more than the clock has"):
        record_meter_reading(conveyor=belt_a1, by=pat, read_at=at_noon, reading_h=1000.0)


def test_a_doubtful_reading_that_is_kept_is_set_aside(belt_a1, pat, at_noon):
    for days, hours, keep in ((60, 5000.0, False), (30, 3560.0, True), (0, 5300.0, True)):
        record_meter_reading(
            conveyor=belt_a1, by=pat, read_at=at_noon - days * DAY, reading_h=hours, keep_doubtful=keep
        )
    hours = hours_of([belt_a1])[belt_a1.pk]
    assert [flag.reading_h for flag in hours.meter.flagged] == [3560.0]
    assert hours.ledger.hours(at_noon - 60 * DAY, at_noon).running_h == pytest.approx(300.0)


def test_rollover_is_plausible_only_where_it_is_declared(belt_a1, pat, at_noon):
    record_meter_reading(conveyor=belt_a1, by=pat, read_at=at_noon - 30 * DAY, reading_h=9900.0)
    with pytest.raises(Refused, match="backwards"):
        record_meter_reading(conveyor=belt_a1, by=pat, read_at=at_noon, reading_h=150.0)
    belt_a1.meter_rolls_over_at_h = 10_000.0
    belt_a1.save()
    record_meter_reading(conveyor=belt_a1, by=pat, read_at=at_noon, reading_h=150.0)
    assert ledger_of(belt_a1).hours(at_noon - 30 * DAY, at_noon).running_h == pytest.approx(250.0)


def test_a_replaced_meter_starts_anew(belt_a1, pat, at_noon):
    for days, hours, event in (
        (30, 9800.0, "normal"),
        (10, 9874.2, "last_of_old"),
        (10, 0.0, "first_of_new"),
        (0, 100.0, "normal"),
    ):
        record_meter_reading(conveyor=belt_a1, by=pat, read_at=at_noon - days * DAY, reading_h=hours, event=event)
    assert ledger_of(belt_a1).hours(at_noon - 30 * DAY, at_noon).running_h == pytest.approx(174.2)


def test_a_mistyped_reading_is_corrected_by_a_further_row(belt_a1, pat, at_noon):
    record_meter_reading(conveyor=belt_a1, by=pat, read_at=at_noon - 30 * DAY, reading_h=1000.0)
    wrong = record_meter_reading(conveyor=belt_a1, by=pat, read_at=at_noon, reading_h=91300.0, keep_doubtful=True)
    correct_meter_reading(row=wrong, by=pat, reason="9 typed in front", reading_h=1300.0)
    hours = hours_of([belt_a1])[belt_a1.pk]
    assert not hours.meter.flagged
    assert hours.ledger.hours(at_noon - 30 * DAY, at_noon).running_h == pytest.approx(300.0)
