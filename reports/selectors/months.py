"""A month, gathered and computed for one plant: what a draft shows and what publication freezes.

`reports.words.months` tells it as plain values that JSON can hold, and `reports.words.month_tables` the rows behind its
figures, so that a published month can always be opened down to the rows that it was made of.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import itertools
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db.models import Q
from django.urls import reverse
from django.utils import timezone

from inspections.models import Action
from installs.calc.specs import differences
from installs.models import DeviceModel, Installation, ModelSheet
from plant.models import Plant, label_of
from reports.calc.study_windows import Window
from reports.calc.verdicts import EffectVerdict
from reports.models import StudyNote, StudyWindow
from reports.selectors.month_data import IncidentRow, Month, MonthData, MonthSoFar, belt_rates, month_data
from reports.selectors.month_rows import MONTHS_SHOWN, model_of, trend_incidents
from reports.selectors.pooled_effects import Pool, PoolKind, pools_of
from reports.selectors.rate_watch import watch_of
from reports.selectors.rates import BeltRate, RateComparison, compare_belts, plant_rate
from reports.selectors.studies import Book, Study, book_of

MOST_DECISIONS = 5
LATE_DAYS = 30
# A belt is named among the changes where chance alone would bring as much once in a hundred months; own rule.
CHANGE_LEVEL = 0.99


@lru_cache(maxsize=1)
def code_version() -> str:
    """Version of the product with a digest of its calculations: a changed formula changes it."""
    digest = hashlib.sha256()
    for folder in ("plant", "installs", "inspections", "reports"):
        for path in sorted((Path(settings.BASE_DIR) / folder / "calc").glob("*.py")):
            digest.update(path.read_bytes())
    return f"{settings.VERSION} calc {digest.hexdigest()[:10]}"


# --- decisions and changes --------------------------------------------------------------------------------------------
class DecisionRule(StrEnum):
    """Why something needs a decision."""

    MORE_THAN_BEFORE = "decision.more_than_before"
    CHECK_IS_LATE = "decision.check_is_late"
    ACTION_IS_LATE = "decision.action_is_late"
    COSTS_ARE_MISSING = "decision.costs_are_missing"


@dataclass(frozen=True)
class PendingDecision:
    """Something that needs a decision, and where it is taken.

    Attributes
    ----------
    about : tuple
        What the words of its rule take (`reports.words.months`).
    """

    rule: DecisionRule
    about: tuple[Any, ...]
    url: str
    due: dt.date | None = None


def decisions(data: MonthData, book: Book) -> tuple[list[PendingDecision], int]:
    """What needs a decision, the most pressing first, and how many more there are than the page shows."""
    found: list[PendingDecision] = []

    def add(rule: DecisionRule, url: str, *about: Any, due: dt.date | None = None) -> None:
        found.append(PendingDecision(rule, about, url, due))

    for one in book.studies:
        if one.verdict == EffectVerdict.MORE and one.is_standing:
            rate = one.after.rate.per_1000_h or 0.0
            more = rate - (one.before.rate.per_1000_h or 0.0)
            add(DecisionRule.MORE_THAN_BEFORE, reverse("effect-detail", args=[one.installation.pk]), one, more)
    waiting_long = [each for each in data.late if each.days > LATE_DAYS]
    for each in waiting_long[:2]:
        add(DecisionRule.CHECK_IS_LATE, reverse("task-detail", args=[each.key]), data.tasks[each.key], each.days)
    late_actions = sorted(
        (row for row in data.actions if row.due_on <= data.month.last and not done_by(row, data.month)),
        key=lambda row: row.due_on,
    )
    for action in late_actions[:2]:
        days = (data.month.last - action.due_on).days
        add(DecisionRule.ACTION_IS_LATE, action.get_absolute_url(), action, days, due=action.due_on)
    if data.cost.missing:
        add(DecisionRule.COSTS_ARE_MISSING, reverse("plant-settings"))
    hidden = max(len(waiting_long) - 2, 0) + max(len(late_actions) - 2, 0) + max(len(found) - MOST_DECISIONS, 0)
    return found[:MOST_DECISIONS], hidden


def decisions_today(book: Book) -> tuple[list[PendingDecision], int]:
    """What needs a decision at the moment of a book, by the same rule as in the month."""
    zone = book.plant.zone
    month = MonthSoFar(book.now.astimezone(zone).date().replace(day=1), zone, book.now)
    return decisions(month_data(book.plant, month, book.belts), book)


def done_by(action: Action, month: Month) -> bool:
    return action.done_at is not None and action.done_at < month.end


class ChangeRule(StrEnum):
    """What kind of thing changed in a month."""

    PLANT = "change.plant"
    AVAILABILITY = "change.availability"
    VERDICT = "change.verdict"
    BELT = "change.belt"
    ALARM = "change.alarm"
    ALARMS_AT_THE_END = "change.alarms_at_the_end"
    FITTED = "change.fitted"
    REMOVED = "change.removed"
    NOTE = "change.note"
    RULE = "change.rule"
    WINDOWS = "change.windows"
    SHEET = "change.sheet"
    SHEET_TAKEN_OVER = "change.sheet_taken_over"


@dataclass(frozen=True)
class MonthChange:
    """Something that changed in a month, and where it stands.

    Attributes
    ----------
    about : tuple
        What the words of its rule take (`reports.words.months`).
    """

    rule: ChangeRule
    about: tuple[Any, ...]
    url: str = ""


def changes(data: MonthData, before: MonthData, year: RateComparison, book: Book, plant: Plant) -> list[MonthChange]:
    """What changed in the month and why: the plant's own figures, verdicts, belts, devices, and the method itself."""
    month, found = data.month, []

    def add(rule: ChangeRule, *about: Any, url: str = "") -> None:
        found.append(MonthChange(rule, about, url))

    if year.answer in {"fewer", "more"}:
        add(ChangeRule.PLANT, year, url=year.later.url)
    share, share_before = data.availability.share, before.availability.share
    if share is not None and share_before is not None and round(100 * share) != round(100 * share_before):
        add(ChangeRule.AVAILABILITY, share, share_before)
    for now, then in book.changed_since(month.start):
        add(ChangeRule.VERDICT, now, then, url=reverse("effect-detail", args=[now.installation.pk]))
    year_before = Window(month.earlier(12).start, month.start)
    for belt in book.belts:
        each = compare_belts([belt], year_before, month.window, book.reference, level=CHANGE_LEVEL)
        if each.answer in {"fewer", "more"}:
            add(ChangeRule.BELT, belt.conveyor.tag, each, url=each.later.url)
    watch = watch_of(book)
    fresh = [each for each in watch.fading if each.alarm_at >= month.start]
    for alarm in fresh:
        add(ChangeRule.ALARM, alarm, month, url=reverse("effect-detail", args=[alarm.study.installation.pk]))
    if fresh:
        add(ChangeRule.ALARMS_AT_THE_END, watch)
    fitted = Installation.objects.of_plant(plant).select_related("conveyor", "device")
    for row in fitted.filter(installed_at__gte=month.start, installed_at__lt=month.end):
        add(ChangeRule.FITTED, row, month)
    for row in fitted.filter(removed_at__gte=month.start, removed_at__lt=month.end):
        add(ChangeRule.REMOVED, row, month)
    # As it read at the end of the month: what was put right or taken back later was still said then.
    notes = StudyNote.objects.filter(
        Q(corrected_by__isnull=True) | Q(corrected_by__created_at__gte=month.end),
        installation__plant=plant,
        is_withdrawn=False,
        created_at__gte=month.start,
        created_at__lt=month.end,
    ).select_related("installation__conveyor", "installation__device", "created_by")
    for note in notes.order_by("created_at"):
        add(ChangeRule.NOTE, note, url=reverse("effect-detail", args=[note.installation_id]))
    return [*found, *method_changes(plant, month)]


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


def method_changes(plant: Plant, month: Month) -> list[MonthChange]:
    """Rules and windows that people changed in the month: figures before and after are not made alike."""
    found = []
    history = list(plant.history.filter(history_date__lt=month.end).order_by("history_date", "history_id"))
    for older, newer in itertools.pairwise(history):
        if newer.history_date < month.start:
            continue
        for name in RULE_FIELDS:
            was, now = getattr(older, name), getattr(newer, name)
            if was != now:
                label = label_of(Plant, name)
                found.append(MonthChange(ChangeRule.RULE, (label, was, now, newer.history_date, month)))
    chosen = StudyWindow.objects.filter(
        installation__plant=plant, created_at__gte=month.start, created_at__lt=month.end
    ).select_related("installation__conveyor", "installation__device")
    for each in chosen:
        url = reverse("effect-detail", args=[each.installation_id])
        found.append(MonthChange(ChangeRule.WINDOWS, (each,), url))
    return [*found, *sheet_changes(plant, month)]


# Figures of a sheet that grades, zones and forecasts are made with.
JUDGED_BY = ("sensor_new_mm", "sensor_limit_mm", "breakaway_limit_n", "effect_length_m")


def sheet_changes(plant: Plant, month: Month) -> list[MonthChange]:
    """Limits of a model that changed, and devices that are held against another sheet than the one they had."""
    found = []
    sheets = ModelSheet.objects.filter(device_model__plant=plant, number__gt=1).select_related("device_model")
    for sheet in sheets.filter(created_at__gte=month.start, created_at__lt=month.end).order_by("created_at", "pk"):
        before = sheet.device_model.sheets.filter(number__lt=sheet.number).order_by("-number").first()
        changed = differences(before.content if before else {}, sheet.content)
        names = [label_of(DeviceModel, each.what) for each in changed if each.what in JUDGED_BY]
        fasteners = any(each.group == "fasteners" for each in changed)
        if names or fasteners:
            about = (sheet, names, fasteners, month)
            found.append(MonthChange(ChangeRule.SHEET, about, sheet.device_model.get_absolute_url()))
    history = Installation.history.filter(plant=plant, history_date__lt=month.end, history_date__gte=month.start)
    for row in history.order_by("history_date", "history_id"):
        before = row.prev_record
        if before is not None and before.sheet_id != row.sheet_id and row.sheet_id is not None:
            found.append(MonthChange(ChangeRule.SHEET_TAKEN_OVER, (row, month), row.instance.get_absolute_url()))
    return found


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


@dataclass(frozen=True, eq=False)
class VerdictGroup:
    """Verdicts of the fleet, of an area or of a model; no pool where none of them can be judged.

    Attributes
    ----------
    name : str
        Empty of the fleet.
    """

    kind: PoolKind
    name: str
    n: int
    counts: Mapping[EffectVerdict, int]
    pool: Pool | None


@dataclass(frozen=True, eq=False)
class MonthFound:
    """Everything that a month is told from.

    Attributes
    ----------
    before, year_ago : MonthData
        Of the month before, and of the same month a year ago.
    year : RateComparison
        The month against the same month a year ago.
    belts : sequence of BeltRate
        Every belt's rate in the month, as `belt_rates` sorts them.
    """

    plant: Plant
    month: Month
    is_over: bool
    book: Book
    now: MonthData
    before: MonthData
    year_ago: MonthData
    year: RateComparison
    decisions: list[PendingDecision]
    n_more_decisions: int
    changes: list[MonthChange]
    belts: Sequence[BeltRate]
    trend: list[dict[str, Any]]
    trend_incidents: Sequence[IncidentRow]
    groups: list[VerdictGroup]


def month_found(plant: Plant, first: dt.date) -> MonthFound:
    """A month of a plant, of which `first` is the first day."""
    month, now = Month(first, plant.zone), timezone.now()
    book = book_of(plant, min(month.end, now))
    here, before, year_ago = (month_data(plant, month.earlier(back), book.belts) for back in (0, 1, 12))
    year = compare_belts(book.belts, month.earlier(12).window, month.window, book.reference)
    decide, n_more = decisions(here, book)
    return MonthFound(
        plant=plant,
        month=month,
        is_over=now >= month.end,
        book=book,
        now=here,
        before=before,
        year_ago=year_ago,
        year=year,
        decisions=decide,
        n_more_decisions=n_more,
        changes=changes(here, before, year, book, plant),
        belts=belt_rates(book.belts, month),
        trend=trend(book, month),
        trend_incidents=trend_incidents(plant, month, book.belts),
        groups=verdict_groups(book),
    )


def verdict_groups(book: Book) -> list[VerdictGroup]:
    """Verdicts of the fleet, of each area and of each model, with the pooled answer of all that can be judged."""
    pools = {(each.kind, each.name): each for each in pools_of(book.studies)}

    def group(kind: PoolKind, name: str, studies: Sequence[Study]) -> VerdictGroup:
        counts = Counter(each.verdict for each in studies)
        return VerdictGroup(kind, name, len(studies), counts, pools.get((kind, name)))

    found = [group(PoolKind.FLEET, "", book.studies)]
    for kind, name_of in ((PoolKind.AREA, area_of), (PoolKind.MODEL, model_of)):
        for name in sorted({name_of(each) for each in book.studies}):
            found.append(group(kind, name, [each for each in book.studies if name_of(each) == name]))
    return found


def area_of(one: Study) -> str:
    return str(one.conveyor.area)
