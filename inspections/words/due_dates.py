"""Why a check is due on its day, in words."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from inspections.calc.due_dates import DueRule
from inspections.calc.fixed_dates import FixedRule
from inspections.models.check_plans import NTH_WORDS, WEEKDAY_WORDS
from inspections.selectors.wanted_tasks import Undated
from plant.calc.reasons import Reason
from plant.calc.units import UnitSystem
from plant.words.reasons import Texts, Writers, sentence

TEXTS: Texts = {
    DueRule.TOO_FEW_DAYS: _("running hours of %(n)s days are known; %(least)s are needed"),
    DueRule.STOOD_STILL: _("the belt stood still on all %(n)s known days"),
    DueRule.AFTER_DAYS: _("%(days)s days after %(last_done_on)s"),
    DueRule.AFTER_HOURS: _("%(interval_h)s after %(last_done_on)s at %(a_day_h)s a day"),
    DueRule.REACHED_ON: _("%(interval_h)s reached on %(on)s"),
    DueRule.REACHED_BY: _("%(interval_h)s reached by %(on)s, %(so_far_h)s by then"),
    DueRule.HOURS_UNKNOWN: _("the belt's daily running hours are unknown"),
    DueRule.NOT_IN_TWENTY_YEARS: _("at %(too_few_h)s a day %(interval_h)s are not reached in twenty years"),
    DueRule.CANNOT_BE_DATED: _("cannot be dated: %(hours)s, and there is no interval in days"),
    DueRule.BESIDES: _("%(due)s; %(hours)s"),
    DueRule.FIXED_DATE: _("fixed date: %(rule)s"),
    DueRule.SHORTENED_TO: _("%(due)s, shortened to %(share)s%% by %(what)s"),
    DueRule.SHORTENED: _("%(due)s, shortened: %(shares)s"),
    DueRule.SHARE_OF_DAYS: _("%(days)s days at %(share)s%% by %(what)s"),
    DueRule.AND: _("%(one)s, %(other)s"),
    DueRule.ESTIMATED: _("%(due)s (%(n)s days of unknown hours estimated)"),
    DueRule.ASKED_SINCE: _("%(due)s; asked for since %(on)s"),
    DueRule.WEAR: _("wear: a sensor roller may be at its limit on %(day)s; by plan on %(plan)s"),
    "due.by_duty": _("wet or abrasive duty"),
    "due.by_season": _("season"),
    "due.by_long_day": _("long running days"),
    FixedRule.DAY: _("day %(day)s of %(every)s"),
    FixedRule.DAY_OR_LAST: _("day %(day)s (or the last) of %(every)s"),
    FixedRule.LAST_DAY: _("the last day of %(every)s"),
    FixedRule.NTH_WEEKDAY: _("the %(nth)s %(weekday)s of %(every)s"),
    FixedRule.EVERY_MONTH: _("every month"),
    FixedRule.EVERY_MONTHS: _("every %(n)s months"),
    **{f"fixed.nth_{nth}": words for nth, words in NTH_WORDS.items()},
    **{f"fixed.weekday_{day}": words for day, words in WEEKDAY_WORDS.items()},
}
WRITERS: Writers = {"a_day_h": lambda hours: f"{hours:.1f} h", "too_few_h": lambda hours: f"{hours:.2g} h"}


def due_words(reason: Reason) -> str:
    """Why a check is due on its day, or has none; it reads the same in both systems of units."""
    return sentence(reason, TEXTS, UnitSystem.METRIC, writers=WRITERS)


def undated_words(each: Undated) -> str:
    """A check for which no day can be told, and why."""
    return f"{each.installation}: {each.plan.check_kind}, {due_words(each.reason)}"
