"""A reason as a person reads it: the text of its rule, with its values in the person's units."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Mapping
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext as _

from plant.calc.reasons import Reason, is_word
from plant.calc.units import QuantityKind, UnitSystem, format_quantity, format_reading, kind_of, unit_label
from plant.calc.wording import figure
from plant.words.moments import day_words

# One text a rule, marked for translation (gettext_lazy). `%(worn_mm)s` stands for the value with its unit and
# `%(worn_mm_number)s` for the number alone, where two numbers share a unit. `%(worn_mm_apart)s` has as many digits as
# it takes to be told from the other numbers of its kind, where the sentence says on which side of them it lies. A rule
# that is asked of several kinds of quantity names its values without their unit: `%(found)s` for found_mm or found_nm.
# A word that a rule names, such as a side, is an entry of the same table under the word's own name; a value that is not
# marked as a word (`plant.calc.reasons.is_word`) was typed, and is never looked up.
# The phone writes the same: inspections/static/inspections/reasons.js.
Texts = Mapping[str, "str | Promise"]
# How values of some names are written where unit and size do not tell: a ratio with two digits, hours without any.
Writers = Mapping[str, Callable[[Any], str]]

# Enough to tell two readings apart that differ at all.
MORE_DIGITS = 6


def sentence(
    reason: Reason, texts: Texts, system: UnitSystem, *, tape: bool = False, writers: Writers | None = None
) -> str:
    """The sentence of a reason, in a person's language and units.

    Parameters
    ----------
    reason : Reason
        With a rule of this table; reasons among its values are put in as their own sentences, several with a space
        between them.
    texts : mapping of str to str
        The topic's table: one text a rule, and one a word that stands among the values.
    system : UnitSystem
        Metric or US customary.
    tape : bool, optional
        Its lengths in mm were read on a tape: inches to the nearest 1/16. Else they are those of an instrument, and
        inches have decimals.
    writers : mapping of str to callable, optional
        By the name of a value: how the topic writes it, with its unit. It is not asked where a value is not known.

    Returns
    -------
    str

    Raises
    ------
    KeyError
        If the table has no text for the rule, or the text names a value that the reason does not bring.
    """
    text = str(texts[reason.rule])
    written: dict[str, Any] = {}
    for name, value in reason.values.items():
        if writers and name in writers and value is not None:
            written[name] = writers[name](value)
            continue
        forms = {"": _written(name, value, texts, system, tape=tape, writers=writers)}
        if "_number)" in text and not isinstance(value, str | tuple | dt.date | Reason):
            forms["_number"] = _number(name, value, system, tape=tape)
        if "_apart)" in text and not isinstance(value, str | tuple | dt.date | Reason):
            forms["_apart"] = _apart(name, reason, system, tape=tape)
        kind = kind_of(name)
        for form, said in forms.items():
            written[f"{name}{form}"] = said
            if kind:
                written.setdefault(f"{name.removesuffix(f'_{kind}')}{form}", said)
    return text % written


def sentences(
    reasons: Iterable[Reason],
    texts: Texts,
    system: UnitSystem,
    *,
    tape: bool = False,
    writers: Writers | None = None,
) -> str:
    """Several reasons one after the other."""
    return " ".join(sentence(each, texts, system, tape=tape, writers=writers) for each in reasons)


def _written(
    name: str, value: Any, texts: Texts, system: UnitSystem, *, tape: bool, writers: Writers | None
) -> str | int:
    if isinstance(value, Reason):
        return sentence(value, texts, system, tape=tape, writers=writers)
    if isinstance(value, tuple):
        return sentences(value, texts, system, tape=tape, writers=writers)
    if is_word(value):
        return str(texts.get(value, value))
    if isinstance(value, str):
        return value  # as somebody typed it, also where it reads like a word of the table
    if value is None:
        return _("not stated")
    if isinstance(value, dt.date):
        return day_words(value)
    kind = kind_of(name)
    number = _number(name, value, system, tape=tape)
    unit = unit_label(kind, system) if kind is not None else ""
    if kind is None:
        return value if isinstance(value, int) else number  # a count may be asked for by %(n)d
    return f"{number} {unit}".strip()


def _apart(name: str, reason: Reason, system: UnitSystem, *, tape: bool) -> str:
    """A number with its unit, and with more digits where it would read like another of its kind that it is not."""
    value: Any = reason.values[name]
    if value is None:
        return _("not stated")
    kind = kind_of(name) or QuantityKind.PLAIN
    number = _number(name, value, system, tape=tape)
    others = [each for other, each in reason.values.items() if kind_of(other) is kind_of(name) and each != value]
    if any(isinstance(each, int | float) and _number(name, each, system, tape=tape) == number for each in others):
        number = format_quantity(value, kind, system, with_unit=False, digits=MORE_DIGITS).rstrip("0").rstrip(".")
    return f"{number} {unit_label(kind, system)}".strip()


def _number(name: str, value: float | None, system: UnitSystem, *, tape: bool) -> str:
    """The number alone; where the units are the stored ones, as exact as a sentence needs it."""
    if value is None:
        return _("not stated")
    kind = kind_of(name) or QuantityKind.PLAIN
    unit = unit_label(kind, system)
    if unit == unit_label(kind, UnitSystem.METRIC):
        return figure(value)
    write = format_quantity if tape and kind is QuantityKind.LENGTH_MM else format_reading
    return write(value, kind, system).removesuffix(f" {unit}")
