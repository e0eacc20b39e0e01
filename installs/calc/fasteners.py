"""Fasteners: the torque to tighten to, what a torque tool can tell, and which tool may sign a torque off.

1. **Target.** The device model's own figure wins. Where it gives none, T = K D F estimates one from thread, class, nut
   factor and preload; it is an estimate of +/- 25 to 30 % on preload and is marked so wherever it is shown.
2. **Data.** Stress areas and proof strengths are the printed ones of the standards (`THREADS`, `proof_strength_mpa`).
3. **Guard band.** A tool that may deviate leaves readings near a limit undecided; only a reading for which the tool
   leaves no doubt is within.
4. **Tool.** Out of calibration, retired or outside its range, it is refused for a sign-off; a person may use it all the
   same with a reason, which stays with the torque.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Literal

from installs.calc.threads import proof_strength_mpa, thread_named
from plant.calc.reasons import NotAccepted, Reason, four_digits

# Decimal readings such as 55.2 mm are not exact in binary; shares closer than this to a limit have reached it.
SLACK = 1e-9
# Fasteners: common practice, no source; 4 % is the permissible deviation of a graduated setting tool above 10 N·m by
# ISO 6789:2003 as read in a summary of it.
TOLERANCE_PCT = 10.0
TOOL_DEVIATION_PCT = 4.0
LOOSE_SHARE = 0.8
# Estimate of a target. Shigley, Mechanical Engineering Design, ch. 8: K 0.20 for plain or unknown threads, 0.15
# lubricated; 0.75 of the proof load for connections that are undone again (from memory; a public table agrees).
NUT_FACTOR = 0.20
NUT_FACTOR_LUBRICATED = 0.15
PRELOAD_FRACTION = 0.75
ESTIMATE_SCATTER_PCT = 30
# ISO 6789:2003 as read in a summary, graduated setting tools (type II class A): up to and including 10 N·m, above it.
SMALL_TOOL_NM = 10.0
SMALL_TOOL_DEVIATION_PCT = 6.0


class TargetRule(StrEnum):
    """How the torque to tighten to came about, or why none is known."""

    STATED = "torque_target.stated"
    ESTIMATE = "torque_target.estimate"
    THREAD_NEEDED = "torque_target.thread_needed"
    CLASS_NEEDED = "torque_target.class_needed"
    BOTH_NEEDED = "torque_target.both_needed"
    NO_ESTIMATE = "torque_target.no_estimate"


class ToolRule(StrEnum):
    """Why a tool may not sign a torque off."""

    RETIRED = "retired"
    NEVER_CALIBRATED = "never_calibrated"
    OUT_OF_CALIBRATION = "out_of_calibration"
    BELOW_RANGE = "below_range"
    ABOVE_RANGE = "above_range"


class DayCount(StrEnum):
    """A number of days, for a sentence."""

    ONE = "day_count.one"
    MORE = "day_count.more"


class AsLeftRule(StrEnum):
    """What a tool can tell of a torque as left."""

    OUTSIDE = "as_left.outside"
    WITHIN = "as_left.within"
    TOO_COARSE = "as_left.too_coarse"
    UNDECIDED = "as_left.undecided"


@dataclass(frozen=True)
class TorqueBand:
    """Readings at which a torque tool decides, all in N·m.

    A reading r of a tool with permissible deviation w means a true torque between r / (1 + w) and r / (1 - w).
    """

    loose_below: float
    surely_loose_below: float
    maybe_loose_below: float
    low: float
    high: float
    surely_below_below: float
    surely_inside_from: float
    surely_inside_to: float
    surely_above_above: float


@dataclass(frozen=True)
class AsLeft:
    """Verdict on a torque as left: within only where the tool leaves no doubt."""

    verdict: Literal["within", "undecided", "outside"]
    reason: Reason
    band: TorqueBand


@dataclass(frozen=True)
class TorqueTarget:
    """The torque to tighten to [N·m], whether it is an estimate, and how it came about; None where nothing is stated.

    `preload_n` is the clamp force that an estimate aims at [N].
    """

    torque_nm: float | None
    is_estimate: bool
    why: Reason
    preload_n: float | None = None


def estimate_torque(
    thread: str,
    strength_class: str,
    *,
    nut_factor: float = NUT_FACTOR,
    preload_fraction: float = PRELOAD_FRACTION,
) -> TorqueTarget:
    """Estimate of a tightening torque by T = K D F, with F a share of the proof load.

    Parameters
    ----------
    thread, strength_class : str
        As `thread_named` and `proof_strength_mpa` read them.
    nut_factor : float, optional
        K, 0.05 to 0.6 [-]: 0.20 plain or unknown, 0.15 lubricated.
    preload_fraction : float, optional
        Share of the proof load, 0.1 to 0.95 [-].

    Returns
    -------
    TorqueTarget
        torque_nm [N·m], is_estimate True, preload_n [N].

    Raises
    ------
    ValueError
        If the thread or class is not in the tables, or a number is outside its range.

    References
    ----------
    Shigley, Mechanical Engineering Design, ch. 8 (from memory). A public torque table agrees: 1/2-13 grade 5, clamp
    9050 lbf, 75 lbf·ft.

    Examples
    --------
    >>> round(estimate_torque("M20", "8.8").torque_nm, 1)
    441.0
    """
    if not 0.05 <= nut_factor <= 0.6:
        raise ValueError(f"nut_factor is {nut_factor}; give 0.05 to 0.6, such as 0.2 plain or 0.15 lubricated")
    if not 0.1 <= preload_fraction <= 0.95:
        raise ValueError(f"preload_fraction is {preload_fraction}; give 0.1 to 0.95 of the proof load, such as 0.75")
    bolt = thread_named(thread)
    strength = proof_strength_mpa(bolt, strength_class)
    preload_n = preload_fraction * bolt.stress_area_mm2 * strength
    torque_nm = nut_factor * bolt.diameter_mm / 1000 * preload_n
    known: dict[str, float | str] = {
        "nut_factor": nut_factor,
        "diameter_mm": bolt.diameter_mm,
        "preload_kn": round(preload_n / 1000, 6),
        "torque_nm": round(torque_nm, 1),
        "preload_pct": 100 * preload_fraction,
        "bolt": f"{bolt.name} {strength_class.strip()}",
        "area_mm2": bolt.stress_area_mm2,
        "strength_mpa": strength,
        "scatter_pct": ESTIMATE_SCATTER_PCT,
    }
    return TorqueTarget(torque_nm, True, Reason(TargetRule.ESTIMATE, known), preload_n)


def torque_target(
    stated_nm: float | None,
    thread: str = "",
    strength_class: str = "",
    *,
    nut_factor: float | None = None,
    preload_fraction: float | None = None,
) -> TorqueTarget:
    """The torque to tighten to: the model's own figure, else an estimate, else not stated.

    Parameters
    ----------
    stated_nm : float or None
        The model's own figure, above 0 [N·m]; it always wins.
    thread, strength_class : str, optional
        For the estimate; empty where the model does not say.
    nut_factor, preload_fraction : float or None, optional
        For the estimate; None takes the start values [-].

    Returns
    -------
    TorqueTarget
        torque_nm is None where nothing can be said; `why` says so.

    Raises
    ------
    ValueError
        If stated_nm is not above 0, or a number of the estimate is outside its range.
    """
    if stated_nm is not None:
        _check_above_zero("stated_nm", stated_nm, "N·m")
        return TorqueTarget(stated_nm, False, Reason(TargetRule.STATED, {"torque_nm": stated_nm}))
    if not thread.strip() or not strength_class.strip():
        rule = TargetRule.CLASS_NEEDED
        if not thread.strip():
            rule = TargetRule.THREAD_NEEDED if strength_class.strip() else TargetRule.BOTH_NEEDED
        return TorqueTarget(None, False, Reason(rule))
    try:
        proof_strength_mpa(thread_named(thread), strength_class)
    except NotAccepted as error:
        return TorqueTarget(None, False, Reason(TargetRule.NO_ESTIMATE, {"why": error.reason}))
    return estimate_torque(
        thread,
        strength_class,
        nut_factor=NUT_FACTOR if nut_factor is None else nut_factor,
        preload_fraction=PRELOAD_FRACTION if preload_fraction is None else preload_fraction,
    )


def permissible_deviation_pct(range_most_nm: float) -> float:
    """Permissible deviation of a graduated setting tool, where its certificate says nothing else.

    Parameters
    ----------
    range_most_nm : float
        Largest torque of the tool, above 0 [N·m].

    Returns
    -------
    float
        6 up to and including 10 N·m, 4 above [%].

    Raises
    ------
    ValueError
        If the torque is not above 0.

    References
    ----------
    ISO 6789:2003, type II class A, as read in a summary; the figures of other classes were not read.
    """
    _check_above_zero("range_most_nm", range_most_nm, "N·m")
    return SMALL_TOOL_DEVIATION_PCT if range_most_nm <= SMALL_TOOL_NM else TOOL_DEVIATION_PCT


def tool_deviation_pct(set_nm: float, reference_nm: float) -> float:
    """Deviation of a torque tool in per cent of the reference value, as its calibration shows it.

    Parameters
    ----------
    set_nm : float
        What the tool was set to or showed, above 0 [N·m].
    reference_nm : float
        What the test device measured, above 0 [N·m].

    Returns
    -------
    float
        100 (set - reference) / reference [%]; dividing by the set value would hide the last part of a deviation.

    Raises
    ------
    ValueError
        If a torque is not above 0.

    Examples
    --------
    >>> round(tool_deviation_pct(100, 96.0), 3)
    4.167
    """
    _check_above_zero("set_nm", set_nm, "N·m")
    _check_above_zero("reference_nm", reference_nm, "N·m")
    return 100 * (set_nm - reference_nm) / reference_nm


def doubts_about_tool(
    torque_nm: float,
    *,
    on: date,
    calibration_due_on: date | None,
    retired_on: date | None = None,
    range_least_nm: float | None = None,
    range_most_nm: float | None = None,
) -> tuple[Reason, ...]:
    """Why a torque tool may not sign a torque off on a day; empty where nothing speaks against it.

    Parameters
    ----------
    torque_nm : float
        The torque to be signed off, above 0 [N·m].
    on : date
        The day, in the plant's time zone.
    calibration_due_on : date or None
        Last day on which the calibration holds; None where there is none.
    retired_on : date or None, optional
        Day since when the tool is no longer used.
    range_least_nm, range_most_nm : float or None, optional
        The tool's range, ends included [N·m]; None where not stated.

    Returns
    -------
    tuple of Reason
        Each with a `ToolRule`.

    Raises
    ------
    ValueError
        If the torque is not above 0.
    """
    _check_above_zero("torque_nm", torque_nm, "N·m")
    doubts = []
    if retired_on is not None and retired_on <= on:
        doubts.append(Reason(ToolRule.RETIRED, {"on": retired_on}))
    if calibration_due_on is None:
        doubts.append(Reason(ToolRule.NEVER_CALIBRATED))
    elif calibration_due_on < on:
        days = (on - calibration_due_on).days
        late = Reason(DayCount.ONE if days == 1 else DayCount.MORE, {"n": days})
        doubts.append(Reason(ToolRule.OUT_OF_CALIBRATION, {"on": calibration_due_on, "late": late}))
    if range_least_nm is not None and torque_nm < range_least_nm - SLACK * torque_nm:
        doubts.append(Reason(ToolRule.BELOW_RANGE, {"torque_nm": torque_nm, "least_nm": range_least_nm}))
    if range_most_nm is not None and torque_nm > range_most_nm + SLACK * torque_nm:
        doubts.append(Reason(ToolRule.ABOVE_RANGE, {"torque_nm": torque_nm, "most_nm": range_most_nm}))
    return tuple(doubts)


def torque_band(
    target_nm: float,
    *,
    tolerance_pct: float = TOLERANCE_PCT,
    tool_deviation_pct: float = TOOL_DEVIATION_PCT,
    loose_share: float = LOOSE_SHARE,
) -> TorqueBand:
    """Readings at which a torque is surely, or only perhaps, loose, outside or inside its tolerance.

    Parameters
    ----------
    target_nm : float
        Target, above 0 [N·m].
    tolerance_pct : float, optional
        Tolerance either way, above 0 and below 100 [%].
    tool_deviation_pct : float, optional
        Permissible deviation of the tool, 0 to below 50 [%].
    loose_share : float, optional
        Share of the target below which a fastener is loose, above 0 and not above 1 - tolerance [-].

    Returns
    -------
    TorqueBand
        Readings [N·m]. Where surely_inside_from lies above surely_inside_to the tool is too coarse for the tolerance.

    Raises
    ------
    ValueError
        If an input is outside its range.

    References
    ----------
    Idea of a guard band: ISO 14253-1, JCGM 106 (from memory). Deviation in per cent of the true torque: ISO 6789.

    Examples
    --------
    >>> band = torque_band(100)
    >>> [round(x, 6) for x in (band.surely_below_below, band.surely_inside_from, band.surely_inside_to)]
    [86.4, 93.6, 105.6]
    """
    _check_above_zero("target_nm", target_nm, "N·m")
    if not 0 < tolerance_pct < 100:
        raise ValueError(f"tolerance_pct is {tolerance_pct} %; give above 0 and below 100 %")
    if not 0 <= tool_deviation_pct < 50:
        raise ValueError(f"tool_deviation_pct is {tool_deviation_pct} %; give 0 to below 50 %, such as 4")
    if not 0 < loose_share <= 1 - tolerance_pct / 100 + SLACK:
        raise ValueError(
            f"loose_share is {loose_share}; give a share above 0 and not above {1 - tolerance_pct / 100:g}, "
            "the low end of the tolerance"
        )
    w = tool_deviation_pct / 100
    loose, low, high = (target_nm * x for x in (loose_share, 1 - tolerance_pct / 100, 1 + tolerance_pct / 100))
    return TorqueBand(
        loose_below=loose,
        surely_loose_below=loose * (1 - w),
        maybe_loose_below=loose * (1 + w),
        low=low,
        high=high,
        surely_below_below=low * (1 - w),
        surely_inside_from=low * (1 + w),
        surely_inside_to=high * (1 - w),
        surely_above_above=high * (1 + w),
    )


def judge_as_left(
    as_left_nm: float,
    target_nm: float,
    *,
    tolerance_pct: float = TOLERANCE_PCT,
    tool_deviation_pct: float = TOOL_DEVIATION_PCT,
) -> AsLeft:
    """Torque as left: within only where the tool's own deviation leaves no doubt.

    Parameters
    ----------
    as_left_nm : float
        Torque as left, 0 or more [N·m].
    target_nm, tolerance_pct, tool_deviation_pct
        As in `torque_band`.

    Returns
    -------
    AsLeft
        verdict, reason, band.

    Raises
    ------
    ValueError
        If an input is outside its range.
    """
    if not 0 <= as_left_nm < math.inf:
        raise ValueError(f"as_left_nm is {as_left_nm} N·m; give a torque from 0 N·m up")
    loosest = min(LOOSE_SHARE, 1 - tolerance_pct / 100) if 0 < tolerance_pct < 100 else LOOSE_SHARE
    band = torque_band(
        target_nm, tolerance_pct=tolerance_pct, tool_deviation_pct=tool_deviation_pct, loose_share=loosest
    )
    slack = SLACK * target_nm
    if as_left_nm < band.surely_below_below - slack or as_left_nm > band.surely_above_above + slack:
        known = {"left_nm": as_left_nm, "low_nm": four_digits(band.low), "high_nm": four_digits(band.high)}
        return AsLeft("outside", Reason(AsLeftRule.OUTSIDE, known), band)
    sure = {
        "left_nm": as_left_nm,
        "low_nm": four_digits(band.surely_inside_from),
        "high_nm": four_digits(band.surely_inside_to),
    }
    if band.surely_inside_from - slack <= as_left_nm <= band.surely_inside_to + slack:
        return AsLeft("within", Reason(AsLeftRule.WITHIN, sure), band)
    if band.surely_inside_from > band.surely_inside_to:
        coarse = {"tool_pct": tool_deviation_pct, "tolerance_pct": tolerance_pct}
        return AsLeft("undecided", Reason(AsLeftRule.TOO_COARSE, coarse), band)
    return AsLeft("undecided", Reason(AsLeftRule.UNDECIDED, sure), band)


def _check_above_zero(name: str, value: float, unit: str) -> None:
    if not 0 < value < math.inf:
        raise ValueError(f"{name} is {value} {unit}; give a number above 0 {unit}")
