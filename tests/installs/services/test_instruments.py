"""The register of instruments: ranges in order, calibration with its history."""

from __future__ import annotations

import datetime as dt

import pytest

from installs.models import Instrument
from installs.services.instruments import add_instrument, calibrate_instrument, change_instrument
from plant.errors import ChangedMeanwhile, Refused
from tests import make

pytestmark = pytest.mark.django_db


def test_a_wrench_without_a_figure_gets_the_one_of_the_standard(alder, pat):
    # ISO 6789:2003, type II class A, as read in a summary: 6 % up to and including 10 N·m, 4 % above.
    large = add_instrument(plant=alder, by=pat, number="W-1", range_least_nm=20.0, range_most_nm=100.0)
    small = add_instrument(plant=alder, by=pat, number="W-2", range_least_nm=2.0, range_most_nm=10.0)
    own = add_instrument(plant=alder, by=pat, number="W-3", range_most_nm=100.0, deviation_pct=3.0)
    tape = add_instrument(plant=alder, by=pat, number="T-1", kind=Instrument.Kind.TAPE)
    assert [each.deviation_pct for each in (large, small, own, tape)] == [4, 6, 3, None]


@pytest.mark.parametrize(
    ("values", "field", "words"),
    [
        ({"number": "w-07"}, "number", "Instrument w-07 is in the book already"),
        ({"range_least_nm": 100.0, "range_most_nm": 20.0}, "range_least_nm", "runs from 100 N·m to 20 N·m"),
        ({"range_least_nm": -1.0}, "range_least_nm", "-1 N·m is negative"),
        ({"range_most_nm": 0.0}, "range_most_nm", "measures nothing"),
        ({"calibrated_on": dt.date(2099, 1, 1)}, "calibrated_on", "1 Jan 2099 has not come yet"),
        (
            {"calibrated_on": dt.date(2026, 5, 4), "calibration_due_on": dt.date(2026, 5, 3)},
            "calibration_due_on",
            "would be due on 3 May 2026, before that",
        ),
    ],
)
def test_what_does_not_go_together(alder, pat, values, field, words):
    make.torque_wrench(alder)
    with pytest.raises(Refused) as refusal:
        add_instrument(plant=alder, by=pat, **{"number": "W-9", **values})
    assert words in refusal.value.fields[field]


def test_a_calibration_is_recorded_with_its_history(alder, pat):
    tool = make.torque_wrench(alder)
    done = {"calibrated_on": dt.date(2026, 11, 2), "calibration_due_on": dt.date(2027, 11, 2), "certificate": "C-81"}
    row = calibrate_instrument(tool, by=pat, version=1, deviation_pct=3.5, **done)
    assert (row.calibration_due_on, row.certificate, row.deviation_pct) == (dt.date(2027, 11, 2), "C-81", 3.5)
    assert row.history.first().history_user == pat
    with pytest.raises(ChangedMeanwhile):
        calibrate_instrument(tool, by=pat, version=1, **done)


def test_a_calibration_needs_both_days_and_a_tool_in_use(alder, pat):
    tool = make.torque_wrench(alder, retired_on=dt.date(2026, 10, 1))
    days = {"calibrated_on": dt.date(2026, 11, 2), "calibration_due_on": dt.date(2027, 11, 2)}
    with pytest.raises(Refused, match="no longer used since 1 Oct 2026"):
        calibrate_instrument(tool, by=pat, version=1, **days)
    tool = change_instrument(tool, by=pat, version=1, retired_on=None)
    for missing in days:
        with pytest.raises(Refused, match="Give the "):
            calibrate_instrument(tool, by=pat, version=2, **{**days, missing: None})


def test_who_is_second_has_to_look(alder, pat):
    tool = make.torque_wrench(alder)
    change_instrument(tool, by=pat, version=1, note="in the crib")
    with pytest.raises(ChangedMeanwhile):
        change_instrument(Instrument.objects.get(), by=pat, version=1, note="in the van")
