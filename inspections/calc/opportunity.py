"""A belt stands still by chance: which pieces of work fit into the time, the most pressing first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Work:
    """One piece of work on the belt: key, minutes of work, how pressing it is, and where on the belt [m]."""

    key: int
    minutes: float
    worth: float
    chainage_m: float


@dataclass(frozen=True)
class Filled:
    """Keys that fit and that do not, both the most pressing first, and the minutes that the chosen ones take."""

    fits: tuple[int, ...]
    left: tuple[int, ...]
    minutes: float


def fill(works: Sequence[Work], *, minutes: float, lockout_minutes: float, walking_m_s: float) -> Filled:
    """Choose work for one person in the time for which a belt stands.

    The lockout is set up once. Work is taken in the order of its worth; what does not fit any more is passed over and
    something shorter may follow it. The way is that along the belt from the first place to the last.

    Parameters
    ----------
    works : sequence of Work
    minutes : float
        How long the belt stands, above 0 [min].
    lockout_minutes : float
        Set-up of the lockout, 0 or more [min].
    walking_m_s : float
        Above 0 [m/s].

    Returns
    -------
    Filled
        minutes [min] holds the lockout, the way and the work; 0 where nothing fits.

    Raises
    ------
    ValueError
        If minutes or the walking speed are not above 0.

    Examples
    --------
    >>> fill([Work(1, 30, 5, 10), Work(2, 60, 9, 10), Work(3, 20, 1, 10)], minutes=100, lockout_minutes=20,
    ...      walking_m_s=1)
    Filled(fits=(2, 3), left=(1,), minutes=100.0)
    """
    if not minutes > 0:
        raise ValueError(f"minutes is {minutes:g}; give the minutes for which the belt stands, above 0")
    if not walking_m_s > 0:
        raise ValueError(f"walking_m_s is {walking_m_s:g} m/s; give a speed above 0")
    chosen: list[Work] = []
    left: list[int] = []
    taken = 0.0
    for work in sorted(works, key=lambda each: (-each.worth, each.key)):
        places = [each.chainage_m for each in (*chosen, work)]
        way = (max(places) - min(places)) / walking_m_s / 60
        needed = lockout_minutes + way + sum(each.minutes for each in chosen) + work.minutes
        if needed <= minutes + 1e-9:
            chosen.append(work)
            taken = needed
        else:
            left.append(work.key)
    return Filled(tuple(each.key for each in chosen), tuple(left), float(taken))
