"""What stands against rounds as they are stored."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils import timezone

from inspections.calc.round_check import Conflict, Rule, check_round
from inspections.models import Round, Stop, Task
from inspections.selectors.round_problems import (
    desk_for,
    in_goes,
    planned_of_stops,
)
from inspections.words.rounds import conflict_words
from plant.models import Plant


@dataclass(frozen=True)
class Fault:
    """A broken rule in a whole sentence."""

    round: Round
    stop: Stop | None
    words: str
    rule: Rule = Rule.UNKNOWN


def faults_of(plant: Plant, rounds: Sequence[Round], *, now: datetime | None = None) -> list[Fault]:
    """What the checker finds in rounds as they are stored, in words. Stops that are over are left out."""
    now = now or timezone.now()
    shifts = [each.shift for each in rounds]
    today = now.astimezone(plant.zone).date()
    last_day = max((shift.day for shift in shifts), default=today)
    goes: list[list[Task]] = []
    goes_of: dict[int, list[int]] = {}
    stop_of: dict[int, Stop] = {}
    for each in rounds:
        for stop in each.stops.all():
            open_tasks = [task for task in stop.tasks_in_order if task.closed_at is None]
            for those in in_goes(open_tasks, today, last_day):
                goes_of.setdefault(stop.pk, []).append(len(goes))
                stop_of[len(goes)] = stop
                goes.append(those)
    if not goes:
        return []
    desk = desk_for(plant, shifts, goes, now=now)
    by_shift = {each.shift_id: each for each in rounds}
    done: list[Fault] = []
    said: set[tuple[Any, ...]] = set()
    for conflict in check_round(desk.problem, planned_of_stops(desk, rounds, goes_of)):
        at = stop_of.get(conflict.errand)
        key = (conflict.rule, at.pk if at else None)
        if is_rounding(conflict) or key in said:
            continue
        said.add(key)
        done.append(Fault(by_shift[conflict.shift], at, conflict_words(desk, conflict, at), conflict.rule))
    return done


def is_rounding(conflict: Conflict) -> bool:
    """Less than a minute: from rounding, or from a time per check that was learned a little better since."""
    return 0 < conflict.by_s < 60
