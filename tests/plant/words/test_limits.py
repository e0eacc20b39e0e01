"""A quantity outside the limits of its column is refused in the units of whoever typed it."""

from __future__ import annotations

import pytest
from django import forms
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator

from plant.calc.units import QuantityKind, UnitSystem
from plant.forms.quantities import QuantityField
from plant.services.records import refused_by
from plant.words.limits import limit_reason
from plant.words.refusals import field_words, refusal_words


@pytest.mark.parametrize(
    ("kind", "system", "text", "words"),
    [
        (QuantityKind.LENGTH_MM, UnitSystem.US, "2", "2 in is too little; give 3.937 in or more."),
        (QuantityKind.LENGTH_MM, UnitSystem.US, "3.937", "3.937 in is too little; give 3.937008 in or more."),
        (QuantityKind.LENGTH_MM, UnitSystem.METRIC, "50", "50 mm is too little; give 100 mm or more."),
        (QuantityKind.DISTANCE_M, UnitSystem.US, "20000", "20,000 ft is too much; give 13,123.4 ft or less."),
    ],
)
def test_a_limit_is_said_with_its_unit(kind, system, text, words):
    field = QuantityField(kind=kind, system=system, validators=[MinValueValidator(100), MaxValueValidator(4000)])
    with pytest.raises(forms.ValidationError) as refused:
        field.clean(text)
    assert refused.value.messages == [words]


def raised(value, validator):
    with pytest.raises(ValidationError) as error:
        validator(value)
    return error.value


def test_a_services_refusal_is_said_in_the_units_of_the_reader():
    refusal = refused_by(ValidationError({"belt_width_mm": [raised(50.8, MinValueValidator(100))]}))
    assert refusal.fields == {"belt_width_mm": "50.8 mm is too little; give 100 mm or more."}
    assert refusal_words(refusal, UnitSystem.US) == "2 in is too little; give 3.937 in or more."
    assert field_words(refusal, UnitSystem.US) == {"belt_width_mm": "2 in is too little; give 3.937 in or more."}


def test_other_faults_beside_it_are_not_lost():
    refusal = refused_by(
        ValidationError(
            {"belt_width_mm": [raised(50.8, MinValueValidator(100))], "tag": [ValidationError("The tag is taken.")]}
        )
    )
    assert refusal.fields["tag"] == "The tag is taken."
    assert "The tag is taken." in refusal_words(refusal, UnitSystem.US)


def test_a_limit_that_was_given_words_of_its_own_keeps_them():
    with pytest.raises(ValidationError) as caught:
        MaxValueValidator(200.0, message="A-1 is 200 m long: give a place on it.")(900.0)
    assert limit_reason(caught.value, QuantityKind.DISTANCE_M) is None
    with pytest.raises(ValidationError) as caught:
        MaxValueValidator(200.0)(900.0)
    assert limit_reason(caught.value, QuantityKind.DISTANCE_M) is not None
