"""Belt offsets in words: occasions by their names, sizes with their side, how far the belt lay off before and since."""

from __future__ import annotations

from collections.abc import Sequence

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from installs.models import BeltOffset
from installs.selectors.belt_offsets import OffsetChange, OffsetOccasion
from plant.calc.units import QuantityKind, UnitSystem, format_quantity
from plant.words.moments import day_words


def occasion_words(each: OffsetOccasion) -> str:
    """What an occasion is called beside the others."""
    if each.occasion == BeltOffset.Occasion.SURVEY:
        on = day_words(each.day)
        return _("before, %(on)s") % {"on": on} if each.of_installation else on
    if each.months is not None:
        return ngettext("after %s month", "after %s months", each.months) % (each.months,)
    return str(BeltOffset.Occasion(each.occasion).label)


def offset_words(offset_mm: float, system: UnitSystem) -> str:
    """60 mm drive side; 0 mm."""
    size = format_quantity(abs(offset_mm), QuantityKind.LENGTH_MM, system)
    if offset_mm == 0:
        return size
    return f"{size} {_('drive side') if offset_mm > 0 else _('off side')}"


def size_words(value_mm: float, system: UnitSystem) -> str:
    """A distance off the centre line in whole millimetres, or to the nearest 1/16 in."""
    return format_quantity(round(value_mm), QuantityKind.LENGTH_MM, system)


def summary_lines(occasions: Sequence[OffsetOccasion], system: UnitSystem) -> list[dict[str, str]]:
    """Mean and largest distance off the centre line at each occasion."""
    found = [(each, each.summary()) for each in occasions]
    return [
        {
            "label": occasion_words(each),
            "day": day_words(each.day),
            "n": str(known.n),
            "mean": size_words(known.mean_mm, system),
            "largest": size_words(known.largest_mm, system),
        }
        for each, known in found
        if known
    ]


def change_words(change: OffsetChange | None, system: UnitSystem) -> str:
    """One sentence: how far the belt lay off before and last, at the stations measured both times."""
    if change is None:
        return _("No belt offset was measured yet.")
    if not change.is_known or change.before is None or change.after is None:
        known = change.first.summary()
        mean = size_words(known.mean_mm, system) if known else ""
        return _("The belt lay %(mean)s off its centre line on average (%(when)s).") % {
            "mean": mean,
            "when": occasion_words(change.first),
        }
    words = ngettext(
        "The belt lay %(before)s off its centre line on average %(first)s, and %(after)s %(last)s "
        "(%(n)s reading at the same place).",
        "The belt lay %(before)s off its centre line on average %(first)s, and %(after)s %(last)s "
        "(%(n)s readings at the same places).",
        change.n_places,
    )
    return words % {
        "before": size_words(change.before.mean_mm, system),
        "first": occasion_words(change.first),
        "after": size_words(change.after.mean_mm, system),
        "last": occasion_words(change.last),
        "n": change.n_places,
    }


def station_table(occasions: Sequence[OffsetOccasion], system: UnitSystem) -> list[dict[str, object]]:
    """A line for each station and load, with the offset at each occasion."""
    places = sorted({place for each in occasions for place in each.by_place}, key=lambda place: (place[1], place[0]))
    return [
        {
            "at": at,
            "load": _("loaded") if is_loaded else _("empty"),
            "cells": [
                (occasion_words(each), offset_words(each.by_place[at, is_loaded], system))
                if (at, is_loaded) in each.by_place
                else (occasion_words(each), "–")
                for each in occasions
            ],
        }
        for at, is_loaded in places
    ]
