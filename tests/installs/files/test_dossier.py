"""Sections of the dossier say what people recorded, as they recorded it."""

from __future__ import annotations

import datetime as dt

import pytest

from installs.files.dossier import (
    Drawings,
    fit_up_sections,
    isolation_section,
    point_section,
    run_sections,
    torque_section,
)
from installs.models import BeltOffset, FitUp, HoldPoint, Isolation, PassedFastener, TrialRun
from plant.calc.units import UnitSystem
from tests import make

pytestmark = pytest.mark.django_db
NOW = dt.datetime(2026, 11, 20, 9, tzinfo=dt.UTC)


@pytest.fixture
def job(belt_a1, alder):
    make.device_model(alder)
    return make.fitting(belt_a1)


def isolation(job, by, cycle, **values):
    at = NOW + dt.timedelta(hours=cycle)
    return Isolation.objects.create(fitting=job, cycle=cycle, isolated_at=at, isolated_by=by, points="Q1", **values)


def test_an_adjustment_is_printed_with_both_sides_and_the_person_s_words(job, tess):
    isolation(job, tess, 1)
    isolation(job, tess, 2, adjustment_mm=2.0, adjustment_off_mm=3.0)
    isolation(job, tess, 3, adjustment_mm=6.0, adjustment_off_mm=3.0, adjustment_note="arm was bent back")
    isolation(job, tess, 4, adjustment_mm=4.0)
    isolation(job, tess, 5)
    work = [row[4] for row in isolation_section(job, UnitSystem.METRIC)["rows"]]
    assert work[0] == "the fitting itself"
    assert work[1].startswith(
        "2 mm inward on the drive side, 3 mm outward on the off side: the sum of the gaps becomes 1 mm"
    )
    assert work[2].endswith("3 mm narrower. arm was bent back")
    assert work[3] == "4 mm inward on the drive side; what was moved on the off side was not kept."
    assert work[4] == "–"


def test_a_point_passed_over_keeps_its_note_beside_the_reason(job, tess):
    HoldPoint.objects.create(
        fitting=job,
        point="parts",
        confirmed_at=NOW,
        confirmed_by=tess,
        passed_over_reason="come at noon.",
        note="3 of 4",
    )
    assert point_section(job)["rows"][0][-1] == "come at noon. 3 of 4"


def test_a_reason_that_ends_with_a_mark_of_its_own_gets_no_full_stop(job, tess):
    words = {"passed_over_reason": "Who has the chocks?", "note": "Asked the store."}
    HoldPoint.objects.create(fitting=job, point="parts", confirmed_at=NOW, confirmed_by=tess, **words)
    assert point_section(job)["rows"][0][-1] == "Who has the chocks? Asked the store."


def test_a_start_value_is_not_printed_as_measured(job, tess):
    FitUp.objects.create(fitting=job, bracket_spacing_mm=1640.0, frame_length_mm=1505.0)
    sections = fit_up_sections(job, UnitSystem.METRIC, Drawings())
    rows = {row[0]: row for section in sections for row in section["rows"]}
    assert rows["End play in total, wanted"][1:] == ["–", "13 mm", "6 mm to 19 mm (common practice)", "start value"]


def test_a_fastener_passed_over_is_printed_with_who_when_and_why(job, tess):
    pivot = job.device_model.fasteners.get(place="pivot")
    PassedFastener.objects.create(
        fitting=job, fastener=pivot, number=1, reason="socket is missing", passed_at=NOW, passed_by=tess
    )
    found = torque_section(job, UnitSystem.METRIC)
    assert found["words"] == "0 of 5 fasteners are signed off, 1 passed over with a reason."
    assert found["rows"][-1] == [
        "pivot 1", "130 N·m ± 10 %", "–", {"mark": "watch", "words": "passed over"}, "tess, 2026-11-20 09:00",
        "socket is missing",
    ]  # fmt: skip
    assert found["rows"][0][3]["words"] == "not signed off"


def test_a_run_whose_time_is_in_doubt_is_printed_with_the_arithmetic_and_the_reason(job, tess):
    doubt = {
        "rule": "since_locks", "minutes": 31.0, "begins_at": "2026-11-20T08:45:00+00:00",
        "against": "2026-11-20T09:14:45+00:00", "apart_s": 75.0, "other": None,
    }  # fmt: skip
    run = TrialRun.objects.create(
        fitting=job, cycle=1, is_loaded=True, started_at=NOW, minutes=31.0, created_by=tess, note="dry belt",
        time_doubts=[doubt], time_reason="written down late",
    )  # fmt: skip
    BeltOffset.objects.create(
        plant=job.plant, conveyor=job.conveyor, strand="return", chainage_m=80.0, offset_mm=3.0, is_loaded=True,
        taken_at=NOW, occasion="trial_run", trial_run=run,
    )  # fmt: skip
    runs, target = run_sections(job, UnitSystem.METRIC)
    assert runs["rows"][0][-1] == (
        "31 min, but only 1 min 15 s had passed since the locks came back at 09:14. Confirmed: written down late; "
        "dry belt"
    )
    assert any("Entered as watched loaded for 31 min" in words for _mark, words in target["rows"])
