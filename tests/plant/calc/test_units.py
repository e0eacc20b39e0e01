"""Quantities as people type and read them, against NIST SP 811 and the table of typed lengths."""

import csv
import doctest
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from plant.calc import units
from plant.calc.box_texts import input_text
from plant.calc.reasons import NotAccepted, Reason
from plant.calc.typed_quantities import TypingRule, Unclear, parse_quantity, ways_to_read
from plant.calc.units import (
    QuantityKind,
    UnitSystem,
    feet_and_inches,
    format_quantity,
    format_reading,
    to_sixteenths,
    unit_label,
)
from tests.reference.units import N_M_100_IN_LBF_FT, SP_811, TAPE, TORQUES

LENGTHS = Path(__file__).parents[2] / "reference" / "lengths.csv"
METRIC, US = UnitSystem.METRIC, UnitSystem.US
LENGTH, TORQUE, HOURS = QuantityKind.LENGTH_MM, QuantityKind.TORQUE_NM, QuantityKind.HOURS
KIND_OF_SP_811 = {
    "m": QuantityKind.DISTANCE_M,
    "N": QuantityKind.FORCE_N,
    "kg": QuantityKind.MASS_KG,
    "t": QuantityKind.TONNES,
}


def typed_lengths():
    """What people type for a length; the walk through the close-out page runs the same rows through the script."""
    with LENGTHS.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def system_of(row):
    return US if row["default_unit"] == "in" else METRIC


def test_examples():
    assert doctest.testmod(units).failed == 0


# --- lengths that people type ---------------------------------------------------------------------------------------


def test_the_table_of_typed_lengths_is_whole():
    rows = typed_lengths()
    assert len(rows) == 75
    assert {row["outcome"] for row in rows} == {"value", "refuse"}


@pytest.mark.parametrize("row", [r for r in typed_lengths() if r["outcome"] == "value"], ids=lambda r: r["text"])
def test_a_typed_length_is_read(row):
    understood = parse_quantity(row["text"], LENGTH, system_of(row))
    assert understood.value == pytest.approx(float(row["mm"]), abs=1e-9)
    assert understood.typed == row["text"]
    if row["inches_exact"]:
        assert understood.value == pytest.approx(float(Fraction(row["inches_exact"]) * Fraction("25.4")), abs=1e-9)


@pytest.mark.parametrize("row", [r for r in typed_lengths() if r["outcome"] == "refuse"], ids=lambda r: r["text"])
def test_a_length_in_doubt_is_refused(row):
    with pytest.raises(NotAccepted):
        parse_quantity(row["text"], LENGTH, system_of(row))


def rule_of(text, kind, system):
    """The rule by which a text is not read; what is wrong with a part of it stands within."""
    with pytest.raises(NotAccepted) as refusal:
        parse_quantity(text, kind, system)
    reason = refusal.value.reason
    return reason.values["problem"].rule if "problem" in reason.values else reason.rule


@pytest.mark.parametrize(
    ("text", "rule"),
    [
        ("", TypingRule.NOTHING),
        ("-", TypingRule.HOLDS_NO_NUMBER),
        ("abc", TypingRule.HOLDS_NO_NUMBER),
        ("51 1/0", TypingRule.BY_ZERO),
        ("51 1/2 1/4", TypingRule.MORE_FRACTIONS),
        ("1,308 mm", TypingRule.MAY_MEAN_NUMBERS),
        ("5 kg", TypingRule.OTHER_KIND),
        ("5 furlong", TypingRule.UNKNOWN_UNIT),
        ("4' 13\"", TypingRule.SMALL_TOO_LARGE),
        ("4 1/2 ft 3 in", TypingRule.WHOLE_FIRST),
        ("3 mm 4 in", TypingRule.MIXED_UNITS),
        ("12.7.3", TypingRule.NO_NUMBER),
        ("2 5", TypingRule.MORE_NUMBERS),
        ("/4", TypingRule.BEFORE_SLASH),
        ("3/", TypingRule.AFTER_SLASH),
        ("1.5 1/2", TypingRule.NO_MIXED_NUMBER),
        ("1 2 3/4", TypingRule.NO_MIXED_NUMBER),
        ("in 5", TypingRule.NUMBER_EXPECTED),
        ("1 ft 2 in 3 in", TypingRule.MORE_PARTS),
        ("-3/4", TypingRule.NEGATIVE),
        ("9" * 61, TypingRule.TOO_LONG),
    ],
)
def test_the_refusal_names_its_rule(text, rule):
    assert rule_of(text, LENGTH, US) == rule


def test_a_signed_length_where_a_sign_makes_sense():
    assert parse_quantity("-3/4", LENGTH, US, allow_negative=True).value == pytest.approx(-19.05, abs=1e-9)
    assert parse_quantity("−4' 3\"", LENGTH, US, allow_negative=True).value == pytest.approx(-1295.4, abs=1e-9)
    assert parse_quantity("+5", LENGTH, METRIC).value == 5


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("0,308 m", 308),  # no thousands separator stands after a lone zero
        ("1,308.5 mm", 1308.5),  # comma before three digits and a point: one reading only
        ("1.308,5 mm", 1308.5),
        ("1,25 mm", 1.25),
        ("38. mm", 38),
        ("6-in", 152.4),
        ("2 in.", 50.8),
        ("5' 2''", 1574.8),
        ("4' 3", 1295.4),
        ("51–1/2 in", 1308.1),
    ],
)
def test_other_ways_to_type_a_length(text, value):
    assert parse_quantity(text, LENGTH, METRIC).value == pytest.approx(value, abs=1e-9)


# --- what is in doubt -------------------------------------------------------------------------------------------------


def words_of(text, kind, system, **options):
    return [way.shown for way in ways_to_read(text, kind, system, **options)]


def test_a_fraction_is_inches_for_everybody_and_the_echo_says_so():
    for system in UnitSystem:
        assert parse_quantity("2 3/4", LENGTH, system).value == pytest.approx(69.85, abs=1e-9)
    assert [each.rule for each in parse_quantity("2 3/4", LENGTH, METRIC).notes] == [TypingRule.FRACTION_IN_INCHES]
    assert parse_quantity("2 3/4", LENGTH, US).notes == ()
    assert parse_quantity("2 3/4 mm", LENGTH, METRIC).value == 2.75
    assert parse_quantity("7 1/2", TORQUE, METRIC).value == 7.5  # only a length is read off a tape in fractions


@pytest.mark.parametrize(
    ("text", "kind", "system", "words"),
    [
        ("2 3/4", LENGTH, METRIC, ["2 3/4 in = 69.9 mm", "2.75 mm"]),
        ("2 3/4", LENGTH, US, ["2 3/4 in = 69.9 mm", "2.75 mm"]),
        ("2.75", LENGTH, METRIC, ["2.75 mm", "2.75 in = 69.9 mm"]),
        ("2.75", LENGTH, US, ["2.75 in = 69.9 mm", "2.75 mm"]),
        ("2.75 mm", LENGTH, US, ["2.75 mm"]),
        ("4' 3\"", LENGTH, METRIC, ["4' 3\" = 1295.4 mm"]),
        ("1,308 mm", LENGTH, METRIC, ["1308 mm", "1.308 mm"]),
        ("1,308", LENGTH, US, ["1308 in = 33223.2 mm", "1.308 in = 33.2 mm"]),
        ("1 308,5 mm", LENGTH, METRIC, ["1308,5 mm"]),
        ("12 1/2", QuantityKind.DISTANCE_M, METRIC, ["12.5 m", "12 1/2 ft = 3.8 m"]),
        ("75", TORQUE, METRIC, ["75 N·m", "75 lbf·ft = 101.7 N·m"]),
        ("500 tons", QuantityKind.TONNES, METRIC, ["500 t", "500 short ton = 453.6 t"]),
        ("12,500 h", HOURS, METRIC, ["12500 h", "12.500 h"]),
        ("2,5", QuantityKind.PLAIN, METRIC, ["2,5"]),
        ("-3", LENGTH, METRIC, []),
        ("7o", LENGTH, METRIC, []),
        ("", LENGTH, METRIC, []),
        ("2 5", LENGTH, METRIC, []),
        ("9" * 61, LENGTH, METRIC, []),
    ],
)
def test_each_way_to_read_a_text_has_its_words(text, kind, system, words):
    assert words_of(text, kind, system) == words


def test_a_minus_stays_with_each_way():
    assert words_of("-1/2", LENGTH, METRIC, allow_negative=True) == ["-1/2 in = -12.7 mm", "-0.5 mm"]


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("1,308 mm", LENGTH),
        ("1 308", LENGTH),
        ("12 1/2", QuantityKind.DISTANCE_M),
        ("5 tons", QuantityKind.TONNES),
    ],
)
def test_a_text_in_doubt_is_refused_with_its_ways(text, kind):
    with pytest.raises(Unclear) as refusal:
        parse_quantity(text, kind, METRIC)
    assert refusal.value.ways == ways_to_read(text, kind, METRIC) != ()


TYPED = st.text(alphabet="0123456789.,/- '\"½\u2009\u202f\u00a0inmftk", min_size=1, max_size=16)


@given(TYPED, st.sampled_from(QuantityKind), st.sampled_from(UnitSystem))
@example("1 308,5 mm", LENGTH, METRIC)
@example("12 1/2", QuantityKind.DISTANCE_M, METRIC)
@example("1/3", QuantityKind.SPEED_M_S, METRIC)
def test_each_way_is_read_to_its_own_value_and_means_nothing_else(text, kind, system):
    ways = ways_to_read(text, kind, system)
    for way in ways:
        assert parse_quantity(way.text, kind, system).value == way.value
        assert [each.value for each in ways_to_read(way.text, kind, system)][:1] == [way.value]
        if kind is not QuantityKind.PLAIN:
            assert len(ways_to_read(way.text, kind, system)) == 1
    try:
        first = (parse_quantity(text, kind, system).value,)
    except Unclear as doubt:
        first = tuple(way.value for way in doubt.ways)
    except ValueError:
        first = ()
    assert tuple(way.value for way in ways)[: len(first)] == first
    assert bool(ways) is bool(first)


# --- the other quantities -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", SP_811)
def test_factors_agree_with_sp_811(name):
    text, exact, printed = SP_811[name]
    kind = TORQUE if name.endswith("N m") else KIND_OF_SP_811[name.split()[-1]]
    value = parse_quantity(text, kind, METRIC).value
    assert value == pytest.approx(exact, rel=1e-12)
    assert f"{value:.6e}" == f"{printed:.6e}"  # seven digits are printed


@pytest.mark.parametrize(("lbf_ft", "n_m"), TORQUES)
def test_torque_vectors(lbf_ft, n_m):
    assert parse_quantity(str(lbf_ft), TORQUE, US).value == pytest.approx(n_m, rel=1e-12)
    assert format_quantity(n_m, TORQUE, US) == f"{lbf_ft} lbf·ft"


def test_torque_as_shown():
    assert format_quantity(parse_quantity("75", TORQUE, US).value, TORQUE, METRIC) == "101.7 N·m"
    assert format_quantity(100, TORQUE, US) == "73.8 lbf·ft"
    assert float(format_quantity(100, TORQUE, US, digits=12).split()[0]) == pytest.approx(N_M_100_IN_LBF_FT, rel=1e-12)


@pytest.mark.parametrize("text", ["75 lbf·ft", "75 lbf.ft", "75 lbf ft", "75 ft·lbf", "75 LBF-FT", "75lbf⋅ft"])
def test_a_torque_in_pound_force_feet(text):
    assert parse_quantity(text, TORQUE, METRIC).shown == "= 101.7 N·m"


@pytest.mark.parametrize("text", ["75 lb ft", "75 ft-lb", "75 lb·ft", "75 ft-lbs", "75 foot-pounds"])
def test_pounds_times_feet_are_taken_as_a_torque_and_that_is_said(text):
    understood = parse_quantity(text, TORQUE, METRIC)
    assert understood.value == pytest.approx(101.68634612485503, rel=1e-12)
    assert understood.notes == (Reason(TypingRule.TAKEN_AS, {"spelt": "lb·ft", "unit": "lbf·ft"}),)


@pytest.mark.parametrize("text", ["75 Nm", "75 N·m", "75 N m", "75 N*m", "75nm"])
def test_a_torque_in_newton_metres(text):
    understood = parse_quantity(text, TORQUE, US)
    assert (understood.value, understood.shown) == (75, "75 N·m")


@pytest.mark.parametrize(
    ("text", "kind", "system", "value", "shown"),
    [
        ("3,15", QuantityKind.SPEED_M_S, METRIC, 3.15, "3.15 m/s"),
        ("620", QuantityKind.SPEED_M_S, US, 620 * 0.3048 / 60, "= 3.15 m/s"),
        ("620 fpm", QuantityKind.SPEED_M_S, METRIC, 620 * 0.3048 / 60, "= 3.15 m/s"),
        ("9 km/h", QuantityKind.SPEED_M_S, METRIC, 2.5, "= 2.5 m/s"),
        ("150", QuantityKind.DISTANCE_M, US, 45.72, "= 45.7 m"),
        ("20 ft", QuantityKind.DISTANCE_M, METRIC, 6.096, "= 6.1 m"),
        ("25 lb", QuantityKind.FORCE_N, US, 25 * 4.4482216152605, "= 111.2 N"),
        ("12 kg", QuantityKind.FORCE_N, METRIC, 12 * 9.80665, "= 117.7 N"),
        ("71", QuantityKind.MASS_KG, METRIC, 71, "71 kg"),
        ("156", QuantityKind.MASS_KG, US, 156 * 0.45359237, "= 70.8 kg"),
        ("500 tons", QuantityKind.TONNES, US, 453.59237, "= 453.6 t"),
        ("450 t", QuantityKind.TONNES, US, 450, "450 t"),
        ("4 h 30 min", HOURS, METRIC, 4.5, "= 4.5 h"),
        ("90", QuantityKind.MINUTES, US, 90, "90 min"),
        ("1.5 h", QuantityKind.MINUTES, US, 90, "= 90 min"),
        ("0,25°", QuantityKind.DEGREES, METRIC, 0.25, "0.25°"),
        ("96 %", QuantityKind.PERCENT, US, 96, "96 %"),
        ("2 1/2", QuantityKind.PLAIN, US, 2.5, "2.5"),
        ("0.0004 mm", LENGTH, US, 0.0004, "0.0004 mm"),
    ],
)
def test_what_was_understood(text, kind, system, value, shown):
    understood = parse_quantity(text, kind, system)
    assert understood.value == pytest.approx(value, rel=1e-12)
    assert understood.shown == shown


@pytest.mark.parametrize(
    ("text", "kind", "rule"),
    [
        ("500 tons", QuantityKind.TONNES, TypingRule.MAY_BE_A_TON),
        ("12,500 h", HOURS, TypingRule.MAY_MEAN_NUMBERS),
        ("12 1/2", QuantityKind.DISTANCE_M, TypingRule.MAY_MEAN_UNITS),
        ("5 mm", QuantityKind.PLAIN, TypingRule.OTHER_KIND),
        ("75 kg", TORQUE, TypingRule.OTHER_KIND),
        ("1 h 75 min", HOURS, TypingRule.SMALL_TOO_LARGE),
        ("1 m 30 cm", QuantityKind.DISTANCE_M, TypingRule.MIXED_UNITS),
    ],
)
def test_refusals_of_other_quantities(text, kind, rule):
    assert rule_of(text, kind, METRIC) == rule


# --- showing --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("mm", "shown"), TAPE)
def test_tape_lengths_to_the_nearest_sixteenth(mm, shown):
    assert to_sixteenths(mm) == shown
    assert format_quantity(mm, LENGTH, US) == f"{shown} in"
    if mm:
        assert to_sixteenths(-mm) == f"-{shown}"


def test_carries():
    assert feet_and_inches(11.99 * 25.4) == "1' 0\""
    assert to_sixteenths(15.98 / 16 * 25.4) == "1"
    assert to_sixteenths(8 / 16 * 25.4) == "1/2"
    assert feet_and_inches(1308.1) == "4' 3 1/2\""
    assert feet_and_inches(-1308.1) == "-4' 3 1/2\""
    assert feet_and_inches(0) == "0' 0\""


def test_sums_are_formed_from_stored_values():
    assert format_quantity(19.05 + 19.05, LENGTH, US) == format_quantity(19 + 19, LENGTH, US) == "1 1/2 in"
    assert format_quantity(19.05 + 19.05, LENGTH, METRIC) == "38.1 mm"


@pytest.mark.parametrize(
    ("value", "kind", "options", "shown"),
    [
        (5180, HOURS, {}, "5,180 h"),
        (9874.2, HOURS, {}, "9,874.2 h"),
        (9874.2, HOURS, {"with_unit": False}, "9874.2"),
        (9874.2, HOURS, {"with_unit": False, "thousands": True}, "9,874.2"),
        (9874.25, HOURS, {"digits": 0}, "9,874 h"),
        (0.25, HOURS, {}, "0.3 h"),  # a tie, away from zero
        (-0.01, HOURS, {}, "0 h"),
        (1200, LENGTH, {}, "1200 mm"),
        (70.0, LENGTH, {"digits": 1}, "70.0 mm"),
        (0.13, QuantityKind.DEGREES, {}, "0.13°"),
        (None, TORQUE, {}, "not stated"),
        (float("nan"), TORQUE, {}, "not stated"),
        (1e22, QuantityKind.PLAIN, {}, "1" + 22 * "0"),
    ],
)
def test_shown_in_metric(value, kind, options, shown):
    assert format_quantity(value, kind, METRIC, **options) == shown


def test_decimal_inches_where_digits_are_asked_for():
    assert format_quantity(68.3, LENGTH, US, digits=3) == "2.689 in"


def test_what_is_infinite_is_not_shown():
    with pytest.raises(ValueError, match="infinite"):
        format_quantity(float("inf"), HOURS, METRIC)
    with pytest.raises(ValueError, match="infinite"):
        input_text(float("inf"), HOURS, METRIC)
    with pytest.raises(ValueError, match="finite length"):
        to_sixteenths(float("nan"))


def test_unit_labels():
    assert [unit_label(kind, METRIC) for kind in QuantityKind] == [
        "mm", "m", "m/s", "N·m", "N", "kg", "t", "h", "min", "°", "%", "",
    ]  # fmt: skip
    assert [unit_label(kind, US) for kind in QuantityKind] == [
        "in", "ft", "ft/min", "lbf·ft", "lbf", "lb", "short ton", "h", "min", "°", "%", "",
    ]  # fmt: skip


# --- there and back -------------------------------------------------------------------------------------------------

ONE_DECIMAL = st.integers(0, 20_000).map(lambda n: Fraction(n, 10))


@given(ONE_DECIMAL, st.sampled_from([k for k in QuantityKind if k is not LENGTH]), st.sampled_from(UnitSystem))
def test_typed_stored_and_shown_gives_the_text_back(amount, kind, system):
    text = f"{float(amount):.1f}".removesuffix(".0")
    stored = parse_quantity(text, kind, system).value
    assert format_quantity(stored, kind, system, with_unit=False) == text
    assert input_text(stored, kind, system) == text


@given(st.integers(0, 5000))
def test_sixteenths_typed_stored_and_shown_give_the_text_back(sixteenths):
    text = to_sixteenths(float(Fraction(sixteenths, 16) * Fraction("25.4")))
    stored = parse_quantity(text, LENGTH, US).value
    assert Fraction(repr(stored)) == Fraction(sixteenths, 16) * Fraction("25.4")
    assert format_quantity(stored, LENGTH, US) == f"{text} in"
    assert parse_quantity(feet_and_inches(stored), LENGTH, METRIC).value == stored


# Any size that fits a box, the exponent drawn first: most floats of a range would lie at its upper end.
VALUES = st.tuples(st.floats(1, 10), st.integers(-30, 29), st.sampled_from([1, -1])).map(
    lambda parts: parts[0] * 10.0 ** parts[1] * parts[2]
)


@given(VALUES | st.just(0.0), st.sampled_from(QuantityKind), st.sampled_from(UnitSystem))
@example(0.0001234567890123456, LENGTH, METRIC)  # was cut to 0.000123456789012
@example(1.234567890123456e-9, TORQUE, US)
@example(0.1 + 0.2, LENGTH, US)
def test_a_form_box_sent_back_untouched_changes_nothing(value, kind, system):
    text = input_text(value, kind, system)
    back = parse_quantity(text, kind, system, allow_negative=True).value
    assert abs(back - value) <= 1e-12 * abs(value)


@given(st.floats(allow_nan=False, allow_infinity=False, max_value=1e30, min_value=-1e30), st.sampled_from(QuantityKind))
def test_what_stands_in_a_form_box_is_always_read(value, kind):
    parse_quantity(input_text(value, kind, METRIC), kind, METRIC, allow_negative=True)


@pytest.mark.parametrize(
    ("value", "kind", "system", "text"),
    [
        (1200.0, LENGTH, US, "1200 mm"),
        (1308.1, LENGTH, US, "51 1/2"),
        (1308.1, LENGTH, METRIC, "1308.1"),
        (100.0, TORQUE, US, "100 N·m"),
        (12500.0, HOURS, US, "12500"),
        (None, HOURS, US, ""),
    ],
)
def test_the_text_of_a_form_box(value, kind, system, text):
    assert input_text(value, kind, system) == text


@given(st.text(max_size=30), st.sampled_from(QuantityKind), st.sampled_from(UnitSystem))
def test_any_text_is_read_or_refused_with_a_reason(text, kind, system):
    try:
        value = parse_quantity(text, kind, system).value
    except NotAccepted as refusal:
        sound = refusal.reason.rule in (TypingRule.NOTHING, TypingRule.NOT_UNDERSTOOD)
    else:
        sound = 0 <= value < float("inf")
    assert sound


def test_negative_zero_is_zero():
    assert str(parse_quantity("-0", LENGTH, METRIC).value) == "0.0"


def test_a_reading_in_inches_keeps_thousandths_where_a_sixteenth_hides_the_finding():
    shown = {format_reading(value, LENGTH, US) for value in (69.2, 70.2, 70.3)}
    assert shown == {"2.724 in", "2.764 in", "2.768 in"}
    assert format_quantity(69.2, LENGTH, US) == format_quantity(70.2, LENGTH, US) == "2 3/4 in"
    assert format_reading(38.1, LENGTH, US) == "1.5 in"
    assert format_reading(69.2, LENGTH, METRIC) == "69.2 mm"
