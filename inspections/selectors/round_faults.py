"""What stands against rounds as they are stored."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils import timezone

from inspections.calc.round_check import BrokenRule, Conflict, check_round
from inspections.models import Round, Shift, Stop, Task
from inspections.selectors.round_problems import Desk, desk_for, in_goes, planned_of_stops
from installs.models import Fitting
from plant.models import Plant


@dataclass(frozen=True)
class Fault:
    """A broken rule, and by whom and what; in words `inspections.words.rounds.fault_words`.

    Attributes
    ----------
    round : Round
    stop : Stop or None
        None where it holds for the whole round.
    rule : BrokenRule
    by_s : int
        By how much [s].
    lacking : tuple of str
        Skills or tools that the person lacks.
    shift : Shift or None
    fitting : Fitting or None
        That the stop cuts into.
    """

    round: Round
    stop: Stop | None
    rule: BrokenRule
    by_s: int = 0
    lacking: tuple[str, ...] = ()
    shift: Shift | None = None
    fitting: Fitting | None = None


def faults_of(plant: Plant, rounds: Sequence[Round], *, now: datetime | None = None) -> list[Fault]:
    """What the checker finds in rounds as they are stored. Stops that are over are left out."""
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
        done.append(
            Fault(
                by_shift[conflict.shift],
                at,
                conflict.rule,
                by_s=conflict.by_s,
                lacking=tuple(conflict.words),
                shift=desk.shifts.get(conflict.shift),
                fitting=fitting_in(desk, conflict),
            )
        )
    return done


def fitting_in(desk: Desk, conflict: Conflict) -> Fitting | None:
    """The fitting that a stop cuts into, where it is one and not the break."""
    if conflict.span is None:
        return None
    begin, end = (desk.moment(each) for each in conflict.span)
    for fitting in desk.fittings.get(conflict.shift, ()):
        span = fitting.planned_span
        if span is not None and span[0] < end and begin < span[1]:
            return fitting
    return None


def is_rounding(conflict: Conflict) -> bool:
    """Less than a minute: from rounding, or from a time per check that was learned a little better since."""
    return 0 < conflict.by_s < 60
