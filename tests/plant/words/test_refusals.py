"""A refusal that comes of a rule: in the person's units, at the fields that are at fault."""

from __future__ import annotations

from enum import StrEnum
from types import SimpleNamespace

import pytest

from plant.calc.reasons import Reason
from plant.calc.units import QuantityKind, UnitSystem
from plant.errors import Refused
from plant.forms.base import PersonForm
from plant.forms.quantities import QuantityField
from plant.words.refusals import field_words, refusal_words, refused


class Rule(StrEnum):
    TOO_WIDE = "refusals.too_wide"
    NO_GAP = "refusals.no_gap"


TEXTS = {
    Rule.TOO_WIDE: "%(width_mm)s is too wide; at most %(most_mm)s fit.",
    Rule.NO_GAP: "No gap is left.",
}
TOO_WIDE = Reason(Rule.TOO_WIDE, {"width_mm": 1308.1, "most_mm": 1200.0})
NO_GAP = Reason(Rule.NO_GAP)
IN_INCHES = "51.5 in is too wide; at most 47.244 in fit."


def test_it_is_said_in_the_persons_units():
    refusal = refused(TOO_WIDE, TEXTS)
    assert refusal.message == "1308.1 mm is too wide; at most 1200 mm fit."
    assert refusal.code == Rule.TOO_WIDE
    assert refusal_words(refusal, UnitSystem.US) == IN_INCHES
    assert refusal_words(refusal, UnitSystem.US, tape=True) == "51 1/2 in is too wide; at most 47 1/4 in fit."
    assert field_words(refusal, UnitSystem.US) == {}


def test_each_field_has_its_reason_and_the_whole_says_each_once():
    refusal = refused(
        None, TEXTS, code="impossible", fields={"width_mm": TOO_WIDE, "left_mm": NO_GAP, "right_mm": NO_GAP}
    )
    assert refusal.code == "impossible"
    assert refusal_words(refusal, UnitSystem.US) == f"{IN_INCHES} No gap is left."
    assert field_words(refusal, UnitSystem.US)["width_mm"] == IN_INCHES


def test_fields_without_a_reason_of_their_own_have_that_of_the_whole():
    refusal = refused(TOO_WIDE, TEXTS, fields=("width_mm",))
    assert field_words(refusal, UnitSystem.US) == {"width_mm": IN_INCHES}


def test_fields_are_renamed_with_their_reasons():
    refusal = refused(TOO_WIDE, TEXTS, fields=("width_mm",)).renamed({"width_mm": "box_width_mm"})
    assert field_words(refusal, UnitSystem.US) == {"box_width_mm": IN_INCHES}
    assert refusal_words(refusal, UnitSystem.US) == IN_INCHES


def test_a_refusal_with_a_sentence_stays_as_it_is():
    refusal = Refused("No.", fields={"width_mm": "Not 20 of them."})
    assert refusal_words(refusal, UnitSystem.US) == "No."
    assert field_words(refusal, UnitSystem.US) == {"width_mm": "Not 20 of them."}


class WidthForm(PersonForm):
    width_mm = QuantityField(kind=QuantityKind.LENGTH_MM)


@pytest.mark.parametrize(("fields", "at"), [(("width_mm",), "width_mm"), (("other",), "__all__"), ((), "__all__")])
def test_a_form_shows_it_where_the_person_looks(fields, at):
    form = WidthForm({"width_mm": "51 1/2"}, person=SimpleNamespace(unit_system="us"))
    assert form.is_valid()
    form.add_refusal(refused(TOO_WIDE, TEXTS, fields=fields))
    assert form.errors == {at: [IN_INCHES]}
