"""What findings say of an interval, and what a year under another plan is shortened by."""

from __future__ import annotations

from collections.abc import Iterable

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inspections.calc.intervals import CurveRule
from inspections.selectors.plan_advice import Advice
from inspections.words.due_dates import TEXTS as DUE
from plant.calc.units import UnitSystem
from plant.calc.wording import figure
from plant.words.reasons import Texts, sentences

TEXTS: Texts = {
    CurveRule.TOO_FEW_CHECKS: gettext_lazy(
        "Only %(n)s checks are in the book; %(least)s are needed before anything can be said."
    ),
    CurveRule.GROWS: gettext_lazy("The chance of a further day grows with the age (shape %(shape)s)."),
    CurveRule.SAME_CHANCE: gettext_lazy(
        "A further day is taken to bring the same chance at every age: the findings show nothing else."
    ),
    CurveRule.NO_ACT: gettext_lazy("No check found act: only a least scale can be told."),
    CurveRule.ALL_ACT: gettext_lazy(
        "Every check found act: the interval is too long, and how much too long cannot be told."
    ),
    CurveRule.NONE_LATER: gettext_lazy(
        "No check came later than %(days)s days after the one before: longer intervals are beyond what was seen."
    ),
}
# By the rule of the advice; too few of them all without act has a sentence of its own.
SAYS: Texts = {
    "no_interval": gettext_lazy("The plan has no interval in days to be judged."),
    "too_few": gettext_lazy("Too few findings to tell: at %(days)s days it may be above %(risk)s %% or below."),
    "no_reason_to_shorten": gettext_lazy("At %(days)s days it is surely not above %(risk)s %%: no reason to shorten."),
    "too_long": gettext_lazy("At %(days)s days it is surely above %(risk)s %%: the interval is too long."),
    "may_be_longer": gettext_lazy("At %(days)s days it is surely below %(risk)s %%: the interval may be longer."),
    "holds": gettext_lazy("At %(days)s days it is surely below %(risk)s %%, and no longer time was seen: it holds."),
}
NONE_AT_ACT = gettext_lazy(
    "Too few checks to tell whether that is below %(risk)s %%: about %(n)s without act would tell. That none found act"
    " is no reason to shorten."
)


def curve_words(advice: Advice) -> str:
    """How the curve of findings is to be taken, or why there is none."""
    return sentences(advice.reasons, TEXTS, UnitSystem.METRIC, writers={"shape": lambda shape: f"{shape:.1f}"})


def says_words(advice: Advice) -> str:
    """What the page says of the interval as it is."""
    says = advice.says
    if says is None:
        return ""
    at = {"risk": figure(advice.risk * 100), "days": round(advice.present_d or 0), "n": says.n_needed}
    return str(NONE_AT_ACT if says.rule == "too_few" and says.n_needed else SAYS[says.rule]) % at


def change_words(advice: Advice) -> str:
    """Why the plan is changed, as its history will say it."""
    if advice.curve is None:
        return ""
    words = _("Findings: %(act)s of %(n)s checks at act (%(duty)s); at most %(risk)s %% wanted") % {
        "act": advice.curve.n_act,
        "n": advice.curve.n_checks,
        "duty": advice.duty.label,
        "risk": figure(advice.risk * 100),
    }
    return words[:100]


def shortened_words(counts: Iterable[tuple[str, int]]) -> str:
    """What shortened the next interval, and at how many devices: "season: 12"."""
    return ", ".join(f"{DUE[f'due.by_{name}']}: {n}" for name, n in counts)
