"""How the verdict on one installation changed, month by month, as today's book tells it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from django.utils import timezone

from installs.models import Installation
from reports.calc.verdicts import EffectVerdict
from reports.selectors.belts import Belt
from reports.selectors.studies import Study, chosen_windows, group_of, latest_choice, reference_for, study

# Further back than this nobody asks what stood in which month, and each month is a comparison of its own.
MOST_MONTHS = 60


@dataclass(frozen=True)
class VerdictChange:
    """From a month's end on the verdict was another one."""

    at: dt.datetime
    was: EffectVerdict
    study: Study


def verdict_changes(installation: Installation, belt: Belt, now: dt.datetime) -> list[VerdictChange]:
    """The month ends at which the verdict changed, the earliest first; it begins with "too early to tell".

    Every month is judged with what the book holds today: an incident that was entered late counts where it happened.

    Parameters
    ----------
    installation : Installation
        One of the belt's.
    belt : Belt
        Gathered before, with incidents and hours.
    now : datetime
    """
    own = next((each for each in belt.installations if each.pk == installation.pk), None)
    if own is None:
        return []
    members = group_of(own, belt)
    chosen, reference = latest_choice(members, chosen_windows(members)), reference_for(installation.plant, now)
    changes: list[VerdictChange] = []
    stands = EffectVerdict.TOO_EARLY
    until = min(now, installation.removed_at or now)
    for moment in [*month_ends(installation.installed_at, until, installation.plant.zone)[-MOST_MONTHS:], until]:
        if moment <= max(each.installed_at for each in members):
            continue
        found = study(members, belt, chosen=chosen, now=moment, reference=reference)
        if found.verdict != stands:
            changes.append(VerdictChange(moment, stands, found))
            stands = found.verdict
    return changes


def month_ends(start: dt.datetime, end: dt.datetime, zone: dt.tzinfo) -> list[dt.datetime]:
    """Midnights of the plant at which a month ended after `start` and before `end`."""
    first = timezone.localtime(start, zone).date().replace(day=1)
    found = []
    while True:
        first = (first + dt.timedelta(days=32)).replace(day=1)
        midnight = dt.datetime.combine(first, dt.time(), tzinfo=zone)
        if midnight >= end:
            return found
        found.append(midnight)
