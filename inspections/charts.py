"""Figures of this app: readings over time, drawn small beside their table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from inspections.models import Reading
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
class TrendLine:
    """The readings of one side, with a label beside its end."""

    side: str
    label: str
    label_y: float
    points: tuple[TrendPoint, ...]

    @property
    def path(self) -> str:
        return " ".join(f"{point.x:.1f},{point.y:.1f}" for point in self.points)

    @property
    def end(self) -> TrendPoint:
        return self.points[-1]


@dataclass(frozen=True)
class WearTrend:
    """Diameters of both sensor rollers over time, between new and limit where the model states them."""

    lines: tuple[TrendLine, ...]
    marks: tuple[tuple[float, str], ...]  # y and words of new and limit
    first: str
    last: str
    width: int = WIDTH
    height: int = HEIGHT
    left: int = LEFT
    right_edge: int = WIDTH - RIGHT
    foot: int = HEIGHT - FOOT


def wear_trend(
    readings: Sequence[Reading], new_mm: float | None, limit_mm: float | None, system: UnitSystem
) -> WearTrend | None:
    """Lay the diameters out; None where no line can be drawn through fewer than two readings of a side."""
    by_side = {
        side: [row for row in readings if row.side == side and row.value is not None] for side in ("drive", "off")
    }
    by_side = {side: rows for side, rows in by_side.items() if len(rows) > 1}
    if not by_side:
        return None
    shown = [row for rows in by_side.values() for row in rows]
    times = [row.visit.visited_at for row in shown]
    values = [row.value for row in shown if row.value is not None]
    bounds = [each for each in (new_mm, limit_mm) if each is not None]
    low, high = min([*values, *bounds]), max([*values, *bounds])
    span = (high - low) or 1.0
    first, last = min(times), max(times)
    length = (last - first).total_seconds() or 1.0

    def x(moment: datetime) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * (moment - first).total_seconds() / length

    def y(value: float) -> float:
        return TOP + (HEIGHT - TOP - FOOT) * (high - value) / span

    def words(value: float) -> str:
        return format_reading(value, QuantityKind.LENGTH_MM, system)

    ends = {side: y(rows[-1].value or low) for side, rows in by_side.items()}
    if len(ends) == 2 and abs(ends["drive"] - ends["off"]) < LABEL:
        upper = min(ends, key=lambda side: ends[side])
        middle = sum(ends.values()) / 2
        ends = {side: middle + (-LABEL / 2 if side == upper else LABEL / 2) for side in ends}
    lines = [
        TrendLine(
            side,
            rows[-1].get_side_display(),
            ends[side] + 4,
            tuple(
                TrendPoint(
                    x(row.visit.visited_at), y(row.value), f"{row.visit.visited_at:%Y-%m-%d}: {words(row.value)}"
                )
                for row in rows
                if row.value is not None
            ),
        )
        for side, rows in by_side.items()
    ]
    named = (("new", new_mm), ("limit", limit_mm))
    marks = tuple((y(value), f"{name} {words(value)}") for name, value in named if value is not None)
    return WearTrend(tuple(lines), marks, f"{first:%Y-%m-%d}", f"{last:%Y-%m-%d}")
