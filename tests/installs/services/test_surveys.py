from __future__ import annotations

import datetime as dt
import uuid

import pytest
from django.utils import timezone

from installs.calc.survey_lines import line_kept
from installs.calc.survey_rules import SurveyRule
from installs.models import BeltOffset
from installs.selectors.belt_offsets import stations_of
from installs.services import surveys
from installs.services.belt_offsets import set_offset
from plant.calc.units import UnitSystem
from plant.errors import ChangedMeanwhile, Refused
from plant.selectors.history import lines_of
from plant.words.history import lines_told
from tests import make

pytestmark = pytest.mark.django_db


@pytest.fixture
def model(alder):
    return make.device_model(
        alder, clearance_below_mm=280, clearance_beside_mm=110, belt_width_least_mm=900, belt_width_most_mm=1600
    )


@pytest.fixture
def survey(belt_a1, tess, model):
    return surveys.open_survey(conveyor=belt_a1, strand="return", chainage_m=100, by=tess, device_model=model)


def saved(survey, tess, **values):
    return surveys.change_survey(survey, by=tess, version=survey.version, **values)


def test_the_same_form_opens_one_survey(belt_a1, tess):
    key = uuid.uuid4()
    both = [
        surveys.open_survey(conveyor=belt_a1, strand="return", chainage_m=100, by=tess, client_key=key)
        for _time in range(2)
    ]
    assert both[0] == both[1]
    assert both[0].cause_tests.count() == 9


def test_a_place_off_the_belt_is_refused(belt_a1, tess):
    with pytest.raises(Refused, match="is not on A-1"):
        surveys.open_survey(conveyor=belt_a1, strand="return", chainage_m=300, by=tess)


def test_a_draft_keeps_measures_causes_and_offsets(survey, tess):
    saved(
        survey,
        tess,
        clearance_below_mm=300.0,
        causes={"splice": ("no_sign", "looked at twice")},
        offsets={(90.0, False): 42.0, (90.0, True): -10.0},
    )
    survey.refresh_from_db()
    assert survey.clearance_below_mm == 300
    assert survey.cause_tests.get(cause="splice").note == "looked at twice"
    assert list(surveys.current_offsets(survey).values_list("offset_mm", flat=True)) == [42.0, -10.0]


def test_an_offset_that_is_changed_or_emptied_leaves_its_first_row(survey, tess):
    survey = saved(survey, tess, offsets={(90.0, False): 42.0, (80.0, False): 5.0})
    survey = saved(survey, tess, offsets={(90.0, False): 24.0, (80.0, False): None})
    assert [row.offset_mm for row in surveys.current_offsets(survey)] == [24.0]
    assert BeltOffset.objects.filter(survey=survey).count() == 4
    saved(survey, tess, offsets={(80.0, False): 7.0})
    assert [row.offset_mm for row in surveys.current_offsets(survey)] == [7.0, 24.0]


def test_an_offset_wider_than_the_belt_is_refused(survey, tess):
    with pytest.raises(Refused, match="more than the belt is wide"):
        saved(survey, tess, offsets={(90.0, False): 1300.0})


def test_a_second_person_is_told(survey, tess):
    saved(survey, tess, access="walkway")
    with pytest.raises(ChangedMeanwhile):
        surveys.change_survey(survey, by=tess, version=1, access="ladder")


def test_closing_freezes_the_result(survey, tess, model):
    survey = saved(survey, tess, clearance_below_mm=250.0)
    survey = surveys.close_survey(survey, by=tess, version=survey.version)
    assert survey.result == "does_not_fit"
    line = next(line_kept(each) for each in survey.reasons if each["rule"] == "below")
    assert (line.measured.values, line.wanted.values) == ({"size_mm": 250}, {"low_mm": 280})
    assert line.standing == "not_met"
    model.clearance_below_mm = 200
    model.save()
    survey.refresh_from_db()
    assert survey.result == "does_not_fit"
    with pytest.raises(Refused, match="closed"):
        saved(survey, tess, access="walkway")


def test_a_cause_is_cured_first_unless_a_reason_is_given(survey, tess):
    survey = saved(survey, tess, causes={"loading": ("found", "")})
    closed = surveys.close_survey(survey, by=tess, version=survey.version)
    assert closed.result == "does_not_fit"
    again = surveys.reopen_survey(closed, by=tess, version=closed.version, reason="chute ordered")
    closed = surveys.close_survey(again, by=tess, version=again.version, override_reason="new chute in May")
    assert closed.result == "conditions"
    (why,) = next(line_kept(each) for each in closed.reasons if each["rule"] == "cause_loading").why
    assert (why.rule, why.values["reason"]) == (SurveyRule.CAUSE_OVERRIDDEN, "new chute in May")


def test_reopening_wants_a_reason_and_keeps_the_old_result_in_the_history(survey, tess):
    closed = surveys.close_survey(survey, by=tess, version=survey.version)
    with pytest.raises(Refused, match="Say why"):
        surveys.reopen_survey(closed, by=tess, version=closed.version, reason=" ")
    opened = surveys.reopen_survey(closed, by=tess, version=closed.version, reason="measured again")
    assert (opened.closed_at, opened.result, opened.reasons) == (None, "", [])
    assert "conditions" in opened.history.values_list("result", flat=True)


def test_stations_are_proposed_until_some_are_measured(survey, tess):
    assert len(surveys.stations_to_measure(survey)) == 8
    survey = saved(survey, tess, offsets={(77.0, True): 5.0})
    assert surveys.stations_to_measure(survey) == (77.0,)


def test_an_installation_is_measured_again_where_it_was_before(belt_a1, tess):
    at = make.installation(belt_a1)
    assert len(stations_of(at)) == 8
    set_offset(
        root=uuid.uuid4(), conveyor=belt_a1, strand="return", chainage_m=66.0, is_loaded=False, offset_mm=3.0,
        taken_at=timezone.now() - dt.timedelta(days=1), occasion="survey", by=tess, installation=at,
    )  # fmt: skip
    assert stations_of(at) == (66.0,)


def test_the_history_names_the_rules_that_decided_before(survey, tess):
    survey = saved(survey, tess, clearance_below_mm=250.0)
    closed = surveys.close_survey(survey, by=tess, version=survey.version)
    surveys.reopen_survey(closed, by=tess, version=closed.version, reason="measured again")
    lines = lines_told(lines_of(closed), UnitSystem.METRIC)
    told = " ".join(f"{change.before} {change.after}" for line in lines for change in line.changes)
    assert "below, not met" in told
    assert "survey." not in told
