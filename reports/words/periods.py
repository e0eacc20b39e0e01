"""Two periods in words."""

from __future__ import annotations

import datetime as dt

from django.utils import timezone
from django.utils.translation import gettext as _

from reports.selectors.periods import Happening, PeriodComparison, PeriodSide
from reports.words.verdicts import in_hours, ratio_words


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


def lies_in(each: Happening, found: PeriodComparison) -> str:
    """Where in the two periods something happened."""
    for words, side in ((_("in the first"), found.first), (_("in the second"), found.second)):
        if side.window.start <= each.at < side.window.end:
            return words
    return _("between them")
