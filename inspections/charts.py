"""Figures of this app: readings over time, drawn small beside their table."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, time

from django.utils.translation import gettext as _

from inspections.models import Reading
from inspections.services.wear import DeviceWear, SideWear
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


@dataclass(frozen=True)
class TrendLine:
    """The readings of one thing in the order of time."""

    label: str
    points: tuple[TrendPoint, ...]

    @property
    def path(self) -> str:
        return path_of([(point.x, point.y) for point in self.points])


@dataclass(frozen=True)
class Trend:
    """What one check found over time, one line for each thing that is measured, between the least and the most."""

    title: str
    lines: tuple[TrendLine, ...]
    marks: tuple[tuple[float, str], ...]
    first: str
    last: str
    width: int = WIDTH
    height: int = 130
    left: int = LEFT
    right_edge: int = WIDTH - RIGHT


def reading_trends(rows: Iterable[Reading], system: UnitSystem) -> list[Trend]:
    """One chart for each check and quantity that was read on two days or more.

    Parameters
    ----------
    rows : iterable of Reading
        As found, with visit and check kind loaded.
    system : UnitSystem
    """
    groups: dict[tuple[str, str], list[Reading]] = defaultdict(list)
    for row in rows:
        if row.value is not None and row.quantity:
            groups[str(row.task.check_kind), row.quantity].append(row)
    return [
        lay_trend(name, QuantityKind(quantity), each, system)
        for (name, quantity), each in sorted(groups.items())
        if len({row.visit.visited_at.date() for row in each}) > 1
    ]


def lay_trend(name: str, kind: QuantityKind, rows: Sequence[Reading], system: UnitSystem) -> Trend:
    moments, values = [row.visit.visited_at for row in rows], [row.value or 0.0 for row in rows]
    first, last, low, high = min(moments), max(moments), min(values), max(values)
    length, span, top, foot = (last - first).total_seconds(), (high - low) or 1.0, 14, 30

    def x(row: Reading) -> float:
        return LEFT + 6 + (WIDTH - LEFT - RIGHT - 12) * (row.visit.visited_at - first).total_seconds() / length

    def y(value: float) -> float:
        return round(top + (Trend.height - top - foot) * (high - value) / span, 1)

    def words(value: float) -> str:
        return format_reading(value, kind, system)

    series: dict[str, list[Reading]] = defaultdict(list)
    for row in rows:
        # Torques by two methods do not compare, so no line joins them.
        thing = f"{row.label}, {row.get_method_display()}" if row.method else row.label
        series[thing].append(row)
    lines = tuple(
        TrendLine(
            label,
            tuple(
                TrendPoint(
                    round(x(row), 1), y(row.value or 0.0), f"{row.visit.visited_at:%Y-%m-%d}: {words(row.value)}"
                )
                for row in sorted(each, key=lambda row: row.visit.visited_at)
            ),
        )
        for label, each in series.items()
    )
    marks = ((y(high), words(high)), (y(low), words(low))) if high > low else ((y(high), words(high)),)
    title = _("%(check)s, as found: %(things)s") % {"check": name, "things": ", ".join(series)}
    return Trend(title, lines, marks, f"{first:%Y-%m-%d}", f"{last:%Y-%m-%d}")
