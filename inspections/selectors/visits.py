"""What visits found and did, for pages and papers."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Count, F, OuterRef, Q, Subquery

from inspections.check_rules.wanted import FOUND
from inspections.models import (
    Action,
    ActionNote,
    CheckKind,
    Reading,
    Task,
    TwiceClosed,
    Visit,
)
from installs.models import Installation


def visits_of(installation: Installation, last: int = 10) -> Sequence[Visit]:
    """The latest visits that count, with what the panel of a device shows of them."""
    rows = Visit.objects.current().filter(installation=installation).select_related("visited_by")
    return list(rows.prefetch_related("tasks__check_kind")[:last])


def acts_running(installation: Installation) -> dict[int, tuple[CheckKind, int]]:
    """Kinds of check that said act at the last two or more times running, with how many: the cause is still there."""
    runs = acts_running_at([installation.pk])[installation.pk]
    kinds = CheckKind.objects.in_bulk(list(runs))
    return {pk: (kinds[pk], n) for pk, n in runs.items()}


def acts_running_at(installations: Collection[int]) -> dict[int, dict[int, int]]:
    """How often each kind of check said act the last times running, two or more, by device and kind; one query."""
    done = Task.objects.read().filter(installation__in=installations)
    # Of each kind the checks since the last one that did not say act; null where none ever did not.
    other = done.filter(installation=OuterRef("installation"), check_kind=OuterRef("check_kind")).exclude(grade="act")
    last_other = other.order_by("-closed_at", "-pk")
    since = done.filter(grade="act").annotate(
        ended_at=Subquery(last_other.values("closed_at")[:1]), ended_by=Subquery(last_other.values("pk")[:1])
    )
    since = since.filter(
        Q(ended_at__isnull=True) | Q(closed_at__gt=F("ended_at")) | Q(closed_at=F("ended_at"), pk__gt=F("ended_by"))
    )
    found: dict[int, dict[int, int]] = {pk: {} for pk in installations}
    for place, kind, n in since.order_by().values_list("installation", "check_kind").annotate(n=Count("pk")):
        if n > 1:
            found[place][kind] = n
    return found


@dataclass(frozen=True)
class ToolUsed:
    """What torques were read with: the wrench or none, its deviation [%], and what spoke against it that day."""

    stage: str
    method: str
    instrument: Any
    deviation_pct: float
    doubt: str


def tool_used(row: Reading) -> ToolUsed:
    method = row.get_method_display() if row.method else ""
    return ToolUsed(row.get_stage_display(), method, row.instrument, row.deviation_pct or 0, row.doubt)


@dataclass(frozen=True)
class TorqueLine:
    """Torques of one fastener as found by one method, oldest first: readings by two methods never share a line."""

    label: str
    method: str
    readings: tuple[Reading, ...]


def torques_in_time(installation: Installation, *, most: int = 5) -> list[TorqueLine]:
    """The last torques as found of each fastener, one line for each method; those without a method stand apart."""
    rows = (
        Reading.objects.current()
        .as_found()
        .filter(visit__installation=installation, quantity="nm", task__check_kind__rule=CheckKind.Rule.FASTENER_TORQUE)
        .exclude(value=None)
        .select_related("visit", "instrument")
        .order_by("visit__visited_at", "pk")
    )
    lines: dict[tuple[str, str], list[Reading]] = {}
    for row in rows:
        lines.setdefault((row.label, row.method), []).append(row)
    return [
        TorqueLine(label, each[0].get_method_display() if method else "", tuple(each[-most:]))
        for (label, method), each in sorted(lines.items())
    ]


def visit_sheet(visit: Visit) -> dict[str, Any]:
    """One visit as its page shows it: each check with readings as found beside as left, and its corrections.

    `inspections.words.readings.sheet_told` puts the readings into words.
    """
    chain = visit_chain(visit)
    rows = list(
        visit.readings.select_related("task__check_kind", "task__visit", "corrected_by", "instrument").order_by("pk")
    )
    checks: dict[int, dict[str, Any]] = {}
    for row in rows:
        check = checks.setdefault(row.task_id, {"task": row.task, "lines": {}})
        line = check["lines"].setdefault(row.code, {"label": row.label, "found": None, "left": None})
        line["found" if row.stage == FOUND else "left"] = row
    for check in checks.values():
        check["answers"] = list(check["task"].answers_too.order_by("pk"))
        torques = [row for row in rows if row.task_id == check["task"].pk and row.deviation_pct is not None]
        check["tools"] = list(dict.fromkeys(tool_used(row) for row in torques))
    twice = list(
        TwiceClosed.objects.filter(Q(first__in=chain) | Q(second__in=chain)).select_related(
            "task__check_kind", "first__visited_by", "second__visited_by", "decided_by"
        )
    )
    settled = {row.task_id for row in twice if row.counts}
    return {
        "chain": chain,
        "latest": chain[-1],
        "checks": [{**check, "lines": list(check["lines"].values())} for check in checks.values()],
        # Once somebody has said which counts, that stands in place of the rule for the time before.
        "meanwhile": [task for task in closed_meanwhile(visit) if task.pk not in settled],
        "twice": twice,
        "actions": Action.objects.filter(visit__in=chain).select_related("owner"),
        "found_again": ActionNote.objects.current().filter(visit__in=chain).select_related("action__owner"),
        "photos": list(visit.photos.all()),
    }


def closed_meanwhile(visit: Visit) -> list[Task]:
    """Checks of this visit that somebody else had closed before it arrived."""
    chain = visit_chain(visit)
    tasks = Task.objects.filter(readings__visit=visit).exclude(visit__in=chain).distinct()
    return list(tasks.select_related("check_kind", "visit__visited_by", "closed_by"))


def visit_chain(visit: Visit) -> list[Visit]:
    """The visit, those that it corrects, and those that correct it, oldest first."""
    first: Any = visit
    while first.corrects is not None:
        first = first.corrects
    chain = [first]
    while (
        later := Visit.objects.filter(corrects=chain[-1]).select_related("visited_by", "created_by").first()
    ) is not None:
        chain.append(later)
    return chain
