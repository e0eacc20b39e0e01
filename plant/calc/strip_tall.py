"""The strip for a narrow screen: tail on top, head below, carry strand left, return strand right."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from plant.calc.strip_shapes import (
    CARRY,
    DENSEST,
    PITCH,
    PULLEYS,
    RETURN,
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

PLACES = {CARRY: 106.0, RETURN: 200.0}  # of the strands, across
OUT = {CARRY: -1.0, RETURN: 1.0}  # away from the loop


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
    ticks, devices, gaps = list(ticks), list(devices), list(gaps)
    part_shapes, part_words = _parts(scale, parts, said["loading"])
    device_shapes, device_words = _devices(scale, devices)
    axis_shapes, axis_words = _axis(scale, unit_m, unit)
    shapes = [
        *_stretches(scale, zones, gaps, bars),
        *_loop(scale, reversing),
        *_ticks(scale, ticks),
        *part_shapes,
        *device_shapes,
        *axis_shapes,
    ]
    middle = (PLACES[CARRY] + PLACES[RETURN]) / 2
    ends = [Words(middle, scale.left - 14, said["tail"], "soft"), Words(middle, scale.right + 24, said["head"], "soft")]
    texts = [*part_words, *ends, *device_words, *axis_words, *_beside(scale, gaps)]
    strands = [*(each.strand for each in ticks), *(each.strand for each in devices)]
    left_out = sum(each not in PLACES for each in strands)
    return Strip(360, scale.right + 56, tuple(shapes), tuple(texts), left_out)


def _stretches(
    scale: Scale, zones: Iterable[StripStretch], gaps: Iterable[StripStretch], bars: Iterable[StripBar]
) -> Iterator[Shape]:
    """What no device reaches, how densely incidents lie, and where devices steer."""
    for gap in (each for each in gaps if each.strand in PLACES):
        x, way = PLACES[gap.strand], OUT[gap.strand]
        d = box(x + 3 * way, scale.x(gap.low_m), x + 37 * way, scale.x(gap.high_m))
        yield Shape("gap", d, gap.name)
    for bar in (each for each in bars if each.strand in PLACES and each.share > 0):
        x, way = PLACES[bar.strand], OUT[bar.strand]
        d = box(x + 3 * way, scale.x(bar.low_m), x + (3 + DENSEST * bar.share) * way, scale.x(bar.high_m))
        yield Shape("density", d, bar.name)
    for zone in (each for each in zones if each.strand in PLACES):
        x = PLACES[zone.strand]
        d = box(x - 9, scale.x(zone.low_m), x + 9, scale.x(zone.high_m))
        yield Shape(f"zone {zone.kind}".strip(), d, zone.name)


def _loop(scale: Scale, reversing: bool) -> Iterator[Shape]:
    x_carry, x_return = PLACES[CARRY], PLACES[RETURN]
    top, bottom, radius = scale.left, scale.right, num((x_return - x_carry) / 2)
    turn = f"A{radius} {radius} 0 0 1"
    d = (
        f"M{num(x_carry)} {num(bottom)}V{num(top)}{turn} {num(x_return)} {num(top)}"
        f"V{num(bottom)}{turn} {num(x_carry)} {num(bottom)}Z"
    )
    yield Shape("belt", d)
    for x, sign in ((x_carry, 1), (x_return, -1)):
        for direction, shift in ((sign, 0.0), (-sign, -18.0 * sign)) if reversing else ((sign, 0.0),):
            y = (top + bottom) / 2 + shift
            back, tip = num(y - 6 * direction), num(y + 6 * direction)
            yield Shape("travel", f"M{num(x - 6)} {back}L{num(x)} {tip}L{num(x + 6)} {back}Z")


def _ticks(scale: Scale, ticks: Sequence[StripTick]) -> Iterator[Shape]:
    for strand, x in PLACES.items():
        here = sorted((each for each in ticks if each.strand == strand), key=lambda each: each.chainage_m)
        places = spread([scale.x(each.chainage_m) for each in here], PITCH, scale.left, scale.right)
        start, end = num(x + 4 * OUT[strand]), num(x + 32 * OUT[strand])
        for each, y in zip(here, places, strict=True):
            yield Shape("tick", f"M{start} {num(y)}H{end}", each.name, each.url)


def _parts(scale: Scale, parts: Iterable[StripPart], loading: str) -> tuple[list[Shape], list[Words]]:
    shapes: list[Shape] = []
    texts: list[Words] = []
    loading_rows: list[float] = []
    for part in sorted(parts, key=lambda each: each.chainage_m):
        y, strand = scale.x(part.chainage_m), part.strand if part.strand in PLACES else RETURN
        x, way = PLACES[strand], OUT[strand]
        if part.kind == "loading_point":
            wide, narrow = num(x + 42 * way), num(x + 14 * way)
            d = f"M{wide} {num(y - 14)}V{num(y + 14)}L{narrow} {num(y + 7)}V{num(y - 7)}Z"
            shapes.append(Shape("part", d, part.name))
            if all(abs(y - other) >= 17 for other in loading_rows):
                loading_rows.append(y)
                anchor = "end" if way < 0 else "start"
                texts.append(Words(x + 4 * way, round(y + 30, 1), loading, "soft", anchor))
        elif part.kind == "drift_switch":
            shapes.append(Shape("part switch", box(PLACES[RETURN] + 40, y - 4, PLACES[RETURN] + 48, y + 4), part.name))
        elif part.kind in ("head_pulley", "tail_pulley"):
            shapes.append(Shape("part pulley", circle((PLACES[CARRY] + PLACES[RETURN]) / 2, y, 8), part.name))
        elif part.kind in PULLEYS:
            shapes.append(Shape("part pulley", circle(PLACES[RETURN] - 10, y, 6), part.name))
        else:
            inside = x - 10 * way
            shapes.append(Shape("part", box(inside - 4, y - 4, inside + 4, y + 4), part.name))
    return shapes, texts


def _devices(scale: Scale, devices: Iterable[StripDevice]) -> tuple[list[Shape], list[Words]]:
    shapes: list[Shape] = []
    texts: list[Words] = []
    standing = sorted((each for each in devices if each.strand in PLACES), key=lambda each: each.chainage_m)
    rows = spread([scale.x(each.chainage_m) for each in standing], 17, scale.left + 4, scale.right - 4)
    for device, row in zip(standing, rows, strict=True):
        x, y, way = PLACES[device.strand], scale.x(device.chainage_m), OUT[device.strand]
        inner, outer = num(x - 13 * way), num(x + 13 * way)
        d = f"M{inner} {num(y - 7)}V{num(y + 7)}L{outer} {num(y + 4)}V{num(y - 4)}Z"
        shapes.append(Shape(f"device {device.tone}", d, device.name, device.url))
        label, anchor = f"{device.number} {device.word}".strip(), "start" if device.strand == CARRY else "end"
        texts.append(Words(x - 17 * way, round(row + 5, 1), label, f"number {device.tone}", anchor))
    return shapes, texts


def _axis(scale: Scale, unit_m: float, unit: str) -> tuple[list[Shape], list[Words]]:
    shapes: list[Shape] = []
    texts: list[Words] = []
    step = axis_step(scale.length_m / unit_m)
    for i in range(int(scale.length_m / unit_m / step + 1e-6) + 1):
        y = scale.x(i * step * unit_m)
        shapes.append(Shape("axis", f"M49 {num(y)}h6"))
        texts.append(Words(45, round(y + 5, 1), f"{i * step:,.10g}" + (f" {unit}" if i == 0 else ""), "axis", "end"))
    return shapes, texts


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
