"""Stored quantities as a form box shows them; `plant.calc.typed_quantities` reads them back."""

from __future__ import annotations

import math
from fractions import Fraction

from plant.calc.typed_quantities import LONGEST_TEXT
from plant.calc.units import (
    INCH,
    METRIC,
    QuantityKind,
    UnitSystem,
    decimal_text,
    exact_amount,
    factor_of,
    mixed_number,
    shown_in,
)

# With a minus, "0." and the longest unit beside them.
_MOST_DECIMALS = LONGEST_TEXT - len("-0. short ton")


def input_text(value: float | None, kind: QuantityKind, system: UnitSystem) -> str:
    """Write a stored quantity into a form box so that sending the form back untouched changes nothing.

    Parameters
    ----------
    value : float or None
        Quantity [stored unit of the kind]; None or NaN leave the box empty.
    kind : QuantityKind
        What is measured.
    system : UnitSystem
        Metric or US customary; the box may show the other system's unit, written out, where only that is a short
        number: 1200 mm stays "1200 mm" for someone who reads inches.

    Returns
    -------
    str
        A text that `parse_quantity` reads back to the same value within 1e-12 of it, for values from 1e-30 to 1e30 of
        the stored unit; smaller ones lose digits, as a text of `LONGEST_TEXT` characters has no room for more.

    Raises
    ------
    ValueError
        If the value is infinite.

    Examples
    --------
    >>> input_text(101.68634612485503, QuantityKind.TORQUE_NM, UnitSystem.US)
    '75'
    >>> input_text(1200.0, QuantityKind.LENGTH_MM, UnitSystem.US)
    '1200 mm'
    """
    if value is None or math.isnan(value):
        return ""
    if math.isinf(value):
        raise ValueError("value is infinite; give a finite number, or None where nothing is known")
    kind, system = QuantityKind(kind), UnitSystem(system)
    other = UnitSystem.METRIC if system is UnitSystem.US else UnitSystem.US
    for own, candidate in ((True, system), (False, other)):
        unit = shown_in(kind, candidate).unit
        text = _short(exact_amount(value) / factor_of(kind, unit.pint_name), inches=unit is INCH)
        if text is not None:
            return text if own else f"{text} {unit.label}".strip()
    exact = exact_amount(value)
    text = decimal_text(exact, min(_decimals_of(exact), _MOST_DECIMALS), trim=True, grouped=False)
    return text if shown_in(kind, system).unit is METRIC[kind].unit else f"{text} {METRIC[kind].unit.label}"


def box_text(value: float | None, kind: QuantityKind, system: UnitSystem) -> str:
    """Write a stored quantity into a form box in the reader's own unit, rounded where that is no short number.

    Parameters
    ----------
    value : float or None
        Quantity [stored unit of the kind]; None or NaN leave the box empty.
    kind : QuantityKind
        What is measured.
    system : UnitSystem
        Metric or US customary.

    Returns
    -------
    str
        As `input_text` where that is in the reader's unit, else up to three decimals: the form has to keep the stored
        number of a box that nobody touched.

    Raises
    ------
    ValueError
        If the value is infinite.

    Examples
    --------
    >>> box_text(1200.0, QuantityKind.LENGTH_MM, UnitSystem.US), box_text(1308.1, QuantityKind.LENGTH_MM, UnitSystem.US)
    ('47.244', '51 1/2')
    """
    text = input_text(value, kind, system)
    if value is None or not any(each.isalpha() for each in text):
        return text
    unit = shown_in(QuantityKind(kind), system).unit
    rounded = decimal_text(
        exact_amount(value) / factor_of(QuantityKind(kind), unit.pint_name), 3, trim=True, grouped=False
    )
    # A length too small for three decimals stays in the other unit, written out, rather than reading as nothing.
    return rounded if float(rounded) or not value else text


def in_own_unit(value: float, kind: QuantityKind, system: UnitSystem) -> str:
    """Write a stored quantity as a person of this system would type it, unit included.

    Parameters
    ----------
    value : float
        Quantity [stored unit of the kind], finite.
    kind : QuantityKind
        What is measured.
    system : UnitSystem
        Metric or US customary.

    Returns
    -------
    str
        A decimal number of up to nine decimals with its unit.

    Examples
    --------
    >>> in_own_unit(75.0, QuantityKind.LENGTH_MM, UnitSystem.METRIC)
    '75 mm'
    """
    unit = shown_in(kind, system).unit
    amount = exact_amount(value) / factor_of(QuantityKind(kind), unit.pint_name)
    return f"{decimal_text(amount, 9, trim=True, grouped=False)} {unit.label}".strip()


def _short(amount: Fraction, *, inches: bool) -> str | None:
    """The amount as a fraction of an inch down to 1/64 or with four decimals, if that is what it is; else None."""
    if inches:
        near = Fraction(round(amount * 64), 64)
        if abs(near - amount) <= abs(amount) / 10**12:
            return ("-" if near < 0 else "") + mixed_number(abs(near))
    near = Fraction(round(amount * 10**4), 10**4)
    if abs(near - amount) <= abs(amount) / 10**12:
        return decimal_text(near, 4, trim=True, grouped=False)
    return None


def _decimals_of(amount: Fraction) -> int:
    """How many decimals an amount has that is a decimal number."""
    twos = (amount.denominator & -amount.denominator).bit_length() - 1
    fives, rest = 0, amount.denominator >> twos
    while rest > 1:
        rest, fives = rest // 5, fives + 1
    return max(twos, fives)
