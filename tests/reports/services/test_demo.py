"""The demo plant in the book: every story is found with its counts, hours, interval and verdict.

Ratios and intervals are those of the exact conditional method, computed with SciPy when the scenario was written.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter
from contextlib import nullcontext

import pytest
from django.db import connection, transaction
from django.utils import timezone

from inspections.models import Action, Reading, Task
from inspections.selectors.fault_finding import suspects_at
from installs.calc.belt_offsets import summarise
from installs.calc.fasteners import torque_target
from installs.models import (
    BeltOffset,
    DeviceModel,
    Fitting,
    Installation,
    Instrument,
    OutOfService,
    PartChange,
    Survey,
)
from installs.selectors.fit_up import result_of
from installs.selectors.fittings import readiness_of
from installs.selectors.installations import zones_of
from installs.selectors.job_steps import job_of
from installs.selectors.placement import ranked_places
from installs.selectors.torque import torque_rows
from plant.calc.units import UnitSystem
from plant.models import Conveyor, ConveyorPart, Incident, OutageWindow, Person, Plant, RunRecord, SwitchEvent
from plant.selectors.running_hours import hours_of, switch_watch_of
from reports.calc.rate_ratio import compare_rates
from reports.selectors.reference_groups import beside_zone
from reports.selectors.studies import side_of, studies_of
from reports.services.demo import load_demo
from reports.services.rate_watch import watch_plant
from tests.demo_site import demo_in

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def plant(django_db_setup, django_db_blocker):
    """Loaded once for this file and for the walks; what the tests write is rolled back."""
    in_memory = connection.vendor == "sqlite" and connection.is_in_memory_db()
    with django_db_blocker.unblock(), demo_in(connection) if in_memory else nullcontext(), transaction.atomic():
        assert in_memory or load_demo(say=lambda words: None)
        yield Plant.objects.get(name="Bramwick Works")
        transaction.set_rollback(True)


@pytest.fixture(scope="module")
def studies(plant):
    return {member.device.number: study for study in studies_of(plant, timezone.now()) for member in study.members}


@pytest.fixture
def today(plant):
    return timezone.localdate(timezone=plant.zone)


# device: before n, h, after n, h, ratio, low, high, verdict
STORIES = [
    ("20", 29, 4800, 6, 4700, "0.21", "0.07", "0.52", "fewer"),
    ("30", 15, 5000, 14, 4900, "0.95", "0.43", "2.12", "no_clear_change"),
    ("41", 16, 10500, 25, 7000, "2.34", "1.20", "4.70", "more"),
    ("4", 24, 4400, 8, 4100, "0.36", "0.14", "0.82", "fewer"),
    ("15", 12, 4600, 5, 4500, "0.43", "0.12", "1.30", "no_clear_change"),
    ("25", 14, 4900, 0, 95, "0.00", "0.00", "15.5", "too_early"),
    ("34", 16, 5000, 15, 5000, "0.94", "0.43", "2.02", "no_clear_change"),
    ("22", 20, 4900, 3, 820, "0.90", "0.17", "3.02", "too_early"),
    ("56", 21, 4500, 6, 4400, "0.29", "0.10", "0.75", "fewer"),
    ("48", 10, 4400, 10, 8800, "0.50", "0.19", "1.34", "no_clear_change"),
]


@pytest.mark.parametrize("story", STORIES, ids=[story[0] for story in STORIES])
def test_a_story_comes_out_with_its_counts_and_verdict(studies, story):
    number, n_before, h_before, n_after, h_after, ratio, low, high, verdict = story
    study = studies[number]
    assert (study.before.n, study.after.n) == (n_before, n_after)
    assert (study.before.hours, study.after.hours) == (pytest.approx(h_before, abs=1), pytest.approx(h_after, abs=1))
    digits = len(high.split(".")[1])
    shown = (f"{study.ratio.ratio:.2f}", f"{study.ratio.low:.2f}", f"{study.ratio.high:.{digits}f}")
    assert shown == (ratio, low, high)
    assert study.verdict == verdict


@pytest.mark.parametrize("number", ["20", "41", "4", "56"])
def test_the_answer_drawn_towards_the_fleet_agrees_with_the_story(studies, number):
    """It lies nearer to one than a chance high count, and on the same side: firmly, so that no day tips it over."""
    study = studies[number]
    shrunk = study.answers.shrunk
    assert shrunk.low_one_sided > 1.2 if study.verdict == "more" else shrunk.high_one_sided < 0.9
    assert study.answers.trend.n_before > 100
    assert not study.answers.spells.is_clustered


def test_the_pair_is_judged_as_one(studies):
    assert [each.device.number for each in studies["56"].members] == ["56", "57"]
    assert studies["57"] is studies["56"]


@pytest.mark.parametrize("number", ["56", "57"])
def test_neither_of_the_pair_would_show_it_alone(studies, number):
    study = studies[number]
    alone = zones_of(next(each for each in study.members if each.device.number == number))
    sides = [side_of(study.belt, "return", alone, side.window, 0.95) for side in (study.before, study.after)]
    ratio = compare_rates(sides[0].n, sides[0].hours, sides[1].n, sides[1].hours)
    assert ratio.low < 1 < ratio.high


def test_on_l03_the_wander_moved_and_was_not_cured(studies):
    """Half as often in the zone of device 48, 1.6 times as often in the 50 m upstream: on its page, side by side."""
    study = studies["48"]
    beside = beside_zone(study.belt, "return", study.zones, study.before, study.after)
    upstream = next(each for each in beside if each.words.startswith("upstream"))
    assert (upstream.low_m, upstream.high_m) == (160.0, 210.0)
    assert (upstream.ratio.n_before, upstream.ratio.n_after) == (5, 16)
    assert (f"{study.ratio.ratio:.2f}", f"{upstream.ratio.ratio:.2f}") == ("0.50", "1.60")


@pytest.mark.parametrize("time", [dt.time(0, 5), dt.time(23, 55)], ids=str)
def test_no_story_hangs_on_the_time_of_day(plant, studies, today, time):
    now = dt.datetime.combine(today, time, tzinfo=plant.zone).astimezone(dt.UTC)
    then = {each.installation.device.number: told(each) for each in studies_of(plant, now)}
    assert then == {number: told(studies[number]) for number in then}


def told(study):
    return str(study.verdict), study.before.n, round(study.before.hours), study.after.n, round(study.after.hours)


def test_the_seized_pivot_climbs_back(plant, studies):
    """2 in 1750 h, then 10 in 2600 h."""
    study = studies["45"]
    assert (study.before.n, study.after.n, round(study.after.hours)) == (18, 12, 4350)
    readings = Reading.objects.current().filter(visit__installation=study.members[0], code="pivot")
    assert readings.order_by("visit__visited_at").first().answer == "free"
    assert readings.order_by("-visit__visited_at").first().answer == "seized"
    assert Action.objects.open().filter(installation=study.members[0]).exists()


def test_the_watch_asked_once_for_a_check_of_the_device_that_fades(plant, studies):
    asked = Task.objects.filter(plant=plant, origin=Task.Origin.RATE_WATCH)
    numbers = set(asked.values_list("installation__device__number", flat=True))
    assert "45" in numbers
    assert not numbers & {"20", "56", "57", "30", "34"}
    assert len(numbers) <= 4
    assert watch_plant(plant=plant) == []


def test_devices_that_no_switch_sees_cannot_be_judged(studies):
    unseen = {number for number, study in studies.items() if study.n_detectors == 0}
    assert unseen == {"1", "14", "26", "33", "39", "43"}
    assert {str(studies[number].verdict) for number in unseen} == {"cannot_be_judged"}


def test_the_registers_are_whole(plant):
    assert Conveyor.objects.of_plant(plant).count() == 40
    assert Installation.objects.of_plant(plant).in_place().count() == 60
    assert ConveyorPart.objects.drift_switches().filter(conveyor__tag="S-12").count() == 6
    assert Person.objects.count() == 6
    assert RunRecord.objects.filter(conveyor__tag="Y-01").count() == 0


def test_checks_are_late_due_and_put_off(plant, today):
    late = {
        (task.installation.device.number, task.check_kind.code): task
        for task in Task.objects.of_plant(plant).overdue(today).with_place()
    }
    long_late = {key: task.days_late(today) for key, task in late.items() if task.days_late(today) > 30}
    assert long_late == {
        ("15", "fastener-torque"): 34,
        ("30", "pivot-freedom"): 35,
        ("47", "sensor-wear"): 41,
    }
    assert late["15", "fastener-torque"].deferrals.count() == 2
    assert Task.objects.of_plant(plant).due_by(today).count() > len(late)
    assert all(task.overdue_spells.filter(ended_at__isnull=True).exists() for task in late.values())


def test_fasteners_were_loose_three_times(plant):
    grades = Task.objects.filter(
        installation__device__number="15", check_kind__code="fastener-torque", outcome="done"
    ).order_by("closed_at")
    assert [task.grade for task in grades] == ["watch", "act", "act"]


def test_wet_rollers_are_on_their_third_pair(plant):
    replaced = Reading.objects.filter(
        visit__installation__device__number="4", code="drive_diameter", stage="as_left", value=76.0
    )
    assert replaced.count() == 2


def test_the_overland_belt_has_an_uncovered_stretch(plant):
    year = Incident.objects.current().filter(
        conveyor__tag="Q-11", happened_at__gte=timezone.now() - dt.timedelta(days=365)
    )
    in_gap = year.filter(strand="return", chainage_m__gte=310, chainage_m__lte=710)
    assert (year.count(), in_gap.count()) == (38, 23)


def test_the_next_device_belongs_in_the_overland_belts_uncovered_stretch(plant):
    """First over the whole plant, with the reasons in words; a place with a cause to cure comes after all."""
    places = ranked_places(plant, timezone.now())
    first = places[0]
    judged = first.candidate.judged
    assert (first.study.conveyor.tag, judged.place.strand) == ("Q-11", "return")
    assert 310 <= judged.place.chainage_m - 50 < judged.place.chainage_m <= 710
    by_hand = Incident.objects.current().filter(
        conveyor__tag="Q-11", strand="return", happened_at__gte=first.study.since,
        chainage_m__gte=judged.place.chainage_m - 50, chainage_m__lte=judged.place.chainage_m,
    )  # fmt: skip
    assert judged.reach.n_new == by_hand.count() > 12
    assert f"{judged.reach.n_new} of the 38 incidents of this strand lie at" in first.candidate.reasons[0]
    assert "from 300 to 710 m, which no device reaches and where 23 of the 38 lie" in first.candidate.reasons[1]
    waiting = [each.candidate.is_cause_first for each in places]
    assert waiting == sorted(waiting)
    assert [each.study.conveyor.tag for each in places if each.candidate.is_cause_first] == ["Y-01"]
    put_aside = [each.study.conveyor.tag for each in places if each.candidate.judged.overridden]
    assert put_aside == ["L-06"]


def test_the_meter_reading_that_was_mistyped_is_set_aside(plant):
    belt = Conveyor.objects.get(tag="Y-01")
    hours = hours_of([belt])[belt.pk]
    assert len(hours.meter.flagged) == 1
    year = hours.ledger.hours(timezone.now() - dt.timedelta(days=365), timezone.now())
    assert year.running_h == pytest.approx(4200, rel=0.12)


def test_missing_days_are_not_known(plant):
    belt = Conveyor.objects.get(tag="Y-02")
    now = timezone.now()
    year = hours_of([belt])[belt.pk].ledger.hours(now - dt.timedelta(days=365), now)
    assert 1 - year.coverage == pytest.approx(11.5 / 365, abs=0.004)


def test_chatter_and_splice_are_told_apart(plant):
    since = timezone.now() - dt.timedelta(days=60)
    chatter = switch_watch_of(Conveyor.objects.get(tag="S-12"), since=since, zone=plant.zone)
    splice = switch_watch_of(Conveyor.objects.get(tag="Y-02"), since=since, zone=plant.zone)
    assert chatter.n_defect_days == 3
    assert not any(fold.flagged for _label, fold in chatter.folds)
    assert any(fold.flagged for _label, fold in splice.folds)
    assert splice.n_defect_days == 0


def test_the_splice_is_in_the_book_on_forty_days(plant):
    at = SwitchEvent.objects.filter(
        drift_switch__conveyor__tag="Y-02", drift_switch__chainage_m=120.0, side="drive", is_on=True
    ).values_list("at", flat=True)
    per_day = Counter(timezone.localdate(each, timezone=plant.zone) for each in at)
    assert sum(n >= 30 for n in per_day.values()) == 40


def test_what_the_scenario_places_once_stands_there_once(plant):
    """A visit that was not safe, a diameter typed in inches, a device found mirrored, a guard that was off."""
    not_safe = Task.objects.filter(plant=plant, could_not_do__reason="not_safe")
    assert [task.installation.conveyor.tag for task in not_safe] == ["Q-06"]
    typed = Reading.objects.current().filter(visit__plant=plant, code="drive_diameter", typed="2.9")
    assert [round(each.value, 1) for each in typed] == [73.7]
    mirrored = Installation.objects.filter(plant=plant, note__contains="mirrored")
    assert [(each.conveyor.tag, each.device.number) for each in mirrored] == [("S-19", "24")]
    guards = ConveyorPart.objects.filter(conveyor__plant=plant, kind=ConveyorPart.Kind.GUARD)
    assert [(each.conveyor.tag, each.note) for each in guards] == [("P-03", "was off after the fitting, refitted")]


def test_next_week_two_belts_may_be_locked_out_together(plant, today):
    windows = OutageWindow.objects.filter(conveyor__tag__in=["S-12", "S-15"])
    assert windows.count() == 2
    for window in windows:
        day = timezone.localdate(window.starts_at, timezone=plant.zone)
        assert 4 <= (day - today).days <= 11
        fitting = Task.objects.open().filter(
            installation__conveyor=window.conveyor,
            check_kind__needs_lockout=True,
            opens_on__lte=day,
            closes_on__gte=day,
        )
        assert fitting.count() >= 2, window.conveyor.tag


def test_one_fitting_lacks_something_and_one_was_left_half_done(plant):
    planned, half_done = (Fitting.objects.get(plant=plant, conveyor__tag=tag) for tag in ("S-12", "Y-06"))
    assert Fitting.objects.open().count() == 3
    missing = {line.key for line in readiness_of(planned) if line.is_missing}
    assert "permit" in missing
    assert any(key.startswith("need-") for key in missing)
    assert planned.planned_at == planned.outage_window.starts_at
    job = job_of(half_done)
    assert (job.next.name, job.next.point, job.is_isolated) == ("fitting-point", "clear", True)


def test_a_second_load_changes_nothing(plant):
    counts = [model.objects.count() for model in (Incident, RunRecord, Task, Reading, SwitchEvent)]
    assert not load_demo(say=lambda words: None)
    assert counts == [model.objects.count() for model in (Incident, RunRecord, Task, Reading, SwitchEvent)]


OFFSETS = [("20", True), ("30", False), ("45", False), ("24", True), ("4", True), ("34", False), ("56", True)]


@pytest.mark.parametrize(("number", "falls"), OFFSETS)
def test_belt_offsets_tell_their_story(plant, number, falls):
    """Mean distance off centre after six months against before; the pivot of 45 had seized by then."""
    rows = BeltOffset.objects.current().filter(installation__device__number=number).order_by("taken_at")
    first, last = rows.first().taken_at, rows.last().taken_at
    before, after = (summarise(rows.filter(taken_at=at).values_list("offset_mm", flat=True)) for at in (first, last))
    assert before.n == after.n >= 10
    assert (after.mean_mm / before.mean_mm < 0.6) is falls


def test_one_survey_is_open_and_each_result_was_met_once_at_least(plant):
    survey = Survey.objects.open().get()
    assert survey.conveyor.tag == "Q-11"
    assert survey.cause_tests.filter(found="not_tested").count() == 8
    closed = {
        (each.conveyor.tag, each.result) for each in Survey.objects.exclude(pk=survey.pk).select_related("conveyor")
    }
    assert closed == {
        ("L-01", "fits"),
        ("S-21", "fits"),
        ("Y-06", "conditions"),
        ("Y-02", "conditions"),
        ("L-05", "does_not_fit"),
        ("Y-01", "does_not_fit"),
    }
    decided = Survey.objects.get(conveyor__tag="L-05").reasons
    assert [each["rule"] for each in decided if each["verdict"] == "not_met"] == ["beside_drive"]


def test_a_follow_up_is_asked_for_only_of_the_young_device(plant):
    due = Task.objects.filter(origin="follow_up")
    assert [task.installation.device.number for task in due] == ["25"]


def test_a_job_between_two_adjustments_gets_better(plant):
    job = job_of(Fitting.objects.get(plant=plant, conveyor__tag="L-01"))
    worst = [abs(cycle.worst.offset_mm) for cycle in job.convergence.cycles]
    assert (len(worst), worst[1] < worst[0]) == (2, True)
    assert not job.acceptance.is_met
    assert not job.is_isolated


def test_one_device_went_through_the_whole_book(plant, studies):
    """Survey, isolation per cycle, runs empty and loaded, acceptance: its clock starts with the hand-over."""
    job = Fitting.objects.get(installation__device__number="25")
    assert (job.isolations.count(), job.trial_runs.count()) == (2, 3)
    assert all(row.is_done for row in torque_rows(job))
    result = result_of(job, system=UnitSystem.METRIC)
    assert {line.verdict.value for line in result.lines} == {"within"}
    assert job.installation.installed_at == job.handed_over_at
    assert job.survey.result == "fits"


def test_every_model_has_its_sheet_and_says_what_it_does_not_state(plant):
    models = {each.name: each for each in DeviceModel.objects.of_plant(plant)}
    assert all(each.parts.exists() and each.frame_length_most_mm for each in models.values())
    assert models["RP-1"].breakaway_limit_n is None
    assert (models["CT-1"].roller_drop_mm, models["CT-1"].belt_lift_most_mm) == (None, None)
    bolt = models["RV-2"].fasteners.get(place="pivot bolt")
    estimate = torque_target(
        bolt.torque_nm,
        bolt.thread,
        bolt.strength_class,
        nut_factor=bolt.nut_factor,
        preload_fraction=bolt.preload_fraction,
    )
    # K F d by hand: 0.18 x 0.25 x 600 MPa x 245 mm2 x 20 mm (ISO 898-1: proof stress and stress area of M20 8.8).
    assert estimate.is_estimate
    assert estimate.torque_nm == pytest.approx(0.18 * 0.25 * 600 * 245 * 0.020, rel=0.01)


def test_one_wrench_ran_out_and_its_last_readings_are_marked(plant, today):
    late = [
        each.number
        for each in Instrument.objects.of_plant(plant)
        if each.calibration_due_on and each.calibration_due_on < today
    ]
    assert late == ["TW-12"]
    torques = Reading.objects.current().filter(instrument__isnull=False)
    assert (
        torques.exclude(doubt="").count()
        == torques.filter(instrument__number="TW-12", visit__visited_at__date__gt=today - dt.timedelta(days=38)).count()
    )


def test_changed_parts_are_told_and_a_device_rests(plant):
    changed = [(each.installation.device.number, each.part) for each in PartChange.objects.current().order_by("pk")]
    assert changed.count(("4", "sensor_rollers")) == 2
    assert ("15", "fasteners") in changed
    assert any(part == "pivot" for _number, part in changed)
    spell = OutOfService.objects.get(ends_at__isnull=True)
    assert spell.installation.device.number == "55"
    assert not Task.objects.open().filter(installation=spell.installation).exists()


@pytest.mark.parametrize(
    ("tag", "number", "key", "sign"),
    [
        ("Y-03", "30", "restraint", "points"),
        ("L-02", "45", "pivot", "points"),
        ("K-07", "41", "near", "points"),
        ("P-05", "15", "square", "points"),
        ("L-06", "56", "each-other", "points"),
        ("S-12", "20", "pivot", "against"),
    ],
)
def test_the_usual_suspects_lead_to_the_fault_of_each_story(plant, tag, number, key, sign):
    place = Installation.objects.get(conveyor__tag=tag, device__number=number)
    found = {each.key: each for each in suspects_at(place, UnitSystem.METRIC).suspects}
    assert found[key].sign == sign, found[key].words
