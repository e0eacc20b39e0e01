"""Incidents and running hours of a comparison or a belt by month, and what happened to the belt: for its chart."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from installs.calc.effect_zones import Zone
from installs.models import Installation
from plant.calc.rates import rate_with_interval_many
from plant.calc.reasons import Reason
from reports.calc.study_windows import Window, month_pieces
from reports.selectors.belts import Belt, Happened, incidents_url
from reports.selectors.studies import Study


@dataclass(frozen=True)
class MonthBar:
    """A month, or the part of it on one side: the incidents in the zone and the hours that they are divided by."""

    month: str
    window: Window
    side: str  # "before", "settling", "after" or "out"
    n: int
    running_h: float
    coverage: float
    per_1000_h: float | None
    low: float | None
    high: float | None
    url: str


@dataclass(frozen=True)
class BeltMark:
    """Something that happened on the belt, for the chart."""

    at: dt.datetime
    what: Reason
    is_installation: bool = False


def bars_of(one: Study) -> tuple[MonthBar, ...]:
    """Months of a comparison; parts of a month on different sides stand apart, so that bars add up to the counts."""
    windows = one.windows
    edges = [windows.before.start, windows.before.end, windows.settling.end, windows.after.end]

    def side(window: Window) -> str:
        for name, whole in (("before", windows.before), ("settling", windows.settling), ("after", windows.after)):
            if whole.start <= window.start and window.end <= whole.end and not whole.is_empty:
                return name
        return "out"

    start = min([windows.before.start, *(each.window.start for each in one.left_out)])
    strand = one.installation.strand
    here = one.belt.incidents.in_zones(strand, one.zones)
    return monthly_bars(one.belt, start, one.now, edges, here, side, strand=strand, zones=one.zones)


def bars_of_belt(belt: Belt, start: dt.datetime, end: dt.datetime) -> tuple[MonthBar, ...]:
    """Months of a whole belt, all its incidents."""
    everywhere = np.ones(belt.incidents.at_s.shape, dtype=bool)
    return monthly_bars(belt, start, end, [], everywhere, lambda window: "after")


def monthly_bars(
    belt: Belt,
    start: dt.datetime,
    end: dt.datetime,
    edges: Sequence[dt.datetime],
    counted: NDArray[np.bool_],
    side: Any,
    *,
    strand: str = "",
    zones: Sequence[Zone] = (),
) -> tuple[MonthBar, ...]:
    pieces = month_pieces(start, end, edges, belt.conveyor.plant.zone)
    if not pieces:
        return ()
    exposures = belt.ledger.by_month([(piece.window.start, piece.window.end) for piece in pieces])
    kept = counted & belt.incidents.is_covered
    counts = [int(np.count_nonzero(kept & belt.incidents.within(piece.window))) for piece in pieces]
    rates = rate_with_interval_many(counts, [each.running_h for each in exposures])

    def known(value: float) -> float | None:
        return None if np.isnan(value) else float(value)

    return tuple(
        MonthBar(
            month=piece.month,
            window=piece.window,
            side=side(piece.window),
            n=n,
            running_h=exposure.running_h,
            coverage=exposure.coverage,
            per_1000_h=known(rates.per_1000_h[i]),
            low=known(rates.low[i]),
            high=known(rates.high[i]),
            url=incidents_url(belt.conveyor, piece.window, strand, zones),
        )
        for i, (piece, exposure, n) in enumerate(zip(pieces, exposures, counts, strict=True))
    )


def marks_of(belt: Belt, start: dt.datetime, end: dt.datetime, members: Sequence[Installation] = ()) -> list[BeltMark]:
    """Installations and changes of a belt for the chart; of devices only the members where they are named."""
    fitted = members or belt.installations
    marks = [
        BeltMark(each.installed_at, Reason(Happened.FITTED, {"number": each.device.number}), True)
        for each in fitted
        if start <= each.installed_at < end
    ]
    marks += [
        BeltMark(each.removed_at, Reason(Happened.REMOVED, {"number": each.device.number}), True)
        for each in fitted
        if each.removed_at is not None and start <= each.removed_at < end
    ]
    marks += [
        BeltMark(change.changed_at, Reason(Happened.KIND_OF_WORK, {"kind": change.get_kind_display()}))
        for change in belt.changes
        if start <= change.changed_at < end
    ]
    return sorted(marks, key=lambda mark: mark.at)
