"""Commissioning: hold points in order, isolations by cycle, trial runs, acceptance, hand-over."""

from __future__ import annotations

import datetime as dt
import io
import uuid

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from inspections.models import Task
from installs.calc.commissioning import next_point
from installs.models import BeltOffset, HoldPoint, Installation, Isolation, TrialRun
from installs.selectors.commissioning import (
    acceptance_of,
    current_cycle,
    current_points,
    current_runs,
    done_in,
    left_open,
    offsets_of,
    open_isolation,
    target_of,
    time_doubts_of,
)
from installs.selectors.job_steps import is_loaded_next, job_of
from installs.selectors.torque import open_fasteners, torque_rows
from installs.services import commissioning, trial_runs
from installs.services.acceptance import accept_fitting, hand_over_fitting
from installs.services.commissioning import confirm_point, correct_point, record_adjustment, record_isolation
from installs.services.device_models import change_device_model
from installs.services.fit_up import save_fit_up
from installs.services.fittings import change_fitting, give_up_fitting, plan_fitting
from installs.services.torque import pass_over_fasteners, sign_off_torque, withdraw_torque
from installs.services.trial_runs import add_readings, record_trial_run, withdraw_trial_run
from plant.errors import ChangedMeanwhile, Refused
from plant.services.photos import keep_photo
from tests import make

pytestmark = pytest.mark.django_db
NOW = dt.datetime(2026, 11, 20, 9, tzinfo=dt.UTC)
GOOD = [(40.0, 12.0), (160.0, -8.0)]


def at(minutes):
    return NOW + dt.timedelta(minutes=minutes)


@pytest.fixture
def unsigned(belt_a1, pat):
    """A job of which no fastener is signed off or passed over yet."""
    device = make.device(belt_a1.plant, "70")
    return plan_fitting(
        conveyor=belt_a1, device_model=device.device_model, device=device, chainage_m=100.0, strand="return", by=pat
    )


@pytest.fixture
def job(unsigned, pat):
    """A job whose torques hold nothing up."""
    return settle(unsigned, pat)


def settle(job, by):
    """Pass every fastener over, with a reason."""
    left = open_fasteners(torque_rows(job))
    pass_over_fasteners(fitting=job, fasteners=left, reason="tightened by hand", by=by, now=NOW)
    return job


@pytest.fixture
def photo(alder, tess):
    buffer = io.BytesIO()
    Image.new("RGB", (30, 20), "brown").save(buffer, format="JPEG")
    return keep_photo(plant=alder, file=SimpleUploadedFile("pin.jpg", buffer.getvalue()), by=tess)


def isolate(job, by, minute, **values):
    known = {"points": "Main switch 4, lock 12", "tried_start": True, "isolated_at": at(minute), "now": at(minute)}
    return record_isolation(fitting=job, by=by, **{**known, **values})


def confirm(job, by, minute, *points, **values):
    rows = []
    for number, point in enumerate(points):
        known = {"confirmed_at": at(minute + number), "now": at(minute + number)}
        if point == "locks":
            known["handed_back_by"] = "tess"
        if point == "restraint":
            known["note"] = "no camera in this gallery"
        rows.append(confirm_point(fitting=job, point=point, by=by, **{**known, **values}))
    return rows


def run(job, by, minute, **values):
    """A run of 40 minutes, entered when it is over."""
    known = {"minutes": 40.0, "offsets": GOOD, "started_at": at(minute)}
    known["now"] = at(minute) + dt.timedelta(minutes=values.get("minutes", 40.0))
    return record_trial_run(fitting=job, by=by, **{**known, **values})


def fit(job, by, minute=0):
    """The first cycle, whole."""
    isolate(job, by, minute)
    confirm(job, by, minute + 1, "parts", "restraint", "clear", "guards", "people", "locks")


def fresh(job):
    job.refresh_from_db()
    return job


def test_the_isolation_begins_the_job_and_is_the_first_hold_point(job, tess, pat):
    isolation = isolate(job, tess, 0, people=[pat], other_people="two riggers")
    assert isolation.cycle == 1
    assert set(isolation.people.all()) == {tess, pat}
    assert fresh(job).begun_at == at(0)
    row = HoldPoint.objects.get()
    assert (row.point, row.confirmed_by, row.confirmed_at) == ("lockout", tess, at(0))


def test_an_isolation_without_tried_start_needs_a_reason_that_stays(job, tess):
    with pytest.raises(Refused, match="Try to start the belt"):
        isolate(job, tess, 0, tried_start=False)
    isolate(job, tess, 0, tried_start=False, not_tried_reason="no button at this end")
    assert "no button at this end" in HoldPoint.objects.get().note


def test_hold_points_out_of_order_are_refused_with_words(job, tess):
    with pytest.raises(Refused, match="First comes “lockout confirmed by the site's procedure”; “guards back”"):
        confirm(job, tess, 0, "guards")
    isolate(job, tess, 0)
    with pytest.raises(Refused, match="First comes “parts and fasteners complete”"):
        confirm(job, tess, 1, "restraint")
    confirm(job, tess, 1, "parts")
    with pytest.raises(Refused, match="by tess already"):
        confirm(job, tess, 2, "parts")


def test_a_point_is_passed_over_only_with_a_reason(job, tess):
    with pytest.raises(Refused, match="Record the isolation"):
        confirm(job, tess, 0, "lockout")
    row = confirm(job, tess, 0, "lockout", passed_over_reason="plant shutdown, group lock of the site holds")[0]
    assert row.passed_over_reason
    assert Isolation.objects.count() == 0


def test_the_restraint_needs_a_photo_or_a_reason(job, tess, photo):
    isolate(job, tess, 0)
    confirm(job, tess, 1, "parts")
    with pytest.raises(Refused, match="photo of the loose transport restraint") as refused:
        confirm(job, tess, 2, "restraint", note="")
    assert "photo" in refused.value.fields
    assert confirm(job, tess, 2, "restraint", note="", photo=photo)[0].photo == photo


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


def test_the_locks_name_who_handed_them_back_and_end_the_isolation(job, tess, pat):
    isolate(job, tess, 0)
    confirm(job, tess, 1, "parts", "restraint", "clear", "guards", "people")
    with pytest.raises(Refused, match="Say who handed back"):
        confirm(job, pat, 9, "locks", handed_back_by=" ")
    assert open_isolation(job) is not None
    confirm(job, pat, 9, "locks", handed_back_by="tess, two riggers")
    isolation = Isolation.objects.get()
    assert (isolation.released_by, isolation.released_at) == (pat, at(9))
    assert "two riggers" in HoldPoint.objects.get(point="locks").note


def test_three_adjustments_hold_four_isolations(job, tess):
    fit(job, tess)
    for number in range(3):
        begins = 60 * (number + 1)
        run(job, tess, begins - 40)
        isolation = isolate(job, tess, begins)
        with pytest.raises(Refused, match="is not finished: next is “clear of structure"):
            isolate(job, tess, begins + 1)
        with pytest.raises(Refused, match="Record first what was adjusted"):
            confirm(job, tess, begins + 2, "clear")
        record_adjustment(isolation, by=tess, version=isolation.version, in_drive_mm=3.0, out_off_mm=3.0)
        confirm(job, tess, begins + 3, "clear", "guards", "people", "locks")
    assert [row.cycle for row in Isolation.objects.all()] == [1, 2, 3, 4]
    assert current_cycle(job) == 4


def moved(isolation, by, drive, off, **values):
    isolation.refresh_from_db()
    return record_adjustment(isolation, by=by, version=isolation.version, in_drive_mm=drive, out_off_mm=off, **values)


def test_both_sides_of_an_adjustment_are_kept_as_they_were_read(job, tess):
    fit(job, tess)
    kept = moved(isolate(job, tess, 60), tess, 2.0, 3.0)
    assert (kept.adjustment_mm, kept.adjustment_off_mm, kept.adjustment_note) == (2.0, 3.0, "")
    step = next(each for each in job_of(fresh(job)).steps if each.key == "adjustment")
    assert step.measured == (
        "2 mm in on the drive side, 3 mm out on the off side: the sum of the gaps becomes 1 mm wider, no more than "
        "two readings of a tape differ by.",
    )


def test_unequal_moves_are_refused_with_the_arithmetic_or_kept_with_a_word(job, tess):
    fit(job, tess)
    isolation = isolate(job, tess, 60)
    with pytest.raises(Refused, match="3 mm narrower"):
        moved(isolation, tess, 6.0, 3.0)
    why = "arm on the off side was bent back, " + "seen by both of us, " * 12
    kept = moved(isolation, tess, 6.0, 3.0, note=why)
    # What the person wrote stands alone and whole; what it means is worked out where it is shown.
    assert (kept.adjustment_mm, kept.adjustment_off_mm, kept.adjustment_note) == (6.0, 3.0, why.strip())


def test_a_move_on_the_off_side_alone_is_no_standing_still(job, tess):
    fit(job, tess)
    moved(isolate(job, tess, 60), tess, 0.0, 4.0, note="the drive side arm stands at its stop")
    step = next(each for each in job_of(fresh(job)).steps if each.key == "adjustment")
    assert step.measured == (
        "nothing on the drive side, 4 mm out on the off side: the sum of the gaps becomes 4 mm wider.",
    )


def test_an_isolation_without_a_permit_is_not_given_the_one_of_the_plan(job, tess, pat):
    change_fitting(fresh(job), by=pat, version=job.version, permit_reference="P-118")
    assert isolate(job, tess, 0).permit_reference == "P-118"
    confirm(job, tess, 1, "parts", "restraint", "clear", "guards", "people", "locks")
    assert isolate(job, tess, 60, permit_reference="").permit_reference == ""


def test_after_two_wrong_answers_a_third_move_needs_the_cause(job, tess):
    fit(job, tess)
    run(job, tess, 20, offsets=[(40.0, 20.0), (160.0, 0.0)])
    for number, offset in enumerate((30.0, 45.0, 60.0)):
        begins = 60 * (number + 1)
        isolation = isolate(job, tess, begins)
        moved = {"by": tess, "version": isolation.version, "in_drive_mm": 3.0, "out_off_mm": 3.0}
        if number == 2:
            with pytest.raises(Refused, match="Stop adjusting: the device is mirrored"):
                record_adjustment(isolation, **moved)
            moved["note"] = "device was mirrored, turned round"
        record_adjustment(isolation, **moved)
        confirm(job, tess, begins + 2, "clear", "guards", "people", "locks")
        run(job, tess, begins + 10, offsets=[(40.0, offset), (160.0, 0.0)])


def entered(job, by, minutes, seconds, **values):
    """A run that is entered so many seconds after the locks came back at minute 6, its start left empty."""
    now = at(6) + dt.timedelta(seconds=seconds)
    return record_trial_run(fitting=job, by=by, minutes=minutes, offsets=GOOD, now=now, **values)


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
    assert line.words.startswith("Entered as watched loaded for 31 min")
    step = next(each for each in job_of(fresh(job)).steps if each.key == "run" and each.row)
    assert step.state == "passed_over"
    assert step.words == (
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


def test_no_isolation_lies_within_a_run(job, tess):
    fit(job, tess)
    run(job, tess, 20)  # to minute 60
    with pytest.raises(Refused, match="lies within the trial run of 20 Nov 2026, 09:20, watched for 40 min"):
        isolate(job, tess, 45)
    assert isolate(job, tess, 60).cycle == 2


@pytest.mark.parametrize("minutes", [0.0, -3.0, 1441.0])
def test_minutes_that_no_run_takes_are_refused(job, tess, minutes):
    fit(job, tess)
    with pytest.raises(Refused, match="give more than 0, up to 1440 min"):
        run(job, tess, 20, minutes=minutes, now=at(2000))


def test_a_second_person_resumes_where_the_first_one_stopped(job, tess, pat):
    isolate(job, tess, 0)
    confirm(job, tess, 1, "parts", "restraint")
    confirm(job, pat, 600, "clear")
    assert next_point(1, done_in(current_points(job), 1)) == "guards"
    assert HoldPoint.objects.get(point="clear").confirmed_by == pat


def test_a_form_sent_twice_counts_once(job, tess):
    keys = [uuid.uuid4() for _ in range(3)]
    for _ in range(2):
        isolate(job, tess, 0, client_key=keys[0])
    for _ in range(2):
        confirm(job, tess, 1, "parts", client_key=keys[1])
    confirm(job, tess, 2, "restraint", "clear", "guards", "people", "locks")
    for _ in range(2):
        run(job, tess, 10, client_key=keys[2])
    assert Isolation.objects.count() == 1
    assert HoldPoint.objects.count() == 7
    assert TrialRun.objects.count() == 1
    assert BeltOffset.objects.count() == len(GOOD)


def test_a_withdrawn_point_is_waited_for_again_and_stays_visible(job, tess, pat):
    fit(job, tess)
    row = HoldPoint.objects.get(point="guards")
    with pytest.raises(Refused, match="Say why it is corrected"):
        correct_point(row, by=pat, reason="", withdraw=True)
    correct_point(row, by=pat, reason="one guard still lies on the walkway", withdraw=True)
    with pytest.raises(Refused, match="“guards back” of cycle 1 is not recorded"):
        run(job, tess, 30)
    confirm(job, tess, 30, "guards")
    assert HoldPoint.objects.filter(point="guards").count() == 3
    run(job, tess, 31)


def test_locks_that_were_not_handed_back_open_the_isolation_again(job, tess):
    fit(job, tess)
    row = HoldPoint.objects.get(point="locks")
    correct_point(row, by=tess, reason="a rigger's lock still hangs", withdraw=True)
    assert open_isolation(job).cycle == 1
    with pytest.raises(Refused, match="No trial run yet"):
        run(job, tess, 30)


def test_a_note_of_a_point_is_corrected_by_an_entry(job, tess):
    isolate(job, tess, 0)
    row = confirm(job, tess, 1, "parts", note="all there")[0]
    fixed = correct_point(row, by=tess, reason="one clamp is of the old kind", note="one old clamp")
    assert (fixed.corrects, fixed.note, fixed.confirmed_by) == (row, "one old clamp", tess)
    assert HoldPoint.objects.get(pk=row.pk).note == "all there"


def test_times_do_not_run_backwards_or_ahead(job, tess):
    isolate(job, tess, 10)
    with pytest.raises(Refused, match="is before “lockout"):
        confirm(job, tess, 5, "parts")
    with pytest.raises(Refused, match="in the future"):
        confirm_point(fitting=job, point="parts", by=tess, confirmed_at=at(90), now=at(20))
    confirm(job, tess, 11, "parts", "restraint", "clear", "guards", "people", "locks")
    with pytest.raises(Refused, match="4 min before the locks came back at 09:16"):
        record_trial_run(fitting=job, by=tess, minutes=10, offsets=GOOD, started_at=at(12), now=at(30))


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


# --- Torque before the guards go back ---------------------------------------------------------------------------------
def sign_all(job, by, minute, *, but=0):
    """Sign every fastener off but the last ones."""
    tool = make.torque_wrench(job.plant)
    each_one = [(one, n) for one in job.device_model.fasteners.all() for n in range(1, one.count + 1)]
    return [
        sign_off_torque(
            fitting=fresh(job), fastener=one, number=n, torque_nm=one.torque_nm, by=by, instrument=tool,
            signed_at=at(minute), now=at(minute),
        )
        for one, n in each_one[: len(each_one) - but]
    ]  # fmt: skip


def up_to_the_guards(job, by):
    isolate(job, by, 0)
    confirm(job, by, 1, "parts", "restraint", "clear")


def test_the_guards_wait_for_every_fastener(unsigned, tess):
    job = unsigned
    up_to_the_guards(job, tess)
    signed = sign_all(job, tess, 5, but=1)
    assert len(signed) == 4
    assert (following(job).name, following(job).words) == ("torque", "Sign the torques off")
    with pytest.raises(Refused) as no:
        confirm(job, tess, 6, "guards")
    assert no.value.code == "torque"
    assert no.value.message.startswith("Not signed off: pivot 1. Sign each fastener off before the guards go back")
    (left,) = open_fasteners(torque_rows(job))
    pass_over_fasteners(fitting=job, fasteners=[left], reason="socket is missing", by=tess, passed_at=at(7), now=at(7))
    confirm(job, tess, 8, "guards", "people", "locks")
    assert run(job, tess, 20).cycle == 1


def test_the_steps_show_who_passed_a_fastener_over_when_and_why(unsigned, tess):
    job = unsigned
    up_to_the_guards(job, tess)
    step = next(each for each in job_of(fresh(job)).steps if each.key == "torque")
    assert (step.state, step.words[-1]) == ("next", "The guards wait for: clamp 1, clamp 2, clamp 3, clamp 4, pivot 1.")
    keys = [each.key for each in job_of(fresh(job)).steps]
    assert keys.index("clear") < keys.index("torque") < keys.index("guards")
    sign_all(job, tess, 5, but=1)
    pass_over_fasteners(
        fitting=job, fasteners=open_fasteners(torque_rows(job)), reason="socket is missing", by=tess, now=at(7)
    )
    step = next(each for each in job_of(fresh(job)).steps if each.key == "torque")
    assert (step.state, step.words) == (
        "passed_over",
        (
            "4 of 5 fasteners signed off.",
            "pivot 1 passed over: socket is missing (tess, 20 Nov 2026, 09:07).",
        ),
    )
    assert following(job).point == "guards"


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


def confirm_next_cycle(job, by):
    moved(isolate(job, by, 60), by, 3.0, 3.0)
    confirm(job, by, 62, "clear", "guards")


def test_guards_passed_over_wait_for_no_torque_because_no_run_follows(unsigned, tess):
    job = unsigned
    up_to_the_guards(job, tess)
    confirm(job, tess, 5, "guards", passed_over_reason="they come with the next shift")
    confirm(job, tess, 6, "people", "locks")
    with pytest.raises(Refused, match="was passed over"):
        run(job, tess, 20)


def test_what_was_passed_over_is_said_at_acceptance_and_hand_over(unsigned, tess):
    job = unsigned
    up_to_the_guards(job, tess)
    sign_all(job, tess, 5, but=1)
    pass_over_fasteners(
        fitting=job, fasteners=open_fasteners(torque_rows(job)), reason="socket is missing", by=tess, now=at(7)
    )
    assert left_open(job)[1:] == [
        "Torque: 4 of 5 fasteners signed off.",
        "pivot 1 passed over: socket is missing (tess, 20 Nov 2026, 09:07).",
    ]
    sign_off_torque(
        fitting=fresh(job), fastener=job.device_model.fasteners.get(place="pivot"), number=1, torque_nm=130.0, by=tess,
        instrument=torque_rows(job)[0].signed[0].row.instrument, signed_at=at(8), now=at(8),
    )  # fmt: skip
    assert left_open(job)[1:] == []


def following(job):
    return job_of(fresh(job)).next


def test_a_good_run_without_a_reading_upstream_asks_for_that_reading_and_not_for_an_adjustment(job, tess):
    fit(job, tess)
    row = run(job, tess, 20, offsets=[(40.0, 12.0)])  # return strand, device at 100 m: downstream only
    act = following(job)
    assert (act.name, act.pk, act.words) == (
        "trial-run-readings", row.pk, "Add the missing reading to the run, empty",
    )  # fmt: skip
    assert act.why == "No station was measured empty upstream of the device, which on this strand is above 100 m."
    add_readings(row, by=tess, offsets=[(160.0, -8.0)], taken_at=at(65), now=at(66))
    assert following(job).words == "Record the trial run, loaded"
    added = BeltOffset.objects.get(chainage_m=160.0)
    assert (added.trial_run, added.is_loaded, added.taken_at, added.offset_mm) == (row, False, at(65), -8.0)
    assert added.occasion == BeltOffset.Occasion.TRIAL_RUN


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({}, "Record the trial run, loaded"),
        ({"offsets": [(40.0, 70.0), (160.0, 0.0)]}, "Record the isolation for an adjustment"),
        ({"offsets": [(40.0, 70.0)]}, "Record the isolation for an adjustment"),
        ({"touches_structure": True}, "Record the isolation for an adjustment"),
        ({"minutes": 5.0}, "Record a longer trial run, empty"),
        ({"minutes": 5.0, "offsets": [(40.0, 3.0)]}, "Record a longer trial run, empty"),
        ({"is_noisy": True}, "Record the trial run, loaded"),
    ],
)
def test_what_follows_an_empty_run_is_what_it_leaves_to_do(job, tess, values, words):
    fit(job, tess)
    run(job, tess, 20, **values)
    assert following(job).words == words
    if following(job).name == "fitting-trial-run":
        assert following(job).is_loaded is is_loaded_next(fresh(job)) is words.endswith("loaded")
        waiting = next(each for each in job_of(fresh(job)).steps if each.key == "run" and each.state == "next")
        assert waiting.label.split(", ")[1] == words.split(", ")[1]


def test_a_short_run_with_one_side_says_both_at_once(job, tess):
    fit(job, tess)
    run(job, tess, 20, minutes=5.0, offsets=[(40.0, 3.0)])
    assert "wanted at least 15 min" in following(job).why
    assert "above 100 m" in following(job).why


def test_the_loaded_run_is_asked_for_its_reading_too(job, tess):
    fit(job, tess)
    run(job, tess, 20)
    row = run(job, tess, 70, is_loaded=True, offsets=[(160.0, 3.0)])
    assert (following(job).pk, following(job).words) == (row.pk, "Add the missing reading to the run, loaded")


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


def test_of_one_form_at_the_same_moment_the_second_finds_what_the_first_wrote(job, tess, while_waiting):
    def the_same(module, act):
        first = while_waiting(module, act)
        return act() == first()

    keys = [uuid.uuid4() for _ in range(6)]
    assert the_same(commissioning, lambda: isolate(job, tess, 0, client_key=keys[0]))
    assert the_same(commissioning, lambda: confirm(job, tess, 1, "parts", client_key=keys[1]))
    confirm(job, tess, 2, "restraint", "clear", "guards", "people", "locks")
    assert the_same(trial_runs, lambda: run(job, tess, 20, offsets=[(40.0, 12.0)], client_key=keys[2]))
    row = current_runs(job)[0]
    assert the_same(
        trial_runs, lambda: add_readings(row, by=tess, offsets=[(160.0, 3.0)], client_key=keys[3], now=at(70))
    )
    assert BeltOffset.objects.filter(trial_run=row).count() == 2
    assert the_same(trial_runs, lambda: withdraw_trial_run(row, by=tess, reason="wrong belt", client_key=keys[4]))
    point = HoldPoint.objects.get(point="people")
    assert the_same(
        commissioning, lambda: correct_point(point, by=tess, reason="not yet", withdraw=True, client_key=keys[5])
    )


def test_an_adjustment_sent_twice_is_one_and_another_one_is_told(job, tess):
    fit(job, tess)
    isolation = isolate(job, tess, 60)
    once = moved(isolation, tess, 6.0, 6.0)
    isolation.refresh_from_db()
    again = record_adjustment(isolation, by=tess, version=isolation.version - 1, in_drive_mm=6.0, out_off_mm=6.0)
    assert (again.pk, again.version) == (once.pk, once.version)
    with pytest.raises(ChangedMeanwhile):
        record_adjustment(isolation, by=tess, version=isolation.version - 1, in_drive_mm=3.0, out_off_mm=3.0)


@pytest.fixture
def finished(job, monkeypatch):
    """A job whose fit-up and torques are not what a test is about."""
    monkeypatch.setattr("installs.services.acceptance.left_open", lambda fitting: [])


def accepted(job, by, reason=""):
    return accept_fitting(fitting=job, by=by, version=fresh(job).version, reason=reason, now=at(200))


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
    assert "squareness follows" in str([step.words for step in job_of(done).closing])


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


def finish(job, by):
    fit(job, by)
    run(job, by, 20)
    run(job, by, 70, is_loaded=True)
    accepted(job, by, reason="fitted up by the paper sheet")


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


def test_a_withdrawn_run_and_its_offsets_count_no_more(job, tess):
    fit(job, tess)
    row = run(job, tess, 20)
    withdraw_trial_run(row, by=tess, reason="read on the wrong belt")
    assert current_runs(job) == []
    assert BeltOffset.objects.current().count() == 0
    assert BeltOffset.objects.count() == 2 * len(GOOD)


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


def test_a_job_given_up_twice_is_given_up_once(job, tess, pat):
    version = fresh(job).version
    rows = [give_up_fitting(fresh(job), by=pat, version=version, reason="brace in the way") for _ in range(2)]
    assert rows[0].given_up_at == rows[1].given_up_at
    with pytest.raises(Refused, match="was given up"):
        give_up_fitting(fresh(job), by=pat, version=version, reason="no crew")


def test_a_job_is_given_up_with_a_reason_and_only_without_locks(job, tess, pat):
    isolate(job, tess, 0)
    with pytest.raises(Refused, match="Record first who handed back the locks"):
        give_up_fitting(fresh(job), by=pat, version=job.version, reason="brace in the way")
    confirm(job, tess, 1, "parts", "restraint", "clear", "guards", "people", "locks")
    with pytest.raises(Refused, match="Say why"):
        give_up_fitting(fresh(job), by=pat, version=job.version, reason=" ")
    give_up_fitting(fresh(job), by=pat, version=job.version, reason="brace in the way")
    with pytest.raises(Refused, match="was given up"):
        run(job, tess, 30)


def test_the_sheet_is_the_one_that_holds_when_the_work_begins(job, tess, erin):
    model = job.device_model
    change_device_model(model, by=erin, version=model.version, reason="maker's letter", sensor_gap_mm=19.0)
    isolate(job, tess, 0)
    kept = fresh(job).sheet
    assert kept.content["sensor_gap_mm"] == 19.0
    model.refresh_from_db()
    change_device_model(model, by=erin, version=model.version, reason="second letter", sensor_gap_mm=21.0)
    assert fresh(job).sheet == kept


def test_another_model_after_the_work_began_is_another_job(job, tess, pat, alder):
    isolate(job, tess, 0)
    with pytest.raises(Refused, match="Give this job up"):
        change_fitting(fresh(job), by=pat, version=job.version, device_model=make.device_model(alder, "T-9"))
