"""Does a plan of rounds keep every rule? Written apart from the search and from its arithmetic, on purpose.

It knows only the problem and a list of when each errand is worked on by whom. It is asked by the tests about random
plants, and by the board about what a planner moved by hand.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from inspections.calc.round_problem import BeltState, Errand, MapPlace, PlannedErrand, RoundProblem, WorkShift


class BrokenRule(StrEnum):
    """What is broken."""

    TWICE = "twice"
    UNKNOWN = "unknown"
    SKILL = "skill"
    TOOL = "tool"
    BEFORE_SHIFT = "before_shift"
    AFTER_SHIFT = "after_shift"
    BREAK = "break"
    TOO_SOON = "too_soon"
    TOO_SHORT = "too_short"
    NOT_OPEN = "not_open"
    CLOSED = "closed"
    NO_WINDOW = "no_window"
    RUNNING = "running"
    LOCKOUT = "lockout"


@dataclass(frozen=True)
class Conflict:
    """One broken rule; by_s says by how many seconds, where that has a meaning."""

    rule: BrokenRule
    shift: int
    errand: int
    by_s: int = 0
    words: tuple[str, ...] = ()
    # The break that is cut into.
    span: tuple[int, int] | None = None


def check_round(problem: RoundProblem, planned: Iterable[PlannedErrand]) -> list[Conflict]:
    """Every rule that a plan breaks; an empty list if none.

    Parameters
    ----------
    problem : RoundProblem
    planned : iterable of PlannedErrand
        Only errand, shift, starts_s, ends_s and lockout_s are believed; walking is worked out again.

    Returns
    -------
    list of Conflict
        By shift and time.
    """
    shifts = {shift.key: shift for shift in problem.shifts}
    errands = {errand.key: errand for errand in problem.errands}
    rows: dict[int, list[PlannedErrand]] = defaultdict(list)
    found: list[Conflict] = []
    met: set[int] = set()
    for row in planned:
        if row.shift not in shifts or row.errand not in errands:
            found.append(Conflict(BrokenRule.UNKNOWN, row.shift, row.errand))
            continue
        if row.errand in met:
            found.append(Conflict(BrokenRule.TWICE, row.shift, row.errand))
        met.add(row.errand)
        rows[row.shift].append(row)
    for key, those in rows.items():
        in_time = sorted(those, key=lambda row: (row.starts_s, row.ends_s))
        found += of_shift(problem, shifts[key], errands, in_time)
    return found


def of_shift(
    problem: RoundProblem, shift: WorkShift, errands: dict[int, Errand], rows: list[PlannedErrand]
) -> list[Conflict]:
    """What is wrong with the errands of one shift and with the ways between them, in their order."""
    found: list[Conflict] = []
    before: PlannedErrand | None = None
    for row in rows:
        errand = errands[row.errand]
        found += of_errand(problem, shift, errand, row)
        found += of_way(problem, shift, errands, before, row)
        before = row
    if before is not None:
        home = before.ends_s + seconds_between(problem, errands[before.errand].place, shift.start)
        if home > shift.ends_s:
            found.append(Conflict(BrokenRule.AFTER_SHIFT, shift.key, before.errand, home - shift.ends_s))
    return found


def of_errand(problem: RoundProblem, shift: WorkShift, errand: Errand, row: PlannedErrand) -> list[Conflict]:
    """Rules that concern one errand by itself."""
    found: list[Conflict] = []

    def blame(rule: BrokenRule, by_s: int = 0, words: Iterable[str] = ()) -> None:
        found.append(Conflict(rule, shift.key, errand.key, by_s, tuple(sorted(words))))

    if errand.skills - shift.skills:
        blame(BrokenRule.SKILL, words=errand.skills - shift.skills)
    if errand.tools - shift.tools:
        blame(BrokenRule.TOOL, words=errand.tools - shift.tools)
    if row.ends_s - row.starts_s < errand.work_s:
        blame(BrokenRule.TOO_SHORT, errand.work_s - (row.ends_s - row.starts_s))
    at_belt = row.starts_s - row.lockout_s
    if at_belt < shift.starts_s:
        blame(BrokenRule.BEFORE_SHIFT, shift.starts_s - at_belt)
    if at_belt < errand.opens_s:
        blame(BrokenRule.NOT_OPEN, errand.opens_s - at_belt)
    if row.ends_s > errand.closes_s:
        blame(BrokenRule.CLOSED, row.ends_s - errand.closes_s)
    windows = problem.windows.get(errand.conveyor, ())
    if errand.belt is BeltState.STOPPED and not any(a <= at_belt and row.ends_s <= b for a, b in windows):
        blame(BrokenRule.NO_WINDOW, shortfall(windows, at_belt, row.ends_s))
    if errand.belt is BeltState.RUNNING and any(a < row.ends_s and at_belt < b for a, b in windows):
        blame(BrokenRule.RUNNING)
    for a, b in shift.breaks:
        if a < row.ends_s and at_belt < b:
            found.append(Conflict(BrokenRule.BREAK, shift.key, errand.key, span=(a, b)))
    return found


def shortfall(windows: Iterable[tuple[int, int]], begin: int, end: int) -> int:
    """By how much the nearest window misses it; 0 where there is none at all."""
    return min((max(a - begin, 0) + max(end - b, 0) for a, b in windows), default=0)


def of_way(
    problem: RoundProblem,
    shift: WorkShift,
    errands: dict[int, Errand],
    before: PlannedErrand | None,
    row: PlannedErrand,
) -> list[Conflict]:
    """Rules between two errands that follow each other: the way, the break between them, the isolation."""
    errand = errands[row.errand]
    at_belt = row.starts_s - row.lockout_s
    left_at = shift.starts_s if before is None else before.ends_s
    came_from = shift.start if before is None else errands[before.errand].place
    found: list[Conflict] = []
    rested = False
    for begin, end in shift.breaks:
        if left_at <= begin and end <= at_belt:
            rested = True
            back = left_at + seconds_between(problem, came_from, shift.start)
            if before is not None and back > begin:
                found.append(Conflict(BrokenRule.BREAK, shift.key, before.errand, back - begin, span=(begin, end)))
            left_at, came_from = end, shift.start
    due = left_at + seconds_between(problem, came_from, errand.place)
    if at_belt < due:
        found.append(Conflict(BrokenRule.TOO_SOON, shift.key, errand.key, due - at_belt))
    if errand.belt is BeltState.STOPPED and row.lockout_s < problem.lockout_s:
        windows = problem.windows.get(errand.conveyor, ())
        still_locked = (
            before is not None
            and not rested
            and errands[before.errand].conveyor == errand.conveyor
            and errands[before.errand].belt is BeltState.STOPPED
            and any(a <= before.starts_s and row.ends_s <= b for a, b in windows)
        )
        # Outside every window that is said already; a missing isolation on top of it would say it twice.
        has_window = any(a <= at_belt and row.ends_s <= b for a, b in windows)
        if not still_locked and has_window:
            found.append(Conflict(BrokenRule.LOCKOUT, shift.key, errand.key, problem.lockout_s - row.lockout_s))
    return found


def seconds_between(problem: RoundProblem, a: MapPlace, b: MapPlace) -> int:
    """The way on the map where both places are on it, else by walking order, in seconds."""
    pair = (a.on_map, b.on_map) if a.on_map is not None and b.on_map is not None else (a.by_order, b.by_order)
    (ax, ay), (bx, by) = pair
    # The share by which a walkway is longer than the straight line is written out here again, on purpose.
    way = 1.3 * math.sqrt((ax - bx) ** 2 + (ay - by) ** 2)
    return math.ceil(way / problem.walking_m_s - 1e-6)
