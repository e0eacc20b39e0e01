"""Comparisons pooled by model, area and duty, and how many verdicts stand when many are reached at once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from django.utils.translation import gettext as _

from reports.calc.many_verdicts import p_of_limits, q_values, widened_p_many
from reports.calc.pooled import CommonRatio, RandomEffects, common_ratio, random_effects
from reports.calc.rate_ratio import Verdict
from reports.selectors import Study

WRONG_SHARE = 0.05


def is_judged(study: Study) -> bool:
    return study.verdict != Verdict.CANNOT_BE_JUDGED


def dispersion_of(study: Study) -> float:
    """By what counts and hours are divided where incidents come in bad spells; else 1."""
    return study.answers.spells.widening if study.answers is not None else 1.0


# --- many verdicts at once --------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class Standing:
    """One comparison among all that were judged: its p-value, widened for bad spells, and the share of wrong verdicts.

    `stands` is asked of verdicts that say fewer or more only.
    """

    p: float
    q: float
    dispersion: float
    is_named: bool

    @property
    def stands(self) -> bool | None:
        return self.q <= WRONG_SHARE if self.is_named else None


def standings_of(studies: Iterable[Study]) -> dict[int, Standing]:
    """By the pk of the first installation of each comparison that can be judged and has an incident on a side."""
    judged = [each for each in studies if is_judged(each) and each.ratio.p_central is not None]
    if not judged:
        return {}
    counts = [(each.before.n, each.before.hours, each.after.n, each.after.hours) for each in judged]
    over = [dispersion_of(each) for each in judged]
    p = widened_p_many(*(list(column) for column in zip(*counts, strict=True)), over)
    named = [each.verdict in (Verdict.FEWER, Verdict.MORE) for each in judged]
    rows = zip(judged, p.tolist(), q_values(p).tolist(), over, named, strict=True)
    return {each.installation.pk: Standing(*numbers) for each, *numbers in rows}


def standing_verdicts(standings: Mapping[int, Standing]) -> tuple[int, int]:
    """How many verdicts say fewer or more, and how many of them stand if at most 5 % of those named may be wrong."""
    named = [each for each in standings.values() if each.is_named]
    return len(named), sum(bool(each.stands) for each in named)


def standing_words(standings: Mapping[int, Standing]) -> str:
    """The same as a sentence; empty where no verdict says fewer or more."""
    named, standing = standing_verdicts(standings)
    if not named:
        return ""
    return _(
        "Verdicts of fewer or more that stand when at most 5 %% of those named may be wrong on average: "
        "%(standing)s of %(named)s (Benjamini and Hochberg, on p-values widened where incidents come in bad spells)."
    ) % {"named": named, "standing": standing}


# --- pooled -----------------------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class Pool:
    """Comparisons of one kind together; those that ended and those that did harm are in."""

    kind: str
    name: str
    n: int
    n_ended: int
    common: CommonRatio
    effects: RandomEffects
    p_common: float | None
    p_middle: float | None
    n_widened: int  # comparisons whose counts were divided because their incidents come in bad spells


def pools_of(studies: Iterable[Study]) -> list[Pool]:
    """The fleet, then each model, area and duty; only comparisons that can be judged."""
    judged = [each for each in studies if is_judged(each)]
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
    over = [dispersion_of(each) for each in studies]
    counts = [(each.before.n, each.before.hours, each.after.n, each.after.hours) for each in studies]
    divided = [[value / d for value in row] for row, d in zip(counts, over, strict=True)]
    n0, t0, n1, t1 = (list(column) for column in zip(*divided, strict=True))
    common = common_ratio(n0, t0, n1, t1)
    # Told are the counts as they were; the ratio and its limits are of the divided ones.
    told = [sum(column) for column in zip(*counts, strict=True)]
    common = replace(common, n_before=told[0], hours_before=told[1], n_after=told[2], hours_after=told[3])
    effects = random_effects(n0, t0, n1, t1)
    return Pool(
        kind=kind,
        name=name,
        n=len(studies),
        n_ended=sum(all(one.removed_at is not None for one in each.members) for each in studies),
        common=common,
        effects=effects,
        p_common=p_of(common),
        p_middle=p_of(effects, df=effects.n_strata - 1),
        n_widened=sum(d > 1 for d in over),
    )


def p_of(pooled: CommonRatio | RandomEffects, df: float | None = None) -> float | None:
    if pooled.ratio is None or not pooled.low or pooled.high is None:
        return None
    return p_of_limits(pooled.ratio, pooled.low, pooled.high, df=df, level=pooled.level)
