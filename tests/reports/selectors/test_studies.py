"""Comparisons on hand-made data: what is counted, what is left out, and that the verdict is the calculation's own."""

from __future__ import annotations

import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from installs.models import LoggedStation
from installs.services.out_of_service import back_in_service, take_out_of_service
from plant.calc.rates import compare_rates
from plant.calc.reasons import Reason
from plant.models import BeltChange, ConveyorPart, RunRecord
from plant.services.running_hours import correct_run
from reports.calc.reference_model import ReferenceRule
from reports.calc.study_windows import Window, WindowRule
from reports.calc.verdicts import EffectVerdict, VerdictRule
from reports.selectors.belts import Happened, belts_of
from reports.selectors.incidents_by_month import bars_of, marks_of
from reports.selectors.rates import belt_rate, plant_rate
from reports.selectors.reference_groups import BesidePlace, beside_places, beside_zone, sensitivity_of
from reports.selectors.studies import by_the_rule, studies_of, study_of
from reports.services.study_windows import set_window
from reports.words.reference_groups import BESIDE_WORDS
from reports.words.study_windows import left_out_words
from tests import make

UTC = dt.UTC
DAY = dt.timedelta(days=1)
INSTALLED = dt.datetime(2026, 1, 5, 8, tzinfo=UTC)
NOW = dt.datetime(2026, 11, 20, 12, tzinfo=UTC)
START = INSTALLED - 800 * DAY


@pytest.fixture
def belt(alder):
    """Runs 12 h a day, known throughout; drift switches at 2, 60, 120 and 198 m."""
    made = make.conveyor(alder, tag="S-12")
    make.run_record(made, START, NOW, 12.0 * ((NOW - START) / DAY))
    for chainage_m in (2.0, 60.0, 120.0, 198.0):
        make.drift_switch(made, chainage_m)
    return made


@pytest.fixture
def at(belt):
    """Device 20 at 100 m on the return strand: it steers 50 to 100 m."""
    return make.installation(belt, "20", installed_at=INSTALLED)


def incidents(belt, first, n, **values):
    for i in range(n):
        make.incident(belt, first + i * DAY, **values)


def test_counts_hours_ratio_and_verdict(belt, at):
    for n in range(29):
        make.incident(belt, INSTALLED - (10 + 12 * n) * DAY)
    for n in range(6):
        make.incident(belt, INSTALLED + (30 + 40 * n) * DAY)
    found = study_of(at, NOW)
    assert (found.before.n, found.after.n) == (29, 6)
    assert found.before.hours == pytest.approx(12 * 365, abs=1e-6)
    assert found.windows.settling.end == INSTALLED + 14 * DAY  # 168 h by then, fewer than 200
    assert found.after.hours == pytest.approx(12 * (NOW - INSTALLED - 14 * DAY) / DAY, abs=1e-6)
    assert found.ratio == compare_rates(29, found.before.hours, 6, found.after.hours)
    assert found.verdict == EffectVerdict.FEWER
    assert found.n_detectors == 1


def test_bad_spells_widen_the_interval_and_are_said(belt, at):
    """The same counts as above, one a day: a single bad month."""
    incidents(belt, INSTALLED - 300 * DAY, 14)
    incidents(belt, INSTALLED + 30 * DAY, 3)
    found = study_of(at, NOW)
    assert found.ratio.high < 1
    assert found.answers.spells.is_clustered
    assert found.verdict == EffectVerdict.NO_CLEAR_CHANGE
    assert VerdictRule.BAD_SPELLS in [each.rule for each in found.judgement.reasons]


def test_a_plant_without_reference_stretches_says_so(belt, at):
    make.incident(belt, INSTALLED - 30 * DAY)
    answers = study_of(at, NOW).answers
    assert answers.shrunk is None
    assert ReferenceRule.TOO_FEW_STRETCHES in [each.rule for each in answers.reasons]


def test_stretches_beside_the_zone_and_other_ways_of_counting(belt, at):
    """The zone is 50 to 100 m."""
    make.incident(belt, INSTALLED - 30 * DAY, chainage_m=80.0)
    make.incident(belt, INSTALLED - 30 * DAY + dt.timedelta(minutes=7), chainage_m=81.0)
    make.incident(belt, INSTALLED - 20 * DAY, chainage_m=110.0)
    make.incident(belt, INSTALLED - 10 * DAY, chainage_m=None)
    make.incident(belt, INSTALLED + 40 * DAY, chainage_m=30.0)
    one = study_of(at, NOW)
    known = (one.belt, "return", one.zones, one.before, one.after)
    beside = [(each.place, each.ratio.n_before, each.ratio.n_after) for each in beside_zone(*known)]
    assert beside == [
        (BesidePlace.DOWNSTREAM_TO_TAIL, 0, 1),
        (BesidePlace.UPSTREAM_TO_HEAD, 1, 0),
        (BesidePlace.REST, 0, 0),
    ]
    read = {(each.merge_minutes, each.is_possible): each.n_before for each in sensitivity_of(*known, 1, one.rules)}
    assert read == {(None, False): 2, (None, True): 4}  # what people logged is never merged


@pytest.mark.parametrize(
    ("strand", "is_reversing", "words"),
    [("return", False, ("down", "up")), ("carry", False, ("up", "down")), ("return", True, ("below", "above"))],
)
def test_stretches_beside_the_zone_are_named_by_the_belts_travel(strand, is_reversing, words):
    """On the return strand the belt comes from the head; a reversing belt has neither upstream nor downstream."""
    to_tail, to_head = (str(BESIDE_WORDS[each]) for each in beside_places(strand, is_reversing=is_reversing))
    assert (to_tail.startswith(words[0]), to_tail.endswith("tail")) == (True, True)
    assert (to_head.startswith(words[1]), to_head.endswith("head")) == (True, True)


@pytest.mark.parametrize(
    ("values", "inside"),
    [
        ({"chainage_m": 50.0}, True),
        ({"chainage_m": 100.0}, True),
        ({"chainage_m": 49.9}, False),
        ({"chainage_m": 100.1}, False),
        ({"strand": "carry"}, False),
        ({"chainage_m": None}, False),
        ({"is_withdrawn": True}, False),
    ],
)
def test_what_counts_is_on_the_strand_inside_the_zone(belt, at, values, inside):
    make.incident(belt, INSTALLED - 30 * DAY, **values)
    assert study_of(at, NOW).before.n == int(inside)


def test_a_day_without_a_time_counts_where_it_lies_whole_and_nowhere_where_an_edge_cuts_it(belt, at):
    zone = belt.plant.zone

    def on(day, **values):
        midnight = dt.datetime.combine(day, dt.time(), tzinfo=zone)
        make.incident(belt, midnight, time_is_known=False, created_at=midnight + 2 * DAY, **values)

    fitted = INSTALLED.astimezone(zone).date()
    on(fitted)
    found = study_of(at, NOW)
    assert (found.before.n, found.before.n_without_time) == (0, 1)
    assert sum(each.n for each in found.left_out) + found.after.n == 0
    on(fitted - dt.timedelta(days=1))
    on(fitted + dt.timedelta(days=40))
    on(fitted + dt.timedelta(days=40), chainage_m=None)
    found = study_of(at, NOW)
    assert (found.before.n, found.after.n) == (1, 1)
    assert (found.before.n_without_time, found.after.n_without_time) == (1, 0)
    assert sum(bar.n for bar in bars_of(found)) == 2


def test_a_day_without_a_time_has_known_hours_only_if_all_of_it_has(alder):
    belt = make.conveyor(alder, tag="Y-3")
    make.drift_switch(belt, 60.0)
    zone = alder.zone
    noon = dt.datetime(2026, 3, 10, 12, tzinfo=zone)
    make.run_record(belt, noon, NOW, 12.0)
    for day in (10, 11):
        make.incident(belt, dt.datetime(2026, 3, day, tzinfo=zone), time_is_known=False, created_at=NOW)
    covered = belts_of([belt])[belt.pk].incidents.is_covered
    assert covered.tolist() == [False, True]


def test_today_s_incident_without_a_time_is_in_a_window_that_ends_now(alder):
    belt = make.conveyor(alder, tag="Y-4")
    now = dt.datetime(2026, 3, 10, 15, tzinfo=alder.zone)
    make.incident(belt, now.replace(hour=0), time_is_known=False, created_at=now - dt.timedelta(hours=1))
    arrays = belts_of([belt])[belt.pk].incidents
    assert arrays.within(Window(now - 30 * DAY, now)).tolist() == [True]
    assert arrays.cut_by(Window(now - 30 * DAY, now)).tolist() == [False]
    assert arrays.within(Window(now - 30 * DAY, now - dt.timedelta(hours=3))).tolist() == [False]


def test_a_corrected_row_counts_once(belt, at):
    old = make.incident(belt, INSTALLED - 30 * DAY, chainage_m=80.0)
    make.incident(belt, INSTALLED - 30 * DAY, chainage_m=150.0, corrects=old)
    assert study_of(at, NOW).before.n == 0


def test_incidents_without_a_place_are_counted_apart(belt, at):
    incidents(belt, INSTALLED - 60 * DAY, 3, chainage_m=None)
    incidents(belt, INSTALLED - 50 * DAY, 2, chainage_m=None, strand="")
    incidents(belt, INSTALLED - 40 * DAY, 4, chainage_m=None, strand="carry")
    found = study_of(at, NOW)
    assert (found.before.n, found.before.n_without_place) == (0, 5)


def test_settling_in_ends_with_its_running_hours(alder):
    belt = make.conveyor(alder, tag="K-1")
    make.run_record(belt, START, NOW, 20.0 * ((NOW - START) / DAY))
    at = make.installation(belt, "1", installed_at=INSTALLED)
    incidents(belt, INSTALLED + 5 * DAY, 3)
    found = study_of(at, NOW)
    assert found.windows.settling.end == INSTALLED + 10 * DAY
    assert found.after.n == 0
    settling = next(row for row in found.left_out if row.reason.rule is WindowRule.SETTLING_IN)
    assert settling.reason.values == {"days": 14, "running_h": 200}
    assert (settling.n, round(settling.running_h)) == (3, 200)


def test_belt_changes_cut_both_windows(belt, at):
    def change(at, words, **values):
        BeltChange.objects.create(conveyor=belt, changed_at=at, kind="belt", description=words, **values)

    change(INSTALLED - 100 * DAY, "new belt")
    change(INSTALLED + 60 * DAY, "new chute")
    change(INSTALLED + 30 * DAY, "idler reported seized", cuts_comparison=False)
    incidents(belt, INSTALLED - 120 * DAY, 5)
    incidents(belt, INSTALLED - 90 * DAY, 4)
    incidents(belt, INSTALLED + 40 * DAY, 3)
    incidents(belt, INSTALLED + 61 * DAY, 2)
    found = study_of(at, NOW)
    assert found.before.window == Window(INSTALLED - 100 * DAY, INSTALLED)
    assert found.after.window == Window(INSTALLED + 14 * DAY, INSTALLED + 60 * DAY)
    assert (found.before.n, found.after.n) == (4, 3)
    assert {left_out_words(row.reason): row.n for row in found.left_out} == {
        "before a change: belt replaced: new belt": 5,
        "settling-in: 14 days or 200 running hours, whichever comes first": 0,
        "after a change: belt replaced: new chute": 2,
    }
    assert found.is_closed


def test_devices_with_overlapping_zones_fitted_together_are_one(belt, at):
    """Device 21 at 130 m steers 80 to 130 m; the union is 50 to 130 m."""
    other = make.installation(belt, "21", chainage_m=130.0, installed_at=INSTALLED + 10 * DAY)
    incidents(belt, INSTALLED - 60 * DAY, 2, chainage_m=125.0)
    found = study_of(at, NOW)
    assert [each.device.number for each in found.members] == ["20", "21"]
    assert study_of(other, NOW).members == found.members
    assert [(zone.low_m, zone.high_m) for zone in found.zones] == [(50.0, 130.0)]
    assert found.before.n == 2
    assert found.windows.settling == Window(INSTALLED, INSTALLED + 24 * DAY)
    assert [len(each.members) for each in studies_of(belt.plant, NOW)] == [2]


def test_a_device_that_came_later_cuts_instead(belt, at):
    make.installation(belt, "21", chainage_m=130.0, installed_at=INSTALLED + 61 * DAY)
    found = study_of(at, NOW)
    assert len(found.members) == 1
    assert found.after.window.end == INSTALLED + 61 * DAY
    assert any("device 21, whose zone overlaps, was fitted" in left_out_words(row.reason) for row in found.left_out)


def test_a_device_whose_zone_no_switch_sees_is_judged_alone(alder, at, belt):
    """Device 22 at 55 m steers 5 to 55 m: between the switches at 2 and 60 m."""
    blind = make.installation(belt, "22", chainage_m=55.0, installed_at=INSTALLED)
    incidents(belt, INSTALLED - 60 * DAY, 9)
    assert study_of(at, NOW).members == (at,)
    assert [each.device.number for each in study_of(at, NOW).neighbours] == ["22"]
    found = study_of(blind, NOW)
    assert (found.n_detectors, found.verdict) == (0, EffectVerdict.CANNOT_BE_JUDGED)
    assert found.judgement.reasons[0] == Reason(VerdictRule.NO_DETECTOR)


def test_a_removed_switch_is_no_detector(belt, at):
    ConveyorPart.objects.filter(conveyor=belt).update(removed_on=dt.date(2026, 5, 1))
    assert study_of(at, NOW).verdict == EffectVerdict.CANNOT_BE_JUDGED


def test_thin_coverage_is_not_judged(alder):
    belt = make.conveyor(alder, tag="Y-2")
    make.drift_switch(belt, 60.0)
    make.run_record(belt, INSTALLED - 250 * DAY, NOW, 12.0 * ((NOW - INSTALLED) / DAY + 250))
    at = make.installation(belt, "1", installed_at=INSTALLED)
    incidents(belt, INSTALLED - 300 * DAY, 7)
    incidents(belt, INSTALLED - 200 * DAY, 4)
    found = study_of(at, NOW)
    assert found.before.exposure.coverage == pytest.approx(250 / 365, abs=1e-3)
    assert (found.before.n, found.before.n_unknown_hours) == (4, 7)
    assert found.verdict == EffectVerdict.CANNOT_BE_JUDGED
    assert found.judgement.reasons[0].rule == VerdictRule.HOURS_UNKNOWN_BEFORE
    assert found.judgement.reasons[0].values["known_pct"] == pytest.approx(68, abs=1)
    belt.plant.least_coverage_pct = 60
    belt.plant.save()
    assert study_of(at, NOW).verdict != EffectVerdict.CANNOT_BE_JUDGED


def test_none_after_a_short_time_is_too_early(belt, at):
    incidents(belt, INSTALLED - 300 * DAY, 14)
    found = study_of(at, INSTALLED + 21 * DAY)
    assert (found.after.n, found.verdict) == (0, EffectVerdict.TOO_EARLY)
    assert found.judgement.hours_needed > 1000
    settling = study_of(at, INSTALLED + 3 * DAY)
    assert settling.after.window.is_empty
    assert settling.verdict == EffectVerdict.TOO_EARLY


def test_the_window_ends_with_the_removal(belt, at):
    at.removed_at = INSTALLED + 100 * DAY
    at.save()
    incidents(belt, INSTALLED + 120 * DAY, 5)
    found = study_of(at, NOW)
    assert found.after.window.end == at.removed_at
    assert (found.after.n, found.left_out[-1].n, found.left_out[-1].reason.rule) == (0, 5, WindowRule.AFTER_THE_REMOVAL)


def test_an_engineers_window_takes_the_rules_place_and_both_are_there(belt, at, erin):
    incidents(belt, INSTALLED - 400 * DAY, 3)
    set_window(
        installation=at,
        by=erin,
        reason="18 months: two dry summers",
        before_months=18,
        after_from=dt.date(2026, 3, 1),
        after_until=dt.date(2026, 8, 31),
    )
    found = study_of(at, NOW)
    assert found.before.n == 3
    assert found.after.window.start == dt.datetime(2026, 2, 28, 23, tzinfo=UTC)  # midnight in Berlin
    assert found.after.window.end == dt.datetime(2026, 8, 31, 22, tzinfo=UTC)
    assert by_the_rule(found).before.n == 0


def test_bars_add_up_to_the_counts(belt, at):
    incidents(belt, INSTALLED - 300 * DAY, 29)
    incidents(belt, INSTALLED - 5 * DAY, 40)
    found = study_of(at, NOW)
    bars = bars_of(found)
    for name, side in (("before", found.before), ("after", found.after)):
        mine = [bar for bar in bars if bar.side == name]
        assert sum(bar.n for bar in mine) == side.n
        assert sum(bar.running_h for bar in mine) == pytest.approx(side.hours)
    assert [bar.side for bar in bars if bar.month == "2026-01"] == ["before", "settling", "after"]
    fitted = Reason(Happened.FITTED, {"number": "20"})
    assert marks_of(found.belt, found.before.window.start, NOW, found.members)[0].what == fitted


def test_rates_of_a_belt_and_of_the_plant(belt, at, alder):
    quiet = make.conveyor(alder, tag="S-14")
    make.run_record(quiet, START, NOW, 10.0 * ((NOW - START) / DAY))
    incidents(belt, INSTALLED + 30 * DAY, 8, strand="", chainage_m=None)
    belts = belts_of([belt, quiet])
    window = Window(INSTALLED, INSTALLED + 100 * DAY)
    assert belt_rate(belts[belt.pk], window).rate.per_1000_h == pytest.approx(8 / 1.2)
    whole = plant_rate(belts.values(), window)
    assert (whole.rate.n, whole.exposure_h, whole.coverage) == (8, pytest.approx(2200.0), pytest.approx(1.0))


def test_queries_do_not_grow_with_installations(belt, at, alder):
    def queries():
        with CaptureQueriesContext(connection) as caught:
            studies_of(alder, NOW)
        return len(caught)

    queries()
    few = queries()
    for n in range(30, 36):
        more = make.conveyor(alder, tag=f"T-{n}")
        make.drift_switch(more, 60.0)
        make.installation(more, str(n), installed_at=INSTALLED)
    assert queries() == few


def test_hours_set_aside_never_divide(belt, at):
    """A span that claims more than the clock has is no exposure: the belt is uncovered there."""
    RunRecord.objects.all().delete()
    make.run_record(belt, START, NOW, 30.0 * ((NOW - START) / DAY))
    assert study_of(at, NOW).before.exposure.coverage == 0.0


def test_new_hours_are_seen_at_once(belt, at, erin):
    """Ledgers are kept from one page to the next; a further row, a correction and a withdrawal each renew them."""
    before = study_of(at, NOW).before.hours
    row = RunRecord.objects.get()
    correct_run(row=row, by=erin, reason="twice as long", running_h=2 * row.running_h)
    assert study_of(at, NOW).before.hours == pytest.approx(2 * before)
    correct_run(row=RunRecord.objects.current().get(), by=erin, reason="another belt", withdraw=True)
    assert study_of(at, NOW).before.hours == 0


def test_a_spell_out_of_service_cuts_the_window_after(belt, at, tess):
    begins_at = INSTALLED + 60 * DAY
    spell = take_out_of_service(installation=at, begins_at=begins_at, reason="pivot seized", by=tess)
    back_in_service(spell, by=tess, version=1, ends_at=begins_at + 9 * DAY)
    found = study_of(at, NOW)
    assert found.after.window.end == begins_at
    assert any("device 20 out of service: pivot seized" in left_out_words(row.reason) for row in found.left_out)


def test_a_station_that_people_logged_on_both_sides_sees_for_the_switch(alder, at, belt):
    """Logged from the first day of the window before; one that began later saw only one side."""
    blind = make.installation(belt, "22", chainage_m=55.0, installed_at=INSTALLED)
    incidents(belt, INSTALLED - 60 * DAY, 9)
    first = study_of(blind, NOW).windows.before.start.date()
    station = LoggedStation.objects.create(conveyor=belt, chainage_m=30.0, from_on=first, logged_by="shift leader")
    assert study_of(blind, NOW).n_detectors == 1
    for changes in ({"strand": "carry"}, {"from_on": INSTALLED.date()}, {"to_on": INSTALLED.date()}):
        known = {"strand": "return", "from_on": first, "to_on": None}
        LoggedStation.objects.filter(pk=station.pk).update(**{**known, **changes})
        assert study_of(blind, NOW).n_detectors == 0, changes
