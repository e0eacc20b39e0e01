"""Rows behind the figures of a month: tables of plain values, typed, each row with the address of what it tells of.

A published edition keeps them. What became of a row since is told by gathering the same month again and laying both
side by side.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.urls import reverse
from django.utils.translation import gettext as _

from plant.models import Conveyor, Incident, Plant
from reports.calc.editions import rows_since
from reports.selectors.belts import Belt, belts_of
from reports.selectors.month_data import (
    BACK,
    BEFORE,
    YEAR_AGO,
    IncidentRow,
    Month,
    MonthData,
    belt_rates,
    figure_of,
    incidents_in,
    month_data,
)
from reports.selectors.rates import BeltRate
from reports.selectors.row_sets import DATE, MOMENT, NUMBER, TEXT, Column, RowSet, kinds_of, row_set, sum_of
from reports.selectors.studies import Study, book_of
from reports.words.month_rows import Since, in_words, more_of
from reports.words.verdicts import VERDICT_WORDS, place_of, ratio_words

MONTHS_SHOWN = 13


def local(at: dt.datetime | None, month: Month) -> str:
    return at.astimezone(month.zone).isoformat(timespec="minutes") if at is not None else ""


INCIDENT_SUMS = (5, 6, 7)


# --- one table each ---------------------------------------------------------------------------------------------------
def incident_columns() -> list[Column]:
    return [
        (_("when"), MOMENT),
        (_("belt"), TEXT),
        (_("strand"), TEXT),
        (_("chainage [m]"), NUMBER),
        (_("severity"), TEXT),
        (_("minutes lost"), NUMBER),
        (_("not conveyed [t]"), NUMBER),
        (_("spilled [t]"), NUMBER),
        (_("in the rate"), TEXT),
    ]


def incident_cells(each: IncidentRow, month: Month) -> list[Any]:
    return [
        local(each.at, month) if each.time_is_known else each.at.astimezone(month.zone).date().isoformat(),
        each.belt,
        each.strand,
        each.chainage_m,
        each.severity,
        each.minutes,
        None if each.tonnes is None else round(each.tonnes, 1),
        each.spilled_t,
        each.counted_words,
    ]


def incident_rows(kept: Iterable[IncidentRow], month: Month) -> RowSet:
    rows = [(reverse("incident-detail", args=[each.pk]), incident_cells(each, month)) for each in kept]
    return row_set(incident_columns(), rows, sums=INCIDENT_SUMS, belt=1)


def trend_rows(plant: Plant, month: Month, belts: Iterable[Belt]) -> RowSet:
    """Incidents of the thirteen months of the drawing."""
    first = month.earlier(MONTHS_SHOWN - 1)
    rows = incidents_in(plant, Month.between(first, month), list(belts))
    return row_set(
        [*incident_columns(), (_("month"), TEXT)],
        [
            (
                reverse("incident-detail", args=[each.pk]),
                [*incident_cells(each, month), f"{each.at.astimezone(month.zone):%Y-%m}"],
            )
            for each in rows
        ],
        sums=INCIDENT_SUMS,
        belt=1,
        month=9,
    )


def compliance_rows(data: MonthData) -> RowSet:
    on_time = set(data.compliance.on_time)
    columns = [*task_columns(), (_("in its window"), TEXT)]
    return row_set(
        columns, [task_row(data, pk, _("yes") if pk in on_time else _("no")) for pk in data.compliance.counted]
    )


def overdue_rows(data: MonthData) -> RowSet:
    return row_set(
        [*task_columns(), (_("days late"), NUMBER)], [task_row(data, each.key, each.days) for each in data.late]
    )


def task_columns() -> list[Column]:
    return [
        (_("check"), TEXT),
        (_("belt"), TEXT),
        (_("device"), TEXT),
        (_("window opens"), DATE),
        (_("window closes"), DATE),
        (_("done"), DATE),
        (_("times put off"), NUMBER),
    ]


def task_row(data: MonthData, pk: int, last: Any) -> tuple[str, Sequence[Any]]:
    task, window = data.tasks[pk], data.window_of[pk]
    cells = [str(task.check_kind), task.installation.conveyor.tag, task.installation.device.number]
    cells += [str(window.opens_on), str(window.closes_on), str(window.done_on or "")]
    return reverse("task-detail", args=[pk]), [*cells, task.n_put_off, last]  # type: ignore[attr-defined]


def action_rows(data: MonthData) -> RowSet:
    """Actions closed in the month with their days, and those still open with the days so far."""
    month, rows = data.month, []
    for each in data.actions:
        raised, done = data.day_of(each.raised_at), data.day_of(each.done_at)  # type: ignore[attr-defined]
        took = (done - raised).days if raised and done else None
        still = (month.last - raised).days if raised and done is None else None
        cells = [
            each.title,
            each.installation.conveyor.tag,
            each.installation.device.number,
            str(raised or ""),
            str(each.due_on),
            str(done or ""),
            took,
            still,
            str(each.owner or _("nobody yet")),
        ]
        rows.append((each.get_absolute_url(), cells))
    columns = [(_("action"), TEXT), (_("belt"), TEXT), (_("device"), TEXT), (_("raised"), DATE), (_("due"), DATE)]
    columns += [(_("done"), DATE), (_("days to close"), NUMBER), (_("days open"), NUMBER), (_("owner"), TEXT)]
    return row_set(columns, rows)


def availability_rows(data: MonthData) -> RowSet:
    return row_set(
        [
            (_("belt"), TEXT),
            (_("device"), TEXT),
            (_("days in place"), NUMBER),
            (_("days lost"), NUMBER),
            (_("days not known"), NUMBER),
        ],
        [
            (each.get_absolute_url(), [each.conveyor.tag, each.device.number, *(round(days, 3) for days in spent)])
            for each, *spent in data.places
        ],
        sums=(2, 3, 4),
    )


def cost_rows(data: MonthData) -> RowSet:
    names = {"stop_hours": _("hours lost"), "spilled_t": _("tonnes spilled")}
    return row_set(
        [(_("what"), TEXT), (_("amount"), NUMBER), (_("unit cost"), NUMBER), (_("cost"), NUMBER)],
        [
            ("", [names[name], round(amount, 3), unit, None if cost is None else round(cost, 2)])
            for name, amount, unit, cost in data.cost.parts
        ],
        sums=(3,),
    )


def belt_table(belts: Iterable[Belt], month: Month) -> RowSet:
    return row_set(
        [
            (_("belt"), TEXT),
            (_("incidents"), NUMBER),
            (_("running hours"), NUMBER),
            (_("per 1000 h"), NUMBER),
            (_("low"), NUMBER),
            (_("high"), NUMBER),
        ],
        [
            (each.url, [each.belt.conveyor.tag, each.rate.n, round(each.exposure_h, 1), *rate_cells(each)])
            for each in belt_rates(belts, month)
            if each.belt is not None
        ],
        sums=(1, 2),
        belt=0,
    )


def rate_cells(each: BeltRate) -> list[float | None]:
    known = (each.rate.per_1000_h, each.rate.low, each.rate.high)
    return [None if value is None else round(value, 3) for value in known]


def verdict_rows(studies: Iterable[Study]) -> RowSet:
    return row_set(
        [
            (_("device"), TEXT),
            (_("area"), TEXT),
            (_("model"), TEXT),
            (_("before"), NUMBER),
            (_("hours before"), NUMBER),
            (_("after"), NUMBER),
            (_("hours after"), NUMBER),
            (_("ratio (95 %)"), TEXT),
            (_("verdict"), TEXT),
            (_("more of it"), TEXT),
        ],
        [
            (
                reverse("effect-detail", args=[each.installation.pk]),
                [
                    place_of(each),
                    str(each.conveyor.area),
                    model_of(each),
                    each.before.n,
                    round(each.before.hours),
                    each.after.n,
                    round(each.after.hours),
                    ratio_words(each.ratio),
                    str(VERDICT_WORDS[each.verdict]),
                    more_of(each),
                ],
            )
            for each in studies
        ],
        area=1,
        model=2,
        verdict=8,
    )


def model_of(one: Study) -> str:
    return " + ".join(sorted({each.device.device_model.name for each in one.members}))


# --- all of a month ---------------------------------------------------------------------------------------------------
OF_FIGURE: dict[str, Callable[[MonthData], RowSet]] = {
    "incidents": lambda data: incident_rows(data.incidents, data.month),
    # What was left open stands along: it adds nothing to the sum, and it is what somebody has to fill in.
    "stop_minutes": lambda data: incident_rows(
        (each for each in data.incidents if each.minutes or each.lacks_minutes), data.month
    ),
    "spilled": lambda data: incident_rows(
        (each for each in data.incidents if each.spilled_t or each.lacks_tonnes), data.month
    ),
    "schedule_compliance": compliance_rows,
    "overdue": overdue_rows,
    "days_to_close": action_rows,
    "availability": availability_rows,
    "cost": cost_rows,
}


def rows_behind(
    now: MonthData, before: MonthData, year_ago: MonthData, belts: Sequence[Belt], studies: Sequence[Study]
) -> dict[str, RowSet]:
    """Every table of a month by key: each figure of the three months that stand beside each other, and the rest."""
    found = {
        f"{key}{suffix}": make(data)
        for suffix, data in (("", now), (BEFORE, before), (YEAR_AGO, year_ago))
        for key, make in OF_FIGURE.items()
    }
    return {
        **found,
        "trend": trend_rows(now.plant, now.month, belts),
        "belts": belt_table(belts, now.month),
        "verdicts": verdict_rows(studies),
    }


def rows_today(plant: Plant, month: Month, key: str) -> RowSet | None:
    """One table of a month as the book has it now; None for a key that is not known."""
    if key == "verdicts":
        return verdict_rows(book_of(plant, month.end).studies)
    if key == "belts":
        return belt_table(belts_until(plant, month.end), month)
    if key == "trend":
        return trend_rows(plant, month, belts_until(plant, month.end))
    name, suffix = figure_of(key)
    if name not in OF_FIGURE:
        return None
    return OF_FIGURE[name](month_data(plant, month.earlier(BACK[suffix]), belts_until(plant, month.end)))


def belts_until(plant: Plant, moment: dt.datetime) -> list[Belt]:
    """The plant's belts by their tags, with nothing of what came after a moment."""
    every = Conveyor.objects.of_plant(plant).select_related("area", "plant").order_by("tag")
    return [each.as_of(moment) for each in belts_of(every).values()]


def since_then(kept: Mapping[str, Any], today: Mapping[str, Any]) -> tuple[list[Since], list[tuple[str, list[Any]]]]:
    """What became of each kept row, and the rows that came into the month since."""
    successors = latest_incidents(kept["links"])
    standings, fresh = rows_since(kept, today, {url: latest[0] for url, latest in successors.items()})
    told = [in_words(each, kept, successors.get(url)) for each, url in zip(standings, kept["links"], strict=True)]
    return told, fresh


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
    rows: list[tuple[str, list[Any], Since]]
    fresh: list[tuple[str, list[Any]]]
    sums: list[float | None]
    asked: dict[str, str]

    @property
    def n_changed(self) -> int:
        return sum(bool(since.words) for _url, _cells, since in self.rows)


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

    told, fresh = since_then(kept, today) if today is not None else ([Since("")] * len(kept["rows"]), [])
    rows = [
        (url, list(cells), since)
        for url, cells, since in zip(kept["links"], kept["rows"], told, strict=True)
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
