"""Words for torque tools: whether their calibration is in date."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from inspections.selectors.tools import ToolAtHand


def calibration_words(due: date | None, on: date) -> str:
    """What a calibration that is due on a day (None: none is in the book) says of a tool on a day."""
    if due is None:
        return _("no calibration is in the book")
    words = {"on": date_format(due, "j M Y")}
    return (_("out of calibration since %(on)s") if due < on else _("in date to %(on)s")) % words


def tools_told(tools: Iterable[ToolAtHand]) -> list[dict[str, Any]]:
    """The torque wrenches as the pages choose from them, with what speaks against each."""
    told = []
    for each in tools:
        due, state = each.tool.calibration_due_on, calibration_words(each.tool.calibration_due_on, each.on)
        told.append(
            {
                "id": each.tool.pk,
                "name": str(each.tool),
                "number": each.tool.number,
                "deviation_pct": each.deviation_pct,
                "due_on": due.isoformat() if due else "",
                "state": state,
                "doubt": state if each.is_in_doubt else "",
            }
        )
    return told
