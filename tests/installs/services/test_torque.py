"""Torque sign-offs: in calibration and range or with a reason that stays; never surely outside."""

from __future__ import annotations

import datetime as dt
import uuid

import pytest

from installs.models import Fastener, Instrument, ModelSheet, PassedFastener, TorqueSignOff
from installs.selectors.torque import open_fasteners, passed_over, target_for, torque_rows
from installs.services import torque
from installs.services.device_models import add_fastener, change_fastener, keep_sheet
from installs.services.torque import (
    check_torques_settled,
    pass_over_fasteners,
    sign_off_torque,
    withdraw_passed,
    withdraw_torque,
)
from plant.errors import Refused
from tests import make

pytestmark = pytest.mark.django_db
NOW = dt.datetime(2026, 11, 20, 12, tzinfo=dt.UTC)


@pytest.fixture
def job(belt_a1):
    return make.fitting(belt_a1)


@pytest.fixture
def clamp(job):
    return job.device_model.fasteners.get(place="clamp")


@pytest.fixture
def wrench(alder):
    return make.torque_wrench(alder)


def sign(job, clamp, by, **values):
    return sign_off_torque(
        **{"fitting": job, "fastener": clamp, "number": 1, "torque_nm": 75.0, "by": by, "now": NOW, **values}
    )


def test_a_sign_off_keeps_target_tool_and_person(job, clamp, wrench, tess):
    row = sign(job, clamp, tess, instrument=wrench)
    assert (row.target_nm, row.is_estimate, row.instrument, row.signed_by) == (75, False, wrench, tess)
    clamps, pivot = torque_rows(job)
    assert (clamps.n_signed, clamps.is_done, pivot.n_signed) == (1, False, 0)
    assert clamps.signed[0].judged.verdict == "within"


@pytest.mark.parametrize(
    ("changes", "code", "words"),
    [
        ({"calibration_due_on": dt.date(2026, 11, 19)}, "out_of_calibration", "ran out on 19 Nov 2026, 1 day before"),
        ({"calibrated_on": None, "calibration_due_on": None}, "never_calibrated", "No calibration of it"),
        ({"range_least_nm": 80.0}, "below_range", "75 N·m is below its range, which begins at 80 N·m"),
        ({"range_least_nm": 5.0, "range_most_nm": 60.0}, "above_range", "which ends at 60 N·m"),
        ({"retired_on": dt.date(2026, 6, 1)}, "retired", "no longer used since 1 Jun 2026"),
    ],
)
def test_a_tool_in_doubt_is_refused_unless_a_reason_stays(job, clamp, alder, tess, changes, code, words):
    tool = make.torque_wrench(alder, **changes)
    with pytest.raises(Refused) as refusal:
        sign(job, clamp, tess, instrument=tool)
    assert refusal.value.code == code
    assert words in refusal.value.fields["instrument"]
    assert not TorqueSignOff.objects.exists()
    row = sign(job, clamp, tess, instrument=tool, override_reason="only wrench on site, checked against W-09")
    assert row.override_reason == "only wrench on site, checked against W-09"


def test_no_tool_named_is_refused_likewise(job, clamp, tess):
    with pytest.raises(Refused, match=r"No torque wrench is named\. Name the one that was used"):
        sign(job, clamp, tess)
    assert sign(job, clamp, tess, override_reason="turn of nut by the maker's sheet").instrument is None


def test_calibration_ends_at_midnight_of_the_plant(job, clamp, alder, tess):
    tool = make.torque_wrench(alder, calibration_due_on=dt.date(2026, 11, 20))
    last = dt.datetime(2026, 11, 20, 22, 30, tzinfo=dt.UTC)  # 23:30 in Berlin
    assert sign(job, clamp, tess, instrument=tool, now=last)
    with pytest.raises(Refused, match="ran out"):
        sign(job, clamp, tess, number=2, instrument=tool, now=last + dt.timedelta(hours=1))


def test_a_torque_that_is_surely_outside_is_set_again(job, clamp, wrench, tess):
    with pytest.raises(Refused, match=r"is outside 67\.5 to 82\.5 N·m: set it again"):
        sign(job, clamp, tess, instrument=wrench, torque_nm=60.0)


def test_an_undecided_torque_is_kept_and_says_so(job, clamp, wrench, tess):
    sign(job, clamp, tess, instrument=wrench, torque_nm=68.0)
    assert torque_rows(job)[0].signed[0].judged.verdict == "undecided"


def test_where_the_model_gives_none_the_target_is_an_estimate(job, alder, wrench, tess):
    bolt = Fastener.objects.create(
        device_model=job.device_model, place="arm", count=2, thread="M12", strength_class="8.8"
    )
    row = sign(job, bolt, tess, instrument=wrench, torque_nm=88.0)
    assert row.is_estimate
    assert row.target_nm == pytest.approx(88.01, abs=0.01)


def test_no_target_no_sign_off(job, wrench, tess):
    bolt = Fastener.objects.create(device_model=job.device_model, place="cap", count=2)
    with pytest.raises(Refused, match="cap: Not stated by the model; an estimate needs the thread"):
        sign(job, bolt, tess, instrument=wrench)


def test_the_sheet_that_the_job_is_fitted_to_gives_the_target(job, clamp):
    content = {"fasteners": [{"place": "clamp", "torque_nm": 60.0, "tolerance_pct": 5.0}]}
    job.sheet = ModelSheet.objects.create(device_model=job.device_model, number=1, content=content)
    assert target_for(job, clamp).torque_nm == 60
    assert torque_rows(job)[0].tolerance_pct == 5


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"number": 5}, "Fastener 5 of 4 at “clamp”: give 1 to 4"),
        ({"torque_nm": float("nan")}, "give a number above 0 N·m"),
        ({"torque_nm": float("inf")}, "give a number above 0 N·m"),
        ({"signed_at": NOW + dt.timedelta(hours=2)}, "is in the future"),
    ],
)
def test_numbers_that_cannot_be(job, clamp, wrench, tess, values, words):
    with pytest.raises(Refused, match=words):
        sign(job, clamp, tess, instrument=wrench, **values)


def test_tools_of_others_and_tools_that_measure_no_torque(job, clamp, alder, other, tess):
    with pytest.raises(Refused, match="another plant"):
        sign(job, clamp, tess, instrument=make.torque_wrench(other))
    with pytest.raises(Refused, match="measures no torque"):
        sign(job, clamp, tess, instrument=make.torque_wrench(alder, "T-1", kind=Instrument.Kind.TAPE))


def test_the_last_sign_off_counts_and_the_earlier_one_stays(job, clamp, wrench, tess):
    sign(job, clamp, tess, instrument=wrench, torque_nm=74.0)
    again = sign(job, clamp, tess, instrument=wrench, torque_nm=76.0, now=NOW + dt.timedelta(hours=1))
    assert torque_rows(job)[0].signed[0].row == again
    assert job.torques.count() == 2


def test_a_mistaken_one_is_withdrawn_with_a_reason(job, clamp, wrench, tess):
    row = sign(job, clamp, tess, instrument=wrench)
    with pytest.raises(Refused, match="why"):
        withdraw_torque(row, by=tess, reason=" ")
    withdraw_torque(row, by=tess, reason="wrong bolt")
    assert torque_rows(job)[0].n_signed == 0
    assert job.torques.count() == 2


def test_the_same_form_twice_signs_once(job, clamp, wrench, tess):
    key = uuid.uuid4()
    assert sign(job, clamp, tess, instrument=wrench, client_key=key) == sign(
        job, clamp, tess, instrument=wrench, client_key=key
    )


def test_a_group_that_the_model_got_after_the_job_began_is_left_out(job, erin, tess):
    job.sheet = keep_sheet(job.device_model, by=erin)
    job.save()
    clamp = job.device_model.fasteners.get(place="clamp")
    change_fastener(clamp, by=erin, version=clamp.version, count=6, torque_nm=90.0)
    add_fastener(device_model=job.device_model, by=erin, place="sensor arm", count=2, torque_nm=40.0)
    assert [(row.fastener.place, len(row.signed), row.target.torque_nm) for row in torque_rows(job)] == [
        ("clamp", 4, 75),
        ("pivot", 1, 130),
    ]
    assert [each.count for each in job.spec.fasteners] == [4, 1]
    with pytest.raises(Refused, match="Fastener 5 of 4"):
        sign(job, clamp, tess, number=5)


def pass_over(job, by, *fasteners, **values):
    known = {"reason": "the wrench does not reach it", "now": NOW}
    return pass_over_fasteners(fitting=job, fasteners=fasteners, by=by, **{**known, **values})


def test_a_fastener_is_passed_over_with_who_when_and_why(job, clamp, wrench, tess):
    (row,) = pass_over(job, tess, (clamp, 2))
    assert (row.reason, row.passed_by, row.passed_at) == ("the wrench does not reach it", tess, NOW)
    clamps, pivot = torque_rows(job)
    assert (clamps.passed[1], clamps.open_numbers, pivot.open_numbers) == (row, (1, 3, 4), (1,))
    assert passed_over(torque_rows(job)) == [row]
    with pytest.raises(Refused, match=r"Not signed off: clamp 1, clamp 3, clamp 4, pivot 1\. Sign each fastener off"):
        check_torques_settled(job)


def test_every_fastener_signed_off_or_passed_over_settles_the_torques(job, clamp, wrench, tess):
    pivot = job.device_model.fasteners.get(place="pivot")
    for number in (1, 2, 3):
        sign(job, clamp, tess, number=number, instrument=wrench)
    pass_over(job, tess, (clamp, 4), (pivot, 1))
    check_torques_settled(job)
    assert open_fasteners(torque_rows(job)) == []


def test_a_later_sign_off_counts_instead_and_its_withdrawal_brings_the_reason_back(job, clamp, wrench, tess):
    (row,) = pass_over(job, tess, (clamp, 1))
    signed = sign(job, clamp, tess, instrument=wrench)
    assert torque_rows(job)[0].passed[0] is None
    withdraw_torque(signed, by=tess, reason="wrong bolt")
    assert torque_rows(job)[0].passed[0] == row


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"reason": "  "}, "Say why it is passed over"),
        ({"passed_at": NOW + dt.timedelta(hours=2)}, "in the future"),
        ({"number": 5}, "give 1 to 4"),
        ({"number": 2}, "clamp 2 is signed off already"),
        ({"none": True}, "Choose at least one fastener"),
    ],
)
def test_passing_over_is_refused_in_words(job, clamp, wrench, tess, values, words):
    sign(job, clamp, tess, number=2, instrument=wrench)
    chosen = [] if values.pop("none", False) else [(clamp, 1), (clamp, values.pop("number", 3))]
    with pytest.raises(Refused, match=words):
        pass_over(job, tess, *chosen, **values)
    assert not PassedFastener.objects.exists()


def test_a_fastener_of_another_model_is_not_passed_over(job, tess, alder):
    other = make.device_model(alder, "T-9").fasteners.first()
    with pytest.raises(Refused, match="is no fastener of this model"):
        pass_over(job, tess, (other, 1))


def test_a_fastener_without_a_target_waits_for_a_reason_too(job, tess):
    Fastener.objects.create(device_model=job.device_model, place="guard post", count=1)
    assert [each.place for each, _n in open_fasteners(torque_rows(job))][-1] == "guard post"


def test_the_form_of_passing_over_sent_twice_counts_once(job, clamp, tess):
    key = uuid.uuid4()
    for _ in range(2):
        assert len(pass_over(job, tess, (clamp, 1), (clamp, 2), client_key=key)) == 2
    assert PassedFastener.objects.count() == 2


def test_what_was_passed_over_is_taken_back_with_a_reason_and_stays_in_the_book(job, clamp, tess):
    (row,) = pass_over(job, tess, (clamp, 1))
    with pytest.raises(Refused, match="Say why"):
        withdraw_passed(row, by=tess, reason="")
    withdraw_passed(row, by=tess, reason="the long extension came")
    assert torque_rows(job)[0].open_numbers == (1, 2, 3, 4)
    assert PassedFastener.objects.count() == 2


def accept(job, by):
    type(job).objects.filter(pk=job.pk).update(accepted_at=NOW, accepted_by=by)


@pytest.mark.parametrize("kind", ["signed", "passed"])
def test_what_a_job_was_accepted_with_is_not_withdrawn_and_the_words_say_what_to_do(job, clamp, wrench, tess, kind):
    signed = sign(job, clamp, tess, instrument=wrench)
    (passed,) = pass_over(job, tess, (clamp, 2))
    accept(job, tess)
    withdraw, row = (withdraw_torque, signed) if kind == "signed" else (withdraw_passed, passed)
    with pytest.raises(Refused, match=r"was accepted 20 Nov 2026, \d\d:00 by tess\.") as refusal:
        withdraw(row, by=tess, reason="it does not hold")
    assert refusal.value.code == "accepted"
    assert "sign the fastener off again" in refusal.value.message
    assert "open point at the hand-over" in refusal.value.message
    assert (job.torques.count(), job.passed_fasteners.count()) == (1, 1)


def test_after_the_acceptance_a_fastener_is_signed_off_but_none_is_passed_over(job, clamp, wrench, tess):
    pass_over(job, tess, (clamp, 2))
    accept(job, tess)
    sign(job, clamp, tess, number=2, instrument=wrench)
    assert torque_rows(job)[0].signed[1] is not None
    with pytest.raises(Refused, match="What is left is the hand-over"):
        pass_over(job, tess, (clamp, 3))


def test_one_fastener_is_passed_over_once_and_the_second_person_reads_who_did(job, clamp, tess, pat):
    (row,) = pass_over(job, tess, (clamp, 2))
    with pytest.raises(Refused, match=r"clamp 2 passed over: the wrench does not reach it \(tess, ") as refusal:
        pass_over(job, pat, (clamp, 1), (clamp, 2), reason="no socket")
    assert (refusal.value.code, list(refusal.value.fields)) == ("passed_over", ["fasteners"])
    assert "Leave it out here, or withdraw that first" in refusal.value.message
    assert list(job.passed_fasteners.all()) == [row]
    assert len(pass_over(job, pat, (clamp, 3), (clamp, 3), reason="no socket")) == 1
    withdraw_passed(row, by=pat, reason="the wrench came")
    pass_over(job, pat, (clamp, 2), reason="no socket")
    assert torque_rows(job)[0].passed[1].passed_by == pat


def test_a_form_of_passing_over_that_comes_again_with_one_more_writes_that_one(job, clamp, tess):
    key = uuid.uuid4()
    pass_over(job, tess, (clamp, 1), client_key=key)
    assert len(pass_over(job, tess, (clamp, 1), (clamp, 2), client_key=key)) == 2
    assert PassedFastener.objects.count() == 2


def test_the_same_withdrawal_twice_counts_once_and_another_one_is_told(job, clamp, wrench, tess):
    signed, key = sign(job, clamp, tess, instrument=wrench), uuid.uuid4()
    (passed,) = pass_over(job, tess, (clamp, 2))
    for act, row in ((withdraw_torque, signed), (withdraw_passed, passed)):
        once = act(row, by=tess, reason="wrong bolt", client_key=key)
        assert act(type(row).objects.get(pk=row.pk), by=tess, reason="wrong bolt", client_key=key) == once
        for each in (row, once):
            with pytest.raises(Refused, match="was withdrawn already"):
                act(type(row).objects.get(pk=each.pk), by=tess, reason="wrong bolt")


def test_of_one_form_at_the_same_moment_the_second_finds_what_the_first_wrote(job, clamp, wrench, tess, while_waiting):
    pivot, key = job.device_model.fasteners.get(place="pivot"), uuid.uuid4()
    for act in (
        lambda: pass_over(job, tess, (clamp, 1), (pivot, 1), client_key=key)[0],
        lambda: sign(job, clamp, tess, number=2, instrument=wrench, client_key=key),
    ):
        first = while_waiting(torque, act)
        assert act() == first()


def test_two_people_at_the_same_moment_pass_one_fastener_over_once(job, clamp, tess, pat, while_waiting):
    while_waiting(torque, lambda: pass_over(job, tess, (clamp, 1)))
    with pytest.raises(Refused, match=r"clamp 1 passed over: the wrench does not reach it \(tess, "):
        pass_over(job, pat, (clamp, 1), reason="no socket")
