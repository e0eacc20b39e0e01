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
import re
from dataclasses import dataclass
from datetime import date
from typing import Literal

from plant.calc.wording import figure

# Decimal readings such as 55.2 mm are not exact in binary; shares closer than this to a limit have reached it.
SLACK = 1e-9

# Fasteners: common practice, no source; 4 % is the permissible deviation of a graduated setting tool above 10 N·m by
# ISO 6789:2003 as read in a summary of it.
TOLERANCE_PCT = 10.0
TOOL_DEVIATION_PCT = 4.0
LOOSE_SHARE = 0.8

# Exact by definition (NIST SP 811, Appendix B).
INCH_MM = 25.4
KSI_MPA = 4.4482216152605 / 25.4**2 * 1000  # 1 ksi in MPa

# Estimate of a target. Shigley, Mechanical Engineering Design, ch. 8: K 0.20 for plain or unknown threads, 0.15
# lubricated; 0.75 of the proof load for connections that are undone again (from memory; a public table agrees).
NUT_FACTOR = 0.20
NUT_FACTOR_LUBRICATED = 0.15
PRELOAD_FRACTION = 0.75
ESTIMATE_SCATTER_PCT = 30

# ISO 6789:2003 as read in a summary, graduated setting tools (type II class A): up to and including 10 N·m, above it.
SMALL_TOOL_NM = 10.0
SMALL_TOOL_DEVIATION_PCT = 6.0


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
    reason: str
    band: TorqueBand


@dataclass(frozen=True)
class Thread:
    """One thread of the tables: its name, nominal diameter [mm], pitch [mm] and printed stress area [mm2]."""

    name: str
    diameter_mm: float
    pitch_mm: float
    stress_area_mm2: float

    @property
    def is_metric(self) -> bool:
        """Metric coarse; otherwise unified coarse (UNC)."""
        return self.name.startswith("M")


@dataclass(frozen=True)
class TorqueTarget:
    """The torque to tighten to [N·m], whether it is an estimate, and how it came about; None where nothing is stated.

    `preload_n` is the clamp force that an estimate aims at [N].
    """

    torque_nm: float | None
    is_estimate: bool
    words: str
    preload_n: float | None = None


@dataclass(frozen=True)
class ToolDoubt:
    """Why a tool may not sign a torque off: the rule by name, and the words for it."""

    rule: Literal["retired", "never_calibrated", "out_of_calibration", "below_range", "above_range"]
    words: str


# ISO 898-1: printed stress areas of coarse threads [mm2], pitches of ISO 724 [mm].
_METRIC = {
    "M8": (8, 1.25, 36.6),
    "M10": (10, 1.5, 58.0),
    "M12": (12, 1.75, 84.3),
    "M14": (14, 2, 115),
    "M16": (16, 2, 157),
    "M18": (18, 2.5, 192),
    "M20": (20, 2.5, 245),
    "M22": (22, 2.5, 303),
    "M24": (24, 3, 353),
}
# SAE J429 and ASME B1.1: threads per inch, printed stress areas [in2] of the coarse series.
_UNC = {
    "1/4": (0.25, 20, 0.0318),
    "5/16": (0.3125, 18, 0.0524),
    "3/8": (0.375, 16, 0.0775),
    "7/16": (0.4375, 14, 0.1063),
    "1/2": (0.5, 13, 0.1419),
    "9/16": (0.5625, 12, 0.182),
    "5/8": (0.625, 11, 0.226),
    "3/4": (0.75, 10, 0.334),
    "7/8": (0.875, 9, 0.462),
    "1": (1.0, 8, 0.606),
}
THREADS: dict[str, Thread] = {name: Thread(name, *row) for name, row in _METRIC.items()} | {
    f"{size}-{tpi}": Thread(f"{size}-{tpi}", d * INCH_MM, INCH_MM / tpi, area * INCH_MM**2)
    for size, (d, tpi, area) in _UNC.items()
}
# Proof strength by size: up to and including so many mm or inches the figure that follows holds, above the last none.
# ISO 898-1, 8.8 and 10.9, in MPa: read in two copies of the tables, which hold coarse threads to M39 (that end from
# memory). SAE J429, grades 5 and 8, in ksi: read; both begin at 1/4 in.
METRIC_LEAST_MM, METRIC_MOST_MM = 1.6, 39.0
METRIC_STRENGTHS_MPA: dict[str, tuple[tuple[float, float], ...]] = {
    "8.8": ((16.0, 580.0), (METRIC_MOST_MM, 600.0)),
    "10.9": ((METRIC_MOST_MM, 830.0),),
}
UNIFIED_LEAST_IN, UNIFIED_MOST_IN = 0.25, 1.5
UNIFIED_STRENGTHS_KSI: dict[str, tuple[tuple[float, float], ...]] = {
    "5": ((1.0, 85.0), (UNIFIED_MOST_IN, 74.0)),
    "8": ((UNIFIED_MOST_IN, 120.0),),
}


def thread_named(text: str) -> Thread:
    """The thread that a person wrote.

    Parameters
    ----------
    text : str
        Such as ``M12``, ``m12x1.75``, ``1/2-13``, ``1/2 UNC`` or ``1/2"-13 UNC``.

    Returns
    -------
    Thread
        A coarse thread of the tables.

    Raises
    ------
    ValueError
        If no coarse thread from M8 to M24 or from 1/4 to 1 in is meant.

    Examples
    --------
    >>> thread_named("m16 x 2").stress_area_mm2, thread_named('1/2" UNC').name
    (157, '1/2-13')
    """
    plain = re.sub(r"\s+", "", text).upper().replace("×", "X").replace('"', "").replace("IN-", "-")
    allowed = "Give a coarse thread from M8 to M24, or from 1/4-20 to 1-8."
    metric = re.fullmatch(r"(M[0-9]+)(?:X([0-9]+(?:[.,][0-9]+)?))?", plain)
    if metric:
        thread = THREADS.get(metric[1])
        if thread is None:
            raise ValueError(f"Thread “{text.strip()}” is not in the tables. {allowed}")
        if metric[2] and float(metric[2].replace(",", ".")) != thread.pitch_mm:
            raise ValueError(
                f"Thread “{text.strip()}” has a pitch of {metric[2]} mm; the tables hold {thread.pitch_mm:g} mm. "
                f"{allowed}"
            )
        return thread
    unified = re.fullmatch(r"([0-9]+(?:/[0-9]+)?)(?:-([0-9]+))?-?(?:UNC)?", plain)
    if unified and unified[1] in _UNC:
        tpi = _UNC[unified[1]][1]
        if unified[2] and int(unified[2]) != tpi:
            raise ValueError(
                f"Thread “{text.strip()}” has {unified[2]} threads per inch; the tables hold {tpi}. {allowed}"
            )
        return THREADS[f"{unified[1]}-{tpi}"]
    raise ValueError(f"Thread “{text.strip()}” is not in the tables. {allowed}")


def proof_strength_mpa(thread: Thread, strength_class: str) -> float:
    """Proof strength of a bolt of one size and class or grade.

    Parameters
    ----------
    thread : Thread
        Its size decides: class 8.8 is stronger above 16 mm, grade 5 weaker above 1 in.
    strength_class : str
        "8.8" or "10.9" with a metric thread; "5" or "8", or "grade 5", with a unified one.

    Returns
    -------
    float
        Proof strength [MPa].

    Raises
    ------
    ValueError
        If the class is not in the tables, does not go with the thread, or the tables have no figure for its size.

    References
    ----------
    ISO 898-1: class 8.8 580 MPa up to and including 16 mm, 600 MPa above; class 10.9 830 MPa; to M39 (that end from
    memory). SAE J429: grade 5 85 ksi from 1/4 to 1 in, 74 ksi above 1 to 1 1/2 in; grade 8 120 ksi from 1/4 to
    1 1/2 in. Read in two copies of the tables.

    Examples
    --------
    >>> proof_strength_mpa(THREADS["M16"], "8.8"), proof_strength_mpa(THREADS["M18"], "8.8")
    (580.0, 600.0)
    """
    given = strength_class.strip()
    wanted = re.sub(r"^(?:CLASS|GRADE|GR\.?|CL\.?)", "", re.sub(r"\s+", "", given).upper())
    if thread.is_metric:
        size, least = thread.diameter_mm, METRIC_LEAST_MM
        sizes = f"from M{figure(METRIC_LEAST_MM)} to M{figure(METRIC_MOST_MM)}"
        tables, scale, allowed = METRIC_STRENGTHS_MPA, 1.0, "class 8.8 or 10.9"
    else:
        size, least, sizes = thread.diameter_mm / INCH_MM, UNIFIED_LEAST_IN, "from 1/4 to 1 1/2 in"
        tables, scale, allowed = UNIFIED_STRENGTHS_KSI, KSI_MPA, "grade 5 or 8"
    if wanted not in tables:
        raise ValueError(f"Class “{given}” of {thread.name} is not in the tables. Give {allowed}.")
    for most, strength in tables[wanted]:
        if least - SLACK <= size <= most + SLACK:
            return strength * scale
    raise ValueError(f"The tables hold class “{given}” for no {thread.name}. Give a thread {sizes}.")


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
    words = (
        f"Estimate: K D F = {figure(nut_factor)} × {figure(bolt.diameter_mm)} mm × {preload_n / 1000:.1f} kN = "
        f"{torque_nm:.1f} N·m, with F = {figure(100 * preload_fraction)} % of the proof load of "
        f"{bolt.name} {strength_class.strip()} ({bolt.stress_area_mm2:.4g} mm2 × {strength:.4g} MPa). "
        f"Preload may be off by {ESTIMATE_SCATTER_PCT} %."
    )
    return TorqueTarget(torque_nm, True, words, preload_n)


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
        torque_nm is None where nothing can be said; words say why.

    Raises
    ------
    ValueError
        If stated_nm is not above 0, or a number of the estimate is outside its range.
    """
    if stated_nm is not None:
        _check_above_zero("stated_nm", stated_nm, "N·m")
        return TorqueTarget(stated_nm, False, f"The model states {figure(stated_nm)} N·m.")
    if not thread.strip() or not strength_class.strip():
        missing = " and ".join(
            what for what, text in (("thread", thread), ("class or grade", strength_class)) if not text.strip()
        )
        words = f"Not stated by the model; an estimate needs the {missing} of the fastener."
        return TorqueTarget(None, False, words)
    try:
        proof_strength_mpa(thread_named(thread), strength_class)
    except ValueError as error:
        return TorqueTarget(None, False, f"Not stated by the model, and no estimate: {error}")
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
) -> tuple[ToolDoubt, ...]:
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
    tuple of ToolDoubt

    Raises
    ------
    ValueError
        If the torque is not above 0.
    """
    _check_above_zero("torque_nm", torque_nm, "N·m")
    doubts = []
    if retired_on is not None and retired_on <= on:
        doubts.append(ToolDoubt("retired", f"It is no longer used since {retired_on:%Y-%m-%d}."))
    if calibration_due_on is None:
        doubts.append(ToolDoubt("never_calibrated", "No calibration of it is in the book."))
    elif calibration_due_on < on:
        late = (on - calibration_due_on).days
        words = (
            f"Its calibration ran out on {calibration_due_on:%Y-%m-%d}, {late} {'day' if late == 1 else 'days'} before."
        )
        doubts.append(ToolDoubt("out_of_calibration", words))
    if range_least_nm is not None and torque_nm < range_least_nm - SLACK * torque_nm:
        words = f"{figure(torque_nm)} N·m is below its range, which begins at {figure(range_least_nm)} N·m."
        doubts.append(ToolDoubt("below_range", words))
    if range_most_nm is not None and torque_nm > range_most_nm + SLACK * torque_nm:
        words = f"{figure(torque_nm)} N·m is above its range, which ends at {figure(range_most_nm)} N·m."
        doubts.append(ToolDoubt("above_range", words))
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
        said = f"{figure(as_left_nm)} N·m is outside {band.low:.4g} to {band.high:.4g} N·m: set it again."
        return AsLeft("outside", said, band)
    sure = f"between {band.surely_inside_from:.4g} and {band.surely_inside_to:.4g} N·m"
    if band.surely_inside_from - slack <= as_left_nm <= band.surely_inside_to + slack:
        return AsLeft("within", f"{figure(as_left_nm)} N·m lies {sure}, where this tool is sure.", band)
    if band.surely_inside_from > band.surely_inside_to:
        said = f"A tool of {figure(tool_deviation_pct)} % is too coarse for a tolerance of {figure(tolerance_pct)} %."
        return AsLeft("undecided", said, band)
    return AsLeft("undecided", f"{figure(as_left_nm)} N·m is undecided with this tool: set it {sure}.", band)


def _check_above_zero(name: str, value: float, unit: str) -> None:
    if not 0 < value < math.inf:
        raise ValueError(f"{name} is {value} {unit}; give a number above 0 {unit}")
