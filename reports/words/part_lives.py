"""Spares in words."""

from __future__ import annotations

import math

from django.utils.formats import number_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from inspections.selectors.wear import LEAST_COVERAGE, RECENT_DAYS
from inspections.words.part_ends import end_words
from plant.calc.reasons import Reason
from plant.calc.units import UnitSystem
from plant.words.reasons import Texts, Writers, sentence, sentences
from reports.calc.life import LifeRule, WeibullLife
from reports.selectors.part_lives import Life, LifeLeftOut, Spares, Unknown
from reports.words.verdicts import one, run_hours

TEXTS: Texts = {
    LifeRule.TOO_FEW_FAILURES: gettext_lazy(
        "%(n_failed)d of %(n_parts)d parts failed so far, in %(all_h)s running hours of all: from %(n_enough)d "
        "failures at different ages on a life can be told."
    ),
    LifeRule.WEAR_OUT: gettext_lazy("Older parts fail more often: wear-out is shown."),
    LifeRule.EARLY_FAILURE: gettext_lazy("Young parts fail more often: look at fitting and at the parts themselves."),
    LifeRule.NEITHER: gettext_lazy("Neither wear-out nor early failure is shown: the interval of the shape holds 1."),
    LifeRule.BEYOND_THE_OLDEST: gettext_lazy(
        "No part is older than %(oldest_h)s; what lies beyond is drawn on from there, not seen."
    ),
    LifeRule.NO_WEAR_OUT: gettext_lazy("No wear-out (shape 1 or below): an older part is no worse."),
    LifeRule.FAILURE_COSTS_NO_MORE: gettext_lazy("A failure costs no more than a planned change: wait for it."),
    LifeRule.WEAR_OUT_TOO_WEAK: gettext_lazy("Wear-out is too weak for these costs: wait for the failure."),
    LifeRule.CHANGE_IS_CHEAPER: gettext_lazy("Wear-out makes a planned change cheaper than waiting."),
}
WRITERS: Writers = {"all_h": "{:,.0f}".format, "oldest_h": "{:.0f} h".format}


def fit_words(fit: WeibullLife) -> str:
    """What the ages of a group's parts say."""
    return sentences(fit.reasons, TEXTS, UnitSystem.METRIC, writers=WRITERS)


def advice_words(reason: Reason) -> str:
    """Why a part is to be changed at an age, or at none."""
    return sentence(reason, TEXTS, UnitSystem.METRIC)


def how_words(life: Life) -> str:
    """How a life ended: as its change was written, or that it did not."""
    if life.how:
        return end_words(life.how)
    return _("in service") if life.is_in_service else _("removed with the device")


def lives_words(n: int, failed: int) -> str:
    """10 lives, 8 of them ended by a failure; the others were changed while sound, removed or are in service."""
    if not n:
        return _("No life is in the book yet.")
    words = ngettext("%(n)s life", "%(n)s lives", n) % {"n": n}
    if failed == n:
        return ngettext("%(words)s, ended by a failure.", "%(words)s, all ended by a failure.", n) % {"words": words}
    if not failed:
        return ngettext(
            "%(words)s, not ended by a failure: the part was changed while sound, removed with its device or is in "
            "service.",
            "%(words)s, none of them ended by a failure: the parts were changed while sound, removed with their device "
            "or are in service.",
            n,
        ) % {"words": words}
    rest = ngettext(
        "the other was changed while sound, removed with its device or is in service",
        "the others were changed while sound, removed with their device or are in service",
        n - failed,
    )
    return _("%(words)s, %(failed)s of them ended by a failure; %(rest)s.") % {
        "words": words,
        "failed": failed,
        "rest": rest,
    }


def whole(value: float) -> str:
    return number_format(round(value), 0)


def share_known(value: float) -> str:
    """Rounded down, so that what is short of a bound never reads as if it reached it."""
    return number_format(math.floor(100.0 * value), 0)


def why_words(each: LifeLeftOut) -> str:
    """Why the running hours of a part are not known."""
    if each.why == Unknown.FEW_HOURS:
        return _("the book has running hours for %(share)s %% of its life, %(least)s %% are needed") % {
            "share": share_known(each.life.coverage),
            "least": number_format(100.0 * LEAST_COVERAGE, 0),
        }
    return {
        Unknown.NO_TIME: _("its life ends at the moment at which it began"),
        Unknown.STOOD: _("the belt stood still all its life, as far as the book has running hours"),
        Unknown.OF_LATE: _("too few running hours of its belt's last %(n)s days are known, or it stood still")
        % {"n": RECENT_DAYS},
    }[each.why]


def missing_from(each: LifeLeftOut) -> str:
    """What is worked out without it."""
    if each.of_lives and each.of_spares:
        return _("life and spares")
    return _("life") if each.of_lives else _("spares")


def total_words(total: float) -> str:
    """How many spares to expect in twelve months: a whole number, and where that would be 0 what it comes to."""
    if total == 0:
        return _("No spare is to be expected in the next twelve months.")
    if round(total) == 0:
        few = _("less than 0.1") if total < 0.05 else one(total)
        return _(
            "Less than one spare is to be expected in the next twelve months (%(few)s), for failures and for parts "
            "changed while sound."
        ) % {"few": few}
    words = ngettext(
        "About %(n)s spare is to be expected in the next twelve months, for failures and for parts changed while "
        "sound.",
        "About %(n)s spares are to be expected in the next twelve months, for failures and for parts changed "
        "while sound.",
        round(total),
    )
    return words % {"n": whole(total)}


def spare_words(spares: Spares) -> str:
    """12.3 (8 to 17) for failures; 3.2 (1 to 7) for parts changed while sound, if that goes on as so far."""
    if spares.n_in_service == 0:
        return _("0: none is in service")
    if spares.n_unknown_speed == spares.n_in_service:
        return _("not known: of every part in service the running hours, or those of its belt of late, are not known")
    parts = [failure_words(spares), change_words(spares)]
    if spares.n_unknown_speed:
        left_out = ngettext(
            "without %(n)s of %(all)s part in service: its running hours, or its belt's of late, are not known",
            "without %(n)s of %(all)s parts in service: their running hours, or their belts' of late, are not known",
            spares.n_in_service,
        )
        parts.append(left_out % {"n": spares.n_unknown_speed, "all": spares.n_in_service})
    return "; ".join(each for each in parts if each)


def failure_words(spares: Spares) -> str:
    if spares.failures is None:
        return ""
    known = {
        "n": one(spares.failures.until_expected),
        "low": whole(spares.failures.until_low),
        "high": whole(spares.failures.until_high),
    }
    return _("%(n)s (%(low)s to %(high)s) for failures, every failed part replaced by a new one at once") % known


def change_words(spares: Spares) -> str:
    """Parts changed while sound beside a fitted life; without one all changes, or that nothing is known."""
    changes, is_fitted = spares.changes, spares.failures is not None
    if changes is None:
        return "" if is_fitted else _("not known: no life with known running hours")
    if changes.expected is None or changes.low is None or changes.high is None:
        if is_fitted:
            return _("none was changed while sound so far")
        return _("not known: none was changed in %(hours)s of all parts so far; at most %(most)s (one-sided 95 %%)") % {
            "hours": run_hours(changes.hours),
            "most": whole(changes.most),
        }
    known = {
        "n": one(changes.expected),
        "low": whole(changes.low),
        "high": whole(changes.high),
        "changed": changes.n,
        "hours": run_hours(changes.hours),
    }
    if is_fitted:
        return (
            _(
                "%(n)s (%(low)s to %(high)s) for parts changed while sound, if that goes on: %(changed)s in "
                "%(hours)s so far"
            )
            % known
        )
    return (
        _("%(n)s (%(low)s to %(high)s), if they go on being changed as so far: %(changed)s in %(hours)s of all parts")
        % known
    )
