"""Whether a place has the room, the belt and the speed that a device model states.

What the model does not state, or nobody has measured, is never a pass.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from installs.calc.belt_cases import BeltPlace
from plant.calc.reasons import Reason, Value


class Fit(StrEnum):
    """What one line, or all of them together, comes to; in the order of how much speaks for the place."""

    FITS = "fits"
    CONDITION = "condition"
    NOT_MEASURED = "not_measured"
    NOT_STATED = "not_stated"
    DOES_NOT_FIT = "does_not_fit"


class ModelWord(StrEnum):
    """What stands for the name of a device model where none is chosen; a word of `installs.words.placement`."""

    NONE = "placement.model.none"


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


class ClearanceRule(StrEnum):
    """What a line says of a place against the model's sheet."""

    STRAND_SUITS = "clearance.strand_suits"
    STRAND_DIFFERS = "clearance.strand_differs"
    ONE_DIRECTION = "clearance.one_direction"
    BOTH_DIRECTIONS = "clearance.both_directions"
    RUNS_ONE_WAY = "clearance.runs_one_way"
    NOT_STATED = "clearance.not_stated"
    RANGE_NOT_MEASURED = "clearance.range_not_measured"
    WIDTH_WITHIN = "clearance.width_within"
    WIDTH_ONE_END = "clearance.width_one_end"
    WIDTH_OUTSIDE = "clearance.width_outside"
    SPEED_WITHIN = "clearance.speed_within"
    SPEED_OUTSIDE = "clearance.speed_outside"
    ROOM_NOT_STATED = "clearance.room_not_stated"
    ROOM_THERE_NOT_STATED = "clearance.room_there_not_stated"
    ROOM_NOT_MEASURED = "clearance.room_not_measured"
    ROOM_SHORT = "clearance.room_short"
    ROOM_FITS = "clearance.room_fits"
    TROUGH_NOT_MEASURED = "clearance.trough_not_measured"
    TROUGH = "clearance.trough"
    # Ranges that a model states.
    WIDTH_UP_TO = "clearance.width_up_to"
    WIDTH_FROM = "clearance.width_from"
    WIDTH_BETWEEN = "clearance.width_between"
    SPEED_UP_TO = "clearance.speed_up_to"
    SPEED_FROM = "clearance.speed_from"
    SPEED_BETWEEN = "clearance.speed_between"


class Asked(StrEnum):
    """What a model's sheet is asked for."""

    WIDTH = "asked.width"
    SPEED = "asked.speed"
    TROUGH = "asked.trough"
    BELOW = "asked.below"
    BESIDE = "asked.beside"
    ALONG = "asked.along"


@dataclass(frozen=True)
class PlaceLine:
    """One rule asked of a place: what is there, what is wanted, what is to spare, the verdict and why.

    `margin` is in the unit of the rule, below 0 where it is missed; None where the two cannot be compared.
    """

    rule: str
    measured: float | None
    least: float | None
    most: float | None
    margin: float | None
    fit: Fit
    why: Reason


def clearance_lines(limits: PlacementLimits, place: BeltPlace) -> tuple[PlaceLine, ...]:
    """The place against the model's sheet, one line for each rule, whatever is missing included.

    Parameters
    ----------
    limits : PlacementLimits
        What the model states.
    place : BeltPlace
        What is known of the place.

    Returns
    -------
    tuple of PlaceLine
        strand, direction, width, speed, trough (on the carry strand, or where the model states an angle), below,
        beside, along (where the model states it). The trough must be the stated one to the degree.

    Examples
    --------
    >>> model = PlacementLimits("RP-2", "return", False, 900, 1600, clearance_below_mm=280)
    >>> here = BeltPlace("return", 560, 900, 1200, 4.5, clearance_below_mm=430)
    >>> for line in clearance_lines(model, here):
    ...     print(line.rule, line.fit, line.margin)
    strand fits None
    direction fits None
    width fits 300
    speed not_stated None
    below fits 150
    beside not_stated None
    """
    lines = [
        _strand(limits, place),
        _direction(limits, place),
        _width(limits, place.belt_width_mm),
        _speed(limits, place.speed_m_s),
    ]
    if place.strand == "carry" or limits.trough_angle_deg is not None:
        lines.append(_trough(limits, place))
    name = limits.name
    lines += [
        _room("below", Asked.BELOW, place.clearance_below_mm, limits.clearance_below_mm, name),
        _room("beside", Asked.BESIDE, place.clearance_beside_mm, limits.clearance_beside_mm, name),
    ]
    if limits.clearance_along_mm is not None:
        lines.append(_room("along", Asked.ALONG, place.clearance_along_mm, limits.clearance_along_mm, name))
    return tuple(lines)


def overall(lines: Iterable[PlaceLine]) -> Fit:
    """What all lines together come to: the worst of them.

    Parameters
    ----------
    lines : iterable of PlaceLine
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


def _strand(limits: PlacementLimits, place: BeltPlace) -> PlaceLine:
    known = {"model": limits.name, "made_for": limits.strand, "strand": place.strand}
    if limits.strand == place.strand:
        return _said("strand", Fit.FITS, Reason(ClearanceRule.STRAND_SUITS, known))
    return _said("strand", Fit.DOES_NOT_FIT, Reason(ClearanceRule.STRAND_DIFFERS, known))


def _direction(limits: PlacementLimits, place: BeltPlace) -> PlaceLine:
    if not place.is_reversing:
        return _said("direction", Fit.FITS, Reason(ClearanceRule.RUNS_ONE_WAY))
    known = {"model": limits.name}
    if limits.suits_reversing:
        return _said("direction", Fit.FITS, Reason(ClearanceRule.BOTH_DIRECTIONS, known))
    return _said("direction", Fit.DOES_NOT_FIT, Reason(ClearanceRule.ONE_DIRECTION, known))


def _said(rule: str, fit: Fit, why: Reason) -> PlaceLine:
    """A line without a number."""
    return PlaceLine(rule, None, None, None, None, fit, why)


def _width(limits: PlacementLimits, measured: float | None) -> PlaceLine:
    least, most, name = limits.belt_width_least_mm, limits.belt_width_most_mm, limits.name
    if least is None and most is None:
        return _not_stated("width", Asked.WIDTH, measured, name)
    rules = (ClearanceRule.WIDTH_UP_TO, ClearanceRule.WIDTH_FROM, ClearanceRule.WIDTH_BETWEEN)
    stated = Reason(_ends(least, most, *rules), {"least_mm": least, "most_mm": most})
    if measured is None:
        return _not_measured("width", least, most, name, stated)
    margin = _margin(measured, least, most)
    known: dict[str, Value | Reason] = {"width_mm": measured, "model": name, "stated": stated}
    rule, fit = ClearanceRule.WIDTH_WITHIN, Fit.FITS
    if margin < 0:
        rule, fit = ClearanceRule.WIDTH_OUTSIDE, Fit.DOES_NOT_FIT
        known["outside_mm"] = -margin
    elif least is None or most is None:
        rule, fit = ClearanceRule.WIDTH_ONE_END, Fit.NOT_STATED
    return PlaceLine("width", measured, least, most, margin, fit, Reason(rule, known))


def _speed(limits: PlacementLimits, measured: float | None) -> PlaceLine:
    least, most, name = limits.speed_least_m_s, limits.speed_most_m_s, limits.name
    if least is None and most is None:
        return _not_stated("speed", Asked.SPEED, measured, name)
    rules = (ClearanceRule.SPEED_UP_TO, ClearanceRule.SPEED_FROM, ClearanceRule.SPEED_BETWEEN)
    stated = Reason(_ends(least, most, *rules), {"least_m_s": least, "most_m_s": most})
    if measured is None:
        return _not_measured("speed", least, most, name, stated)
    margin = _margin(measured, least, most)
    known: dict[str, Value | Reason] = {"speed_m_s": measured, "model": name, "stated": stated}
    if margin < 0:
        why = Reason(ClearanceRule.SPEED_OUTSIDE, {**known, "outside_m_s": -margin})
        return PlaceLine("speed", measured, least, most, margin, Fit.DOES_NOT_FIT, why)
    return PlaceLine("speed", measured, least, most, margin, Fit.FITS, Reason(ClearanceRule.SPEED_WITHIN, known))


def _ends(
    least: float | None, most: float | None, up_to: ClearanceRule, from_on: ClearanceRule, between: ClearanceRule
) -> ClearanceRule:
    if least is None:
        return up_to
    return from_on if most is None else between


def _margin(measured: float, least: float | None, most: float | None) -> float:
    spare = [measured - least] if least is not None else []
    spare += [most - measured] if most is not None else []
    return min(spare)


def _not_stated(rule: str, what: Asked, measured: float | None, name: str) -> PlaceLine:
    why = Reason(ClearanceRule.NOT_STATED, {"model": name, "what": what})
    return PlaceLine(rule, measured, None, None, None, Fit.NOT_STATED, why)


def _not_measured(rule: str, least: float | None, most: float | None, name: str, stated: Reason) -> PlaceLine:
    why = Reason(ClearanceRule.RANGE_NOT_MEASURED, {"model": name, "stated": stated})
    return PlaceLine(rule, None, least, most, None, Fit.NOT_MEASURED, why)


def _room(rule: str, room: Asked, measured: float | None, least: float | None, name: str) -> PlaceLine:
    known: dict[str, Value] = {"model": name, "room": room}
    if least is None:
        why = Reason(ClearanceRule.ROOM_NOT_STATED, known)
        if measured is not None:
            why = Reason(ClearanceRule.ROOM_THERE_NOT_STATED, {**known, "there_mm": measured})
        return PlaceLine(rule, measured, None, None, None, Fit.NOT_STATED, why)
    known["needs_mm"] = least
    if measured is None:
        return PlaceLine(
            rule, None, least, None, None, Fit.NOT_MEASURED, Reason(ClearanceRule.ROOM_NOT_MEASURED, known)
        )
    margin = measured - least
    known["there_mm"] = measured
    if margin < 0:
        why = Reason(ClearanceRule.ROOM_SHORT, {**known, "short_mm": -margin})
        return PlaceLine(rule, measured, least, None, margin, Fit.DOES_NOT_FIT, why)
    why = Reason(ClearanceRule.ROOM_FITS, {**known, "spare_mm": margin})
    return PlaceLine(rule, measured, least, None, margin, Fit.FITS, why)


def _trough(limits: PlacementLimits, place: BeltPlace) -> PlaceLine:
    stated, measured, name = limits.trough_angle_deg, place.trough_angle_deg, limits.name
    if stated is None:
        return _not_stated("trough", Asked.TROUGH, measured, name)
    known: dict[str, Value] = {"model": name, "stated_deg": stated}
    if measured is None:
        why = Reason(ClearanceRule.TROUGH_NOT_MEASURED, known)
        return PlaceLine("trough", None, stated, stated, None, Fit.NOT_MEASURED, why)
    off = abs(measured - stated)
    fit = Fit.FITS if off <= 1.0 else Fit.DOES_NOT_FIT
    why = Reason(ClearanceRule.TROUGH, {**known, "trough_deg": measured})
    return PlaceLine("trough", measured, stated, stated, 1.0 - off, fit, why)
