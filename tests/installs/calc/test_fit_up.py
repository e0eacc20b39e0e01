"""The fit-up sheet: elementary geometry, worked cases and properties that must hold for every place."""

import doctest
import json
import math
from dataclasses import fields
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from installs.calc import fit_up, fit_up_geometry
from installs.calc.fit_up import judge_fit_up
from installs.calc.fit_up_geometry import (
    SquareMethod,
    adjusted,
    bracket_height,
    extension_each_side,
    gaps_for,
    half_difference,
    implied_distance,
    run_out,
    skew_deg,
)
from installs.calc.fit_up_lines import Verdict, WantedSource
from installs.calc.fit_up_measures import Measures, ModelFigures
from installs.calc.fit_up_rules import FitSide, FitUpRule
from plant.calc.reasons import NotAccepted, Reason
from plant.calc.typed_quantities import parse_quantity
from plant.calc.units import QuantityKind, UnitSystem

# fitup.json: elementary geometry, computed with exact fractions; angles to 1e-5 deg, lengths to 1e-6 mm. Its start
# values (1/2 in of end play, 3/4 in of sensor gap, 1/2 in of lift) are common practice without a source.
CASES = json.loads((Path(__file__).parents[2] / "reference" / "fitup.json").read_text())
RP2 = ModelFigures(
    frame_length_least_mm=1000,
    frame_length_most_mm=1700,
    extension_most_mm=150,
    end_play_least_mm=6,
    end_play_most_mm=19,
    roller_drop_mm=120,
    belt_lift_least_mm=6,
    belt_lift_most_mm=25,
    sensor_gap_mm=19,
    sensor_gap_tolerance_mm=6,
    sensor_gap_sum_mm=38,
)
lengths = st.floats(1, 4000).map(lambda value: round(value, 2))


def rules(line):
    return [each.rule for each in line.why]


def mm(case, name):
    """A length of a case, given in mm or in inches with a fraction."""
    if f"{name}_mm" in case:
        return float(case[f"{name}_mm"])
    typed = case[f"{name}_in"]
    negative = typed.startswith("-")
    value = parse_quantity(typed.removeprefix("-"), QuantityKind.LENGTH_MM, UnitSystem.US).value
    return -value if negative else value


@pytest.mark.parametrize("case", CASES["skew"])
def test_skew_of_the_reference_cases(case):
    # The cases take atan of the run-out over the spacing, the sheet asin: 4e-6 deg apart at most here.
    out = run_out(SquareMethod.PARALLEL, mm(case, "a"), mm(case, "b"), mm(case, "s"))
    assert skew_deg(out, mm(case, "s")) == pytest.approx(case["skew_deg"], abs=1e-5)
    assert 1000 * out / mm(case, "s") == pytest.approx(case["mm_per_m"], abs=5e-5)


@pytest.mark.parametrize("case", CASES["extension"])
def test_extension_of_the_reference_cases(case):
    spacing, play, frame = mm(case, "spacing"), mm(case, "end_play"), mm(case, "frame")
    assert extension_each_side(spacing, play, frame) == pytest.approx(case["each_side_mm"], abs=1e-6)
    result = judge_fit_up(Measures(bracket_spacing_mm=spacing, end_play_mm=play, frame_length_mm=frame), ModelFigures())
    line = result.line("extension_drive_mm")
    assert line.wanted == pytest.approx(case["each_side_mm"], abs=1e-6)
    assert (FitUpRule.EACH_SIDE_NEGATIVE in rules(line)) is ("verdict" in case)


@pytest.mark.parametrize("case", CASES["centring"])
def test_centring_of_the_reference_cases(case):
    move = half_difference(mm(case, "left"), mm(case, "right"))
    assert move == pytest.approx(mm(case, "offset"), abs=1e-6)
    if "move" in case:
        assert case["move"].endswith("left") is (move > 0)


@pytest.mark.parametrize("case", CASES["sensor_gaps"])
def test_gaps_of_the_reference_cases(case):
    total, offset = 2 * mm(case, "centred_gap"), mm(case, "offset")
    if "refuse" in case:
        with pytest.raises(ValueError, match="inside the sensor: offset greater than the centred gap"):
            gaps_for(total, offset)
        return
    near, far = gaps_for(total, offset)
    assert (near, far, near + far) == pytest.approx((mm(case, "near"), mm(case, "far"), mm(case, "sum")), abs=1e-6)


@pytest.mark.parametrize("case", CASES["adjustment"])
def test_adjustment_of_the_reference_cases(case):
    after = adjusted(mm(case, "left"), mm(case, "right"), mm(case, "in_on_left_by"))
    assert after == pytest.approx((mm(case, "left_after"), mm(case, "right_after")), abs=1e-6)
    assert sum(after) == pytest.approx(mm(case, "sum"), abs=1e-6)


@pytest.mark.parametrize("case", CASES["bracket_height"])
def test_bracket_height_of_the_reference_cases(case):
    height = bracket_height(mm(case, "belt_underside"), mm(case, "lift"), mm(case, "roller_top_below_bracket"))
    assert height == pytest.approx(mm(case, "bracket"), abs=1e-6)


def test_gaps_of_an_off_centre_belt_are_right_by_their_sum():
    # fitup.json, sensor_gap_verdict: 1/4 and 1 1/4 in of a belt 1/2 in off; each gap alone would be called wrong.
    off_centre, wide = CASES["sensor_gap_verdict"]
    model = ModelFigures(sensor_gap_mm=19.05, sensor_gap_tolerance_mm=6.35)
    result = judge_fit_up(Measures(gap_drive_mm=mm(off_centre, "left"), gap_off_mm=mm(off_centre, "right")), model)
    keys = ("sensor_sum_mm", "gap_drive_mm", "gap_off_mm")
    assert [result.line(key).verdict for key in keys] == [Verdict.WITHIN] * 3
    (why,) = result.line("gap_drive_mm").why
    assert (why.rule, why.values["side"]) == (FitUpRule.GAP_NEAR_BY_GAPS, FitSide.DRIVE)
    assert why.values["off_by_mm"] == pytest.approx(12.7)
    result = judge_fit_up(Measures(gap_drive_mm=mm(wide, "left"), gap_off_mm=mm(wide, "right")), model)
    assert result.line("sensor_sum_mm").verdict is Verdict.OUTSIDE
    assert result.to_do[0].rule == FitUpRule.DO_SUM_WIDE
    assert result.to_do[0].values == {"by_mm": pytest.approx(12.7), "each_mm": pytest.approx(6.35)}


def test_worked_example_of_one_point_on_the_centre_line():
    # Spacing 1830, point 3000 away, distances 3138 and 3146 mm: 0.26 deg; (D1 - D2) / s says 0.25.
    out = run_out(SquareMethod.CENTRE_POINT, 3138, 3146, 1830, reference_distance_mm=3000)
    assert skew_deg(out, 1830) == pytest.approx(0.26, abs=0.005)
    assert math.degrees((3146 - 3138) / 1830) == pytest.approx(0.25, abs=0.005)


def placed(way, spacing, length, angle):
    """Both distances as a tape would show them for brackets that are skewed by an angle [rad] about their middle."""
    along, across = spacing / 2 * math.sin(angle), spacing / 2 * math.cos(angle)
    if way is SquareMethod.PARALLEL:
        return length - along, length + along
    if way is SquareMethod.CENTRE_POINT:
        return math.hypot(length - along, across), math.hypot(length + along, across)
    # The other pair is parallel to this one; its brackets lie behind by the length along the belt.
    to_drive = math.hypot(length - 2 * along, 2 * across)
    to_off = math.hypot(length + 2 * along, 2 * across)
    return to_drive, to_off


@given(st.sampled_from(list(SquareMethod)), st.floats(400, 3000), st.floats(800, 9000), st.floats(-0.05, 0.05))
def test_every_way_finds_the_skew_that_is_there(way, spacing, length, angle):
    drive, off = placed(way, spacing, length, angle)
    out = run_out(way, drive, off, spacing, reference_distance_mm=length)
    assert skew_deg(out, spacing) == pytest.approx(math.degrees(angle), abs=1e-6)
    if way is not SquareMethod.PARALLEL:
        assert implied_distance(way, drive, off, spacing) == pytest.approx(length, rel=1e-6)
        assert run_out(way, drive, off, spacing) == pytest.approx(out, rel=1e-5, abs=1e-6)


@given(lengths, st.floats(0, 200), lengths)
def test_equal_extension_always_sums_to_spacing_less_play_less_frame(spacing, play, frame):
    each = extension_each_side(spacing, play, frame)
    assert 2 * each == pytest.approx(spacing - play - frame, abs=1e-9)
    assume(each >= 0)
    result = judge_fit_up(
        Measures(bracket_spacing_mm=spacing, frame_length_mm=frame, end_play_mm=play, extension_drive_mm=each,
                 extension_off_mm=each), ModelFigures(),
    )  # fmt: skip
    assert result.line("pivot_mm").measured == 0
    assert result.line("play_measured_mm").measured == pytest.approx(play, abs=1e-6)


def sixteenths(low, high):
    return st.integers(low, high).map(lambda n: Fraction(n, 16))


@st.composite
def sheets(draw):
    """A sheet in whole sixteenths of an inch, about the size of a real one, with some lines left out."""
    spacing = draw(sixteenths(400, 1600))
    frame = spacing - draw(sixteenths(-40, 200))
    belt = draw(sixteenths(320, 1000))
    told = {
        "bracket_spacing_mm": spacing,
        "frame_length_mm": frame,
        "end_play_mm": draw(sixteenths(0, 24)),
        "extension_drive_mm": draw(sixteenths(0, 120)),
        "extension_off_mm": draw(sixteenths(0, 120)),
        "end_play_left_mm": draw(sixteenths(0, 24)),
        "reference_distance_mm": draw(sixteenths(800, 3000)),
        "square_drive_mm": draw(sixteenths(1900, 1920)),
        "square_off_mm": draw(sixteenths(1900, 1920)),
        "centre_drive_mm": draw(sixteenths(10, 40)),
        "centre_off_mm": draw(sixteenths(10, 40)),
        "belt_mark_drive_mm": draw(sixteenths(500, 510)),
        "belt_mark_off_mm": draw(sixteenths(500, 510)),
        "wanted_lift_mm": draw(sixteenths(0, 20)),
        "bracket_height_drive_mm": draw(sixteenths(570, 600)),
        "bracket_height_off_mm": draw(sixteenths(570, 600)),
        "belt_width_mm": belt,
        "sensor_clear_mm": belt + draw(sixteenths(-4, 60)),
        "belt_off_by_mm": draw(sixteenths(0, 16)),
        "gap_drive_mm": draw(sixteenths(0, 40)),
        "gap_off_mm": draw(sixteenths(0, 40)),
    }
    kept = draw(st.sets(st.sampled_from(sorted(told)), min_size=12))
    return (
        {name: told[name] for name in kept},
        {
            "squareness_way": draw(st.sampled_from(["", *SquareMethod])),
            "belt_lies_to": draw(st.sampled_from(["", "drive", "off"])),
            "square_reference": draw(st.sampled_from(["", "tail shaft", "idler 41"])),
            "reference_was_checked": draw(st.booleans()),
        },
    )


@given(sheets(), st.sampled_from([RP2, ModelFigures()]))
def test_inches_and_millimetres_give_the_same_verdict(sheet, model):
    inches, rest = sheet

    def read(text, system):
        return parse_quantity(text, QuantityKind.LENGTH_MM, system).value

    typed_in = {name: read(f"{value.numerator}/{value.denominator}", UnitSystem.US) for name, value in inches.items()}
    typed_mm = {name: read(f"{float(value * 127 / 5):.6f}", UnitSystem.METRIC) for name, value in inches.items()}
    by_inch = judge_fit_up(Measures(**typed_in, **rest), model)
    by_mm = judge_fit_up(Measures(**typed_mm, **rest), model)
    assert [(line.key, line.verdict) for line in by_inch.lines] == [(line.key, line.verdict) for line in by_mm.lines]
    assert len(by_inch.warnings) == len(by_mm.warnings)
    assert len(by_inch.to_do) == len(by_mm.to_do)


def swapped_key(key):
    return key.replace("_drive_", "_SIDE_").replace("_off_", "_drive_").replace("_SIDE_", "_off_")


SIGNED = {"pivot_mm", "square_mm", "centre_mm", "level_mm"}


@given(sheets(), st.sampled_from([RP2, ModelFigures()]))
def test_swapping_sides_mirrors_every_result(sheet, model):
    told, rest = sheet
    measures = Measures(**{name: float(value * 127 / 5) for name, value in told.items()}, **rest)
    here, there = judge_fit_up(measures, model), judge_fit_up(measures.mirrored, model)
    assert measures.mirrored.mirrored == measures
    for line in here.lines:
        other = there.line(swapped_key(line.key))
        assert other.verdict is line.verdict
        sign = -1 if line.key in SIGNED else 1
        for name in ("measured", "wanted"):
            value = getattr(line, name)
            assert getattr(other, name) == (None if value is None else pytest.approx(sign * value, abs=1e-9))

    assert sorted(map(told_by, here.to_do)) == sorted(told_by(mirrored(each)) for each in there.to_do)


def mirrored(reason):
    """What is to do, seen from the other side."""
    values = reason.values.items()
    return Reason(reason.rule, {name: each.other if isinstance(each, FitSide) else each for name, each in values})


def told_by(reason):
    return str(reason.rule), sorted(
        (name, round(each, 6) if isinstance(each, float) else str(each)) for name, each in reason.values.items()
    )


def test_start_values_are_common_practice_and_say_so():
    result = judge_fit_up(Measures(bracket_spacing_mm=1640, frame_length_mm=1505), ModelFigures())
    assert result.line("end_play_mm").measured == 13
    assert result.line("end_play_mm").source is WantedSource.PRACTICE
    assert (result.line("end_play_mm").low, result.line("end_play_mm").high) == (6, 19)
    assert result.line("sensor_sum_mm").wanted == 38
    assert result.line("sensor_sum_mm").source is WantedSource.PRACTICE


def test_what_the_model_does_not_state_is_not_stated():
    result = judge_fit_up(Measures(bracket_height_drive_mm=980, belt_mark_drive_mm=850), ModelFigures())
    assert result.line("bracket_height_drive_mm").verdict is Verdict.NOT_STATED
    assert result.line("frame_length_mm").verdict is Verdict.NOT_STATED
    assert rules(result.line("bracket_height_drive_mm")) == [FitUpRule.DROP_NOT_STATED]


def test_the_models_figures_come_before_common_practice():
    model = ModelFigures(end_play_least_mm=2, end_play_most_mm=4, sensor_gap_mm=25)
    result = judge_fit_up(Measures(), model)
    assert (result.line("end_play_mm").measured, result.line("end_play_mm").source) == (3, WantedSource.MODEL)
    assert result.line("sensor_sum_mm").wanted == 50


def test_nothing_measured_is_not_begun():
    for model in (RP2, ModelFigures()):
        result = judge_fit_up(Measures(), model)
        assert (result.is_begun, result.is_done, result.refused) == (False, False, ())


def test_a_whole_sheet_is_within():
    result = judge_fit_up(
        Measures(
            bracket_spacing_mm=1640, frame_length_mm=1505, extension_drive_mm=61, extension_off_mm=61,
            end_play_left_mm=12, squareness_way="centre_point", square_reference="tail shaft, scribed",
            reference_was_checked=True, reference_distance_mm=3000, square_drive_mm=3110, square_off_mm=3112,
            centre_drive_mm=40, centre_off_mm=38, belt_mark_drive_mm=850, belt_mark_off_mm=851,
            bracket_height_drive_mm=983, bracket_height_off_mm=984, belt_width_mm=1196, sensor_clear_mm=1234,
            gap_drive_mm=0, gap_off_mm=38, belt_lies_to="drive", belt_off_by_mm=19,
        ),
        RP2,
        nominal_belt_width_mm=1200,
    )  # fmt: skip
    assert result.is_done, [(line.key, line.verdict, line.why) for line in result.lines]
    assert (result.to_do, result.warnings) == ((), ())
    assert result.count(Verdict.WITHIN) == len(result.lines)


@pytest.mark.parametrize(
    ("measures", "key", "rule", "known"),
    [
        (
            {"bracket_spacing_mm": 1200, "frame_length_mm": 1215},
            "frame_length_mm",
            FitUpRule.FRAME_TOO_LONG,
            {"frame_mm": 1215, "spacing_mm": 1200, "over_mm": 15},
        ),
        (
            {"bracket_spacing_mm": 1220, "frame_length_mm": 1215, "end_play_mm": 13},
            "extension_drive_mm",
            FitUpRule.EACH_SIDE_NEGATIVE,
            {},
        ),
        (
            {"bracket_spacing_mm": 1640, "frame_length_mm": 1205, "end_play_mm": 13},
            "extension_off_mm",
            FitUpRule.EACH_SIDE_ABOVE,
            {"limit_mm": 150},
        ),
        (
            {"extension_off_mm": 151},
            "extension_off_mm",
            FitUpRule.EXTENSION_ABOVE,
            {"extension_mm": 151, "limit_mm": 150},
        ),
        (
            {"bracket_spacing_mm": 1640, "frame_length_mm": 1505, "extension_drive_mm": 70, "extension_off_mm": 70},
            "play_measured_mm",
            FitUpRule.PLAY_NEGATIVE,
            {},
        ),
        (
            {"wanted_lift_mm": 30},
            "wanted_lift_mm",
            FitUpRule.LIFT_ABOVE,
            {"lift_mm": 30, "over_mm": 5, "most_mm": 25},
        ),
        (
            {"belt_mark_off_mm": 850, "bracket_height_off_mm": 1000},
            "bracket_height_off_mm",
            FitUpRule.HEIGHT_ABOVE,
            {"most_mm": 25},
        ),
        (
            {"sensor_clear_mm": 1190, "belt_width_mm": 1196},
            "sensor_sum_mm",
            FitUpRule.SUM_NEGATIVE,
            {"clear_mm": 1190, "belt_mm": 1196, "sum_mm": -6},
        ),
        (
            {"sensor_clear_mm": 1234, "belt_width_mm": 1196, "belt_lies_to": "off", "belt_off_by_mm": 25},
            "gap_drive_mm",
            FitUpRule.BELT_IN_SENSOR,
            {"off_by_mm": 25, "half_mm": 19},
        ),
        (
            {"bracket_spacing_mm": 1640, "squareness_way": "parallel", "square_drive_mm": 10, "square_off_mm": 3000},
            "square_mm",
            FitUpRule.RUN_OUT_ABOVE,
            {
                "run_out": Reason(FitUpRule.RUN_OUT_PARALLEL, {"drive_mm": 10, "off_mm": 3000, "out_mm": 2990}),
                "spacing_mm": 1640,
            },
        ),
        (
            {
                "bracket_spacing_mm": 1640,
                "squareness_way": "centre_point",
                "square_drive_mm": 600,
                "square_off_mm": 600,
            },
            "square_mm",
            FitUpRule.NO_TRIANGLE_POINT,
            {"drive_mm": 600, "off_mm": 600, "spacing_mm": 1640},
        ),
    ],
)
def test_numbers_that_cannot_be_are_refused_with_their_arithmetic(measures, key, rule, known):
    line = judge_fit_up(Measures(**measures), RP2).line(key)
    assert line.verdict is Verdict.REFUSED
    assert (line.why[-1].rule, line.why[-1].values) == (rule, known)


def test_an_extension_that_cannot_be_still_shows_its_arithmetic():
    # 1220 - 13 - 1215 = -8 mm for both sides together.
    line = judge_fit_up(Measures(bracket_spacing_mm=1220, frame_length_mm=1215, end_play_mm=13), RP2).line(
        "extension_drive_mm"
    )
    assert line.why[0] == Reason(
        FitUpRule.EACH_SIDE, {"spacing_mm": 1220, "play_mm": 13, "frame_mm": 1215, "each_mm": -4}
    )


@pytest.mark.parametrize("value", [-1.0, float("inf"), float("nan")])
@pytest.mark.parametrize("name", ["bracket_spacing_mm", "gap_off_mm", "belt_off_by_mm", "square_drive_mm"])
def test_lengths_that_are_none_name_the_argument(name, value):
    with pytest.raises(NotAccepted) as refusal:
        Measures(**{name: value})
    reason = refusal.value.reason
    assert (reason.rule, reason.values["field"]) == (FitUpRule.LENGTH_ODD, name)


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"squareness_way": "by_eye"}, "squareness_way is 'by_eye'; give one of parallel, centre_point, diagonals"),
        ({"belt_lies_to": "left"}, "belt_lies_to is 'left'; give drive or off"),
    ],
)
def test_words_that_are_none_of_the_choices(given, words):
    with pytest.raises(ValueError, match=words):
        Measures(**given)


def test_what_was_measured_of_a_frame_is_more_than_nothing():
    with pytest.raises(NotAccepted) as refusal:
        Measures(bracket_spacing_mm=0)
    assert refusal.value.reason == Reason(FitUpRule.LENGTH_ZERO, {"field": "bracket_spacing_mm", "given_mm": 0})


def test_the_pivot_is_off_by_half_the_difference_of_the_extensions():
    result = judge_fit_up(
        Measures(bracket_spacing_mm=1640, frame_length_mm=1505, extension_drive_mm=66, extension_off_mm=56), RP2
    )
    line = result.line("pivot_mm")
    assert (line.measured, line.verdict) == (-5, Verdict.OUTSIDE)
    assert line.why == (
        Reason(FitUpRule.PIVOT_OFF, {"drive_mm": 66, "off_mm": 56, "shift_mm": 5, "side": FitSide.OFF}),
    )
    assert line.to_do == Reason(
        FitUpRule.DO_EXTENSION, {"shift_mm": 5, "longer": FitSide.DRIVE, "shorter": FitSide.OFF}
    )


def test_centring_moves_by_half_the_difference():
    line = judge_fit_up(Measures(centre_drive_mm=40, centre_off_mm=34), RP2).line("centre_mm")
    assert line.to_do == Reason(FitUpRule.DO_CENTRE, {"half_mm": 3, "side": FitSide.DRIVE, "then_mm": 37})


def test_a_belt_further_off_than_the_wanted_sum_allows_is_reckoned_with_the_sum_there_is():
    result = judge_fit_up(
        Measures(sensor_clear_mm=1400, belt_width_mm=1200, belt_lies_to="off", belt_off_by_mm=90), RP2
    )
    assert [result.line(f"gap_{side}_mm").wanted for side in ("drive", "off")] == [190, 10]
    assert result.line("gap_off_mm").why == (
        Reason(FitUpRule.GAP_NEAR, {"off_by_mm": 90, "side": FitSide.OFF, "sum_mm": 200, "gap_mm": 10}),
    )
    assert result.line("sensor_sum_mm").verdict is Verdict.OUTSIDE


def test_sums_that_differ_tell_of_a_misread_tape():
    result = judge_fit_up(Measures(sensor_clear_mm=1234, belt_width_mm=1196, gap_drive_mm=19, gap_off_mm=29), RP2)
    assert result.line("tape_mm").verdict is Verdict.OUTSIDE
    assert result.line("tape_mm").to_do == Reason(FitUpRule.DO_SUMS)


def test_sensors_move_in_on_one_side_and_out_on_the_other():
    result = judge_fit_up(Measures(gap_drive_mm=29, gap_off_mm=9, belt_off_by_mm=0), RP2)
    assert result.to_do == (
        Reason(FitUpRule.DO_SHIFT, {"shift_mm": 10, "inward": FitSide.DRIVE, "outward": FitSide.OFF}),
    )


@pytest.mark.parametrize(
    ("measures", "rule"),
    [
        ({"square_reference": ""}, FitUpRule.REFERENCE_UNNAMED),
        ({"square_reference": "return idler 41"}, FitUpRule.REFERENCE_IS_IDLER),
        ({"square_reference": "tail shaft"}, FitUpRule.REFERENCE_UNCHECKED),
        ({"square_reference": "tail shaft", "reference_distance_mm": 2000}, FitUpRule.REFERENCE_NEAR),
        ({"square_reference": "tail shaft", "reference_distance_mm": 3500}, FitUpRule.REFERENCE_DISTANCE_DIFFERS),
    ],
)
def test_warnings_name_what_is_weak_about_the_reference(measures, rule):
    given = {
        "bracket_spacing_mm": 1640, "squareness_way": "centre_point", "square_drive_mm": 2152, "square_off_mm": 2156,
    } | measures  # fmt: skip
    assert rule in [each.rule for each in judge_fit_up(Measures(**given), RP2).warnings]


def test_a_near_reference_feigns_the_skew_of_its_own_error():
    # atan(5 / 2000) = 0.143 deg.
    given = Measures(
        bracket_spacing_mm=1640, squareness_way="centre_point", square_reference="tail shaft",
        reference_was_checked=True, reference_distance_mm=2000, square_drive_mm=2152, square_off_mm=2156,
    )  # fmt: skip
    (near,) = judge_fit_up(given, RP2).warnings
    assert near.values["feigned_deg"] == pytest.approx(0.1432, abs=5e-5)
    assert (near.values["length_mm"], near.values["spacings"], near.values["off_mm"]) == (2000, 1.5, 5)


def test_the_belt_is_measured_and_not_taken_from_the_book():
    result = judge_fit_up(Measures(belt_width_mm=1150), RP2, nominal_belt_width_mm=1200)
    assert result.warnings == (Reason(FitUpRule.BELT_WIDTH_DIFFERS, {"belt_mm": 1150, "nominal_mm": 1200}),)


def test_every_measure_is_used():
    """No field of the sheet is asked for in vain."""
    source = "".join(each.read_text(encoding="utf-8") for each in Path(fit_up.__file__).parent.glob("fit_up_*.py"))
    for each in fields(Measures):
        stem = each.name.replace("_drive_mm", "_{side}_mm").replace("_off_mm", "_{side}_mm")
        assert f"m.{each.name}" in source or stem in source, each.name


def test_examples_in_docstrings():
    for module in (fit_up, fit_up_geometry):
        found = doctest.testmod(module)
        assert found.attempted
        assert found.failed == 0
