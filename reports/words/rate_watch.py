"""Alarms of the rate watch in words."""

from __future__ import annotations

from django.utils.translation import gettext as _

from plant.words.moments import day_of
from reports.selectors.rate_watch import Fading


def why_checked(fading: Fading) -> str:
    """What the check that an alarm asks for says of itself."""
    return _(
        "Rate watch: bad days at first %(first)s in %(learnt)s h, %(n)s in %(hours)s h since %(day)s. Pivot, sensors, "
        "place?"
    ) % {
        "first": fading.n_learnt,
        "learnt": f"{fading.hours_learnt:.0f}",
        "n": fading.n_since,
        "hours": f"{fading.hours_since:.0f}",
        "day": day_of(fading.climbing_since),
    }
