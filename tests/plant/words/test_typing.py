"""What is said of a typed quantity: what it was taken for, what it may mean, why it is not read."""

from __future__ import annotations

import pytest

from plant.calc.reasons import NotAccepted
from plant.calc.typed_quantities import TypingRule, Unclear, kind_word, parse_quantity, ways_to_read
from plant.calc.units import QuantityKind, UnitSystem
from plant.words.typing import TEXTS, echo, typing_for_page, ways_offered, why_not_read

US, METRIC = UnitSystem.US, UnitSystem.METRIC
LENGTH, TORQUE, HOURS = QuantityKind.LENGTH_MM, QuantityKind.TORQUE_NM, QuantityKind.HOURS


def why(text, kind, system):
    with pytest.raises(NotAccepted) as refusal:
        parse_quantity(text, kind, system)
    return why_not_read(refusal.value)


def test_every_rule_and_kind_has_its_words():
    words = {kind_word(form, kind) for form in ("what", "of", "examples") for kind in QuantityKind}
    assert set(TEXTS) == set(TypingRule) | words


def test_the_page_gets_every_text_with_the_grammar():
    texts = typing_for_page()["texts"]
    assert texts["typing.taken_as"] == "%(spelt)s taken as %(unit)s"
    assert texts.keys() == {str(each) for each in TEXTS}


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("", "Nothing was typed"),
        ("abc", "“abc” holds no number"),
        ("51 1/0", "“51 1/0” divides by zero"),
        ("51 1/2 1/4", "“51 1/2 1/4” has more than one fraction"),
        ("1,308 mm", "“1,308” may mean 1308 or 1.308"),
        ("5 kg", "“kg” is not a unit of length"),
        ("5 furlong", "“furlong” is not a known unit"),
        ("4' 13\"", "in after ft must be less than 12"),
        ("4 1/2 ft 3 in", "whole number of ft"),
        ("3 mm 4 in", "units are mixed"),
        ("12.7.3", "“12.7.3” is no number"),
        ("2 5", "“2 5” is more than one number"),
        ("/4", "no whole number before the slash"),
        ("3/", "no single whole number after the slash"),
        ("1.5 1/2", "“1.5 1/2” is no whole number with one fraction"),
        ("1 2 3/4", "is no whole number with one fraction"),
        ("in 5", "“in” stands where a number was expected"),
        ("1 ft 2 in 3 in", "more than two parts"),
        ("-3/4", "it is negative"),
        ("9" * 61, "61 characters, at most 60"),
    ],
)
def test_the_refusal_names_the_part(text, part):
    assert part in why(text, LENGTH, US)


def test_the_refusal_says_what_to_type():
    assert why("5 kg", LENGTH, METRIC) == (
        "“5 kg” was not understood as a length: “kg” is not a unit of length. "
        "Give a length such as 38 mm, 43 1/4 in or 4' 3\"."
    )
    assert why(" ", HOURS, US) == "Nothing was typed. Give a time in hours such as 4.5 h, 270 min or 4 h 30 min."


@pytest.mark.parametrize(
    ("text", "kind", "part"),
    [
        ("500 tons", QuantityKind.TONNES, "may be a tonne or a short ton"),
        ("12,500 h", HOURS, "may mean 12500 or 12.500"),
        ("12 1/2", QuantityKind.DISTANCE_M, "“12 1/2” may mean 12.5 m or 12 1/2 ft; write the unit"),
        ("5 mm", QuantityKind.PLAIN, "is not a unit of number"),
        ("75 kg", TORQUE, "is not a unit of torque"),
        ("1 h 75 min", HOURS, "min after h must be less than 60"),
        ("1 m 30 cm", QuantityKind.DISTANCE_M, "units are mixed"),
    ],
)
def test_refusals_of_other_quantities(text, kind, part):
    assert part in why(text, kind, METRIC)


@pytest.mark.parametrize(
    ("text", "kind", "system", "words"),
    [
        ("2 3/4", LENGTH, METRIC, "= 69.9 mm (a fraction is read as inches)"),
        ("2 3/4", LENGTH, US, "= 69.9 mm"),
        ("75 ft-lb", TORQUE, METRIC, "= 101.7 N·m (lb·ft taken as lbf·ft)"),
        ("25 lb", QuantityKind.FORCE_N, US, "= 111.2 N (lb taken as lbf)"),
        ("500 tons", QuantityKind.TONNES, US, "= 453.6 t (ton taken as short ton, 2000 lb)"),
        ("71", QuantityKind.MASS_KG, METRIC, "71 kg"),
    ],
)
def test_what_was_understood(text, kind, system, words):
    assert echo(parse_quantity(text, kind, system)) == words


def test_each_way_is_offered_with_its_words():
    with pytest.raises(Unclear) as doubt:
        parse_quantity("1,308", LENGTH, US)
    assert ways_offered(doubt.value) == [
        {"text": "1308 in", "words": "1308 in = 33223.2 mm"},
        {"text": "1.308 in", "words": "1.308 in = 33.2 mm"},
    ]
    assert [echo(way) for way in ways_to_read("5 lb ft", TORQUE, METRIC)] == [
        "5 lb ft = 6.8 N·m (lb·ft taken as lbf·ft)"
    ]
