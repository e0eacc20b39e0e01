"""What pages show of all comparisons of a plant: the list, the engineer's start, the manager's start.

Each is made from the fleet's book by a worker and kept (`plant.services.kept`): a page reads its part alone and never
computes the fleet while somebody waits.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

from django.db.models import Count, Model, Q, Sum

from inspections.models import Action, Task
from inspections.selectors import part_ends
from installs.calc import effect_zones
from installs.models import Installation
from plant.calc import codec, rates, reasons, running_hours
from plant.models import Conveyor, Incident, Plant
from plant.models.incidents import surely_before
from reports.calc import (
    bad_spells,
    empirical_bayes,
    many_verdicts,
    pooled,
    rate_watch,
    reference_model,
    study_windows,
    verdicts,
)
from reports.calc.study_windows import Window, months_earlier
from reports.calc.verdicts import EffectVerdict
from reports.models import StudyWindow
from reports.selectors import belts as belt_reads
from reports.selectors import pooled_effects, reference_groups, studies
from reports.selectors import rate_watch as watch_reads
from reports.selectors import rates as rate_reads
from reports.selectors.belts import KeptBelt
from reports.selectors.months import DecisionRule, PendingDecision, decisions_today
from reports.selectors.pooled_effects import FleetCount, Pool, VerdictStanding, count_of, pools_of, standings_of
from reports.selectors.rate_watch import FleetWatch, WatchSummary, summary_of, watch_of
from reports.selectors.rates import BeltRate, RateComparison, belt_rate, compare_belts
from reports.selectors.studies import Book, Study, book_of

EFFECT = "effect"
LIST, ENGINEER, MANAGER = "list", "engineer", "manager"
PARTS = (LIST, ENGINEER, MANAGER)
MONTHS_SHOWN = 12
MOST_ROWS = 8


@dataclass(frozen=True)
class FleetList:
    """Every comparison, what stands among all, the pools, and what the rate watch says."""

    studies: tuple[Study, ...]
    standings: dict[int, VerdictStanding]
    pools: list[Pool]
    watch: WatchSummary
    chances: dict[int, float]  # of an alarm by chance, by the first installation of what is under watch


@dataclass(frozen=True)
class EngineersView:
    """Which devices earn their place, which need a look, and where the belts wander most."""

    counted: FleetCount
    counts: dict[str, int]
    changed: list[tuple[Study, Study]]
    more: list[Study]
    early: list[Study]
    n_early: int
    n_unjudged: int
    unjudged: list[Study]
    worst: list[BeltRate]
    watch: WatchSummary


@dataclass(frozen=True)
class Quarter:
    """The quarter so far and the same days a year ago."""

    compared: RateComparison
    minutes: float
    minutes_a_year_ago: float
    n_without_minutes: int


@dataclass(frozen=True)
class ManagersView:
    """Are we getting better, what did it cost, what needs a decision."""

    quarter: Quarter
    decide: list[PendingDecision]
    n_more_decisions: int
    counts: dict[str, int]
    counted: FleetCount


# --- making -----------------------------------------------------------------------------------------------------------
def fleet_of(plant: Plant, now: dt.datetime) -> Mapping[str, Callable[[], Any]]:
    """What makes each part; the fleet's book is gathered once for all of them."""
    book = lru_cache(maxsize=1)(lambda: book_of(plant, now))
    watch = lru_cache(maxsize=1)(lambda: watch_of(book()))
    return {
        LIST: lambda: without_hours(list_of(book(), watch())),
        ENGINEER: lambda: without_hours(engineers_view(book(), watch())),
        MANAGER: lambda: without_hours(managers_view(book())),
    }


def list_of(book: Book, watch: FleetWatch) -> FleetList:
    return FleetList(
        studies=book.studies,
        standings=standings_of(book.studies),
        pools=pools_of(book.studies),
        watch=summary_of(watch),
        chances={each.study.installation.pk: each.chance for each in watch.watched},
    )


def engineers_view(book: Book, watch: FleetWatch) -> EngineersView:
    plant = book.plant
    standing = [each for each in book.studies if each.is_standing]
    by_verdict: dict[EffectVerdict, list[Study]] = {verdict: [] for verdict in EffectVerdict}
    for each in standing:
        by_verdict[each.verdict].append(each)
    early = by_verdict[EffectVerdict.TOO_EARLY]
    year = Window(months_earlier(book.now, MONTHS_SHOWN, plant.zone), book.now)
    rated = [belt_rate(belt, year) for belt in book.belts if belt.is_used_until(book.now)]
    worst = sorted((each for each in rated if each.rate.n), key=lambda each: -(each.rate.per_1000_h or 0.0))
    return EngineersView(
        counted=count_of(standing),
        counts={verdict.value: len(those) for verdict, those in by_verdict.items()},
        changed=book.changed_since(book.now - dt.timedelta(days=30))[:MOST_ROWS],
        more=by_verdict[EffectVerdict.MORE],
        # Those whose window is closed come last: no further hours will tell.
        early=sorted(early, key=lambda each: (each.is_closed, each.judgement.hours_needed or 1e9))[:MOST_ROWS],
        n_early=len(early),
        n_unjudged=len(by_verdict[EffectVerdict.CANNOT_BE_JUDGED]),
        unjudged=by_verdict[EffectVerdict.CANNOT_BE_JUDGED],
        worst=worst[:MOST_ROWS],
        watch=summary_of(watch),
    )


def managers_view(book: Book) -> ManagersView:
    standing = [each for each in book.studies if each.is_standing]
    decide, n_more = decisions_today(book)
    return ManagersView(
        quarter=quarter_of(book),
        decide=decide,
        n_more_decisions=n_more,
        counts=dict(Counter(each.verdict.value for each in standing)),
        counted=count_of(standing),
    )


def start_of_quarter(now: dt.datetime, zone: dt.tzinfo) -> dt.datetime:
    local = now.astimezone(zone)
    first = dt.datetime(local.year, 3 * ((local.month - 1) // 3) + 1, 1, tzinfo=zone)
    return first.astimezone(dt.UTC)


def quarter_of(book: Book) -> Quarter:
    zone = book.plant.zone
    start = start_of_quarter(book.now, zone)
    windows = Window(start, book.now), Window(months_earlier(start, 12, zone), months_earlier(book.now, 12, zone))
    asked = {
        f"m{i}": Sum("minutes_lost", filter=Q(happened_at__gte=window.start) & surely_before(window.end, zone))
        for i, window in enumerate(windows)
    }
    lost = (
        Incident.objects.current()
        .of_plant(book.plant)
        .aggregate(
            **asked, unknown=Count("pk", filter=Q(happened_at__gte=start, severity="trip", minutes_lost__isnull=True))
        )
    )
    return Quarter(
        compared=compare_belts(book.belts, windows[1], windows[0], book.reference),
        minutes=lost["m0"] or 0.0,
        minutes_a_year_ago=lost["m1"] or 0.0,
        n_without_minutes=lost["unknown"],
    )


# --- keeping ----------------------------------------------------------------------------------------------------------
def without_hours(value: Any, seen: dict[int, Any] | None = None) -> Any:
    """The same value with belts that are named only: hours and incidents of the fleet are not kept with it."""
    seen = {} if seen is None else seen
    if isinstance(value, belt_reads.Belt):
        return seen.setdefault(id(value), KeptBelt(value.conveyor))
    if isinstance(value, (list, tuple)):
        return type(value)([without_hours(each, seen) for each in value])
    if isinstance(value, (Study, BeltRate, watch_reads.Fading)):
        if id(value) not in seen:
            # The value itself is held along: its key must not be given to another.
            own = {
                name: without_hours(getattr(value, name), seen)
                for name in ("belt", "sound", "study")
                if hasattr(value, name)
            }
            seen[id(value)] = (replace(value, **own), value)
        return seen[id(value)][0]
    if isinstance(
        value, (FleetList, EngineersView, ManagersView, PendingDecision, Quarter, WatchSummary, RateComparison)
    ):
        return replace(value, **{name: without_hours(each, seen) for name, each in vars(value).items()})
    return value


# In what else a comparison or a belt's rate may stand.
HOLDERS = (FleetList, EngineersView, ManagersView, PendingDecision, Quarter, WatchSummary, RateComparison)
# Everything that these say may stand in a kept result.
MODULES = (
    effect_zones,
    part_ends,
    rates,
    reasons,
    running_hours,
    bad_spells,
    empirical_bayes,
    many_verdicts,
    pooled,
    rate_watch,
    reference_model,
    study_windows,
    verdicts,
    belt_reads,
    pooled_effects,
    rate_reads,
    reference_groups,
    studies,
    watch_reads,
)
CLASSES = (
    *(each for module in MODULES for each in codec.classes_in(module)),
    DecisionRule,
    EngineersView,
    FleetList,
    ManagersView,
    PendingDecision,
    Quarter,
)
KINDS: dict[type[Model], str] = {
    Action: "action",
    Conveyor: "conveyor",
    Installation: "installation",
    StudyWindow: "window",
    Task: "task",
}


def key_of(value: Any) -> codec.RowKey | None:
    kind = KINDS.get(type(value))
    return (kind, value.pk) if kind is not None else None


def rows_of(wanted: Mapping[str, set[int]]) -> dict[codec.RowKey, Any]:
    """Rows that a kept result names, as a book gathers them; a query or two for each kind."""
    of_device = ("installation__conveyor", "installation__device")
    rows = {
        "action": Action.objects.select_related(*of_device, "owner"),
        "conveyor": Conveyor.objects.select_related("area", "plant"),
        "installation": belt_reads.with_all(Installation.objects.all()),
        "window": StudyWindow.objects.select_related("created_by"),
        "task": Task.objects.select_related(*of_device, "check_kind"),
    }
    return {(kind, pk): row for kind, keys in wanted.items() for pk, row in rows[kind].in_bulk(list(keys)).items()}


def as_text(value: Any) -> str:
    return codec.write(value, CLASSES, key_of=key_of)


def from_text(text: str) -> Any:
    return codec.read(text, CLASSES, rows_of=rows_of)
