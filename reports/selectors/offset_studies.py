"""Belt offsets of a comparison: what was measured before, at acceptance and after 1, 3 and 6 months.

A second end point: it is told beside the verdict on incidents and never decides it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum

from installs.models import BeltOffset, Installation
from reports.calc.offsets import OffsetReading, PairedOffsetChange, offset_changes

Occasion = BeltOffset.Occasion
DAYS_A_MONTH = 30.44
# A follow-up counts for the month to which it lies nearest; common practice, no source.
WANTED_MONTHS = (1, 3, 6)
LIMITS = {1: (0.4, 2.0), 3: (2.0, 4.5), 6: (4.5, 9.0)}


class NotMeasured(StrEnum):
    """Why there are no changes at an occasion."""

    NOT_MEASURED = "offset.not_measured"
    REMOVED_BEFORE = "offset.removed_before"
    NOT_YET = "offset.not_yet"


class NoOffsetAnswer(StrEnum):
    """Why there is no answer in millimetres at all."""

    NO_READING = "offset.no_reading"
    NONE_BEFORE = "offset.none_before"
    NONE_SINCE = "offset.none_since"
    NO_PAIR = "offset.no_pair"


@dataclass(frozen=True)
class ComparedOccasion:
    """One occasion after the installation, the belt empty and loaded; without changes where nobody measured."""

    months: int  # 0 at the acceptance
    days: tuple[dt.date, ...]
    changes: tuple[PairedOffsetChange, ...]
    lacking: NotMeasured | None


@dataclass(frozen=True)
class OffsetStudy:
    """Everything that was measured around a comparison."""

    rows: tuple[BeltOffset, ...]  # in the order of time
    before_days: tuple[dt.date, ...]
    occasions: tuple[ComparedOccasion, ...]

    @property
    def is_measured(self) -> bool:
        return bool(self.rows)

    @property
    def latest(self) -> ComparedOccasion | None:
        """The last occasion at which anything can be paired."""
        paired = [each for each in self.occasions if any(one.n_stations for one in each.changes)]
        return paired[-1] if paired else None

    @property
    def missing(self) -> NoOffsetAnswer | None:
        """Why there is no answer at all; None where there is one."""
        if self.latest is not None:
            return None
        if not self.rows:
            return NoOffsetAnswer.NO_READING
        if not self.before_days:
            return NoOffsetAnswer.NONE_BEFORE
        if not any(each.changes for each in self.occasions):
            return NoOffsetAnswer.NONE_SINCE
        return NoOffsetAnswer.NO_PAIR


def is_before(row: BeltOffset, first: dt.datetime) -> bool:
    return row.occasion == Occasion.SURVEY and row.taken_at < first


def offset_study_of(members: Sequence[Installation], now: dt.datetime) -> OffsetStudy:
    """Gather the offsets of one installation, or of those judged as one, and compare them by station."""
    found = {
        row.pk: row
        for each in members
        for row in BeltOffset.objects.current().of_installation(each).order_by("taken_at", "chainage_m")
        if row.strand == each.strand
    }
    rows = tuple(sorted(found.values(), key=lambda row: (row.taken_at, row.chainage_m, row.is_loaded)))
    first, last = (pick(each.installed_at for each in members) for pick in (min, max))
    ends = [each.removed_at for each in members if each.removed_at is not None]
    zone = members[0].plant.zone
    before = [row for row in rows if is_before(row, first)]
    later: dict[int | None, list[BeltOffset]] = {}
    for row in rows:
        # An acceptance is measured in the hours before the device counts as installed; it belongs to it all the same.
        if row.occasion == Occasion.ACCEPTANCE or (not is_before(row, first) and row.taken_at >= first):
            later.setdefault(months_after(row, last), []).append(row)
    occasions = [occasion_of(0, later.get(0, []), before, zone, NotMeasured.NOT_MEASURED)]
    for months in sorted({*WANTED_MONTHS, *(each for each in later if each)}):
        until = last + dt.timedelta(days=DAYS_A_MONTH * LIMITS.get(months, (0, months))[1])
        lacking = NotMeasured.NOT_MEASURED
        if ends and min(ends) < until:
            lacking = NotMeasured.REMOVED_BEFORE
        elif now < until:
            lacking = NotMeasured.NOT_YET
        occasions.append(occasion_of(months, later.get(months, []), before, zone, lacking))
    return OffsetStudy(rows, days_of(before, zone), tuple(occasions))


def months_after(row: BeltOffset, installed_at: dt.datetime) -> int:
    """0 for the acceptance; else the month to which a follow-up belongs."""
    if row.occasion == Occasion.ACCEPTANCE:
        return 0
    months = (row.taken_at - installed_at) / dt.timedelta(days=DAYS_A_MONTH)
    for wanted, (low, high) in LIMITS.items():
        if low <= months < high:
            return wanted
    return max(0, round(months))


def days_of(rows: Iterable[BeltOffset], zone: dt.tzinfo) -> tuple[dt.date, ...]:
    return tuple(sorted({row.taken_at.astimezone(zone).date() for row in rows}))


def occasion_of(
    months: int,
    rows: Sequence[BeltOffset],
    before: Sequence[BeltOffset],
    zone: dt.tzinfo,
    otherwise: NotMeasured,
) -> ComparedOccasion:
    if not rows:
        return ComparedOccasion(months, (), (), otherwise)
    readings = [
        OffsetReading(row.chainage_m, row.offset_mm, is_after, row.is_loaded)
        for is_after, side in ((False, before), (True, rows))
        for row in side
    ]
    loads = {row.is_loaded for row in rows}
    changes = tuple(each for each in offset_changes(readings) if each.is_loaded in loads)
    return ComparedOccasion(months, days_of(rows, zone), changes, None)
