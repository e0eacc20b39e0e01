"""Actions: raised once, given to people of the plant, done with a note."""

import datetime as dt
import uuid

import pytest
from django.utils import timezone

from inspections.models import Action, ActionNote, Visit
from inspections.selectors.actions import alike_open, proposed_owner
from inspections.services.actions import (
    NeededPart,
    NewAction,
    add_to_action,
    change_action,
    finish_action,
    give_action,
    raise_action,
    raise_or_add,
)
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
    # First that nobody owns it, as pat plans here, then that it is theirs.
    assert [each.text.split()[0] for each in pat.notices.order_by("pk")] == ["Nobody", "tess"]
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
    with pytest.raises(Refused, match="is in the future"):
        finish_action(action, by=tess, note="x", done_at=timezone.now() + dt.timedelta(days=1))


def test_nothing_is_done_before_it_was_found(place, visit, tess):
    action = raise_action(installation=place, by=tess, title="a", due_on=DAY, visit=visit)
    with pytest.raises(Refused) as refused:
        finish_action(action, by=tess, note="x", done_at=visit.visited_at - dt.timedelta(minutes=2))
    assert "the work came after that" in refused.value.fields["done_at"]
    action.refresh_from_db()
    assert action.done_at is None
    same_minute = visit.visited_at.replace(second=0, microsecond=0)
    assert finish_action(action, by=tess, note="x", done_at=same_minute).done_at == same_minute


def test_parts_are_rows_with_what_is_at_hand_and_leave_a_history(place, tess):
    parts = [NeededPart("sensor roller", 2, True), NeededPart("bearing", 4)]
    action = raise_action(installation=place, by=tess, title="Replace", due_on=DAY, parts=parts)
    assert [part["name"] for part in action.parts_missing] == ["bearing"]
    with pytest.raises(Refused, match="give a count from 1"):
        change_action(
            action, by=tess, version=1, title="Replace", due_on=DAY, owner=None, parts=[NeededPart("bearing", 0)]
        )
    changed = change_action(
        action, by=tess, version=1, title="Replace", due_on=DAY, owner=None, parts=[NeededPart("bearing", 4, True)]
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


# --- One for one finding ---------------------------------------------------------------------------------------------
@pytest.fixture
def wear(place):
    return make.check_kind("sensor-wear")


@pytest.fixture
def open_one(place, tess, wear):
    return raise_action(installation=place, by=tess, title="Replace rollers", due_on=DAY, check_kind=wear)


def test_an_action_for_the_same_finding_or_in_the_same_words_is_alike(place, belt_a1, open_one, wear):
    pivot = make.check_kind("pivot-freedom")
    assert alike_open(place, {wear.pk}) == alike_open(place, set(), " replace ROLLERS ") == [open_one]
    assert alike_open(place, {pivot.pk}, "Free the pivot") == []
    assert alike_open(make.installation(belt_a1, "2", chainage_m=400.0), {wear.pk}, "Replace rollers") == []
    finish_action(open_one, by=open_one.created_by, note="done")
    assert alike_open(place, {wear.pk}) == []


def test_a_second_one_for_a_finding_is_made_only_knowingly(place, tess, pat, open_one, wear):
    new = NewAction("Order rollers", DAY)
    with pytest.raises(Refused, match="An action for this is open here already: Replace rollers, due 1 Dec 2026"):
        raise_or_add(new, installation=place, by=tess, kinds={wear.pk})
    assert Action.objects.count() == 1
    another = raise_or_add(
        NewAction("Order rollers", DAY, is_another=True), installation=place, by=tess, kinds={wear.pk}
    )
    assert (another.beside, Action.objects.count()) == (open_one, 2)
    assert not pat.notices.filter(key__contains="beside").exists()  # it was chosen, so nobody has to sort it out


def test_what_is_added_stands_on_the_open_one_once_and_its_owner_is_told(place, tess, pat, open_one, wear, visit):
    give_action(open_one, by=pat, version=open_one.version, owner=pat)
    key = uuid.uuid4()
    new = NewAction("Off side is flat as well", DAY, add_to=open_one)
    for _twice in range(2):
        assert raise_or_add(new, installation=place, by=tess, visit=visit, client_key=key) == open_one
    note = ActionNote.objects.get()
    assert (note.action, note.visit, note.text, note.created_by) == (open_one, visit, new.title, tess)
    assert Action.objects.count() == 1
    assert "tess added to the action “Replace rollers”" in pat.notices.get(key__contains="note").text


def test_an_addition_that_is_sent_again_after_the_action_was_done_raises_no_other(place, tess, open_one, wear):
    """The answer to a phone was lost, the action was done; its choice of an open one means nothing any more then."""
    key = uuid.uuid4()
    raise_or_add(NewAction("Off side too", DAY, add_to=open_one), installation=place, by=tess, client_key=key)
    finish_action(open_one, by=tess, note="done")
    again = raise_or_add(NewAction("Off side too", DAY), installation=place, by=tess, client_key=key, may_ask=False)
    assert (again, Action.objects.count(), ActionNote.objects.count()) == (open_one, 1, 1)


def test_nothing_is_added_to_what_is_done_or_stands_elsewhere(place, belt_a1, tess, open_one):
    other = make.installation(belt_a1, "2", chainage_m=400.0)
    with pytest.raises(Refused, match="one of another device"):
        add_to_action(open_one, installation=other, by=tess, text="too")
    finish_action(open_one, by=tess, note="done")
    with pytest.raises(Refused, match="is done meanwhile"):
        add_to_action(open_one, installation=place, by=tess, text="too")


def test_what_a_phone_kept_without_knowing_is_raised_beside_it_and_the_planners_are_told(
    place, tess, pat, open_one, wear
):
    row = raise_or_add(NewAction("Rollers", DAY), installation=place, by=tess, kinds={wear.pk}, may_ask=False)
    assert row.beside == open_one
    assert "Two actions for one finding" in pat.notices.get(key__contains="beside").text


# --- Whose it is ------------------------------------------------------------------------------------------------------
def test_who_is_proposed_as_the_owner(alder, tess, pat):
    assert proposed_owner(alder, tess) == pat  # the only planner
    assert proposed_owner(alder, pat) == pat
    second = make.person("paul", alder, "planner")
    assert proposed_owner(alder, tess) is None  # nobody is picked of two
    assert proposed_owner(alder, second) == second


def test_nobody_owns_it_yet_and_the_planners_are_told_until_one_gives_it(place, tess, pat, erin):
    action = raise_action(installation=place, by=tess, title="Clean", due_on=DAY)
    assert list(Action.objects.unowned()) == [action]
    assert "Nobody owns this yet, give it to somebody: Clean at " in pat.notices.get().text
    given = give_action(action, by=pat, version=action.version, owner=erin)
    assert (given.owner, given.title, given.due_on) == (erin, "Clean", DAY)
    assert "pat gave you an action" in erin.notices.get().text
    assert not Action.objects.unowned().exists()
    with pytest.raises(ChangedMeanwhile):
        give_action(action, by=pat, version=1, owner=pat)
