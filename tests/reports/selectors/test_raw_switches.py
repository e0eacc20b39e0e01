"""Merge time acts on raw switch events and on nothing else."""

from __future__ import annotations

import datetime as dt

import pytest
from django.urls import reverse
from django.utils import timezone

from plant.services.incidents import withdraw_incident
from plant.services.switch_events import keep_switch_events
from reports.selectors.reference_groups import sensitivity_of
from reports.selectors.studies import study_of
from tests import make

DAY, MINUTE, SECOND = dt.timedelta(days=1), dt.timedelta(minutes=1), dt.timedelta(seconds=1)


@pytest.fixture
def at(alder):
    belt, now = make.conveyor(alder, tag="S-12"), timezone.now()
    make.run_record(belt, now - 900 * DAY, now, 12.0 * 900)
    make.drift_switch(belt, 60.0)
    return make.installation(belt, "20", installed_at=now - 300 * DAY)


def contacts(at, start, *minutes, side="drive", chainage_m=60.0):
    """Contacts of five seconds so many minutes after the start, as the switch wrote them."""
    part = at.conveyor.parts.get(chainage_m=chainage_m)
    rows = []
    for each in minutes:
        on = start + each * MINUTE
        rows += [{"drift_switch": part, "at": on, "is_on": True, "side": side}]
        rows += [{"drift_switch": part, "at": on + 5 * SECOND, "is_on": False, "side": side}]
    keep_switch_events(rows)


def booked(at, when, **values):
    known = {"chainage_m": 60.0, "side": "drive", "source": "switch"}
    return make.incident(at.conveyor, when, **{**known, **values})


def readings(at):
    one = study_of(at, timezone.now())
    rows = sensitivity_of(
        one.belt, one.installation.strand, one.zones, one.before, one.after, one.n_detectors, one.rules
    )
    return {(each.is_possible, each.merge_minutes): each for each in rows}


def counts(row):
    return row.n_before, row.n_after


def test_an_episode_with_gaps_falls_apart_or_grows_together(at):
    first = at.installed_at - 50 * DAY
    contacts(at, first, 0, 7, 23)  # at 10 min: 0 and 7 as one, 23 as another
    booked(at, first)
    booked(at, first + 23 * MINUTE)
    found = readings(at)
    assert [counts(found[False, minutes]) for minutes in (5, 10, 20)] == [(3, 0), (2, 0), (1, 0)]
    assert found[False, 10].n_raw == 2


def test_what_people_logged_is_never_merged(at):
    first = at.installed_at - 50 * DAY
    for minutes in (0, 3, 6):
        booked(at, first + minutes * MINUTE, source="log")
    found = readings(at)
    assert set(found) == {(False, None), (True, None)}
    assert counts(found[False, None]) == (3, 0)
    contacts(at, first + 2 * DAY, 0, 7)
    booked(at, first + 2 * DAY)
    assert [counts(readings(at)[False, minutes]) for minutes in (5, 10, 20)] == [(5, 0), (4, 0), (4, 0)]


def test_an_incident_without_a_time_of_day_is_found_in_no_episode_and_stays_one(at):
    zone = at.plant.zone
    midnight = dt.datetime.combine((at.installed_at - 50 * DAY).astimezone(zone).date(), dt.time(), tzinfo=zone)
    contacts(at, midnight, 0, 7, 23)  # an episode at the very moment that a day without a time is kept at
    booked(at, midnight, time_is_known=False)
    found = readings(at)
    assert set(found) == {(False, None), (True, None)}
    assert counts(found[False, None]) == (1, 0)


def test_what_was_taken_out_of_the_book_does_not_come_back(at, erin):
    first = at.installed_at - 50 * DAY
    contacts(at, first, 0, 7)
    contacts(at, first + DAY, 0, 7)
    row = booked(at, first)
    booked(at, first + DAY)
    withdraw_incident(row=row, by=erin, reason="test actuation")
    assert counts(readings(at)[False, 5]) == (2, 0)
    assert counts(readings(at)[False, 10]) == (1, 0)


def test_other_sides_other_places_and_chatter_stay_out(at):
    first = (at.installed_at - 50 * DAY).replace(hour=8)  # all of it on one local day
    make.drift_switch(at.conveyor, 198.0)
    booked(at, first)
    contacts(at, first, 0, 7, side="off")
    contacts(at, first, 0, 7, chainage_m=198.0)
    assert set(readings(at)) == {(False, None), (True, None)}
    contacts(at, first, *range(0, 540, 9))  # sixty times that day: the switch is to be mended
    assert set(readings(at)) == {(False, None), (True, None)}


def test_at_the_plants_own_merge_time_the_books_counts_come_out(at):
    for n in range(6):
        start = at.installed_at + (n - 3) * 40 * DAY + 20 * DAY
        contacts(at, start, 0, 4, 13)
        booked(at, start)
    booked(at, at.installed_at - 7 * DAY)  # without raw events: one, whatever the merge time
    one, found = study_of(at, timezone.now()), readings(at)
    assert counts(found[False, 10]) == (one.before.n, one.after.n)
    assert counts(found[False, 5])[0] == 2 * (one.before.n - 1) + 1


def test_the_page_says_which_rows_were_joined_again(client, at, mona):
    start = at.installed_at - 50 * DAY
    contacts(at, start, 0, 7)
    booked(at, start)
    client.force_login(mona)
    page = " ".join(client.get(reverse("effect-detail", args=[at.pk])).content.decode().split())
    assert "1 of 1 from raw events" in page
    assert "the plant's own;" in page
    assert "What people logged was never merged" in page
    assert "Smallest change that could be seen in 8 of 10 cases" in page or "no change could be seen" in page
