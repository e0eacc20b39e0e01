"""Comparisons in words: the sentence of the verdict, its mark, intervals, hours."""

from __future__ import annotations

import datetime as dt
import math
from typing import Any

from django.utils import timezone
from django.utils.formats import date_format, number_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from inspections.selectors.tasks import CheckState
from plant.calc.rates import Rate, RateRatio
from plant.calc.reasons import Reason
from plant.calc.units import QuantityKind, UnitSystem, format_quantity
from plant.words import rates
from plant.words.marks import mark
from plant.words.reasons import Texts, Writers, sentence
from reports.calc.empirical_bayes import EffectIndex
from reports.calc.smallest_change import SmallestChange
from reports.calc.verdicts import EffectVerdict, Judgement, VerdictRule, digits_beside_one
from reports.selectors.incidents_by_month import MonthBar
from reports.selectors.rate_watch import Fading, FleetWatch, WatchSummary
from reports.selectors.rates import RateComparison
from reports.selectors.studies import Study, StudySide

MARK_OF = {
    EffectVerdict.FEWER: "fewer",
    EffectVerdict.MORE: "more",
    EffectVerdict.NO_CLEAR_CHANGE: "flat",
    EffectVerdict.CHANGES_LITTLE: "little",
    EffectVerdict.TOO_FEW: "few",
    EffectVerdict.TOO_EARLY: "early",
    EffectVerdict.CANNOT_BE_JUDGED: "unjudged",
}
# With it a name is found again in the rows of a month that was frozen.
WINDOWS_SET_BY = gettext_lazy("windows set by %(who)s on %(day)s")
VERDICT_WORDS = {
    EffectVerdict.FEWER: gettext_lazy("fewer incidents"),
    EffectVerdict.MORE: gettext_lazy("more incidents"),
    EffectVerdict.NO_CLEAR_CHANGE: gettext_lazy("no clear change"),
    EffectVerdict.CHANGES_LITTLE: gettext_lazy("shown to change little"),
    EffectVerdict.TOO_FEW: gettext_lazy("too few incidents to tell"),
    EffectVerdict.TOO_EARLY: gettext_lazy("too early to tell"),
    EffectVerdict.CANNOT_BE_JUDGED: gettext_lazy("cannot be judged"),
}

TEXTS: Texts = {
    **rates.TEXTS,
    VerdictRule.NO_DETECTOR: gettext_lazy(
        "No switch and no logged station stands in the effect zone: incidents there may go unseen."
    ),
    VerdictRule.HOURS_UNKNOWN_BEFORE: gettext_lazy(
        "Running hours are known for %(known_pct)s of the period before; %(least_pct)s are needed."
    ),
    VerdictRule.HOURS_UNKNOWN_AFTER: gettext_lazy(
        "Running hours are known for %(known_pct)s of the period after; %(least_pct)s are needed."
    ),
    VerdictRule.NO_HOURS_BEFORE: gettext_lazy("There are no running hours before to compare with."),
    VerdictRule.COUNTED: gettext_lazy("%(before)s in %(before_h)s before, %(n_after)d in %(after_h)s after."),
    VerdictRule.RATIO: gettext_lazy("Ratio %(ratio)s (%(low)s to %(high)s)."),
    VerdictRule.RATIO_WITHOUT_LIMIT: gettext_lazy("Ratio at least %(low)s; none before, so it has no upper limit."),
    VerdictRule.BAD_SPELLS: gettext_lazy(
        "Incidents come in bad spells (%(pairs)d close pairs where chance brings %(expected_pairs)s; "
        "%(bad_days_before)d and %(bad_days_after)d bad days before and after), so the interval is widened by a "
        "dispersion of %(dispersion)s: %(low)s to %(high)s."
    ),
    VerdictRule.SHRUNK: gettext_lazy(
        "After allowing for devices being put where it was worst, and for what untreated stretches did: %(ratio)s "
        "(%(low)s to %(high)s)."
    ),
    VerdictRule.COMPARED: gettext_lazy(
        "After allowing for what untreated stretches did: %(ratio)s (%(low)s to %(high)s); not for devices being put "
        "where it was worst."
    ),
    VerdictRule.ALONE: gettext_lazy(
        "These are counts alone: neither devices being put where it was worst nor what happened elsewhere meanwhile "
        "is allowed for."
    ),
    VerdictRule.ALL_BELOW_1: gettext_lazy("The whole %(level_pct)s interval lies below 1."),
    VerdictRule.ALL_ABOVE_1: gettext_lazy("The whole %(level_pct)s interval lies above 1."),
    VerdictRule.INCLUDES_1: gettext_lazy("The %(level_pct)s interval includes 1."),
    VerdictRule.WITHIN_MARGIN: gettext_lazy(
        "The whole %(level_pct)s interval lies between %(margin_low)s and %(margin_high)s."
    ),
    VerdictRule.LIMIT_BELOW_1: gettext_lazy(
        "With these allowances the one-sided %(level_pct)s limit, which decides beside it, is %(limit)s: below 1."
    ),
    VerdictRule.LIMIT_NOT_BELOW_1: gettext_lazy(
        "With these allowances the one-sided %(level_pct)s limit, which decides beside it, is %(limit)s: not below 1."
    ),
    VerdictRule.LIMIT_ABOVE_1: gettext_lazy(
        "With these allowances the one-sided %(level_pct)s limit, which decides beside it, is %(limit)s: above 1."
    ),
    VerdictRule.LIMIT_NOT_ABOVE_1: gettext_lazy(
        "With these allowances the one-sided %(level_pct)s limit, which decides beside it, is %(limit)s: not above 1."
    ),
    VerdictRule.EXPLAINED_OTHERWISE: gettext_lazy(
        "The counts alone leave out 1; what chance and the untreated stretches explain does not."
    ),
    VerdictRule.EXPLAINED_BY_SPELLS: gettext_lazy(
        "The exact interval leaves out 1, the one widened for bad spells does not."
    ),
    VerdictRule.TOO_FEW_HOURS_AFTER: gettext_lazy(
        "%(after_h)s after are fewer than the %(least_h)s that the rule asks for."
    ),
    VerdictRule.NONE_BEFORE: gettext_lazy("Without an incident before none can have become fewer."),
    VerdictRule.TOO_FEW_BEFORE: gettext_lazy(
        "Even with none in the %(after_h)s after, %(before)s before would have been too few to say that they became "
        "fewer."
    ),
    VerdictRule.NO_TIME_CAN_BE_STATED: gettext_lazy(
        "Without an incident on either side no running time can be stated."
    ),
    VerdictRule.MORE_HOURS_HARDLY_TELL: gettext_lazy("At the present rates more running would hardly ever tell."),
    VerdictRule.HOURS_WITHOUT_INCIDENT_NEEDED: gettext_lazy(
        "About %(needed_h)s more, free of incidents, are needed before that means fewer."
    ),
    VerdictRule.HOURS_NEEDED: gettext_lazy("At the present rate about %(needed_h)s more are needed."),
}


def whole_hours(hours: float) -> str:
    """4800 h: as a reason of a verdict writes hours."""
    return f"{hours:.0f} h"


def two_digits(value: float) -> str:
    return f"{value:.2f}"


WRITERS: Writers = {
    **dict.fromkeys(("before_h", "after_h", "least_h", "needed_h"), whole_hours),
    **dict.fromkeys(("ratio", "low", "high"), two_digits),
    **dict.fromkeys(("expected_pairs", "dispersion"), "{:.1f}".format),
    "limit": lambda limit: f"{limit:.{digits_beside_one(limit)}f}",
}


def reason_words(reason: Reason) -> str:
    """One reason of a verdict. There is no unit in it that a person chooses."""
    return sentence(reason, TEXTS, UnitSystem.METRIC, writers=WRITERS)


def reasons_words(judgement: Judgement) -> str:
    """All reasons of a verdict, one after the other."""
    return " ".join(reason_words(each) for each in judgement.reasons)


def run_hours(hours: float) -> str:
    """4800.3 -> 4,800 h"""
    return format_quantity(hours, QuantityKind.HOURS, UnitSystem.METRIC, digits=0)


def in_hours(side: Any) -> str:
    """29 in 4,800 h"""
    return _("%(n)s in %(hours)s") % {"n": side.n, "hours": run_hours(side.hours)}


def two(value: float) -> str:
    # number_format cuts further digits off where it should round them.
    return number_format(round(value, 2), 2)


def beside_one(value: float) -> str:
    """Two digits, and as many more as it takes to see on which side of 1 it lies: 0.93; 0.997."""
    digits = digits_beside_one(value)
    return number_format(round(value, digits), digits)


def one(value: float) -> str:
    return number_format(round(value, 1), 1)


def q_words(q: float) -> str:
    """0.003; below 0.001; 0.42"""
    if q < 0.001:
        return _("below %(least)s") % {"least": number_format(0.001, 3)}
    return number_format(round(q, 3), 3) if q < 0.1 else two(q)


def ratio_words(ratio: RateRatio) -> str:
    """0.21 (0.07-0.52); at least 0.30; none"""
    if ratio.ratio is None or ratio.low is None or ratio.high is None:
        return _("none")
    if math.isinf(ratio.high):
        return _("at least %(low)s") % {"low": two(ratio.low)}
    return f"{two(ratio.ratio)} ({two(ratio.low)}-{two(ratio.high)})"


def index_words(index: EffectIndex | None) -> str:
    """0.24 (0.09-0.53); none"""
    return _("none") if index is None else f"{two(index.ratio)} ({two(index.low)}-{two(index.high)})"


def one_sided_words(index: EffectIndex) -> str:
    """one-sided: at least 0.06, at most 0.93"""
    return _("one-sided %(level)s %%, which decides: at least %(low)s, at most %(high)s") % {
        "level": f"{100 * index.level:g}",
        "low": beside_one(index.low_one_sided),
        "high": beside_one(index.high_one_sided),
    }


ANSWER_WORDS = {
    "fewer": gettext_lazy("fewer incidents"),
    "more": gettext_lazy("more incidents"),
    "flat": gettext_lazy("no clear change"),
    "unjudged": gettext_lazy("cannot be compared"),
}


def answer_mark(comparison: RateComparison) -> str:
    return mark(comparison.answer, str(ANSWER_WORDS[comparison.answer]))


def compared_words(comparison: RateComparison) -> str:
    """0.43 (0.23-0.77); with bad spells: 0.43 (0.11-1.40, widened: 121 close pairs of incidents, 42 by chance)"""
    limits, ratio = comparison.limits, comparison.ratio
    if limits is None or ratio.ratio is None or not comparison.spells.is_clustered or math.isinf(limits[1]):
        return ratio_words(ratio)
    return _(
        "%(ratio)s (%(low)s-%(high)s, widened because incidents come in bad spells: %(pairs)s pairs within two days of "
        "each other, %(expected)s by chance)"
    ) % {
        "ratio": two(ratio.ratio),
        "low": two(limits[0]),
        "high": two(limits[1]),
        "pairs": comparison.spells.pairs,
        "expected": number_format(round(comparison.spells.expected_pairs), 0),
    }


def judged_mark(judgement: Judgement) -> str:
    return mark(MARK_OF[judgement.verdict], str(VERDICT_WORDS[judgement.verdict]))


def rate_words(rate: Rate) -> str:
    """6.0 (4.0-8.7); no rate"""
    if rate.per_1000_h is None or rate.low is None or rate.high is None:
        return _("no rate")
    return f"{one(rate.per_1000_h)} ({one(rate.low)}-{one(rate.high)})"


def bar_rate(bar: MonthBar) -> str:
    """7.5 (1.5-21.8); no rate"""
    if bar.per_1000_h is None or bar.low is None or bar.high is None:
        return _("no rate")
    return f"{one(bar.per_1000_h)} ({one(bar.low)}-{one(bar.high)})"


def sides(study: Study) -> list[tuple[str, StudySide]]:
    return [(_("Before"), study.before), (_("After"), study.after)]


def place_of(study: Study) -> str:
    """S-12 return, device 20"""
    numbers = " + ".join(each.device.number for each in study.members)
    strand = {"carry": _("carry"), "return": _("return")}[study.installation.strand]
    noun = _("devices") if len(study.members) > 1 else _("device")
    return f"{study.conveyor.tag} {strand}, {noun} {numbers}"


def verdict_words(study: Study) -> str:
    """too early: 1,900 h more"""
    needed = study.judgement.hours_needed
    if study.verdict != EffectVerdict.TOO_EARLY:
        return str(VERDICT_WORDS[study.verdict])
    if study.is_closed:
        return _("too early, and its window is closed")
    if needed is None:
        return str(VERDICT_WORDS[study.verdict])
    if study.after.n == 0:
        return _("too early: %(hours)s free needed") % {"hours": run_hours(needed)}
    return _("too early: %(hours)s more") % {"hours": run_hours(needed)}


def verdict_mark(study: Study) -> str:
    return mark(MARK_OF[study.verdict], verdict_words(study))


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


def limit_words(study: Study) -> str:
    """at most 0.93 (one-sided 95 %), trend and choice of the worst allowed for; empty where no allowance decides."""
    answers = study.answers
    allowed = (answers.shrunk or answers.compared) if answers is not None else None
    if allowed is None or study.verdict not in (EffectVerdict.FEWER, EffectVerdict.MORE):
        return ""
    known = {"level": f"{100 * allowed.level:g}", "for": _("trend and choice of the worst places allowed for")}
    if answers is not None and answers.shrunk is None:
        known["for"] = _("trend allowed for")
    if study.verdict == EffectVerdict.FEWER:
        return _("at most %(limit)s (one-sided %(level)s %%), %(for)s") % {
            **known,
            "limit": beside_one(allowed.high_one_sided),
        }
    return _("at least %(limit)s (one-sided %(level)s %%), %(for)s") % {
        **known,
        "limit": beside_one(allowed.low_one_sided),
    }


def sound_words(study: Study) -> str:
    """What came while its parts were sound, and since; empty where none was found failed in the window after."""
    failure = study.failure
    if failure is None:
        return ""
    zone = study.conveyor.plant.zone

    def day(at: dt.datetime) -> str:
        return date_format(at.astimezone(zone).date(), "j M Y")

    part = {"pivot": _("The pivot"), "sensor_rollers": _("A sensor roller")}[failure.part]
    found = _("%(part)s was found failed on %(day)s") % {"part": part, "day": day(failure.found_at)}
    if study.sound is None or failure.sound_until is None:
        return _("%(found)s; what came while it was sound cannot be told apart.") % {"found": found}
    n = study.after.n - study.sound.after.n
    hours = study.after.hours - study.sound.after.hours
    return _(
        "%(found)s: %(sound)s until it was last found sound on %(last)s, %(since)s since. While sound: %(verdict)s."
    ) % {
        "found": found,
        "sound": in_hours(study.sound.after),
        "last": day(failure.sound_until),
        "since": _("%(n)s in %(hours)s") % {"n": n, "hours": run_hours(hours)},
        "verdict": VERDICT_WORDS[study.sound.verdict],
    }


def chosen_words(study: Study) -> str:
    """Who set the windows, and on which day; empty where the rule did."""
    if study.chosen is None:
        return ""
    day = study.chosen.created_at.astimezone(study.conveyor.plant.zone).date()
    who = study.chosen.created_by or _("somebody")
    return str(WINDOWS_SET_BY % {"who": who, "day": date_format(day, "j M Y")})


def act_words(state: CheckState) -> str:
    """pivot freedom: act on 30 Aug 2026"""
    when = state.last.closed_at if state.last is not None else None
    if when is None:
        return _("%(check)s: act") % {"check": state.check_kind}
    return _("%(check)s: act on %(day)s") % {
        "check": state.check_kind,
        "day": date_format(timezone.localtime(when), "j M Y"),
    }


def alarm_words(fading: Fading) -> str:
    """rate watch: 10 bad days in 2,563 h since 6 May 2026, at first 2 in 1,507 h"""
    since = fading.climbing_since.astimezone(fading.study.conveyor.plant.zone).date()
    return ngettext(
        "rate watch: alarm; %(n)s bad day in %(hours)s since %(day)s, at first %(first)s in %(learnt)s",
        "rate watch: alarm; %(n)s bad days in %(hours)s since %(day)s, at first %(first)s in %(learnt)s",
        fading.n_since,
    ) % {
        "n": fading.n_since,
        "hours": run_hours(fading.hours_since),
        "day": date_format(since, "j M Y"),
        "first": fading.n_learnt,
        "learnt": run_hours(fading.hours_learnt),
    }


def watch_words(watch: FleetWatch | WatchSummary) -> str:
    """How many of the comparisons under watch have an alarm, and how many chance alone would bring."""
    if not watch.n_watched:
        return _("No comparison is watched yet: each is while its devices stand, once the hours of learning are over.")
    words = ngettext(
        "%(n)s of %(all)s comparison under watch%(devices)s; by chance alone about %(chance)s would have one now.",
        "%(n)s of %(all)s comparisons under watch%(devices)s; by chance alone about %(chance)s would have one now.",
        watch.n_watched,
    )
    devices = ""
    if watch.n_devices != watch.n_watched:
        devices = _(" (%(n)s devices; devices fitted together are judged as one)") % {"n": watch.n_devices}
    return words % {
        "n": len(watch.fading),
        "all": watch.n_watched,
        "devices": devices,
        "chance": one(watch.n_by_chance),
    }


def study_sentence(study: Study) -> str:
    """S-12 return, device 20: 29 in 4,800 h before, 6 in 4,700 h after. Ratio 0.21 (0.07-0.52). Fewer incidents."""
    counted = _("%(place)s: %(before)s before, %(after)s after.") % {
        "place": place_of(study),
        "before": in_hours(study.before),
        "after": in_hours(study.after),
    }
    words = verdict_words(study)
    limit = limit_words(study)
    verdict = f"{words[0].upper()}{words[1:]}{f': {limit}' if limit else ''}."
    parts = [counted]
    if study.ratio.ratio is not None:
        parts.append(f"{_('Ratio')} {ratio_words(study.ratio)}.")
    return " ".join([*parts, verdict, sound_words(study)]).strip()
