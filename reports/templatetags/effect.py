"""Comparisons in words: the sentence of the verdict, its mark, intervals, hours."""

from __future__ import annotations

import math

from django import template
from django.utils.formats import number_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from plant.calc.units import QuantityKind, UnitSystem, format_quantity
from plant.templatetags.quantities import mark
from reports.calc.empirical_bayes import EffectIndex
from reports.calc.rate_ratio import Judgement, Rate, RateRatio, Verdict
from reports.calc.smallest_change import SmallestChange
from reports.selectors import Bar, Side, Study

register = template.Library()

MARK_OF = {
    Verdict.FEWER: "fewer",
    Verdict.MORE: "more",
    Verdict.NO_CLEAR_CHANGE: "flat",
    Verdict.CHANGES_LITTLE: "little",
    Verdict.TOO_EARLY: "early",
    Verdict.CANNOT_BE_JUDGED: "unjudged",
}
VERDICT_WORDS = {
    Verdict.FEWER: gettext_lazy("fewer incidents"),
    Verdict.MORE: gettext_lazy("more incidents"),
    Verdict.NO_CLEAR_CHANGE: gettext_lazy("no clear change"),
    Verdict.CHANGES_LITTLE: gettext_lazy("shown to change little"),
    Verdict.TOO_EARLY: gettext_lazy("too early to tell"),
    Verdict.CANNOT_BE_JUDGED: gettext_lazy("cannot be judged"),
}


@register.filter
def run_hours(hours: float) -> str:
    """4800.3 -> 4,800 h"""
    return format_quantity(hours, QuantityKind.HOURS, UnitSystem.METRIC, digits=0)


@register.filter
def in_hours(side) -> str:
    """29 in 4,800 h"""
    return _("%(n)s in %(hours)s") % {"n": side.n, "hours": run_hours(side.hours)}


def two(value: float) -> str:
    # number_format cuts further digits off where it should round them.
    return number_format(round(value, 2), 2)


def one(value: float) -> str:
    return number_format(round(value, 1), 1)


def q_words(q: float) -> str:
    """0.003; below 0.001; 0.42"""
    if q < 0.001:
        return _("below %(least)s") % {"least": number_format(0.001, 3)}
    return number_format(round(q, 3), 3) if q < 0.1 else two(q)


@register.filter
def ratio_words(ratio: RateRatio) -> str:
    """0.21 (0.07-0.52); at least 0.30; none"""
    if ratio.ratio is None or ratio.low is None or ratio.high is None:
        return _("none")
    if math.isinf(ratio.high):
        return _("at least %(low)s") % {"low": two(ratio.low)}
    return f"{two(ratio.ratio)} ({two(ratio.low)}-{two(ratio.high)})"


@register.filter
def index_words(index: EffectIndex | None) -> str:
    """0.24 (0.09-0.53); none"""
    return _("none") if index is None else f"{two(index.ratio)} ({two(index.low)}-{two(index.high)})"


@register.filter
def judged_mark(judgement: Judgement) -> str:
    return mark(MARK_OF[judgement.verdict], str(VERDICT_WORDS[judgement.verdict]))


@register.filter
def rate_words(rate: Rate) -> str:
    """6.0 (4.0-8.7); no rate"""
    if rate.per_1000_h is None or rate.low is None or rate.high is None:
        return _("no rate")
    return f"{one(rate.per_1000_h)} ({one(rate.low)}-{one(rate.high)})"


@register.filter
def bar_rate(bar: Bar) -> str:
    """7.5 (1.5-21.8); no rate"""
    if bar.per_1000_h is None or bar.low is None or bar.high is None:
        return _("no rate")
    return f"{one(bar.per_1000_h)} ({one(bar.low)}-{one(bar.high)})"


@register.filter
def sides(study: Study) -> list[tuple[str, Side]]:
    return [(_("Before"), study.before), (_("After"), study.after)]


@register.filter
def place_of(study: Study) -> str:
    """S-12 return, device 20"""
    numbers = " + ".join(each.device.number for each in study.members)
    strand = {"carry": _("carry"), "return": _("return")}[study.installation.strand]
    noun = _("devices") if len(study.members) > 1 else _("device")
    return f"{study.conveyor.tag} {strand}, {noun} {numbers}"


@register.filter
def verdict_words(study: Study) -> str:
    """too early: 1,900 h more"""
    needed = study.judgement.hours_needed
    if study.verdict != Verdict.TOO_EARLY:
        return str(VERDICT_WORDS[study.verdict])
    if study.is_closed:
        return _("too early, and its window is closed")
    if needed is None:
        return str(VERDICT_WORDS[study.verdict])
    if study.after.n == 0:
        return _("too early: %(hours)s free needed") % {"hours": run_hours(needed)}
    return _("too early: %(hours)s more") % {"hours": run_hours(needed)}


@register.filter
def verdict_mark(study: Study) -> str:
    return mark(MARK_OF[study.verdict], verdict_words(study))


@register.filter
def smallest_words(smallest: SmallestChange) -> str:
    """What would have been seen in eight of ten cases, and so what may have been missed."""
    n_of_ten = f"{10 * smallest.power:g}"
    known = {"n": n_of_ten, "fall": "", "rise": ""}
    if smallest.fall is not None:
        known["fall"] = two(smallest.fall)
    if smallest.rise is not None:
        known["rise"] = two(smallest.rise)
    if smallest.fall is None and smallest.rise is None:
        return _("With these incidents before and these hours no change could be seen.")
    if smallest.fall is None:
        return (
            _(
                "Smallest change that could be seen in %(n)s of 10 cases: a rise to %(rise)s of the rate before. No "
                "fall could: not even no incident at all would be called fewer yet."
            )
            % known
        )
    if smallest.rise is None:
        return (
            _("Smallest change that could be seen in %(n)s of 10 cases: a fall to %(fall)s of the rate before.") % known
        )
    return (
        _(
            "Smallest change that could be seen in %(n)s of 10 cases: a fall to %(fall)s of the rate before, or a "
            "rise to %(rise)s of it. Anything between may be there and go unseen."
        )
        % known
    )


@register.filter
def study_sentence(study: Study) -> str:
    """S-12 return, device 20: 29 in 4,800 h before, 6 in 4,700 h after. Ratio 0.21 (0.07-0.52). Fewer incidents."""
    counted = _("%(place)s: %(before)s before, %(after)s after.") % {
        "place": place_of(study),
        "before": in_hours(study.before),
        "after": in_hours(study.after),
    }
    words = verdict_words(study)
    verdict = f"{words[0].upper()}{words[1:]}."
    if study.ratio.ratio is None:
        return f"{counted} {verdict}"
    return f"{counted} {_('Ratio')} {ratio_words(study.ratio)}. {verdict}"
