"""One place for a device, judged before anything is fitted: does it fit, what does it reach, could it ever be proven?

Each question is asked on its own and answered in words, so that a page, a survey and the ranking say the same:

1. **Clearance** (`clearance_lines`): the place against what the device model states. What the model does not state, or
   nobody has measured, is never a pass.
2. **Closeness** (`closeness_lines`): pulleys, loading points, scrapers and belt scales on the strand.
3. **Into the wander** (`wandering_stretches`, `into_the_wander`): how far behind the beginning of the stretch that
   wanders the device would stand, seen along belt travel; on a reversing belt once for each way.
4. **Reach** (`reach_of`): incidents in the zone downstream, and those among them that no standing device reaches, per
   1000 running hours with the exact interval.
5. **Proof** (`provability`): switches and logged stations in the zone, and running hours until a halving would show.
6. **Causes first** (`causes_first`): causes that are known or suspected in reach and should be cured before a device
   hides them.

Lengths that nobody has measured in print are common practice without a source; they are arguments (`PlacementRules`).
Places lie on one conveyor; chainage in metres from the centre of the tail pulley.
"""

from __future__ import annotations

import functools
import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from installs.calc.effect_zones import SLACK_M, TRAVEL, Zone, detectors_in, effect_zone, inside, overlaps, union
from plant.calc.rates import Rate, count_words, hours_to_power, rate_with_interval

BOTH_STRANDS = ""
# Chainages are read with a tape: nearer than this is the same place.
SAME_PLACE_M = 0.05


class Fit(StrEnum):
    """What one line, or all of them together, comes to; in the order of how much speaks for the place."""

    FITS = "fits"
    CONDITION = "condition"
    NOT_MEASURED = "not_measured"
    NOT_STATED = "not_stated"
    DOES_NOT_FIT = "does_not_fit"


@dataclass(frozen=True)
class PlacementLimits:
    """What the spec sheet of a device model states; None where it states nothing.

    Widths and clearances in mm, speeds in m/s, angles in degrees, lengths of effect in m.
    """

    name: str
    strand: str
    suits_reversing: bool
    belt_width_least_mm: float | None = None
    belt_width_most_mm: float | None = None
    speed_least_m_s: float | None = None
    speed_most_m_s: float | None = None
    trough_angle_deg: float | None = None
    clearance_below_mm: float | None = None
    clearance_beside_mm: float | None = None
    clearance_along_mm: float | None = None
    effect_length_m: float | None = None
    effect_length_least_m: float | None = None
    effect_length_most_m: float | None = None


@dataclass(frozen=True)
class Place:
    """A place on a belt; None where nobody has measured. Clearances hold over the whole pivot and tilt range [mm]."""

    strand: str
    chainage_m: float
    belt_length_m: float
    belt_width_mm: float | None
    speed_m_s: float | None
    is_reversing: bool = False
    trough_angle_deg: float | None = None
    clearance_below_mm: float | None = None
    clearance_beside_mm: float | None = None
    clearance_along_mm: float | None = None


@dataclass(frozen=True)
class Line:
    """One rule asked of a place: what is there, what is wanted, what is to spare, the verdict and its sentence.

    `margin` is in the unit of the rule, below 0 where it is missed; None where the two cannot be compared.
    """

    rule: str
    measured: float | None
    least: float | None
    most: float | None
    margin: float | None
    fit: Fit
    words: str


@dataclass(frozen=True)
class PlacementRules:
    """Start values of the trade, common practice without a source where nothing else is said; a plant may change them.

    Parameters
    ----------
    into_wander_least_m, into_wander_most_m : float, optional
        How far into the wandering stretch a device is set [m].
    close_m, clear_m : float, optional
        Nearer than `close_m` to a pulley, loading point or scraper is too near; from `clear_m` on nothing is said [m].
    idler_pitch_carry_m, idler_pitch_return_m : float, optional
        Distance of idlers on each strand (1.2 m and 3 m in a US federal guide specification, UFGS 15555A) [m].
    scale_idlers : int, optional
        Idlers before and after a belt scale that are left alone (US Army TM 5-3895-374-24-2).
    joined_m : float, optional
        Incidents nearer than this to the next belong to one wandering stretch; own rule, below the spacing of drift
        switches on long belts [m].
    least_incidents : int, optional
        Fewer than this make no stretch and name no cause; own rule.
    least_cause_share : float, optional
        Share of the incidents in reach from which one suspected cause is to be cured first; own rule [-].
    at_detector_m : float, optional
        An incident so near to a switch carries the place of the switch, not of the wander; own rule [m].
    """

    into_wander_least_m: float = 6.0
    into_wander_most_m: float = 9.0
    close_m: float = 5.0
    clear_m: float = 10.0
    idler_pitch_carry_m: float = 1.2
    idler_pitch_return_m: float = 3.0
    scale_idlers: int = 3
    joined_m: float = 40.0
    least_incidents: int = 3
    least_cause_share: float = 0.5
    at_detector_m: float = 0.5

    def __post_init__(self) -> None:
        if not 0 <= self.into_wander_least_m <= self.into_wander_most_m < math.inf:
            raise ValueError(
                f"into_wander is {self.into_wander_least_m} to {self.into_wander_most_m} m; give 0 m or more, the "
                "lesser first"
            )
        if not 0 <= self.close_m <= self.clear_m < math.inf:
            raise ValueError(f"close_m is {self.close_m} and clear_m {self.clear_m} m; give 0 <= close_m <= clear_m")
        for name in ("idler_pitch_carry_m", "idler_pitch_return_m", "joined_m"):
            if not 0 < getattr(self, name) < math.inf:
                raise ValueError(f"{name} is {getattr(self, name)} m; give a length above 0 m")
        if not 0 < self.least_cause_share <= 1:
            raise ValueError(f"least_cause_share is {self.least_cause_share}; give a share above 0, up to 1")
        if self.least_incidents < 1 or self.scale_idlers < 0:
            raise ValueError("least_incidents must be 1 or more and scale_idlers 0 or more")

    def pitch_m(self, strand: str) -> float:
        """Distance of idlers on the strand [m]."""
        return self.idler_pitch_carry_m if strand == "carry" else self.idler_pitch_return_m


@dataclass(frozen=True)
class Fixture:
    """Something that a device keeps away from: kind is pulley, loading, scraper or scale; strand "" means both."""

    kind: str
    chainage_m: float
    name: str
    strand: str = BOTH_STRANDS


@dataclass(frozen=True)
class Seen:
    """An incident: where it was seen, None or "" where nobody knows, and the suspected cause in words, "" for none."""

    strand: str
    chainage_m: float | None
    cause: str = ""


@dataclass(frozen=True)
class Steered:
    """A zone of a standing device, with the name of the device."""

    name: str
    strand: str
    zone: Zone


@dataclass(frozen=True)
class OpenCause:
    """A cause that was found and is not cured yet; without ends it holds for the whole strand, "" for both strands.

    `override` is why a device may be fitted all the same; such a cause holds nothing back, but stays said.
    """

    words: str
    strand: str = BOTH_STRANDS
    low_m: float | None = None
    high_m: float | None = None
    override: str = ""


@dataclass(frozen=True)
class Logged:
    """A place at which people log how the belt runs, so that an incident there is seen without a switch."""

    strand: str
    chainage_m: float


@dataclass(frozen=True)
class Override:
    """Why a device placed on this stretch of a strand need not wait for a cause; `said` names who and when."""

    strand: str
    low_m: float
    high_m: float
    reason: str
    said: str = ""


@dataclass(frozen=True)
class BeltCase:
    """What is known of one belt over the period that is looked at; `hours` are its covered running hours [h]."""

    length_m: float
    belt_width_mm: float | None
    speed_m_s: float | None
    is_reversing: bool
    hours: float
    incidents: tuple[Seen, ...] = ()
    steered: tuple[Steered, ...] = ()
    fixtures: tuple[Fixture, ...] = ()
    detectors_m: tuple[float, ...] = ()
    open_causes: tuple[OpenCause, ...] = ()
    logged: tuple[Logged, ...] = ()
    overrides: tuple[Override, ...] = ()

    def detectors_on(self, strand: str) -> tuple[float, ...]:
        """Where an incident of this strand is seen: drift switches, and stations that people log [m]."""
        return (*self.detectors_m, *(each.chainage_m for each in self.logged if each.strand == strand))

    def override_at(self, strand: str, chainage_m: float) -> Override | None:
        """The reason that holds for a device at this place."""
        for each in self.overrides:
            if each.strand == strand and each.low_m - SLACK_M <= chainage_m <= each.high_m + SLACK_M:
                return each
        return None

    def place(self, strand: str, chainage_m: float, **measured: float | None) -> Place:
        """A place on this belt, with what was measured there: trough_angle_deg, clearance_below_mm and so on."""
        return Place(
            strand, chainage_m, self.length_m, self.belt_width_mm, self.speed_m_s, self.is_reversing, **measured
        )

    def zones_on(self, strand: str) -> tuple[Zone, ...]:
        """Where standing devices steer on this strand."""
        return tuple(each.zone for each in self.steered if each.strand == strand)

    def positions_on(self, strand: str) -> np.ndarray:
        """Chainages of the incidents on this strand whose place is known, rising [m]."""
        return np.sort(
            np.array(
                [each.chainage_m for each in self.incidents if each.strand == strand and each.chainage_m is not None],
                dtype=float,
            )
        )


# --- clearance --------------------------------------------------------------------------------------------------------
def clearance_lines(limits: PlacementLimits, place: Place) -> tuple[Line, ...]:
    """The place against the model's sheet, one line for each rule, whatever is missing included.

    Parameters
    ----------
    limits : PlacementLimits
        What the model states.
    place : Place
        What is known of the place.

    Returns
    -------
    tuple of Line
        strand, direction, width, speed, trough (on the carry strand, or where the model states an angle), below,
        beside, along (where the model states it). The trough must be the stated one to the degree.

    Examples
    --------
    >>> model = PlacementLimits("RP-2", "return", False, 900, 1600, clearance_below_mm=280)
    >>> here = Place("return", 560, 900, 1200, 4.5, clearance_below_mm=430)
    >>> for line in clearance_lines(model, here):
    ...     print(line.rule, line.fit, line.margin)
    strand fits None
    direction fits None
    width fits 300
    speed not_stated None
    below fits 150
    beside not_stated None
    """
    name = limits.name
    suits_strand = limits.strand == place.strand
    strand_words = (
        f"{name} is made for the {limits.strand} strand."
        if suits_strand
        else f"{name} is made for the {limits.strand} strand, this is the {place.strand} strand."
    )
    suits_travel = limits.suits_reversing or not place.is_reversing
    travel_words = (
        f"{name} is not made for both directions: in reverse it would steer the belt off."
        if not suits_travel
        else f"{name} is made for both directions."
        if place.is_reversing
        else "The belt runs one way."
    )
    lines = [
        Line("strand", None, None, None, None, Fit.FITS if suits_strand else Fit.DOES_NOT_FIT, strand_words),
        Line("direction", None, None, None, None, Fit.FITS if suits_travel else Fit.DOES_NOT_FIT, travel_words),
        _between(
            "width", "The belt", "mm", "wide", place.belt_width_mm, limits.belt_width_least_mm,
            limits.belt_width_most_mm, name, "belt width",
        ),
        _between(
            "speed", "The belt", "m/s", "fast", place.speed_m_s, limits.speed_least_m_s, limits.speed_most_m_s, name,
            "belt speed",
        ),
    ]  # fmt: skip
    if place.strand == "carry" or limits.trough_angle_deg is not None:
        lines.append(_trough(limits, place))
    lines += [
        _at_least("below", place.clearance_below_mm, limits.clearance_below_mm, name, "clearance below"),
        _at_least("beside", place.clearance_beside_mm, limits.clearance_beside_mm, name, "clearance beside"),
    ]
    if limits.clearance_along_mm is not None:
        along = _at_least("along", place.clearance_along_mm, limits.clearance_along_mm, name, "room along the belt")
        lines.append(along)
    return tuple(lines)


def overall(lines: Iterable[Line]) -> Fit:
    """What all lines together come to: the worst of them.

    Parameters
    ----------
    lines : iterable of Line
        At least one.

    Returns
    -------
    Fit
        DOES_NOT_FIT where one line says so; FITS only where every line does.

    Raises
    ------
    ValueError
        If there is no line: nothing asked is no pass.
    """
    order = list(Fit)
    found = [each.fit for each in lines]
    if not found:
        raise ValueError("no line was given; ask at least one rule of the place")
    return max(found, key=order.index)


def _between(
    rule: str,
    what: str,
    unit: str,
    adjective: str,
    measured: float | None,
    least: float | None,
    most: float | None,
    name: str,
    noun: str,
) -> Line:
    if least is None and most is None:
        words = f"Not stated: {name} gives no {noun}. Ask for it before the place is chosen."
        return Line(rule, measured, None, None, None, Fit.NOT_STATED, words)
    stated = _range(least, most, unit)
    if measured is None:
        words = f"Not measured: {name} is stated for {stated}."
        return Line(rule, None, least, most, None, Fit.NOT_MEASURED, words)
    spare = [measured - least] if least is not None else []
    spare += [most - measured] if most is not None else []
    margin = min(spare)
    is_said = "is" if adjective == "wide" else "runs at"
    seen = f"{what} {is_said} {_number(measured)} {unit}" + (" wide" if adjective == "wide" else "")
    if margin < 0:
        words = f"{seen}; {name} is stated for {stated}: {_number(-margin)} {unit} outside."
        return Line(rule, measured, least, most, margin, Fit.DOES_NOT_FIT, words)
    one_sided = " Only one end of the range is stated." if rule == "width" and (least is None or most is None) else ""
    words = f"{seen}; {name} is stated for {stated}.{one_sided}"
    return Line(rule, measured, least, most, margin, Fit.NOT_STATED if one_sided else Fit.FITS, words)


def _at_least(rule: str, measured: float | None, least: float | None, name: str, noun: str) -> Line:
    if least is None:
        seen = "" if measured is None else f" {_number(measured)} mm are there."
        words = f"Not stated: {name} gives no least {noun}.{seen} Ask for it before the place is chosen."
        return Line(rule, measured, None, None, None, Fit.NOT_STATED, words)
    if measured is None:
        words = f"Not measured: {name} needs {_number(least)} mm of {noun}. A survey measures it."
        return Line(rule, None, least, None, None, Fit.NOT_MEASURED, words)
    margin = measured - least
    if margin < 0:
        words = f"{_number(measured)} mm of {noun} where {name} needs {_number(least)} mm: {_number(-margin)} mm short."
        return Line(rule, measured, least, None, margin, Fit.DOES_NOT_FIT, words)
    words = f"{_number(margin)} mm to spare: {_number(measured)} mm of {noun}, {name} needs {_number(least)} mm."
    return Line(rule, measured, least, None, margin, Fit.FITS, words)


def _trough(limits: PlacementLimits, place: Place) -> Line:
    stated, measured = limits.trough_angle_deg, place.trough_angle_deg
    if stated is None:
        words = f"Not stated: {limits.name} gives no trough angle. Ask for it before the place is chosen."
        return Line("trough", measured, None, None, None, Fit.NOT_STATED, words)
    if measured is None:
        words = f"Not measured: {limits.name} is made for a trough of {_number(stated)}°."
        return Line("trough", None, stated, stated, None, Fit.NOT_MEASURED, words)
    off = abs(measured - stated)
    fit = Fit.FITS if off <= 1.0 else Fit.DOES_NOT_FIT
    words = f"The trough is {_number(measured)}°; {limits.name} is made for {_number(stated)}°."
    return Line("trough", measured, stated, stated, 1.0 - off, fit, words)


# --- closeness --------------------------------------------------------------------------------------------------------
def closeness_lines(case: BeltCase, strand: str, chainage_m: float, rules: PlacementRules) -> tuple[Line, ...]:
    """The nearest pulley, loading point, scraper and belt scale on the strand, each with the distance that it wants.

    Pulleys and scrapers disturb the belt, a loading point pushes it, and a scale must not feel the device. The ends of
    the belt count as pulleys whether or not they are in the book. Toward the tail pulley a device on the return strand
    keeps at least one idler pitch more than the belt's width.

    Parameters
    ----------
    case : BeltCase
        The belt.
    strand : {"carry", "return"}
        Strand of the device.
    chainage_m : float
        Its place [m].
    rules : PlacementRules
        Distances that are asked.

    Returns
    -------
    tuple of Line
        One for each kind that is on the strand, with the distance as measured and least [m]: DOES_NOT_FIT below the
        least, CONDITION where it is near, FITS from `rules.clear_m` on.
    """
    ends = [Fixture("pulley", 0.0, "tail pulley"), Fixture("pulley", case.length_m, "head pulley")]
    known = [each for each in case.fixtures if each.strand in (strand, BOTH_STRANDS)]
    found = []
    for kind in ("pulley", "loading", "scraper", "scale"):
        here = [each for each in [*known, *ends] if each.kind == kind]
        if not here:
            continue
        nearest = min(here, key=lambda each: abs(each.chainage_m - chainage_m))
        distance = abs(nearest.chainage_m - chainage_m)
        least, clear = _distances(kind, nearest, strand, case, rules)
        said = f"{_number(distance)} m from the {nearest.name}"
        if distance < least - SLACK_M:
            fit, words = Fit.DOES_NOT_FIT, f"Too near: {said}; at least {_number(least)} m are usual."
        elif distance < clear - SLACK_M:
            fit, words = Fit.CONDITION, f"Near: {said}; {_number(clear)} m are better."
        else:
            fit, words = Fit.FITS, f"{said}."
        found.append(Line(kind, distance, least, None, distance - least, fit, words))
    return tuple(found)


def _distances(kind: str, fixture: Fixture, strand: str, case: BeltCase, rules: PlacementRules) -> tuple[float, float]:
    """Least distance and the distance from which nothing is said [m]."""
    if kind == "scale":
        least = rules.scale_idlers * rules.pitch_m(strand)
        return least, least
    least = rules.close_m
    if kind == "pulley" and strand == "return" and fixture.chainage_m <= SLACK_M and case.belt_width_mm is not None:
        least = max(least, rules.pitch_m(strand) + case.belt_width_mm / 1000.0)
    return least, max(least, rules.clear_m)


# --- into the wander --------------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class Wander:
    """A stretch that wanders, and how many incidents make it; `n_at_detector` of them carry the place of a switch."""

    zone: Zone
    n: int
    n_at_detector: int


@dataclass(frozen=True)
class IntoWander:
    """How far into the stretch a device stands for one way of travel; below 0 it stands before the beginning [m]."""

    wander: Wander
    towards: str
    distance_m: float
    fit: Fit
    words: str


def wandering_stretches(case: BeltCase, strand: str, rules: PlacementRules) -> tuple[Wander, ...]:
    """Stretches of a strand on which incidents lie close to each other.

    Parameters
    ----------
    case : BeltCase
        The belt.
    strand : {"carry", "return"}
        Strand that is looked at.
    rules : PlacementRules
        What counts as close, and how many make a stretch.

    Returns
    -------
    tuple of Wander
        Rising by chainage. One of length 0 has all its incidents at the same place, as the log of one switch has.
    """
    positions = case.positions_on(strand)
    if positions.size == 0:
        return ()
    runs = np.split(positions, np.flatnonzero(np.diff(positions) > rules.joined_m) + 1)
    found = []
    for run in runs:
        if run.size < rules.least_incidents:
            continue
        at_detector = sum(
            any(abs(position - each) <= rules.at_detector_m for each in case.detectors_m) for position in run
        )
        found.append(Wander(Zone(float(run[0]), float(run[-1])), int(run.size), at_detector))
    return tuple(found)


def into_the_wander(
    wanders: Sequence[Wander], strand: str, chainage_m: float, is_reversing: bool, rules: PlacementRules
) -> tuple[IntoWander, ...]:
    """How far into the wandering stretch the device would stand, for each way that the belt travels.

    The stretch is the one that the place lies in, else the nearest one that begins downstream of it; where there is
    none, nothing is said.

    Parameters
    ----------
    wanders : sequence of Wander
        Of this strand.
    strand : {"carry", "return"}
        Strand of the device.
    chainage_m : float
        Its place [m].
    is_reversing : bool
        The belt runs both ways.
    rules : PlacementRules
        How far into the stretch a device is set.

    Returns
    -------
    tuple of IntoWander
        Ordinary travel first; FITS from `into_wander_least_m` to `into_wander_most_m` in, CONDITION elsewhere.
    """
    signs = (TRAVEL[strand], -TRAVEL[strand]) if is_reversing else (TRAVEL[strand],)
    found = []
    for sign in signs:
        # Along travel both a stretch's beginning and the place are measured by sign * chainage.
        along = [(min(sign * w.zone.low_m, sign * w.zone.high_m), w) for w in wanders]
        here = sign * chainage_m
        holding = [(start, w) for start, w in along if start <= here + SLACK_M and inside((w.zone,), [chainage_m])[0]]
        ahead = [(start, w) for start, w in along if start > here]
        if not holding and not ahead:
            continue
        start, wander = holding[0] if holding else min(ahead, key=lambda pair: pair[0])
        found.append(_into(wander, "head" if sign > 0 else "tail", here - start, rules))
    return tuple(found)


def _into(wander: Wander, towards: str, distance_m: float, rules: PlacementRules) -> IntoWander:
    low, high = rules.into_wander_least_m, rules.into_wander_most_m
    stretch = f"stretch from {_number(wander.zone.low_m)} to {_number(wander.zone.high_m)} m"
    if wander.zone.length_m < 1.0:
        stretch = f"stretch at {_number(wander.zone.low_m)} m"
    usual = f"usual is {_number(low)} to {_number(high)} m into it"
    fit = Fit.CONDITION
    if distance_m < 0:
        words = f"{_number(-distance_m)} m before the wandering {stretch} begins; {usual}."
    elif distance_m < low:
        words = f"Only {_number(distance_m)} m into the wandering {stretch}; {usual}."
    elif distance_m > high:
        words = f"{_number(distance_m)} m into the wandering {stretch}: what lies upstream of it stays unsteered."
    else:
        fit, words = Fit.FITS, f"{_number(distance_m)} m into the wandering {stretch}, as is usual."
    if 2 * wander.n_at_detector > wander.n:
        words += (
            f" {wander.n_at_detector} of its {wander.n} incidents carry the place of a switch: look from outside the "
            "guards where it really begins."
        )
    return IntoWander(wander, towards, distance_m, fit, words)


# --- reach ------------------------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class Reach:
    """What a device here would steer: its zones, incidents in them, and those that no standing device reaches.

    `rate` is for the new ones, per 1000 running hours; `shared_m` is the length that standing devices steer already,
    `shared_with` their names.
    """

    zones: tuple[Zone, ...]
    n_in_zone: int
    n_new: int
    rate: Rate
    shared_m: float
    shared_with: tuple[str, ...]


def reach_of(case: BeltCase, strand: str, chainage_m: float, effect_length_m: float) -> Reach:
    """Incidents within reach of a device at this place.

    Parameters
    ----------
    case : BeltCase
        The belt with its incidents and its standing devices.
    strand : {"carry", "return"}
        Strand of the device.
    chainage_m : float
        Its place, 0 to the length of the belt [m].
    effect_length_m : float
        How far it acts downstream, above 0 [m].

    Returns
    -------
    Reach
        Each incident is counted once, ends of zones included.

    Raises
    ------
    ValueError
        As `effect_zone`.
    """
    zones = effect_zone(strand, chainage_m, effect_length_m, case.length_m, case.is_reversing)
    positions = case.positions_on(strand)
    within = inside(zones, positions)
    new = within & ~inside(case.zones_on(strand), positions)
    shared_m, names = 0.0, []
    others = [each for each in case.steered if each.strand == strand]
    # Stretches that several standing devices share already are counted once.
    for zone in zones:
        cuts = [
            Zone(max(zone.low_m, each.zone.low_m), min(zone.high_m, each.zone.high_m))
            for each in others
            if overlaps((zone, each.zone))
        ]
        shared_m += sum(each.length_m for each in union(cuts))
        names += [each.name for each in others if overlaps((zone, each.zone)) and each.name not in names]
    n_new = int(np.count_nonzero(new))
    return Reach(
        zones, int(np.count_nonzero(within)), n_new, rate_with_interval(n_new, case.hours), shared_m, tuple(names)
    )


# --- proof ------------------------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class Provability:
    """Whether the worth of a device here could ever be shown: what stands in its zone, and after how many hours [h].

    `hours` is None where no number of hours would do, or where nothing in the zone sees an incident.
    """

    detectors_m: tuple[float, ...]
    hours: float | None
    can_be_proven: bool
    words: tuple[str, ...]


def provability(
    case: BeltCase, reach: Reach, *, strand: str = "return", true_ratio: float = 0.5, power: float = 0.8
) -> Provability:
    """Could a change of the stated size be shown here, and after how many running hours?

    Parameters
    ----------
    case : BeltCase
        The belt; its hours are those that would be compared with.
    reach : Reach
        What the device would reach; all incidents in its zones count, as they would in the comparison.
    strand : {"carry", "return"}, optional
        Strand of the device: a station that people log tells of its own strand only.
    true_ratio : float, optional
        Rate after over rate before that is to be found, a halving [-].
    power : float, optional
        Wanted probability of finding it [-].

    Returns
    -------
    Provability
        Words warn where no switch and no logged station stands in the zones.
    """
    seen_by = detectors_in(reach.zones, case.detectors_on(strand))
    if not seen_by:
        warning = (
            "No drift switch and no logged station stands in the zone: incidents there may go unseen, so the device "
            "could not be judged by them. Log a station or move a switch first."
        )
        return Provability((), None, False, (warning,))
    stand = ", ".join(_number(each) for each in seen_by)
    noun = "switch or logged station stands" if len(seen_by) == 1 else "switches or logged stations stand"
    words = [f"{len(seen_by)} {noun} in the zone, at {stand} m."]
    hours = hours_until_shown(reach.n_in_zone, case.hours, true_ratio, power)
    if hours is None:
        words.append(_smaller_proof(reach.n_in_zone, case.hours, power))
        return Provability(seen_by, None, False, tuple(words))
    words.append(
        f"A halving would show with {100 * power:.0f} % probability after about {_round(hours):,.0f} running hours "
        f"({count_words(reach.n_in_zone)} in {case.hours:.0f} h before)."
    )
    return Provability(seen_by, hours, True, tuple(words))


def _smaller_proof(n: int, hours: float, power: float) -> str:
    """What could still be shown where a halving could not."""
    few = f"{count_words(n)} in {hours:.0f} h before {'is' if n == 1 else 'are'} too few to show a halving"
    for ratio, fall in ((0.25, "a fall to a quarter"), (0.1, "a fall to a tenth")):
        found = hours_until_shown(n, hours, ratio, power)
        if found is not None:
            return f"{few}; {fall} would show after about {_round(found):,.0f} running hours."
    return f"{few} or even a fall to a tenth: whether it works could hardly be told from counts. Measure belt offsets."


def hours_until_shown(n: int, hours: float, true_ratio: float = 0.5, power: float = 0.8) -> float | None:
    """`hours_to_power` for a count; None where there are no hours or no incidents to compare with.

    Parameters
    ----------
    n : int
        Incidents before.
    hours : float
        Running hours before [h].
    true_ratio, power : float, optional
        As for `plant.calc.rates.hours_to_power`.

    Returns
    -------
    float or None
        Running hours after [h].
    """
    if n == 0 or hours <= 0:
        return None
    share = _share_until_shown(n, true_ratio, power)
    return None if share is None else share * hours


@functools.lru_cache(maxsize=4096)
def _share_until_shown(n: int, true_ratio: float, power: float) -> float | None:
    """Hours after as a share of the hours before: it depends on the count alone, so a plant needs few of them."""
    return hours_to_power(float(n), 1.0, true_ratio=true_ratio, power=power)


# --- causes first -----------------------------------------------------------------------------------------------------
def causes_first(case: BeltCase, strand: str, zones: Sequence[Zone], rules: PlacementRules) -> tuple[str, ...]:
    """What should be cured before a device hides it, one sentence each; empty where nothing stands in the way.

    Parameters
    ----------
    case : BeltCase
        The belt, with causes that are known to be open and causes that people suspected at incidents.
    strand : {"carry", "return"}
        Strand of the device.
    zones : sequence of Zone
        Where it would steer.
    rules : PlacementRules
        How many incidents, and what share of those in reach, must name the same cause.

    Returns
    -------
    tuple of str
        Open causes first, then the suspected ones.
    """
    said = [
        f"Cure first: {each.words}."
        for each in case.open_causes
        if not each.override and each.strand in (strand, BOTH_STRANDS) and _touches(each, zones)
    ]
    in_reach = incidents_in(case, strand, zones)
    for cause, n in Counter(each.cause for each in in_reach if each.cause).most_common():
        if n >= rules.least_incidents and n >= rules.least_cause_share * len(in_reach):
            said.append(f"Cure first: {n} of {len(in_reach)} incidents in reach are put down to {cause}.")
    return tuple(said)


def overridden_causes(case: BeltCase, strand: str, zones: Sequence[Zone]) -> tuple[str, ...]:
    """Open causes in reach that hold nothing back because somebody gave a reason; one sentence each."""
    return tuple(
        f"Not cured: {each.words}; to be fitted all the same, because: {each.override}"
        for each in case.open_causes
        if each.override and each.strand in (strand, BOTH_STRANDS) and _touches(each, zones)
    )


def put_aside(causes: Sequence[str], override: Override) -> tuple[str, ...]:
    """Causes that hold nothing back because somebody gave a reason; one sentence, which tells both.

    Parameters
    ----------
    causes : sequence of str
        Sentences of `causes_first`.
    override : Override

    Returns
    -------
    tuple of str
        Empty where no cause stands in the way.

    Examples
    --------
    >>> put_aside(["Cure first: build-up."], Override("return", 0, 10, "a look is planned", "erin, 2026-11-02"))
    ('Not cured: build-up. To be fitted all the same, because: a look is planned (erin, 2026-11-02).',)
    """
    if not causes:
        return ()
    told = "; ".join(each.removeprefix("Cure first: ").rstrip(".") for each in causes)
    by = f" ({override.said})" if override.said else ""
    return (f"Not cured: {told}. To be fitted all the same, because: {override.reason.rstrip('.')}{by}.",)


def suspected_in(case: BeltCase, strand: str, zones: Sequence[Zone]) -> tuple[tuple[str, int], ...]:
    """Suspected causes of the incidents in reach with how often each was named, most often first."""
    named = Counter(each.cause for each in incidents_in(case, strand, zones) if each.cause)
    return tuple(sorted(named.items(), key=lambda pair: (-pair[1], pair[0])))


def incidents_in(case: BeltCase, strand: str, zones: Sequence[Zone]) -> tuple[Seen, ...]:
    """Incidents of the strand that lie in any of the zones."""
    here = [each for each in case.incidents if each.strand == strand and each.chainage_m is not None]
    within = inside(zones, np.array([each.chainage_m for each in here], dtype=float))
    return tuple(each for each, is_in in zip(here, within, strict=True) if is_in)


def _touches(cause: OpenCause, zones: Sequence[Zone]) -> bool:
    low = -math.inf if cause.low_m is None else cause.low_m
    high = math.inf if cause.high_m is None else cause.high_m
    return any(low <= zone.high_m + SLACK_M and high >= zone.low_m - SLACK_M for zone in zones)


# --- one trial --------------------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class Judged:
    """A device of one model tried at one place: every answer of this module."""

    place: Place
    limits: PlacementLimits
    effect_length_m: float
    clearance: tuple[Line, ...]
    closeness: tuple[Line, ...]
    into_wander: tuple[IntoWander, ...]
    reach: Reach
    # Incidents in the zone if the device acts over the least and the most that its model states; None if not stated.
    n_least: int | None
    n_most: int | None
    proof: Provability
    causes_first: tuple[str, ...]
    overridden: tuple[str, ...]
    suspected: tuple[tuple[str, int], ...]

    @property
    def fit(self) -> Fit:
        """All lines of clearance and closeness together."""
        return overall([*self.clearance, *self.closeness])


def judge_place(
    case: BeltCase,
    place: Place,
    limits: PlacementLimits,
    *,
    effect_length_m: float,
    rules: PlacementRules | None = None,
) -> Judged:
    """Try a device of one model at one place.

    Parameters
    ----------
    case : BeltCase
        The belt.
    place : Place
        The place with what was measured there, on this belt.
    limits : PlacementLimits
        What the model states.
    effect_length_m : float
        Start value of the plant where the model states no length of effect [m].
    rules : PlacementRules, optional
        Start values of the trade where left out.

    Returns
    -------
    Judged
        Clearance, closeness, depth in the wander, reach, proof and causes.

    Raises
    ------
    ValueError
        If the strand is unknown or a length is outside its range.
    """
    rules = rules or PlacementRules()
    length = limits.effect_length_m or effect_length_m
    strand, at = place.strand, place.chainage_m
    reach = reach_of(case, strand, at, length)
    wanders = wandering_stretches(case, strand, rules)
    stated = (limits.effect_length_least_m, limits.effect_length_most_m)
    causes, overridden = causes_first(case, strand, reach.zones, rules), overridden_causes(case, strand, reach.zones)
    override = case.override_at(strand, at)
    if override is not None:
        causes, overridden = (), (*put_aside(causes, override), *overridden)
    least, most = (None if each is None else reach_of(case, strand, at, each).n_in_zone for each in stated)
    return Judged(
        place=place,
        limits=limits,
        effect_length_m=length,
        clearance=clearance_lines(limits, place),
        closeness=closeness_lines(case, strand, at, rules),
        into_wander=into_the_wander(wanders, strand, at, case.is_reversing, rules),
        reach=reach,
        n_least=least,
        n_most=most,
        proof=provability(case, reach, strand=strand),
        causes_first=causes,
        overridden=overridden,
        suspected=suspected_in(case, strand, reach.zones),
    )


def _range(least: float | None, most: float | None, unit: str) -> str:
    if least is None:
        return f"up to {_number(most or 0.0)} {unit}"
    if most is None:
        return f"{_number(least)} {unit} or more"
    return f"{_number(least)} to {_number(most)} {unit}"


def _number(value: float) -> str:
    """To 0.1, without a trailing zero; speeds and the like keep two decimals where they have them."""
    text = f"{value:.2f}" if abs(value) < 10 else f"{value:.1f}"
    return text.rstrip("0").rstrip(".") or "0"


def _round(hours: float) -> float:
    """Two digits: nobody knows the hours better than that."""
    power = 10.0 ** (math.floor(math.log10(hours)) - 1)
    return round(hours / power) * power
