"""How the verdict on one installation changed, month by month, as today's book tells it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from django.utils import timezone

from installs.models import Installation
from reports.calc.verdicts import EffectVerdict
from reports.selectors.belts import Belt
from reports.selectors.reference_groups import Reference
from reports.selectors.studies import (
    Study,
    chosen_windows,
    group_of,
    judged,
    latest_choice,
    ratios_of,
    reference_for,
    settled_of,
    sides_of,
)

# Further back than this nobody asks what stood in which month, and each month is a comparison of its own.
MOST_MONTHS = 60


@dataclass(frozen=True)
class VerdictChange:
    """From a month's end on the verdict was another one."""

    at: dt.datetime
    was: EffectVerdict
    study: Study


def verdict_changes(
    installation: Installation, belt: Belt, now: dt.datetime, reference: Reference | None = None
) -> list[VerdictChange]:
    """The month ends at which the verdict changed, the earliest first; it begins with "too early to tell".

    Every month is judged with what the book holds today: an incident that was entered late counts where it happened.

    Parameters
    ----------
    installation : Installation
        One of the belt's.
    belt : Belt
        Gathered before, with incidents and hours.
    now : datetime
    reference : Reference, optional
        What a page has at hand; without it, true to the book of this moment.
    """
    own = next((each for each in belt.installations if each.pk == installation.pk), None)
    if own is None:
        return []
    members = group_of(own, belt)
    chosen = latest_choice(members, chosen_windows(members))
    reference = reference or reference_for(installation.plant, now)
    changes: list[VerdictChange] = []
    stands = EffectVerdict.TOO_EARLY
    until = min(now, installation.removed_at or now)
    fitted_at = max(each.installed_at for each in members)
    moments = [*month_ends(installation.installed_at, until, installation.plant.zone)[-MOST_MONTHS:], until]
    settled_at = settled_of(members, belt)
    counted = [
        sides_of(members, belt, chosen=chosen, now=moment, settled_at=settled_at)
        for moment in moments
        if moment > fitted_at
    ]
    for sides, ratio in zip(counted, ratios_of(counted), strict=True):
        found = judged(sides, ratio, reference)
        if found.verdict != stands:
            changes.append(VerdictChange(sides.now, stands, found))
            stands = found.verdict
    return changes


def month_ends(start: dt.datetime, end: dt.datetime, zone: dt.tzinfo) -> list[dt.datetime]:
    """Midnights of the plant at which a month ended after `start` and before `end`."""
    first = timezone.localtime(start, zone).date().replace(day=1)
    found: list[dt.datetime] = []
    while True:
        first = (first + dt.timedelta(days=32)).replace(day=1)
        midnight = dt.datetime.combine(first, dt.time(), tzinfo=zone)
        if midnight >= end:
            return found
        found.append(midnight)
