"""Pooled comparisons in words."""

from __future__ import annotations

from collections.abc import Mapping

from django.utils.formats import number_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from plant.calc import wording
from plant.words.reasons import Texts
from reports.calc.pooled import CommonRatio, PoolRule, RandomEffects
from reports.selectors.pooled_effects import (
    WRONG_SHARE,
    FleetCount,
    Pool,
    PoolKind,
    VerdictStanding,
    standing_verdicts,
)
from reports.words.verdicts import two

# Two devices have an interval by arithmetic only; beyond this it says nothing to anybody.
FARTHEST_LIMIT = 100.0

# Why a figure of many devices is missing.
TEXTS: Texts = {
    PoolRule.NOTHING_TO_COMPARE: gettext_lazy("No device has incidents and hours to compare."),
    PoolRule.NONE_AFTER: gettext_lazy("No incident after any of them: no upper limit by this method."),
    PoolRule.NONE_BEFORE: gettext_lazy("No incident before any of them."),
    PoolRule.TOO_FEW_COMPARED: gettext_lazy(
        "Fewer than two devices have incidents and hours to compare: how much they differ cannot be told."
    ),
    PoolRule.TOO_FEW_DEVICES: gettext_lazy("Fewer than two devices: how much they differ cannot be told."),
    PoolRule.NO_NEXT_DEVICE: gettext_lazy("Fewer than three devices: no range for the next one."),
}

KIND_WORDS = {
    PoolKind.FLEET: gettext_lazy("fleet"),
    PoolKind.MODEL: gettext_lazy("model"),
    PoolKind.AREA: gettext_lazy("area"),
    PoolKind.DUTY: gettext_lazy("duty"),
}


def pool_kind(pool: Pool) -> str:
    return str(KIND_WORDS[pool.kind])


def pool_name(pool: Pool) -> str:
    """Which of its kind: all, or not stated where the belts have no duty."""
    return pool.name or (_("all") if pool.kind == PoolKind.FLEET else _("not stated"))


def limits_words(pooled: CommonRatio | RandomEffects) -> str:
    """0.43 (0.28-0.64); 0.00, no limits; none"""
    if pooled.ratio is None or pooled.ratio == float("inf"):
        return _("none")
    if pooled.low is None or pooled.high is None or pooled.high > FARTHEST_LIMIT:
        return _("%(ratio)s, no limits") % {"ratio": two(pooled.ratio)}
    return f"{two(pooled.ratio)} ({two(pooled.low)}-{two(pooled.high)})"


def basis_words(pool: Pool) -> str:
    """What the pooled answers allow for."""
    n_counts = pool.n - pool.n_shrunk - pool.n_compared
    if pool.n_shrunk == pool.n:
        return _(
            "Middle and next device are of the answers that allow for what untreated stretches did and for devices "
            "being "
            "put where it was worst; the error of trend and reference, which all share, is carried."
        )
    if n_counts == pool.n:
        return _(
            "Middle and next device are of counts alone: too few stretches without a device could tell what would have "
            "happened anyway, and chance high counts before are not taken out."
        )
    return _(
        "Middle and next device are of the answer that allows for most: %(shrunk)s comparisons allow for what "
        "untreated "
        "stretches did and for the choice of the worst places, %(compared)s for the former only, %(counts)s are counts "
        "alone."
    ) % {"shrunk": pool.n_shrunk, "compared": pool.n_compared, "counts": n_counts}


def counted_words(count: FleetCount) -> str:
    """59 comparisons of 60 devices (1 of them is judged together with another); 53 can be judged."""
    if not count.n:
        return _("No comparison yet.")
    words = ngettext("%(n)s comparison", "%(n)s comparisons", count.n) % {"n": count.n}
    of = ngettext("%(n)s device", "%(n)s devices", count.n_devices) % {"n": count.n_devices}
    together = ""
    if count.n_devices > count.n:
        together = _("; devices fitted together are judged as one")
    elif count.n_devices < count.n:
        together = _("; a device that was moved is judged at each of its places")
    judged = (
        _("all can be judged")
        if count.n_judged == count.n
        else _("%(n)s can be judged") % {"n": count.n_judged if count.n_judged else _("none")}
    )
    return _("%(comparisons)s of %(devices)s%(together)s; %(judged)s.") % {
        "comparisons": words,
        "devices": of,
        "together": together,
        "judged": judged,
    }


def next_words(effects: RandomEffects) -> str:
    """0.20-0.95; too few"""
    if effects.next_low is None or effects.next_high is None:
        return _("too few to say")
    if effects.next_high > FARTHEST_LIMIT:
        return _("too wide to say")
    return f"{two(effects.next_low)}-{two(effects.next_high)}"


def differ_words(effects: RandomEffects) -> str:
    """tau 0.30, I² 45 %, p 0.0812"""
    if effects.tau is None or effects.i_squared is None or effects.p_heterogeneity is None:
        return _("too few to say")
    return _("tau %(tau)s, I² %(share).0f %%, %(p)s") % {
        "tau": two(effects.tau),
        "share": 100.0 * effects.i_squared,
        "p": wording.p_words(effects.p_heterogeneity),
    }


def p_words(p: float | None) -> str:
    """p 0.0030; empty where there is none"""
    return "" if p is None else wording.p_words(p)


def chance_words(count: FleetCount) -> str:
    """How many verdicts chance alone would bring; empty where no counts could have told."""
    if not count.n_telling:
        return ""
    if not count.n_promised:
        return _(
            "How many verdicts of fewer or more chance alone would bring is not promised: too few stretches without a "
            "device tell what would have happened anyway."
        )
    words = ngettext(
        "If no device changed anything, chance alone would still bring a verdict of fewer or more with a likelihood of "
        "up to %(share)s %% for the %(n)s comparison whose counts could have told one.",
        "If no device changed anything, chance alone would still bring a verdict of fewer or more for up to "
        "%(share)s %% of the %(n)s comparisons whose counts could have told one: about %(wrong)s.",
        count.n_promised,
    ) % {
        "share": number_format(100 * WRONG_SHARE, 0),
        "n": count.n_promised,
        "wrong": number_format(round(count.n_by_chance, 1), 1),
    }
    if count.n_early:
        early = _("For %(n)s of those whose counts could tell it is too early yet.") % {"n": count.n_early}
        words = f"{words} {early}"
    if count.n_promised == count.n_telling:
        return words
    more = _("For %(n)s more nothing is promised.") % {"n": count.n_telling - count.n_promised}
    return f"{words} {more}"


def standing_words(standings: Mapping[int, VerdictStanding]) -> str:
    """How many verdicts stand among so many; empty where no verdict says fewer or more."""
    named, standing = standing_verdicts(standings)
    if not named:
        return ""
    return _(
        "Verdicts of fewer or more that stand when at most 5 %% of those named may be wrong on average: "
        "%(standing)s of %(named)s (Benjamini and Hochberg, on p-values widened where incidents come in bad spells)."
    ) % {"named": named, "standing": standing}
