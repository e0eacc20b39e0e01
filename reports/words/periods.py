"""Two periods in words."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from django.utils import timezone
from django.utils.dates import MONTHS
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from plant.calc.units import UnitSystem
from plant.words.reasons import Texts, sentence
from reports.selectors.periods import BeltHappening, Compared, PeriodComparison, PeriodSide, Scope
from reports.words.verdicts import in_hours, ratio_words

TEXTS: Texts = {
    Compared.NAMED: "%(name)s",
    Compared.BELT: gettext_lazy("belt %(tag)s"),
    Compared.REACH: gettext_lazy("%(tag)s, in reach of device %(number)s"),
}


def scope_words(scope: Scope) -> str:
    """S-12, in reach of device 20"""
    return sentence(scope.what, TEXTS, UnitSystem.METRIC)


def period_sides(found: PeriodComparison) -> list[tuple[str, PeriodSide]]:
    return [(_("First"), found.first), (_("Second"), found.second)]


def last_day(side: PeriodSide) -> dt.date:
    """The last day of a period, which its end no longer holds."""
    return timezone.localtime(max(side.window.start, side.window.end - dt.timedelta(seconds=1))).date()


def period_sentence(found: PeriodComparison) -> str:
    """29 in 4,800 h in the first period, 6 in 4,700 h in the second. Ratio 0.21 (0.07-0.52)."""
    counted = _("%(first)s in the first period, %(second)s in the second.") % {
        "first": in_hours(found.first),
        "second": in_hours(found.second),
    }
    if found.ratio.ratio is None:
        return counted
    return f"{counted} {_('Ratio')} {ratio_words(found.ratio)}."


def answer_words(found: PeriodComparison) -> str:
    return {
        "fewer": _("fewer incidents in the second period"),
        "more": _("more incidents in the second period"),
        "flat": _("no clear difference"),
        "unjudged": _("cannot be compared"),
    }[found.answer]


def season_words(found: PeriodComparison) -> str:
    """The warning where the periods do not hold the same months; empty where they do."""
    if found.seasons.is_alike:
        return ""
    names = [month_words(months) for months in (found.seasons.more_in_first, found.seasons.more_in_second)]
    return _(
        "The months are not alike: the first period has more of %(first)s, the second more of %(second)s. What "
        "wet, cold or busy months do is not told apart from the change."
    ) % {"first": names[0] or _("none"), "second": names[1] or _("none")}


def month_words(months: Sequence[int]) -> str:
    """Months that follow each other as one stretch, also over the turn of the year: "November to June, August"."""
    starts = [each for each in months if (each - 2) % 12 + 1 not in months] or list(months[:1])
    found = []
    for start in starts:
        end = start
        while end % 12 + 1 in months and end % 12 + 1 != start:
            end = end % 12 + 1
        words = str(MONTHS[start])
        found.append(words if end == start else _("%(first)s to %(last)s") % {"first": words, "last": MONTHS[end]})
    return ", ".join(found)


def lies_in(each: BeltHappening, found: PeriodComparison) -> str:
    """Where in the two periods something happened."""
    for words, side in ((_("in the first"), found.first), (_("in the second"), found.second)):
        if side.window.start <= each.at < side.window.end:
            return words
    return _("between them")
