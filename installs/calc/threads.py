"""Coarse threads and strength classes: the printed stress areas and proof strengths of the standards."""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum

from plant.calc.reasons import NotAccepted, Reason, Value


class ThreadRule(StrEnum):
    """What is wrong with a thread or a strength class that somebody wrote."""

    NOT_IN_TABLES = "thread.not_in_tables"
    OTHER_PITCH = "thread.other_pitch"
    OTHER_COUNT = "thread.other_count"
    NO_SUCH_CLASS = "thread.no_such_class"
    NO_SUCH_GRADE = "thread.no_such_grade"
    NO_CLASS_OF_SIZE = "thread.no_class_of_size"
    NO_GRADE_OF_SIZE = "thread.no_grade_of_size"


# A size such as 0.3125 in is not exact in millimetres; a difference below this is none.
SIZE_SLACK = 1e-9
# Exact by definition (NIST SP 811, Appendix B).
INCH_MM = 25.4
KSI_MPA = 4.4482216152605 / 25.4**2 * 1000  # 1 ksi in MPa


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
    NotAccepted
        If no coarse thread from M8 to M24 or from 1/4 to 1 in is meant.

    Examples
    --------
    >>> thread_named("m16 x 2").stress_area_mm2, thread_named('1/2" UNC').name
    (157, '1/2-13')
    """
    plain = re.sub(r"\s+", "", text).upper().replace("×", "X").replace('"', "").replace("IN-", "-")
    given = text.strip()
    metric = re.fullmatch(r"(M[0-9]+)(?:X([0-9]+(?:[.,][0-9]+)?))?", plain)
    if metric:
        thread = THREADS.get(metric[1])
        if thread is None:
            raise NotAccepted(Reason(ThreadRule.NOT_IN_TABLES, {"given": given}))
        if metric[2] and float(metric[2].replace(",", ".")) != thread.pitch_mm:
            known = {"given": given, "pitch": metric[2], "wanted": thread.pitch_mm}
            raise NotAccepted(Reason(ThreadRule.OTHER_PITCH, known))
        return thread
    unified = re.fullmatch(r"([0-9]+(?:/[0-9]+)?)(?:-([0-9]+))?-?(?:UNC)?", plain)
    if unified and unified[1] in _UNC:
        tpi = _UNC[unified[1]][1]
        if unified[2] and int(unified[2]) != tpi:
            raise NotAccepted(Reason(ThreadRule.OTHER_COUNT, {"given": given, "count": unified[2], "wanted": tpi}))
        return THREADS[f"{unified[1]}-{tpi}"]
    raise NotAccepted(Reason(ThreadRule.NOT_IN_TABLES, {"given": given}))


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
    NotAccepted
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
        tables, scale = METRIC_STRENGTHS_MPA, 1.0
        no_class, no_size = ThreadRule.NO_SUCH_CLASS, ThreadRule.NO_CLASS_OF_SIZE
    else:
        size, least = thread.diameter_mm / INCH_MM, UNIFIED_LEAST_IN
        tables, scale = UNIFIED_STRENGTHS_KSI, KSI_MPA
        no_class, no_size = ThreadRule.NO_SUCH_GRADE, ThreadRule.NO_GRADE_OF_SIZE
    known: dict[str, Value] = {"given": given, "thread": thread.name}
    if wanted not in tables:
        raise NotAccepted(Reason(no_class, known))
    for most, strength in tables[wanted]:
        if least - SIZE_SLACK <= size <= most + SIZE_SLACK:
            return strength * scale
    if thread.is_metric:
        known |= {"least": METRIC_LEAST_MM, "most": METRIC_MOST_MM}
    raise NotAccepted(Reason(no_size, known))
