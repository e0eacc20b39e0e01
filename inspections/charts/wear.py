"""Figures of this app: readings over time, drawn small beside their table."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, time

from django.utils.translation import gettext as _

from inspections.selectors.wear import DeviceWear, SideWear
from plant.calc.units import QuantityKind, UnitSystem, format_reading

WIDTH, HEIGHT, LEFT, RIGHT, TOP, FOOT = 560, 180, 110, 90, 12, 28
LABEL = 16  # height of a line of words


@dataclass(frozen=True)
class TrendPoint:
    """One reading: where it is drawn, and its words."""

    x: float
    y: float
    words: str


@dataclass(frozen=True)
class BandLine:
    """One roller: its readings, the line through them, the band of the forecast, and its label."""

    side: str
    label: str
    label_y: float
    points: tuple[TrendPoint, ...]
    line: str
    band: str


@dataclass(frozen=True)
class WearBand:
    """Diameters over time with the forecast to the limit, between new and limit."""

    lines: tuple[BandLine, ...]
    marks: tuple[tuple[float, str], ...]
    today_x: float
    first: str
    last: str
    width: int = WIDTH
    height: int = HEIGHT
    left: int = LEFT
    right_edge: int = WIDTH - RIGHT
    foot: int = HEIGHT - FOOT


def wear_band(wear: DeviceWear, system: UnitSystem) -> WearBand | None:
    """Lay readings and forecast out over time; None where no roller has two readings."""
    sides = [each for each in wear.sides if len(each.points) > 1]
    if not sides:
        return None
    first = min(point.at for each in sides for point in each.points)
    ends = [dt for each in sides for dt in (each.late_on, each.limit_on, each.early_on) if dt is not None]
    furthest = wear.now + (wear.now - first)  # as far ahead as was looked back, at most
    last = wear.now
    if ends:
        last = min(max(datetime.combine(max(ends), time(), tzinfo=UTC), wear.now), furthest)
    values = [point.diameter_mm for each in sides for point in each.points]
    bounds = [each for each in (wear.new_mm, wear.limit_mm) if each is not None]
    high, low = max([*values, *bounds]), min([*values, *bounds])
    span = (high - low) or 1.0
    low -= 0.06 * span
    span = high - low
    length = (last - first).total_seconds() or 1.0

    def x(moment: datetime) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * (moment - first).total_seconds() / length

    def y(value: float) -> float:
        return TOP + (HEIGHT - TOP - FOOT) * (high - min(max(value, low), high)) / span

    def words(value: float) -> str:
        return format_reading(value, QuantityKind.LENGTH_MM, system)

    lines = [band_line(each, wear, last, x, y, words) for each in sides]
    if len(lines) == 2 and abs(lines[0].label_y - lines[1].label_y) < LABEL:
        upper, lower = sorted(lines, key=lambda each: each.label_y)
        middle = (upper.label_y + lower.label_y) / 2
        lines = [replace(upper, label_y=middle - LABEL / 2), replace(lower, label_y=middle + LABEL / 2)]
    named = ((_("new"), wear.new_mm), (_("limit"), wear.limit_mm))
    marks = tuple((y(value), f"{name} {words(value)}") for name, value in named if value is not None)
    return WearBand(tuple(lines), marks, x(wear.now), f"{first:%Y-%m-%d}", f"{last:%Y-%m-%d}")


def band_line(
    each: SideWear,
    wear: DeviceWear,
    last: datetime,
    x: Callable[[datetime], float],
    y: Callable[[float], float],
    words: Callable[[float], str],
) -> BandLine:
    points = tuple(
        TrendPoint(x(point.at), y(point.diameter_mm), f"{point.at:%Y-%m-%d}: {words(point.diameter_mm)}")
        for point in each.points
    )
    begin = each.points[-1]
    steps: list[tuple[datetime, float]] = [(begin.at, begin.hours)]
    if each.trend.per_1000_h is not None and wear.hours_per_day:
        days = (last - begin.at).total_seconds() / 86_400
        steps = [
            (begin.at + (last - begin.at) * n / 12, begin.hours + wear.hours_per_day * days * n / 12) for n in range(13)
        ]
    line = band = ""
    if len(steps) > 1:
        middle = [(x(at), y(each.trend.at(hours))) for at, hours in steps]
        upper = [(x(at), y(each.trend.at(hours) + each.trend.half_band(hours))) for at, hours in steps]
        lower = [(x(at), y(each.trend.at(hours) - each.trend.half_band(hours))) for at, hours in steps]
        line, band = path_of(middle), path_of([*upper, *reversed(lower)])
        label_y = middle[-1][1]
    else:
        label_y = points[-1].y
    return BandLine(each.side, each.label, label_y + 4, points, line, band)


def path_of(pairs: Sequence[tuple[float, float]]) -> str:
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in pairs)
