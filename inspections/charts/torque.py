"""Torques of each fastener over time. Two methods do not compare: each is a series of its own, no line joins them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from inspections.check_rules.fastener_torque import torques_wanted
from inspections.selectors.visits import TorqueLine
from installs.models import Installation
from plant.calc.units import QuantityKind, UnitSystem, format_reading

WIDTH, HEIGHT, LEFT, RIGHT, TOP, FOOT = 300, 130, 8, 8, 16, 22
# One mark a method, in the order in which the methods appear; a wrench in doubt is said in the point's words.
MARKS = ("dot", "ring", "square", "cross")


@dataclass(frozen=True)
class TorquePoint:
    x: float
    y: float
    words: str


@dataclass(frozen=True)
class TorqueSeries:
    """Readings of one fastener by one method, oldest first, with the mark that stands for the method."""

    method: str
    mark: str
    points: tuple[TorquePoint, ...]
    is_one_method: bool = True

    @property
    def path(self) -> str:
        """The line through the readings; none where nobody said how they were read, as they may be of two methods."""
        if not self.is_one_method:
            return ""
        return " ".join(f"{point.x:.1f},{point.y:.1f}" for point in self.points)


@dataclass(frozen=True)
class TorqueChart:
    """One fastener: what its last torque comes to in a sentence, and its series against target and tolerance."""

    label: str
    words: str
    series: tuple[TorqueSeries, ...]
    target_y: float | None
    band_y: float
    band_height: float
    first: str
    last: str
    width: int = WIDTH
    height: int = HEIGHT
    left: int = LEFT
    right_edge: int = WIDTH - RIGHT
    foot: int = HEIGHT - FOOT


def torque_charts(installation: Installation, lines: Sequence[TorqueLine], system: UnitSystem) -> list[TorqueChart]:
    """A chart for each fastener that was read twice or more by one method, in the order of the model's sheet."""
    limits = {str(each.label): each.limits for each in torques_wanted(installation.spec, {})}
    by_label: dict[str, list[TorqueLine]] = defaultdict(list)
    for line in lines:
        by_label[line.label].append(line)
    order = [*limits, *(label for label in by_label if label not in limits)]
    methods = list(dict.fromkeys(line.method for line in lines))
    return [
        lay_chart(label, by_label[label], limits.get(label, {}), methods, system)
        for label in order
        if any(len(line.readings) > 1 for line in by_label.get(label, ()))
    ]


def lay_chart(
    label: str, lines: Sequence[TorqueLine], limits: Mapping[str, Any], methods: Sequence[str], system: UnitSystem
) -> TorqueChart:
    target, share = limits.get("target_nm"), (limits.get("tolerance_pct") or 0.0) / 100
    rows = [row for line in lines for row in line.readings]
    values = [row.value or 0.0 for row in rows]
    edges: list[float] = [target * (1 - share), target * (1 + share)] if target else []
    low, high = min([*values, *edges]), max([*values, *edges])
    span = (high - low) or 1.0
    first, last = min(row.visit.visited_at for row in rows), max(row.visit.visited_at for row in rows)
    length = (last - first).total_seconds() or 1.0

    def x(row: Any) -> float:
        since_first = (row.visit.visited_at - first).total_seconds()
        return float(round(LEFT + 6 + (WIDTH - LEFT - RIGHT - 12) * since_first / length, 1))

    def y(value: float) -> float:
        return round(TOP + (HEIGHT - TOP - FOOT) * (high - value) / span, 1)

    def words(value: float) -> str:
        return format_reading(value, QuantityKind.TORQUE_NM, system)

    series = tuple(
        TorqueSeries(
            line.method or _("method not said"),
            MARKS[methods.index(line.method) % len(MARKS)],
            tuple(
                TorquePoint(
                    x(row),
                    y(row.value or 0.0),
                    f"{row.visit.visited_at:%Y-%m-%d}: {words(row.value or 0.0)}"
                    + (f", {_('wrench in doubt')}" if row.doubt else ""),
                )
                for row in line.readings
            ),
            bool(line.method),
        )
        for line in lines
    )
    latest = max(rows, key=lambda row: row.visit.visited_at)
    told = {"label": label, "value": words(latest.value or 0.0)}
    sentence = _("%(label)s: last %(value)s; the model states no target") % told
    if target:
        told |= {"pct": f"{100 * (latest.value or 0.0) / target:.0f}", "target": words(target)}
        sentence = _("%(label)s: last %(value)s, %(pct)s %% of its target of %(target)s") % told
    return TorqueChart(
        label,
        sentence,
        series,
        y(target) if target else None,
        y(edges[1]) if edges else 0.0,
        round(y(edges[0]) - y(edges[1]), 1) if edges else 0.0,
        f"{first:%Y-%m-%d}",
        f"{last:%Y-%m-%d}",
    )
