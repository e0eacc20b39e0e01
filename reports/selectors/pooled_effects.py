"""Comparisons pooled by model, area and duty, and how many verdicts stand when many are reached at once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from reports.calc import verdicts
from reports.calc.empirical_bayes import EffectIndex, index_of_effect
from reports.calc.many_verdicts import p_of_limits, q_values, widened_p_many
from reports.calc.pooled import CommonRatio, RandomEffects, common_ratio, pool_expected, random_effects
from reports.calc.smallest_change import tells_fewer_at_best
from reports.calc.verdicts import EffectVerdict
from reports.selectors.studies import Study, devices_in

WRONG_SHARE = 0.05
NAMED = (EffectVerdict.FEWER, EffectVerdict.MORE)


def is_judged(study: Study) -> bool:
    return study.verdict != EffectVerdict.CANNOT_BE_JUDGED


@dataclass(frozen=True)
class FleetCount:
    """How many comparisons there are, of how many devices, and what can be said of them."""

    n: int
    n_devices: int
    n_judged: int
    n_telling: int  # whose counts could have told, or did; of these ...
    n_promised: int  # ... those for which the rule of the verdict makes its promise
    n_early: int = 0  # ... those for which it is too early yet

    @property
    def n_by_chance(self) -> float:
        """Verdicts of fewer or more that chance alone would bring, at most, among those for which that is promised."""
        return WRONG_SHARE * self.n_promised


def count_of(studies: Iterable[Study]) -> FleetCount:
    those = list(studies)
    return FleetCount(
        n=len(those),
        n_devices=devices_in(those),
        n_judged=sum(is_judged(each) for each in those),
        n_telling=sum(could_tell(each) for each in those),
        n_promised=sum(
            could_tell(each) and each.answers is not None and each.answers.shrunk is not None for each in those
        ),
        n_early=sum(could_tell(each) and each.verdict == EffectVerdict.TOO_EARLY for each in those),
    )


def is_telling(study: Study) -> bool:
    """With no incident after, its counts would have told fewer: known before any of them came."""
    hours = study.before.hours, study.after.hours
    return tells_fewer_at_best(study.before.n, *hours, dispersion=dispersion_of(study), level=study.rules.level)


def could_tell(study: Study) -> bool:
    """It can be judged and its counts could have told, or did: by the same rule as its verdict."""
    spells = study.answers.spells if study.answers is not None else None
    return is_judged(study) and verdicts.could_tell(study.ratio, rules=study.rules, spells=spells)


def dispersion_of(study: Study) -> float:
    """By what counts and hours are divided where incidents come in bad spells; else 1."""
    return study.answers.spells.widening if study.answers is not None else 1.0


# --- many verdicts at once --------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class VerdictStanding:
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


def standings_of(studies: Iterable[Study]) -> dict[int, VerdictStanding]:
    """By the pk of the first installation of each comparison that can be judged and has incidents enough to tell."""
    judged = [each for each in studies if is_judged(each) and each.ratio.p_central is not None]
    if not judged:
        return {}
    counts = [(each.before.n, each.before.hours, each.after.n, each.after.hours) for each in judged]
    over = [dispersion_of(each) for each in judged]
    n_before, hours_before, n_after, hours_after = (list(column) for column in zip(*counts, strict=True))
    p = widened_p_many(n_before, hours_before, n_after, hours_after, over)
    telling = np.array([is_telling(each) for each in judged])
    # Of those that could not have told a fall, a rise alone is named; it has to hold among all of them.
    q = q_values(p)
    q[telling] = q_values(p[telling])
    named = [each.verdict in NAMED for each in judged]
    rows = zip(judged, p.tolist(), q.tolist(), over, named, strict=True)
    return {each.installation.pk: VerdictStanding(*numbers) for each, *numbers in rows if could_tell(each)}


def standing_verdicts(standings: Mapping[int, VerdictStanding]) -> tuple[int, int]:
    """How many verdicts say fewer or more, and how many of them stand if at most 5 % of those named may be wrong."""
    named = [each for each in standings.values() if each.is_named]
    return len(named), sum(bool(each.stands) for each in named)


# --- pooled -----------------------------------------------------------------------------------------------------------
class PoolKind(StrEnum):
    """What comparisons are pooled by, in the order in which it is told."""

    FLEET = "fleet"
    MODEL = "model"
    AREA = "area"
    DUTY = "duty"


@dataclass(frozen=True)
class Pool:
    """Comparisons of one kind together; those that ended and those that did harm are in.

    Attributes
    ----------
    name : str
        Empty of the fleet, and of belts whose duty is not stated.
    effects : RandomEffects
        Of the answers that allow for the trend and for devices being put where it was worst, each as far as it can.
    plain : RandomEffects
        The same of the counts alone.
    common : CommonRatio
        One ratio for all, of the counts alone.
    n_shrunk, n_compared : int
        Comparisons that allow for both, and those that allow for the trend alone; the rest are counts alone.
    n_widened : int
        Comparisons whose counts were divided because their incidents come in bad spells.
    """

    kind: PoolKind
    name: str
    n: int
    n_ended: int
    effects: RandomEffects
    plain: RandomEffects
    common: CommonRatio
    p_middle: float | None
    n_widened: int
    n_shrunk: int
    n_compared: int


def pools_of(studies: Iterable[Study]) -> list[Pool]:
    """The fleet, then each model, area and duty; only comparisons that can be judged."""
    judged = [each for each in studies if is_judged(each)]
    if not judged:
        return []
    groups: dict[tuple[PoolKind, str], list[Study]] = {(PoolKind.FLEET, ""): judged}
    for each in judged:
        models = sorted({one.device.device_model.name for one in each.members})
        for kind, name in (
            (PoolKind.MODEL, " + ".join(models)),
            (PoolKind.AREA, str(each.conveyor.area)),
            (PoolKind.DUTY, str(each.conveyor.get_duty_display())),
        ):
            groups.setdefault((kind, name), []).append(each)
    order = list(PoolKind)
    # A duty that is not stated comes last.
    keys = sorted(groups, key=lambda key: (order.index(key[0]), not key[1], key[1]))
    return [pool_of(kind, name, groups[kind, name]) for kind, name in keys]


def pool_of(kind: PoolKind, name: str, studies: Sequence[Study]) -> Pool:
    over = [dispersion_of(each) for each in studies]
    counts = [(each.before.n, each.before.hours, each.after.n, each.after.hours) for each in studies]
    divided = [[value / d for value in row] for row, d in zip(counts, over, strict=True)]
    n0, t0, n1, t1 = (list(column) for column in zip(*divided, strict=True))
    common = common_ratio(n0, t0, n1, t1)
    # Told are the counts as they were; the ratio and its limits are of the divided ones.
    told = [sum(column) for column in zip(*counts, strict=True)]
    common = replace(common, n_before=told[0], hours_before=told[1], n_after=told[2], hours_after=told[3])
    indices = [index for each in studies if (index := fullest_answer(each)) is not None]
    columns = [(each.n_weighed, each.log_expected, each.own_variance, each.shared_error) for each in indices]
    effects = pool_expected(*(np.array(columns).reshape(-1, 4).T))
    return Pool(
        kind=kind,
        name=name,
        n=len(studies),
        n_ended=sum(not each.is_standing for each in studies),
        effects=effects,
        plain=random_effects(n0, t0, n1, t1),
        common=common,
        p_middle=p_of(effects, df=effects.n_strata - 1),
        n_widened=sum(d > 1 for d in over),
        n_shrunk=sum(each.answers is not None and each.answers.shrunk is not None for each in studies),
        n_compared=sum(
            each.answers is not None and each.answers.shrunk is None and each.answers.compared is not None
            for each in studies
        ),
    )


def fullest_answer(study: Study) -> EffectIndex | None:
    """The answer that allows for most: for trend and choice of the worst, for the trend, or the counts alone.

    None where a side has no hours, or counts alone have no incident: they tell nothing of a ratio.
    """
    answers = study.answers
    found = (answers.shrunk or answers.compared) if answers is not None else None
    sides = (study.before.n, study.before.hours, study.after.n, study.after.hours)
    if found is not None or sides[1] <= 0 or sides[3] <= 0 or sides[0] + sides[2] == 0:
        return found
    return index_of_effect(*sides, rate_per_h=1.0, shape=0.0, dispersion=dispersion_of(study))


def p_of(pooled: CommonRatio | RandomEffects, df: float | None = None) -> float | None:
    if pooled.ratio is None or not pooled.low or pooled.high is None:
        return None
    return p_of_limits(pooled.ratio, pooled.low, pooled.high, df=df, level=pooled.level)
