"""Months as they are kept: drafts by themselves, tables of an edition as the book has them now once asked for."""

from __future__ import annotations

import datetime as dt
import json
from typing import Any

from django.utils import timezone

from plant.models import Plant
from plant.selectors.kept import Kept, fresh_of
from plant.services.kept import at_hand, make_kept
from reports.models import MonthlyReport
from reports.selectors.month_data import Month
from reports.selectors.month_rows import table_found
from reports.selectors.months import month_found
from reports.words.month_tables import rows_behind, table_of
from reports.words.months import content_of

MONTH = "month"

# What page, PDF and mail of a month read, and the tables behind its figures.
Composed = tuple[dict[str, Any], dict[str, Any]]


def part_of(first: dt.date, key: str = "") -> str:
    """The name under which a month is kept, or one table of it."""
    return f"{first:%Y-%m}-{key}" if key else f"{first:%Y-%m}"


def compose(plant: Plant, first: dt.date) -> Composed:
    """Content and rows of a month, as plain values.

    Parameters
    ----------
    first : date
        First day of the month.

    Returns
    -------
    content, rows : dict
        `content` is what the page, the PDF and the mail read; `rows` holds the tables behind its figures.
    """
    with timezone.override(plant.zone):
        found = month_found(plant, first)
        return content_of(found), rows_behind(found)


def rows_today(plant: Plant, month: Month, key: str) -> dict[str, Any] | None:
    """One table of a month as the book has it now; None for a key that is not known."""
    found = table_found(plant, month, key)
    return table_of(found) if found is not None else None


# --- what the topic is made of ----------------------------------------------------------------------------------------
def drafts_of(plant: Plant) -> list[str]:
    """Each draft is kept by itself: somebody will comment on it."""
    months = MonthlyReport.objects.of_plant(plant).drafts().order_by("month").values_list("month", flat=True)
    return [part_of(first) for first in months]


def part_from_rows(plant: Plant, now: dt.datetime, part: str) -> Any:
    """A month, or one table of it."""
    first, key = dt.date.fromisoformat(f"{part[:7]}-01"), part[8:]
    return rows_today(plant, Month(first, plant.zone), key) if key else compose(plant, first)


def month_as_text(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False)


def month_from_text(text: str) -> Any:
    return json.loads(text)


# --- for pages and papers ---------------------------------------------------------------------------------------------
def month_at_hand(plant: Plant, first: dt.date) -> Kept:
    """Content and rows of a month for a page, which says of when they are."""
    return at_hand(plant, MONTH, part_of(first))


def table_at_hand(plant: Plant, first: dt.date, key: str) -> Kept:
    """One table of a month as the book has it now, for a page, which says of when it is."""
    return at_hand(plant, MONTH, part_of(first, key))


def true_month(plant: Plant, first: dt.date) -> Composed:
    """Content and rows of a month true to the book, for what is printed, sent or frozen: kept, or made now."""
    now, part = timezone.now(), part_of(first)
    kept = fresh_of(plant, MONTH, part, now, month_from_text) or make_kept(plant, MONTH, [part], now)[part]
    content, rows = kept.value
    return content, rows
