"""Places along a belt and the tags of conveyors.

Chainage is counted in metres along the conveyor from the tail pulley's centre, so it rises towards the head. The carry
strand travels towards the head, the return strand towards the tail; a reversing belt does both on either strand.
"""

from __future__ import annotations

import math
import re
import unicodedata
from itertools import pairwise

from plant.calc.units import QuantityKind, UnitSystem, format_quantity

HEADWARDS = 1
TAILWARDS = -1

# Words that people put before a tag though they are no part of it: CV-S12 is S-12. They are dropped only where a tag of
# letters and digits follows, since CV-12 is a tag by itself.
_CONVEYOR_WORDS = frozenset({"CV", "BC", "CONV", "CONVEYOR", "BELT"})


def downstream(strand: str, reversing: bool) -> tuple[int, ...]:
    """Directions in which a device on this strand steers, as signs of chainage.

    Parameters
    ----------
    strand : {"carry", "return"}
        Strand on which the device sits.
    reversing : bool
        Whether the belt runs both ways.

    Returns
    -------
    tuple of int
        +1 towards the head, -1 towards the tail; both for a reversing belt.

    Raises
    ------
    ValueError
        If the strand is neither.

    Examples
    --------
    >>> downstream("return", reversing=False)
    (-1,)
    """
    if strand not in ("carry", "return"):
        raise ValueError(f"strand is “{strand}”; give carry or return")
    if reversing:
        return (HEADWARDS, TAILWARDS)
    return (HEADWARDS,) if strand == "carry" else (TAILWARDS,)


def clip_to_belt(low: float, high: float, length_m: float) -> tuple[float, float] | None:
    """Cut a stretch at the pulleys: what steers on one strand does not go round the pulley.

    Parameters
    ----------
    low, high : float
        Ends of the stretch, low at most high [m of chainage].
    length_m : float
        Centre to centre length of the conveyor [m].

    Returns
    -------
    tuple of float or None
        Ends of the part between the pulleys [m]; None if the stretch lies wholly beyond one of them.

    Raises
    ------
    ValueError
        If the ends are in the wrong order or the length is not above zero.

    Examples
    --------
    >>> clip_to_belt(-5, 45, 260), clip_to_belt(261, 300, 260)
    ((0.0, 45.0), None)
    """
    _check_length(length_m)
    if not low <= high:
        raise ValueError(f"the stretch goes from {low} to {high} m; give its lower chainage first")
    if high < 0 or low > length_m:
        return None
    return float(max(low, 0)), float(min(high, length_m))


def revolution_time_s(length_m: float, speed_m_s: float) -> float:
    """Time that a point of the belt takes to come round: twice the length by the speed.

    Parameters
    ----------
    length_m : float
        Centre to centre length of the conveyor [m]; the halves round the pulleys are left out.
    speed_m_s : float
        Belt speed [m/s].

    Returns
    -------
    float
        Time of one revolution [s].

    Raises
    ------
    ValueError
        If either is not above zero.

    Examples
    --------
    >>> round(revolution_time_s(340, 3.15))
    216
    """
    _check_length(length_m)
    if not (speed_m_s > 0 and math.isfinite(speed_m_s)):
        raise ValueError(f"speed_m_s is {speed_m_s} m/s; give a speed above 0")
    return 2 * length_m / speed_m_s


def format_chainage(m: float | None, system: UnitSystem = UnitSystem.METRIC) -> str:
    """Chainage in words: "46.5 m", or "152.6 ft" for someone who reads feet.

    Parameters
    ----------
    m : float or None
        Chainage [m]; None where the place is not known.
    system : UnitSystem, optional
        Units of the reader.

    Returns
    -------
    str
        To 0.1; "not stated" for None.

    Examples
    --------
    >>> format_chainage(60)
    '60 m'
    """
    return format_quantity(m, QuantityKind.DISTANCE_M, system)


def normalise_tag(text: str) -> str:
    """One spelling of a conveyor's tag, digits as typed.

    Parameters
    ----------
    text : str
        Tag as a person or an export spells it.

    Returns
    -------
    str
        Upper case, one hyphen where letters meet digits: "S-12" for S12, s-12, "S 12" and CV-S12.

    Raises
    ------
    ValueError
        If the text holds neither letter nor digit.

    Examples
    --------
    >>> normalise_tag("cv-s12"), normalise_tag("S-012"), normalise_tag("k 7a")
    ('S-12', 'S-012', 'K-7A')
    """
    groups = _groups(text)
    if not groups:
        raise ValueError(f"“{text.strip()}” is no tag; give letters and digits such as S-12")
    spelt = groups[0][0]
    for (before, _), (group, separated) in pairwise(groups):
        # 12A stays together as typed; S12 gets its hyphen.
        spelt += group if before.isdecimal() and not group.isdecimal() and not separated else f"-{group}"
    return spelt


def tag_key(text: str) -> str:
    """What is compared when two spellings of a tag may mean the same conveyor.

    Parameters
    ----------
    text : str
        Tag as spelt.

    Returns
    -------
    str
        The same for S12, S-12, CV-S12, "s 12" and S-012; different for S-12 and S-120, and for S-12-1 and S-121. Empty
        where the text holds neither letter nor digit.

    Examples
    --------
    >>> tag_key("CV-S12") == tag_key("s 12"), tag_key("S-12") == tag_key("S-120")
    (True, False)
    """
    key = ""
    before = ""
    for group, _ in _groups(text):
        same_class = bool(before) and before.isdecimal() == group.isdecimal()
        key += ("-" if same_class else "") + (group.lstrip("0") or "0" if group.isdecimal() else group)
        before = group
    return key


def _groups(text: str) -> list[tuple[str, bool]]:
    """Runs of letters and of digits, each with whether something stood before it; words for conveyor left out."""
    plain = unicodedata.normalize("NFKC", text).upper()
    groups = [
        (match["run"], bool(match["gap"])) for match in re.finditer(r"(?P<gap>[\W_]*)(?P<run>[0-9]+|[^\W\d_]+)", plain)
    ]
    if len(groups) > 2 and groups[0][0] in _CONVEYOR_WORDS and groups[1][1] and not groups[1][0].isdecimal():
        groups = groups[1:]
    return groups


def _check_length(length_m: float) -> None:
    if not (length_m > 0 and math.isfinite(length_m)):
        raise ValueError(f"length_m is {length_m} m; give a length above 0")
