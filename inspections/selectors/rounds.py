"""Rounds as they stand: the draft or what is published, what has begun, what is left to lay."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from datetime import date, datetime, timedelta

from inspections.calc.round_problem import walk_m
from inspections.models import Round, Shift, Stop, Task
from inspections.selectors.round_problems import (
    map_of,
)
from plant.models import Plant

LAY_ROUNDS = "lay_rounds"


def shifts_to_lay(plant: Plant, first_day: date, last_day: date, now: datetime) -> list[Shift]:
    rows = Shift.objects.of_plant(plant).filter(day__range=(first_day, last_day), ends_at__gt=now)
    return list(rows.select_related("person", "start_area").order_by("starts_at", "person__username"))


def standing_round(shift: Shift) -> Round | None:
    """The draft of a shift where there is one, else what is published."""
    rows = list(Round.objects.with_stops().filter(shift=shift, superseded_at__isnull=True))
    return next((row for row in rows if row.published_at is None), rows[0] if rows else None)


def is_fixed(stop: Stop, is_published: bool, now: datetime) -> bool:
    """A stop with a closed check, or a published one whose time it is."""
    return stop.is_begun or (is_published and stop.starts_at <= now < stop.ends_at)


def begun_stops(shifts: Iterable[Shift], now: datetime) -> dict[int, list[Stop]]:
    """What keeps its place, by shift, each with `laid_tasks`: of the published rounds, and of drafts what was begun.

    A check still open at a stop that is over, or whose person is away, is free to be laid again.
    """
    away = {shift.pk for shift in shifts if shift.away_from is not None and shift.away_from <= now}
    found: dict[int, list[Stop]] = {}
    for each in Round.objects.with_stops().filter(shift__in=list(shifts), superseded_at__isnull=True):
        is_published = each.published_at is not None
        is_away = each.shift_id in away
        fixed = [stop for stop in each.stops.all() if is_fixed(stop, is_published and not is_away, now)]
        for stop in fixed:
            stop.laid_tasks = [
                task
                for task in stop.tasks_in_order
                if task.closed_at is not None or (stop.ends_at > now and not is_away)
            ]
        if fixed and (is_published or each.shift_id not in found):
            found[each.shift_id] = fixed
    return found


def tasks_to_lay(
    plant: Plant, shifts: Sequence[Shift], begun: dict[int, list[Stop]], last_day: date, now: datetime
) -> list[Task]:
    """Open checks of these days that neither another day's round nor a begun stop has already."""
    taken = {task.pk for stops in begun.values() for stop in stops for task in stop.laid_tasks}
    elsewhere = Stop.objects.filter(
        round__plant=plant, round__superseded_at__isnull=True, round__shift__ends_at__gt=now
    ).exclude(round__shift__in=list(shifts))
    taken |= set(elsewhere.values_list("tasks", flat=True))
    rows = Task.objects.of_plant(plant).due_by(last_day).with_place().with_last_grade().order_by("closes_on", "pk")
    return [task for task in rows if task.pk not in taken]


def free_from(
    plant: Plant, shifts: Sequence[Shift], begun: dict[int, list[Stop]], now: datetime
) -> dict[int, datetime]:
    """From when each person can be sent on: their shift, now, and the way back from what they have begun."""
    places = map_of(plant)
    free: dict[int, datetime] = {}
    for shift in shifts:
        begin = shift.starts_at
        if now > begin:
            begin = now + timedelta(minutes=5 - now.minute % 5, seconds=-now.second, microseconds=-now.microsecond)
        last = max(begun.get(shift.pk, []), key=lambda stop: stop.ends_at, default=None)
        if last is not None:
            task = last.tasks_in_order[-1]
            way = walk_m(places.of_device(task), places.of_start(shift)) / plant.walking_m_s
            begin = max(begin, last.ends_at + timedelta(seconds=math.ceil(way)))
        free[shift.pk] = begin
    return free


def is_published_too(stop: Stop) -> bool:
    """Whether the same stop stands in what is on the phone: then it may be under way."""
    return (
        Stop.objects.filter(
            round__shift=stop.round.shift_id,
            round__published_at__isnull=False,
            round__superseded_at__isnull=True,
            starts_at=stop.starts_at,
            conveyor=stop.conveyor_id,
        ).exists()
        or stop.round.published_at is not None
    )


def parted(row: Round, now: datetime) -> tuple[list[Stop], list[Stop]]:
    """Stops of a round that keep their place, and those that may move."""
    stops = list(row.stops.all())
    fixed = [each for each in stops if is_fixed(each, is_published_too(each), now)]
    return fixed, [each for each in stops if each not in fixed]


def standing_rounds(plant: Plant, day: date) -> list[Round]:
    """The rounds of a day as the planner sees them: drafts before what is published."""
    rows = Round.objects.with_stops().filter(plant=plant, shift__day=day, superseded_at__isnull=True)
    found: dict[int, Round] = {}
    for row in rows.order_by("shift__starts_at", "shift__person__username"):
        if row.shift_id not in found or row.published_at is None:
            found[row.shift_id] = row
    return list(found.values())
