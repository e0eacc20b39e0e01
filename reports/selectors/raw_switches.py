"""Raw switch events behind the incidents of a comparison, so that the merge time can be varied where it acts.

The merge time joins switch events to incidents. What a shift log or a person wrote down was never merged and stays one
incident each, whatever the merge time. So for another merge time:

1. Incidents in the book that came from a drift switch are looked for among the episodes that the plant's own merge time
   makes of the raw events (same side, within two minutes). Those that are found are set free, the others stay one each.
2. Only events of these episodes are joined again, with the other merge time: what somebody took out of the book
   (a test, a switch out of place) does not come back, nor does a day on which a switch chattered.
"""

from __future__ import annotations

import datetime as dt
from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from installs.calc.effect_zones import Zone
from plant.calc.incidents import FoundIncident, JoiningRules, find_chatter, find_incidents
from plant.calc.incidents import RawSwitchEvent as RawEvent
from plant.models import Incident, SwitchEvent
from plant.selectors.running_hours import running_of
from reports.calc.study_windows import Window

if TYPE_CHECKING:
    from reports.selectors.belts import Belt

NEAR = dt.timedelta(minutes=2)


@dataclass(frozen=True)
class BookedIncident:
    """An incident in the book that came from a drift switch, at a known time whose running hours are known."""

    at: dt.datetime
    strand: str
    chainage_m: float | None
    side: str


@dataclass(frozen=True)
class RawSwitches:
    """What a belt's switches wrote during a comparison, and what the book made of it."""

    booked: tuple[BookedIncident, ...]
    events: tuple[RawEvent, ...]
    running: dict[str, list[tuple[dt.datetime, dt.datetime]]]
    merge_minutes: int

    def join(self, events: Sequence[RawEvent], minutes: int) -> tuple[FoundIncident, ...]:
        return find_incidents(events, self.running, JoiningRules(gap_s=60.0 * minutes)).incidents


@dataclass(frozen=True)
class SetFree:
    """Incidents of one stretch whose raw events are kept, and these events."""

    booked: tuple[BookedIncident, ...]
    events: tuple[RawEvent, ...]

    def n_booked(self, window: Window) -> int:
        return sum(window.start <= each.at < window.end for each in self.booked)


def raw_switches_of(belt: Belt, windows: Sequence[Window]) -> RawSwitches:
    """Switch incidents and raw events of a belt in some windows; three queries."""
    conveyor = belt.conveyor
    start = min(each.start for each in windows)
    end = max(each.end for each in windows)
    rows = list(
        Incident.objects.current()
        .filter(conveyor=conveyor, source=Incident.Source.SWITCH, time_is_known=True)
        .between(start, end)
        .values_list("happened_at", "strand", "chainage_m", "side")
    )
    covered = belt.ledger.covers([row[0] for row in rows]) if rows else ()
    found = SwitchEvent.objects.filter(drift_switch__conveyor=conveyor, at__gte=start - NEAR, at__lt=end + NEAR)
    events = [
        RawEvent(conveyor=conveyor.tag, at=at, is_on=is_on, side=side, switch=str(part))
        for part, at, is_on, side in found.order_by("at").values_list("drift_switch_id", "at", "is_on", "side")
    ]
    zone = conveyor.plant.zone
    bad = {(each.switch, each.side, each.day) for each in find_chatter(events, tz=zone) if each.is_defect}
    return RawSwitches(
        booked=tuple(BookedIncident(*row) for row, known in zip(rows, covered, strict=True) if known),
        events=tuple(each for each in events if (each.switch, each.side, each.at.astimezone(zone).date()) not in bad),
        running=running_of(conveyor, start) if events else {},
        merge_minutes=conveyor.plant.merge_minutes,
    )


def set_free(raw: RawSwitches, belt: Belt, strand: str, zones: Sequence[Zone]) -> SetFree:
    """Booked switch incidents of a stretch that are found among the raw events of the switches there."""
    in_reach = {
        str(each.pk)
        for each in belt.switches
        if each.strand in ("", strand) and any(zone.low_m <= each.chainage_m <= zone.high_m for zone in zones)
    }
    mine = [each for each in raw.events if each.switch in in_reach]
    episodes: dict[str, list[FoundIncident]] = defaultdict(list)
    for each in raw.join(mine, raw.merge_minutes):
        episodes[each.side].append(each)
    booked, spans = [], set()
    for one in raw.booked:
        placed = one.chainage_m is not None and any(zone.low_m <= one.chainage_m <= zone.high_m for zone in zones)
        if one.strand != strand or not placed:
            continue
        for each in episodes[one.side]:
            if each.start - NEAR <= one.at <= each.end + NEAR:
                booked.append(one)
                spans.add((one.side, each.start, each.end))
                break
    return SetFree(tuple(booked), tuple(_inside(mine, spans)))


def _inside(events: Sequence[RawEvent], spans: set[tuple[str, dt.datetime, dt.datetime]]) -> Iterator[RawEvent]:
    """Events within the episodes of their side; episodes of one side do not overlap."""
    by_side: dict[str, list[tuple[dt.datetime, dt.datetime]]] = defaultdict(list)
    for side, start, end in sorted(spans):
        by_side[side].append((start, end))
    for each in events:
        mine = by_side[each.side]
        at = bisect_left(mine, each.at, key=lambda span: span[1])
        if at < len(mine) and mine[at][0] <= each.at:
            yield each
