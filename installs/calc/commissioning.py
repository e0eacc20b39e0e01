"""Commissioning: hold points in order, length of trial runs, acceptance of a belt, answers to adjustments.

A **cycle** is one isolation with what is done under it and the trial runs after it. The first one is the fitting
itself, each further one an adjustment. Offsets are in millimetres, positive towards the drive side.

What is marked "common practice" has no published source that was read; a plant sets its own values.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from plant.calc.chainage import downstream, revolution_time_s
from plant.calc.wording import figure

# Order of the hold points: isolation, parts, the frame made free, clear of structure, guards, people, locks.
FIRST_CYCLE = ("lockout", "parts", "restraint", "clear", "guards", "people", "locks")
# An adjustment opens the same guards and needs the same people away; parts and restraint are done with.
LATER_CYCLE = ("lockout", "clear", "guards", "people", "locks")

LEAST_REVOLUTIONS = 3  # common practice
EMPTY_MIN, LOADED_MIN = 15.0, 30.0  # common practice: minutes watched before a run counts for acceptance
RUNOFF_SHARE_PCT, RUNOFF_MOST_MM = 5.0, 75.0  # common practice: permitted run-off from the centre line
EQUAL_WITHIN_MM = 1.0  # two readings of a tape (1/32 in each) may differ by this much
ANSWER_MM = 3.0  # a belt that moved by less has not answered: reading error of an offset, common practice
WRONG_MOVES_TO_STOP = 2  # common practice
TIME_SLACK = dt.timedelta(minutes=1)  # times are written down to the minute

Verdict = Literal["sound", "watch", "act"]


@dataclass(frozen=True)
class Offset:
    """Where the belt lay at one station: chainage [m] and distance off its centre line [mm], drive side positive."""

    chainage_m: float
    offset_mm: float


@dataclass(frozen=True)
class Run:
    """One trial run: after which cycle, loaded or not, minutes watched, what was measured and seen."""

    cycle: int
    is_loaded: bool
    minutes: float
    offsets: tuple[Offset, ...]
    touches_structure: bool = False
    is_noisy: bool = False
    frame_position: str = ""
    # Its times cannot be as they were entered, and a person said why they stand all the same.
    is_time_doubted: bool = False


class SideOfDevice(StrEnum):
    """Where a station lies, seen along belt travel."""

    UPSTREAM = "upstream"
    DOWNSTREAM = "downstream"
    AT_DEVICE = "at_device"


@dataclass(frozen=True)
class SideByTravel:
    """Where a station lies while the belt runs towards the head (+1) or the tail (-1) on the device's strand."""

    travel: int
    side: SideOfDevice


@dataclass(frozen=True)
class Line:
    """One line of a verdict: what was asked, what is so, and a sentence in SI units.

    `is_explained`: it is not sound, but the record holds a person's reason for it already.
    """

    key: str
    verdict: Verdict
    words: str
    is_explained: bool = False
    remedy: Remedy | None = None


class Remedy(StrEnum):
    """What a line that is not met asks for."""

    RUN = "run"
    LONGER_RUN = "longer_run"
    READING = "reading"
    ADJUSTMENT = "adjustment"


class TimeRule(StrEnum):
    """Why the times of a trial run cannot be as they were entered."""

    SINCE_LOCKS = "since_locks"
    BEFORE_LOCKS = "before_locks"
    NOT_OVER = "not_over"
    OVERLAP = "overlap"


@dataclass(frozen=True)
class Spell:
    """A trial run of the belt that is in the book; `job` names the job where it is another one."""

    begins_at: dt.datetime
    ends_at: dt.datetime
    is_loaded: bool
    job: str = ""


@dataclass(frozen=True)
class TimeDoubt:
    """One reason why a run cannot have been watched as entered: the rule and what it compares.

    `against`: when the locks came back, what time it was when the run was entered, or when the other run began.
    `apart_s`: what has passed since the locks came back or since the run began, by how much it began too early, or how
    long both runs overlap [s].
    """

    rule: TimeRule
    minutes: float
    begins_at: dt.datetime
    against: dt.datetime
    apart_s: float
    other: Spell | None = None


@dataclass(frozen=True)
class Acceptance:
    """Whether each line is met, and the lines. `is_met` is a statement about measurements, never about safety."""

    is_met: bool
    lines: tuple[Line, ...]


@dataclass(frozen=True)
class Adjustment:
    """What was moved in one cycle, as it was read on both sides [mm].

    `in_drive_mm`: in on the drive side, negative where it was moved out. `out_off_mm`: out on the off side, negative
    where it was moved in; None where nobody kept it.
    """

    in_drive_mm: float
    out_off_mm: float | None = None

    @property
    def is_move(self) -> bool:
        """Whether anything was moved on either side."""
        return bool(self.in_drive_mm or self.out_off_mm)

    @property
    def sum_change_mm(self) -> float | None:
        """By how much the sum of the sensor gaps became wider; negative: narrower [mm]."""
        return None if self.out_off_mm is None else self.out_off_mm - self.in_drive_mm


class Balance(StrEnum):
    """What an adjustment does to the sum of the sensor gaps."""

    NOT_MOVED = "not_moved"
    KEPT = "kept"
    WITHIN_READING = "within_reading"
    CHANGED = "changed"
    NOT_KNOWN = "not_known"


@dataclass(frozen=True)
class Move:
    """One adjustment and how the belt answered: at the station that lay worst before, before and after [mm]."""

    cycle: int
    adjustment: Adjustment
    chainage_m: float
    before_mm: float
    after_mm: float
    answer: Literal["right", "wrong", "none"]


@dataclass(frozen=True)
class CycleWorst:
    """The worst offset after a cycle, of its loaded run where there is one; None where nothing was measured."""

    cycle: int
    adjustment: Adjustment | None
    is_loaded: bool
    worst: Offset | None


@dataclass(frozen=True)
class Convergence:
    """Worst offset by cycle, the moves with their answers, and whether adjusting must stop."""

    cycles: tuple[CycleWorst, ...]
    moves: tuple[Move, ...]
    must_stop: bool
    words: str


def points_of(cycle: int) -> tuple[str, ...]:
    """The hold points of a cycle in their order.

    Parameters
    ----------
    cycle : int
        1 for the fitting itself, 2 and up for adjustments.

    Raises
    ------
    ValueError
        If the cycle is below 1.

    Examples
    --------
    >>> points_of(2)
    ('lockout', 'clear', 'guards', 'people', 'locks')
    """
    if cycle < 1:
        raise ValueError(f"cycle is {cycle}; cycles are counted from 1")
    return FIRST_CYCLE if cycle == 1 else LATER_CYCLE


def next_point(cycle: int, done: Iterable[str]) -> str | None:
    """The first hold point of the cycle that is still open; None when all are done.

    Parameters
    ----------
    cycle : int
        1 for the fitting itself, 2 and up for its adjustments.
    done : iterable of str
        Hold points of this cycle that are confirmed or passed over.

    Examples
    --------
    >>> next_point(1, ["lockout", "parts"])
    'restraint'
    >>> next_point(2, ["lockout", "clear", "guards", "people", "locks"]) is None
    True
    """
    known = set(done)
    return next((point for point in points_of(cycle) if point not in known), None)


def least_run_s(length_m: float, speed_m_s: float, revolutions: int = LEAST_REVOLUTIONS) -> float:
    """How long a trial run must be watched at least: some whole revolutions of the belt.

    Parameters
    ----------
    length_m : float
        Centre to centre [m]; the belt itself is about twice as long.
    speed_m_s : float
        Belt speed [m/s].
    revolutions : int, optional
        Common practice: three.

    Returns
    -------
    float
        revolutions * 2 L / v [s].

    Raises
    ------
    ValueError
        If length, speed or revolutions are not above 0.

    Examples
    --------
    >>> least_run_s(110, 2.5)
    264.0
    """
    if revolutions < 1:
        raise ValueError(f"revolutions is {revolutions}; give 1 or more")
    return revolutions * revolution_time_s(length_m, speed_m_s)


def permitted_offset_mm(
    belt_width_mm: float, *, share_pct: float = RUNOFF_SHARE_PCT, most_mm: float = RUNOFF_MOST_MM
) -> float:
    """Permitted run-off from the centre line: a share of the belt's width, at most so many millimetres.

    Parameters
    ----------
    belt_width_mm : float
        Above 0 [mm].
    share_pct, most_mm : float, optional
        5 % and 75 mm: common practice, no source; a plant sets its own.

    Returns
    -------
    float
        [mm]

    Raises
    ------
    ValueError
        If a value is not above 0.

    Examples
    --------
    >>> permitted_offset_mm(1000), permitted_offset_mm(1600)
    (50.0, 75.0)
    """
    for name, value in (("belt_width_mm", belt_width_mm), ("share_pct", share_pct), ("most_mm", most_mm)):
        if not (value > 0 and math.isfinite(value)):
            raise ValueError(f"{name} is {value}; give a number above 0")
    return min(belt_width_mm * share_pct / 100, most_mm)


def worst_of(offsets: Iterable[Offset]) -> Offset | None:
    """The offset that is furthest from the centre line; the first of equal ones; None where there is none."""
    return max(offsets, key=lambda each: abs(each.offset_mm), default=None)


def station_sides(
    station_m: float, device_m: float, strand: str, *, reversing: bool = False
) -> tuple[SideByTravel, ...]:
    """Whether a station lies upstream or downstream of a device, for each way that the belt travels there.

    Parameters
    ----------
    station_m, device_m : float
        Chainages [m].
    strand : {"carry", "return"}
        Strand of both.
    reversing : bool, optional
        Whether the belt runs both ways.

    Returns
    -------
    tuple of SideByTravel
        One for a belt that runs one way, two for a reversing one, towards the head first.

    Examples
    --------
    >>> [(each.travel, each.side.value) for each in station_sides(80, 55, "return")]
    [(-1, 'upstream')]
    >>> [(each.travel, each.side.value) for each in station_sides(80, 55, "carry", reversing=True)]
    [(1, 'downstream'), (-1, 'upstream')]
    """

    def side(travel: int) -> SideOfDevice:
        along = (station_m - device_m) * travel
        if along == 0:
            return SideOfDevice.AT_DEVICE
        return SideOfDevice.DOWNSTREAM if along > 0 else SideOfDevice.UPSTREAM

    return tuple(SideByTravel(travel, side(travel)) for travel in downstream(strand, reversing))


def sides_of_device(
    stations_m: Iterable[float], device_m: float, strand: str, *, reversing: bool = False
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Stations upstream and downstream of a device on its strand.

    Parameters
    ----------
    stations_m : iterable of float
        Chainages [m].
    device_m : float
        Chainage of the device [m]. A station at the device itself counts for neither.
    strand : {"carry", "return"}
        Downstream is towards the head on the carry strand, towards the tail on the return strand.
    reversing : bool, optional
        On a reversing belt each side is downstream in one direction: taken as the belt runs forward.

    Returns
    -------
    tuple of two tuples
        Upstream, downstream.

    Examples
    --------
    >>> sides_of_device([30, 80], 55, "return")
    ((80,), (30,))
    """
    way = downstream(strand, False)[0]
    stations = tuple(stations_m)
    upstream = tuple(each for each in stations if (each - device_m) * way < 0)
    return upstream, tuple(each for each in stations if (each - device_m) * way > 0)


def doubts_about_time(
    begins_at: dt.datetime,
    minutes: float,
    *,
    locks_at: dt.datetime,
    now: dt.datetime,
    others: Iterable[Spell] = (),
    is_start_given: bool = True,
) -> tuple[TimeDoubt, ...]:
    """Why a trial run cannot have been watched as it was entered; nothing is put right here.

    Parameters
    ----------
    begins_at : datetime
        When it began, as entered; where no start was given: so long before `now` as it was watched.
    minutes : float
        How long it was watched, above 0 [min].
    locks_at : datetime
        When the locks came back: the belt cannot have run before.
    now : datetime
        When it is entered: a run that was watched is over by then.
    others : iterable of Spell
        The other trial runs of the same belt; a belt makes one run at a time.
    is_start_given : bool, optional
        Whether the start was entered.

    Returns
    -------
    tuple of TimeDoubt
        Empty where the times can be so, to the minute.

    Raises
    ------
    ValueError
        If minutes is not above 0.

    Examples
    --------
    >>> at = dt.datetime(2026, 11, 20, 16, 37, 45)
    >>> now = at + dt.timedelta(seconds=75)
    >>> begins_at = now - dt.timedelta(minutes=31)
    >>> [(each.rule.value, each.apart_s) for each in
    ...     doubts_about_time(begins_at, 31, locks_at=at, now=now, is_start_given=False)]
    [('since_locks', 75.0)]
    """
    if not minutes > 0:
        raise ValueError(f"minutes is {minutes:g} min; give a time above 0 min")
    ends_at = begins_at + dt.timedelta(minutes=minutes)
    found = []
    if begins_at < locks_at - TIME_SLACK:
        if is_start_given:
            early_s = (locks_at - begins_at).total_seconds()
            found.append(TimeDoubt(TimeRule.BEFORE_LOCKS, minutes, begins_at, locks_at, early_s))
        else:
            passed_s = (now - locks_at).total_seconds()
            found.append(TimeDoubt(TimeRule.SINCE_LOCKS, minutes, begins_at, locks_at, passed_s))
    if ends_at > now + TIME_SLACK:
        found.append(TimeDoubt(TimeRule.NOT_OVER, minutes, begins_at, now, (now - begins_at).total_seconds()))
    for each in others:
        shared = min(ends_at, each.ends_at) - max(begins_at, each.begins_at)
        if shared > TIME_SLACK:
            found.append(TimeDoubt(TimeRule.OVERLAP, minutes, begins_at, each.begins_at, shared.total_seconds(), each))
    return tuple(found)


def judge_acceptance(
    runs: Sequence[Run],
    *,
    cycle: int,
    target_mm: float,
    device_m: float,
    strand: str,
    revolution_s: float,
    reversing: bool = False,
    empty_min: float = EMPTY_MIN,
    loaded_min: float = LOADED_MIN,
) -> Acceptance:
    """Whether the trial runs after the last cycle meet the target: each station, empty and loaded, long enough.

    Parameters
    ----------
    runs : sequence of Run
        In the order in which they were made; of each kind the last one after `cycle` decides.
    cycle : int
        The cycle that stands: runs before its adjustment tell nothing of the belt as it is now.
    target_mm : float
        Largest offset at any station [mm].
    device_m : float
        Chainage of the device [m].
    strand : {"carry", "return"}
        Strand of the device.
    revolution_s : float
        Time of one belt revolution [s].
    reversing : bool, optional
        Whether the belt runs both ways: either side is then upstream in one of them.
    empty_min, loaded_min : float, optional
        Minutes to be watched empty and loaded [min]; common practice: 15 and 30.

    Returns
    -------
    Acceptance

    Raises
    ------
    ValueError
        If target or revolution time is not above 0.
    """
    if not target_mm > 0:
        raise ValueError(f"target_mm is {target_mm} mm; give a target above 0")
    if not revolution_s > 0:
        raise ValueError(f"revolution_s is {revolution_s} s; give a time above 0")
    lines: list[Line] = []
    for loaded, least in ((False, empty_min), (True, loaded_min)):
        name = "loaded" if loaded else "empty"
        of_kind = [run for run in runs if run.cycle == cycle and run.is_loaded == loaded]
        if not of_kind:
            words = f"No trial run {name} is recorded after the last adjustment."
            lines.append(Line(f"{name}-run", "act", words, remedy=Remedy.RUN))
            continue
        lines.extend(_lines_of(of_kind[-1], name, target_mm, least, revolution_s))
        lacking = _lacking_station(of_kind[-1], name, device_m, strand, reversing)
        lines.extend([lacking] if lacking else [])
    return Acceptance(all(line.verdict == "sound" or line.is_explained for line in lines), tuple(lines))


def lacking_sides(run: Run, device_m: float) -> tuple[int, ...]:
    """On which sides of a device no station was measured in a run.

    Parameters
    ----------
    run : Run
        With its offsets.
    device_m : float
        Chainage of the device [m]. A station at the device itself counts for neither side.

    Returns
    -------
    tuple of int
        +1 for the side towards the head, -1 for the side towards the tail.
    """
    return tuple(way for way in (1, -1) if not any((each.chainage_m - device_m) * way > 0 for each in run.offsets))


def _lacking_station(run: Run, name: str, device_m: float, strand: str, reversing: bool) -> Line | None:
    """Which side of the device lacks a reading, and where that is."""
    ways = lacking_sides(run, device_m)
    if not run.offsets or not ways:
        return None
    told = []
    for way in ways:
        where = f"{'above' if way > 0 else 'below'} {figure(device_m)} m"
        sides = station_sides(device_m + way, device_m, strand, reversing=reversing)
        if len(sides) == 1:
            told.append(f"{sides[0].side} of the device, which on this strand is {where}")
        else:
            towards = " and ".join(f"{each.side} as it runs to the {_end(each.travel)}" for each in sides)
            told.append(f"{where}, {towards}")
    return Line(
        f"{name}-stations",
        "act",
        f"No station was measured {name} {' and none '.join(told)}.",
        remedy=Remedy.READING,
    )


def _end(travel: int) -> str:
    return "head" if travel > 0 else "tail"


def _tenths(minutes: float) -> float:
    """To one place, half up, as the pages write the same time beside it."""
    return math.floor(minutes * 10 + 0.5) / 10


def _lines_of(run: Run, name: str, target_mm: float, least_min: float, revolution_s: float) -> Iterable[Line]:
    needed = max(least_min, LEAST_REVOLUTIONS * revolution_s / 60)
    turns = run.minutes * 60 / revolution_s
    is_long = run.minutes >= needed
    told = f"{figure(run.minutes)} min, {turns:.1f} revolutions of the belt; "
    told += f"wanted at least {figure(_tenths(needed))} min and {LEAST_REVOLUTIONS} revolutions."
    if run.is_time_doubted:
        yield Line(
            f"{name}-minutes",
            "watch" if is_long else "act",
            f"Entered as watched {name} for {told} The clock does not bear this out; it was confirmed with a reason, "
            "which stands with the run.",
            is_explained=is_long,
            remedy=None if is_long else Remedy.LONGER_RUN,
        )
    else:
        yield Line(
            f"{name}-minutes",
            "sound" if is_long else "act",
            f"Watched {name} for {told}",
            remedy=None if is_long else Remedy.LONGER_RUN,
        )
    beyond = [each for each in run.offsets if abs(each.offset_mm) > target_mm]
    worst = worst_of(run.offsets)
    if worst is None:
        yield Line(f"{name}-offset", "act", f"No offset was measured {name}.", remedy=Remedy.READING)
    else:
        told = f"{figure(abs(worst.offset_mm))} mm at {figure(worst.chainage_m)} m{_side(worst.offset_mm)}"
        count = (
            f"{len(beyond)} of {len(run.offsets)} stations {'lies' if len(beyond) == 1 else 'lie'} beyond it"
            if beyond
            else "every station is within it"
        )
        yield Line(
            f"{name}-offset",
            "act" if beyond else "sound",
            f"Worst offset {name}: {told}; wanted at most {figure(target_mm)} mm, {count}.",
            remedy=Remedy.ADJUSTMENT if beyond else None,
        )
    adjust = Remedy.ADJUSTMENT
    if run.touches_structure:
        yield Line(f"{name}-contact", "act", f"Something touched the structure in the run {name}.", remedy=adjust)
    if run.frame_position in ("drive", "off", "hunting"):
        how = "swung to and fro" if run.frame_position == "hunting" else f"was held to the {run.frame_position} side"
        yield Line(f"{name}-frame", "watch", f"The frame {how} in the run {name}.", remedy=adjust)
    if run.is_noisy:
        yield Line(f"{name}-noise", "watch", f"There was unusual noise in the run {name}.", remedy=adjust)


def _side(offset_mm: float) -> str:
    return "" if offset_mm == 0 else " to the drive side" if offset_mm > 0 else " to the off side"


def judge_adjustment(adjustment: Adjustment) -> Balance:
    """In on one side and out on the other by the same amount keeps the sum of the sensor gaps.

    Parameters
    ----------
    adjustment : Adjustment
        As it was read on both sides [mm].

    Returns
    -------
    Balance
        KEPT where both are equal; WITHIN_READING where they differ by at most 1 mm, as two readings of a tape may;
        CHANGED beyond that, by `adjustment.sum_change_mm`.

    Examples
    --------
    >>> [judge_adjustment(Adjustment(6, off)).value for off in (6, 7, 3)]
    ['kept', 'within_reading', 'changed']
    """
    change = adjustment.sum_change_mm
    if change is None:
        return Balance.NOT_KNOWN if adjustment.is_move else Balance.NOT_MOVED
    if not adjustment.is_move:
        return Balance.NOT_MOVED
    if change == 0:
        return Balance.KEPT
    return Balance.WITHIN_READING if abs(change) <= EQUAL_WITHIN_MM else Balance.CHANGED


def converge(
    runs: Sequence[Run], adjustments: Mapping[int, Adjustment | None], *, device_m: float, strand: str
) -> Convergence:
    """Worst offset by cycle, and whether the belt answers the adjustments the right way.

    A move is meant to bring the belt back towards its centre line. The belt has answered the wrong way when, at the
    station that lay furthest off before, it lies further to the same side afterwards by more than the reading error.
    Where it crossed the centre line it has answered the right way, however far. Runs of the same kind are compared,
    loaded ones first; stations downstream of the device first, because that is where it steers.

    Parameters
    ----------
    runs : sequence of Run
        All trial runs of the job in their order; of each kind the last after a cycle counts.
    adjustments : mapping of int to Adjustment or None
        What was moved in each cycle; None: nothing is recorded. A move on one side alone is a move.
    device_m : float
        Chainage of the device [m].
    strand : {"carry", "return"}
        Strand of the device.

    Returns
    -------
    Convergence
        `must_stop` after two moves with a wrong answer: the device is mirrored, the direction is reversed, or the
        cause lies elsewhere.
    """
    last: dict[tuple[int, bool], Run] = {(run.cycle, run.is_loaded): run for run in runs}
    numbers = sorted({cycle for cycle, _loaded in last} | set(adjustments))
    cycles = []
    for cycle in numbers:
        run = last.get((cycle, True)) or last.get((cycle, False))
        cycles.append(
            CycleWorst(
                cycle, adjustments.get(cycle), bool(run and run.is_loaded), worst_of(run.offsets) if run else None
            )
        )
    moves = []
    for cycle in numbers:
        moved = adjustments.get(cycle)
        move = _answer(last, numbers, cycle, moved, device_m, strand) if moved and moved.is_move else None
        if move is not None:
            moves.append(move)
    n_wrong = sum(1 for move in moves if move.answer == "wrong")
    must_stop = n_wrong >= WRONG_MOVES_TO_STOP
    return Convergence(tuple(cycles), tuple(moves), must_stop, _advice(moves, n_wrong, must_stop))


def _answer(
    last: Mapping[tuple[int, bool], Run],
    numbers: Sequence[int],
    cycle: int,
    moved: Adjustment,
    device_m: float,
    strand: str,
) -> Move | None:
    """The move of one cycle, compared with the nearest earlier run of the same kind; None where none can be."""
    for loaded in (True, False):
        after = last.get((cycle, loaded))
        before = next((last[n, loaded] for n in reversed(numbers) if n < cycle and (n, loaded) in last), None)
        if after is None or before is None:
            continue
        then = {each.chainage_m: each.offset_mm for each in before.offsets}
        now = {each.chainage_m: each.offset_mm for each in after.offsets}
        shared = [each for each in then if each in now]
        _upstream, steered = sides_of_device(shared, device_m, strand)
        where = steered or tuple(shared)
        if not where:
            continue
        at = max(where, key=lambda station: abs(then[station]))
        change = now[at] - then[at]
        answer: Literal["right", "wrong", "none"] = "none"
        if abs(change) > ANSWER_MM:
            answer = "wrong" if then[at] * change > 0 else "right"
        return Move(cycle, moved, at, then[at], now[at], answer)
    return None


def _advice(moves: Sequence[Move], n_wrong: int, must_stop: bool) -> str:
    if must_stop:
        return (
            f"The belt answered {n_wrong} moves the wrong way. Stop adjusting: the device is mirrored, the direction "
            "of travel is the other one, or the cause lies elsewhere."
        )
    if not moves:
        return "No adjustment can be compared yet: it takes the same stations before and after a move."
    move = moves[-1]
    before, after = (f"{'+' if each >= 0 else ''}{figure(each)} mm" for each in (move.before_mm, move.after_mm))
    told = f"{before} before, {after} after at {figure(move.chainage_m)} m"
    if move.answer == "wrong":
        return f"The belt answered the last move the wrong way ({told}). A second time means: stop."
    if move.answer == "none":
        return f"The belt did not answer the last move ({told}; less than {figure(ANSWER_MM)} mm is reading error)."
    return f"The belt answered the last move the right way ({told})."
