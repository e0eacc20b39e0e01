"""What is known of belts when a place is looked for: incidents, hours, zones, parts, and causes that surveys found."""

import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from installs.calc.belt_cases import Fixture, Logged, OpenCause, SeenIncident, Steered
from installs.calc.effect_zones import Zone
from installs.calc.open_causes import CauseRule
from installs.models import CauseOverride, CauseTest, LoggedStation, Survey
from installs.selectors.device_on_trial import try_place
from installs.selectors.placement import belt_studies, measured_at, places_of, ranked_places
from installs.words.placement import placing_words
from plant.calc.reasons import Reason
from plant.calc.units import UnitSystem
from plant.models import ConveyorPart, Incident
from plant.words.moments import day_of
from tests import make

pytestmark = pytest.mark.django_db
NOW = dt.datetime(2026, 11, 25, 12, tzinfo=dt.UTC)


def days_ago(days):
    return NOW - dt.timedelta(days=days)


def long_belt(alder):
    """Devices at 60, 180, 300 and 760 m; 23 of 38 incidents lie where none of them steers."""
    belt = make.conveyor(alder, tag="Q-11", length_m=900.0, speed_m_s=4.5)
    model = make.device_model(alder, "RP-2", belt_width_least_mm=900.0, belt_width_most_mm=1600.0, speed_most_m_s=4.5)
    for number, chainage_m in (("8", 60.0), ("9", 180.0), ("10", 300.0), ("11", 760.0)):
        make.installation(belt, device=make.device(alder, number, model), chainage_m=chainage_m)
    make.run_record(belt, days_ago(360), days_ago(10), 5180.0)
    for n in range(23):
        make.incident(belt, days_ago(20 + n), chainage_m=431.0 + 8 * n)
    for n, chainage_m in enumerate((18, 39, 53, 149, 160, 170, 257, 266, 270, 296, 715, 729, 757, 829, 840)):
        make.incident(belt, days_ago(60 + n), chainage_m=float(chainage_m))
    return belt


def a_survey(belt, erin, at, days, found=None, **values):
    made = Survey.objects.create(
        plant=belt.plant, conveyor=belt, chainage_m=at, surveyed_at=days_ago(days), surveyed_by=erin, **values
    )
    if found:
        CauseTest.objects.create(survey=made, cause=CauseTest.Cause.SEIZED_ROLLS, found=found)
    return made


def test_the_case_of_a_belt_holds_what_the_book_knows(alder, belt_a1):
    ConveyorPart.objects.create(conveyor=belt_a1, kind="scraper", strand="return", chainage_m=199.0, label="B1")
    ConveyorPart.objects.create(conveyor=belt_a1, kind="guard", strand="return", chainage_m=50.0)
    ConveyorPart.objects.create(
        conveyor=belt_a1, kind="belt_scale", strand="carry", chainage_m=20.0, removed_on=dt.date(2026, 1, 1)
    )
    make.drift_switch(belt_a1, 60.0)
    make.installation(belt_a1, "7", chainage_m=100.0)
    make.run_record(belt_a1, days_ago(300), days_ago(100), 2000.0)
    make.run_record(belt_a1, days_ago(900), days_ago(700), 3000.0)
    make.incident(belt_a1, days_ago(5), chainage_m=80.0, suspected_cause=Incident.Cause.BUILD_UP)
    make.incident(belt_a1, days_ago(6), chainage_m=None, strand="")
    make.incident(belt_a1, days_ago(400), chainage_m=80.0)
    study = belt_studies([belt_a1], NOW)[belt_a1.pk]
    case = study.case
    assert case.incidents == (SeenIncident("", None, ""), SeenIncident("return", 80.0, "build-up"))
    assert case.steered == (Steered("device 7", "return", Zone(50, 100)),)
    assert case.fixtures == (Fixture("scraper", 199.0, "scraper B1", "return"),)
    assert case.detectors_m == (60.0,)
    assert case.hours == pytest.approx(2000.0)
    assert study.n_without_strand == 1
    cover = study.coverage()["return"]
    assert (cover.covered_m, cover.uncovered_m, cover.n_reached, cover.n_not_reached) == (50, 150, 1, 0)


def said(reason):
    return placing_words(reason, UnitSystem.METRIC)


def test_the_long_belts_uncovered_stretch_comes_first_and_the_reasons_say_why(alder, belt_a1):
    long_belt(alder)
    make.run_record(belt_a1, days_ago(360), days_ago(10), 4000.0)
    for n in range(4):
        make.incident(belt_a1, days_ago(30 + n), chainage_m=80.0)
    first, *others = ranked_places(alder, NOW)
    place = first.candidate.judged.place
    assert (first.place, first.study.conveyor.tag, place.strand) == (1, "Q-11", "return")
    assert 300 < place.chainage_m - 50 < place.chainage_m < 710
    assert "where it would steer and no device reaches" in said(first.candidate.reasons[0])
    assert said(first.candidate.reasons[1]) == (
        "It lies in the stretch from 300 to 710 m, which no device reaches and where 23 of the 38 lie."
    )
    assert "A-1" in {each.study.conveyor.tag for each in others}


def test_a_cause_that_a_survey_found_puts_the_place_last_until_a_later_one_finds_it_cured(alder, erin):
    belt = long_belt(alder)
    whole = {"wander_from_m": 400.0, "wander_to_m": 640.0}
    a_survey(belt, erin, 550.0, 20, CauseTest.Found.FOUND, **whole)
    study = belt_studies([belt], NOW)[belt.pk]
    assert study.case.open_causes == (
        OpenCause(
            Reason(
                CauseRule.FOUND_AT_SURVEY, {"cause": "seized or missing rolls, build-up", "on": dt.date(2026, 11, 5)}
            ),
            "return",
            400.0,
            640.0,
        ),
    )
    places = places_of(study, [], most=8)
    assert places[0].judged.place.chainage_m > 700
    assert places[0].rate < places[-1].rate
    Survey.objects.update(override_reason="New rolls come with the next outage.")
    best = places_of(belt_studies([belt], NOW)[belt.pk], [], most=8)[0]
    assert 310 < best.judged.place.chainage_m < 710
    assert said(best.reasons[2]).endswith("to be fitted all the same, because: New rolls come with the next outage.")
    Survey.objects.update(override_reason="")
    assert said(places[-1].reasons[0]).startswith("Cure first: seized or missing rolls")
    a_survey(belt, erin, 550.5, 10, CauseTest.Found.NOT_TESTED)
    assert belt_studies([belt], NOW)[belt.pk].case.open_causes
    a_survey(belt, erin, 550.5, 5, CauseTest.Found.CURED)
    study = belt_studies([belt], NOW)[belt.pk]
    assert study.case.open_causes == ()
    assert 310 < places_of(study, [])[0].judged.place.chainage_m < 710


def test_logged_stations_and_reasons_count_while_they_hold(alder, erin):
    belt = long_belt(alder)
    a_survey(belt, erin, 550.0, 20, CauseTest.Found.FOUND, wander_from_m=400.0, wander_to_m=640.0)
    today = NOW.date()
    LoggedStation.objects.create(conveyor=belt, chainage_m=520.0, from_on=today, logged_by="shift")
    LoggedStation.objects.create(conveyor=belt, chainage_m=530.0, from_on=today, to_on=today, logged_by="shift")
    yesterday = today - dt.timedelta(days=1)
    LoggedStation.objects.create(conveyor=belt, chainage_m=540.0, from_on=yesterday, to_on=yesterday, logged_by="x")
    ends = {"conveyor": belt, "low_m": 310.0, "high_m": 710.0, "created_by": erin}
    CauseOverride.objects.create(reason="was last year", ended_on=today, **ends)
    row = CauseOverride.objects.create(reason="rolls come in May", **ends)
    case = belt_studies([belt], NOW)[belt.pk].case
    assert case.logged == (Logged("return", 520.0), Logged("return", 530.0))
    assert [each.reason for each in case.overrides] == ["rolls come in May"]
    best = places_of(belt_studies([belt], NOW)[belt.pk], [], most=8)[0]
    assert 310 < best.judged.place.chainage_m < 710
    told = said(best.judged.overridden[0])
    assert told.startswith("Not cured: seized or missing rolls, build-up, found at the survey of 5 Nov 2026. To be")
    assert told.endswith(f"because: rolls come in May (erin, {day_of(row.created_at)}).")


def test_a_trial_takes_what_was_measured_there(alder, erin):
    belt = long_belt(alder)
    survey = a_survey(belt, erin, 551.0, 5, clearance_below_mm=430.0, clearance_drive_mm=125.0, clearance_off_mm=119.0)
    assert measured_at(belt, "return", 550.0) == survey
    assert measured_at(belt, "return", 555.0) is None
    assert measured_at(belt, "carry", 550.0) is None
    study = belt_studies([belt], NOW)[belt.pk]
    models = list(alder.device_models.all())
    place = try_place(study, models, {"strand": "return", "chainage_m": 550.0}).place
    assert (place.clearance_below_mm, place.clearance_beside_mm) == (430.0, 119.0)
    typed = {"strand": "return", "chainage_m": 550.0, "clearance_below_mm": 200.0}
    assert try_place(study, models, typed).place.clearance_below_mm == 200.0


def test_belts_that_are_out_of_use_are_not_ranked(alder):
    belt = long_belt(alder)
    belt.retired_on = dt.date(2026, 11, 1)
    belt.save()
    assert ranked_places(alder, NOW) == []


def test_the_number_of_queries_does_not_grow_with_the_belts(alder, erin):
    long_belt(alder)
    with CaptureQueriesContext(connection) as few:
        ranked_places(alder, NOW)
    for n in range(8):
        belt = make.conveyor(alder, tag=f"B-{n}", length_m=300.0)
        make.installation(belt, f"2{n}", chainage_m=100.0)
        make.run_record(belt, days_ago(360), days_ago(10), 4000.0)
        make.incident(belt, days_ago(30), chainage_m=200.0)
        make.incident(belt, days_ago(31), chainage_m=200.0)
        a_survey(belt, erin, 200.0, 5, CauseTest.Found.FOUND)
    with CaptureQueriesContext(connection) as many:
        assert len(ranked_places(alder, NOW)) > 8
    assert len(many) == len(few) <= 11
