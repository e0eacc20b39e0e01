"""What a strip is made of: the things that stand on it, their shapes and words, and one scale for chainage."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

CARRY, RETURN = "carry", "return"
WIDTH = 1320.0
MARGIN = 40.0  # room for the half turns round the pulleys
PITCH = 2.6  # least distance between two ticks
DENSEST = 34.0  # height of the densest stretch
LETTER = 7.6  # width of a letter at the size of the strip's words, on the large side
BOLD_LETTER = 9.2  # the same where the words are strong
PULLEYS = frozenset({"head_pulley", "tail_pulley", "drive_pulley", "snub_pulley", "bend_pulley"})


@dataclass(frozen=True)
class StripPart:
    """A pulley, loading point, switch or the like; strand "" where it stands at both."""

    kind: str
    chainage_m: float
    name: str
    strand: str = ""


@dataclass(frozen=True)
class StripTick:
    """One incident on a strand."""

    strand: str
    chainage_m: float
    name: str
    url: str = ""


@dataclass(frozen=True)
class StripDevice:
    """A device in its place. `tone` is ink, sound, watch, act or trial; `word` stands beside it, `name` says all."""

    key: int
    strand: str
    chainage_m: float
    number: str
    name: str
    url: str = ""
    tone: str = "ink"
    word: str = ""


@dataclass(frozen=True)
class StripStretch:
    """A stretch of one strand: where a device steers, or what none reaches (with the words to set beside it).

    `kind` "trial" is drawn apart: a device that does not stand there yet; "overlap" is where two devices steer.
    """

    strand: str
    low_m: float
    high_m: float
    name: str
    words: str = ""
    kind: str = ""


@dataclass(frozen=True)
class StripBar:
    """How densely incidents lie on a stretch, as a share of the densest one [0 to 1]; drawn behind the ticks."""

    strand: str
    low_m: float
    high_m: float
    share: float
    name: str = ""


@dataclass(frozen=True)
class Shape:
    """One thing to draw: path data, a kind that the style sheet knows, a name to hover, a page to open."""

    kind: str
    d: str
    name: str = ""
    url: str = ""


@dataclass(frozen=True)
class Words:
    """Text at a place; anchor is start, middle or end."""

    x: float
    y: float
    text: str
    kind: str
    anchor: str = "middle"


@dataclass(frozen=True)
class Strip:
    """Shapes in drawing order, words on top of them, and how much was not drawn."""

    width: float
    height: float
    shapes: tuple[Shape, ...]
    words: tuple[Words, ...]
    n_left_out: int = 0


@dataclass(frozen=True)
class Scale:
    """Chainage to x."""

    length_m: float
    left: float = MARGIN
    right: float = WIDTH - MARGIN

    def __post_init__(self) -> None:
        if not 0 < self.length_m < math.inf:
            raise ValueError(f"length_m is {self.length_m} m; give a length above 0 m")

    def x(self, chainage_m: float) -> float:
        """Place on the drawing; what lies off the belt is set at its end."""
        share = min(max(chainage_m / self.length_m, 0.0), 1.0)
        return self.left + share * (self.right - self.left)


def axis_step(length: float, most: int = 10) -> float:
    """Distance between the marks of an axis: 1, 2 or 5 times a power of ten.

    Parameters
    ----------
    length : float
        Length of the axis, above 0 [any unit].
    most : int, optional
        Most intervals.

    Returns
    -------
    float
        The smallest such step that needs at most `most` intervals [same unit].

    Raises
    ------
    ValueError
        If the length is not above 0.

    Examples
    --------
    >>> axis_step(900), axis_step(340), axis_step(12)
    (100.0, 50.0, 2.0)
    """
    if not 0 < length < math.inf:
        raise ValueError(f"length is {length}; give a length above 0")
    least = length / most
    power = 10.0 ** math.floor(math.log10(least))
    return next(step * power for step in (1.0, 2.0, 5.0, 10.0) if step * power >= least * (1 - 1e-9))


def spread(places: Sequence[float], pitch: float, low: float, high: float) -> tuple[float, ...]:
    """Move places apart until none is nearer than `pitch` to the next, each bunch around its own middle.

    Parameters
    ----------
    places : sequence of float
        Rising [any unit].
    pitch : float
        Least distance; shrinks where so many do not fit between `low` and `high`.
    low, high : float
        Ends that nothing leaves.

    Returns
    -------
    tuple of float
        As many places, rising.

    Raises
    ------
    ValueError
        If the places do not rise.

    Examples
    --------
    >>> spread([10, 10, 10, 50], 2, 0, 100)
    (8.0, 10.0, 12.0, 50.0)
    """
    if any(a > b for a, b in pairwise(places)):
        raise ValueError("places do not rise; sort them first")
    if len(places) > 1:
        pitch = min(pitch, (high - low) / (len(places) - 1))
    bunches: list[list[float]] = []  # sum of wanted places less their offsets, count
    for place in places:
        bunches.append([place, 1])
        while len(bunches) > 1 and _start(bunches[-1], pitch) < _start(bunches[-2], pitch) + bunches[-2][1] * pitch:
            total, count = bunches.pop()
            bunches[-1][0] += total
            bunches[-1][1] += count
    moved: list[float] = []
    for bunch in bunches:
        first = _start(bunch, pitch)
        moved += [first + i * pitch for i in range(int(bunch[1]))]
    for i, place in enumerate(moved):  # ends first from the left, then from the right
        moved[i] = max(place, low if i == 0 else moved[i - 1] + pitch)
    for i in range(len(moved) - 1, -1, -1):
        moved[i] = min(moved[i], high if i == len(moved) - 1 else moved[i + 1] - pitch)
    return tuple(moved)


def _start(bunch: list[float], pitch: float) -> float:
    return bunch[0] / bunch[1] - (bunch[1] - 1) * pitch / 2


def box(x1: float, y1: float, x2: float, y2: float) -> str:
    """Path data of a rectangle.

    Parameters
    ----------
    x1, y1, x2, y2 : float
        Two corners [drawing units].
    """
    return f"M{num(x1)} {num(y1)}H{num(x2)}V{num(y2)}H{num(x1)}Z"


def circle(x: float, y: float, radius: float) -> str:
    """Path data of a circle.

    Parameters
    ----------
    x, y, radius : float
        Middle and radius [drawing units].
    """
    r = num(radius)
    return f"M{num(x - radius)} {num(y)}a{r} {r} 0 1 0 {num(2 * radius)} 0a{r} {r} 0 1 0 {num(-2 * radius)} 0Z"


def num(number: float) -> str:
    """A coordinate as path data, to a tenth of a unit.

    Parameters
    ----------
    number : float
        [drawing units]
    """
    return f"{number:.1f}".removesuffix(".0")
