import datetime as dt
import uuid

import pytest

from plant.errors import ChangedMeanwhile, Refused
from plant.models import BeltChange, OutageWindow
from plant.services.outages import cancel_outage, change_belt_change, change_outage, plan_outage, record_belt_change

pytestmark = pytest.mark.django_db


def at(day: int, hour: int) -> dt.datetime:
    return dt.datetime(2026, 12, day, hour, tzinfo=dt.UTC)


def test_a_window_is_planned_once(belt_a1, pat):
    key = uuid.uuid4()
    for _n in range(2):
        plan_outage(conveyor=belt_a1, starts_at=at(3, 6), ends_at=at(3, 12), by=pat, client_key=key, reason="splice")
    assert OutageWindow.objects.get().reason == "splice"


def test_a_window_that_ends_before_it_starts_is_refused_in_the_plants_clock(belt_a1, pat):
    with pytest.raises(Refused) as refusal:
        plan_outage(conveyor=belt_a1, starts_at=at(3, 12), ends_at=at(3, 6), by=pat)
    assert refusal.value.fields["ends_at"] == (
        "The window ends 3 Dec 2026, 07:00, which is not after its start 3 Dec 2026, 13:00. Give a later end."
    )


def test_windows_of_one_belt_lie_beside_each_other(belt_a1, pat):
    plan_outage(conveyor=belt_a1, starts_at=at(3, 6), ends_at=at(3, 12), by=pat)
    with pytest.raises(Refused, match="A-1 has a window from 3 Dec 2026, 07:00 to 3 Dec 2026, 13:00 already"):
        plan_outage(conveyor=belt_a1, starts_at=at(3, 11), ends_at=at(3, 14), by=pat)
    after = plan_outage(conveyor=belt_a1, starts_at=at(3, 12), ends_at=at(3, 14), by=pat)
    with pytest.raises(Refused, match="has a window"):
        change_outage(after, by=pat, version=1, starts_at=at(3, 10))
    assert change_outage(after, by=pat, version=1, ends_at=at(3, 15)).ends_at == at(3, 15)


def test_what_a_window_is_for_changes_apart_from_why_it_was_changed(belt_a1, pat):
    window = plan_outage(conveyor=belt_a1, starts_at=at(3, 6), ends_at=at(3, 12), by=pat, reason="splice")
    change_outage(window, by=pat, version=1, reason="splice and idlers", reason_of_change="the idlers came")
    window.refresh_from_db()
    assert window.reason == "splice and idlers"
    assert window.history.first().history_change_reason == "the idlers came"


def test_a_window_is_taken_out_with_a_reason_and_its_history_stays(belt_a1, pat):
    window = plan_outage(conveyor=belt_a1, starts_at=at(3, 6), ends_at=at(3, 12), by=pat)
    with pytest.raises(Refused, match="Say why"):
        cancel_outage(window, by=pat, version=1, why=" ")
    with pytest.raises(ChangedMeanwhile):
        cancel_outage(window, by=pat, version=9, why="no crew")
    cancel_outage(window, by=pat, version=1, why="no crew")
    assert not OutageWindow.objects.exists()
    last = OutageWindow.history.first()
    assert (last.history_type, last.history_user, last.history_change_reason) == ("-", pat, "no crew")


def test_a_change_to_a_belt_is_recorded_when_it_is_done(belt_a1, erin):
    with pytest.raises(Refused, match="lies ahead") as refusal:
        record_belt_change(
            conveyor=belt_a1, changed_at=dt.datetime(2199, 1, 1, tzinfo=dt.UTC), by=erin, kind="splice", description="x"
        )
    assert "changed_at" in refusal.value.fields
    done = record_belt_change(
        conveyor=belt_a1, changed_at=dt.datetime(2026, 1, 1, tzinfo=dt.UTC), by=erin, kind="splice", description="new"
    )
    with pytest.raises(Refused, match="250 m is not on A-1"):
        change_belt_change(done, by=erin, version=1, chainage_m=250.0)
    change_belt_change(done, by=erin, version=1, chainage_m=41.0, cuts_comparison=False)
    assert BeltChange.objects.get().chainage_m == 41.0


def test_a_change_needs_words(belt_a1, erin):
    with pytest.raises(Refused) as refusal:
        record_belt_change(
            conveyor=belt_a1, changed_at=dt.datetime(2026, 1, 1, tzinfo=dt.UTC), by=erin, kind="splice", description=""
        )
    assert list(refusal.value.fields) == ["description"]
