"""What to read at a device for each of its checks, with the limits and with the readings before beside each."""

from __future__ import annotations

import itertools
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta

from django.utils import timezone

from inspections.calc.grading import Grade
from inspections.check_rules.kinds import rule_of
from inspections.check_rules.wanted import LEFT, Wanted
from inspections.models import (
    CheckKind,
    Reading,
    ReadingField,
    Task,
)
from inspections.selectors.wear import DeviceWear, wear_of
from installs.models import Installation


def readings_wanted(task: Task) -> list[Wanted]:
    """What to fill in for one check, with the reading before beside each."""
    return wanted_of([task], task.installation)[task.pk]


def wanted_of(
    tasks: Sequence[Task],
    installation: Installation,
    *,
    before: datetime | None = None,
    wear: DeviceWear | None = None,
) -> dict[int, list[Wanted]]:
    """What to fill in for each of several checks at one device; the readings before it in one query.

    With the device's own wear a diameter far off its trend is asked back.
    """
    known = readings_before(installation, {task.check_kind_id for task in tasks}, before=before)
    own = list(
        ReadingField.objects.filter(
            check_kind__in={task.check_kind_id for task in tasks if rule_of(task.check_kind).has_own_fields}
        )
    )
    wanted = {}
    for task in tasks:
        rule = rule_of(task.check_kind)
        before_it = {code: row for (kind_id, code), row in known.items() if kind_id == task.check_kind_id}
        fields = [each for each in own if each.check_kind_id == task.check_kind_id]
        previous = {code: row.standing for code, row in before_it.items()}
        nothing = Before()
        wanted[task.pk] = [
            replace(
                each,
                found_before=like_the_last(before_it.get(each.code, nothing).found),
                left_last=before_it.get(each.code, nothing).left_last,
            )
            for each in rule.wanted(installation, fields, previous)
        ]
        if wear is not None:
            wanted[task.pk] = rule.with_trend(wanted[task.pk], expected_at(wear, before or timezone.now()))
    return wanted


def own_wear(tasks: Iterable[Task], installation: Installation, now: datetime) -> DeviceWear | None:
    """The wear of one device, where one of the checks reads its rollers."""
    if not any(rule_of(task.check_kind).reads_wear for task in tasks):
        return None
    return wear_of([installation], now=now).get(installation.pk)


def expected_at(wear: DeviceWear, at: datetime) -> dict[str, dict[str, float]]:
    """What the trend of each roller expects at a moment, by side, and how far a reading scatters about it."""
    expected = {}
    for side in wear.sides:
        if side.trend.way == "none" or wear.hours_per_day is None or at < side.points[-1].at:
            continue
        last = side.points[-1]
        hours = last.hours + wear.hours_per_day * ((at - last.at) / timedelta(days=1))
        expected[side.side] = {"expected": round(side.trend.at(hours), 3), "sigma": round(side.trend.spread(hours), 3)}
    return expected


@dataclass
class Before:
    """The readings of one code at the last visits, the latest first: as found, and as left."""

    found: list[Reading] = field(default_factory=list)
    left: list[Reading] = field(default_factory=list)

    @property
    def left_last(self) -> Reading | None:
        return self.left[0] if self.left else None

    @property
    def standing(self) -> Reading:
        """What it was after the last visit: as left stands for as found where there is both."""
        latest = [*self.left[:1], *self.found[:1]]
        return max(latest, key=lambda row: row.visit.visited_at)


def readings_before(
    installation: Installation, kind_ids: Collection[int], *, before: datetime | None = None, most: int = 3
) -> dict[tuple[int, str], Before]:
    """The last readings by check kind and code, `most` of each stage."""
    rows = (
        Reading.objects.current()
        .filter(visit__installation=installation, task__check_kind_id__in=kind_ids)
        .select_related("visit", "task")
        .order_by("-visit__visited_at", "-pk")
    )
    if before is not None:
        rows = rows.filter(visit__visited_at__lt=before)
    found: dict[tuple[int, str], Before] = {}
    for row in rows[:400]:
        known = found.setdefault((row.task.check_kind_id, row.code), Before())
        of_stage = known.left if row.stage == LEFT else known.found
        if len(of_stage) < most and all(each.visit_id != row.visit_id for each in of_stage):
            of_stage.append(row)
    return found


def like_the_last(rows: Sequence[Reading]) -> tuple[Reading, ...]:
    """Readings that compare with the last one: torques by another method do not, and stay out."""
    return tuple(each for each in rows if each.method == rows[0].method)


def times_running(installation: Installation, kind_id: int, *, besides: int | None = None) -> int:
    """How often a kind of check said act at this place since it last did not; `besides` is a task left out."""
    done = Task.objects.read().filter(installation=installation, check_kind=kind_id)
    if besides is not None:
        done = done.exclude(pk=besides)
    grades = done.order_by("-closed_at", "-pk").values_list("grade", flat=True)[:50]
    return sum(1 for _grade in itertools.takewhile(lambda grade: grade == Grade.ACT.value, grades))


def chosen_check(installation: Installation, kind: CheckKind, on: date) -> Task:
    """A check that nobody asked for, as the pages show it: no row stands for it before it was done."""
    return Task(
        pk=-kind.pk,
        plant=installation.plant,
        installation=installation,
        check_kind=kind,
        origin=Task.Origin.BY_HAND,
        due_on=on,
        opens_on=on,
        closes_on=on,
    )
