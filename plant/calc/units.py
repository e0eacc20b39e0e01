"""Quantities as people type and read them: metric or US customary outside, SI inside.

1. **Grammar.** People's text is read by a small grammar of our own: decimals with point or comma, whole numbers with a
   fraction, feet with inches, hours with minutes. Only a number and a known unit ever reach Pint, because Pint reads
   ``51 1/2 in`` as 51 times one half, ``1,5 mm`` as 15 mm and ``75 Nm`` as a number times a metre.
2. **Factors.** Numbers stay exact fractions up to the last step, so that 51 1/2 in is 1308.1 mm and not nearly so.
   Definitions: NIST SP 811 (2008), Appendix B: inch 25.4 mm, pound 0.453 592 37 kg, standard gravity 9.806 65 m/s2.
3. **Fractions are inches.** Nobody writes a fraction of a millimetre: a length typed as ``2 3/4`` without a unit is
   inches for everybody, and the echo says so.
4. **Ambiguity is asked back.** A comma before exactly three digits may be a decimal comma or a thousands separator, so
   ``1,308 mm`` is refused with both readings named; `ways_to_read` gives each as a text that means nothing else. A thin
   or no-break space between groups of three digits is the separator of the SI (BIPM, SI Brochure, 9th edition, 5.4.4).
5. **Display.** Tape lengths in inches go to the nearest 1/16, ties away from zero: a tape is read upwards. Shown values
   are never stored or added up; sums are formed from stored values.

Guarantee: what `input_text` writes, `parse_quantity` reads back to the stored value. The page's script reads by the
same grammar (`typing_grammar`); one table of typed texts goes through both.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal, localcontext
from enum import StrEnum
from fractions import Fraction
from functools import cache

import pint

LONGEST_TEXT = 60
# With a minus, "0." and the longest unit beside them.
_MOST_DECIMALS = LONGEST_TEXT - len("-0. short ton")


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
class Understood:
    """A typed quantity: its value in the stored unit, the words to show beside the box, and the text as typed."""

    value: float
    echo: str
    typed: str


@dataclass(frozen=True)
class Way:
    """One way to read a typed quantity: a text that means nothing else, its value in the stored unit, and its words."""

    text: str
    value: float
    words: str


class Unclear(ValueError):
    """A text that may mean several quantities; `ways` are those that it may mean."""

    def __init__(self, message: str, ways: tuple[Way, ...]) -> None:
        super().__init__(message)
        self.ways = ways


@dataclass(frozen=True)
class _Unit:
    """One unit that people write: label shown, name in Pint, how it may be spelt, and a reading worth saying aloud."""

    label: str
    pint_name: str
    spelling: str
    taken_as: str = ""


@dataclass(frozen=True)
class _Shown:
    """How one kind is shown in one system: its unit, decimals at most, thousands separated by a comma."""

    unit: _Unit
    digits: int
    thousands: bool = False


_DOT = r"[ ·.*-]?"
_MM = _Unit("mm", "millimeter", r"mm|millimet(?:re|er)s?")
_CM = _Unit("cm", "centimeter", r"cm|centimet(?:re|er)s?")
_M = _Unit("m", "meter", r"m|met(?:re|er)s?")
_KM = _Unit("km", "kilometer", r"km|kilomet(?:re|er)s?")
_IN = _Unit("in", "inch", r'"|in|inch|inches')
_FT = _Unit("ft", "foot", r"'|ft|foot|feet")
_M_S = _Unit("m/s", "meter / second", r"m ?/ ?s(?:ec)?")
_M_MIN = _Unit("m/min", "meter / minute", r"m ?/ ?min")
_KM_H = _Unit("km/h", "kilometer / hour", r"km ?/ ?h|kmh|kph")
_FT_MIN = _Unit("ft/min", "foot / minute", r"(?:ft|feet) ?/ ?min(?:ute)?|fpm")
_FT_S = _Unit("ft/s", "foot / second", r"(?:ft|feet) ?/ ?s(?:ec)?|fps")
_MPH = _Unit("mph", "mile / hour", r"mph|mi ?/ ?h")
_NM = _Unit("N·m", "newton * meter", rf"n{_DOT}m|newton{_DOT}met(?:re|er)s?")
_KNM = _Unit("kN·m", "kilonewton * meter", rf"kn{_DOT}m")
_KGF_M = _Unit("kgf·m", "kilogram_force * meter", rf"kgf{_DOT}m|m{_DOT}kgf|kp{_DOT}m")
_KG_M = _Unit("kgf·m", "kilogram_force * meter", rf"kg{_DOT}m|m{_DOT}kg", "kg·m taken as kgf·m")
_LBF_FT = _Unit("lbf·ft", "pound_force * foot", rf"lbf{_DOT}ft|ft{_DOT}lbf")
_LB_FT = _Unit(
    "lbf·ft",
    "pound_force * foot",
    rf"lbs?{_DOT}(?:ft|feet)|ft{_DOT}lbs?|(?:foot|feet){_DOT}pounds?|pounds?{_DOT}(?:foot|feet)",
    "lb·ft taken as lbf·ft",
)
_LBF_IN = _Unit("lbf·in", "pound_force * inch", rf"lbf{_DOT}in|in{_DOT}lbf")
_LB_IN = _Unit(
    "lbf·in",
    "pound_force * inch",
    rf"lbs?{_DOT}in|in{_DOT}lbs?|inch{_DOT}pounds?",
    "lb·in taken as lbf·in",
)
_N = _Unit("N", "newton", r"n|newtons?")
_KN = _Unit("kN", "kilonewton", r"kn")
_DAN = _Unit("daN", "decanewton", r"dan")
_LBF = _Unit("lbf", "pound_force", r"lbf")
_LB_AS_LBF = _Unit("lbf", "pound_force", r"lbs?|pounds?", "lb taken as lbf")
_KGF = _Unit("kgf", "kilogram_force", r"kgf|kp")
_KG_AS_KGF = _Unit("kgf", "kilogram_force", r"kgs?", "kg taken as kgf")
_KG = _Unit("kg", "kilogram", r"kgs?|kilograms?")
_G = _Unit("g", "gram", r"g|grams?")
_LB = _Unit("lb", "pound", r"lbs?|pounds?")
_T = _Unit("t", "metric_ton", r"t|tonnes?|metric tons?")
_SHORT_TON = _Unit("short ton", "short_ton", r"short tons?|sh\.? ?tn?")
_TON_AS_SHORT = _Unit("short ton", "short_ton", r"tons?", "ton taken as short ton, 2000 lb")
_H = _Unit("h", "hour", r"h|hrs?|hours?")
_MIN = _Unit("min", "minute", r"mins?|minutes?")
_S = _Unit("s", "second", r"s|secs?|seconds?")
_D = _Unit("d", "day", r"d|days?")
_DEG = _Unit("°", "degree", r"°|deg|degrees?")
_PCT = _Unit("%", "percent", r"%|pct|percent|per cent")
_NONE = _Unit("", "dimensionless", r"(?!)")

_LENGTHS = (_MM, _CM, _M, _KM, _IN, _FT)
_TIMES = (_H, _MIN, _S, _D)
_UNITS: dict[QuantityKind, tuple[_Unit, ...]] = {
    QuantityKind.LENGTH_MM: _LENGTHS,
    QuantityKind.DISTANCE_M: _LENGTHS,
    QuantityKind.SPEED_M_S: (_M_S, _M_MIN, _KM_H, _FT_MIN, _FT_S, _MPH),
    QuantityKind.TORQUE_NM: (_NM, _KNM, _KGF_M, _KG_M, _LBF_FT, _LB_FT, _LBF_IN, _LB_IN),
    QuantityKind.FORCE_N: (_N, _KN, _DAN, _LBF, _LB_AS_LBF, _KGF, _KG_AS_KGF),
    QuantityKind.MASS_KG: (_KG, _G, _LB, _T),
    QuantityKind.TONNES: (_T, _KG, _LB, _SHORT_TON),
    QuantityKind.HOURS: _TIMES,
    QuantityKind.MINUTES: _TIMES,
    QuantityKind.DEGREES: (_DEG,),
    QuantityKind.PERCENT: (_PCT,),
    QuantityKind.PLAIN: (_NONE,),
}
# Decimals at most; trailing zeros are dropped. One decimal of a torque keeps 75 lbf·ft = 101.7 N·m apart from 101.
_METRIC: dict[QuantityKind, _Shown] = {
    QuantityKind.LENGTH_MM: _Shown(_MM, 1),
    QuantityKind.DISTANCE_M: _Shown(_M, 1, True),
    QuantityKind.SPEED_M_S: _Shown(_M_S, 2),
    QuantityKind.TORQUE_NM: _Shown(_NM, 1),
    QuantityKind.FORCE_N: _Shown(_N, 1, True),
    QuantityKind.MASS_KG: _Shown(_KG, 1, True),
    QuantityKind.TONNES: _Shown(_T, 1, True),
    QuantityKind.HOURS: _Shown(_H, 1, True),
    QuantityKind.MINUTES: _Shown(_MIN, 1, True),
    QuantityKind.DEGREES: _Shown(_DEG, 2),
    QuantityKind.PERCENT: _Shown(_PCT, 1),
    QuantityKind.PLAIN: _Shown(_NONE, 3),
}
_US: dict[QuantityKind, _Shown] = _METRIC | {
    QuantityKind.LENGTH_MM: _Shown(_IN, 3),
    QuantityKind.DISTANCE_M: _Shown(_FT, 1, True),
    QuantityKind.SPEED_M_S: _Shown(_FT_MIN, 1, True),
    QuantityKind.TORQUE_NM: _Shown(_LBF_FT, 1),
    QuantityKind.FORCE_N: _Shown(_LBF, 1, True),
    QuantityKind.MASS_KG: _Shown(_LB, 1, True),
    QuantityKind.TONNES: _Shown(_SHORT_TON, 1, True),
}
_WHAT: dict[QuantityKind, tuple[str, str]] = {
    QuantityKind.LENGTH_MM: ("a length", "38 mm, 43 1/4 in or 4' 3\""),
    QuantityKind.DISTANCE_M: ("a distance", "120 m, 394 ft or 12' 6\""),
    QuantityKind.SPEED_M_S: ("a speed", "3.15 m/s or 620 ft/min"),
    QuantityKind.TORQUE_NM: ("a torque", "100 N·m or 75 lbf·ft"),
    QuantityKind.FORCE_N: ("a force", "120 N or 27 lbf"),
    QuantityKind.MASS_KG: ("a mass", "71 kg or 156 lb"),
    QuantityKind.TONNES: ("a tonnage", "450 t or 500 short tons"),
    QuantityKind.HOURS: ("a time in hours", "4.5 h, 270 min or 4 h 30 min"),
    QuantityKind.MINUTES: ("a time in minutes", "25 min, 1.5 h or 1 h 30 min"),
    QuantityKind.DEGREES: ("an angle", "0.25 or 0.25°"),
    QuantityKind.PERCENT: ("a percentage", "96 or 96 %"),
    QuantityKind.PLAIN: ("a number", "12 or 2.5"),
}
# The smaller unit may follow the larger one when it stays below one of it: 4' 3", 1 h 30 min.
_PAIRS: dict[str, tuple[_Unit, int]] = {"foot": (_IN, 12), "hour": (_MIN, 60)}

_VULGAR = {
    "½": "1/2", "⅓": "1/3", "⅔": "2/3", "¼": "1/4", "¾": "3/4", "⅕": "1/5", "⅖": "2/5", "⅗": "3/5", "⅘": "4/5",
    "⅙": "1/6", "⅚": "5/6", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8",
}  # fmt: skip
_SAME_SIGN = str.maketrans(
    dict.fromkeys("′’‘ʹ´`", "'")
    | dict.fromkeys("″”“ʺ", '"')
    | dict.fromkeys("⁄∕", "/")
    | dict.fromkeys("−–—‐‑", "-")
    | dict.fromkeys("⋅•∙", "·")
    | {"º": "°", "×": "*"}
)
# Groups of three digits, parted by a space that no keyboard types by accident: thin, narrow no-break, no-break.
_THIN = "\u2009\u202f\u00a0"
_GROUPED = re.compile(
    rf"(?<![0-9.,])(?:[1-9][0-9]{{0,2}}(?:[{_THIN}][0-9]{{3}})+|[0-9]+)(?:[.,](?:[0-9]{{3}}[{_THIN}])*[0-9]+)?"
    r"(?![0-9]|\s*[/⁄∕])"
)
_NUMBER = r"[.,]?[0-9][0-9.,]*"
_TOKEN = re.compile(rf"(?P<number>{_NUMBER})|(?P<other>(?:(?![.,]?[0-9]).)+)")
_PLAIN_NUMBER = re.compile(r"[0-9]+\.?|[0-9]*\.[0-9]+")
_COMMA_DECIMAL = re.compile(r"[0-9]*,[0-9]+")
_COMMA_THREE = re.compile(r"[1-9][0-9]{0,2},[0-9]{3}")
_COMMA_THOUSANDS = re.compile(r"[1-9][0-9]{0,2}(?:(?:,[0-9]{3})+\.[0-9]+|(?:,[0-9]{3}){2,})")
_POINT_THOUSANDS = re.compile(r"[1-9][0-9]{0,2}(?:(?:\.[0-9]{3})+,[0-9]+|(?:\.[0-9]{3}){2,})")
# A keyboard has only the plain space, which also parts whole numbers from fractions: asked back.
_SPACED = re.compile(r"[1-9][0-9]{0,2}(?: [0-9]{3})+(?:[.,][0-9]+)?")
_TON_IN_DOUBT = "may be a tonne or a short ton; write t or short ton"
_FRACTION_NOTE = "a fraction is read as inches"


@cache
def _registry() -> pint.UnitRegistry[Fraction]:
    # Exact fractions for all lengths and masses; Pint's own factor for a pound-force is a rounded decimal all the
    # same, right to 16 digits.
    return pint.UnitRegistry(non_int_type=Fraction)


@cache
def _factor(kind: QuantityKind, pint_name: str) -> Fraction:
    """Stored units of ``kind`` in one of the unit named."""
    stored = _METRIC[kind].unit.pint_name
    if pint_name == stored:
        return Fraction(1)
    return Fraction(_registry().Quantity(Fraction(1), pint_name).to(stored).magnitude)


@cache
def _spelling(unit: _Unit) -> re.Pattern[str]:
    return re.compile(unit.spelling, re.IGNORECASE)


def _shown(kind: QuantityKind, system: UnitSystem) -> _Shown:
    return (_US if UnitSystem(system) is UnitSystem.US else _METRIC)[QuantityKind(kind)]


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
    return _shown(kind, system).unit.label


# --- reading --------------------------------------------------------------------------------------------------------


def parse_quantity(text: str, kind: QuantityKind, system: UnitSystem, *, allow_negative: bool = False) -> Understood:
    """Read a quantity that a person typed, and say what was understood.

    Parameters
    ----------
    text : str
        Such as ``43 1/4``, ``2-5/8 in``, ``1.5"``, ``4' 3"``, ``38 mm``, ``1308,1 mm``, ``75 lb ft``, ``1 h 30 min``.
        A unit that is written wins over the person's unit system.
    kind : QuantityKind
        What is measured; decides the stored unit.
    system : UnitSystem
        Decides the unit of a number that is typed without one; a length typed as a fraction is inches in both.
    allow_negative : bool, optional
        Accept a leading minus.

    Returns
    -------
    Understood
        value [stored unit of the kind]; echo, "= 68.3 mm" where another unit than the stored one was meant; typed.

    Raises
    ------
    Unclear
        If it may mean several quantities.
    ValueError
        If a part is not understood, is a unit of something else, is negative where that is not allowed, or is not
        finite. The message names that part and gives examples.

    References
    ----------
    NIST Special Publication 811 (2008), Appendix B, for the factors; BIPM, The International System of Units, 9th
    edition (2019), 5.4.4, for the space between groups of digits. The grammar is our own.

    Examples
    --------
    >>> parse_quantity("2 11/16", QuantityKind.LENGTH_MM, UnitSystem.US)
    Understood(value=68.2625, echo='= 68.3 mm', typed='2 11/16')
    >>> parse_quantity("75 ft-lb", QuantityKind.TORQUE_NM, UnitSystem.METRIC).echo
    '= 101.7 N·m (lb·ft taken as lbf·ft)'
    >>> parse_quantity("2 3/4", QuantityKind.LENGTH_MM, UnitSystem.METRIC).echo
    '= 69.9 mm (a fraction is read as inches)'
    """
    kind, system = QuantityKind(kind), UnitSystem(system)
    if len(text) > LONGEST_TEXT:
        raise _refusal(text[:20] + " ...", kind, f"it has {len(text)} characters, at most {LONGEST_TEXT} are read")
    tokens = _tokens(text)
    try:
        amount, units, notes = _read(tokens, kind, system)
        value = float(amount)
    except OverflowError:
        raise _refusal(text, kind, "the number is too large") from None
    except _Doubtful as doubt:
        ways = _ways(doubt.texts_of(tokens), kind, system, allow_negative)
        raise Unclear(str(_refusal(text, kind, str(doubt))), ways) from None
    except _NotUnderstood as problem:
        raise _refusal(text, kind, str(problem)) from None
    if value < 0 and not allow_negative:
        raise _refusal(text, kind, "it is negative, and only zero or more is allowed here")
    if units == (_METRIC[kind].unit,):
        # Nothing was converted, so nothing is rounded: 0.0004 mm must not be echoed as 0 mm.
        echo = _with_unit(_decimals(amount, 9, trim=True, grouped=False), units[0])
    else:
        echo = f"= {format_quantity(value, kind, UnitSystem.METRIC)}"
    if notes:
        echo += f" ({'; '.join(notes)})"
    return Understood(value=value, echo=echo, typed=text)


def ways_to_read(text: str, kind: QuantityKind, system: UnitSystem, *, allow_negative: bool = False) -> tuple[Way, ...]:
    """Every way to read a typed quantity, for a value that is in doubt: one of them is what the person meant.

    Parameters
    ----------
    text : str
        As typed.
    kind : QuantityKind
        What is measured.
    system : UnitSystem
        The person's own; its unit comes first where none was typed.
    allow_negative : bool, optional
        Accept a leading minus.

    Returns
    -------
    tuple of Way
        As it is read comes first. One where a unit was typed; the unit of the other system too where none was, and
        both numbers where a comma may part decimals or thousands. Empty where nothing is understood.

    Examples
    --------
    >>> [way.words for way in ways_to_read("2 3/4", QuantityKind.LENGTH_MM, UnitSystem.METRIC)]
    ['2 3/4 in = 69.9 mm', '2.75 mm']
    >>> [way.words for way in ways_to_read("1,308 mm", QuantityKind.LENGTH_MM, UnitSystem.US)]
    ['1308 mm', '1.308 mm']
    """
    kind, system = QuantityKind(kind), UnitSystem(system)
    if len(text) > LONGEST_TEXT:
        return ()
    tokens = _tokens(text)
    try:
        _read(tokens, kind, system)
        parts = _parts(_unsigned(tokens), kind, system)
    except _Doubtful as doubt:
        return _ways(doubt.texts_of(tokens), kind, system, allow_negative)
    except _NotUnderstood:
        return ()
    if len(parts) > 1 or parts[0].unit is not None or kind is QuantityKind.PLAIN:
        return _ways([text.strip()], kind, system, allow_negative)
    own = _bare_unit(parts[0], kind, system)
    units = dict.fromkeys([own, *(_shown(kind, each).unit for each in (system, *UnitSystem))])
    return _ways([_with_written(tokens, parts[0], unit) for unit in units], kind, system, allow_negative)


def _ways(texts: Iterable[str], kind: QuantityKind, system: UnitSystem, allow_negative: bool) -> tuple[Way, ...]:
    ways = []
    for text in texts:
        tokens = _tokens(text)
        try:
            parts = _parts(_unsigned(tokens), kind, system)
            is_bare = len(parts) == 1 and parts[0].unit is None
            written = _with_written(tokens, parts[0], _bare_unit(parts[0], kind, system)) if is_bare else text
            read = parse_quantity(written, kind, system, allow_negative=allow_negative)
        except ValueError:
            continue  # this one cannot be meant: it is negative where that is not allowed, or in doubt a second time
        ways.append(Way(written, read.value, f"{written} {read.echo}" if read.echo.startswith("=") else written))
    return tuple(ways)


class _NotUnderstood(ValueError):
    """The part of the text that the grammar could not read."""


class _Doubtful(_NotUnderstood):
    """The part of the text that may mean several things: some tokens, and what each reading puts in their place."""

    def __init__(self, message: str, part: Sequence[str], readings: Sequence[str]) -> None:
        super().__init__(message)
        self.part, self.readings = list(part), readings

    def texts_of(self, tokens: list[str]) -> list[str]:
        n = len(self.part)
        at = next(k for k in range(len(tokens)) if tokens[k : k + n] == self.part)
        return [_joined([*tokens[:at], each, *tokens[at + n :]]) for each in self.readings]


def _refusal(text: str, kind: QuantityKind, problem: str) -> ValueError:
    what, examples = _WHAT[kind]
    if not text.strip():
        return ValueError(f"Nothing was typed. Give {what} such as {examples}.")
    return ValueError(f"“{text.strip()}” was not understood as {what}: {problem}. Give {what} such as {examples}.")


def _tokens(text: str) -> list[str]:
    """Numbers, slashes, dashes and unit words, spelt in one way."""
    text = _GROUPED.sub(lambda match: re.sub(f"[{_THIN}]", "", match.group()), text)
    plain = "".join(f" {_VULGAR[c]} " if c in _VULGAR else c for c in text).translate(_SAME_SIGN)
    plain = re.sub(r"\s+", " ", plain.replace("''", '"')).strip()
    tokens: list[str] = []
    for match in _TOKEN.finditer(plain):
        token = match.group().strip()
        if not token:
            continue
        # A dash between feet and inches is a joint of drawing style, not part of the unit.
        joint = match["other"] and len(token) > 1 and token.endswith("-") and match.end() < len(plain)
        tokens += [token[:-1].strip(), "-"] if joint else [token]
    return tokens


def _joined(tokens: Sequence[str]) -> str:
    """The tokens as one text that is read to the same tokens."""
    return re.sub(r"^([-+]) ", r"\1", re.sub(r" ?/ ?", "/", " ".join(tokens)))


def _unsigned(tokens: list[str]) -> list[str]:
    return tokens[1:] if tokens[:1] in (["-"], ["+"]) else tokens


def _with_written(tokens: Sequence[str], part: _Part, unit: _Unit) -> str:
    """A bare number with a unit; a fraction becomes a short decimal number where nobody reads fractions."""
    if part.is_fraction and unit not in (_IN, _FT) and 10**9 % part.number.denominator == 0:
        sign = "-" if tokens[0] == "-" else ""
        return f"{sign}{_decimals(part.number, 9, trim=True, grouped=False)} {unit.label}".strip()
    return f"{_joined(tokens)} {unit.label}".strip()


def _is_number(token: str) -> bool:
    return re.fullmatch(_NUMBER, token) is not None


@dataclass(frozen=True)
class _Part:
    """A number and the unit that follows it, if one does."""

    number: Fraction
    unit: _Unit | None
    tokens: tuple[str, ...]

    @property
    def is_fraction(self) -> bool:
        return "/" in self.tokens


def _bare_unit(part: _Part, kind: QuantityKind, system: UnitSystem) -> _Unit:
    """The unit of a number that is typed without one."""
    if part.is_fraction and kind is QuantityKind.LENGTH_MM:
        return _IN
    return _shown(kind, system).unit


def _fraction_unit(kind: QuantityKind, system: UnitSystem) -> str:
    """The unit of a bare fraction by its name; empty where it is asked back."""
    own = _bare_unit(_Part(Fraction(1, 2), None, ("1", "/", "2")), kind, system)
    return "" if own is _M else own.pint_name


def _read(tokens: list[str], kind: QuantityKind, system: UnitSystem) -> tuple[Fraction, tuple[_Unit, ...], list[str]]:
    """Amount in the stored unit, the units meant, and readings worth saying aloud."""
    if not tokens:
        raise _NotUnderstood("it is empty")
    sign = -1 if tokens[0] == "-" else 1
    tokens = _unsigned(tokens)
    if not any(_is_number(t) for t in tokens):
        raise _NotUnderstood(f"“{' '.join(tokens)}” holds no number")
    parts = _parts(tokens, kind, system)
    if len(parts) > 2:
        raise _NotUnderstood("it has more than two parts with units")
    first, notes = parts[0].number, []
    unit = parts[0].unit
    if unit is None:
        unit = _bare_unit(parts[0], kind, system)
        if parts[0].is_fraction and unit is _M:
            # Feet are likelier than metres, and half a metre is possible.
            shown = _joined(parts[0].tokens)
            readings = [f"{_decimals(first, 9, trim=True, grouped=False)} m", f"{shown} ft"]
            raise _Doubtful(f"“{shown}” may mean {' or '.join(readings)}; write the unit", parts[0].tokens, readings)
        if unit is not _shown(kind, system).unit:
            notes.append(_FRACTION_NOTE)
    amount = first * _factor(kind, unit.pint_name)
    units: tuple[_Unit, ...] = (unit,)
    if len(parts) == 2:
        rest, rest_unit = parts[1].number, parts[1].unit
        small, limit = _PAIRS.get(unit.pint_name, (None, 0))
        if parts[0].unit is None or small is None or (rest_unit or small).pint_name != small.pint_name:
            raise _NotUnderstood("units are mixed; only feet with inches and hours with minutes go together")
        if first.denominator != 1:
            raise _NotUnderstood(f"{unit.label} with {small.label} must be a whole number of {unit.label}")
        if rest >= limit:
            raise _NotUnderstood(f"{small.label} after {unit.label} must be less than {limit}")
        amount += rest * _factor(kind, small.pint_name)
        units = (unit, small)
    return sign * amount, units, [*notes, *(u.taken_as for u in units if u.taken_as)]


def _parts(tokens: list[str], kind: QuantityKind, system: UnitSystem) -> list[_Part]:
    """Each number with the unit that follows it, if one does."""
    parts: list[_Part] = []
    number: list[str] = []
    for token in tokens:
        if _is_number(token) or token == "/" or (token == "-" and number):
            number.append(token)
        elif token == "-" and parts:
            continue
        elif not number:
            raise _NotUnderstood(f"“{token}” stands where a number was expected")
        else:
            parts.append(_Part(_number(number), _unit(token, kind, system), tuple(number)))
            number = []
    if number:
        parts.append(_Part(_number(number), None, tuple(number)))
    return parts


def _number(tokens: list[str]) -> Fraction:
    """``12``, ``3/4``, ``43 1/4`` or ``43-1/4``."""
    shown = " ".join(tokens).replace(" / ", "/").replace(" - ", "-")
    n_slashes = tokens.count("/")
    if not n_slashes:
        if len(tokens) == 1:
            return _decimal(tokens[0])
        words = f"“{shown}” is more than one number without a unit between; write it without spaces"
        if _SPACED.fullmatch(shown):
            raise _Doubtful(words, tokens, ["".join(tokens)])
        raise _NotUnderstood(words)
    if n_slashes > 1:
        raise _NotUnderstood(f"“{shown}” has more than one fraction")
    at = tokens.index("/")
    above, below = tokens[at - 1 : at], tokens[at + 1 :]
    if at == 0 or not above[0].isdigit():
        raise _NotUnderstood(f"“{shown}” has no whole number before the slash")
    if len(below) != 1 or not below[0].isdigit():
        raise _NotUnderstood(f"“{shown}” has no single whole number after the slash")
    if int(below[0]) == 0:
        raise _NotUnderstood(f"“{shown}” divides by zero")
    whole = [t for t in tokens[: at - 1] if t != "-"]
    if len(whole) > 1 or tokens[: at - 1].count("-") > 1 or (whole and not whole[0].isdigit()):
        raise _NotUnderstood(f"“{shown}” is no whole number with one fraction")
    return Fraction(int(whole[0]) if whole else 0) + Fraction(int(above[0]), int(below[0]))


def _decimal(token: str) -> Fraction:
    if _PLAIN_NUMBER.fullmatch(token):
        return Fraction(token.rstrip("."))
    if _COMMA_THREE.fullmatch(token):
        readings = [token.replace(",", ""), token.replace(",", ".")]
        raise _Doubtful(f"“{token}” may mean {' or '.join(readings)}; write one of these", [token], readings)
    if _COMMA_THOUSANDS.fullmatch(token):
        return Fraction(token.replace(",", ""))
    if _POINT_THOUSANDS.fullmatch(token):
        return Fraction(token.replace(".", "").replace(",", "."))
    if _COMMA_DECIMAL.fullmatch(token):
        return Fraction(token.replace(",", "."))
    raise _NotUnderstood(f"“{token}” is no number")


def _unit(word: str, kind: QuantityKind, system: UnitSystem) -> _Unit:
    spelt = word.removeprefix("-").strip().removesuffix(".").strip()
    for unit in _UNITS[kind]:
        if _spelling(unit).fullmatch(spelt):
            return unit
    if kind is QuantityKind.TONNES and _spelling(_TON_AS_SHORT).fullmatch(spelt):
        if system is UnitSystem.US:
            return _TON_AS_SHORT
        raise _Doubtful(f"“{word}” {_TON_IN_DOUBT}", [word], [_T.label, _SHORT_TON.label])
    if any(_spelling(unit).fullmatch(spelt) for units in _UNITS.values() for unit in units):
        raise _NotUnderstood(f"“{word}” is not a unit of {_WHAT[kind][0].split(' ', 1)[1]}")
    raise _NotUnderstood(f"“{word}” is not a known unit")


# --- showing --------------------------------------------------------------------------------------------------------


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
    shown = _shown(kind, system)
    if shown.unit is _IN and digits is None:
        number = to_sixteenths(value)
    else:
        amount = _exact(value) / _factor(kind, shown.unit.pint_name)
        grouped = (with_unit and shown.thousands) if thousands is None else thousands
        number = _decimals(amount, shown.digits if digits is None else digits, trim=digits is None, grouped=grouped)
    return _with_unit(number, shown.unit) if with_unit else number


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
    shown = _shown(QuantityKind(kind), system)
    if value is None or not math.isfinite(value) or shown.unit is not _IN:
        return format_quantity(value, kind, system)
    amount = _exact(value) / _factor(QuantityKind(kind), shown.unit.pint_name)
    return _with_unit(_decimals(amount, shown.digits, trim=True, grouped=False), shown.unit)


# A number with a metric unit in a sentence of the site; two numbers may share the unit.
_SAID = re.compile(
    r"(?<![\w.,/])(?:(?P<first>[0-9][0-9,]*(?:\.[0-9]+)?)(?P<joint> to | and |, limit ))?"
    r"(?P<second>[0-9][0-9,]*(?:\.[0-9]+)?) (?P<unit>m/s|mm|m|N·m|N|kg)(?![\w/·])"
)
_SAID_KINDS = {
    "mm": QuantityKind.LENGTH_MM,
    "m": QuantityKind.DISTANCE_M,
    "m/s": QuantityKind.SPEED_M_S,
    "N·m": QuantityKind.TORQUE_NM,
    "N": QuantityKind.FORCE_N,
    "kg": QuantityKind.MASS_KG,
}


def sentence_in(words: str, system: UnitSystem, *, tape: bool = False) -> str:
    """A sentence that the site made with SI units, as a person with this unit system reads it.

    Parameters
    ----------
    words : str
        Such as the reason of a grade or of a refusal. Text that people typed does not belong here.
    system : UnitSystem
        Metric or US customary.
    tape : bool, optional
        Its lengths in mm were read on a tape: inches to the nearest 1/16. Else they are those of an instrument, and
        inches have decimals.

    Returns
    -------
    str
        The sentence with each quantity in the person's unit; unchanged for metric.

    Examples
    --------
    >>> sentence_in("75 N·m lies between 70.2 and 79.2 N·m.", UnitSystem.US)
    '55.3 lbf·ft lies between 51.8 and 58.4 lbf·ft.'
    >>> sentence_in("76 mm off, wanted at most 60 mm", UnitSystem.US, tape=True)
    '3 in off, wanted at most 2 3/8 in'
    """
    if UnitSystem(system) is UnitSystem.METRIC:
        return words

    def told(match: re.Match[str]) -> str:
        kind = _SAID_KINDS[match["unit"]]
        write = format_quantity if tape and kind is QuantityKind.LENGTH_MM else format_reading
        text = write(float(match["second"].replace(",", "")), kind, system)
        if match["first"] is None:
            return text
        first = write(float(match["first"].replace(",", "")), kind, system)
        return first.removesuffix(f" {unit_label(kind, system)}") + match["joint"] + text

    return _SAID.sub(told, words)


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
    return ("-" if sixteenths < 0 else "") + _mixed(Fraction(abs(sixteenths), 16))


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
    return f"{'-' if sixteenths < 0 else ''}{feet}' {_mixed(Fraction(rest, 16))}\""


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
        unit = _shown(kind, candidate).unit
        text = _short(_exact(value) / _factor(kind, unit.pint_name), inches=unit is _IN)
        if text is not None:
            return text if own else f"{text} {unit.label}".strip()
    exact = _exact(value)
    text = _decimals(exact, min(_decimals_of(exact), _MOST_DECIMALS), trim=True, grouped=False)
    return text if _shown(kind, system).unit is _METRIC[kind].unit else f"{text} {_METRIC[kind].unit.label}"


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
    unit = _shown(QuantityKind(kind), system).unit
    rounded = _decimals(_exact(value) / _factor(QuantityKind(kind), unit.pint_name), 3, trim=True, grouped=False)
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
    unit = _shown(kind, system).unit
    amount = _exact(value) / _factor(QuantityKind(kind), unit.pint_name)
    return f"{_decimals(amount, 9, trim=True, grouped=False)} {unit.label}".strip()


def _with_unit(number: str, unit: _Unit) -> str:
    # The degree sign alone stands without a space (SP 811, 7.2).
    return f"{number}°" if unit is _DEG else f"{number} {unit.label}".strip()


def _short(amount: Fraction, *, inches: bool) -> str | None:
    """The amount as a fraction of an inch down to 1/64 or with four decimals, if that is what it is; else None."""
    if inches:
        near = Fraction(round(amount * 64), 64)
        if abs(near - amount) <= abs(amount) / 10**12:
            return ("-" if near < 0 else "") + _mixed(abs(near))
    near = Fraction(round(amount * 10**4), 10**4)
    if abs(near - amount) <= abs(amount) / 10**12:
        return _decimals(near, 4, trim=True, grouped=False)
    return None


def _exact(value: float) -> Fraction:
    # The shortest decimal that names the float is what was meant: 0.79375 mm is then a tie at 1/32 in, as on paper.
    return Fraction(repr(float(value)))


def _decimals_of(amount: Fraction) -> int:
    """How many decimals an amount has that is a decimal number."""
    twos = (amount.denominator & -amount.denominator).bit_length() - 1
    fives, rest = 0, amount.denominator >> twos
    while rest > 1:
        rest, fives = rest // 5, fives + 1
    return max(twos, fives)


def _nearest_sixteenths(mm: float) -> int:
    if not math.isfinite(mm):
        raise ValueError(f"mm is {mm}; give a finite length in mm")
    amount = _exact(mm) * 16 / _factor(QuantityKind.LENGTH_MM, "inch")
    nearest = math.floor(abs(amount) + Fraction(1, 2))
    return -nearest if amount < 0 else nearest


def _mixed(amount: Fraction) -> str:
    whole, rest = divmod(amount.numerator, amount.denominator)
    if not rest:
        return str(whole)
    return f"{whole} {rest}/{amount.denominator}" if whole else f"{rest}/{amount.denominator}"


def _decimals(amount: Fraction, digits: int, *, trim: bool, grouped: bool) -> str:
    """Decimal text, ties away from zero, without a minus before zero."""
    scaled = math.floor(abs(amount) * 10**digits + Fraction(1, 2))
    with localcontext(prec=400, rounding=ROUND_HALF_UP):
        number = Decimal(scaled).scaleb(-digits)
        text = f"{number:,.{digits}f}" if grouped else f"{number:.{digits}f}"
    if trim and "." in text:
        text = text.rstrip("0").rstrip(".")
    return f"-{text}" if amount < 0 and scaled else text


# --- for the page ---------------------------------------------------------------------------------------------------


def typing_grammar() -> dict[str, object]:
    """The units of the grammar as plain JSON, for a page that reads what is typed with no request to the server.

    Returns
    -------
    dict
        kinds: for each kind its units (label, name, spelling as a regular expression without case, factor to the stored
        unit as a fraction, what it is taken as), the unit of a bare number and of a bare fraction in each system (empty
        where it is asked back), unit words that only one system knows, how it is shown, words and examples;
        pairs: which smaller unit may follow a larger one, and its limit; longest: characters at most.

    Examples
    --------
    >>> [unit["factor"] for unit in typing_grammar()["kinds"]["mm"]["units"] if unit["label"] == "in"]
    [[127, 5]]
    """

    def told(kind: QuantityKind, unit: _Unit) -> dict[str, object]:
        factor = _factor(kind, unit.pint_name)
        return {
            "label": unit.label,
            "name": unit.pint_name,
            "spelling": unit.spelling,
            "factor": [factor.numerator, factor.denominator],
            "taken_as": unit.taken_as,
        }

    only_us = told(QuantityKind.TONNES, _TON_AS_SHORT) | {
        "system": UnitSystem.US.value,
        "may_be": [_T.label, _SHORT_TON.label],
        "doubt": _TON_IN_DOUBT,
    }
    kinds = {
        kind.value: {
            "units": [told(kind, unit) for unit in _UNITS[kind]],
            "default": {system.value: _shown(kind, system).unit.pint_name for system in UnitSystem},
            "fraction": {system.value: _fraction_unit(kind, system) for system in UnitSystem},
            "only": [only_us] if kind is QuantityKind.TONNES else [],
            "digits": _METRIC[kind].digits,
            "shown": {
                system.value: {"digits": _shown(kind, system).digits, "thousands": _shown(kind, system).thousands}
                for system in UnitSystem
            },
            "stored": _METRIC[kind].unit.label,
            "what": _WHAT[kind][0],
            "examples": _WHAT[kind][1],
        }
        for kind in QuantityKind
    }
    pairs = {larger: {"name": smaller.pint_name, "limit": limit} for larger, (smaller, limit) in _PAIRS.items()}
    return {"kinds": kinds, "pairs": pairs, "longest": LONGEST_TEXT, "vulgar": _VULGAR}
