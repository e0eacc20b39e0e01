"""Moving and scrapping: the old place keeps its period, the device its notes; refusals in words."""

from __future__ import annotations

import datetime as dt

import pytest
import time_machine

from installs.services.devices import scrap_device
from installs.services.installations import begin_move, install_device
from plant.errors import ChangedMeanwhile, Refused
from tests import make

UTC = dt.UTC
NOON = dt.datetime(2026, 3, 2, 12, tzinfo=UTC)
FEB = dt.datetime(2026, 2, 10, 9, tzinfo=UTC)


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(NOON, tick=False):
        yield


@pytest.fixture
def at(belt_a1):
    return make.installation(belt_a1, "1", note="Between idlers 41 and 42.")


def move(at, by, **values):
    known = {"version": at.version, "removed_at": FEB, "reason": "no clear change; goes to B-2"}
    return begin_move(at, by=by, **{**known, **values})


def test_a_move_keeps_both_places_and_tells_where_the_device_is(alder, at, pat):
    row = move(at, pat, state="rollers at 71 mm; rack 3", left_behind="both brackets")
    assert row.removed_at == FEB
    assert row.note == "Between idlers 41 and 42. Left behind: both brackets"
    row.device.refresh_from_db()
    assert row.device.note == "2026-02-10: rollers at 71 mm; rack 3"
    there = make.conveyor(alder, tag="B-2")
    install_device(
        device=row.device, conveyor=there, strand="return", chainage_m=40.0, installed_at=FEB + dt.timedelta(days=2),
        by=pat,
    )  # fmt: skip
    assert list(row.device.installations.order_by("installed_at").values_list("conveyor__tag", flat=True)) == [
        "A-1",
        "B-2",
    ]


def test_a_move_is_refused_whole(at, pat):
    with pytest.raises(Refused, match="Say why"):
        move(at, pat, reason=" ")
    with pytest.raises(Refused):
        move(at, pat, left_behind="x" * 1000)
    at.refresh_from_db()
    assert at.removed_at is None
    row = move(at, pat)
    with pytest.raises(Refused, match=r"removed .* already"):
        move(row, pat)


def test_scrapping_has_a_reason_and_waits_for_the_removal(at, pat):
    device = at.device
    known = {"by": pat, "version": device.version, "scrapped_on": dt.date(2026, 2, 20)}
    with pytest.raises(Refused, match="stands on A-1"):
        scrap_device(device, reason="frame bent", **known)
    move(at, pat)
    device.refresh_from_db()
    with pytest.raises(Refused, match="Say why"):
        scrap_device(device, reason="", **known)
    with pytest.raises(Refused, match="removed from its place on 10 Feb 2026"):
        scrap_device(device, reason="frame bent", **{**known, "scrapped_on": dt.date(2026, 2, 9)})
    with pytest.raises(Refused, match="in the future"):
        scrap_device(device, reason="frame bent", **{**known, "scrapped_on": dt.date(2026, 3, 9)})
    device.refresh_from_db()
    scrap_device(device, reason="frame bent", **known)
    assert (device.scrapped_on, device.scrapped_reason) == (dt.date(2026, 2, 20), "frame bent")
    assert device.history.first().history_change_reason == "frame bent"
    with pytest.raises(Refused, match="scrapped on 20 Feb 2026 already"):
        scrap_device(device, reason="again", **known)


def test_scrapping_not_over_somebody_else(alder, pat):
    device = make.device(alder, "7")
    type(device).objects.filter(pk=device.pk).update(version=2)
    with pytest.raises(ChangedMeanwhile):
        scrap_device(device, by=pat, version=1, scrapped_on=dt.date(2026, 2, 20), reason="frame bent")
