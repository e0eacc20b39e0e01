"""Rows behind the figures of a month: what one table is made of, and what became of the rows that an edition keeps.

A published edition keeps its tables (`reports.words.month_tables` makes them). What became of a row since is told by
gathering the same month again and laying both side by side.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.urls import reverse

from plant.models import Conveyor, Incident, Plant
from reports.calc.editions import RowStanding, rows_since
from reports.calc.indicators import IndicatorKey
from reports.selectors.belts import Belt, belts_of
from reports.selectors.month_data import (
    BACK,
    IncidentRow,
    Month,
    MonthData,
    belt_rates,
    figure_of,
    incidents_in,
    month_data,
)
from reports.selectors.rates import BeltRate
from reports.selectors.row_sets import kinds_of, sum_of
from reports.selectors.studies import Study, book_of

MONTHS_SHOWN = 13


def local(at: dt.datetime | None, month: Month) -> str:
    return at.astimezone(month.zone).isoformat(timespec="minutes") if at is not None else ""


def model_of(one: Study) -> str:
    return " + ".join(sorted({each.device.device_model.name for each in one.members}))


def trend_incidents(plant: Plant, month: Month, belts: Iterable[Belt]) -> Sequence[IncidentRow]:
    """Incidents of the thirteen months of the drawing."""
    return incidents_in(plant, Month.between(month.earlier(MONTHS_SHOWN - 1), month), list(belts))


@dataclass(frozen=True, eq=False)
class TableFound:
    """What one table of a month is made of, and nothing else of the month.

    Attributes
    ----------
    key : str
        The figure's, "trend", "belts" or "verdicts"; without which month it stands beside.
    """

    key: str
    month: Month
    data: MonthData | None = None
    incidents: Sequence[IncidentRow] = ()
    belts: Sequence[BeltRate] = ()
    studies: Sequence[Study] = ()


def table_found(plant: Plant, month: Month, key: str) -> TableFound | None:
    """What one table of a month is made of as the book has it now; None for a key that is not known."""
    if key == "verdicts":
        return TableFound(key, month, studies=book_of(plant, month.end).studies)
    if key == "belts":
        return TableFound(key, month, belts=belt_rates(belts_until(plant, month.end), month))
    if key == "trend":
        return TableFound(key, month, incidents=trend_incidents(plant, month, belts_until(plant, month.end)))
    name, suffix = figure_of(key)
    if name not in set(IndicatorKey):
        return None
    data = month_data(plant, month.earlier(BACK[suffix]), belts_until(plant, month.end))
    return TableFound(name, month, data=data)


def belts_until(plant: Plant, moment: dt.datetime) -> list[Belt]:
    """The plant's belts by their tags, with nothing of what came after a moment."""
    every = Conveyor.objects.of_plant(plant).select_related("area", "plant").order_by("tag")
    return [each.as_of(moment) for each in belts_of(every).values()]


# --- what became of them since ----------------------------------------------------------------------------------------
@dataclass(frozen=True)
class RowSince:
    """A kept row and what the book says of it today.

    Attributes
    ----------
    url : str
        What it reads now; empty where that is behind the row's own address.
    """

    standing: RowStanding
    url: str = ""
    is_withdrawn: bool = False

    @property
    def is_as_kept(self) -> bool:
        return self.standing.is_same and not self.url


AS_KEPT = RowSince(RowStanding(is_gone=False))


def since_then(kept: Mapping[str, Any], today: Mapping[str, Any]) -> tuple[list[RowSince], list[tuple[str, list[Any]]]]:
    """What became of each kept row, and the rows that came into the month since."""
    successors = latest_incidents(kept["links"])
    standings, fresh = rows_since(kept, today, {url: latest[0] for url, latest in successors.items()})
    found = [
        RowSince(each, *successors.get(url, ("", False))) for each, url in zip(standings, kept["links"], strict=True)
    ]
    return found, fresh


def latest_incidents(links: Iterable[str]) -> dict[str, tuple[str, bool]]:
    """Of incidents that were corrected: address of the row that counts today, and whether it was withdrawn."""
    address = re.compile(re.escape(reverse("incident-detail", args=[0])).replace("0", r"(\d+)"))
    by_pk = {int(found[1]): url for url in links if (found := address.fullmatch(url))}
    latest = {pk: (pk, False) for pk in by_pk}
    asked = set(by_pk)
    while asked:  # a chain of corrections is as long as people made it, mostly one
        rows = Incident.objects.filter(corrects__in=asked).values_list("corrects_id", "pk", "is_withdrawn")
        following = {old: (new, is_withdrawn) for old, new, is_withdrawn in rows}
        latest = {pk: following.get(known[0], known) for pk, known in latest.items()}
        asked = {new for new, _is_withdrawn in following.values()}
    return {
        by_pk[pk]: (reverse("incident-detail", args=[new]), is_withdrawn)
        for pk, (new, is_withdrawn) in latest.items()
        if new != pk
    }


@dataclass(frozen=True)
class RowPage:
    """A table as the page shows it: what was asked for of it, with what became of the rows since."""

    heads: list[str]
    kinds: list[str]
    rows: list[tuple[str, list[Any], RowSince]]
    fresh: list[tuple[str, list[Any]]]
    sums: list[float | None]
    asked: dict[str, str]

    @property
    def n_changed(self) -> int:
        return sum(not since.is_as_kept for _url, _cells, since in self.rows)


def page_of(kept: Mapping[str, Any], today: Mapping[str, Any] | None, asked: Mapping[str, str]) -> RowPage:
    """What a page shows of a table.

    Parameters
    ----------
    kept : mapping
        The table of the edition.
    today : mapping or None
        The same as the book has it now; None for a draft, which is of this moment.
    asked : mapping of name to word
        Of the page's address; only names of the table's filters are looked at.
    """
    wanted = {name: asked[name] for name in kept.get("filters", {}) if asked.get(name)}
    at = {kept["filters"][name]: word for name, word in wanted.items()}

    def is_wanted(cells: Sequence[Any]) -> bool:
        return all(str(cells[column]) == word for column, word in at.items())

    those, fresh = since_then(kept, today) if today is not None else ([AS_KEPT] * len(kept["rows"]), [])
    rows = [
        (url, list(cells), since)
        for url, cells, since in zip(kept["links"], kept["rows"], those, strict=True)
        if is_wanted(cells)
    ]
    sums = [
        sum_of([cells[column] for _url, cells, _since in rows]) if column in kept.get("sums", ()) else None
        for column in range(len(kept["heads"]))
    ]
    return RowPage(
        heads=list(kept["heads"]),
        kinds=kinds_of(kept),
        rows=rows,
        fresh=[(url, cells) for url, cells in fresh if len(cells) == len(kept["heads"]) and is_wanted(cells)],
        sums=sums if any(each is not None for each in sums) and len(rows) > 1 else [],
        asked=wanted,
    )
