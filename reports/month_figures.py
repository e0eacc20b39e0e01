"""Figures of a month, gathered and computed for one plant: what a draft shows and what publication freezes.

Everything comes out as plain values that JSON can hold. Rows behind a figure go along with it, so that a published
month can always be opened down to the rows that it was made of.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import itertools
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from functools import lru_cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from dateutil.relativedelta import relativedelta
from django.conf import settings
from django.db.models import Count, Min, Q
from django.db.models.functions import Coalesce, Least
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format, number_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inspections.models import Action, CouldNotDo, Deferral, Task
from installs.calc.specs import differences
from installs.models import DeviceModel, Installation, ModelSheet, OutOfService
from plant.models import Incident, Plant
from reports.calc.indicators import (
    INDICATORS,
    Closing,
    Compliance,
    Cost,
    Late,
    availability,
    by_age,
    cost_of,
    days_to_close,
    overdue_on,
    schedule_compliance,
)
from reports.calc.indicators import Window as TaskWindow
from reports.calc.rate_ratio import Verdict, compare_rates
from reports.calc.study_windows import Window
from reports.models import StudyNote, StudyWindow
from reports.selectors import Belt, BeltRate, Book, belt_rate, book_of, plant_rate
from reports.templatetags.effect import (
    MARK_OF,
    VERDICT_WORDS,
    in_hours,
    place_of,
    rate_words,
    ratio_words,
    verdict_words,
)

MONTHS_SHOWN = 13
MOST_DECISIONS = 5
MOST_BELTS = 8
LATE_DAYS = 30
# A belt is named among the changes where chance alone would bring as much once in a hundred months; own rule.
CHANGE_LEVEL = 0.99


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


def start_of(day: dt.date, zone: dt.tzinfo) -> dt.datetime:
    return dt.datetime(day.year, day.month, day.day, tzinfo=zone).astimezone(dt.UTC)


@lru_cache(maxsize=1)
def code_version() -> str:
    """Version of the product with a digest of its calculations: a changed formula changes it."""
    digest = hashlib.sha256()
    for folder in ("plant", "installs", "inspections", "reports"):
        for path in sorted((Path(settings.BASE_DIR) / folder / "calc").glob("*.py")):
            digest.update(path.read_bytes())
    try:
        known = version("driftbook")
    except PackageNotFoundError:
        known = "0.1"
    return f"{known} calc {digest.hexdigest()[:10]}"


# --- gathering --------------------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class IncidentRow:
    pk: int
    at: dt.datetime
    belt: str
    tonnes_per_hour: float | None
    strand: str
    chainage_m: float | None
    severity: str
    minutes: float | None
    spilled_t: float | None


def incidents_in(plant: Plant, window: Window) -> list[IncidentRow]:
    rows = Incident.objects.of_plant(plant).current().between(window.start, window.end).order_by("happened_at", "pk")
    names = ("pk", "happened_at", "conveyor__tag", "conveyor__usual_tonnes_per_hour", "strand", "chainage_m")
    return [IncidentRow(*row) for row in rows.values_list(*names, "severity", "minutes_lost", "spilled_t")]


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
        .annotate(n_put_off=Count("deferrals"))
        .order_by("closes_on", "pk")
    )
    not_safe = set(
        CouldNotDo.objects.current()
        .filter(task__in=[each.pk for each in tasks], reason=CouldNotDo.Reason.NOT_SAFE)
        .values_list("task_id", flat=True)
    )

    def day_of(at: dt.datetime | None) -> dt.date | None:
        return at.astimezone(month.zone).date() if at is not None and at < month.end else None

    windows = []
    for each in tasks:
        closes_on = put_off_later.get(each.pk, each.closes_on)
        done = day_of(each.closed_at) if each.outcome == Task.Outcome.DONE else None
        withdrawn = day_of(each.closed_at) if each.outcome == Task.Outcome.WITHDRAWN else None
        if each.pk in not_safe and (done is None or done > closes_on):
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
    began: dict[tuple[int, int], tuple[dt.datetime, int | None]] = {}
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


@dataclass(frozen=True)
class MonthData:
    """What one month held; three of them make a report (the month, the one before, the same a year ago)."""

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
    places: list[tuple[Installation, float, float]]  # days in place, days lost
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
        known = [each for each in self.incidents if each.minutes and each.tonnes_per_hour is not None]
        return sum((each.minutes or 0.0) / 60 * (each.tonnes_per_hour or 0.0) for each in known) if known else None


def month_data(plant: Plant, month: Month, belts: Sequence[Belt]) -> MonthData:
    found = incidents_in(plant, month.window)
    windows, tasks = windows_of_tasks(plant, month)
    actions = list(
        Action.objects.of_plant(plant)
        # Raised at its visit, also where the row came into the book later.
        .annotate(raised_at=Least("created_at", Coalesce("visit__visited_at", "created_at")))
        .filter(raised_at__lt=month.end)
        .filter(Q(done_at__isnull=True) | Q(done_at__gte=month.start))
        .select_related("installation__conveyor", "installation__device", "owner")
        .order_by("raised_at", "pk")
    )

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
    spans = [((each.installed_at, each.removed_at or month.end), lost.get(each.pk, [])) for each in in_place]
    places = []
    for each, span in zip(in_place, spans, strict=True):
        own = availability([span], month.start, month.end)
        places.append((each, own.in_place_days, own.lost_days))
    minutes = sum(each.minutes or 0.0 for each in found)
    spilled = sum(each.spilled_t or 0.0 for each in found)
    return MonthData(
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
        availability=availability(spans, month.start, month.end),
        places=places,
        cost=cost_of(
            {"stop_hours": minutes / 60, "spilled_t": spilled},
            {"stop_hours": plant.cost_of_stop_hour, "spilled_t": plant.cost_of_spilled_tonne},
        ),
    )


# --- figures in words -------------------------------------------------------------------------------------------------
def plain(value: float, digits: int = 0) -> str:
    return number_format(round(value, digits), digits, force_grouping=True)


def percent(share: float | None) -> str:
    return _("none") if share is None else f"{plain(100 * share)} %"


def said(key: str, data: MonthData, plant: Plant) -> tuple[float | None, str]:
    """The figure of a month and how it reads."""
    if key == "incidents":
        rate = data.rate.rate
        return rate.per_1000_h, rate_words(rate)
    if key == "stop_minutes":
        return data.minutes, f"{plain(data.minutes)} min"
    if key == "spilled":
        return data.spilled_t, f"{plain(data.spilled_t, 1)} t"
    if key == "schedule_compliance":
        share = data.compliance.share
        return share, percent(share) if share is not None else _("no window closed")
    if key == "overdue":
        return float(len(data.late)), str(len(data.late))
    if key == "days_to_close":
        median = data.closing.median_days
        return median, _("none closed") if median is None else f"{plain(median, 1)} d"
    if key == "availability":
        share = data.availability.share
        return share, percent(share) if share is not None else _("no device in place")
    total = data.cost.total
    return total, _("not stated") if total is None else f"{plain(total)} {plant.currency}".strip()


def note_of(key: str, data: MonthData) -> str:
    """What stands beside the figure: counts behind it, and what is missing."""
    if key == "incidents":
        return _("%(n)s in %(hours)s h; hours known for %(share)s") % {
            "n": data.rate.rate.n,
            "hours": plain(data.rate.exposure_h),
            "share": percent(data.rate.coverage),
        }
    if key == "stop_minutes":
        missing = sum(each.severity == Incident.Severity.TRIP and each.minutes is None for each in data.incidents)
        told = [ngettext("%(n)s trip without minutes", "%(n)s trips without minutes", missing) % {"n": missing}]
        if data.tonnes is not None:
            told.append(_("about %(t)s t not conveyed") % {"t": plain(data.tonnes)})
        without = {each.belt for each in data.incidents if each.minutes and each.tonnes_per_hour is None}
        if without:
            told.append(_("usual tonnage missing for %(n)s belts") % {"n": len(without)})
        return "; ".join(told)
    if key == "spilled":
        missing = sum(each.severity == Incident.Severity.SPILL and each.spilled_t is None for each in data.incidents)
        return ngettext("%(n)s spill without tonnes", "%(n)s spills without tonnes", missing) % {"n": missing}
    if key == "schedule_compliance":
        counted = data.compliance.counted
        put_off = sum(bool(data.tasks[each].n_put_off) for each in counted)  # type: ignore[attr-defined]
        words = _("%(n)s of %(all)s; %(put_off)s had been put off")
        return words % {"n": len(data.compliance.on_time), "all": len(counted), "put_off": put_off}
    if key == "overdue":
        week, more, most = by_age(data.late)
        return _("up to 7 days %(a)s, 8 to 30 %(b)s, more %(c)s") % {"a": week, "b": more, "c": most}
    if key == "days_to_close":
        closing = data.closing
        oldest = (
            _("oldest open %(n)s d") % {"n": closing.oldest_open_days}
            if closing.oldest_open_days is not None
            else _("none open")
        )
        return _("%(n)s closed, %(open)s open, %(oldest)s") % {
            "n": closing.n_closed,
            "open": closing.n_open,
            "oldest": oldest,
        }
    if key == "availability":
        return _("%(lost)s of %(all)s device-days lost") % {
            "lost": plain(data.availability.lost_days),
            "all": plain(data.availability.in_place_days),
        }
    names = {"stop_hours": _("an hour that a belt stands"), "spilled_t": _("a spilled tonne")}
    missing_costs = ", ".join(names[each] for each in data.cost.missing)
    return _("not stated: cost of %(what)s") % {"what": missing_costs} if missing_costs else ""


def figures(now: MonthData, before: MonthData, year_ago: MonthData, plant: Plant) -> list[dict[str, Any]]:
    found = []
    for key, each in INDICATORS.items():
        value, words = said(key, now, plant)
        found.append(
            {
                **asdict(each),
                "value": value,
                "words": words,
                "note": note_of(key, now),
                "before": said(key, before, plant)[1],
                "year_ago": said(key, year_ago, plant)[1],
            }
        )
    return found


# --- rows behind the figures ------------------------------------------------------------------------------------------
def local(at: dt.datetime | None, month: Month) -> str:
    return at.astimezone(month.zone).isoformat(timespec="minutes") if at is not None else ""


def row_set(heads: Sequence[str], rows: Iterable[tuple[str, Sequence[Any]]]) -> dict[str, Any]:
    """A table as plain values, with the address of what each row tells of."""
    kept = list(rows)
    return {"heads": list(heads), "rows": [list(cells) for _url, cells in kept], "links": [url for url, _cells in kept]}


def rows_behind(data: MonthData, book: Book) -> dict[str, dict[str, Any]]:
    month = data.month
    incident_heads = ["when", "belt", "strand", "chainage [m]", "severity", "minutes lost", "spilled [t]"]

    def incident_rows(kept: Iterable[IncidentRow]) -> list[tuple[str, Sequence[Any]]]:
        return [
            (
                reverse("incident-detail", args=[each.pk]),
                [
                    local(each.at, month),
                    each.belt,
                    each.strand,
                    each.chainage_m,
                    each.severity,
                    each.minutes,
                    each.spilled_t,
                ],
            )
            for each in kept
        ]

    task_heads = ["check", "belt", "device", "window opens", "window closes", "done", "put off", "in its window"]
    by_key = {each.key: each for each in data.windows}
    on_time, late = set(data.compliance.on_time), {each.key: each.days for each in data.late}

    def task_row(pk: int, last: Any) -> tuple[str, Sequence[Any]]:
        task, window = data.tasks[pk], by_key[pk]
        cells = [str(task.check_kind), task.installation.conveyor.tag, task.installation.device.number]
        cells += [str(window.opens_on), str(window.closes_on), str(window.done_on or "")]
        return reverse("task-detail", args=[pk]), [*cells, task.n_put_off, last]  # type: ignore[attr-defined]

    costs = [("", [name, amount, unit, cost]) for name, amount, unit, cost in data.cost.parts]
    return {
        "incidents": row_set(incident_heads, incident_rows(data.incidents)),
        "stop_minutes": row_set(incident_heads, incident_rows(each for each in data.incidents if each.minutes)),
        "spilled": row_set(incident_heads, incident_rows(each for each in data.incidents if each.spilled_t)),
        "schedule_compliance": row_set(
            task_heads, [task_row(pk, "yes" if pk in on_time else "no") for pk in data.compliance.counted]
        ),
        "overdue": row_set([*task_heads[:-1], "days late"], [task_row(pk, days) for pk, days in late.items()]),
        "days_to_close": row_set(
            ["action", "belt", "device", "raised", "due", "done", "owner"],
            [
                (
                    each.get_absolute_url(),
                    [
                        each.title,
                        each.installation.conveyor.tag,
                        each.installation.device.number,
                        local(each.raised_at, month),  # type: ignore[attr-defined]
                        str(each.due_on),
                        local(each.done_at if each.done_at and each.done_at < month.end else None, month),
                        str(each.owner or ""),
                    ],
                )
                for each in data.actions
            ],
        ),
        "availability": row_set(
            ["belt", "device", "days in place", "days lost"],
            [
                (each.get_absolute_url(), [each.conveyor.tag, each.device.number, round(stood, 1), round(lost, 1)])
                for each, stood, lost in data.places
            ],
        ),
        "cost": row_set(["what", "amount", "unit cost", "cost"], costs),
        "belts": row_set(
            ["belt", "incidents", "running hours", "per 1000 h", "low", "high"],
            [
                (each.url, [each.belt.conveyor.tag, each.rate.n, round(each.exposure_h, 1), *rate_cells(each)])
                for each in belt_rates(book.belts, month)
                if each.belt is not None
            ],
        ),
        "verdicts": row_set(
            ["device", "before", "hours before", "after", "hours after", "ratio with interval", "verdict"],
            [
                (
                    reverse("effect-detail", args=[each.installation.pk]),
                    [
                        place_of(each),
                        each.before.n,
                        round(each.before.hours),
                        each.after.n,
                        round(each.after.hours),
                        ratio_words(each.ratio),
                        verdict_words(each),
                    ],
                )
                for each in book.studies
            ],
        ),
    }


def rate_cells(each: BeltRate) -> list[float | None]:
    return [
        None if value is None else round(value, 3) for value in (each.rate.per_1000_h, each.rate.low, each.rate.high)
    ]


def belt_rates(belts: Iterable[Belt], month: Month) -> list[BeltRate]:
    rates = [belt_rate(each, month.window) for each in belts if each.conveyor.retired_on is None]
    return sorted(rates, key=lambda each: (-(each.rate.per_1000_h or 0.0), each.belt.conveyor.tag if each.belt else ""))


# --- decisions and changes --------------------------------------------------------------------------------------------
def decisions(data: MonthData, book: Book, plant: Plant) -> tuple[list[dict[str, Any]], int]:
    """What needs a decision, the most pressing first, and how many more there are than the page shows."""
    found: list[dict[str, Any]] = []

    def add(words: str, owner: str, due: dt.date | None, waiting: str, url: str) -> None:
        found.append({"words": words, "owner": owner, "due": str(due) if due else "", "waiting": waiting, "url": url})

    engineer, planner = _("reliability engineer"), _("planner")
    for one in book.studies:
        standing = any(each.removed_at is None or each.removed_at > data.month.end for each in one.members)
        if one.verdict == Verdict.MORE and standing:
            rate = one.after.rate.per_1000_h or 0.0
            more = rate - (one.before.rate.per_1000_h or 0.0)
            add(
                _(
                    "%(place)s has more incidents than before: %(before)s, then %(after)s. Move it, remove it, or cure "
                    "the cause."
                )
                % {"place": place_of(one), "before": in_hours(one.before), "after": in_hours(one.after)},
                engineer,
                None,
                _("about %(n)s incidents more in 1000 running hours") % {"n": plain(more, 1)},
                reverse("effect-detail", args=[one.installation.pk]),
            )
    waiting_long = [each for each in data.late if each.days > LATE_DAYS]
    for each in waiting_long[:2]:
        task = data.tasks[each.key]
        add(
            _(
                "%(kind)s at %(place)s is late by %(n)s days. Give it a time when the belt stands, or decide that it "
                "is not needed."
            )
            % {"kind": task.check_kind, "place": task.installation, "n": each.days},
            planner,
            None,
            _("wear and loose fasteners go unseen"),
            reverse("task-detail", args=[each.key]),
        )
    late_actions = sorted(
        (each for each in data.actions if each.due_on <= data.month.last and not done_by(each, data.month)),
        key=lambda each: each.due_on,
    )
    for each in late_actions[:2]:
        add(
            _("“%(title)s” at %(place)s was due.") % {"title": each.title, "place": each.installation},
            str(each.owner or planner),
            each.due_on,
            _("%(n)s days so far") % {"n": (data.month.last - each.due_on).days},
            each.get_absolute_url(),
        )
    if data.cost.missing:
        add(
            _("The cost of mistracking cannot be told: unit costs are missing."),
            planner,
            None,
            _("no figure to weigh measures against"),
            reverse("plant-settings"),
        )
    hidden = max(len(waiting_long) - 2, 0) + max(len(late_actions) - 2, 0) + max(len(found) - MOST_DECISIONS, 0)
    return found[:MOST_DECISIONS], hidden


def done_by(action: Action, month: Month) -> bool:
    return action.done_at is not None and action.done_at < month.end


def changes(data: MonthData, book: Book, plant: Plant) -> list[dict[str, str]]:
    """What changed in the month and why: verdicts, belts, devices, and the method itself."""
    month, told = data.month, []

    def add(words: str, url: str = "") -> None:
        told.append({"words": words, "url": url})

    for now, then in book.changed_since(month.start):
        add(
            _("%(place)s: %(then)s a month ago, now %(now)s (%(counts)s).")
            % {
                "place": place_of(now),
                "then": verdict_words(then),
                "now": verdict_words(now),
                "counts": _("%(before)s before, %(after)s after")
                % {"before": in_hours(now.before), "after": in_hours(now.after)},
            },
            reverse("effect-detail", args=[now.installation.pk]),
        )
    for belt in book.belts:
        here = belt_rate(belt, month.window)
        year = belt_rate(belt, Window(month.earlier(12).start, month.start))
        ratio = compare_rates(year.rate.n, year.exposure_h, here.rate.n, here.exposure_h, level=CHANGE_LEVEL)
        if ratio.low is not None and ratio.high is not None and not ratio.low <= 1 <= ratio.high:
            add(
                _("%(tag)s: %(now)s incidents per 1000 h this month, %(then)s in the twelve months before.")
                % {"tag": belt.conveyor.tag, "now": rate_words(here.rate), "then": rate_words(year.rate)},
                here.url,
            )
    fitted = Installation.objects.of_plant(plant).select_related("conveyor", "device")
    for each in fitted.filter(installed_at__gte=month.start, installed_at__lt=month.end):
        add(_("%(device)s fitted on %(day)s.") % {"device": each, "day": day_words(each.installed_at, month)})
    for each in fitted.filter(removed_at__gte=month.start, removed_at__lt=month.end):
        add(
            _("%(device)s removed on %(day)s: %(why)s.")
            % {"device": each, "day": day_words(each.removed_at, month), "why": each.removal_reason}
        )
    # As it read at the end of the month: what was put right or taken back later was still said then.
    notes = StudyNote.objects.filter(
        Q(corrected_by__isnull=True) | Q(corrected_by__created_at__gte=month.end),
        installation__plant=plant,
        is_withdrawn=False,
        created_at__gte=month.start,
        created_at__lt=month.end,
    ).select_related("installation__conveyor", "installation__device", "created_by")
    for each in notes.order_by("created_at"):
        add(
            _("Note on %(device)s by %(who)s: %(text)s")
            % {"device": each.installation, "who": each.created_by, "text": each.text},
            reverse("effect-detail", args=[each.installation_id]),
        )
    told.extend(method_changes(plant, month))
    return told


def day_words(at: dt.datetime, month: Month) -> str:
    return date_format(at.astimezone(month.zone).date(), "j M")


RULE_FIELDS = (
    "merge_minutes",
    "settling_in_days",
    "settling_in_h",
    "least_coverage_pct",
    "margin_low",
    "margin_high",
    "watch_alarm_years",
    "watch_learn_h",
    "watch_least_share_pct",
    "effect_length_m",
    "currency",
    "cost_of_stop_hour",
    "cost_of_spilled_tonne",
)


def method_changes(plant: Plant, month: Month) -> list[dict[str, str]]:
    """Rules and windows that people changed in the month: figures before and after are not made alike."""
    told = []
    history = list(plant.history.filter(history_date__lt=month.end).order_by("history_date", "history_id"))
    for older, newer in itertools.pairwise(history):
        if newer.history_date < month.start:
            continue
        for name in RULE_FIELDS:
            was, now = getattr(older, name), getattr(newer, name)
            if was != now:
                label = Plant._meta.get_field(name).verbose_name
                shown = [_("not stated") if value in (None, "") else str(value) for value in (was, now)]
                words = _("Method: “%(label)s” was %(was)s, is %(now)s since %(day)s.") % {
                    "label": label,
                    "was": shown[0],
                    "now": shown[1],
                    "day": day_words(newer.history_date, month),
                }
                told.append({"words": words, "url": ""})
    chosen = StudyWindow.objects.filter(
        installation__plant=plant, created_at__gte=month.start, created_at__lt=month.end
    ).select_related("installation__conveyor", "installation__device")
    for each in chosen:
        told.append(
            {
                "words": _("Method: other windows were set for %(device)s by %(who)s.")
                % {"device": each.installation, "who": each.created_by},
                "url": reverse("effect-detail", args=[each.installation_id]),
            }
        )
    told.extend(sheet_changes(plant, month))
    return told


# Figures of a sheet that grades, zones and forecasts are made with.
JUDGED_BY = ("sensor_new_mm", "sensor_limit_mm", "breakaway_limit_n", "effect_length_m")


def sheet_changes(plant: Plant, month: Month) -> list[dict[str, str]]:
    """Limits of a model that changed, and devices that are held against another sheet than the one they had."""
    told = []
    sheets = ModelSheet.objects.filter(device_model__plant=plant, number__gt=1).select_related("device_model")
    for sheet in sheets.filter(created_at__gte=month.start, created_at__lt=month.end).order_by("created_at", "pk"):
        before = sheet.device_model.sheets.filter(number__lt=sheet.number).order_by("-number").first()
        changed = differences(before.content if before else {}, sheet.content)
        names = [str(DeviceModel._meta.get_field(each.what).verbose_name) for each in changed if each.what in JUDGED_BY]
        if any(each.group == "fasteners" for each in changed):
            names.append(_("fasteners"))
        if names:
            words = _(
                "Method: sheet %(n)s of %(model)s holds for devices fitted since %(day)s (%(what)s); those that stood "
                "keep theirs."
            )
            known = {
                "n": sheet.number,
                "model": sheet.device_model,
                "day": day_words(sheet.created_at, month),
                "what": ", ".join(names),
            }
            told.append({"words": words % known, "url": sheet.device_model.get_absolute_url()})
    history = Installation.history.filter(plant=plant, history_date__lt=month.end, history_date__gte=month.start)
    for row in history.order_by("history_date", "history_id"):
        before = row.prev_record
        if before is not None and before.sheet_id != row.sheet_id and row.sheet_id is not None:
            words = _("Method: %(device)s is held against sheet %(n)s since %(day)s: %(why)s.")
            known = {
                "device": row.instance,
                "n": row.sheet.number,
                "day": day_words(row.history_date, month),
                "why": row.history_change_reason,
            }
            told.append({"words": words % known, "url": row.instance.get_absolute_url()})
    return told


def trend(book: Book, month: Month) -> list[dict[str, Any]]:
    """The plant's rate in each of thirteen months, with its interval and how much of the hours is known."""
    found = []
    for back in reversed(range(MONTHS_SHOWN)):
        each = month.earlier(back)
        rate = plant_rate(book.belts, each.window)
        low, high = rate.rate.low, rate.rate.high
        found.append(
            {
                "month": f"{each.first:%Y-%m}",
                "n": rate.rate.n,
                "running_h": rate.exposure_h,
                "coverage": rate.coverage,
                "per_1000_h": rate.rate.per_1000_h,
                "low": low,
                "high": high,
            }
        )
    return found


def compose(plant: Plant, first: dt.date) -> tuple[dict[str, Any], dict[str, Any]]:
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
    month = Month(first, plant.zone)
    with timezone.override(plant.zone):
        book = book_of(plant, min(month.end, timezone.now()))
        now, before, year_ago = (month_data(plant, month.earlier(back), book.belts) for back in (0, 1, 12))
        rate, last_year = now.rate, year_ago.rate
        ratio = compare_rates(last_year.rate.n, last_year.exposure_h, rate.rate.n, rate.exposure_h)
        decide, n_more = decisions(now, book, plant)
        counts = {verdict.value: sum(each.verdict == verdict for each in book.studies) for verdict in Verdict}
        judged = sum(counts.values()) - counts[Verdict.CANNOT_BE_JUDGED.value]
        belts = belt_rates(book.belts, month)
        content = {
            "plant": plant.name,
            "month": f"{first:%Y-%m}",
            "month_name": month.name,
            "from": local(month.start, month),
            "until": local(month.end, month),
            "is_over": timezone.now() >= month.end,
            "lede": lede(now, last_year, ratio),
            "verdict": verdict_of(ratio),
            "decisions": decide,
            "n_more_decisions": n_more,
            "changes": changes(now, book, plant),
            "figures": figures(now, before, year_ago, plant),
            "trend": trend(book, month),
            "belts": [
                [each.belt.conveyor.tag, each.rate.n, plain(each.exposure_h), rate_words(each.rate)]
                for each in belts[:MOST_BELTS]
                if each.belt is not None and each.rate.n
            ],
            "verdicts": [
                {"mark": MARK_OF[verdict], "verdict": str(VERDICT_WORDS[verdict]), "n": counts[verdict.value]}
                for verdict in Verdict
            ],
            "by_chance": _(
                "If no device changed anything, chance alone would still call up to 5 %% of %(n)s comparisons fewer or "
                "more: about %(wrong)s."
            )
            % {"n": judged, "wrong": plain(0.05 * judged, 1)},
            "code_version": code_version(),
        }
        return content, rows_behind(now, book)


def lede(now: MonthData, last_year: BeltRate, ratio: Any) -> str:
    rate = now.rate
    if rate.rate.per_1000_h is None:
        return _("No running hours are in the book for this month, so no rate can be told.")
    words = _("%(rate)s incidents per 1000 running hours: %(n)s in %(hours)s h.") % {
        "rate": rate_words(rate.rate),
        "n": rate.rate.n,
        "hours": plain(rate.exposure_h),
    }
    if ratio.ratio is None:
        return f"{words} {_('For the same month a year ago no rate is known.')}"
    return f"{words} " + _("In the same month a year ago %(rate)s. Ratio %(ratio)s.") % {
        "rate": rate_words(last_year.rate),
        "ratio": ratio_words(ratio),
    }


def verdict_of(ratio: Any) -> dict[str, str]:
    if ratio.low is None or ratio.high is None:
        return {"mark": "unjudged", "words": _("cannot be compared")}
    if ratio.high < 1:
        return {"mark": "fewer", "words": _("fewer incidents")}
    if ratio.low > 1:
        return {"mark": "more", "words": _("more incidents")}
    return {"mark": "flat", "words": _("no clear change")}
