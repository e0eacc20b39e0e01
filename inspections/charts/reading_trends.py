"""Readings over time, one line for each place of a reading."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from inspections.charts.wear import LEFT, RIGHT, WIDTH, TrendPoint, path_of
from inspections.models import Reading
from plant.calc.units import QuantityKind, UnitSystem, format_reading


@dataclass(frozen=True)
class TrendLine:
    """The readings of one thing in the order of time."""

    label: str
    points: tuple[TrendPoint, ...]

    @property
    def path(self) -> str:
        return path_of([(point.x, point.y) for point in self.points])


@dataclass(frozen=True)
class ReadingTrend:
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


def reading_trends(rows: Iterable[Reading], system: UnitSystem) -> list[ReadingTrend]:
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


def lay_trend(name: str, kind: QuantityKind, rows: Sequence[Reading], system: UnitSystem) -> ReadingTrend:
    moments, values = [row.visit.visited_at for row in rows], [row.value or 0.0 for row in rows]
    first, last, low, high = min(moments), max(moments), min(values), max(values)
    length, span, top, foot = (last - first).total_seconds(), (high - low) or 1.0, 14, 30

    def x(row: Reading) -> float:
        return LEFT + 6 + (WIDTH - LEFT - RIGHT - 12) * (row.visit.visited_at - first).total_seconds() / length

    def y(value: float) -> float:
        return round(top + (ReadingTrend.height - top - foot) * (high - value) / span, 1)

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
                    round(x(row), 1), y(row.value or 0.0), f"{row.visit.visited_at:%Y-%m-%d}: {words(row.value or 0.0)}"
                )
                for row in sorted(each, key=lambda row: row.visit.visited_at)
            ),
        )
        for label, each in series.items()
    )
    marks = ((y(high), words(high)), (y(low), words(low))) if high > low else ((y(high), words(high)),)
    title = _("%(check)s, as found: %(things)s") % {"check": name, "things": ", ".join(series)}
    return ReadingTrend(title, lines, marks, f"{first:%Y-%m-%d}", f"{last:%Y-%m-%d}")
