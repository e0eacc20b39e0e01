"""Incidents: what is written, what is refused and with which words."""

from __future__ import annotations

import datetime as dt
import uuid

import pytest

from plant.errors import Refused
from plant.models import Incident
from plant.services.incidents import correct_incident, record_incident, record_incidents, withdraw_incident

HOUR = dt.timedelta(hours=1)


def test_an_incident_is_written_once(belt_a1, tess, at_noon):
    key = uuid.uuid4()
    for _ in range(2):
        record_incident(
            conveyor=belt_a1, by=tess, happened_at=at_noon, strand="return", chainage_m=80.0, client_key=key
        )
    row = Incident.objects.get()
    assert (row.plant, row.created_by, row.chainage_m) == (belt_a1.plant, tess, 80.0)


@pytest.mark.parametrize(
    ("values", "words", "field"),
    [
        ({"chainage_m": 200.5, "strand": "carry"}, "off the belt: A-1 reaches from 0 to 200 m", "chainage_m"),
        ({"chainage_m": 20.0}, "needs its strand", "strand"),
        ({"minutes_lost": -5.0}, "greater than or equal to 0", "minutes_lost"),
        ({"severity": "awful"}, "not a valid choice", "severity"),
    ],
)
def test_what_cannot_be_is_refused(belt_a1, tess, at_noon, values, words, field):
    with pytest.raises(Refused, match=words) as refusal:
        record_incident(conveyor=belt_a1, by=tess, happened_at=at_noon, **values)
    assert field in refusal.value.fields
    assert not Incident.objects.exists()


def test_beside_the_box_stands_what_it_takes(belt_a1, tess, at_noon):
    with pytest.raises(Refused) as refusal:
        record_incident(conveyor=belt_a1, by=tess, happened_at=at_noon, chainage_m=200.5, strand="carry")
    assert refusal.value.fields["chainage_m"] == "From 0 to 200 m."


def test_the_future_is_refused(belt_a1, tess, at_noon):
    with pytest.raises(Refused, match="in the future"):
        record_incident(conveyor=belt_a1, by=tess, happened_at=at_noon + HOUR, now=at_noon)


def test_many_at_once_change_nothing_the_second_time(belt_a1, tess, at_noon):
    rows = [
        {"client_key": uuid.uuid5(uuid.NAMESPACE_OID, str(n)), "conveyor": belt_a1, "happened_at": at_noon - n * HOUR}
        for n in range(20)
    ]
    assert record_incidents(rows, by=tess) == 20
    assert record_incidents(rows, by=tess) == 0
    assert Incident.objects.count() == 20


def test_many_at_once_are_all_or_none(belt_a1, tess, at_noon):
    rows = [
        {"client_key": uuid.uuid4(), "conveyor": belt_a1, "happened_at": at_noon},
        {"client_key": uuid.uuid4(), "conveyor": belt_a1, "happened_at": at_noon, "offset_mm": -1.0},
    ]
    with pytest.raises(Refused):
        record_incidents(rows, by=tess)
    assert not Incident.objects.exists()


def test_a_withdrawn_incident_counts_nowhere(belt_a1, tess, erin, at_noon):
    row = record_incident(conveyor=belt_a1, by=tess, happened_at=at_noon)
    withdraw_incident(row=row, by=erin, reason="test of the switch")
    assert not Incident.objects.current().exists()
    assert Incident.objects.count() == 2


def test_a_correction_is_checked_like_a_new_row(belt_a1, tess, erin, at_noon):
    row = record_incident(conveyor=belt_a1, by=tess, happened_at=at_noon, strand="return", chainage_m=80.0)
    with pytest.raises(Refused, match="off the belt"):
        correct_incident(row=row, by=erin, reason="tape slipped", chainage_m=280.0)
    assert correct_incident(row=row, by=erin, reason="tape slipped", chainage_m=28.0).chainage_m == 28.0
