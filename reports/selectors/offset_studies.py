"""Belt offsets of a comparison: what was measured before, at acceptance and after 1, 3 and 6 months.

A second end point: it is told beside the verdict on incidents and never decides it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from installs.models import BeltOffset, Installation
from reports.calc.offsets import OffsetAnswer, OffsetChange, OffsetReading, offset_changes

Occasion = BeltOffset.Occasion
DAYS_A_MONTH = 30.44
# A follow-up counts for the month to which it lies nearest; common practice, no source.
WANTED_MONTHS = (1, 3, 6)
LIMITS = {1: (0.4, 2.0), 3: (2.0, 4.5), 6: (4.5, 9.0)}

ANSWER_MARK = {
    OffsetAnswer.NEARER: "fewer",
    OffsetAnswer.FURTHER: "more",
    OffsetAnswer.UNCLEAR: "flat",
    OffsetAnswer.TOO_FEW: "early",
    OffsetAnswer.EVEN: "flat",
    OffsetAnswer.NOT_PAIRED: "unjudged",
}


def answer_words(answer: OffsetAnswer) -> str:
    return {
        OffsetAnswer.NEARER: _("the belt lies nearer to its line"),
        OffsetAnswer.FURTHER: _("the belt lies further off its line"),
        OffsetAnswer.UNCLEAR: _("no clear change of the offset"),
        OffsetAnswer.EVEN: _("the same change at every station, so no interval"),
        OffsetAnswer.TOO_FEW: _("too few stations for an interval"),
        OffsetAnswer.NOT_PAIRED: _("nothing to pair with"),
    }[answer]


@dataclass(frozen=True)
class MeasuredChange:
    """The belt empty or loaded on one occasion, against the stations measured before."""

    change: OffsetChange

    @property
    def words(self) -> str:
        return answer_words(self.change.answer)

    @property
    def mark(self) -> str:
        return ANSWER_MARK[self.change.answer]


@dataclass(frozen=True)
class OffsetOccasion:
    """One occasion after the installation; without changes where nobody measured, `words` then says so."""

    label: str
    days: tuple[dt.date, ...]
    changes: tuple[MeasuredChange, ...]
    words: str


@dataclass(frozen=True)
class OffsetStudy:
    """Everything that was measured around a comparison."""

    rows: tuple[BeltOffset, ...]  # in the order of time
    before_days: tuple[dt.date, ...]
    occasions: tuple[OffsetOccasion, ...]

    @property
    def is_measured(self) -> bool:
        return bool(self.rows)

    @property
    def latest(self) -> OffsetOccasion | None:
        """The last occasion at which anything can be paired."""
        paired = [each for each in self.occasions if any(one.change.n_stations for one in each.changes)]
        return paired[-1] if paired else None

    @property
    def missing(self) -> str:
        """Why there is no answer at all; empty where there is one."""
        if self.latest is not None:
            return ""
        if not self.rows:
            return _("Not measured: no belt offset is in the book for this comparison, before or after.")
        if not self.before_days:
            return _("Not measured before the installation, so what was measured after has nothing to be paired with.")
        if not any(each.changes for each in self.occasions):
            return _("Measured before the installation only; not measured since.")
        return _("No station was measured both before and after: measure again where it was measured before.")


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
    occasions = [occasion_of(_("at acceptance"), later.get(0, []), before, zone, _("not measured"))]
    for months in sorted({*WANTED_MONTHS, *(each for each in later if each)}):
        label = _("after 1 month") if months == 1 else _("after %(n)s months") % {"n": months}
        until = last + dt.timedelta(days=DAYS_A_MONTH * LIMITS.get(months, (0, months))[1])
        words = _("not measured")
        if ends and min(ends) < until:
            words = _("not measured; removed before")
        elif now < until:
            words = _("not measured yet")
        occasions.append(occasion_of(label, later.get(months, []), before, zone, words))
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
    label: str, rows: Sequence[BeltOffset], before: Sequence[BeltOffset], zone: dt.tzinfo, otherwise: str
) -> OffsetOccasion:
    if not rows:
        return OffsetOccasion(label, (), (), otherwise)
    readings = [
        OffsetReading(row.chainage_m, row.offset_mm, is_after, row.is_loaded)
        for is_after, side in ((False, before), (True, rows))
        for row in side
    ]
    loads = {row.is_loaded for row in rows}
    changes = tuple(MeasuredChange(each) for each in offset_changes(readings) if each.is_loaded in loads)
    return OffsetOccasion(label, days_of(rows, zone), changes, "")
