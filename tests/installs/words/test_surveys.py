"""What a survey says: one text a rule, names of lines, both unit systems, the guide to causes."""

import re
from dataclasses import replace

import pytest

from installs.calc.survey_lines import missing_of
from installs.calc.survey_rules import HiddenCause, SurveyRule, SurveySeen
from installs.calc.surveys import judge_survey
from installs.models import CauseTest
from installs.words.surveys import GUIDES, TEXTS, label_words, shown_lines, survey_words
from plant.calc.reasons import Reason
from plant.calc.units import UnitSystem
from tests.installs.calc.test_surveys import FRAME, GOOD, SHEET


def shown(change, rule, system=UnitSystem.METRIC, model=SHEET):
    lines = shown_lines(judge_survey(replace(GOOD, **change), model, FRAME).lines, system)
    return next(each for each in lines if each.rule == rule)


def test_every_rule_has_a_text():
    causes = {rule for cause in HiddenCause for rule in (cause.name_rule, cause.how_rule, cause.why_rule)}
    assert {*SurveyRule, *SurveySeen, *causes} == set(TEXTS)


@pytest.mark.parametrize("rule", [*SurveyRule, *SurveySeen])
def test_every_text_can_be_written(rule):
    names = {name.removesuffix("_number") for name in re.findall(r"%\((\w+)\)s", str(TEXTS[rule]))}
    values = dict.fromkeys(names, 12.0) | dict.fromkeys(names & {"words", "text", "which", "reason"}, "as typed")
    values |= dict.fromkeys(names & {"why", "how", "cause"}, HiddenCause.SPLICE.why_rule)
    values |= {name: Reason(SurveySeen.KNOWN) for name in names & {"wanted", "seen", "stations"}}
    for system in UnitSystem:
        words = survey_words(Reason(rule, values), system)
        assert words
        assert "%" not in words
        assert "survey." not in words


def test_the_guide_knows_every_cause_of_the_book():
    assert [each.cause for each in GUIDES] == [*HiddenCause] == CauseTest.Cause.values
    assert all(str(each.how) and str(each.why_first) and str(each.signature) for each in GUIDES)


def test_every_line_has_a_name():
    bare = replace(GOOD, causes={}, clearance_below_mm=None, conditions="only in summer", obstructions="cable tray")
    lines = (*judge_survey(bare, SHEET, FRAME).lines, *judge_survey(bare, None, FRAME).lines)
    assert all(label_words(line.rule) for line in lines)
    assert label_words("cause_splice") == "Cause: crooked splice, bowed or edge-damaged length"
    assert "Clearance below" in [label_words(line.rule) for line in missing_of(lines)]


@pytest.mark.parametrize(
    ("system", "measured", "wanted", "words"),
    [
        ("metric", "1640 mm", "1405 to 1633 mm", "Clear width 1640 mm, wanted 1405 to 1633 mm: 7 mm too much."),
        # 1640 / 25.4 = 64.57, 1405 / 25.4 = 55.31, 1633 / 25.4 = 64.29, 7 / 25.4 = 0.28; to the nearest 1/16.
        (
            "us",
            "64 9/16 in",
            "55 5/16 to 64 5/16 in",
            "Clear width 64 9/16 in, wanted 55 5/16 to 64 5/16 in: 1/4 in too much.",
        ),
    ],
)
def test_a_spacing_speaks_the_readers_units(system, measured, wanted, words):
    line = shown({"spacing_mm": 1640}, "spacing", UnitSystem(system))
    assert (line.label, line.measured, line.wanted) == ("Clear width between the stringers", measured, wanted)
    assert (line.verdict, line.words) == ("not_met", words)


@pytest.mark.parametrize(
    ("change", "rule", "measured", "wanted", "words"),
    [
        ({"clearance_below_mm": 250}, "below", "250 mm", "at least 280 mm", "250 mm of clearance below where T-1"),
        (
            {"whole_range": ""},
            "below",
            "320 mm",
            "at least 280 mm",
            "Not measured over the whole pivot and tilt range: measure it there before the fitting.",
        ),
        (
            {"guard_comes_off": "yes", "guard_goes_back": "no", "guard_note": "nip guard"},
            "guard",
            "one comes off (nip guard), no equal one fits back",
            "an equal guard fits back",
            "the belt would run with less guard than before.",
        ),
        (
            {"causes": {**GOOD.causes, "loading": "found"}},
            "cause_loading",
            "found, to be cured",
            "none, or cured",
            "Cure it first. The device wears, and the spillage stays at the chute.",
        ),
        ({"causes": {}}, "cause_belt", "not tested", "none, or cured", "Still to be tested. Look up the last belt"),
        ({}, "cause_belt", "no sign of it", "none, or cured", "belt wider or stiffer than planned, cupped: no sign"),
        ({"n_stations_empty": 1}, "offsets_empty", "1 station", "5 stations or more", "Without it the device's effect"),
        ({}, "offsets_loaded", "6 stations", "5 stations or more", "Measured at 6 stations."),
        ({"obstructions": "loading"}, "obstructions", "loading", "none", "It is in the way"),
        ({"chainage_m": 300.0}, "chainage", "300 m", "0 to 260 m", "The belt ends at 260 m."),
        (
            {"chainage_m": 180.0},
            "wander",
            "-60 m",
            "6 to 9 m",
            "That is further than the 50 m that it acts.",
        ),
    ],
)
def test_a_line_as_people_read_it(change, rule, measured, wanted, words):
    line = shown(change, rule)
    assert (line.measured, line.wanted) == (measured, wanted)
    assert words in line.words
