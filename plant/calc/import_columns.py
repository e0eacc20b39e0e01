"""Which column of a sent file fills which field, by its name or another common name, and in which unit."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from functools import lru_cache
from typing import Any

from plant.calc.import_rows import split_head
from plant.calc.reasons import Reason
from plant.calc.typed_quantities import parse_quantity
from plant.calc.units import QuantityKind, UnitSystem, unit_label


class CellRule(StrEnum):
    """What is wrong with a cell of a file or asked about its columns, and what told a convention."""

    TWO_COLUMNS = "cells.two_columns"
    HEAD = "cells.head"
    HEAD_AND = "cells.head_and"
    BOTH_ORDERS = "cells.both_orders"
    DAY_FIRST = "cells.day_first"
    MONTH_FIRST = "cells.month_first"
    EITHER_ORDER = "cells.either_order"
    BOTH_MARKS = "cells.both_marks"
    DECIMAL_COMMA = "cells.decimal_comma"
    DECIMAL_POINT = "cells.decimal_point"
    EITHER_MARK = "cells.either_mark"
    ALL_MIDNIGHT = "cells.all_midnight"
    EMPTY = "cells.empty"
    PROSE = "cells.prose"
    SPREADSHEET_ERROR = "cells.spreadsheet_error"
    TEXT_TOO_LONG = "cells.text_too_long"
    NOT_WHOLE = "cells.not_whole"
    OUT_OF_BOOK = "cells.out_of_book"
    LOGGER = "cells.logger"
    DATE_FOR_NUMBER = "cells.date_for_number"
    NEGATIVE = "cells.negative"
    OTHER_MARK = "cells.other_mark"
    NO_CHOICE = "cells.no_choice"
    NO_CHOICE_BUT_NEAR = "cells.no_choice_but_near"
    NEITHER_YES_NOR_NO = "cells.neither_yes_nor_no"
    WORD_OR = "cells.word_or"
    ZONE_ELSEWHERE = "cells.zone_elsewhere"
    NO_TIME = "cells.no_time"
    NO_DATE_DAY_FIRST = "cells.no_date_day_first"
    NO_DATE_MONTH_FIRST = "cells.no_date_month_first"
    SHORT_YEAR = "cells.short_year"
    DAY_COUNT = "cells.day_count"
    NO_DATE = "cells.no_date"
    OUT_OF_CALENDAR = "cells.out_of_calendar"
    CAME_TWICE = "cells.came_twice"
    DID_NOT_EXIST = "cells.did_not_exist"


class Mark(StrEnum):
    """A mark that parts decimals or thousands."""

    POINT = "cells.point"
    COMMA = "cells.comma"


class ColumnKind(StrEnum):
    """How the cells of a column are read."""

    TEXT = "text"
    CONVEYOR = "conveyor"  # a tag; the row of the register is looked up by whoever has one
    QUANTITY = "quantity"
    COUNT = "count"
    MOMENT = "moment"
    DAY = "day"
    TIME_OF_DAY = "time_of_day"
    CHOICE = "choice"
    YES_NO = "yes_no"


@dataclass(frozen=True)
class Column:
    """A field that a file may fill.

    `aliases` are other names under which it stands in the heads of files; `choices` are codes with the names that
    people write for them (the code itself is always understood).
    """

    name: str
    label: str
    kind: ColumnKind = ColumnKind.TEXT
    aliases: tuple[str, ...] = ()
    required: bool = False
    quantity: QuantityKind = QuantityKind.PLAIN
    allow_negative: bool = False
    choices: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    help: Any = ""
    example: str = ""
    longest: int = 300
    # Of a moment: the field that keeps whether its time of day is known; a day alone is then enough.
    time_flag: str = ""


@dataclass(frozen=True)
class FileReading:
    """The conventions of one file: what a person chose or the data decided."""

    system: UnitSystem = UnitSystem.METRIC
    units: Mapping[str, str] = field(default_factory=dict)  # field -> unit of bare numbers
    decimal: str = "point"  # point or comma
    date_order: str = "dmy"  # dmy or mdy
    time_zone: str = "UTC"
    plant_zone: str = ""  # whose days are meant where no time of day is written; the time zone's if empty
    doubled: str = "refuse"  # refuse, earlier or later
    midnight: str = "time"  # what 00:00 says: the time, or that only the day is known
    # What the plant's own words stand for, by field and key of the word: a code or a tag; empty where it says nothing.
    words: Mapping[str, Mapping[str, str]] = field(default_factory=dict)


@lru_cache(maxsize=4096)  # the same few words come in every row
def plain_name(text: str) -> str:
    """A column's name without case, marks and spaces: "Belt-width" and "belt_width" are one.

    Parameters
    ----------
    text : str
        A head or an alias.

    Returns
    -------
    str
        Letters and digits only.
    """
    return "".join(c for c in text.casefold() if c.isalnum())


def names_of(column: Column) -> set[str]:
    """All plain names under which a column is known, with the unit of its field too (width_mm).

    Parameters
    ----------
    column : Column
        A field.

    Returns
    -------
    set of str
        Plain names.
    """
    suffix = f"_{column.quantity.value}" if column.quantity.value else ""
    base = column.name.removesuffix(suffix) if suffix else column.name
    names = {plain_name(each) for each in (column.name, base, str(column.label), *column.aliases)}
    if suffix:
        names |= {name + plain_name(suffix) for name in list(names)}
    return names


def match_columns(
    heads: Sequence[str], columns: Sequence[Column]
) -> tuple[dict[str, int], dict[str, str], dict[str, Reason]]:
    """Which column of the file fills which field, with the units that the heads state.

    Parameters
    ----------
    heads : sequence of str
        Names of the file's columns, as `plant.calc.import_rows.column_names` makes them.
    columns : sequence of Column
        Fields.

    Returns
    -------
    tuple of dict, dict, dict
        Field to column (from 0); field to unit; field to a reason where two columns are as good.
    """
    plain = [plain_name(split_head(re.sub(r" \(column [A-Z]+\)$", "", head))[0]) for head in heads]
    matched: dict[str, int] = {}
    units: dict[str, str] = {}
    doubts: dict[str, Reason] = {}
    for column in columns:
        own = [at for at, name in enumerate(plain) if name and name == plain_name(column.name)]
        fits = own or [at for at, name in enumerate(plain) if name in names_of(column)]
        fits = [at for at in fits if at not in matched.values()]
        if len(fits) > 1:
            named = _all_of([heads[at] for at in fits])
            doubts[column.name] = Reason(CellRule.TWO_COLUMNS, {"label": str(column.label), "heads": named})
            continue
        if fits:
            matched[column.name] = fits[0]
            unit = unit_in_head(heads[fits[0]], column)
            if unit:
                units[column.name] = unit
    return matched, units, doubts


def _all_of(heads: Sequence[str]) -> Reason:
    first, *rest = heads
    if not rest:
        return Reason(CellRule.HEAD, {"head": first})
    return Reason(CellRule.HEAD_AND, {"head": first, "rest": _all_of(rest)})


def unit_in_head(head: str, column: Column) -> str:
    """The unit that a head states for a quantity, as in "width [in]" or "width_mm"; empty where it states none.

    Parameters
    ----------
    head : str
        As it stands in the file.
    column : Column
        The field it fills.

    Returns
    -------
    str
        A unit that `plant.calc.typed_quantities.parse_quantity` reads, or an empty text.
    """
    if column.kind is not ColumnKind.QUANTITY:
        return ""
    unit = split_head(head)[1]
    if not unit:
        tail = re.search(
            r"[_ ](mm|cm|m|km|in|inch|inches|ft|feet|kg|lb|lbs|t|h|hours|min|minutes|m_s|fpm|nm|n|deg)$", head
        )
        unit = {"m_s": "m/s"}.get(tail[1].lower(), tail[1]) if tail else ""
    return unit if unit and is_unit_of(unit, column.quantity) else ""


def is_unit_of(unit: str, kind: QuantityKind) -> bool:
    """Whether a unit fits a kind of quantity.

    Parameters
    ----------
    unit : str
        As written.
    kind : QuantityKind
        What is measured.

    Returns
    -------
    bool
        True if a number with this unit is understood.
    """
    try:
        parse_quantity(f"1 {unit}", kind, UnitSystem.US)
        return True
    except ValueError:
        return False


UNITS_OFFERED: dict[QuantityKind, tuple[str, ...]] = {
    QuantityKind.LENGTH_MM: ("mm", "cm", "m", "in", "ft"),
    QuantityKind.DISTANCE_M: ("m", "mm", "km", "ft", "in"),
    QuantityKind.SPEED_M_S: ("m/s", "m/min", "km/h", "ft/min", "ft/s"),
    QuantityKind.TORQUE_NM: ("N·m", "lbf·ft", "lbf·in", "kgf·m"),
    QuantityKind.FORCE_N: ("N", "kN", "lbf", "kgf"),
    QuantityKind.MASS_KG: ("kg", "g", "lb"),
    QuantityKind.TONNES: ("t", "kg", "lb", "short ton"),
    QuantityKind.HOURS: ("h", "min", "s", "d"),
    QuantityKind.MINUTES: ("min", "h", "s"),
    QuantityKind.DEGREES: ("°",),
    QuantityKind.PERCENT: ("%",),
    QuantityKind.PLAIN: (),
}


def default_unit(column: Column, system: UnitSystem) -> str:
    """The unit in which a bare number of a column is read where nobody said another.

    Parameters
    ----------
    column : Column
    system : UnitSystem
        In which the person who sends the file reads and types.
    """
    return unit_label(column.quantity, system)
