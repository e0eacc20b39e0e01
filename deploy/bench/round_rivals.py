"""A made-up plant of the size that a planner has, and the other solver that rounds are compared with on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from inspections.calc.round_problem import (
    BeltState,
    Errand,
    Layout,
    RoundPlan,
    RoundProblem,
    WorkShift,
    needed_s,
    place_of,
    spans_of,
    worth_s,
)
from inspections.calc.rounds import (
    Choice,
    is_reachable,
    isolation_matrix,
    plan_of,
    walking_matrix,
    what_fits,
    window_around,
)

DAY_S = 86_400
KINDS = (("look", BeltState.ANY, 5), ("running", BeltState.RUNNING, 10))
STOPPED = (("wear", 20, "caliper"), ("pivot", 10, "spring balance"), ("torque", 25, "torque wrench"))


@dataclass(frozen=True)
class Size:
    """How large the plant of a comparison is."""

    tasks: int = 400
    positions: int = 150
    conveyors: int = 60
    people: int = 4
    days: int = 5


def made_up_problem(size: Size, seed: int) -> tuple[RoundProblem, int]:
    """A random plant with its due checks, and how many checks they are.

    Six areas of belts 20 to 900 m long; two thirds of the checks need a stopped belt; two belts of three have an outage
    window of two to eight hours on one of the days; one person of four has no torque wrench. Checks at one device in
    the same state of the belt are one errand, as they are when rounds are laid from the book.

    Parameters
    ----------
    size : Size
    seed : int
        The same seed makes the same plant.

    Returns
    -------
    (RoundProblem, int)
    """
    rng = np.random.default_rng(seed)
    lengths = rng.uniform(20, 900, size.conveyors)
    at = [(n % size.conveyors, float(rng.uniform(0, lengths[n % size.conveyors]))) for n in range(size.positions)]
    goes: dict[tuple[int, BeltState, str], list[tuple[int, int]]] = {}
    for _n in range(size.tasks):
        position = int(rng.integers(size.positions))
        if rng.random() < 2 / 3:
            _name, minutes, tool = STOPPED[int(rng.integers(len(STOPPED)))]
            key = (position, BeltState.STOPPED, tool if tool == "torque wrench" else "")
        else:
            _name, belt, minutes = KINDS[int(rng.integers(len(KINDS)))]
            key = (position, belt, "")
        late = int(rng.integers(1, 40)) if rng.random() < 0.2 else 0
        worth = worth_s(
            days_late=late,
            days_left=0 if late else int(rng.integers(0, 14)),
            criticality=str(rng.choice(["low", "medium", "high"])),
            last_grade=str(rng.choice(["", "sound", "sound", "watch", "act"])),
        )
        goes.setdefault(key, []).append((minutes, worth))
    errands = []
    for n, ((position, belt, tool), those) in enumerate(goes.items()):
        conveyor, chainage = at[position]
        errands.append(
            Errand(
                key=n,
                conveyor=conveyor,
                place=place_of(area_rank=conveyor % 6, conveyor_rank=conveyor // 6, chainage_m=chainage),
                work_s=60 * sum(minutes for minutes, _worth in those),
                worth_s=sum(worth for _minutes, worth in those),
                belt=belt,
                tools=frozenset({tool} if tool else ()),
            )
        )
    windows = {}
    for conveyor in range(size.conveyors):
        if rng.random() < 2 / 3:
            begin = int(rng.integers(size.days)) * DAY_S + int(rng.integers(6, 12)) * 3600
            windows[conveyor] = ((begin, begin + int(rng.integers(2, 9)) * 3600),)
    start = place_of(area_rank=0, conveyor_rank=0)
    shifts = tuple(
        WorkShift(
            key=person * size.days + day,
            person=f"person-{person}",
            starts_s=day * DAY_S + 6 * 3600,
            ends_s=day * DAY_S + 14 * 3600,
            start=start,
            breaks=((day * DAY_S + 10 * 3600, day * DAY_S + 10 * 3600 + 1800),),
            tools=frozenset() if person == size.people - 1 and person else frozenset({"torque wrench"}),
        )
        for person in range(size.people)
        for day in range(size.days)
    )
    return RoundProblem(tuple(errands), shifts, windows), size.tasks


def lay_with_or_tools(problem: RoundProblem, seconds: float) -> RoundPlan:
    """The same problem given to the routing solver of OR-Tools, with guided local search for a number of seconds.

    Stretches are its vehicles, choices its nodes, as for PyVRP; the cost is the same. Its answer is timed by the same
    code, so that the figures mean the same.

    Parameters
    ----------
    problem : RoundProblem
    seconds : float
        How long it may search [s].

    Raises
    ------
    ImportError
        If OR-Tools is not installed: it is the optional extra `bench`.
    """
    from ortools.constraint_solver import pywrapcp, routing_enums_pb2

    choices = [
        Choice(errand, span, window_around(problem, errand, span) if errand.belt is BeltState.STOPPED else None)
        for errand in problem.errands
        for span in spans_of(problem, errand)
        if is_reachable(problem, errand, span)
    ]
    stretches = [(shift, n) for shift in problem.shifts for n in range(len(shift.stretches))]
    starts = list(dict.fromkeys(shift.start for shift in problem.shifts))
    places = [*starts, *(each.errand.place for each in choices)]
    entering = walking_matrix(problem, places) + isolation_matrix(problem, len(starts), choices)
    depots = [starts.index(shift.start) for shift, _n in stretches]
    manager = pywrapcp.RoutingIndexManager(len(places), len(stretches), depots, depots)
    model = pywrapcp.RoutingModel(manager)
    work = [0] * len(starts) + [each.errand.work_s for each in choices]

    def cost(a: int, b: int) -> int:
        return int(entering[manager.IndexToNode(a), manager.IndexToNode(b)])

    def passed(a: int, b: int) -> int:
        return cost(a, b) + work[int(manager.IndexToNode(a))]

    model.SetArcCostEvaluatorOfAllVehicles(model.RegisterTransitCallback(cost))
    horizon = max(shift.ends_s for shift in problem.shifts)
    model.AddDimension(model.RegisterTransitCallback(passed), horizon, horizon, False, "time")
    time = model.GetDimensionOrDie("time")
    for vehicle, (shift, n) in enumerate(stretches):
        begin, end = shift.stretches[n]
        time.CumulVar(model.Start(vehicle)).SetRange(begin, end)
        time.CumulVar(model.End(vehicle)).SetRange(begin, end)
    of_errand: dict[int, list[int]] = {}
    for n, each in enumerate(choices):
        node = manager.NodeToIndex(len(starts) + n)
        isolate = needed_s(problem, each.errand) - each.errand.work_s
        low, high = max(each.span[0] + isolate, 0), min(each.span[1] - each.errand.work_s, horizon)
        time.CumulVar(node).SetRange(low, high)
        model.VehicleVar(node).SetValues([-1, *able(stretches, each)])
        of_errand.setdefault(each.errand.key, []).append(node)
    for key, nodes in of_errand.items():
        model.AddDisjunction(nodes, problem.errand(key).worth_s)
    asked = pywrapcp.DefaultRoutingSearchParameters()
    asked.first_solution_strategy = routing_enums_pb2.FirstSolutionStrategy.PARALLEL_CHEAPEST_INSERTION
    asked.local_search_metaheuristic = routing_enums_pb2.LocalSearchMetaheuristic.GUIDED_LOCAL_SEARCH
    asked.time_limit.FromMilliseconds(round(seconds * 1000))
    found = model.SolveWithParameters(asked)
    return plan_of(problem, layout_of(problem, model, manager, found, stretches, choices, len(starts)))


def able(stretches: Sequence[tuple[WorkShift, int]], choice: Choice) -> list[int]:
    """Which stretches belong to somebody who can do the errand of a choice."""
    return [vehicle for vehicle, (shift, _n) in enumerate(stretches) if shift.can_do(choice.errand)]


def layout_of(
    problem: RoundProblem,
    model: Any,
    manager: Any,
    found: Any,
    stretches: Sequence[tuple[WorkShift, int]],
    choices: Sequence[Choice],
    n_starts: int,
) -> Layout:
    """The solver's answer as a layout: for each stretch the errands in the order of its route."""
    layout: Layout = {}
    for vehicle, (shift, n) in enumerate(stretches if found else ()):
        order, at = [], found.Value(model.NextVar(model.Start(vehicle)))
        while not model.IsEnd(at):
            order.append(choices[manager.IndexToNode(at) - n_starts].errand.key)
            at = found.Value(model.NextVar(at))
        layout[shift.key, n] = what_fits(problem, shift, n, order)
    return layout
