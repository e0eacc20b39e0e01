"""Acceptance and hand-over of a job."""

from __future__ import annotations

import pytest

from inspections.models import Task
from installs.models import BeltOffset, HoldPoint, Installation
from installs.selectors.commissioning import current_runs, left_open, target_of
from installs.selectors.job_steps import job_of
from installs.selectors.torque import open_fasteners, torque_rows
from installs.services.acceptance import hand_over_fitting
from installs.services.commissioning import correct_point
from installs.services.fit_up import save_fit_up
from installs.services.fittings import change_fitting, give_up_fitting
from installs.services.torque import pass_over_fasteners, sign_off_torque
from installs.services.trial_runs import add_readings, withdraw_trial_run
from installs.words.job_steps import step_words
from installs.words.torque import open_work_words
from plant.calc.units import UnitSystem
from plant.errors import Refused
from tests import make
from tests.installs.jobs import GOOD, accepted, at, finish, fit, fresh, isolate, run, sign_all, up_to_the_guards

pytestmark = pytest.mark.django_db


def test_what_was_passed_over_is_said_at_acceptance_and_hand_over(unsigned, tess):
    job = unsigned
    up_to_the_guards(job, tess)
    sign_all(job, tess, 5, but=1)
    pass_over_fasteners(
        fitting=job, fasteners=open_fasteners(torque_rows(job)), reason="socket is missing", by=tess, now=at(7)
    )
    assert open_work_words(left_open(job))[1:] == [
        "Torque: 4 of 5 fasteners signed off.",
        "pivot 1 passed over: socket is missing (tess, 20 Nov 2026, 09:07).",
    ]
    sign_off_torque(
        fitting=fresh(job), fastener=job.device_model.fasteners.get(place="pivot"), number=1, torque_nm=130.0, by=tess,
        instrument=torque_rows(job)[0].signed[0].row.instrument, signed_at=at(8), now=at(8),
    )  # fmt: skip
    assert open_work_words(left_open(job))[1:] == []


def test_an_accepted_job_is_not_given_up(job, tess, finished):
    fit(job, tess)
    run(job, tess, 20)
    run(job, tess, 120, is_loaded=True)
    accepted(job, tess)
    with pytest.raises(Refused, match="The device is on the belt: hand the job over"):
        give_up_fitting(fresh(job), by=tess, version=fresh(job).version, reason="no crew")
    assert fresh(job).given_up_at is None


def test_acceptance_needs_every_station_empty_and_loaded_within_the_target(job, tess, finished):
    fit(job, tess)
    with pytest.raises(Refused, match="without one there is nothing to accept"):
        accepted(job, tess)
    run(job, tess, 20)
    with pytest.raises(Refused, match="No trial run loaded"):
        accepted(job, tess)
    # 5 % of 1200 mm is 60 mm.
    run(job, tess, 70, is_loaded=True, offsets=[(40.0, 61.0), (160.0, 0.0)])
    with pytest.raises(Refused, match="61 mm at 40 m to the drive side; wanted at most 60 mm"):
        accepted(job, tess)
    run(job, tess, 120, is_loaded=True)
    done = accepted(job, tess)
    assert (done.accepted_by, done.accepted_reason) == (tess, "")


def test_acceptance_with_a_reason_keeps_it(job, tess):
    fit(job, tess)
    run(job, tess, 20)
    done = accepted(job, tess, reason="no material until Monday; loaded run follows then")
    assert "Monday" in done.accepted_reason
    with pytest.raises(Refused, match="What is left is the hand-over"):
        run(job, tess, 210)


def test_open_measures_and_torques_hold_the_acceptance_back_unless_a_reason_stays(job, tess, alder):
    """All lines of the trial runs are met; the fit-up and the fasteners have to be done as well."""
    fit(job, tess)
    run(job, tess, 20)
    run(job, tess, 70, is_loaded=True)
    with pytest.raises(Refused) as no:
        accepted(job, tess)
    assert no.value.code == "open"
    assert (
        "Fit-up sheet: nothing is measured yet. Torque: 0 of 5 fasteners signed off. clamp 1, clamp 2, clamp 3, "
        "clamp 4, pivot 1 passed over: tightened by hand" in no.value.message
    )
    save_fit_up(fitting=fresh(job), by=tess, version=0, bracket_spacing_mm=1640.0, frame_length_mm=1505.0)
    wrench = make.torque_wrench(alder)
    for fastener in job.device_model.fasteners.all():
        for number in range(1, fastener.count + 1):
            sign_off_torque(
                fitting=fresh(job),
                fastener=fastener,
                number=number,
                torque_nm=fastener.torque_nm,
                by=tess,
                instrument=wrench,
                signed_at=at(100),
                now=at(100),
            )
    with pytest.raises(Refused) as no:
        accepted(job, tess)
    assert "Fit-up sheet, not measured: " in no.value.message
    assert "more. Finish it" in no.value.message
    assert "Torque" not in no.value.message
    done = accepted(job, tess, reason="squareness follows at the next stop")
    assert done.accepted_reason == "squareness follows at the next stop"
    assert "squareness follows" in str([step_words(step, UnitSystem.METRIC) for step in job_of(done).closing])


def test_a_reason_given_with_an_acceptance_stays_though_none_was_asked_for(job, tess, finished):
    fit(job, tess)
    run(job, tess, 20)
    run(job, tess, 70, is_loaded=True)
    assert accepted(job, tess, reason="seen with the shift leader").accepted_reason == "seen with the shift leader"


def test_access_and_open_points_are_handed_over_whole(job, tess, pat):
    access, points = "gate 3, " * 22, "touch up the paint on bracket; " * 20
    survey = make.survey(job, surveyed_by=tess, access=access.strip())
    change_fitting(fresh(job), by=pat, version=job.version, survey=survey)
    finish(job, tess)
    made = hand_over_fitting(
        fitting=job, by=tess, version=fresh(job).version, handed_over_to="shift B", open_points=points, now=at(210)
    )
    assert (made.access, made.note) == (access.strip(), points.strip())


def test_open_points_that_do_not_fit_are_refused_at_their_field(job, tess):
    finish(job, tess)
    with pytest.raises(Refused) as refusal:
        hand_over_fitting(
            fitting=job, by=tess, version=fresh(job).version, handed_over_to="B", open_points="x" * 1001, now=at(210)
        )
    assert refusal.value.fields == {
        "open_points": "The open points have 1001 characters; up to 1000 fit. Shorten the text."
    }
    assert Installation.objects.count() == 0


def test_the_plant_s_own_run_off_decides(job, tess, alder):
    assert target_of(job) == 60.0
    alder.runoff_share_pct = 3
    alder.save()
    job.refresh_from_db()
    assert target_of(job) == 36.0
    job.target_offset_mm = 20.0
    assert target_of(job) == 20.0


def test_only_the_hand_over_makes_the_installation_and_its_first_tasks(
    job, tess, pat, django_capture_on_commit_callbacks
):
    kind = make.check_kind()
    make.check_plan(job.device_model, kind, interval_days=90)
    finish(job, tess)
    assert Installation.objects.count() == 0
    assert Task.objects.count() == 0
    with django_capture_on_commit_callbacks(execute=True):
        installation = hand_over_fitting(
            fitting=job,
            by=tess,
            version=fresh(job).version,
            handed_over_to="shift B",
            open_points="guard handle loose",
            now=at(210),
        )
    job = fresh(job)
    assert job.installation == installation
    assert (job.handed_over_by, job.handed_over_to, job.open_points) == (tess, "shift B", "guard handle loose")
    assert installation.installed_at == at(210)
    assert Task.objects.filter(installation=installation, check_kind=kind).exists()
    rows = BeltOffset.objects.filter(installation=installation)
    assert {row.occasion for row in rows} == {"acceptance"}
    assert sorted((row.chainage_m, row.offset_mm, row.is_loaded) for row in rows) == sorted(
        (chainage, offset, loaded) for chainage, offset in GOOD for loaded in (False, True)
    )
    # The readings of the runs themselves stay as they were.
    assert BeltOffset.objects.filter(occasion="trial_run", installation=None).count() == 4


def test_a_hand_over_sent_twice_makes_one_installation(job, tess):
    finish(job, tess)
    version = fresh(job).version
    rows = {
        hand_over_fitting(fitting=job, by=tess, version=version, handed_over_to="shift B", now=at(210)).pk
        for _ in range(2)
    }
    assert len(rows) == 1
    assert Installation.objects.count() == 1


def test_no_hand_over_before_acceptance_or_to_nobody(job, tess):
    fit(job, tess)
    with pytest.raises(Refused, match="Accept the job first"):
        hand_over_fitting(fitting=job, by=tess, version=fresh(job).version, handed_over_to="shift B")
    run(job, tess, 20)
    accepted(job, tess, reason="loaded later")
    with pytest.raises(Refused, match="Say who takes it over"):
        hand_over_fitting(fitting=job, by=tess, version=fresh(job).version, handed_over_to=" ", now=at(210))


def test_what_a_job_was_accepted_with_stays_and_the_words_lead_to_the_hand_over(job, tess):
    finish(job, tess)
    people = HoldPoint.objects.current().get(point="people")
    acts = [
        lambda: withdraw_trial_run(current_runs(job)[0], by=tess, reason="wrong belt"),
        lambda: add_readings(current_runs(job)[0], by=tess, offsets=[(120.0, 3.0)], now=at(210)),
        lambda: correct_point(people, by=tess, reason="one was left", withdraw=True),
        lambda: correct_point(people, by=tess, reason="one was left", passed_over_reason="nobody looked"),
        lambda: isolate(job, tess, 210),
    ]
    for act in acts:
        with pytest.raises(Refused, match="name there, as an open point, what does not hold"):
            act()
    note = correct_point(people, by=tess, reason="left out", note="both crews")
    assert (note.note, note.counts) == ("both crews", True)
    hand_over_fitting(fitting=job, by=tess, version=fresh(job).version, handed_over_to="B", now=at(210))
    for act in acts:
        with pytest.raises(Refused, match="What is found since is recorded at the installation"):
            act()
