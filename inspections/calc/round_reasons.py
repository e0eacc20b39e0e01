"""Why an errand is not in the plan, and the one change that would make it fit.

Nothing is guessed: each change is made to the problem, the errand is put into the plan that stands, and the checker of
`inspections.calc.round_check` must find no fault. What is asked first is what costs a plant least.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import TypeVar

from inspections.calc.round_check import check_round
from inspections.calc.round_problem import (
    BeltState,
    Errand,
    Layout,
    PlannedErrand,
    RoundPlan,
    RoundProblem,
    WorkShift,
    needed_s,
    spans_of,
)
from inspections.calc.rounds import Insertion, cheapest_insertion, put_in, time_stretch

# The longest that a shift is lengthened, and the step in which it is told (common practice, no source).
LONGEST_OVERTIME_S = 2 * 3600
OVERTIME_STEP_S = 300
WITHOUT_END_S = 10**9


class LeftOutReason(StrEnum):
    """Why it did not fit."""

    NO_SHIFT = "no_shift"  # nobody works while it may be done
    NO_SKILL = "no_skill"  # nobody at work has the words
    NO_TOOL = "no_tool"
    NO_WINDOW = "no_window"  # needs a stopped belt and no outage window is planned
    WINDOW_SHORT = "window_short"  # the longest window is too short; minutes_there, minutes_needed
    WINDOW_ELSEWHEN = "window_elsewhen"  # there are windows, but none while somebody who can do it is at work
    NEVER_RUNNING = "never_running"  # needs a running belt, which is never long enough
    NO_TIME = "no_time"  # what is worth more fills the shifts


class NeededChange(StrEnum):
    """The one change that would make it fit."""

    LONGER_SHIFT = "longer_shift"
    SKILL = "skill"
    WINDOW = "window"
    LATER = "later"
    ONE_MORE = "one_more"


@dataclass(frozen=True)
class Remedy:
    """One change, found by making it: who (shift), how long, when the work would be."""

    change: NeededChange
    shift: int
    minutes: int
    starts_s: int
    ends_s: int
    words: tuple[str, ...] = ()


@dataclass(frozen=True)
class LeftOut:
    """An errand that is not in the plan."""

    errand: int
    reason: LeftOutReason
    words: tuple[str, ...] = ()
    minutes_there: int = 0
    minutes_needed: int = 0
    remedy: Remedy | None = None


def explain(problem: RoundProblem, plan: RoundPlan, key: int) -> LeftOut:
    """Why one errand was left out, and the first change that a re-check finds to make it fit.

    Parameters
    ----------
    problem : RoundProblem
    plan : RoundPlan
        A plan of that problem in which the errand is not.
    key : int
        The errand.

    Returns
    -------
    LeftOut
        remedy is None where none of the changes by itself would do.
    """
    errand = problem.errand(key)
    return replace(reason_of(problem, errand), remedy=remedy_for(problem, plan.layout, errand))


def explain_together(
    problem: RoundProblem, plan: RoundPlan, go_on: Callable[[], bool] = lambda: True
) -> list[list[LeftOut]]:
    """Everything that was left out, what matters most first; what one outage window of a belt would take, as one.

    A planner asks for one window per belt. Where several errands wait for one on the same belt, the window is that in
    which all of them fit one after the other; where there is none for all, each is explained by itself. Once `go_on`
    says no, reasons are told and no change is looked for any more.

    Parameters
    ----------
    problem : RoundProblem
    plan : RoundPlan
        What was laid, with the keys that were left out.
    go_on : callable, optional
        Asked before each search for a change.
    """
    waiting: dict[int, list[int]] = {}
    for key in plan.left_out:
        told = reason_of(problem, problem.errand(key))
        if told.reason in (LeftOutReason.NO_WINDOW, LeftOutReason.WINDOW_SHORT, LeftOutReason.WINDOW_ELSEWHEN):
            waiting.setdefault(problem.errand(key).conveyor, []).append(key)
    done: list[list[LeftOut]] = []
    said: set[int] = set()
    for key in plan.left_out:
        if key in said:
            continue
        if not go_on():
            done.append([reason_of(problem, problem.errand(key))])
            continue
        together = waiting.get(problem.errand(key).conveyor, [])
        if key in together and len(together) > 1:
            remedy = window_for_all(problem, plan.layout, [problem.errand(each) for each in together])
            if remedy is not None:
                done.append([replace(reason_of(problem, problem.errand(each)), remedy=remedy) for each in together])
                said.update(together)
                continue
        done.append([explain(problem, plan, key)])
    return done


def window_for_all(problem: RoundProblem, layout: Layout, errands: list[Errand]) -> Remedy | None:
    """The earliest window in which one person does all of these on one belt; the whole plan with it is checked."""
    belt = errands[0].conveyor
    for shift in sorted(problem.shifts, key=lambda each: each.starts_s):
        open_all_day = replace(problem, windows={**problem.windows, belt: ((shift.starts_s, shift.ends_s),)})
        rows = put_all_in(open_all_day, layout, errands, shift)
        if rows is None:
            continue
        window = (min(row.starts_s - row.lockout_s for row in rows), max(row.ends_s for row in rows))
        known = merged((*problem.windows.get(belt, ()), window))
        changed = replace(problem, windows={**problem.windows, belt: known})
        if put_all_in(changed, layout, errands, shift) is not None:
            return Remedy(NeededChange.WINDOW, shift.key, minutes_up(window[1] - window[0]), window[0], window[1])
    return None


def put_all_in(
    problem: RoundProblem, layout: Layout, errands: list[Errand], shift: WorkShift
) -> list[PlannedErrand] | None:
    """When these are worked on if they are put into one shift one after the other; None if one does not fit."""
    fuller: Layout = {key: list(order) for key, order in layout.items()}
    for errand in errands:
        found = cheapest_insertion(problem, fuller, errand.key, shifts=[shift])
        if found is None or not is_sound(problem, fuller, found):
            return None
        put_in(fuller, errand.key, found)
    wanted = {errand.key for errand in errands}
    rows: list[PlannedErrand] = []
    for n in range(len(shift.stretches)):
        rows += time_stretch(problem, shift, n, fuller.get((shift.key, n), [])) or ()
    return [row for row in rows if row.errand in wanted]


def minutes_up(seconds: int) -> int:
    """Whole minutes, rounded up."""
    return -(-seconds // 60)


def reason_of(problem: RoundProblem, errand: Errand) -> LeftOut:
    """The first thing that stands in the way, from what nobody can help to what is a question of time."""
    need = minutes_up(needed_s(problem, errand))
    at_work = [shift for shift in problem.shifts if meets(shift, [(errand.opens_s, errand.closes_s)])]
    if not at_work:
        return LeftOut(errand.key, LeftOutReason.NO_SHIFT, minutes_needed=need)
    able = [shift for shift in at_work if shift.can_do(errand)]
    if not able:
        skilled = [shift for shift in at_work if errand.skills <= shift.skills]
        missing = [errand.tools - shift.tools for shift in skilled]
        if not skilled:
            missing = [errand.skills - shift.skills for shift in at_work]
        fewest = min(missing, key=lambda words: (len(words), sorted(words)))
        words = tuple(sorted(fewest))
        return LeftOut(
            errand.key, LeftOutReason.NO_TOOL if skilled else LeftOutReason.NO_SKILL, words, minutes_needed=need
        )
    spans = spans_of(problem, errand)
    windows = problem.windows.get(errand.conveyor, ())
    if errand.belt is BeltState.STOPPED and not windows:
        return LeftOut(errand.key, LeftOutReason.NO_WINDOW, minutes_needed=need)
    if errand.belt is BeltState.STOPPED and not spans:
        there = max(max(min(b, errand.closes_s) - max(a, errand.opens_s), 0) for a, b in windows) // 60
        return LeftOut(errand.key, LeftOutReason.WINDOW_SHORT, minutes_there=there, minutes_needed=need)
    if errand.belt is BeltState.RUNNING and not spans:
        return LeftOut(errand.key, LeftOutReason.NEVER_RUNNING, minutes_needed=need)
    if not any(meets(shift, spans) for shift in able):
        return LeftOut(errand.key, LeftOutReason.WINDOW_ELSEWHEN, minutes_needed=need)
    return LeftOut(errand.key, LeftOutReason.NO_TIME, minutes_needed=need)


def meets(shift: WorkShift, spans: Iterable[tuple[int, int]]) -> bool:
    """Whether a shift overlaps one of the spans [s]."""
    return any(begin < shift.ends_s and shift.starts_s < end for begin, end in spans)


def remedy_for(problem: RoundProblem, layout: Layout, errand: Errand) -> Remedy | None:
    """The first change that would make an errand fit, tried from the least trouble to the most."""
    tried: tuple[Callable[[RoundProblem, Layout, Errand], Remedy | None], ...] = (
        by_skill,
        by_longer_shift,
        by_window,
        by_later,
        by_one_more,
    )
    return next((found for each in tried if (found := each(problem, layout, errand)) is not None), None)


# --- The changes, each made and checked -------------------------------------------------------------------------------
def is_sound(problem: RoundProblem, layout: Layout, found: Insertion) -> bool:
    """The plan with the errand in it breaks no rule of the changed problem."""
    shifts = {shift.key: shift for shift in problem.shifts}
    planned: list[PlannedErrand] = list(found.planned)
    for (shift_key, n), order in layout.items():
        if (shift_key, n) == (found.shift, found.stretch):
            continue
        timed = time_stretch(problem, shifts[shift_key], n, order)
        if timed is None:
            return False
        planned.extend(timed)
    return not check_round(problem, planned)


def timed_of(found: Insertion, key: int) -> PlannedErrand:
    """The times of one errand where it was put in."""
    return next(each for each in found.planned if each.errand == key)


def by_longer_shift(problem: RoundProblem, layout: Layout, errand: Errand) -> Remedy | None:
    """The shift that must be lengthened least, up to two hours."""
    best: tuple[int, WorkShift, Insertion] | None = None
    for shift in problem.shifts:
        if not shift.can_do(errand):
            continue
        free = longest_overtime(problem, shift)
        # The least that does, by halving: a longer shift never loses an errand.
        low, high = 0, free // OVERTIME_STEP_S
        found = with_overtime(problem, layout, errand, shift, high * OVERTIME_STEP_S)
        while found is not None and high - low > 1:
            middle = (low + high) // 2
            shorter = with_overtime(problem, layout, errand, shift, middle * OVERTIME_STEP_S)
            low, high, found = (low, middle, shorter) if shorter is not None else (middle, high, found)
        if found is not None and (best is None or high < best[0]):
            best = (high, shift, found)
    if best is None:
        return None
    steps, shift, found = best
    row = timed_of(found, errand.key)
    return Remedy(NeededChange.LONGER_SHIFT, shift.key, steps * OVERTIME_STEP_S // 60, row.starts_s, row.ends_s)


def longest_overtime(problem: RoundProblem, shift: WorkShift) -> int:
    """Until the same person's next shift, two hours at most."""
    following = [each.starts_s for each in problem.shifts if each.person == shift.person]
    return min([LONGEST_OVERTIME_S, *(begin - shift.ends_s for begin in following if begin >= shift.ends_s)])


def with_overtime(
    problem: RoundProblem, layout: Layout, errand: Errand, shift: WorkShift, overtime_s: int
) -> Insertion | None:
    """Where an errand would go if a shift were longer by so much [s]; None where it still breaks a rule."""
    longer = replace(shift, ends_s=shift.ends_s + overtime_s)
    changed = replace(problem, shifts=tuple(longer if each.key == shift.key else each for each in problem.shifts))
    found = cheapest_insertion(changed, layout, errand.key, shifts=[longer])
    return found if found is not None and is_sound(changed, layout, found) else None


def by_skill(problem: RoundProblem, layout: Layout, errand: Errand) -> Remedy | None:
    """The person who lacks fewest words."""

    def lacks(shift: WorkShift) -> int:
        return len(errand.skills - shift.skills) + len(errand.tools - shift.tools)

    for shift in sorted(problem.shifts, key=lambda each: (lacks(each), each.starts_s, each.key)):
        if not lacks(shift):
            continue
        able = replace(shift, skills=shift.skills | errand.skills, tools=shift.tools | errand.tools)
        changed = replace(problem, shifts=tuple(able if each.key == shift.key else each for each in problem.shifts))
        found = cheapest_insertion(changed, layout, errand.key, shifts=[able])
        if found is not None and is_sound(changed, layout, found):
            row = timed_of(found, errand.key)
            words = tuple(sorted((errand.skills - shift.skills) | (errand.tools - shift.tools)))
            return Remedy(NeededChange.SKILL, shift.key, minutes_up(errand.work_s), row.starts_s, row.ends_s, words)
    return None


def by_window(problem: RoundProblem, layout: Layout, errand: Errand) -> Remedy | None:
    """The earliest outage window of just the minutes that are needed, while somebody who can do it has time."""
    if errand.belt is not BeltState.STOPPED:
        return None
    for shift in sorted(problem.shifts, key=lambda each: each.starts_s):
        if not shift.can_do(errand):
            continue
        open_all_day = replace(
            problem,
            windows={**problem.windows, errand.conveyor: ((shift.starts_s, shift.ends_s),)},
        )
        found = cheapest_insertion(open_all_day, layout, errand.key, shifts=[shift])
        if found is None:
            continue
        row = timed_of(found, errand.key)
        window = (row.starts_s - needed_s(problem, errand) + errand.work_s, row.ends_s)
        known = (*problem.windows.get(errand.conveyor, ()), window)
        changed = replace(problem, windows={**problem.windows, errand.conveyor: merged(known)})
        again = cheapest_insertion(changed, layout, errand.key, shifts=[shift])
        if again is not None and is_sound(changed, layout, again):
            return Remedy(NeededChange.WINDOW, shift.key, minutes_up(window[1] - window[0]), window[0], window[1])
    return None


Seconds = TypeVar("Seconds", int, float)


def merged(windows: Iterable[tuple[Seconds, Seconds]]) -> tuple[tuple[Seconds, Seconds], ...]:
    """Windows in order, those that touch or overlap made one.

    Parameters
    ----------
    windows : iterable of (begin, end)
        In seconds from the same start [s].
    """
    done: list[tuple[Seconds, Seconds]] = []
    for begin, end in sorted(windows):
        if done and begin <= done[-1][1]:
            done[-1] = (done[-1][0], max(done[-1][1], end))
        else:
            done.append((begin, end))
    return tuple(done)


def by_later(problem: RoundProblem, layout: Layout, errand: Errand) -> Remedy | None:
    """After the check's own window has closed, in the shifts at hand."""
    if errand.closes_s >= max((shift.ends_s for shift in problem.shifts), default=0):
        return None
    open_on = replace(errand, closes_s=WITHOUT_END_S)
    changed = replace(problem, errands=tuple(open_on if each.key == errand.key else each for each in problem.errands))
    found = cheapest_insertion(changed, layout, errand.key)
    if found is None or not is_sound(changed, layout, found):
        return None
    row = timed_of(found, errand.key)
    return Remedy(NeededChange.LATER, found.shift, minutes_up(row.ends_s - errand.closes_s), row.starts_s, row.ends_s)


def by_one_more(problem: RoundProblem, layout: Layout, errand: Errand) -> Remedy | None:
    """One more person beside a shift, able to do it."""
    free_key = 1 + max((shift.key for shift in problem.shifts), default=0)
    for shift in sorted(problem.shifts, key=lambda each: (each.starts_s, each.key)):
        more = replace(
            shift,
            key=free_key,
            person="",
            skills=shift.skills | errand.skills,
            tools=shift.tools | errand.tools,
        )
        changed = replace(problem, shifts=(*problem.shifts, more))
        found = cheapest_insertion(changed, layout, errand.key, shifts=[more])
        if found is not None and is_sound(changed, layout, found):
            row = timed_of(found, errand.key)
            return Remedy(NeededChange.ONE_MORE, shift.key, minutes_up(errand.work_s), row.starts_s, row.ends_s)
    return None
