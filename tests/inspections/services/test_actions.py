"""Actions: raised once, given to people of the plant, done with a note."""

import datetime as dt
import uuid

import pytest
from django.utils import timezone

from inspections.models import Action, Visit
from inspections.services.actions import Part, change_action, finish_action, raise_action
from plant.errors import ChangedMeanwhile, Refused
from tests import make

DAY = dt.date(2026, 12, 1)


@pytest.fixture
def place(belt_a1):
    return make.installation(belt_a1)


def test_sent_twice_is_raised_once(place, tess):
    key = uuid.uuid4()
    first = raise_action(installation=place, by=tess, title="Clean", due_on=DAY, client_key=key)
    assert raise_action(installation=place, by=tess, title="Clean", due_on=DAY, client_key=key) == first
    assert Action.objects.count() == 1


def test_an_owner_from_elsewhere_is_refused(place, tess, otto):
    with pytest.raises(Refused) as refused:
        raise_action(installation=place, by=tess, title="Clean", due_on=DAY, owner=otto)
    assert "does not belong to Alder Pit" in refused.value.fields["owner"]


def test_a_new_owner_is_told_and_the_second_editor_sees_the_first(place, tess, pat):
    action = raise_action(installation=place, by=tess, title="Clean", due_on=DAY)
    later = DAY + dt.timedelta(days=3)
    change_action(Action.objects.get(), by=tess, version=1, title="Clean", due_on=later, owner=pat)
    assert pat.notices.count() == 1
    with pytest.raises(ChangedMeanwhile):
        change_action(action, by=pat, version=1, title="Scrub", due_on=DAY, owner=None)
    assert [row.due_on for row in action.history.all()] == [later, DAY]


def test_done_needs_a_note_and_counts_once(place, tess, pat):
    action = raise_action(installation=place, by=tess, title="Clean", due_on=DAY)
    with pytest.raises(Refused, match="Say what was done"):
        finish_action(action, by=pat, note="  ")
    done = finish_action(action, by=pat, note="cleaned")
    assert (done.done_by, done.done_note) == (pat, "cleaned")
    assert finish_action(action, by=tess, note="again").done_by == pat
    with pytest.raises(Refused, match="is done"):
        change_action(done, by=pat, version=done.version, title="x", due_on=DAY, owner=None)


def test_done_in_the_future_is_refused(place, tess):
    action = raise_action(installation=place, by=tess, title="Clean", due_on=DAY)
    with pytest.raises(Refused, match="lies ahead"):
        finish_action(action, by=tess, note="x", done_at=timezone.now() + dt.timedelta(days=1))


def test_parts_are_rows_with_what_is_at_hand_and_leave_a_history(place, tess):
    parts = [Part("sensor roller", 2, True), Part("bearing", 4)]
    action = raise_action(installation=place, by=tess, title="Replace", due_on=DAY, parts=parts)
    assert [part["name"] for part in action.parts_missing] == ["bearing"]
    with pytest.raises(Refused, match="give a count from 1"):
        change_action(action, by=tess, version=1, title="Replace", due_on=DAY, owner=None, parts=[Part("bearing", 0)])
    changed = change_action(
        action, by=tess, version=1, title="Replace", due_on=DAY, owner=None, parts=[Part("bearing", 4, True)]
    )
    assert changed.parts_missing == []
    assert [len(row.parts) for row in action.history.all()] == [1, 2]
    kept = change_action(changed, by=tess, version=2, title="Replace all", due_on=DAY, owner=None)
    assert [part["name"] for part in kept.parts] == ["bearing"]


@pytest.fixture
def visit(place, tess):
    return Visit.objects.create(
        plant=place.plant, installation=place, visited_at=timezone.now(), visited_by=tess, created_by=tess
    )


def test_who_found_it_learns_once_what_became_of_it(place, visit, tess, pat):
    action = raise_action(installation=place, by=pat, title="Replace rollers", due_on=DAY, visit=visit)
    left = [{"label": "Drive side", "quantity": "mm", "value": 76.0, "typed": "76"}]
    for _twice in range(2):
        done = finish_action(action, by=pat, note="both new", as_left=left, visit=visit)
    assert (done.as_left, done.done_visit) == (left, visit)
    notice = tess.notices.get()
    assert "Replace rollers. both new" in notice.text
    assert notice.url == action.get_absolute_url()


def test_nobody_is_told_what_they_did_themselves_or_did_not_find(place, visit, tess, pat):
    finish_action(raise_action(installation=place, by=pat, title="a", due_on=DAY, visit=visit), by=tess, note="done")
    finish_action(raise_action(installation=place, by=tess, title="b", due_on=DAY), by=pat, note="done")
    assert not tess.notices.exists()


def test_a_visit_to_another_device_reads_nothing_again_here(place, visit, belt_a1, tess):
    other = make.installation(belt_a1, "2", chainage_m=400.0)
    action = raise_action(installation=other, by=tess, title="Clean", due_on=DAY)
    with pytest.raises(Refused, match="another device"):
        finish_action(action, by=tess, note="done", visit=visit)
