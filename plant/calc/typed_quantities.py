"""Quantities as people type them.

1. **Grammar.** People's text is read by a small grammar of our own: decimals with point or comma, whole numbers with a
   fraction, feet with inches, hours with minutes. Only a number and a known unit ever reach Pint, because Pint reads
   ``51 1/2 in`` as 51 times one half, ``1,5 mm`` as 15 mm and ``75 Nm`` as a number times a metre.
2. **Fractions are inches.** Nobody writes a fraction of a millimetre: a length typed as ``2 3/4`` without a unit is
   inches for everybody, and the echo says so.
3. **Ambiguity is asked back.** A comma before exactly three digits may be a decimal comma or a thousands separator, so
   ``1,308 mm`` is refused with both readings named; `ways_to_read` gives each as a text that means nothing else. A thin
   or no-break space between groups of three digits is the separator of the SI (BIPM, SI Brochure, 9th edition, 5.4.4).

Guarantee: what `plant.calc.box_texts.input_text` writes, `parse_quantity` reads back to the stored value. The page's
script reads by the same grammar (`typing_grammar`); one table of typed texts goes through both.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from plant.calc.reasons import NotAccepted, Reason, Word
from plant.calc.units import (
    FOOT,
    INCH,
    METRE,
    METRIC,
    MINUTE,
    SHORT_TON,
    TON_AS_SHORT,
    TONNE,
    UNITS,
    QuantityKind,
    Unit,
    UnitSystem,
    decimal_text,
    factor_of,
    format_quantity,
    shown_in,
    spelling_of,
    with_label,
)

LONGEST_TEXT = 60


class TypingRule(StrEnum):
    """Why a typed quantity is not read, and what is said of one that is."""

    NOTHING = "typing.nothing"
    NOT_UNDERSTOOD = "typing.not_understood"
    EMPTY = "typing.empty"
    TOO_LONG = "typing.too_long"
    TOO_LARGE = "typing.too_large"
    NEGATIVE = "typing.negative"
    HOLDS_NO_NUMBER = "typing.holds_no_number"
    MORE_PARTS = "typing.more_parts"
    MIXED_UNITS = "typing.mixed_units"
    WHOLE_FIRST = "typing.whole_first"
    SMALL_TOO_LARGE = "typing.small_too_large"
    NUMBER_EXPECTED = "typing.number_expected"
    MORE_NUMBERS = "typing.more_numbers"
    MORE_FRACTIONS = "typing.more_fractions"
    BEFORE_SLASH = "typing.before_slash"
    AFTER_SLASH = "typing.after_slash"
    BY_ZERO = "typing.by_zero"
    NO_MIXED_NUMBER = "typing.no_mixed_number"
    NO_NUMBER = "typing.no_number"
    OTHER_KIND = "typing.other_kind"
    UNKNOWN_UNIT = "typing.unknown_unit"
    MAY_MEAN_UNITS = "typing.may_mean_units"
    MAY_MEAN_NUMBERS = "typing.may_mean_numbers"
    MAY_BE_A_TON = "typing.may_be_a_ton"
    FRACTION_IN_INCHES = "typing.fraction_in_inches"
    TAKEN_AS = "typing.taken_as"
    SHORT_TON = "typing.short_ton"


def kind_word(form: str, kind: QuantityKind) -> Word:
    """The word under which a text names a kind of quantity.

    Parameters
    ----------
    form : {"what", "of", "examples"}
        "a length", "length", or some that people may type.
    kind : QuantityKind
        What is measured.

    Returns
    -------
    Word
    """
    return Word(f"typing.{form}.{kind.value}")


@dataclass(frozen=True)
class Understood:
    """A typed quantity: its value in the stored unit, as it is shown, the text, and what is said of it."""

    value: float
    shown: str
    typed: str
    notes: tuple[Reason, ...] = ()


@dataclass(frozen=True)
class Way:
    """One way to read a typed quantity: a text that means nothing else, its value in the stored unit, and as shown."""

    text: str
    value: float
    shown: str
    notes: tuple[Reason, ...] = ()


class Unclear(NotAccepted):
    """A text that may mean several quantities; `ways` are those that it may mean."""

    def __init__(self, reason: Reason, ways: tuple[Way, ...]) -> None:
        super().__init__(reason)
        self.ways = ways


# The smaller unit may follow the larger one when it stays below one of it: 4' 3", 1 h 30 min.
PAIRS: dict[str, tuple[Unit, int]] = {"foot": (INCH, 12), "hour": (MINUTE, 60)}
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
        value [stored unit of the kind]; shown, "= 68.3 mm" where another unit than the stored one was meant; typed;
        notes, what it was taken as.

    Raises
    ------
    Unclear
        If it may mean several quantities.
    NotAccepted
        If a part is not understood, is a unit of something else, is negative where that is not allowed, or is not
        finite. The reason names that part.

    References
    ----------
    NIST Special Publication 811 (2008), Appendix B, for the factors; BIPM, The International System of Units, 9th
    edition (2019), 5.4.4, for the space between groups of digits. The grammar is our own.

    Examples
    --------
    >>> parse_quantity("2 11/16", QuantityKind.LENGTH_MM, UnitSystem.US)
    Understood(value=68.2625, shown='= 68.3 mm', typed='2 11/16', notes=())
    >>> taken = parse_quantity("75 ft-lb", QuantityKind.TORQUE_NM, UnitSystem.METRIC)
    >>> taken.shown, dict(taken.notes[0].values)
    ('= 101.7 N·m', {'spelt': 'lb·ft', 'unit': 'lbf·ft'})
    """
    kind, system = QuantityKind(kind), UnitSystem(system)
    if len(text) > LONGEST_TEXT:
        problem = Reason(TypingRule.TOO_LONG, {"length": len(text), "most": LONGEST_TEXT})
        raise NotAccepted(_refusal(text[:20] + " ...", kind, problem))
    tokens = _tokens(text)
    try:
        amount, units, notes = _read(tokens, kind, system)
        value = float(amount)
    except OverflowError:
        raise NotAccepted(_refusal(text, kind, Reason(TypingRule.TOO_LARGE))) from None
    except _Doubtful as doubt:
        ways = _ways(doubt.texts_of(tokens), kind, system, allow_negative)
        raise Unclear(_refusal(text, kind, doubt.reason), ways) from None
    except _NotUnderstood as problem:
        raise NotAccepted(_refusal(text, kind, problem.reason)) from None
    if value < 0 and not allow_negative:
        raise NotAccepted(_refusal(text, kind, Reason(TypingRule.NEGATIVE)))
    if units == (METRIC[kind].unit,):
        # Nothing was converted, so nothing is rounded: 0.0004 mm must not be echoed as 0 mm.
        shown = with_label(decimal_text(amount, 9, trim=True, grouped=False), units[0])
    else:
        shown = f"= {format_quantity(value, kind, UnitSystem.METRIC)}"
    return Understood(value, shown, text, tuple(notes))


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
    >>> [way.shown for way in ways_to_read("2 3/4", QuantityKind.LENGTH_MM, UnitSystem.METRIC)]
    ['2 3/4 in = 69.9 mm', '2.75 mm']
    >>> [way.shown for way in ways_to_read("1,308 mm", QuantityKind.LENGTH_MM, UnitSystem.US)]
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
    units = dict.fromkeys([own, *(shown_in(kind, each).unit for each in (system, *UnitSystem))])
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
        is_converted = read.shown.startswith("=")
        shown, notes = (f"{written} {read.shown}", read.notes) if is_converted else (written, ())
        ways.append(Way(written, read.value, shown, notes))
    return tuple(ways)


class _NotUnderstood(NotAccepted):
    """The part of the text that the grammar could not read."""

    def __init__(self, rule: TypingRule, **values: str | int) -> None:
        super().__init__(Reason(rule, values))


class _Doubtful(_NotUnderstood):
    """The part of the text that may mean several things: some tokens, and what each reading puts in their place."""

    def __init__(self, rule: TypingRule, tokens: Sequence[str], readings: Sequence[str], /, **values: str) -> None:
        super().__init__(rule, **values)
        self.tokens, self.readings = list(tokens), readings

    def texts_of(self, tokens: list[str]) -> list[str]:
        n = len(self.tokens)
        at = next(k for k in range(len(tokens)) if tokens[k : k + n] == self.tokens)
        return [_joined([*tokens[:at], each, *tokens[at + n :]]) for each in self.readings]


def _refusal(text: str, kind: QuantityKind, problem: Reason) -> Reason:
    words = {form: kind_word(form, kind) for form in ("what", "examples")}
    if not text.strip():
        return Reason(TypingRule.NOTHING, words)
    return Reason(TypingRule.NOT_UNDERSTOOD, {**words, "text": text.strip(), "problem": problem})


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


def _with_written(tokens: Sequence[str], part: _Part, unit: Unit) -> str:
    """A bare number with a unit; a fraction becomes a short decimal number where nobody reads fractions."""
    if part.is_fraction and unit not in (INCH, FOOT) and 10**9 % part.number.denominator == 0:
        sign = "-" if tokens[0] == "-" else ""
        return f"{sign}{decimal_text(part.number, 9, trim=True, grouped=False)} {unit.label}".strip()
    return f"{_joined(tokens)} {unit.label}".strip()


def _is_number(token: str) -> bool:
    return re.fullmatch(_NUMBER, token) is not None


@dataclass(frozen=True)
class _Part:
    """A number and the unit that follows it, if one does."""

    number: Fraction
    unit: Unit | None
    tokens: tuple[str, ...]

    @property
    def is_fraction(self) -> bool:
        return "/" in self.tokens


def _bare_unit(part: _Part, kind: QuantityKind, system: UnitSystem) -> Unit:
    """The unit of a number that is typed without one."""
    if part.is_fraction and kind is QuantityKind.LENGTH_MM:
        return INCH
    return shown_in(kind, system).unit


def _fraction_unit(kind: QuantityKind, system: UnitSystem) -> str:
    """The unit of a bare fraction by its name; empty where it is asked back."""
    own = _bare_unit(_Part(Fraction(1, 2), None, ("1", "/", "2")), kind, system)
    return "" if own is METRE else own.pint_name


def _read(tokens: list[str], kind: QuantityKind, system: UnitSystem) -> tuple[Fraction, tuple[Unit, ...], list[Reason]]:
    """Amount in the stored unit, the units meant, and readings worth saying aloud."""
    if not tokens:
        raise _NotUnderstood(TypingRule.EMPTY)
    sign = -1 if tokens[0] == "-" else 1
    tokens = _unsigned(tokens)
    if not any(_is_number(t) for t in tokens):
        raise _NotUnderstood(TypingRule.HOLDS_NO_NUMBER, part=" ".join(tokens))
    parts = _parts(tokens, kind, system)
    if len(parts) > 2:
        raise _NotUnderstood(TypingRule.MORE_PARTS)
    first = parts[0].number
    notes: list[Reason] = []
    unit = parts[0].unit
    if unit is None:
        unit = _bare_unit(parts[0], kind, system)
        if parts[0].is_fraction and unit is METRE:
            # Feet are likelier than metres, and half a metre is possible.
            shown = _joined(parts[0].tokens)
            readings = [f"{decimal_text(first, 9, trim=True, grouped=False)} m", f"{shown} ft"]
            raise _Doubtful(
                TypingRule.MAY_MEAN_UNITS, parts[0].tokens, readings, part=shown, one=readings[0], other=readings[1]
            )
        if unit is not shown_in(kind, system).unit:
            notes.append(Reason(TypingRule.FRACTION_IN_INCHES))
    amount = first * factor_of(kind, unit.pint_name)
    units: tuple[Unit, ...] = (unit,)
    if len(parts) == 2:
        rest, rest_unit = parts[1].number, parts[1].unit
        small, limit = PAIRS.get(unit.pint_name, (None, 0))
        if parts[0].unit is None or small is None or (rest_unit or small).pint_name != small.pint_name:
            raise _NotUnderstood(TypingRule.MIXED_UNITS)
        if first.denominator != 1:
            raise _NotUnderstood(TypingRule.WHOLE_FIRST, unit=unit.label, small=small.label)
        if rest >= limit:
            raise _NotUnderstood(TypingRule.SMALL_TOO_LARGE, unit=unit.label, small=small.label, limit=limit)
        amount += rest * factor_of(kind, small.pint_name)
        units = (unit, small)
    return sign * amount, units, [*notes, *(_note_of(each) for each in units if each.spelt)]


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
            raise _NotUnderstood(TypingRule.NUMBER_EXPECTED, part=token)
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
        if _SPACED.fullmatch(shown):
            raise _Doubtful(TypingRule.MORE_NUMBERS, tokens, ["".join(tokens)], part=shown)
        raise _NotUnderstood(TypingRule.MORE_NUMBERS, part=shown)
    if n_slashes > 1:
        raise _NotUnderstood(TypingRule.MORE_FRACTIONS, part=shown)
    at = tokens.index("/")
    above, below = tokens[at - 1 : at], tokens[at + 1 :]
    if at == 0 or not above[0].isdigit():
        raise _NotUnderstood(TypingRule.BEFORE_SLASH, part=shown)
    if len(below) != 1 or not below[0].isdigit():
        raise _NotUnderstood(TypingRule.AFTER_SLASH, part=shown)
    if int(below[0]) == 0:
        raise _NotUnderstood(TypingRule.BY_ZERO, part=shown)
    whole = [t for t in tokens[: at - 1] if t != "-"]
    if len(whole) > 1 or tokens[: at - 1].count("-") > 1 or (whole and not whole[0].isdigit()):
        raise _NotUnderstood(TypingRule.NO_MIXED_NUMBER, part=shown)
    return Fraction(int(whole[0]) if whole else 0) + Fraction(int(above[0]), int(below[0]))


def _decimal(token: str) -> Fraction:
    if _PLAIN_NUMBER.fullmatch(token):
        return Fraction(token.rstrip("."))
    if _COMMA_THREE.fullmatch(token):
        readings = [token.replace(",", ""), token.replace(",", ".")]
        raise _Doubtful(TypingRule.MAY_MEAN_NUMBERS, [token], readings, part=token, one=readings[0], other=readings[1])
    if _COMMA_THOUSANDS.fullmatch(token):
        return Fraction(token.replace(",", ""))
    if _POINT_THOUSANDS.fullmatch(token):
        return Fraction(token.replace(".", "").replace(",", "."))
    if _COMMA_DECIMAL.fullmatch(token):
        return Fraction(token.replace(",", "."))
    raise _NotUnderstood(TypingRule.NO_NUMBER, part=token)


def _unit(word: str, kind: QuantityKind, system: UnitSystem) -> Unit:
    spelt = word.removeprefix("-").strip().removesuffix(".").strip()
    for unit in UNITS[kind]:
        if spelling_of(unit).fullmatch(spelt):
            return unit
    if kind is QuantityKind.TONNES and spelling_of(TON_AS_SHORT).fullmatch(spelt):
        if system is UnitSystem.US:
            return TON_AS_SHORT
        raise _Doubtful(TypingRule.MAY_BE_A_TON, [word], [TONNE.label, SHORT_TON.label], part=word)
    if any(spelling_of(unit).fullmatch(spelt) for units in UNITS.values() for unit in units):
        raise _NotUnderstood(TypingRule.OTHER_KIND, part=word, of=kind_word("of", kind))
    raise _NotUnderstood(TypingRule.UNKNOWN_UNIT, part=word)


def _note_of(unit: Unit) -> Reason:
    """What is said of a unit that is taken as another."""
    rule = TypingRule.SHORT_TON if unit is TON_AS_SHORT else TypingRule.TAKEN_AS
    return Reason(rule, {"spelt": unit.spelt, "unit": unit.label})


def typing_grammar() -> dict[str, object]:
    """The units of the grammar as plain JSON, for a page that reads what is typed with no request to the server.

    Returns
    -------
    dict
        kinds: for each kind its units (label, name, spelling as a regular expression without case, factor to the stored
        unit as a fraction, what stands there if it is taken as another, and the rule that says so), the unit of a bare
        number and of a bare fraction in each system (empty where it is asked back), unit words that only one system
        knows, how it is shown; pairs: which smaller unit may follow a larger one, and its limit; longest: characters at
        most.

    Examples
    --------
    >>> [unit["factor"] for unit in typing_grammar()["kinds"]["mm"]["units"] if unit["label"] == "in"]
    [[127, 5]]
    """

    def told(kind: QuantityKind, unit: Unit) -> dict[str, object]:
        factor = factor_of(kind, unit.pint_name)
        return {
            "label": unit.label,
            "name": unit.pint_name,
            "spelling": unit.spelling,
            "factor": [factor.numerator, factor.denominator],
            "spelt": unit.spelt,
            "note": str(_note_of(unit).rule) if unit.spelt else "",
        }

    only_us = told(QuantityKind.TONNES, TON_AS_SHORT) | {
        "system": UnitSystem.US.value,
        "may_be": [TONNE.label, SHORT_TON.label],
    }
    kinds = {
        kind.value: {
            "units": [told(kind, unit) for unit in UNITS[kind]],
            "default": {system.value: shown_in(kind, system).unit.pint_name for system in UnitSystem},
            "fraction": {system.value: _fraction_unit(kind, system) for system in UnitSystem},
            "only": [only_us] if kind is QuantityKind.TONNES else [],
            "digits": METRIC[kind].digits,
            "shown": {
                system.value: {"digits": shown_in(kind, system).digits, "thousands": shown_in(kind, system).thousands}
                for system in UnitSystem
            },
            "stored": METRIC[kind].unit.label,
        }
        for kind in QuantityKind
    }
    pairs = {larger: {"name": smaller.pint_name, "limit": limit} for larger, (smaller, limit) in PAIRS.items()}
    return {"kinds": kinds, "pairs": pairs, "longest": LONGEST_TEXT, "vulgar": _VULGAR}
