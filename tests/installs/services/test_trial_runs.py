"""Trial runs: refused while hold points are open, asked about where their times cannot be."""

from __future__ import annotations

import datetime as dt
import uuid

import pytest

from installs.calc.commissioning import AcceptanceRule
from installs.models import BeltOffset, TrialRun
from installs.selectors.commissioning import acceptance_of, current_runs, offsets_of, time_doubts_of
from installs.selectors.job_steps import job_of
from installs.services.fittings import plan_fitting
from installs.services.torque import withdraw_torque
from installs.services.trial_runs import add_readings, withdraw_trial_run
from installs.words.job_steps import step_words
from plant.calc.units import UnitSystem
from plant.errors import Refused
from tests import make
from tests.installs.jobs import (
    GOOD,
    at,
    confirm,
    confirm_next_cycle,
    entered,
    fit,
    following,
    fresh,
    isolate,
    moved,
    run,
    settle,
    sign_all,
    up_to_the_guards,
)

pytestmark = pytest.mark.django_db


def test_no_trial_run_before_the_restraint_is_recorded(job, tess):
    with pytest.raises(Refused, match="No trial run before the transport restraint"):
        run(job, tess, 1)
    isolate(job, tess, 0)
    confirm(job, tess, 1, "parts")
    with pytest.raises(Refused, match="No trial run before the transport restraint"):
        run(job, tess, 5)
    assert TrialRun.objects.count() == 0


@pytest.mark.parametrize("n_points", [3, 4, 5])
def test_no_trial_run_before_the_locks_are_handed_back(job, tess, n_points):
    isolate(job, tess, 0)
    confirm(job, tess, 1, *["parts", "restraint", "clear", "guards", "people"][:n_points])
    with pytest.raises(Refused, match="No trial run yet: “"):
        run(job, tess, 20)


@pytest.mark.parametrize("passed_over", ["guards", "people"])
def test_no_trial_run_where_guards_or_people_were_passed_over(job, tess, passed_over):
    isolate(job, tess, 0)
    confirm(job, tess, 1, "parts", "restraint", "clear")
    for number, point in enumerate(("guards", "people")):
        reason = {"passed_over_reason": "comes later"} if point == passed_over else {}
        confirm(job, tess, 5 + number, point, **reason)
    confirm(job, tess, 8, "locks")
    with pytest.raises(Refused, match=r"was passed over \(comes later\)"):
        run(job, tess, 20)


def test_a_run_that_cannot_have_been_watched_is_asked_about_and_never_clipped(job, tess):
    fit(job, tess)  # locks back at minute 6
    with pytest.raises(Refused) as no:
        entered(job, tess, 31.0, 75, is_loaded=True)
    assert (no.value.code, list(no.value.fields)) == ("time", ["time_reason"])
    assert no.value.message == (
        "31 min, but only 1 min 15 s had passed since the locks came back at 09:06. Correct the start or the minutes, "
        "or say why they stand; the reason stays on the record."
    )
    assert TrialRun.objects.count() == 0
    assert entered(job, tess, 1.2, 75).started_at == at(6) + dt.timedelta(seconds=3)


def test_confirmed_with_a_reason_it_stands_as_entered_and_the_doubt_with_it(job, tess):
    fit(job, tess)
    row = entered(job, tess, 31.0, 75, is_loaded=True, time_reason="the locks came back at nine, I wrote it down late")
    assert (row.minutes, row.started_at) == (31.0, at(6) + dt.timedelta(seconds=75) - dt.timedelta(minutes=31))
    assert [each.rule for each in time_doubts_of(row)] == ["since_locks"]
    line = next(each for each in acceptance_of(job).lines if each.key == "loaded-minutes")
    assert (line.why.rule, line.why.values["watched_min"]) == (AcceptanceRule.TIME_DOUBTED, 31.0)
    step = next(each for each in job_of(fresh(job)).steps if each.key == "run" and each.row)
    assert step.state == "passed_over"
    assert step_words(step, UnitSystem.METRIC)[1:] == (
        "31 min, but only 1 min 15 s had passed since the locks came back at 09:06.",
        "Confirmed: the locks came back at nine, I wrote it down late",
    )


def test_three_runs_entered_within_a_minute_are_each_asked_about(job, tess):
    fit(job, tess)
    for minutes, seconds, asked in ((16.0, 30, ["since_locks"]), (16.0, 60, ["since_locks", "overlap"])):
        with pytest.raises(Refused, match="Correct the start or the minutes"):
            entered(job, tess, minutes, seconds)
        row = entered(job, tess, minutes, seconds, time_reason="entered from paper")
        assert [each.rule for each in time_doubts_of(row)] == asked
    with pytest.raises(Refused, match="16 min; a belt makes one run at a time"):
        entered(job, tess, 31.0, 75, is_loaded=True)


def test_runs_entered_late_with_their_starts_are_not_asked_about(job, tess):
    fit(job, tess)
    for minute, watched in ((7, 16.0), (24, 16.0), (41, 31.0)):
        row = run(job, tess, minute, minutes=watched, now=at(300))
        assert (row.started_at, row.minutes, row.time_doubts, row.time_reason) == (at(minute), watched, [], "")
    with pytest.raises(Refused, match="overlap another run of the belt, empty from 09:41 to 10:12, by 12 min"):
        run(job, tess, 60, minutes=15.0, now=at(300))


def test_a_run_of_another_job_on_the_same_belt_is_seen_and_one_of_another_belt_is_not(job, tess, pat, alder):
    fit(job, tess)
    run(job, tess, 10)
    beside = plan_fitting(
        conveyor=job.conveyor, device_model=job.device_model, chainage_m=150.0, strand="return", by=pat
    )
    settle(beside, pat)
    fit(beside, tess)
    with pytest.raises(Refused, match=r"empty from 09:10 to 09:50 \(A-1 return 100 m\), by 30 min"):
        run(beside, tess, 20)
    elsewhere = plan_fitting(
        conveyor=make.conveyor(alder, tag="B-7"),
        device_model=job.device_model,
        chainage_m=50.0,
        strand="return",
        by=pat,
    )
    fit(settle(elsewhere, pat), tess)
    assert run(elsewhere, tess, 20).time_doubts == []


def test_a_withdrawn_run_is_in_nobody_s_way(job, tess):
    fit(job, tess)
    withdraw_trial_run(run(job, tess, 10), by=tess, reason="wrong belt")
    assert run(job, tess, 20).time_doubts == []


def test_the_run_that_ended_last_decides_also_where_its_start_cannot_be(job, tess):
    fit(job, tess)
    entered(job, tess, 16.0, 60, time_reason="from paper")
    good = entered(job, tess, 31.0, 90, time_reason="from paper")
    assert current_runs(job)[-1] == good
    assert good.started_at < current_runs(job)[0].started_at


def test_a_run_from_before_an_adjustment_is_never_the_last_one(job, tess):
    """Its readings would else become those of the installation at acceptance."""
    fit(job, tess)
    before = run(job, tess, 10, minutes=600.0, is_loaded=True, now=at(20), time_reason="as the control room wrote it")
    moved(isolate(job, tess, 30), tess, 3.0, 3.0)
    confirm(job, tess, 32, "clear", "guards", "people", "locks")
    after = run(job, tess, 40, is_loaded=True, time_reason="by the clock at the drive")
    assert after.ends_at < before.ends_at
    assert current_runs(job) == [before, after]


@pytest.mark.parametrize("minutes", [0.0, -3.0, 1441.0])
def test_minutes_that_no_run_takes_are_refused(job, tess, minutes):
    fit(job, tess)
    with pytest.raises(Refused, match="give more than 0, up to 1440 min"):
        run(job, tess, 20, minutes=minutes, now=at(2000))


@pytest.mark.parametrize(
    ("offsets", "words"),
    [
        ([], "at one station at least"),
        ([(201.0, 3.0)], "is not on A-1: give 0 to 200 m"),
        ([(40.0, 3.0), (40.0, 4.0)], "is there twice"),
        ([(40.0, 1300.0)], "more than the belt is wide"),
    ],
)
def test_stations_that_cannot_be_are_refused(job, tess, offsets, words):
    fit(job, tess)
    with pytest.raises(Refused, match=words):
        run(job, tess, 20, offsets=offsets)


def test_no_trial_run_where_a_sign_off_was_withdrawn_after_the_guards(unsigned, tess):
    job = unsigned
    up_to_the_guards(job, tess)
    signed = sign_all(job, tess, 5)
    confirm(job, tess, 6, "guards", "people", "locks")
    withdraw_torque(signed[-1], by=tess, reason="it was the other pivot")
    assert following(job).name == "torque"
    with pytest.raises(Refused, match="Not signed off: pivot 1"):
        run(job, tess, 20)
    with pytest.raises(Refused, match="Not signed off: pivot 1"):
        confirm_next_cycle(job, tess)


def test_readings_are_added_only_while_the_belt_is_as_it_was_in_the_run(job, tess):
    fit(job, tess)
    row = run(job, tess, 20, offsets=[(40.0, 12.0)])
    for offsets, words in (([(40.0, 3.0)], "is there twice"), ([], "at one station at least"), ([(201.0, 1.0)], "A-1")):
        with pytest.raises(Refused, match=words):
            add_readings(row, by=tess, offsets=offsets, now=at(70))
    with pytest.raises(Refused, match="is before the run began"):
        add_readings(row, by=tess, offsets=[(160.0, 3.0)], taken_at=at(10), now=at(70))
    with pytest.raises(Refused, match="in the future"):
        add_readings(row, by=tess, offsets=[(160.0, 3.0)], taken_at=at(120), now=at(70))
    isolation = isolate(job, tess, 80)
    with pytest.raises(Refused, match="No trial run yet"):
        add_readings(row, by=tess, offsets=[(160.0, 3.0)], now=at(81))
    moved(isolation, tess, 3.0, 3.0)
    confirm(job, tess, 82, "clear", "guards", "people", "locks")
    with pytest.raises(Refused, match="isolated for an adjustment since this run"):
        add_readings(row, by=tess, offsets=[(160.0, 3.0)], now=at(90))
    assert BeltOffset.objects.count() == 1


def test_a_withdrawn_run_takes_no_reading(job, tess):
    fit(job, tess)
    row = run(job, tess, 20)
    withdraw_trial_run(row, by=tess, reason="wrong belt")
    row.refresh_from_db()
    with pytest.raises(Refused, match="This run was withdrawn"):
        add_readings(row, by=tess, offsets=[(120.0, 3.0)], now=at(70))


def test_a_reading_sent_twice_counts_once(job, tess):
    fit(job, tess)
    row, key = run(job, tess, 20, offsets=[(40.0, 12.0)]), uuid.uuid4()
    for _ in range(2):
        add_readings(row, by=tess, offsets=[(160.0, 3.0)], client_key=key, now=at(70))
    assert [each.chainage_m for each in offsets_of(current_runs(job)[0])] == [40.0, 160.0]
    with pytest.raises(Refused, match="is there twice"):
        add_readings(row, by=tess, offsets=[(160.0, 5.0)], now=at(70))


def test_a_withdrawn_run_and_its_offsets_count_no_more(job, tess):
    fit(job, tess)
    row = run(job, tess, 20)
    withdraw_trial_run(row, by=tess, reason="read on the wrong belt")
    assert current_runs(job) == []
    assert BeltOffset.objects.current().count() == 0
    assert BeltOffset.objects.count() == 2 * len(GOOD)
