"""Lives of parts on the paper of their distribution."""

from __future__ import annotations

import math
from dataclasses import dataclass

from reports.calc.life import WeibullLife
from reports.charts.incidents_by_month import PLOT_FOOT, PLOT_HEIGHT, PLOT_TOP

PLOT_EDGE = 3.0  # percent of the width that stays free at both sides
SHARE_TICKS = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 0.9)
# From coarse to fine; a finer one comes in where a phone has room for its words beside the others.
HOUR_STEPS = ((1,), (1, 3), (1, 2, 5), (1, 2, 3, 5, 7), (1, 1.2, 1.5, 2, 2.5, 3, 4, 5, 6, 7, 8, 9))
WORD_SHARE = 0.18  # of the width


@dataclass(frozen=True)
class LifePlot:
    """Failures and fitted line on axes on which a Weibull life is straight: log hours, log(-log(1 - share)).

    Across in percent of the width, so that words keep their size on every screen; down in pixels.
    """

    points: tuple[tuple[str, float, str, str], ...]  # x, y, hours, share failed by then
    line: tuple[str, float, str, float]
    x_ticks: tuple[tuple[str, str], ...]
    y_ticks: tuple[tuple[float, str], ...]
    b10_h: float
    height: float = PLOT_HEIGHT
    top: float = PLOT_TOP
    foot: float = PLOT_HEIGHT - PLOT_FOOT


def life_plot(fit: WeibullLife) -> LifePlot | None:
    """None where no life can be told."""
    if fit.shape is None or fit.scale_h is None or not fit.points:
        return None
    hours = [each.hours for each in fit.points]
    low_h, high_h = min(hours) / 1.3, max(*hours, fit.scale_h) * 1.2
    bends = [bend(each.share) for each in fit.points]
    low, high = min(*bends, bend(0.01)), max(*bends, bend(0.9))

    def x(value: float) -> str:
        share = math.log(value / low_h) / math.log(high_h / low_h)
        return f"{PLOT_EDGE + (100.0 - 2 * PLOT_EDGE) * share:.2f}%"

    def y(value: float) -> float:
        held = min(max(value, low), high)
        return round(PLOT_HEIGHT - PLOT_FOOT - (PLOT_HEIGHT - PLOT_FOOT - PLOT_TOP) * (held - low) / (high - low), 1)

    def on_line(value: float) -> float:
        return fit.shape * math.log(value / fit.scale_h)  # type: ignore[operator]

    # The line is drawn where it lies inside the drawing.
    ends = [fit.scale_h * math.exp(edge / fit.shape) for edge in (low, high)]
    first, last = max(low_h, ends[0]), min(high_h, ends[1])
    return LifePlot(
        points=tuple(
            (x(each.hours), y(bend(each.share)), f"{each.hours:,.0f} h", f"{100 * each.share:.0f} %")
            for each in fit.points
        ),
        line=(x(first), y(on_line(first)), x(last), y(on_line(last))),
        x_ticks=tuple((x(step), f"{step:,.0f} h") for step in hour_ticks(low_h, high_h)),
        y_ticks=tuple((y(bend(share)), f"{100 * share:.0f} %") for share in SHARE_TICKS if low <= bend(share) <= high),
        b10_h=fit.life_h(0.1) or 0.0,
    )


def hour_ticks(low_h: float, high_h: float) -> list[float]:
    """Round hours inside the drawing, as far apart as their words need on a phone."""
    room = WORD_SHARE * math.log(high_h / low_h)
    kept: list[float] = []
    for steps in HOUR_STEPS:
        for each in (step * 10.0**power for power in range(7) for step in steps):
            if low_h <= each <= high_h and all(abs(math.log(each / other)) >= room for other in kept):
                kept.append(each)
    return sorted(kept)


def bend(share: float) -> float:
    return math.log(-math.log1p(-share))
