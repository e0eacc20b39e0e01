"""Actions: raised once, given to people of the plant, done with a note."""

import datetime as dt
import uuid

import pytest
from django.utils import timezone

from inspections.models import Action
from inspections.services.actions import change_action, finish_action, raise_action
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
