"""Figures of this app: belt offset along the belt, one line an occasion, drawn beside its table."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from installs.selectors.belt_offsets import OffsetOccasion
from installs.words.belt_offsets import occasion_words, offset_words
from plant.calc.units import QuantityKind, UnitSystem, format_quantity

WIDTH, HEIGHT, LEFT, RIGHT, TOP, FOOT = 680, 220, 104, 150, 14, 30
LABEL = 16  # height of a line of words


@dataclass(frozen=True)
class OffsetPoint:
    """One reading: where it is drawn, and its words."""

    x: float
    y: float
    words: str


@dataclass(frozen=True)
class OffsetLine:
    """One occasion: how it is called, its points and where its label stands."""

    tone: str  # "before", "accepted" or "later"
    label: str
    label_y: float
    points: tuple[OffsetPoint, ...]

    @property
    def path(self) -> str:
        return " ".join(f"{point.x:.1f},{point.y:.1f}" for point in self.points)


@dataclass(frozen=True)
class OffsetChart:
    """Offsets along the belt under one load, drive side up, between the limits of the permitted run-off."""

    title: str
    lines: tuple[OffsetLine, ...]
    zero_y: float
    limits: tuple[tuple[float, str], ...]  # y and words
    stations: tuple[tuple[float, str], ...]  # x and words
    width: int = WIDTH
    height: int = HEIGHT
    left: int = LEFT
    right_edge: int = WIDTH - RIGHT


def offset_charts(occasions: Sequence[OffsetOccasion], permitted_mm: float, system: UnitSystem) -> list[OffsetChart]:
    """One chart for the empty and one for the loaded belt; none where fewer than two stations were measured."""
    charts = []
    for is_loaded, title in ((False, _("Belt empty")), (True, _("Belt loaded"))):
        series = [
            (each, sorted((at, value) for (at, loaded), value in each.by_place.items() if loaded == is_loaded))
            for each in occasions
        ]
        series = [(each, points) for each, points in series if len(points) > 1]
        if series:
            charts.append(lay_offsets(title, series, permitted_mm, system))
    return charts


def lay_offsets(
    title: str,
    series: Sequence[tuple[OffsetOccasion, list[tuple[float, float]]]],
    permitted_mm: float,
    system: UnitSystem,
) -> OffsetChart:
    places = sorted({at for _each, points in series for at, _value in points})
    most = max([permitted_mm * 1.15, *(abs(value) for _each, points in series for _at, value in points)])
    length = places[-1] - places[0] or 1.0

    def x(at: float) -> float:
        return LEFT + 10 + (WIDTH - LEFT - RIGHT - 20) * (at - places[0]) / length

    def y(value: float) -> float:
        return TOP + (HEIGHT - TOP - FOOT) * (most - value) / (2 * most)

    def place(at: float) -> str:
        return format_quantity(at, QuantityKind.DISTANCE_M, system)

    ends = spread([y(points[-1][1]) for _each, points in series])
    lines = [
        OffsetLine(
            each.tone,
            occasion_words(each),
            label_y + 4,
            tuple(
                OffsetPoint(x(at), y(value), f"{occasion_words(each)}, {place(at)}: {offset_words(value, system)}")
                for at, value in points
            ),
        )
        for (each, points), label_y in zip(series, ends, strict=True)
    ]
    limit = format_quantity(permitted_mm, QuantityKind.LENGTH_MM, system)
    limits = ((y(permitted_mm), _("drive %s") % limit), (y(-permitted_mm), _("off %s") % limit))
    # Words of the axis keep their distance; every station stands in the table.
    named: list[tuple[float, str]] = []
    for at in places:
        if not named or x(at) - named[-1][0] > 48:
            named.append((x(at), place(at)))
    return OffsetChart(title, tuple(lines), y(0), limits, tuple(named))


def spread(wanted: Sequence[float]) -> list[float]:
    """Heights of labels, moved apart where they would lie on each other."""
    order = sorted(range(len(wanted)), key=lambda n: wanted[n])
    heights = list(wanted)
    for before, after in itertools.pairwise(order):
        heights[after] = max(heights[after], heights[before] + LABEL)
    over = max(heights, default=0) - (HEIGHT - FOOT + 8)
    return [height - over for height in heights] if over > 0 else heights
