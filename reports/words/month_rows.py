"""Rows of a month in words: cells, what a table is of, what became of a row since."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django.utils.formats import date_format, number_format
from django.utils.translation import gettext as _

from reports.selectors.month_data import BACK, BEFORE, YEAR_AGO, Month, figure_of
from reports.selectors.month_rows import RowPage, RowSince
from reports.selectors.row_sets import DATE, MOMENT, NUMBER, typed
from reports.selectors.studies import Study
from reports.words.verdicts import VERDICT_WORDS, chosen_words, limit_words, sound_words, verdict_words


def more_of(one: Study) -> str:
    """What goes with a verdict: hours to go, the limit that decides, while its parts were sound, who set windows."""
    words = verdict_words(one)
    parts = [words if words != str(VERDICT_WORDS[one.verdict]) else "", limit_words(one), chosen_words(one)]
    return " ".join([*("; ".join(each for each in parts if each),), sound_words(one)]).strip()


def about_rows(figures: Iterable[Mapping[str, Any]], key: str, month: Month) -> dict[str, Any]:
    """What the page of a table says first: which figure of which month, its value, its definition."""
    of_figure, suffix = figure_of(key)
    figure = next((each for each in figures if each["key"] == of_figure), None)
    of = month.earlier(BACK[suffix]).name
    if figure is None:
        names = {
            "belts": _("Belts"),
            "verdicts": _("What became of the devices"),
            "trend": _("Incidents of thirteen months"),
        }
        return {"title": f"{names.get(key, key)}, {of}", "figure": None}
    name = {"": "words", BEFORE: "before", YEAR_AGO: "year_ago"}[suffix]
    note = figure["note"] if not suffix else figure.get(f"{name}_note", "")
    return {"title": f"{figure['name']}, {of}", "figure": figure, "words": figure[name], "note": note}


# --- what became of them since ----------------------------------------------------------------------------------------
def since_words(since: RowSince, page: RowPage) -> str:
    """What became of a kept row; empty where it reads the same."""
    if since.is_as_kept:
        return ""
    if since.is_withdrawn:
        return _("withdrawn since")
    if since.standing.is_gone:
        return _("corrected since; no longer a row of this figure") if since.url else _("no longer a row")
    if since.standing.is_same:
        return _("corrected since; reads the same here")
    reads = "; ".join(
        _("%(head)s now %(value)s") % {"head": page.heads[at], "value": cell_words(value, page.kinds[at])}
        for at, value in since.standing.changed
    )
    return f"{_('corrected since')}: {reads}" if since.url else reads


# --- cells ------------------------------------------------------------------------------------------------------------
def columns(page: RowPage) -> list[tuple[str, str]]:
    """Head and kind of each column."""
    return list(zip(page.heads, page.kinds, strict=True))


def cells_of(page: RowPage, cells: Sequence[Any]) -> list[tuple[str, str, str]]:
    """Head, kind and words of each cell of a row."""
    return [
        (head, kind, cell_words(cell, kind)) for head, kind, cell in zip(page.heads, page.kinds, cells, strict=True)
    ]


def kept_day(kept: str) -> str:
    """A day that an edition keeps as 2026-03-24, as the site writes days: 24 Mar 2026."""
    return cell_words(kept, DATE)


def cell_words(value: Any, kind: str) -> str:
    known = typed(value, kind)
    if known is None:
        return "–"
    if kind == MOMENT:
        return date_format(known, "j M Y, H:i")
    if kind == DATE:
        return date_format(known, "j M Y")
    if kind == NUMBER:
        digits = len(f"{known:.3f}".rstrip("0").partition(".")[2])
        # Rounded here: number_format cuts digits off, and a sum of 0.7999999999999999 would read 0.7.
        return number_format(round(known, digits), digits, force_grouping=True)
    return str(known)
