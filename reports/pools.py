"""Comparisons pooled by model, area and duty, and how many verdicts stand when many are reached at once."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from reports.calc.pooled import CommonRatio, RandomEffects, common_ratio, discoveries, random_effects
from reports.calc.rate_ratio import Verdict
from reports.selectors import Study

WRONG_SHARE = 0.05


@dataclass(frozen=True)
class Pool:
    """Comparisons of one kind together; those that ended and those that did harm are in."""

    kind: str
    name: str
    n: int
    n_ended: int
    common: CommonRatio
    effects: RandomEffects


def pools_of(studies: Iterable[Study]) -> list[Pool]:
    """The fleet, then each model, area and duty; only comparisons that can be judged."""
    judged = [each for each in studies if each.verdict != Verdict.CANNOT_BE_JUDGED]
    if not judged:
        return []
    groups: dict[tuple[str, str], list[Study]] = {(_("fleet"), _("all")): judged}
    for each in judged:
        models = sorted({one.device.device_model.name for one in each.members})
        for kind, name in (
            (_("model"), " + ".join(models)),
            (_("area"), str(each.conveyor.area)),
            (_("duty"), str(each.conveyor.get_duty_display()) or _("not stated")),
        ):
            groups.setdefault((kind, name), []).append(each)
    order = [_("fleet"), _("model"), _("area"), _("duty")]
    keys = sorted(groups, key=lambda key: (order.index(key[0]), key[1]))
    return [pool_of(kind, name, groups[kind, name]) for kind, name in keys]


def pool_of(kind: str, name: str, studies: Sequence[Study]) -> Pool:
    counts = [(each.before.n, each.before.hours, each.after.n, each.after.hours) for each in studies]
    n0, t0, n1, t1 = (list(column) for column in zip(*counts, strict=True))
    ended = sum(all(one.removed_at is not None for one in each.members) for each in studies)
    return Pool(kind, name, len(studies), ended, common_ratio(n0, t0, n1, t1), random_effects(n0, t0, n1, t1))


def standing_verdicts(studies: Iterable[Study]) -> tuple[int, int]:
    """How many verdicts say fewer or more, and how many of them stand if at most 5 % of those named may be wrong.

    Taken are the central p-values of all comparisons that can be judged, as counted.
    """
    judged = [each for each in studies if each.verdict != Verdict.CANNOT_BE_JUDGED and each.ratio.p_central is not None]
    found = discoveries([each.ratio.p_central for each in judged], share=WRONG_SHARE)
    named = [each.verdict in (Verdict.FEWER, Verdict.MORE) for each in judged]
    return sum(named), sum(bool(holds) and is_named for holds, is_named in zip(found, named, strict=True))


def standing_words(studies: Iterable[Study]) -> str:
    """The same as a sentence; empty where no verdict says fewer or more."""
    named, standing = standing_verdicts(studies)
    if not named:
        return ""
    return ngettext(
        "Of %(named)s verdict of fewer or more, %(standing)s stands when at most 5 %% of those named may be wrong on "
        "average (Benjamini and Hochberg, on the counts' p-values).",
        "Of %(named)s verdicts of fewer or more, %(standing)s stand when at most 5 %% of those named may be wrong on "
        "average (Benjamini and Hochberg, on the counts' p-values).",
        named,
    ) % {"named": named, "standing": standing}
