"""How numbers and typed words stand in a sentence: no digit that tells nothing, one full stop, no word said twice."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

# Below this a probability is said to be below it: a test does not know it better.
LEAST_P = 0.0001


def figure(value: float) -> str:
    """A number for a sentence: two decimals at most, three significant digits below 1, no trailing zeros.

    A reading that was typed in another unit is stored exactly (29.5 lbf·ft are 39.9966 N·m); its further digits are
    those of the conversion and tell nothing.

    Parameters
    ----------
    value : float
        In any unit; one that is not finite is said as it is.

    Returns
    -------
    str

    Examples
    --------
    >>> figure(39.9966), figure(75.0), figure(0.012345), figure(-73.125), figure(0)
    ('40', '75', '0.0123', '-73.12', '0')
    """
    if not math.isfinite(value):
        return str(value)
    size = abs(value)
    digits = 2 if size >= 1 or size == 0 else 2 - math.floor(math.log10(size))
    said = f"{value:.{digits}f}"
    return said.rstrip("0").rstrip(".") if "." in said else said


def p_words(p: float) -> str:
    """A p-value for a sentence: four decimals where they matter, two from 0.1 on, and never nought.

    Parameters
    ----------
    p : float
        0 to 1 [-].

    Returns
    -------
    str

    Raises
    ------
    ValueError
        If p is not from 0 to 1.

    Examples
    --------
    >>> p_words(0.00003), p_words(0.01234), p_words(1.0)
    ('p < 0.0001', 'p 0.0123', 'p 1.00')
    """
    if not 0 <= p <= 1:
        raise ValueError(f"p is {p:g}; give a probability from 0 to 1")
    if p < LEAST_P:
        return f"p < {LEAST_P:.4f}"
    return f"p {p:.4f}" if p < 0.1 else f"p {p:.2f}"


def full_stop(text: str) -> str:
    """A sentence with one full stop at its end, also where somebody typed one, or another end.

    Parameters
    ----------
    text : str

    Returns
    -------
    str
        Empty where it was.

    Examples
    --------
    >>> full_stop("113.7 % of the wear."), full_stop("belt is rebuilt"), full_stop("Is it read right?"), full_stop(" ")
    ('113.7 % of the wear.', 'belt is rebuilt.', 'Is it read right?', '')
    """
    said = text.strip()
    return said if not said or said.endswith(("?", "!", "…")) else said.rstrip(". ") + "."


def as_many_as_fit(parts: Sequence[str], most: int, *, joint: str, rest: Callable[[int], str]) -> str:
    """Parts one after the other, in no more characters than a box takes: the first ones whole, the others counted.

    Parameters
    ----------
    parts : sequence of str
        Such as open points or names.
    most : int
        So many characters the box takes, no fewer than `rest` needs.
    joint : str
        What stands between two parts.
    rest : callable
        Says how many are left out, and where they stand; it comes last.

    Returns
    -------
    str
        Empty where there is no part.

    Examples
    --------
    >>> names = ["Ada", "Ben", "Cleo", "Dan"]
    >>> as_many_as_fit(names, 40, joint=", ", rest=lambda n: f"{n} more of the list")
    'Ada, Ben, Cleo, Dan'
    >>> as_many_as_fit(names, 18, joint=", ", rest=lambda n: f"{n} more")
    'Ada, Ben, 2 more'
    """
    whole = joint.join(parts)
    if len(whole) <= most:
        return whole
    for n_kept in range(len(parts) - 1, 0, -1):
        said = joint.join([*parts[:n_kept], rest(len(parts) - n_kept)])
        if len(said) <= most:
            return said
    return rest(len(parts))


def said_once(first: str, second: str) -> str:
    """Two names beside each other; one of them where they read the same.

    Parameters
    ----------
    first, second : str
        Such as the code and the name of an area: a plant may write "Quarry" for both.

    Examples
    --------
    >>> said_once("Q", "Quarry"), said_once("Quarry", "quarry"), said_once("head pulley", "")
    ('Q Quarry', 'quarry', 'head pulley')
    """
    return second if first.casefold() == second.casefold() else f"{first} {second}".strip()
