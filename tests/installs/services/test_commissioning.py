"""Commissioning: hold points in order, isolations by cycle, adjustments."""

from __future__ import annotations

import uuid

import pytest

from installs.calc.commissioning import next_point
from installs.models import BeltOffset, HoldPoint, Isolation, TrialRun
from installs.selectors.commissioning import current_cycle, current_points, current_runs, done_in, open_isolation
from installs.selectors.job_steps import job_of
from installs.selectors.torque import open_fasteners, torque_rows
from installs.services import commissioning, trial_runs
from installs.services.commissioning import confirm_point, correct_point, record_adjustment
from installs.services.device_models import change_device_model
from installs.services.fittings import change_fitting, give_up_fitting
from installs.services.torque import pass_over_fasteners
from installs.services.trial_runs import add_readings, record_trial_run, withdraw_trial_run
from installs.words.job_steps import act_words, step_words
from plant.calc.units import UnitSystem
from plant.errors import ChangedMeanwhile, Refused
from tests import make
from tests.installs.jobs import (
    GOOD,
    at,
    confirm,
    fit,
    following,
    fresh,
    isolate,
    moved,
    run,
    sign_all,
    up_to_the_guards,
)

pytestmark = pytest.mark.django_db


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


def test_both_sides_of_an_adjustment_are_kept_as_they_were_read(job, tess):
    fit(job, tess)
    kept = moved(isolate(job, tess, 60), tess, 2.0, 3.0)
    assert (kept.adjustment_mm, kept.adjustment_off_mm, kept.adjustment_note) == (2.0, 3.0, "")
    step = next(each for each in job_of(fresh(job)).steps if each.key == "adjustment")
    assert step_words(step, UnitSystem.METRIC) == (
        "2 mm inward on the drive side, 3 mm outward on the off side: the sum of the gaps becomes 1 mm wider, no more "
        "than two readings of a tape differ by.",
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
    assert step_words(step, UnitSystem.METRIC)[:1] == (
        "nothing on the drive side, 4 mm outward on the off side: the sum of the gaps becomes 4 mm wider.",
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


def test_no_isolation_lies_within_a_run(job, tess):
    fit(job, tess)
    run(job, tess, 20)  # to minute 60
    with pytest.raises(Refused, match="lies within the trial run of 20 Nov 2026, 09:20, watched for 40 min"):
        isolate(job, tess, 45)
    assert isolate(job, tess, 60).cycle == 2


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


def test_the_guards_wait_for_every_fastener(unsigned, tess):
    job = unsigned
    up_to_the_guards(job, tess)
    signed = sign_all(job, tess, 5, but=1)
    assert len(signed) == 4
    assert (following(job).name, act_words(following(job))) == ("torque", "Sign the torques off")
    with pytest.raises(Refused) as no:
        confirm(job, tess, 6, "guards")
    assert no.value.code == "torque"
    assert no.value.message.startswith("Not signed off: pivot 1. Sign each fastener off before the guards go back")
    (left,) = open_fasteners(torque_rows(job))
    pass_over_fasteners(fitting=job, fasteners=[left], reason="socket is missing", by=tess, passed_at=at(7), now=at(7))
    confirm(job, tess, 8, "guards", "people", "locks")
    assert run(job, tess, 20).cycle == 1


def test_guards_passed_over_wait_for_no_torque_because_no_run_follows(unsigned, tess):
    job = unsigned
    up_to_the_guards(job, tess)
    confirm(job, tess, 5, "guards", passed_over_reason="they come with the next shift")
    confirm(job, tess, 6, "people", "locks")
    with pytest.raises(Refused, match="was passed over"):
        run(job, tess, 20)


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
