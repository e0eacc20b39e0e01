"""What rounds are laid from: errands with their worth, shifts, windows and ways; and the plan that comes of them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from statistics import median

# Walkways lead around machines: ways are this much longer than the straight line (common practice, no source).
DETOUR = 1.3
# Where a plant has no coordinates: areas this far apart in walking order, conveyors of an area beside each other.
AREA_APART_M = 250.0
CONVEYOR_APART_M = 30.0
# A check's own time is believed from this number of past visits on.
LEAST_VISITS = 5

Span = tuple[int, int]


class BeltState(StrEnum):
    """What the belt must do while the check is done."""

    ANY = "any"
    STOPPED = "stopped"
    RUNNING = "running"


@dataclass(frozen=True)
class MapPlace:
    """Where something stands: by walking order, and on the plant's map where that is known [m]."""

    by_order: tuple[float, float]
    on_map: tuple[float, float] | None = None


@dataclass(frozen=True)
class Errand:
    """Checks at one device in one go. Work is in [opens_s, closes_s]; worth_s is what leaving it out costs."""

    key: int
    conveyor: int
    place: MapPlace
    work_s: int
    worth_s: int
    belt: BeltState = BeltState.ANY
    opens_s: int = 0
    closes_s: int = 10**9
    skills: frozenset[str] = frozenset()
    tools: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        if self.work_s <= 0:
            raise ValueError(f"work_s is {self.work_s} s; give more than 0 s")
        if self.worth_s <= 0:
            raise ValueError(f"worth_s is {self.worth_s} s; give more than 0 s, what is worth nothing is not laid")


@dataclass(frozen=True)
class WorkShift:
    """One person's working time with its breaks, which lie inside it and in order."""

    key: int
    person: str
    starts_s: int
    ends_s: int
    start: MapPlace
    breaks: tuple[Span, ...] = ()
    skills: frozenset[str] = frozenset()
    tools: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        edges = [self.starts_s, *(edge for each in self.breaks for edge in each), self.ends_s]
        if edges != sorted(edges) or self.starts_s == self.ends_s:
            raise ValueError(f"shift and breaks are not in order: {edges} s; give breaks inside the shift, by time")

    @property
    def stretches(self) -> list[Span]:
        """The times between the breaks."""
        edges = [self.starts_s, *(edge for each in self.breaks for edge in each), self.ends_s]
        return [(edges[n], edges[n + 1]) for n in range(0, len(edges), 2)]

    def can_do(self, errand: Errand) -> bool:
        return errand.skills <= self.skills and errand.tools <= self.tools


@dataclass(frozen=True)
class RoundProblem:
    """Everything that a plan is laid from."""

    errands: tuple[Errand, ...]
    shifts: tuple[WorkShift, ...]
    windows: Mapping[int, tuple[Span, ...]] = field(default_factory=dict)
    walking_m_s: float = 1.0
    lockout_s: int = 900

    def __post_init__(self) -> None:
        if not self.walking_m_s > 0:
            raise ValueError(f"walking_m_s is {self.walking_m_s} m/s; give more than 0 m/s")
        if self.lockout_s < 0:
            raise ValueError(f"lockout_s is {self.lockout_s} s; give 0 s or more")

    def errand(self, key: int) -> Errand:
        return self._by_key()[key]

    def _by_key(self) -> dict[int, Errand]:
        known: dict[int, Errand] | None = self.__dict__.get("_errands")
        if known is None:
            known = {each.key: each for each in self.errands}
            object.__setattr__(self, "_errands", known)
        return known

    def walk_s(self, a: MapPlace, b: MapPlace) -> int:
        return math.ceil(walk_m(a, b) / self.walking_m_s)


@dataclass(frozen=True)
class PlannedErrand:
    """One errand in the plan: walk, isolate, then work from starts_s to ends_s."""

    errand: int
    shift: int
    stretch: int
    walk_m: int
    walk_s: int
    lockout_s: int
    starts_s: int
    ends_s: int


# Which errands go into which stretch of which shift, in order.
Layout = dict[tuple[int, int], list[int]]


@dataclass(frozen=True)
class RoundPlan:
    """A plan with its figures. left_out is in order of worth, what matters most first."""

    layout: Layout
    planned: tuple[PlannedErrand, ...]
    left_out: tuple[int, ...]
    worth_planned_s: int
    worth_total_s: int
    walk_m: int
    lockouts: int
    was_stopped: bool = False

    @property
    def share_of_worth(self) -> float:
        return self.worth_planned_s / self.worth_total_s if self.worth_total_s else 1.0


# --- Ways, times and worth --------------------------------------------------------------------------------------------
def walk_m(a: MapPlace, b: MapPlace) -> float:
    """Way between two places [m]: on the map where both are on it, else by walking order.

    Parameters
    ----------
    a, b : MapPlace
        Where the way begins and ends.

    Examples
    --------
    >>> walk_m(MapPlace((0, 0), (0.0, 0.0)), MapPlace((900, 0), (30.0, 40.0)))
    65.0
    """
    (ax, ay), (bx, by) = (a.on_map, b.on_map) if a.on_map and b.on_map else (a.by_order, b.by_order)
    return DETOUR * math.hypot(ax - bx, ay - by)


def place_of(
    *,
    area_rank: int,
    conveyor_rank: int,
    chainage_m: float = 0.0,
    length_m: float = 0.0,
    tail: tuple[float, float] | None = None,
    head: tuple[float, float] | None = None,
    area: tuple[float, float] | None = None,
) -> MapPlace:
    """Where a device stands, from the best that is known: both pulleys, the tail pulley, the area, or the order alone.

    Parameters
    ----------
    area_rank, conveyor_rank : int
        Place of the area in walking order, and of the conveyor among those of its area [-].
    chainage_m, length_m : float
        From the tail pulley, and length of the conveyor [m].
    tail, head, area : (float, float), optional
        Coordinates on the plant's map [m].

    Returns
    -------
    MapPlace
    """
    by_order = (AREA_APART_M * area_rank + CONVEYOR_APART_M * conveyor_rank, chainage_m)
    on_map = tail or area
    if tail and head and length_m > 0:
        share = min(max(chainage_m / length_m, 0.0), 1.0)
        on_map = (tail[0] + share * (head[0] - tail[0]), tail[1] + share * (head[1] - tail[1]))
    return MapPlace(by_order, on_map)


def usual_minutes(past_minutes: Sequence[float], stated_minutes: float, *, least: int = LEAST_VISITS) -> float:
    """Time that a check takes: the median of past visits, or what its kind states while these are too few.

    Parameters
    ----------
    past_minutes : sequence of float
        Time of each past check [min].
    stated_minutes : float
        The kind's own figure [min].
    least : int, optional
        Number of visits from which on they are believed [-].

    Returns
    -------
    float
        Minutes, at least 1 [min].

    Examples
    --------
    >>> usual_minutes([30, 28, 90, 31, 29], 20)
    30.0
    >>> usual_minutes([30, 28], 20)
    20.0
    """
    known = median(past_minutes) if len(past_minutes) >= least else stated_minutes
    return float(max(known, 1.0))


CRITICALITY_FACTOR = {"low": 0.7, "medium": 1.0, "high": 1.5}


GRADE_FACTOR = {"": 1.1, "sound": 1.0, "watch": 1.4, "act": 2.0}


def worth_s(*, days_late: int, days_left: int, criticality: str, last_grade: str) -> int:
    """How much walking and isolating a check is worth: leaving it out costs as many seconds.

    An hour to begin with, so that a check is hardly ever left out to save steps; half an hour more where its window
    closes within a week, and two hours once it is late with ten minutes for each day (up to 60 days), so that what is
    late goes first and what waited longest before it. Times the conveyor's criticality, times the last grade (a check
    without a grade yet counts a little more than a sound one). The figures are this product's own choice.

    Parameters
    ----------
    days_late : int
        Days since the window closed, 0 while it is open [d].
    days_left : int
        Days until the window closes [d].
    criticality : {"low", "medium", "high"}
        Of the conveyor.
    last_grade : {"", "sound", "watch", "act"}
        Of the same check when it was last done.

    Returns
    -------
    int
        Seconds of walking and isolating [s].

    Examples
    --------
    >>> worth_s(days_late=0, days_left=20, criticality="medium", last_grade="sound")
    3600
    >>> worth_s(days_late=5, days_left=0, criticality="high", last_grade="act")
    41400
    """
    base = 3600
    if days_late > 0:
        base += 2 * 3600 + 600 * min(days_late, 60)
    elif days_left <= 7:
        base += 1800
    return round(base * CRITICALITY_FACTOR[criticality] * GRADE_FACTOR[last_grade])


def spans_of(problem: RoundProblem, errand: Errand) -> list[Span]:
    """When an errand, its isolation included, may be under way.

    Parameters
    ----------
    problem : RoundProblem
    errand : Errand

    Returns
    -------
    list of (begin, end)
        Seconds from the start of the plan [s].
    """
    windows = sorted(problem.windows.get(errand.conveyor, ()))
    if errand.belt is BeltState.ANY:
        spans = [(errand.opens_s, errand.closes_s)]
    elif errand.belt is BeltState.STOPPED:
        spans = windows
    else:
        edges = [errand.opens_s, *(edge for each in windows for edge in each), errand.closes_s]
        spans = [(edges[n], edges[n + 1]) for n in range(0, len(edges), 2)]
    cut = [(max(begin, errand.opens_s), min(end, errand.closes_s)) for begin, end in spans]
    return [(begin, end) for begin, end in cut if end - begin >= needed_s(problem, errand)]


def needed_s(problem: RoundProblem, errand: Errand) -> int:
    """Work and, where the belt is locked out, the isolation.

    Parameters
    ----------
    problem : RoundProblem
    errand : Errand

    Returns
    -------
    int
        [s].
    """
    return errand.work_s + (problem.lockout_s if errand.belt is BeltState.STOPPED else 0)
