"""What one month of a plant held: incidents, windows of checks, actions, devices in place, cost.

Everything is as it stood at the end of the month, so that a month can be gathered again later.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from dateutil.relativedelta import relativedelta
from django.db.models import Count, Min, Q
from django.db.models.functions import Coalesce, Least
from django.utils.formats import date_format

from inspections.models import Action, CouldNotDo, Deferral, Task
from installs.models import Installation, OutOfService
from plant.models import Incident, Person, Plant
from reports.calc.indicators import (
    Closing,
    Compliance,
    Cost,
    Late,
    TaskWindow,
    availability,
    cost_of,
    days_to_close,
    overdue_on,
    schedule_compliance,
)
from reports.calc.study_windows import Window
from reports.selectors.belts import Belt, are_covered, span_of
from reports.selectors.rates import BeltRate, belt_rate, plant_rate

# Added to the key of a figure: the same one month and twelve months earlier.
BEFORE, YEAR_AGO = "-before", "-year-ago"
# How many months back the rows behind a figure lie, by what is added to its key.
BACK = {"": 0, BEFORE: 1, YEAR_AGO: 12}


def figure_of(key: str) -> tuple[str, str]:
    """Of the key of a table: the figure's own key, and what was added for the month that it is of."""
    suffix = next((each for each in (BEFORE, YEAR_AGO) if key.endswith(each)), "")
    return key.removesuffix(suffix), suffix


@dataclass(frozen=True)
class Month:
    """A calendar month in the plant's clock."""

    first: dt.date
    zone: dt.tzinfo

    @property
    def last(self) -> dt.date:
        return self.first + relativedelta(months=1, days=-1)

    @property
    def start(self) -> dt.datetime:
        return start_of(self.first, self.zone)

    @property
    def end(self) -> dt.datetime:
        return start_of(self.first + relativedelta(months=1), self.zone)

    @property
    def window(self) -> Window:
        return Window(self.start, self.end)

    @property
    def name(self) -> str:
        return date_format(self.first, "F Y")

    def earlier(self, months: int) -> Month:
        return Month(self.first - relativedelta(months=months), self.zone)

    @staticmethod
    def between(first: Month, last: Month) -> Window:
        """From the start of one month to the end of another."""
        return Window(first.start, last.end)


@dataclass(frozen=True)
class MonthSoFar(Month):
    """The month that runs: up to a moment, with that day as its last."""

    now: dt.datetime

    @property
    def last(self) -> dt.date:
        return self.now.astimezone(self.zone).date()

    @property
    def end(self) -> dt.datetime:
        return self.now


def month_of(at: dt.datetime, zone: dt.tzinfo) -> Month:
    """The month in which a moment lies."""
    return Month(at.astimezone(zone).date().replace(day=1), zone)


def start_of(day: dt.date, zone: dt.tzinfo) -> dt.datetime:
    return dt.datetime(day.year, day.month, day.day, tzinfo=zone).astimezone(dt.UTC)


@dataclass(frozen=True)
class IncidentRow:
    """An incident that counts, and whether it is in the rate: only at a time whose running hours are known."""

    pk: int
    at: dt.datetime
    belt: str
    tonnes_per_hour: float | None
    strand: str
    chainage_m: float | None
    severity: str
    minutes: float | None
    spilled_t: float | None
    is_retired: bool
    is_covered: bool
    time_is_known: bool = True

    @property
    def is_in_rate(self) -> bool:
        return self.is_covered and not self.is_retired

    @property
    def tonnes(self) -> float | None:
        """Not conveyed; None where the minutes or the usual tonnage are not known."""
        if not self.minutes or self.tonnes_per_hour is None:
            return None
        return self.minutes / 60 * self.tonnes_per_hour

    @property
    def lacks_minutes(self) -> bool:
        return self.severity == Incident.Severity.TRIP and self.minutes is None

    @property
    def lacks_tonnes(self) -> bool:
        return self.severity == Incident.Severity.SPILL and self.spilled_t is None


def incidents_in(plant: Plant, window: Window, belts: Sequence[Belt]) -> list[IncidentRow]:
    """Incidents of a window of whole months; a belt is out of use where it was so as the incident's month ended."""
    rows = list(
        Incident.objects.of_plant(plant)
        .current()
        .between(window.start, window.end)
        .select_related("conveyor")
        .order_by("happened_at", "pk")
    )
    at = defaultdict(list)
    for each in rows:
        at[each.conveyor_id].append(each)
    belt_at = {belt.conveyor.pk: belt for belt in belts}
    covered: dict[int, bool] = {}
    for conveyor, those in at.items():
        spans = [span_of(each.happened_at, each.time_is_known, each.created_at, plant.zone) for each in those]
        known = are_covered(spans, belt_at[conveyor].ledger)
        covered |= {each.pk: bool(is_known) for each, is_known in zip(those, known, strict=True)}
    return [
        IncidentRow(
            pk=each.pk,
            at=each.happened_at,
            belt=each.conveyor.tag,
            tonnes_per_hour=each.conveyor.usual_tonnes_per_hour,
            strand=each.strand,
            chainage_m=each.chainage_m,
            severity=each.severity,
            minutes=each.minutes_lost,
            spilled_t=each.spilled_t,
            is_retired=not belt_at[each.conveyor_id].is_used_until(
                min(window.end, month_of(each.happened_at, plant.zone).end)
            ),
            is_covered=covered[each.pk],
            time_is_known=each.time_is_known,
        )
        for each in rows
    ]


def belt_rates(belts: Iterable[Belt], month: Month) -> list[BeltRate]:
    """Belts in use, the highest rate first."""
    rates = [belt_rate(each, month.window) for each in belts if each.is_used_until(month.end)]
    return sorted(rates, key=lambda each: (-(each.rate.per_1000_h or 0.0), each.belt.conveyor.tag if each.belt else ""))


def windows_of_tasks(plant: Plant, month: Month) -> tuple[list[TaskWindow], dict[int, Task]]:
    """Windows as they stood at the end of the month: what was put off later had not been put off then.

    Dates decide and not when a row was made: a check that came into the book late was due all the same.
    """
    put_off_later = dict(
        Deferral.objects.current()
        .filter(task__plant=plant, created_at__gte=month.end)
        .values_list("task_id")
        .annotate(first=Min("closes_on_before"))
    )
    tasks = list(
        Task.objects.of_plant(plant)
        .filter(Q(closes_on__lte=month.last) | Q(pk__in=put_off_later))
        .filter(Q(closes_on__gte=month.first) | Q(closed_at__isnull=True) | Q(closed_at__gte=month.start))
        .select_related("check_kind", "installation__conveyor", "installation__device")
        .annotate(
            n_put_off=Count(
                "deferrals",
                filter=Q(
                    deferrals__created_at__lt=month.end,
                    deferrals__corrected_by__isnull=True,
                    deferrals__is_withdrawn=False,
                ),
            )
        )
        .order_by("closes_on", "pk")
    )
    not_safe = dict(
        CouldNotDo.objects.current()
        .filter(task__in=[each.pk for each in tasks], reason=CouldNotDo.Obstacle.NOT_SAFE, tried_at__lt=month.end)
        .values_list("task_id")
        .annotate(first=Min("tried_at"))
    )

    def day_of(at: dt.datetime | None) -> dt.date | None:
        return at.astimezone(month.zone).date() if at is not None and at < month.end else None

    windows = []
    for each in tasks:
        closes_on = put_off_later.get(each.pk, each.closes_on)
        done = day_of(each.closed_at) if each.outcome == Task.Outcome.DONE else None
        withdrawn = day_of(each.closed_at) if each.outcome == Task.Outcome.WITHDRAWN else None
        tried = day_of(not_safe.get(each.pk))
        if tried is not None and tried <= closes_on and (done is None or done > closes_on):
            withdrawn = withdrawn or closes_on  # tried in time and not safe to do: never counted against anybody
        windows.append(TaskWindow(each.pk, each.opens_on, closes_on, done, withdrawn))
    return windows, {each.pk: each for each in tasks}


def act_spells(installations: Iterable[Installation], until: dt.datetime) -> dict[int, list[tuple[Any, Any]]]:
    """Spells in which a check stood at act, until the same check was found better or its action was done."""
    ended_by_action = dict(
        Action.objects.filter(installation__in=installations, done_at__isnull=False, visit__isnull=False)
        .values_list("visit_id")
        .annotate(done=Min("done_at"))
    )
    rows = (
        Task.objects.done()
        .filter(installation__in=installations, closed_at__lt=until)
        .order_by("installation_id", "check_kind_id", "closed_at")
        .values_list("installation_id", "check_kind_id", "closed_at", "grade", "visit_id")
    )
    spells: dict[int, list[tuple[Any, Any]]] = {}
    began: dict[tuple[int, int], tuple[Any, int | None]] = {}
    at: Any  # a task that is done has its moment
    for installation, kind, at, grade, visit in rows:
        key = (installation, kind)
        if key in began and grade != "act":
            since, of_visit = began.pop(key)
            spells.setdefault(installation, []).append((since, min(at, ended_by_action.get(of_visit, at))))
        elif grade == "act" and key not in began:
            began[key] = (at, visit)
    for (installation, _kind), (since, of_visit) in began.items():
        spells.setdefault(installation, []).append((since, ended_by_action.get(of_visit, until)))
    return {pk: [(low, high) for low, high in each if low < high] for pk, each in spells.items()}


def first_checks(installations: Iterable[Installation], until: dt.datetime) -> dict[int, dt.datetime]:
    """When the first check with a grade was done at each device in its place; none where it was never checked."""
    rows = Task.objects.done().filter(installation__in=installations, closed_at__lt=until).exclude(grade="")
    return dict(
        rows.order_by()
        .values_list("installation_id")
        .annotate(first=Min(Coalesce("visit__visited_at", "closed_at")))
        .values_list("installation_id", "first")
    )


def put_off_out_of(plant: Plant, month: Month) -> int:
    """Checks that were put off, by the end of the month, from a window that closed in it to one that closes later."""
    rows = Deferral.objects.current().filter(task__plant=plant, created_at__lt=month.end)
    in_month = rows.filter(closes_on_before__gte=month.first, closes_on_before__lte=month.last)
    return in_month.filter(closes_on__gt=month.last).values("task_id").distinct().count()


@dataclass(frozen=True)
class MonthData:
    """What one month held; three of them make a report (the month, the one before, the same a year ago)."""

    plant: Plant
    month: Month
    rate: BeltRate
    incidents: list[IncidentRow]
    compliance: Compliance
    late: tuple[Late, ...]
    tasks: dict[int, Task]
    windows: list[TaskWindow]
    closing: Closing
    actions: list[Action]
    availability: Any
    places: list[tuple[Installation, float, float, float]]  # days in place, lost, not known
    n_put_off_out: int  # checks whose window closed in the month until they were put off to a later one
    cost: Cost

    @property
    def minutes(self) -> float:
        return sum(each.minutes or 0.0 for each in self.incidents)

    @property
    def spilled_t(self) -> float:
        return sum(each.spilled_t or 0.0 for each in self.incidents)

    @property
    def tonnes(self) -> float | None:
        """Not conveyed; None where no belt with minutes lost has a usual tonnage."""
        known = [each.tonnes for each in self.incidents if each.tonnes is not None]
        return sum(known) if known else None

    @cached_property
    def window_of(self) -> dict[int, TaskWindow]:
        return {each.key: each for each in self.windows}

    def day_of(self, at: dt.datetime | None) -> dt.date | None:
        """The plant's date of a moment; None for what came after the month."""
        return at.astimezone(self.month.zone).date() if at is not None and at < self.month.end else None


def as_they_were(actions: Sequence[Action], month: Month) -> None:
    """Sets what people changed of these rows since back to how it read at the end of the month; saves nothing."""
    written = Action.history.filter(id__in=[each.pk for each in actions], history_date__lt=month.end)
    then = {
        pk: (title, due_on, owner)
        for pk, title, due_on, owner in written.order_by("history_date", "history_id").values_list(
            "id", "title", "due_on", "owner_id"
        )
    }
    owners = Person.objects.in_bulk([owner for _title, _due_on, owner in then.values() if owner is not None])
    for each in actions:
        if each.pk in then:
            each.title, each.due_on, owner = then[each.pk]
            each.owner = owners.get(owner)


def month_data(plant: Plant, month: Month, belts: Sequence[Belt]) -> MonthData:
    found = incidents_in(plant, month.window, belts)
    windows, tasks = windows_of_tasks(plant, month)
    actions: list[Any] = list(
        Action.objects.of_plant(plant)
        # Raised at its visit, also where the row came into the book later.
        .annotate(raised_at=Least("created_at", Coalesce("visit__visited_at", "created_at")))
        .filter(raised_at__lt=month.end)
        .filter(Q(done_at__isnull=True) | Q(done_at__gte=month.start))
        .select_related("installation__conveyor", "installation__device", "owner")
        .order_by("raised_at", "pk")
    )
    as_they_were(actions, month)

    def day_of(at: dt.datetime | None) -> dt.date | None:
        return at.astimezone(month.zone).date() if at is not None and at < month.end else None

    in_place = list(
        Installation.objects.of_plant(plant)
        .filter(installed_at__lt=month.end)
        .filter(Q(removed_at__isnull=True) | Q(removed_at__gt=month.start))
        .select_related("conveyor", "device")
    )
    lost = act_spells(in_place, month.end)
    for spell in OutOfService.objects.filter(installation__in=in_place, begins_at__lt=month.end):
        lost.setdefault(spell.installation_id, []).append((spell.begins_at, spell.ends_at or month.end))
    known = first_checks(in_place, month.end)
    spans = [
        ((each.installed_at, each.removed_at or month.end), lost.get(each.pk, []), known.get(each.pk))
        for each in in_place
    ]
    places = []
    for each, span in zip(in_place, spans, strict=True):
        own = availability([span], month.start, month.end, month.zone)
        places.append((each, own.in_place_days, own.lost_days, own.unknown_days))
    minutes = sum(each.minutes or 0.0 for each in found)
    spilled = sum(each.spilled_t or 0.0 for each in found)
    return MonthData(
        plant=plant,
        month=month,
        rate=plant_rate(belts, month.window),
        incidents=found,
        compliance=schedule_compliance(windows, month.first, month.last),
        late=overdue_on(windows, month.last),
        tasks=tasks,
        windows=windows,
        closing=days_to_close(
            [(each.raised_at.astimezone(month.zone).date(), day_of(each.done_at)) for each in actions],
            month.first,
            month.last,
        ),
        actions=actions,
        availability=availability(spans, month.start, month.end, month.zone),
        places=places,
        n_put_off_out=put_off_out_of(plant, month),
        cost=cost_of(
            {"stop_hours": minutes / 60, "spilled_t": spilled},
            {"stop_hours": plant.cost_of_stop_hour, "spilled_t": plant.cost_of_spilled_tonne},
        ),
    )
