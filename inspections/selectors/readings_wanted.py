"""What to read at a device for each of its checks, with the limits and with the readings before beside each."""

from __future__ import annotations

import itertools
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta

from django.db.models import F, Window
from django.db.models.functions import DenseRank
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
from installs.selectors.belt_offsets import stations_of_each


def readings_wanted(task: Task) -> list[Wanted]:
    """What to fill in for one check, with the reading before beside each."""
    return wanted_of([task], task.installation)[task.pk]


@dataclass(frozen=True)
class Gathered:
    """What the readings of several devices are asked with, gathered once for all of them.

    Attributes
    ----------
    before : mapping of installation to what `readings_before` found there
    fields : sequence of ReadingField
        Of the plant's own kinds among the checks.
    stations : mapping of installation to the stations where the belt's offset is read [m]
    """

    before: Mapping[int, Mapping[tuple[int, str], Before]]
    fields: Sequence[ReadingField]
    stations: Mapping[int, Sequence[float]]


def gathered_for(tasks: Collection[Task], *, before: datetime | None = None) -> Gathered:
    """What stands behind the readings of checks, at as many devices as they are; a fixed number of queries."""
    own = {task.check_kind_id for task in tasks if rule_of(task.check_kind).has_own_fields}
    measured = {task.installation_id: task.installation for task in tasks if rule_of(task.check_kind).reads_offsets}
    return Gathered(
        before=readings_before(
            {task.installation_id for task in tasks}, {task.check_kind_id for task in tasks}, before=before
        ),
        fields=list(ReadingField.objects.filter(check_kind__in=own)) if own else [],
        stations=stations_of_each(measured.values()) if measured else {},
    )


def wanted_of(
    tasks: Sequence[Task],
    installation: Installation,
    *,
    before: datetime | None = None,
    wear: DeviceWear | None = None,
    gathered: Gathered | None = None,
) -> dict[int, list[Wanted]]:
    """What to fill in for each of several checks at one device, with the readings before it.

    With the device's own wear a diameter far off its trend is asked back.
    """
    gathered = gathered or gathered_for(tasks, before=before)
    known = gathered.before.get(installation.pk, {})
    stations = gathered.stations.get(installation.pk, ())
    wanted = {}
    for task in tasks:
        rule = rule_of(task.check_kind)
        before_it = {code: row for (kind_id, code), row in known.items() if kind_id == task.check_kind_id}
        fields = [each for each in gathered.fields if each.check_kind_id == task.check_kind_id]
        previous = {code: row.standing for code, row in before_it.items()}
        nothing = Before()
        wanted[task.pk] = [
            replace(
                each,
                found_before=like_the_last(before_it.get(each.code, nothing).found),
                left_last=before_it.get(each.code, nothing).left_last,
            )
            for each in rule.wanted(installation, fields, previous, stations)
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
    installations: Collection[int], kind_ids: Collection[int], *, before: datetime | None = None, most: int = 3
) -> dict[int, dict[tuple[int, str], Before]]:
    """The last readings by device, then by check kind and code, those of the last `most` visits of each stage.

    One query, whose rows do not grow with the years that a device has been visited.
    """
    rows = Reading.objects.current().filter(visit__installation__in=installations, task__check_kind_id__in=kind_ids)
    if before is not None:
        rows = rows.filter(visit__visited_at__lt=before)
    nth_visit = Window(
        DenseRank(),
        partition_by=["visit__installation_id", "task__check_kind_id", "code", "stage"],
        order_by=[F("visit__visited_at").desc(), F("visit_id").desc()],
    )
    rows = rows.annotate(nth_visit=nth_visit).filter(nth_visit__lte=most)
    found: dict[int, dict[tuple[int, str], Before]] = {pk: {} for pk in installations}
    for row in rows.select_related("visit", "task").order_by("-visit__visited_at", "-pk"):
        known = found[row.visit.installation_id].setdefault((row.task.check_kind_id, row.code), Before())
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
