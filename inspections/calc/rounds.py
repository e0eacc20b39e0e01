"""Laying of rounds: which due checks go into which shift, in which order and at what time.

Inputs. *Errands*: the checks at one device that are done in one go, with the state that the belt must be in. *Shifts*:
one person from start to end, with breaks, skills, tools and the place where the round and the break begin and end.
*Windows*: when a conveyor may be locked out. Times are whole seconds from any common origin, names end in `_s`; ways
are metres, names end in `_m`.

Steps. Each errand may be done in any of its *spans* (a stopped belt: inside one outage window; a running belt: outside
all of them). A shift is cut at its breaks into *stretches*; each begins and ends at the start place, so a break is
taken there and the belt is given back before it. PyVRP chooses and orders: the cost of a plan is the seconds of walking
and of isolating, plus the worth of what is left out, in the same seconds. A belt is isolated once for all errands that
follow each other on it inside one window. Then every stretch is timed anew, each errand as early as it may begin, and
what still fits is put in at its cheapest place.

Guarantees. No errand outside its window, its shift, a break, or without its skills and tools: `inspections.calc.
round_check`, written apart from this module, is asked by the tests and by the board.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from inspections.calc.round_problem import (
    DETOUR,
    BeltState,
    Errand,
    Layout,
    MapPlace,
    PlannedErrand,
    RoundPlan,
    RoundProblem,
    Span,
    WorkShift,
    needed_s,
    spans_of,
    walk_m,
)


# --- Times of one stretch ---------------------------------------------------------------------------------------------
def time_stretch(
    problem: RoundProblem,
    shift: WorkShift,
    stretch: int,
    keys: Sequence[int],
    *,
    not_before: Mapping[int, int] | None = None,
    is_forced: bool = False,
) -> tuple[PlannedErrand, ...] | None:
    """Times of errands in order, each as early as it may begin; None where one of them breaks a rule.

    Parameters
    ----------
    problem : RoundProblem
    shift : WorkShift
    stretch : int
        Which of the shift's stretches [-].
    keys : sequence of int
        Errands in order.
    not_before : mapping of int to int, optional
        Nobody is at an errand's belt earlier than this [s].
    is_forced : bool, optional
        Give times even where a rule is broken: the checker then says which.

    Returns
    -------
    tuple of Planned, or None
    """
    begin, end = shift.stretches[stretch]
    here, now, locked = shift.start, begin, None
    done: list[PlannedErrand] = []
    for key in keys:
        errand = problem.errand(key)
        walked = walk_m(here, errand.place)
        walk = math.ceil(walked / problem.walking_m_s)
        arrives = max(now + walk, (not_before or {}).get(key, now))
        found = earliest_start(problem, errand, arrives, locked)
        if found is None or not shift.can_do(errand):
            if not is_forced:
                return None
            is_open = locked is not None and locked[0] == errand.conveyor and errand.belt is BeltState.STOPPED
            isolate = problem.lockout_s if errand.belt is BeltState.STOPPED and not is_open else 0
            found = found or (arrives + isolate, isolate, locked if is_open else None)
        starts, isolate, locked = found
        done.append(
            PlannedErrand(key, shift.key, stretch, round(walked), walk, isolate, starts, starts + errand.work_s)
        )
        here, now = errand.place, starts + errand.work_s
    if not is_forced and now + problem.walk_s(here, shift.start) > end:
        return None
    return tuple(done)


Locked = tuple[int, Span] | None


def earliest_start(
    problem: RoundProblem, errand: Errand, arrives: int, locked: Locked
) -> tuple[int, int, Locked] | None:
    """Earliest start of work, the isolation before it, and what is locked out from then on."""
    is_stopped = errand.belt is BeltState.STOPPED
    for span in spans_of(problem, errand):
        window = window_around(problem, errand, span) if is_stopped else None
        is_open = is_stopped and locked == (errand.conveyor, window)
        isolate = problem.lockout_s if is_stopped and not is_open else 0
        starts = max(arrives, span[0]) + isolate
        if starts + errand.work_s <= span[1]:
            return starts, isolate, (errand.conveyor, window) if window else None
    return None


def window_around(problem: RoundProblem, errand: Errand, span: Span) -> Span:
    """The outage window of its belt in which a span of an errand lies.

    Parameters
    ----------
    problem : RoundProblem
    errand : Errand
    span : (begin, end)
        One of `spans_of` [s].
    """

    return next(each for each in problem.windows[errand.conveyor] if each[0] <= span[0] and span[1] <= each[1])


def split_by_breaks(
    problem: RoundProblem, shift: WorkShift, keys: Sequence[int], not_before: Mapping[int, int] | None = None
) -> tuple[list[PlannedErrand], Layout]:
    """Times of a whole shift in a given order: each errand goes into the first stretch in which all before it fit.

    What fits nowhere is timed after the rest, so that the checker can say what is wrong with it.

    Parameters
    ----------
    problem : RoundProblem
    shift : WorkShift
    keys : sequence of int
        Keys of its errands, in order.
    not_before : mapping of int to int, optional
        Earliest begin of errands that a planner put at a time [s].
    """
    n_stretches = len(shift.stretches)
    layout: Layout = {(shift.key, n): [] for n in range(n_stretches)}
    at = 0
    for key in keys:
        for n in range(at, n_stretches):
            here = layout[shift.key, n]
            if n == n_stretches - 1 or time_stretch(problem, shift, n, [*here, key], not_before=not_before):
                # The last stretch takes what fits nowhere, unless it fits into an earlier one but for its own fault.
                here.append(key)
                at = n
                break
    planned: list[PlannedErrand] = []
    for n in range(n_stretches):
        order = layout[shift.key, n]
        timed = time_stretch(problem, shift, n, order, not_before=not_before)
        if timed is None:
            timed = time_stretch(problem, shift, n, order, not_before=not_before, is_forced=True) or ()
        planned.extend(timed)
    return planned, layout


# --- Putting one more in ----------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class Insertion:
    """Where an errand would go, and how many seconds of walking and isolating that costs."""

    shift: int
    stretch: int
    position: int
    cost_s: int
    planned: tuple[PlannedErrand, ...]


def cost_of(problem: RoundProblem, shift: WorkShift, planned: Sequence[PlannedErrand]) -> int:
    """Walking there and back, and isolating, in one stretch [s]."""
    if not planned:
        return 0
    back = problem.walk_s(problem.errand(planned[-1].errand).place, shift.start)
    return sum(each.walk_s + each.lockout_s for each in planned) + back


def cheapest_insertion(
    problem: RoundProblem, layout: Layout, key: int, *, shifts: Iterable[WorkShift] | None = None
) -> Insertion | None:
    """The cheapest place for one more errand that breaks no rule and moves nothing to another person; None if none.

    Parameters
    ----------
    problem : RoundProblem
    layout : Layout
        What is laid already; it is left as it is.
    key : int
        Key of the errand.
    shifts : iterable of WorkShift, optional
        Where to look; all shifts if not given.
    """
    errand = problem.errand(key)
    spans = spans_of(problem, errand)
    best: Insertion | None = None
    for shift in problem.shifts if shifts is None else shifts:
        if not shift.can_do(errand):
            continue
        for n, (begin, end) in enumerate(shift.stretches):
            if not any(span[0] < end and begin < span[1] for span in spans):
                continue
            order = layout.get((shift.key, n), [])
            before = cost_of(problem, shift, time_stretch(problem, shift, n, order) or ())
            for position in range(len(order) + 1):
                timed = time_stretch(problem, shift, n, [*order[:position], key, *order[position:]])
                if timed is None:
                    continue
                cost = cost_of(problem, shift, timed) - before
                if best is None or cost < best.cost_s:
                    best = Insertion(shift.key, n, position, cost, timed)
    return best


def put_in(layout: Layout, key: int, found: Insertion) -> None:
    """Put an errand where `cheapest_insertion` found a place for it.

    Parameters
    ----------
    layout : Layout
        Changed in place.
    key : int
        Key of the errand.
    found : Insertion
        The place.
    """

    layout.setdefault((found.shift, found.stretch), []).insert(found.position, key)


def fill_up(problem: RoundProblem, layout: Layout, go_on: Callable[[], bool] = lambda: True) -> None:
    """Put in what still fits, what is worth most first, while `go_on` says so."""
    known = {key for order in layout.values() for key in order}
    for errand in sorted(problem.errands, key=lambda each: (-each.worth_s, each.key)):
        if not go_on():
            return
        if errand.key not in known:
            found = cheapest_insertion(problem, layout, errand.key)
            if found is not None and found.cost_s < errand.worth_s:
                put_in(layout, errand.key, found)


def lay_greedily(problem: RoundProblem) -> RoundPlan:
    """A plan without a search, the yardstick: what is worth most goes first, each at its cheapest place.

    Parameters
    ----------
    problem : RoundProblem
    """
    layout: Layout = {}
    fill_up(problem, layout)
    return plan_of(problem, layout)


def plan_of(problem: RoundProblem, layout: Layout, *, was_stopped: bool = False) -> RoundPlan:
    """The figures of a layout.

    Parameters
    ----------
    problem : RoundProblem
    layout : Layout
    was_stopped : bool, optional
        Whether a person ended the search.
    """
    shifts = {each.key: each for each in problem.shifts}
    planned: list[PlannedErrand] = []
    walked = 0.0
    for (shift_key, n), order in sorted(layout.items(), key=lambda each: (shifts[each[0][0]].starts_s, each[0])):
        shift = shifts[shift_key]
        timed = time_stretch(problem, shift, n, order)
        if timed is None:
            raise ValueError(f"the errands {order} do not fit into stretch {n} of shift {shift_key}; check it first")
        planned.extend(timed)
        if timed:
            walked += sum(each.walk_m for each in timed)
            walked += walk_m(problem.errand(timed[-1].errand).place, shift.start)
    known = {each.errand for each in planned}
    left = [each for each in problem.errands if each.key not in known]
    return RoundPlan(
        layout={key: list(order) for key, order in layout.items() if order},
        planned=tuple(planned),
        left_out=tuple(each.key for each in sorted(left, key=lambda each: (-each.worth_s, each.key))),
        worth_planned_s=sum(problem.errand(key).worth_s for key in known),
        worth_total_s=sum(each.worth_s for each in problem.errands),
        walk_m=round(walked),
        lockouts=sum(1 for each in planned if each.lockout_s),
        was_stopped=was_stopped,
    )


# --- The search -------------------------------------------------------------------------------------------------------
Tell = Callable[[float], bool]


class Patience:
    """Ends the search after some seconds or iterations, or as soon as `tell` (given the share done) says stop."""

    def __init__(self, seconds: float | None, iterations: int | None, tell: Tell | None) -> None:
        if seconds is None and iterations is None:
            raise ValueError("neither seconds nor iterations are given; give one of them")
        self.seconds, self.iterations, self.tell = seconds, iterations, tell
        self.began = self.told = time.monotonic()
        self.n = 0
        self.was_stopped = False

    def __call__(self, best_cost: int) -> bool:
        self.n += 1
        return not self.go_on()

    def share(self) -> float:
        by_time = (time.monotonic() - self.began) / self.seconds if self.seconds else 0.0
        by_count = self.n / self.iterations if self.iterations else 0.0
        return min(max(by_time, by_count), 1.0)

    def go_on(self) -> bool:
        return not (self.is_stopped() or self.share() >= 1.0)

    def is_stopped(self) -> bool:
        """Asks at most twice a second, so that asking may cost a query."""
        now = time.monotonic()
        if self.tell and not self.was_stopped and now - self.told >= 0.5:
            self.told = now
            self.was_stopped = not self.tell(self.share())
        return self.was_stopped


def lay_rounds(
    problem: RoundProblem,
    *,
    seconds: float | None = None,
    iterations: int | None = None,
    seed: int = 1,
    tell: Tell | None = None,
) -> RoundPlan:
    """Choose, order and time the errands.

    Parameters
    ----------
    problem : RoundProblem
    seconds, iterations : optional
        When the search ends, whichever is first; only a number of iterations gives the same plan each time [s], [-].
    seed : int, optional
        Of the search.
    tell : callable, optional
        Is told the share of the search that is done (0 to 1), about twice a second; its answer False ends the search.
        The best plan so far is kept.

    Returns
    -------
    RoundPlan
        Never breaks a window, a shift, a break, or a need for skills and tools.

    References
    ----------
    N. A. Wouda, L. Lan, W. Kool: PyVRP, a high-performance VRP solver package. INFORMS Journal on Computing, 2024.
    """
    patience = Patience(seconds, iterations, tell)
    greedy: Layout = {}
    fill_up(problem, greedy, lambda: not patience.is_stopped())
    layout = searched_layout(problem, patience, seed) if problem.errands and problem.shifts else {}
    fill_up(problem, layout, lambda: not patience.is_stopped())
    plans = [plan_of(problem, each, was_stopped=patience.was_stopped) for each in (greedy, layout)]
    best = min(plans, key=lambda plan: total_cost(problem, plan))
    return plan_of(problem, done_early(problem, best.layout), was_stopped=patience.was_stopped)


def done_early(problem: RoundProblem, layout: Layout) -> Layout:
    """The same ways at the same cost, as early as an empty stretch allows: whoever finishes early can help out."""
    early = {key: list(order) for key, order in layout.items()}
    stretches = sorted(
        (begin, shift.key, n, shift) for shift in problem.shifts for n, (begin, _end) in enumerate(shift.stretches)
    )
    for at, (_begin, key, n, shift) in enumerate(stretches):
        order = early.get((key, n), [])
        now = time_stretch(problem, shift, n, order) if order else None
        if not now:
            continue
        for _earlier, other_key, m, other in stretches[:at]:
            if early.get((other_key, m)):
                continue
            timed = time_stretch(problem, other, m, order)
            if timed and cost_of(problem, other, timed) <= cost_of(problem, shift, now):
                early[other_key, m] = early.pop((key, n))
                break
    for _begin, key, n, shift in stretches:
        if early.get((key, n)):
            early[key, n] = without_waiting(problem, shift, n, early[key, n])
    return early


def without_waiting(problem: RoundProblem, shift: WorkShift, stretch: int, order: list[int]) -> list[int]:
    """The same errands at no more cost with less waiting for windows: each put where all are done the soonest."""

    def judge(candidate: list[int]) -> tuple[int, int] | None:
        timed = time_stretch(problem, shift, stretch, candidate)
        return (cost_of(problem, shift, timed), sum(row.ends_s for row in timed)) if timed else None

    best = judge(order)
    if best is None:
        return order
    for key in list(order):
        rest = [each for each in order if each != key]
        for position in range(len(rest) + 1):
            candidate = [*rest[:position], key, *rest[position:]]
            found = judge(candidate)
            if found is not None and found[0] <= best[0] and found[1] < best[1]:
                best, order = found, candidate
    return order


def total_cost(problem: RoundProblem, plan: RoundPlan) -> int:
    """Seconds of walking and isolating, plus the worth of what is left out [s]: what the search makes small."""
    shifts = {each.key: each for each in problem.shifts}
    by_stretch: dict[tuple[int, int], list[PlannedErrand]] = {}
    for each in plan.planned:
        by_stretch.setdefault((each.shift, each.stretch), []).append(each)
    ways = sum(cost_of(problem, shifts[key[0]], timed) for key, timed in by_stretch.items())
    return ways + plan.worth_total_s - plan.worth_planned_s


@dataclass(frozen=True)
class Choice:
    """An errand in one of its spans: what the search sees as one place to go to."""

    errand: Errand
    span: Span
    window: Span | None


def searched_layout(problem: RoundProblem, patience: Patience, seed: int) -> Layout:
    """The order that PyVRP finds. Stretches are its vehicles, choices its clients; one choice of an errand at most."""
    from pyvrp import solve

    choices = [
        Choice(errand, span, window_around(problem, errand, span) if errand.belt is BeltState.STOPPED else None)
        for errand in problem.errands
        for span in spans_of(problem, errand)
        if is_reachable(problem, errand, span)
    ]
    if not choices:
        return {}
    data, stretches = routing_data(problem, choices)
    best = solve(data, patience, seed=seed, collect_stats=False, display=False).best
    layout: Layout = {}
    shifts = {each.key: each for each in problem.shifts}
    if not best.is_feasible():
        return layout  # stopped before the search came to a plan that keeps every rule
    for route in best.routes():
        shift_key, n = stretches[route.vehicle_type()]
        order = [choices[each.idx].errand.key for each in route.schedule() if each.is_client()]
        layout[shift_key, n] = what_fits(problem, shifts[shift_key], n, order)
    return layout


def what_fits(problem: RoundProblem, shift: WorkShift, stretch: int, order: Sequence[int]) -> list[int]:
    """The errands that keep every rule in this order. All of them, but where an earlier window costs a later one its
    isolation.

    Parameters
    ----------
    problem : RoundProblem
    shift : WorkShift
    stretch : int
        Which part of the shift between breaks, from 0.
    order : sequence of int
        Keys of errands.
    """
    if time_stretch(problem, shift, stretch, order) is not None:
        return list(order)
    kept: list[int] = []
    for key in order:
        if time_stretch(problem, shift, stretch, [*kept, key]) is not None:
            kept.append(key)
    return kept


def is_reachable(problem: RoundProblem, errand: Errand, span: Span) -> bool:
    """Whether somebody who can do an errand is at work long enough inside a span.

    Parameters
    ----------
    problem : RoundProblem
    errand : Errand
    span : (begin, end)
        When it may be under way [s].
    """

    return any(
        shift.can_do(errand) and min(end, span[1]) - max(begin, span[0]) >= errand.work_s
        for shift in problem.shifts
        for begin, end in shift.stretches
    )


def routing_data(problem: RoundProblem, choices: Sequence[Choice]) -> tuple[Any, list[tuple[int, int]]]:
    """The problem in PyVRP's words: start places first, then one location for each choice."""
    from pyvrp import ClientGroup, Depot, Location, ProblemData, VehicleType

    starts = list(dict.fromkeys(shift.start for shift in problem.shifts))
    places = [*starts, *(each.errand.place for each in choices)]
    walks = walking_matrix(problem, places)
    entering = walks + isolation_matrix(problem, len(starts), choices)
    far = 1 + int(entering.max()) + max(shift.ends_s for shift in problem.shifts) * 2
    abilities = list(dict.fromkeys((shift.skills, shift.tools) for shift in problem.shifts))
    matrices = []
    for skills, tools in abilities:
        mine = entering.copy()
        for n, each in enumerate(choices, start=len(starts)):
            if not (each.errand.skills <= skills and each.errand.tools <= tools):
                mine[:, n] = far  # nobody gets there in time without what the check needs
        np.fill_diagonal(mine, 0)
        matrices.append(mine)

    by_errand: dict[int, list[int]] = {}
    for n, each in enumerate(choices):
        by_errand.setdefault(each.errand.key, []).append(n)
    groups = [ClientGroup(ids, required=False) for ids in by_errand.values() if len(ids) > 1]
    group_of = {n: g for g, group in enumerate(groups) for n in group.clients}
    clients = [client_of(problem, each, len(starts) + n, group_of.get(n)) for n, each in enumerate(choices)]
    vehicles, stretches = [], []
    for shift in problem.shifts:
        for n, (begin, end) in enumerate(shift.stretches):
            stretches.append((shift.key, n))
            vehicles.append(
                VehicleType(
                    1,
                    start_depot=starts.index(shift.start),
                    end_depot=starts.index(shift.start),
                    tw_early=begin,
                    tw_late=end,
                    profile=abilities.index((shift.skills, shift.tools)),
                )
            )
    locations = [Location(*(place.on_map or place.by_order)) for place in places]
    depots = [Depot(n) for n in range(len(starts))]
    data = ProblemData(locations, clients, depots, vehicles, matrices, matrices, groups)
    return data, stretches


def client_of(problem: RoundProblem, choice: Choice, location: int, group: int | None) -> Any:
    """A choice as a visit of the solver: its span, its work and what leaving it out costs."""
    from pyvrp import Client

    errand = choice.errand
    isolate = needed_s(problem, errand) - errand.work_s
    return Client(
        location,
        service_duration=errand.work_s,
        tw_early=max(choice.span[0] + isolate, 0),
        tw_late=choice.span[1] - errand.work_s,
        prize=errand.worth_s,
        required=False,
        group=group,
    )


def walking_matrix(problem: RoundProblem, places: Sequence[MapPlace]) -> Any:
    """Seconds of walking between all places, rounded up, shape (n, n) [s].

    Parameters
    ----------
    problem : RoundProblem
    places : sequence of MapPlace, length n
    """
    order = np.array([place.by_order for place in places], dtype=float)
    mapped = np.array([place.on_map or (np.nan, np.nan) for place in places], dtype=float)
    by_order = np.hypot(*(order[:, None, :] - order[None, :, :]).transpose(2, 0, 1))
    on_map = np.hypot(*(mapped[:, None, :] - mapped[None, :, :]).transpose(2, 0, 1))
    ways = DETOUR * np.where(np.isnan(on_map), by_order, on_map)
    # The last digits of NumPy's and the math module's roots may differ: never a second too little.
    return np.ceil(ways / problem.walking_m_s - 1e-9).astype(np.int64)


def isolation_matrix(problem: RoundProblem, n_starts: int, choices: Sequence[Choice]) -> Any:
    """Seconds of isolating on the way to each choice: none where the belt is locked out from the one before [s].

    Parameters
    ----------
    problem : RoundProblem
    n_starts : int
        Places at which shifts begin; they stand before the choices.
    choices : sequence of Choice
    """
    conveyor = np.array([-1] * n_starts + [each.errand.conveyor for each in choices])
    window = np.array([-1] * n_starts + [each.window[0] if each.window else -1 for each in choices])
    is_stopped = np.array([False] * n_starts + [each.window is not None for each in choices])
    goes_on = (conveyor[:, None] == conveyor[None, :]) & (window[:, None] == window[None, :]) & is_stopped[:, None]
    return np.where(is_stopped[None, :] & ~goes_on, problem.lockout_s, 0).astype(np.int64)
