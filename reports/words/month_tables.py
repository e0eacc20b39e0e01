"""Tables of a month: the rows behind its figures with their heads and cells in words, as an edition keeps them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any

from django.urls import reverse
from django.utils.translation import gettext as _

from reports.calc.indicators import IndicatorKey
from reports.selectors.month_data import BEFORE, YEAR_AGO, IncidentRow, Month, MonthData
from reports.selectors.month_rows import TableFound, local, model_of
from reports.selectors.months import MonthFound
from reports.selectors.rates import BeltRate
from reports.selectors.row_sets import DATE, MOMENT, NUMBER, TEXT, Column, RowSet, row_set
from reports.selectors.studies import Study
from reports.words.month_rows import more_of
from reports.words.verdicts import VERDICT_WORDS, place_of, ratio_words

INCIDENT_SUMS = (5, 6, 7)


def in_rate_words(each: IncidentRow) -> str:
    """yes; no: hours not known"""
    if each.is_retired:
        return _("no: belt is out of use")
    return _("yes") if each.is_covered else _("no: hours not known")


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
        in_rate_words(each),
    ]


def incident_rows(kept: Iterable[IncidentRow], month: Month) -> RowSet:
    rows = [(reverse("incident-detail", args=[each.pk]), incident_cells(each, month)) for each in kept]
    return row_set(incident_columns(), rows, sums=INCIDENT_SUMS, belt=1)


def trend_rows(rows: Iterable[IncidentRow], month: Month) -> RowSet:
    """Incidents of the thirteen months of the drawing."""
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


def belt_table(rates: Iterable[BeltRate]) -> RowSet:
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
            for each in rates
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


# --- all of a month ---------------------------------------------------------------------------------------------------
OF_FIGURE: dict[IndicatorKey, Callable[[MonthData], RowSet]] = {
    IndicatorKey.INCIDENTS: lambda data: incident_rows(data.incidents, data.month),
    # What was left open stands along: it adds nothing to the sum, and it is what somebody has to fill in.
    IndicatorKey.STOP_MINUTES: lambda data: incident_rows(
        (each for each in data.incidents if each.minutes or each.lacks_minutes), data.month
    ),
    IndicatorKey.SPILLED: lambda data: incident_rows(
        (each for each in data.incidents if each.spilled_t or each.lacks_tonnes), data.month
    ),
    IndicatorKey.SCHEDULE_COMPLIANCE: compliance_rows,
    IndicatorKey.OVERDUE: overdue_rows,
    IndicatorKey.DAYS_TO_CLOSE: action_rows,
    IndicatorKey.AVAILABILITY: availability_rows,
    IndicatorKey.COST: cost_rows,
}


def rows_behind(found: MonthFound) -> dict[str, RowSet]:
    """Every table of a month by key: each figure of the three months that stand beside each other, and the rest."""
    of_figures = {
        f"{key}{suffix}": make(data)
        for suffix, data in (("", found.now), (BEFORE, found.before), (YEAR_AGO, found.year_ago))
        for key, make in OF_FIGURE.items()
    }
    return {
        **of_figures,
        "trend": trend_rows(found.trend_incidents, found.month),
        "belts": belt_table(found.belts),
        "verdicts": verdict_rows(found.book.studies),
    }


def table_of(found: TableFound) -> RowSet:
    """One table of a month."""
    if found.data is not None:
        return OF_FIGURE[IndicatorKey(found.key)](found.data)
    if found.key == "trend":
        return trend_rows(found.incidents, found.month)
    return belt_table(found.belts) if found.key == "belts" else verdict_rows(found.studies)
