"""Words for readings: as they are shown, when they were taken, what was set, who wants them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from inspections.check_rules.fastener_torque import MARK_ANSWERS
from inspections.check_rules.wanted import Wanted
from inspections.models import (
    Reading,
    Task,
)
from inspections.words.check_rules import answers_of
from plant.calc.units import QuantityKind, UnitSystem, format_reading


def asked_words(task: Task) -> str:
    """Who wants a check that several asked for; one visit's readings answer them all."""
    if not task.asked_too:
        return ""
    wants = [
        _("%(origin)s, due %(on)s") % {"origin": each.get_origin_display(), "on": date_format(each.due_on, "j M Y")}
        for each in (task, *task.asked_too)
    ]
    return _("Wanted %(wants)s. One visit answers all of them.") % {"wants": "; ".join(wants)}


def last_words(each: Wanted, system: UnitSystem) -> str:
    """The last reading as found; a torque never stands without its method, as two methods do not compare."""
    if not each.found_before:
        return ""
    last = each.found_before[0]
    # What is set at each visit says what it was found at; what is only looked at needs no such word.
    words = dated_words(last, each, system, last.get_method_display() if last.method else "")
    return _("found %(reading)s") % {"reading": words} if each.left_last else words


def earlier_words(each: Wanted, system: UnitSystem) -> str:
    """The readings as found before the last one, the latest first; short, as it stands beside a box."""
    return ", ".join(dated_words(row, each, system) for row in each.found_before[1:])


def set_words(each: Wanted, system: UnitSystem) -> str:
    """What was set or fitted the last time, named so: it is not what was found."""
    last = each.left_last
    if last is None:
        return ""
    words = _("set to %(reading)s") if each.quantity == QuantityKind.TORQUE_NM.value else _("left at %(reading)s")
    return words % {"reading": dated_words(last, each, system)}


def dated_words(row: Reading, each: Wanted, system: UnitSystem, method: str = "") -> str:
    said = value_words(row, system, answers_of(each.options))
    on = date_format(timezone.localtime(row.visit.visited_at), "j M Y")
    return _("%(value)s on %(on)s") % {"value": f"{said}, {method}," if method else said, "on": on}


def value_words(row: Reading, system: UnitSystem, answers: Mapping[str, str] | None = None) -> str:
    """A reading as it is shown: with its unit, or its answer."""
    if row.value is None:
        return (answers or {}).get(row.answer, row.answer.replace("_", " "))
    return format_reading(row.value, QuantityKind(row.quantity), system)


def sheet_told(sheet: Mapping[str, Any], system: UnitSystem) -> dict[str, Any]:
    """A visit as `inspections.selectors.visits.visit_sheet` gives it, with its readings as they are shown."""
    checks = [
        {
            **check,
            "lines": [
                {**line, **{stage: line[stage] and reading_told(line[stage], system) for stage in ("found", "left")}}
                for line in check["lines"]
            ],
        }
        for check in sheet["checks"]
    ]
    return {**sheet, "checks": checks}


def reading_told(row: Reading, system: UnitSystem) -> dict[str, Any]:
    """A reading with its words; what was typed for it only where those do not say it."""
    words = value_words(row, system, answers_of(MARK_ANSWERS))
    typed = row.typed if row.typed and row.typed not in words else ""
    return {"row": row, "words": words, "typed": typed, "is_withdrawn": row.is_withdrawn}
