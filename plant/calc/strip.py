"""The strip: a conveyor unrolled, tail left, head right, carry strand above, return strand below.

Numbers in, shapes out; a template draws them. Inside the loop stand the devices' numbers, outside it the incidents as
ticks on their strand, behind them in grey how densely they lie, below them the drift switches and the axis. What no
device reaches is a wide band outside the loop with its words in a row of their own. Everything is laid out in one
pass, so that 900 m with some hundred incidents takes milliseconds:

1. chainage goes to x by one scale (`Scale`);
2. ticks that would hide each other are spread around their place, as many as there are incidents;
3. words are set greedily: one that would cover another goes a row further, or is left to the hover text and the table.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
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


class _Rows:
    """Words in rows; a row takes a word where nothing stands yet."""

    def __init__(self, n_rows: int) -> None:
        self.taken: list[list[tuple[float, float]]] = [[] for _row in range(n_rows)]

    def place(
        self, middle: float, text: str, low: float, high: float, *, letter: float = LETTER
    ) -> tuple[int, float] | None:
        """Row and middle for a text near `middle`; None where every row is full there."""
        half = len(text) * letter / 2 + 3
        middle = min(max(middle, low + half), high - half) if high - low > 2 * half else (low + high) / 2
        for row, taken in enumerate(self.taken):
            if all(middle + half <= a or middle - half >= b for a, b in taken):
                taken.append((middle - half, middle + half))
                return row, middle
        return None


def lay_strip(
    length_m: float,
    *,
    parts: Iterable[StripPart] = (),
    ticks: Iterable[StripTick] = (),
    devices: Iterable[StripDevice] = (),
    zones: Iterable[StripStretch] = (),
    gaps: Iterable[StripStretch] = (),
    bars: Iterable[StripBar] = (),
    reversing: bool = False,
    words: dict[str, str] | None = None,
    unit_m: float = 1.0,
    unit: str = "m",
) -> Strip:
    """Lay out the large strip.

    Parameters
    ----------
    length_m : float
        Centre distance of head and tail pulley, above 0 [m].
    parts, ticks, devices, zones, gaps, bars : iterable
        What stands on the belt; places off the belt are drawn at its end, things on an unknown strand are left out.
    reversing : bool, optional
        Draw travel both ways.
    words : dict, optional
        tail, head, loading, strands: what is written at these places.
    unit_m : float, optional
        Length of the unit of the axis [m]: 1, or 0.3048 for feet.
    unit : str, optional
        Its name.

    Returns
    -------
    Strip
        Width and height [drawing units], shapes and words; n_left_out counts what has no known strand.

    Raises
    ------
    ValueError
        If the length is not above 0.
    """
    scale, said = (
        Scale(length_m),
        {"tail": "tail", "head": "head", "loading": "loading", "strands": "", **(words or {})},
    )
    ticks, devices, zones, gaps = list(ticks), list(devices), list(zones), list(gaps)
    carry_words = [gap for gap in gaps if gap.strand == CARRY and gap.words]
    y_carry = 66.0 + (22.0 if carry_words else 0.0)
    y_return = y_carry + 78.0
    shapes: list[Shape] = []
    texts: list[Words] = []
    known = {CARRY: y_carry, RETURN: y_return}
    left_out = sum(each.strand not in known for each in ticks) + sum(each.strand not in known for each in devices)

    for gap in (each for each in gaps if each.strand in known):
        y = y_carry - 37 if gap.strand == CARRY else y_return + 3
        shapes.append(Shape("gap", _box(scale.x(gap.low_m), y, scale.x(gap.high_m), y + 34), gap.name))
    for bar in (each for each in bars if each.strand in known and each.share > 0):
        out = -1 if bar.strand == CARRY else 1
        y = known[bar.strand] + 3 * out
        box = _box(scale.x(bar.low_m), y, scale.x(bar.high_m), y + DENSEST * bar.share * out)
        shapes.append(Shape("density", box, bar.name))
    for zone in (each for each in zones if each.strand in known):
        y = known[zone.strand]
        shapes.append(
            Shape(f"zone {zone.kind}".strip(), _box(scale.x(zone.low_m), y - 9, scale.x(zone.high_m), y + 9), zone.name)
        )
    shapes += _loop(scale, y_carry, y_return, reversing)
    for strand, start, end in ((CARRY, y_carry - 4, y_carry - 34), (RETURN, y_return + 4, y_return + 34)):
        here = sorted((each for each in ticks if each.strand == strand), key=lambda each: each.chainage_m)
        places = spread([scale.x(each.chainage_m) for each in here], PITCH, scale.left, scale.right)
        shapes += [
            Shape("tick", f"M{_n(x)} {_n(start)}V{_n(end)}", each.name, each.url)
            for each, x in zip(here, places, strict=True)
        ]
    part_shapes, part_words = _parts(scale, parts, y_carry, y_return, said["loading"])
    shapes += part_shapes
    texts += part_words
    inside = {CARRY: _Rows(1), RETURN: _Rows(2)}
    tail, head = said["tail"], said["head"]
    y_middle = y_return - 34  # where the second row of the return strand's numbers stands
    beside = MARGIN + 14
    inside[RETURN].taken[1] += [
        (0.0, beside + len(tail) * LETTER),
        (WIDTH - beside - len(head) * LETTER, WIDTH),
    ]
    middle_is_free = True
    for device in sorted((each for each in devices if each.strand in known), key=lambda each: each.chainage_m):
        x, y = scale.x(device.chainage_m), known[device.strand]
        # The wedge comes from inside the loop and narrows towards the outside: it points at the belt.
        sign = 1 if device.strand == RETURN else -1
        d = f"M{_n(x - 7)} {_n(y - 13 * sign)}H{_n(x + 7)}L{_n(x + 4)} {_n(y + 13 * sign)}H{_n(x - 4)}Z"
        shapes.append(Shape(f"device {device.tone}", d, device.name, device.url))
        label = f"{device.number} {device.word}".strip()
        row = inside[device.strand].place(x, label, 0, WIDTH)
        if row is not None:
            base = y_return - 19 - 15 * row[0] if device.strand == RETURN else y_carry + 29
            middle_is_free = middle_is_free and device.strand == RETURN and row[0] == 0
            texts.append(Words(round(row[1], 1), base, label, f"number {device.tone}"))
    texts.append(Words(beside, y_middle, tail, "soft", "start"))
    texts.append(Words(WIDTH - beside, y_middle, head, "soft", "end"))
    if said["strands"] and middle_is_free:
        texts.append(Words(WIDTH / 2, y_middle - 8, said["strands"], "soft"))
    texts += _axis(scale, y_return, unit_m, unit, shapes)
    bottom = y_return + 90
    rows, above = _Rows(3), _Rows(1)
    for gap in gaps:
        if not gap.words or gap.strand not in known:
            continue
        place = (above if gap.strand == CARRY else rows).place(
            (scale.x(gap.low_m) + scale.x(gap.high_m)) / 2, gap.words, 0, WIDTH, letter=BOLD_LETTER
        )
        if place is not None and gap.strand == CARRY:
            texts.append(Words(round(place[1], 1), 16, gap.words, "gap"))
        elif place is not None:
            base = y_return + 104 + 18 * place[0]
            texts.append(Words(round(place[1], 1), base, gap.words, "gap"))
            bottom = max(bottom, base + 8)
    return Strip(WIDTH, bottom, tuple(shapes), tuple(texts), left_out)


def lay_tall_strip(
    length_m: float,
    *,
    parts: Iterable[StripPart] = (),
    ticks: Iterable[StripTick] = (),
    devices: Iterable[StripDevice] = (),
    zones: Iterable[StripStretch] = (),
    gaps: Iterable[StripStretch] = (),
    bars: Iterable[StripBar] = (),
    reversing: bool = False,
    words: dict[str, str] | None = None,
    unit_m: float = 1.0,
    unit: str = "m",
) -> Strip:
    """Lay out the strip for a narrow screen: tail on top, head below, carry strand left, return strand right.

    Parameters
    ----------
    length_m : float
        Centre distance of head and tail pulley, above 0 [m].
    parts, ticks, devices, zones, gaps, bars, reversing, words, unit_m, unit
        As for `lay_strip`; the words of gaps stand beside the return strand, broken into lines.

    Returns
    -------
    Strip
        360 drawing units wide; the same things as in the wide strip.

    Raises
    ------
    ValueError
        If the length is not above 0.
    """
    scale, said = Scale(length_m, 64, 644), {"tail": "tail", "head": "head", "loading": "loading", **(words or {})}
    ticks, devices, zones, gaps = list(ticks), list(devices), list(zones), list(gaps)
    x_carry, x_return = 106.0, 200.0
    known = {CARRY: x_carry, RETURN: x_return}
    out = {CARRY: -1.0, RETURN: 1.0}  # away from the loop
    left_out = sum(each.strand not in known for each in ticks) + sum(each.strand not in known for each in devices)
    shapes: list[Shape] = []
    texts: list[Words] = []
    for gap in (each for each in gaps if each.strand in known):
        x, way = known[gap.strand], out[gap.strand]
        shapes.append(Shape("gap", _box(x + 3 * way, scale.x(gap.low_m), x + 37 * way, scale.x(gap.high_m)), gap.name))
    for bar in (each for each in bars if each.strand in known and each.share > 0):
        x, way = known[bar.strand], out[bar.strand]
        box = _box(x + 3 * way, scale.x(bar.low_m), x + (3 + DENSEST * bar.share) * way, scale.x(bar.high_m))
        shapes.append(Shape("density", box, bar.name))
    for zone in (each for each in zones if each.strand in known):
        x = known[zone.strand]
        shapes.append(
            Shape(f"zone {zone.kind}".strip(), _box(x - 9, scale.x(zone.low_m), x + 9, scale.x(zone.high_m)), zone.name)
        )
    top, bottom, radius = scale.left, scale.right, _n((x_return - x_carry) / 2)
    turn = f"A{radius} {radius} 0 0 1"
    shapes.append(
        Shape(
            "belt",
            f"M{_n(x_carry)} {_n(bottom)}V{_n(top)}{turn} {_n(x_return)} {_n(top)}"
            f"V{_n(bottom)}{turn} {_n(x_carry)} {_n(bottom)}Z",
        )
    )
    for x, sign in ((x_carry, 1), (x_return, -1)):
        for direction, shift in ((sign, 0.0), (-sign, -18.0 * sign)) if reversing else ((sign, 0.0),):
            y = (top + bottom) / 2 + shift
            back, tip = _n(y - 6 * direction), _n(y + 6 * direction)
            shapes.append(Shape("travel", f"M{_n(x - 6)} {back}L{_n(x)} {tip}L{_n(x + 6)} {back}Z"))
    for strand, x in known.items():
        here = sorted((each for each in ticks if each.strand == strand), key=lambda each: each.chainage_m)
        places = spread([scale.x(each.chainage_m) for each in here], PITCH, top, bottom)
        start, end = _n(x + 4 * out[strand]), _n(x + 32 * out[strand])
        shapes += [
            Shape("tick", f"M{start} {_n(y)}H{end}", each.name, each.url) for each, y in zip(here, places, strict=True)
        ]
    loading_rows: list[float] = []
    for part in sorted(parts, key=lambda each: each.chainage_m):
        y, strand = scale.x(part.chainage_m), part.strand if part.strand in known else RETURN
        x = known[strand]
        if part.kind == "loading_point":
            way = out[strand]
            wide, narrow = _n(x + 42 * way), _n(x + 14 * way)
            shapes.append(
                Shape("part", f"M{wide} {_n(y - 14)}V{_n(y + 14)}L{narrow} {_n(y + 7)}V{_n(y - 7)}Z", part.name)
            )
            if all(abs(y - other) >= 17 for other in loading_rows):
                loading_rows.append(y)
                texts.append(
                    Words(x + 4 * way, round(y + 30, 1), said["loading"], "soft", "end" if way < 0 else "start")
                )
        elif part.kind == "drift_switch":
            shapes.append(Shape("part switch", _box(x_return + 40, y - 4, x_return + 48, y + 4), part.name))
        elif part.kind in ("head_pulley", "tail_pulley"):
            shapes.append(Shape("part pulley", _circle((x_carry + x_return) / 2, y, 8), part.name))
        elif part.kind in PULLEYS:
            shapes.append(Shape("part pulley", _circle(x_return - 10, y, 6), part.name))
        else:
            inside = x - 10 * out[strand]
            shapes.append(Shape("part", _box(inside - 4, y - 4, inside + 4, y + 4), part.name))
    middle = (x_carry + x_return) / 2
    texts += [Words(middle, top - 14, said["tail"], "soft"), Words(middle, bottom + 24, said["head"], "soft")]
    standing = sorted((each for each in devices if each.strand in known), key=lambda each: each.chainage_m)
    rows = spread([scale.x(each.chainage_m) for each in standing], 17, top + 4, bottom - 4)
    for device, row in zip(standing, rows, strict=True):
        x, y, way = known[device.strand], scale.x(device.chainage_m), out[device.strand]
        inner, outer = _n(x - 13 * way), _n(x + 13 * way)
        d = f"M{inner} {_n(y - 7)}V{_n(y + 7)}L{outer} {_n(y + 4)}V{_n(y - 4)}Z"
        shapes.append(Shape(f"device {device.tone}", d, device.name, device.url))
        label, anchor = f"{device.number} {device.word}".strip(), "start" if device.strand == CARRY else "end"
        texts.append(Words(x - 17 * way, round(row + 5, 1), label, f"number {device.tone}", anchor))
    step = axis_step(length_m / unit_m)
    for i in range(int(length_m / unit_m / step + 1e-6) + 1):
        y = scale.x(i * step * unit_m)
        shapes.append(Shape("axis", f"M49 {_n(y)}h6"))
        texts.append(Words(45, round(y + 5, 1), f"{i * step:,.10g}" + (f" {unit}" if i == 0 else ""), "axis", "end"))
    texts += _beside(scale, gaps)
    return Strip(360, bottom + 56, tuple(shapes), tuple(texts), left_out)


def _beside(scale: Scale, gaps: Sequence[StripStretch]) -> list[Words]:
    """Words of the gaps in a column beside the strip, each block as near to its stretch as the others let it."""
    texts: list[Words] = []
    free_from = 16.0
    for gap in sorted((each for each in gaps if each.words), key=lambda each: each.low_m):
        lines = _lines(gap.words, 12)
        wanted = (scale.x(gap.low_m) + scale.x(gap.high_m)) / 2 - 17 * (len(lines) - 1) / 2 + 5
        first = max(wanted, free_from)
        if first + 17 * (len(lines) - 1) > scale.right + 50:
            continue  # no room: the name and the table say it
        texts += [Words(254, round(first + 17 * n, 1), line, "gap", "start") for n, line in enumerate(lines)]
        free_from = first + 17 * len(lines) + 8
    return texts


def _lines(text: str, most: int) -> list[str]:
    lines: list[str] = []
    for word in text.split():
        if lines and len(lines[-1]) + 1 + len(word) <= most:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


def lay_small_strip(
    length_m: float,
    *,
    ticks: Iterable[StripTick] = (),
    devices: Iterable[StripDevice] = (),
    zones: Iterable[StripStretch] = (),
    gaps: Iterable[StripStretch] = (),
) -> Strip:
    """Lay out the small strip for tables: loop, zones, gaps, ticks and devices without words.

    Parameters
    ----------
    length_m : float
        Centre distance of head and tail pulley, above 0 [m].
    ticks, devices, zones, gaps : iterable
        As for `lay_strip`.

    Returns
    -------
    Strip
        220 by 44 drawing units.

    Raises
    ------
    ValueError
        If the length is not above 0.
    """
    scale = Scale(length_m, 12, 208)
    known = {CARRY: 15.0, RETURN: 29.0}
    shapes: list[Shape] = []
    for kind, half, stretches in (("gap", 0.0, gaps), ("zone", 3.5, zones)):
        for each in (one for one in stretches if one.strand in known):
            y = known[each.strand]
            low, high = (y - half, y + half) if half else ((y - 12, y) if each.strand == CARRY else (y, y + 12))
            shapes.append(Shape(kind, _box(scale.x(each.low_m), low, scale.x(each.high_m), high)))
    shapes.append(Shape("belt", "M12 15H208A7 7 0 0 1 208 29H12A7 7 0 0 1 12 15Z"))
    left_out = 0
    for tick in ticks:
        if tick.strand not in known:
            left_out += 1
            continue
        start, end = (13, 5) if tick.strand == CARRY else (31, 39)
        shapes.append(Shape("tick", f"M{_n(scale.x(tick.chainage_m))} {start}V{end}"))
    for device in devices:
        if device.strand not in known:
            left_out += 1
            continue
        x, y = scale.x(device.chainage_m), known[device.strand]
        sign = 1 if device.strand == RETURN else -1
        d = f"M{_n(x - 3.5)} {_n(y - 5 * sign)}H{_n(x + 3.5)}L{_n(x + 1.5)} {_n(y + 5 * sign)}H{_n(x - 1.5)}Z"
        shapes.append(Shape(f"device {device.tone}", d))
    return Strip(220, 44, tuple(shapes), (), left_out)


def _loop(scale: Scale, y_carry: float, y_return: float, reversing: bool) -> list[Shape]:
    radius, left, right = (y_return - y_carry) / 2, scale.left, scale.right
    turn = f"A{_n(radius)} {_n(radius)} 0 0"
    d = (
        f"M{_n(left)} {_n(y_carry)}H{_n(right)}{turn} 1 {_n(right)} {_n(y_return)}"
        f"H{_n(left)}{turn} 1 {_n(left)} {_n(y_carry)}Z"
    )
    shapes, middle = [Shape("belt", d)], (left + right) / 2
    # Travel: towards the head above, towards the tail below; both ways on a reversing belt.
    for y, sign in ((y_carry, 1), (y_return, -1)):
        for direction, shift in ((sign, 0.0), (-sign, -18.0 * sign)) if reversing else ((sign, 0.0),):
            x = middle + shift
            back, tip = _n(x - 6 * direction), _n(x + 6 * direction)
            d = f"M{back} {_n(y - 6)}L{tip} {_n(y)}L{back} {_n(y + 6)}Z"
            shapes.append(Shape("travel", d))
    return shapes


def _parts(
    scale: Scale, parts: Iterable[StripPart], y_carry: float, y_return: float, loading: str
) -> tuple[list[Shape], list[Words]]:
    shapes: list[Shape] = []
    texts: list[Words] = []
    rows = _Rows(1)
    for part in sorted(parts, key=lambda each: each.chainage_m):
        x = scale.x(part.chainage_m)
        on_return = part.strand == RETURN
        y = y_return if on_return else y_carry
        out = 1 if on_return else -1  # away from the loop
        if part.kind == "loading_point":
            # The hopper stands where material falls on, its mouth towards the belt.
            d = f"M{_n(x - 14)} {_n(y + 42 * out)}H{_n(x + 14)}L{_n(x + 7)} {_n(y + 14 * out)}H{_n(x - 7)}Z"
            shapes.append(Shape("part", d, part.name))
            row = rows.place(x, loading, 0, WIDTH)
            if row is not None:
                texts.append(Words(round(row[1], 1), y + 48 * out + (10 if on_return else 0), loading, "soft"))
        elif part.kind == "drift_switch":
            shapes.append(Shape("part switch", _box(x - 4, y_return + 42, x + 4, y_return + 50), part.name))
        elif part.kind in ("head_pulley", "tail_pulley"):
            radius = (y_return - y_carry) / 2 - 6
            shapes.append(Shape("part pulley", _circle(x, (y_carry + y_return) / 2, min(radius, 9)), part.name))
        elif part.kind in PULLEYS:
            shapes.append(Shape("part pulley", _circle(x, y_return - 9, 6), part.name))
        elif part.kind == "take_up":
            d = f"M{_n(x)} {_n(y_return + 3)}V{_n(y_return + 14)}M{_n(x - 6)} {_n(y_return + 14)}h12v10h-12Z"
            shapes.append(Shape("part", d, part.name))
        elif part.kind == "scraper":
            y, way = (y_return, -1) if on_return else (y_carry, 1)
            shapes.append(Shape("part scraper", f"M{_n(x)} {_n(y + 3 * way)}l7 {_n(13 * way)}", part.name))
        elif part.kind == "belt_scale":
            shapes.append(Shape("part", f"M{_n(x - 7)} {_n(y_carry + 14)}h14l-7 -10Z", part.name))
        else:
            d = f"M{_n(x - 7)} {_n(y_return - 5)}v-9h14v9"
            shapes.append(Shape("part guard", d, part.name))
    return shapes, texts


def _axis(scale: Scale, y_return: float, unit_m: float, unit: str, shapes: list[Shape]) -> list[Words]:
    length = scale.length_m / unit_m
    step = axis_step(length)
    texts: list[Words] = []
    for i in range(int(length / step + 1e-6) + 1):
        at = i * step
        x = scale.x(at * unit_m)
        shapes.append(Shape("axis", f"M{_n(x)} {_n(y_return + 56)}v6"))
        texts.append(Words(round(x, 1), y_return + 76, f"{at:,.10g}" + (f" {unit}" if i == 0 else ""), "axis"))
    return texts


def _box(x1: float, y1: float, x2: float, y2: float) -> str:
    return f"M{_n(x1)} {_n(y1)}H{_n(x2)}V{_n(y2)}H{_n(x1)}Z"


def _circle(x: float, y: float, radius: float) -> str:
    r = _n(radius)
    return f"M{_n(x - radius)} {_n(y)}a{r} {r} 0 1 0 {_n(2 * radius)} 0a{r} {r} 0 1 0 {_n(-2 * radius)} 0Z"


def _n(number: float) -> str:
    return f"{number:.1f}".removesuffix(".0")
