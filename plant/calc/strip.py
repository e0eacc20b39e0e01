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

from collections.abc import Iterable, Iterator, Mapping, Sequence

from plant.calc.strip_shapes import (
    BOLD_LETTER,
    CARRY,
    DENSEST,
    LETTER,
    MARGIN,
    PITCH,
    PULLEYS,
    RETURN,
    WIDTH,
    Scale,
    Shape,
    Strip,
    StripBar,
    StripDevice,
    StripPart,
    StripStretch,
    StripTick,
    Words,
    axis_step,
    box,
    circle,
    num,
    spread,
)


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
    scale = Scale(length_m)
    said = {"tail": "tail", "head": "head", "loading": "loading", "strands": "", **(words or {})}
    ticks, devices, gaps = list(ticks), list(devices), list(gaps)
    y_carry = 66.0 + (22.0 if any(gap.strand == CARRY and gap.words for gap in gaps) else 0.0)
    known = {CARRY: y_carry, RETURN: y_carry + 78.0}
    part_shapes, part_words = _parts(scale, parts, known[CARRY], known[RETURN], said["loading"])
    device_shapes, device_words = _devices(scale, devices, known, said)
    axis_shapes, axis_words = _axis(scale, known[RETURN], unit_m, unit)
    gap_words, bottom = _gap_words(scale, gaps, known)
    shapes = [
        *_stretches(scale, known, zones, gaps, bars),
        *_loop(scale, known[CARRY], known[RETURN], reversing),
        *_ticks(scale, known, ticks),
        *part_shapes,
        *device_shapes,
        *axis_shapes,
    ]
    texts = [*part_words, *device_words, *axis_words, *gap_words]
    strands = [*(each.strand for each in ticks), *(each.strand for each in devices)]
    left_out = sum(each not in known for each in strands)
    return Strip(WIDTH, bottom, tuple(shapes), tuple(texts), left_out)


def _stretches(
    scale: Scale,
    known: Mapping[str, float],
    zones: Iterable[StripStretch],
    gaps: Iterable[StripStretch],
    bars: Iterable[StripBar],
) -> Iterator[Shape]:
    """What no device reaches, how densely incidents lie, and where devices steer."""
    for gap in (each for each in gaps if each.strand in known):
        y = known[CARRY] - 37 if gap.strand == CARRY else known[RETURN] + 3
        yield Shape("gap", box(scale.x(gap.low_m), y, scale.x(gap.high_m), y + 34), gap.name)
    for bar in (each for each in bars if each.strand in known and each.share > 0):
        out = -1 if bar.strand == CARRY else 1
        y = known[bar.strand] + 3 * out
        d = box(scale.x(bar.low_m), y, scale.x(bar.high_m), y + DENSEST * bar.share * out)
        yield Shape("density", d, bar.name)
    for zone in (each for each in zones if each.strand in known):
        y = known[zone.strand]
        d = box(scale.x(zone.low_m), y - 9, scale.x(zone.high_m), y + 9)
        yield Shape(f"zone {zone.kind}".strip(), d, zone.name)


def _ticks(scale: Scale, known: Mapping[str, float], ticks: Sequence[StripTick]) -> Iterator[Shape]:
    for strand, out in ((CARRY, -1), (RETURN, 1)):
        here = sorted((each for each in ticks if each.strand == strand), key=lambda each: each.chainage_m)
        places = spread([scale.x(each.chainage_m) for each in here], PITCH, scale.left, scale.right)
        start, end = known[strand] + 4 * out, known[strand] + 34 * out
        for each, x in zip(here, places, strict=True):
            yield Shape("tick", f"M{num(x)} {num(start)}V{num(end)}", each.name, each.url)


def _devices(
    scale: Scale, devices: Sequence[StripDevice], known: Mapping[str, float], said: Mapping[str, str]
) -> tuple[list[Shape], list[Words]]:
    """Wedges with their numbers inside the loop, and the names of its ends beside them."""
    y_middle = known[RETURN] - 34  # where the second row of the return strand's numbers stands
    beside = MARGIN + 14
    inside = {CARRY: _Rows(1), RETURN: _Rows(2)}
    inside[RETURN].taken[1] += [
        (0.0, beside + len(said["tail"]) * LETTER),
        (WIDTH - beside - len(said["head"]) * LETTER, WIDTH),
    ]
    shapes: list[Shape] = []
    texts: list[Words] = []
    middle_is_free = True
    for device in sorted((each for each in devices if each.strand in known), key=lambda each: each.chainage_m):
        x, y = scale.x(device.chainage_m), known[device.strand]
        # The wedge comes from inside the loop and narrows towards the outside: it points at the belt.
        sign = 1 if device.strand == RETURN else -1
        d = f"M{num(x - 7)} {num(y - 13 * sign)}H{num(x + 7)}L{num(x + 4)} {num(y + 13 * sign)}H{num(x - 4)}Z"
        shapes.append(Shape(f"device {device.tone}", d, device.name, device.url))
        label = f"{device.number} {device.word}".strip()
        row = inside[device.strand].place(x, label, 0, WIDTH)
        if row is not None:
            base = known[RETURN] - 19 - 15 * row[0] if device.strand == RETURN else known[CARRY] + 29
            middle_is_free = middle_is_free and device.strand == RETURN and row[0] == 0
            texts.append(Words(round(row[1], 1), base, label, f"number {device.tone}"))
    texts.append(Words(beside, y_middle, said["tail"], "soft", "start"))
    texts.append(Words(WIDTH - beside, y_middle, said["head"], "soft", "end"))
    if said["strands"] and middle_is_free:
        texts.append(Words(WIDTH / 2, y_middle - 8, said["strands"], "soft"))
    return shapes, texts


def _gap_words(scale: Scale, gaps: Iterable[StripStretch], known: Mapping[str, float]) -> tuple[list[Words], float]:
    """Words of the gaps in rows of their own, above the carry strand and below the axis; and where the drawing ends."""
    bottom = known[RETURN] + 90
    texts: list[Words] = []
    rows, above = _Rows(3), _Rows(1)
    for gap in (each for each in gaps if each.words and each.strand in known):
        middle = (scale.x(gap.low_m) + scale.x(gap.high_m)) / 2
        place = (above if gap.strand == CARRY else rows).place(middle, gap.words, 0, WIDTH, letter=BOLD_LETTER)
        if place is not None and gap.strand == CARRY:
            texts.append(Words(round(place[1], 1), 16, gap.words, "gap"))
        elif place is not None:
            base = known[RETURN] + 104 + 18 * place[0]
            texts.append(Words(round(place[1], 1), base, gap.words, "gap"))
            bottom = max(bottom, base + 8)
    return texts, bottom


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
            shapes.append(Shape(kind, box(scale.x(each.low_m), low, scale.x(each.high_m), high)))
    shapes.append(Shape("belt", "M12 15H208A7 7 0 0 1 208 29H12A7 7 0 0 1 12 15Z"))
    left_out = 0
    for tick in ticks:
        if tick.strand not in known:
            left_out += 1
            continue
        start, end = (13, 5) if tick.strand == CARRY else (31, 39)
        shapes.append(Shape("tick", f"M{num(scale.x(tick.chainage_m))} {start}V{end}"))
    for device in devices:
        if device.strand not in known:
            left_out += 1
            continue
        x, y = scale.x(device.chainage_m), known[device.strand]
        sign = 1 if device.strand == RETURN else -1
        d = f"M{num(x - 3.5)} {num(y - 5 * sign)}H{num(x + 3.5)}L{num(x + 1.5)} {num(y + 5 * sign)}H{num(x - 1.5)}Z"
        shapes.append(Shape(f"device {device.tone}", d))
    return Strip(220, 44, tuple(shapes), (), left_out)


def _loop(scale: Scale, y_carry: float, y_return: float, reversing: bool) -> list[Shape]:
    radius, left, right = (y_return - y_carry) / 2, scale.left, scale.right
    turn = f"A{num(radius)} {num(radius)} 0 0"
    d = (
        f"M{num(left)} {num(y_carry)}H{num(right)}{turn} 1 {num(right)} {num(y_return)}"
        f"H{num(left)}{turn} 1 {num(left)} {num(y_carry)}Z"
    )
    shapes, middle = [Shape("belt", d)], (left + right) / 2
    # Travel: towards the head above, towards the tail below; both ways on a reversing belt.
    for y, sign in ((y_carry, 1), (y_return, -1)):
        for direction, shift in ((sign, 0.0), (-sign, -18.0 * sign)) if reversing else ((sign, 0.0),):
            x = middle + shift
            back, tip = num(x - 6 * direction), num(x + 6 * direction)
            d = f"M{back} {num(y - 6)}L{tip} {num(y)}L{back} {num(y + 6)}Z"
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
            d = f"M{num(x - 14)} {num(y + 42 * out)}H{num(x + 14)}L{num(x + 7)} {num(y + 14 * out)}H{num(x - 7)}Z"
            shapes.append(Shape("part", d, part.name))
            row = rows.place(x, loading, 0, WIDTH)
            if row is not None:
                texts.append(Words(round(row[1], 1), y + 48 * out + (10 if on_return else 0), loading, "soft"))
        elif part.kind == "drift_switch":
            shapes.append(Shape("part switch", box(x - 4, y_return + 42, x + 4, y_return + 50), part.name))
        elif part.kind in ("head_pulley", "tail_pulley"):
            radius = (y_return - y_carry) / 2 - 6
            shapes.append(Shape("part pulley", circle(x, (y_carry + y_return) / 2, min(radius, 9)), part.name))
        elif part.kind in PULLEYS:
            shapes.append(Shape("part pulley", circle(x, y_return - 9, 6), part.name))
        elif part.kind == "take_up":
            d = f"M{num(x)} {num(y_return + 3)}V{num(y_return + 14)}M{num(x - 6)} {num(y_return + 14)}h12v10h-12Z"
            shapes.append(Shape("part", d, part.name))
        elif part.kind == "scraper":
            y, way = (y_return, -1) if on_return else (y_carry, 1)
            shapes.append(Shape("part scraper", f"M{num(x)} {num(y + 3 * way)}l7 {num(13 * way)}", part.name))
        elif part.kind == "belt_scale":
            shapes.append(Shape("part", f"M{num(x - 7)} {num(y_carry + 14)}h14l-7 -10Z", part.name))
        else:
            d = f"M{num(x - 7)} {num(y_return - 5)}v-9h14v9"
            shapes.append(Shape("part guard", d, part.name))
    return shapes, texts


def _axis(scale: Scale, y_return: float, unit_m: float, unit: str) -> tuple[list[Shape], list[Words]]:
    length = scale.length_m / unit_m
    step = axis_step(length)
    shapes: list[Shape] = []
    texts: list[Words] = []
    for i in range(int(length / step + 1e-6) + 1):
        at = i * step
        x = scale.x(at * unit_m)
        shapes.append(Shape("axis", f"M{num(x)} {num(y_return + 56)}v6"))
        texts.append(Words(round(x, 1), y_return + 76, f"{at:,.10g}" + (f" {unit}" if i == 0 else ""), "axis"))
    return shapes, texts
