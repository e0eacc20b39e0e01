"""Sentences about a round whose person is planned to be at a fitting at the same time."""

from __future__ import annotations

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from inspections.selectors.fitting_clashes import FittingClash
from plant.words.moments import moment_words


def clash_words(clash: FittingClash) -> str:
    """For the round's own page."""
    words = _("%(who)s is planned to this fitting from %(begin)s to %(end)s.") % {
        "who": clash.round.shift.person,
        "begin": moment_words(clash.span[0]),
        "end": moment_words(clash.span[1]),
    }
    if clash.stops:
        stops = _("These stops lie in that time; ask the planner: %(stops)s.") % {"stops": stop_words(clash)}
        words += f" {stops}"
    return words


def clash_words_at_fitting(clash: FittingClash) -> str:
    """For the fitting's page."""
    values = {
        "who": clash.round.shift.person,
        "day": date_format(clash.round.shift.day, "D j M"),
        "stops": stop_words(clash),
    }
    if clash.round.published_at is None:
        return _("The draft round of %(who)s, %(day)s, has stops in this time: %(stops)s.") % values
    return _("The published round of %(who)s, %(day)s, has stops in this time: %(stops)s.") % values


def stop_words(clash: FittingClash) -> str:
    return ", ".join(
        f"{stop.conveyor.tag} {date_format(timezone.localtime(stop.starts_at), 'H:i')}" for stop in clash.stops
    )
