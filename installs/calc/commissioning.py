"""Commissioning: hold points in order, and the acceptance of a belt.

A **cycle** is one isolation with what is done under it and the trial runs after it. The first one is the fitting
itself, each further one an adjustment. Offsets are in millimetres, positive towards the drive side.

What is marked "common practice" has no published source that was read; a plant sets its own values.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from installs.calc.trial_runs import LEAST_REVOLUTIONS, Run, lacking_sides, station_sides, worst_of
from plant.calc.reasons import Reason, Value

# Order of the hold points: isolation, parts, the frame made free, clear of structure, guards, people, locks.
FIRST_CYCLE = ("lockout", "parts", "restraint", "clear", "guards", "people", "locks")
# An adjustment opens the same guards and needs the same people away; parts and restraint are done with.
LATER_CYCLE = ("lockout", "clear", "guards", "people", "locks")

EMPTY_MIN, LOADED_MIN = 15.0, 30.0  # common practice: minutes watched before a run counts for acceptance
RUNOFF_SHARE_PCT, RUNOFF_MOST_MM = 5.0, 75.0  # common practice: permitted run-off from the centre line

Verdict = Literal["sound", "watch", "act"]


class AcceptanceRule(StrEnum):
    """What a line of an acceptance says."""

    NO_RUN = "acceptance.no_run"
    SIDE_LACKING = "acceptance.side_lacking"
    SIDES_LACKING = "acceptance.sides_lacking"
    WATCHED = "acceptance.watched"
    TIME_DOUBTED = "acceptance.time_doubted"
    NO_OFFSET = "acceptance.no_offset"
    OFFSET_WITHIN = "acceptance.offset_within"
    STATION_BEYOND = "acceptance.station_beyond"
    STATIONS_BEYOND = "acceptance.stations_beyond"
    CONTACT = "acceptance.contact"
    FRAME_HELD = "acceptance.frame_held"
    FRAME_HUNTING = "acceptance.frame_hunting"
    NOISE = "acceptance.noise"


class SideRule(StrEnum):
    """Where the side of a device lies on which no station was measured."""

    ONE_WAY = "side_of_device.one_way"
    BOTH_WAYS = "side_of_device.both_ways"
    ABOVE = "side_of_device.above"
    BELOW = "side_of_device.below"


class Load(StrEnum):
    """How the belt ran in a trial run."""

    EMPTY = "empty"
    LOADED = "loaded"


class BeltSide(StrEnum):
    """To which side of its centre line the belt lay, or the frame was held."""

    DRIVE = "to_drive_side"
    OFF = "to_off_side"
    CENTRE = "on_centre_line"


@dataclass(frozen=True)
class AcceptanceLine:
    """One line of a verdict: what was asked, and what is so.

    `is_explained`: it is not sound, but the record holds a person's reason for it already.
    """

    key: str
    verdict: Verdict
    why: Reason
    is_explained: bool = False
    remedy: LineRemedy | None = None


class LineRemedy(StrEnum):
    """What a line that is not met asks for."""

    RUN = "run"
    LONGER_RUN = "longer_run"
    READING = "reading"
    ADJUSTMENT = "adjustment"


@dataclass(frozen=True)
class Acceptance:
    """Whether each line is met, and the lines. `is_met` is a statement about measurements, never about safety."""

    is_met: bool
    lines: tuple[AcceptanceLine, ...]


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
    lines: list[AcceptanceLine] = []
    for load, least in ((Load.EMPTY, empty_min), (Load.LOADED, loaded_min)):
        of_kind = [run for run in runs if run.cycle == cycle and run.is_loaded == (load is Load.LOADED)]
        if not of_kind:
            why = Reason(AcceptanceRule.NO_RUN, {"load": load})
            lines.append(AcceptanceLine(f"{load}-run", "act", why, remedy=LineRemedy.RUN))
            continue
        run = of_kind[-1]
        lines.append(_minutes_line(run, load, least, revolution_s))
        lines.append(_offset_line(run, load, target_mm))
        lines.extend(_lines_of_what_was_seen(run, load))
        lines.extend(_lacking_lines(run, load, device_m, strand, reversing))
    return Acceptance(all(line.verdict == "sound" or line.is_explained for line in lines), tuple(lines))


def _lacking_lines(run: Run, load: Load, device_m: float, strand: str, reversing: bool) -> Iterable[AcceptanceLine]:
    """Which side of the device lacks a reading, and where that is."""
    ways = lacking_sides(run, device_m)
    if not run.offsets or not ways:
        return
    first, *others = (_where(way, device_m, strand, reversing) for way in ways)
    why = Reason(AcceptanceRule.SIDE_LACKING, {"load": load, "where": first})
    if others:
        why = Reason(AcceptanceRule.SIDES_LACKING, {"load": load, "where": first, "other": others[0]})
    yield AcceptanceLine(f"{load}-stations", "act", why, remedy=LineRemedy.READING)


def _where(way: int, device_m: float, strand: str, reversing: bool) -> Reason:
    """Where the side of a device towards the head (+1) or the tail (-1) lies."""
    place = Reason(SideRule.ABOVE if way > 0 else SideRule.BELOW, {"device_m": device_m})
    sides = station_sides(device_m + way, device_m, strand, reversing=reversing)
    if len(sides) == 1:
        return Reason(SideRule.ONE_WAY, {"side": sides[0].side, "place": place})
    to_head, to_tail = sorted(sides, key=lambda each: -each.travel)
    return Reason(SideRule.BOTH_WAYS, {"place": place, "to_head": to_head.side, "to_tail": to_tail.side})


def _minutes_line(run: Run, load: Load, least_min: float, revolution_s: float) -> AcceptanceLine:
    """Whether a run was watched long enough, in minutes and in revolutions of the belt."""
    needed = max(least_min, LEAST_REVOLUTIONS * revolution_s / 60)
    is_long = run.minutes >= needed
    known: dict[str, Value] = {
        "load": load,
        "watched_min": run.minutes,
        "turns": round(run.minutes * 60 / revolution_s, 1),
        # To one place, half up, as the pages write the same time beside it.
        "least_min": math.floor(needed * 10 + 0.5) / 10,
        "least_turns": LEAST_REVOLUTIONS,
    }
    remedy = None if is_long else LineRemedy.LONGER_RUN
    if run.is_time_doubted:
        why = Reason(AcceptanceRule.TIME_DOUBTED, known)
        return AcceptanceLine(f"{load}-minutes", "watch" if is_long else "act", why, is_long, remedy)
    why = Reason(AcceptanceRule.WATCHED, known)
    return AcceptanceLine(f"{load}-minutes", "sound" if is_long else "act", why, remedy=remedy)


def _offset_line(run: Run, load: Load, target_mm: float) -> AcceptanceLine:
    """The worst offset of a run against what is wanted."""
    key, worst = f"{load}-offset", worst_of(run.offsets)
    if worst is None:
        return AcceptanceLine(key, "act", Reason(AcceptanceRule.NO_OFFSET, {"load": load}), remedy=LineRemedy.READING)
    known: dict[str, Value] = {
        "load": load,
        "worst_mm": abs(worst.offset_mm),
        "station_m": worst.chainage_m,
        "side": _side(worst.offset_mm),
        "target_mm": target_mm,
    }
    n_beyond = sum(abs(each.offset_mm) > target_mm for each in run.offsets)
    if not n_beyond:
        return AcceptanceLine(key, "sound", Reason(AcceptanceRule.OFFSET_WITHIN, known))
    rule = AcceptanceRule.STATION_BEYOND if n_beyond == 1 else AcceptanceRule.STATIONS_BEYOND
    why = Reason(rule, {**known, "n_beyond": n_beyond, "n_stations": len(run.offsets)})
    return AcceptanceLine(key, "act", why, remedy=LineRemedy.ADJUSTMENT)


def _lines_of_what_was_seen(run: Run, load: Load) -> Iterable[AcceptanceLine]:
    """Contact, where the frame stood, and noise."""
    adjust, known = LineRemedy.ADJUSTMENT, {"load": load}
    if run.touches_structure:
        yield AcceptanceLine(f"{load}-contact", "act", Reason(AcceptanceRule.CONTACT, known), remedy=adjust)
    if run.frame_position in ("drive", "off", "hunting"):
        why = Reason(AcceptanceRule.FRAME_HUNTING, known)
        if run.frame_position != "hunting":
            side = BeltSide.DRIVE if run.frame_position == "drive" else BeltSide.OFF
            why = Reason(AcceptanceRule.FRAME_HELD, {**known, "side": side})
        yield AcceptanceLine(f"{load}-frame", "watch", why, remedy=adjust)
    if run.is_noisy:
        yield AcceptanceLine(f"{load}-noise", "watch", Reason(AcceptanceRule.NOISE, known), remedy=adjust)


def _side(offset_mm: float) -> BeltSide:
    if offset_mm == 0:
        return BeltSide.CENTRE
    return BeltSide.DRIVE if offset_mm > 0 else BeltSide.OFF
