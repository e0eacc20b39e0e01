"""Quantities as people read them: metric or US customary outside, SI inside.

1. **Factors.** Numbers stay exact fractions up to the last step, so that 51 1/2 in is 1308.1 mm and not nearly so.
   Definitions: NIST SP 811 (2008), Appendix B: inch 25.4 mm, pound 0.453 592 37 kg, standard gravity 9.806 65 m/s2.
2. **Display.** Tape lengths in inches go to the nearest 1/16, ties away from zero: a tape is read upwards. Shown values
   are never stored or added up; sums are formed from stored values.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal, localcontext
from enum import StrEnum
from fractions import Fraction
from functools import cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pint


class UnitSystem(StrEnum):
    """The units that a person reads and types."""

    METRIC = "metric"
    US = "us"


class QuantityKind(StrEnum):
    """What is measured; the value is the suffix of the field that stores it, and so its unit."""

    LENGTH_MM = "mm"
    DISTANCE_M = "m"
    SPEED_M_S = "m_s"
    TORQUE_NM = "nm"
    FORCE_N = "n"
    MASS_KG = "kg"
    TONNES = "t"
    HOURS = "h"
    MINUTES = "min"
    DEGREES = "deg"
    PERCENT = "pct"
    PLAIN = ""


@cache
def kind_of(field_name: str) -> QuantityKind | None:
    """The kind that a field's name says by its last words: belt_width_mm, speed_m_s, torque_nm.

    Parameters
    ----------
    field_name : str
        Name of a column, of a field of a form or of a measure.

    Returns
    -------
    QuantityKind or None
        None where the name ends with no unit.
    """
    for kind in sorted(QuantityKind, key=lambda each: -len(each.value)):
        if kind.value and field_name.endswith(f"_{kind.value}"):
            return kind
    return None


@dataclass(frozen=True)
class Unit:
    """One unit that people write: label shown, name in Pint, its spellings, and what stands there if it is taken so."""

    label: str
    pint_name: str
    spelling: str
    spelt: str = ""


@dataclass(frozen=True)
class Shown:
    """How one kind is shown in one system: its unit, decimals at most, thousands separated by a comma."""

    unit: Unit
    digits: int
    thousands: bool = False


_DOT = r"[ ·.*-]?"
_MM = Unit("mm", "millimeter", r"mm|millimet(?:re|er)s?")
_CM = Unit("cm", "centimeter", r"cm|centimet(?:re|er)s?")
METRE = Unit("m", "meter", r"m|met(?:re|er)s?")
_KM = Unit("km", "kilometer", r"km|kilomet(?:re|er)s?")
INCH = Unit("in", "inch", r'"|in|inch|inches')
FOOT = Unit("ft", "foot", r"'|ft|foot|feet")
_M_S = Unit("m/s", "meter / second", r"m ?/ ?s(?:ec)?")
_M_MIN = Unit("m/min", "meter / minute", r"m ?/ ?min")
_KM_H = Unit("km/h", "kilometer / hour", r"km ?/ ?h|kmh|kph")
_FT_MIN = Unit("ft/min", "foot / minute", r"(?:ft|feet) ?/ ?min(?:ute)?|fpm")
_FT_S = Unit("ft/s", "foot / second", r"(?:ft|feet) ?/ ?s(?:ec)?|fps")
_MPH = Unit("mph", "mile / hour", r"mph|mi ?/ ?h")
_NM = Unit("N·m", "newton * meter", rf"n{_DOT}m|newton{_DOT}met(?:re|er)s?")
_KNM = Unit("kN·m", "kilonewton * meter", rf"kn{_DOT}m")
_KGF_M = Unit("kgf·m", "kilogram_force * meter", rf"kgf{_DOT}m|m{_DOT}kgf|kp{_DOT}m")
_KG_M = Unit("kgf·m", "kilogram_force * meter", rf"kg{_DOT}m|m{_DOT}kg", "kg·m")
_LBF_FT = Unit("lbf·ft", "pound_force * foot", rf"lbf{_DOT}ft|ft{_DOT}lbf")
_LB_FT = Unit(
    "lbf·ft",
    "pound_force * foot",
    rf"lbs?{_DOT}(?:ft|feet)|ft{_DOT}lbs?|(?:foot|feet){_DOT}pounds?|pounds?{_DOT}(?:foot|feet)",
    "lb·ft",
)
_LBF_IN = Unit("lbf·in", "pound_force * inch", rf"lbf{_DOT}in|in{_DOT}lbf")
_LB_IN = Unit(
    "lbf·in",
    "pound_force * inch",
    rf"lbs?{_DOT}in|in{_DOT}lbs?|inch{_DOT}pounds?",
    "lb·in",
)
_N = Unit("N", "newton", r"n|newtons?")
_KN = Unit("kN", "kilonewton", r"kn")
_DAN = Unit("daN", "decanewton", r"dan")
_LBF = Unit("lbf", "pound_force", r"lbf")
_LB_AS_LBF = Unit("lbf", "pound_force", r"lbs?|pounds?", "lb")
_KGF = Unit("kgf", "kilogram_force", r"kgf|kp")
_KG_AS_KGF = Unit("kgf", "kilogram_force", r"kgs?", "kg")
_KG = Unit("kg", "kilogram", r"kgs?|kilograms?")
_G = Unit("g", "gram", r"g|grams?")
_LB = Unit("lb", "pound", r"lbs?|pounds?")
TONNE = Unit("t", "metric_ton", r"t|tonnes?|metric tons?")
SHORT_TON = Unit("short ton", "short_ton", r"short tons?|sh\.? ?tn?")
TON_AS_SHORT = Unit("short ton", "short_ton", r"tons?", "ton")
_H = Unit("h", "hour", r"h|hrs?|hours?")
MINUTE = Unit("min", "minute", r"mins?|minutes?")
_S = Unit("s", "second", r"s|secs?|seconds?")
_D = Unit("d", "day", r"d|days?")
_DEG = Unit("°", "degree", r"°|deg|degrees?")
_PCT = Unit("%", "percent", r"%|pct|percent|per cent")
_NONE = Unit("", "dimensionless", r"(?!)")
_LENGTHS = (_MM, _CM, METRE, _KM, INCH, FOOT)
_TIMES = (_H, MINUTE, _S, _D)
UNITS: dict[QuantityKind, tuple[Unit, ...]] = {
    QuantityKind.LENGTH_MM: _LENGTHS,
    QuantityKind.DISTANCE_M: _LENGTHS,
    QuantityKind.SPEED_M_S: (_M_S, _M_MIN, _KM_H, _FT_MIN, _FT_S, _MPH),
    QuantityKind.TORQUE_NM: (_NM, _KNM, _KGF_M, _KG_M, _LBF_FT, _LB_FT, _LBF_IN, _LB_IN),
    QuantityKind.FORCE_N: (_N, _KN, _DAN, _LBF, _LB_AS_LBF, _KGF, _KG_AS_KGF),
    QuantityKind.MASS_KG: (_KG, _G, _LB, TONNE),
    QuantityKind.TONNES: (TONNE, _KG, _LB, SHORT_TON),
    QuantityKind.HOURS: _TIMES,
    QuantityKind.MINUTES: _TIMES,
    QuantityKind.DEGREES: (_DEG,),
    QuantityKind.PERCENT: (_PCT,),
    QuantityKind.PLAIN: (_NONE,),
}
# Decimals at most; trailing zeros are dropped. One decimal of a torque keeps 75 lbf·ft = 101.7 N·m apart from 101.
METRIC: dict[QuantityKind, Shown] = {
    QuantityKind.LENGTH_MM: Shown(_MM, 1),
    QuantityKind.DISTANCE_M: Shown(METRE, 1, True),
    QuantityKind.SPEED_M_S: Shown(_M_S, 2),
    QuantityKind.TORQUE_NM: Shown(_NM, 1),
    QuantityKind.FORCE_N: Shown(_N, 1, True),
    QuantityKind.MASS_KG: Shown(_KG, 1, True),
    QuantityKind.TONNES: Shown(TONNE, 1, True),
    QuantityKind.HOURS: Shown(_H, 1, True),
    QuantityKind.MINUTES: Shown(MINUTE, 1, True),
    QuantityKind.DEGREES: Shown(_DEG, 2),
    QuantityKind.PERCENT: Shown(_PCT, 1),
    QuantityKind.PLAIN: Shown(_NONE, 3),
}
_US: dict[QuantityKind, Shown] = METRIC | {
    QuantityKind.LENGTH_MM: Shown(INCH, 3),
    QuantityKind.DISTANCE_M: Shown(FOOT, 1, True),
    QuantityKind.SPEED_M_S: Shown(_FT_MIN, 1, True),
    QuantityKind.TORQUE_NM: Shown(_LBF_FT, 1),
    QuantityKind.FORCE_N: Shown(_LBF, 1, True),
    QuantityKind.MASS_KG: Shown(_LB, 1, True),
    QuantityKind.TONNES: Shown(SHORT_TON, 1, True),
}


@cache
def _registry() -> pint.UnitRegistry[Fraction]:
    # Exact fractions for all lengths and masses; Pint's own factor for a pound-force is a rounded decimal all the
    # same, right to 16 digits.
    # Their names are read when the first is asked for: that takes longer than many a command.
    import pint

    return pint.UnitRegistry(non_int_type=Fraction)


@cache
def factor_of(kind: QuantityKind, pint_name: str) -> Fraction:
    """Stored units of a kind in one of another unit, as an exact fraction.

    Parameters
    ----------
    kind : QuantityKind
        What is measured.
    pint_name : str
        The unit, as Pint names it.
    """
    stored = METRIC[kind].unit.pint_name
    if pint_name == stored:
        return Fraction(1)
    return Fraction(_registry().Quantity(Fraction(1), pint_name).to(stored).magnitude)


@cache
def spelling_of(unit: Unit) -> re.Pattern[str]:
    """How a unit may be spelt.

    Parameters
    ----------
    unit : Unit
        One of `UNITS`.
    """
    return re.compile(unit.spelling, re.IGNORECASE)


def shown_in(kind: QuantityKind, system: UnitSystem) -> Shown:
    """How a kind is shown in a system of units.

    Parameters
    ----------
    kind : QuantityKind
        What is measured.
    system : UnitSystem
        Metric or US customary.
    """
    return (_US if UnitSystem(system) is UnitSystem.US else METRIC)[QuantityKind(kind)]


def unit_label(kind: QuantityKind, system: UnitSystem) -> str:
    """Short name of the unit in which one kind of quantity is shown.

    Parameters
    ----------
    kind : QuantityKind
        What is measured.
    system : UnitSystem
        Metric or US customary.

    Returns
    -------
    str
        Such as "mm", "in", "N·m", "lbf·ft"; empty for a plain number.

    Examples
    --------
    >>> unit_label(QuantityKind.TORQUE_NM, UnitSystem.US)
    'lbf·ft'
    """
    return shown_in(kind, system).unit.label


def format_quantity(
    value: float | None,
    kind: QuantityKind,
    system: UnitSystem,
    *,
    with_unit: bool = True,
    digits: int | None = None,
    thousands: bool | None = None,
) -> str:
    """Write a stored quantity in the units that a person reads.

    Parameters
    ----------
    value : float or None
        Quantity [stored unit of the kind]; None or NaN where nothing is known.
    kind : QuantityKind
        What is measured.
    system : UnitSystem
        Metric or US customary.
    with_unit : bool, optional
        Put the unit after the number.
    digits : int, optional
        Decimals, kept even where they are zero. Left out: as many as the kind deserves, without trailing zeros, and
        inches to the nearest 1/16.
    thousands : bool, optional
        Separate thousands by a comma. Left out: in hours, distances, masses and forces when the unit is shown; never
        without the unit, so that such a text can go into a file or a form box.

    Returns
    -------
    str
        Such as "51 1/2 in" or "5,180 h"; "not stated" where nothing is known.

    Raises
    ------
    ValueError
        If the value is infinite.

    Examples
    --------
    >>> format_quantity(1308.1, QuantityKind.LENGTH_MM, UnitSystem.US)
    '51 1/2 in'
    >>> format_quantity(10500, QuantityKind.HOURS, UnitSystem.METRIC)
    '10,500 h'
    """
    if value is None or math.isnan(value):
        return "not stated"
    if math.isinf(value):
        raise ValueError("value is infinite; give a finite number, or None where nothing is known")
    kind = QuantityKind(kind)
    shown = shown_in(kind, system)
    if shown.unit is INCH and digits is None:
        number = to_sixteenths(value)
    else:
        amount = exact_amount(value) / factor_of(kind, shown.unit.pint_name)
        grouped = (with_unit and shown.thousands) if thousands is None else thousands
        number = decimal_text(amount, shown.digits if digits is None else digits, trim=digits is None, grouped=grouped)
    return with_label(number, shown.unit) if with_unit else number


def format_reading(value: float | None, kind: QuantityKind, system: UnitSystem) -> str:
    """Write a measured value as an instrument shows it: inches in thousandths, where 1/16 would hide a finding.

    Parameters
    ----------
    value : float or None
        Quantity [stored unit of the kind]; None or NaN where nothing is known.
    kind : QuantityKind
        What is measured.
    system : UnitSystem
        Metric or US customary.

    Returns
    -------
    str
        As `format_quantity`, but lengths in inches with up to three decimals.

    Raises
    ------
    ValueError
        If the value is infinite.

    Examples
    --------
    >>> format_reading(69.2, QuantityKind.LENGTH_MM, UnitSystem.US)
    '2.724 in'
    """
    shown = shown_in(QuantityKind(kind), system)
    if value is None or not math.isfinite(value) or shown.unit is not INCH:
        return format_quantity(value, kind, system)
    amount = exact_amount(value) / factor_of(QuantityKind(kind), shown.unit.pint_name)
    return with_label(decimal_text(amount, shown.digits, trim=True, grouped=False), shown.unit)


def to_sixteenths(mm: float) -> str:
    """Write a length in inches to the nearest 1/16, ties away from zero, without the unit.

    Parameters
    ----------
    mm : float
        Length [mm], finite.

    Returns
    -------
    str
        Such as "51 1/2"; 15.98 sixteenths make "1", never "16/16".

    Examples
    --------
    >>> to_sixteenths(60), to_sixteenths(0.79375), to_sixteenths(-38)
    ('2 3/8', '1/16', '-1 1/2')
    """
    sixteenths = _nearest_sixteenths(mm)
    return ("-" if sixteenths < 0 else "") + mixed_number(Fraction(abs(sixteenths), 16))


def feet_and_inches(mm: float) -> str:
    """Write a length in feet and inches to the nearest 1/16, ties away from zero.

    Parameters
    ----------
    mm : float
        Length [mm], finite.

    Returns
    -------
    str
        Such as 4' 3 1/2"; 11.99 in make 1' 0", never 0' 12".

    Examples
    --------
    >>> feet_and_inches(1308.1)
    '4\\' 3 1/2"'
    """
    sixteenths = _nearest_sixteenths(mm)
    feet, rest = divmod(abs(sixteenths), 12 * 16)
    return f"{'-' if sixteenths < 0 else ''}{feet}' {mixed_number(Fraction(rest, 16))}\""


def with_label(number: str, unit: Unit) -> str:
    """A number with its unit behind it.

    Parameters
    ----------
    number : str
        As it is to be shown.
    unit : Unit
        Its unit.
    """
    # The degree sign alone stands without a space (SP 811, 7.2).
    return f"{number}°" if unit is _DEG else f"{number} {unit.label}".strip()


def exact_amount(value: float) -> Fraction:
    """The number that a float stands for, as an exact fraction.

    Parameters
    ----------
    value : float
        Finite.
    """
    # The shortest decimal that names the float is what was meant: 0.79375 mm is then a tie at 1/32 in, as on paper.
    return Fraction(repr(float(value)))


def _nearest_sixteenths(mm: float) -> int:
    if not math.isfinite(mm):
        raise ValueError(f"mm is {mm}; give a finite length in mm")
    amount = exact_amount(mm) * 16 / factor_of(QuantityKind.LENGTH_MM, "inch")
    nearest = math.floor(abs(amount) + Fraction(1, 2))
    return -nearest if amount < 0 else nearest


def mixed_number(amount: Fraction) -> str:
    """A fraction as on a tape: "51 1/2".

    Parameters
    ----------
    amount : Fraction
        0 or more.
    """
    whole, rest = divmod(amount.numerator, amount.denominator)
    if not rest:
        return str(whole)
    return f"{whole} {rest}/{amount.denominator}" if whole else f"{rest}/{amount.denominator}"


def decimal_text(amount: Fraction, digits: int, *, trim: bool, grouped: bool) -> str:
    """Decimal text, ties away from zero, without a minus before zero.

    Parameters
    ----------
    amount : Fraction
        Any.
    digits : int
        Decimals at most.
    trim : bool
        Leave out zeros at the end.
    grouped : bool
        Put a comma between thousands.
    """
    scaled = math.floor(abs(amount) * 10**digits + Fraction(1, 2))
    with localcontext(prec=400, rounding=ROUND_HALF_UP):
        number = Decimal(scaled).scaleb(-digits)
        text = f"{number:,.{digits}f}" if grouped else f"{number:.{digits}f}"
    if trim and "." in text:
        text = text.rstrip("0").rstrip(".")
    return f"-{text}" if amount < 0 and scaled else text
