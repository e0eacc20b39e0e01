"""Pooled rows of the list of comparisons, and how many verdicts stand among many."""

from __future__ import annotations

import csv
import datetime as dt
import io
from dataclasses import replace

import numpy as np
import pytest
from django.urls import reverse
from django.utils import timezone
from scipy import stats
from statsmodels.stats.meta_analysis import combine_effects
from statsmodels.stats.multitest import multipletests

from plant.calc.rates import compare_rates
from reports.calc.bad_spells import SpellCheck
from reports.calc.empirical_bayes import EffectIndex
from reports.calc.verdicts import EffectVerdict, VerdictRule, VerdictRules, judge
from reports.selectors.pooled_effects import count_of, pools_of, standing_verdicts, standings_of
from reports.selectors.reference_groups import Answers
from reports.selectors.studies import studies_of
from reports.words.pooled_effects import chance_words, counted_words, limits_words, next_words
from tests import make

DAY = dt.timedelta(days=1)
AFTER = (2, 3, 20, 5)


@pytest.fixture
def fleet(alder):
    now = timezone.now()
    for k, n_after in enumerate(AFTER):
        belt = make.conveyor(alder, tag=f"S-{k}")
        make.run_record(belt, now - 900 * DAY, now, 12.0 * 900)
        make.drift_switch(belt, 60.0)
        removed_at = now - 10 * DAY if k == 3 else None
        at = make.installation(belt, f"2{k}", installed_at=now - 400 * DAY, removed_at=removed_at)
        for i in range(15):
            make.incident(belt, at.installed_at - (10 + 20 * i) * DAY)
        for i in range(n_after):
            make.incident(belt, at.installed_at + (30 + 17 * i) * DAY)
    return studies_of(alder, now)


def test_every_kind_is_pooled_with_failures_and_ended_ones(fleet):
    pools = pools_of(fleet)
    assert [each.kind for each in pools] == ["fleet", "model", "area", "duty"]
    for each in pools:
        assert (each.n, each.n_ended) == (4, 1)
        assert each.common.n_after == sum(AFTER)
        assert each.effects.next_low < each.effects.low < each.effects.high < each.effects.next_high


def test_what_stands_agrees_with_scipy(fleet):
    # Reference: scipy.stats.false_discovery_control on p-values of scipy.stats.binomtest.
    p = []
    for each in fleet:
        n0, n1, share = each.before.n, each.after.n, each.after.hours / (each.before.hours + each.after.hours)
        tails = [stats.binomtest(n1, n0 + n1, share, alternative=way).pvalue for way in ("less", "greater")]
        p.append(min(1.0, 2.0 * min(tails)))
    holds = stats.false_discovery_control(p) <= 0.05
    named = np.array([each.verdict in (EffectVerdict.FEWER, EffectVerdict.MORE) for each in fleet])
    assert standing_verdicts(standings_of(fleet)) == (int(named.sum()), int((holds & named).sum()))
    assert named.any()


def test_each_verdict_has_its_q_on_page_and_in_the_file(client, fleet, mona):
    client.force_login(mona)
    standings = standings_of(fleet)
    p = [standings[each.installation.pk].p for each in fleet]
    # Reference: Benjamini & Hochberg's adjusted p-values of statsmodels.
    adjusted = multipletests(p, method="fdr_bh")[1]
    assert [standings[each.installation.pk].q for each in fleet] == pytest.approx(adjusted, rel=1e-12)
    answer = client.get(reverse("effect-list"), {"among": "stands"})
    shown = {row.record.devices for row in answer.context["table"].rows}
    assert shown == {
        "+".join(one.device.number for one in each.members)
        for each, q in zip(fleet, adjusted, strict=True)
        if q <= 0.05 and each.verdict in (EffectVerdict.FEWER, EffectVerdict.MORE)
    }
    assert shown
    assert "does not stand" not in answer.content.decode().split("<tbody")[1].split("</tbody>")[0]
    text = b"".join(client.get(reverse("effect-list"), {"format": "csv"}).streaming_content).decode()
    rows = list(csv.DictReader(io.StringIO(text)))
    assert sorted(float(row["Among all"]) for row in rows) == pytest.approx(sorted(adjusted), abs=1e-6)
    assert {row["Stands"] for row in rows} <= {"yes", "no", ""}


def test_bad_spells_widen_p_and_pool(alder, fleet):
    plain = standings_of(fleet)
    # Each incident of device 20's belt comes back twice on the next day: the same ratio, in spells.
    at = fleet[0].installation
    for each in list(at.conveyor.incidents.all()):
        for hours in (20, 26):
            make.incident(at.conveyor, each.happened_at + dt.timedelta(hours=hours))
    now = studies_of(alder, timezone.now())
    row = standings_of(now)[at.pk]
    assert row.dispersion > 2
    assert row.p > now[0].ratio.p_central
    assert row.p > 0.2 * plain[at.pk].p  # three times the count, yet hardly more evidence
    pool = pools_of(now)[0]
    assert pool.n_widened == 1
    assert pool.common.n_after == sum(AFTER) + 2 * AFTER[0]


def test_the_p_of_a_pool_goes_with_its_limits(fleet):
    for each in pools_of(fleet):
        assert (each.p_middle < 0.05) == (each.effects.high < 1 or each.effects.low > 1)


def test_without_untreated_stretches_the_pool_is_of_counts_alone_and_says_so(client, fleet, mona):
    fleet_pool = pools_of(fleet)[0]
    assert (fleet_pool.n, fleet_pool.n_shrunk, fleet_pool.n_compared) == (4, 0, 0)
    assert fleet_pool.effects.ratio == pytest.approx(fleet_pool.plain.ratio, rel=0.1)
    assert fleet_pool.effects.shared_error == 0
    client.force_login(mona)
    page = " ".join(client.get(reverse("effect-list")).content.decode().split())
    assert "what would have happened anyway is taken out only as far as the table below says" in page
    assert "Middle and next device are of counts alone" in page


@pytest.fixture
def falling(alder):
    """Everything falls by half, with and without a device; devices went where it was worst by chance."""
    now = timezone.now()
    for k in range(24):
        belt = make.conveyor(alder, tag=f"S-{k}")
        make.run_record(belt, now - 900 * DAY, now, 12.0 * 900)
        make.drift_switch(belt, 80.0)
        is_treated = k < 6
        if is_treated:
            make.installation(belt, f"2{k}", installed_at=now - 400 * DAY)
        for i in range(14 if is_treated else 8 + k % 5):
            make.incident(belt, now - (410 + 25 * i + k) * DAY)
        for i in range(5 + k % 2):
            make.incident(belt, now - (30 + 55 * i + k) * DAY)
    return studies_of(alder, now)


def test_headline_groups_and_next_device_are_of_the_answers_that_allow_for_trend_and_choice(client, falling, mona):
    pools = pools_of(falling)
    fleet = pools[0]
    assert (fleet.n, fleet.n_shrunk) == (6, 6)
    # The counts fell by more than half, as everywhere: with that taken out nothing is left that 1 could not explain.
    assert fleet.plain.high < 1
    assert fleet.plain.ratio < fleet.effects.ratio
    assert fleet.effects.low < 1 < fleet.effects.high
    assert fleet.effects.shared_error >= falling[0].answers.trend.log_error
    # Reference: the middle by hand, from what each comparison says of itself.
    shrunk = [each.answers.shrunk for each in falling]
    y = np.array([np.log(each.n_weighed + 0.5) - each.log_expected for each in shrunk])
    v = np.array([each.own_variance + 1 / (fleet.effects.ratio * np.exp(each.log_expected) + 0.5) for each in shrunk])
    known = combine_effects(y, v, method_re="chi2", use_t=True)
    assert np.log(fleet.effects.ratio) == pytest.approx(known.mean_effect_re, abs=1e-4)
    client.force_login(mona)
    page = " ".join(client.get(reverse("effect-list")).content.decode().split())
    assert f"incidents in reach came to {limits_words(fleet.effects)} of what they would have been" in page
    assert f"plain counts before and after say {limits_words(fleet.plain)}." in page
    assert f"For the next device expect {next_words(fleet.effects)} (95 %)." in page
    assert all(each.effects.shared_error > 0 for each in pools)


def test_a_device_that_was_moved_is_one_device_with_a_comparison_at_each_place(fleet, alder):
    old = next(each.installation for each in fleet if not each.is_standing)
    belt = make.conveyor(alder, tag="S-9")
    make.installation(belt, device=old.device, installed_at=old.removed_at)
    count = count_of(studies_of(alder, timezone.now()))
    assert (count.n, count.n_devices) == (5, 4)
    assert counted_words(count).startswith(
        "5 comparisons of 4 devices; a device that was moved is judged at each of its places; "
    )


def test_chance_is_reckoned_with_where_counts_could_tell_and_a_promise_is_made(falling):
    count = count_of(falling)
    assert (count.n, count.n_devices, count.n_judged, count.n_telling, count.n_promised) == (6, 6, 6, 6, 6)
    assert chance_words(count).endswith(
        "a verdict of fewer or more for up to 5 % of the 6 comparisons whose counts could have told one: about 0.3."
    )
    assert chance_words(replace(count, n_promised=1, n_telling=1)).endswith(
        "up to 5 % for the 1 comparison whose counts could have told one."
    )
    assert "is not promised" in chance_words(replace(count, n_promised=0))
    assert chance_words(replace(count, n_promised=4)).endswith("about 0.2. For 2 more nothing is promised.")
    assert chance_words(count_of([])) == ""


# Every branch of the verdict: counts and hours, the shrunk answer, whether incidents come in spells, the rules.
UNSURE = EffectIndex(1.2, None, 1.2, 0.4, 3.6, 0.3, 20.0, 20.0, 9.0, 0.5, 2.9)
SURE = EffectIndex(0.4, None, 0.4, 0.2, 0.8, 0.2, 20.0, 20.0, 9.0, 0.22, 0.7)
SPELLS = SpellCheck(14, 12, 3.0, 0.001, 1.6, (8, 6))
WIDE = VerdictRules(margin=(0.1, 10.0))
BRANCHES = {
    "no detector": ((24, 4400, 8, 4100), SURE, None, VerdictRules(), "cannot_be_judged"),
    "fewer": ((24, 4400, 8, 4100), SURE, None, VerdictRules(), "fewer"),
    "fewer, early": ((40, 4400, 0, 900), SURE, None, VerdictRules(), "fewer"),
    "more from none": ((0, 5000, 9, 5000), None, None, VerdictRules(), "more"),
    "little": ((600, 50_000, 590, 50_000), None, None, VerdictRules(), "changes_little"),
    "little of few": ((5, 5000, 5, 5000), None, None, WIDE, "changes_little"),
    "fall explained": ((24, 4400, 8, 4100), UNSURE, None, VerdictRules(), "no_clear_change"),
    "rise of few explained": ((2, 5000, 12, 5000), UNSURE, None, VerdictRules(), "no_clear_change"),
    "rise of few in spells": ((2, 5000, 10, 5000), None, SPELLS, VerdictRules(), "no_clear_change"),
    "rise explained, early": ((2, 5000, 12, 2000), UNSURE, None, VerdictRules(), "too_early"),
    "unclear": ((6, 5000, 5, 5000), UNSURE, None, VerdictRules(), "no_clear_change"),
    "too few": ((5, 5000, 5, 5000), UNSURE, None, VerdictRules(), "too_few"),
    "too few in spells": ((8, 5000, 6, 5000), UNSURE, SPELLS, VerdictRules(), "too_few"),
    "nothing": ((0, 5000, 0, 5000), None, None, VerdictRules(), "too_few"),
    "early": ((30, 5000, 9, 2000), UNSURE, None, VerdictRules(), "too_early"),
    "early, of few": ((5, 5000, 3, 2000), UNSURE, None, VerdictRules(), "too_early"),
}


def in_branch(study, name):
    counts, shrunk, spells, rules, verdict = BRANCHES[name]
    ratio = compare_rates(*counts)
    judgement = judge(
        ratio,
        coverage_before=1.0,
        coverage_after=1.0,
        n_detectors=0 if verdict == EffectVerdict.CANNOT_BE_JUDGED else 1,
        rules=rules,
        spells=spells,
        shrunk=shrunk,
    )
    assert judgement.verdict == verdict
    answers = Answers(spells or replace(SPELLS, p=None), None, None, shrunk, None, ())
    return replace(study, ratio=ratio, judgement=judgement, rules=rules, answers=answers)


def test_in_every_branch_the_verdict_and_the_sentence_count_alike_what_could_tell(fleet):
    studies = {name: in_branch(fleet[0], name) for name in BRANCHES}
    seen = {(each.verdict, frozenset(reason.rule for reason in each.judgement.reasons)) for each in studies.values()}
    rules = frozenset().union(*(rules for _verdict, rules in seen))
    assert {verdict for verdict, _rules in seen} == set(EffectVerdict)
    assert {VerdictRule.EXPLAINED_OTHERWISE, VerdictRule.EXPLAINED_BY_SPELLS, VerdictRule.NONE_BEFORE} <= rules
    answered = {"fewer", "more", "changes_little", "no_clear_change"}
    for name, study in studies.items():
        count = count_of([study])
        if study.verdict == EffectVerdict.TOO_EARLY:
            assert count.n_early == count.n_telling == (name != "early, of few"), name
        else:
            assert (count.n_telling, count.n_early) == (study.verdict in answered, 0), name
    together = count_of(studies.values())
    n_answered = sum(each.verdict in answered for each in studies.values())
    assert together.n_telling == n_answered + together.n_early
    assert f"For {together.n_early} of those whose counts could tell it is too early yet." in chance_words(together)


def test_a_rise_from_too_few_has_to_hold_among_all_and_the_rest_among_those_that_could_tell(alder, fleet):
    """Device 30: none before, twelve after. Device 31: two before, one after, which tells nothing either way."""
    now = timezone.now()
    for number, n_before, n_after in (("30", 0, 12), ("31", 2, 1)):
        belt = make.conveyor(alder, tag=f"T-{number}")
        make.run_record(belt, now - 900 * DAY, now, 12.0 * 900)
        make.drift_switch(belt, 60.0)
        at = make.installation(belt, number, installed_at=now - 400 * DAY)
        for i in range(n_before):
            make.incident(belt, at.installed_at - (10 + 20 * i) * DAY)
        for i in range(n_after):
            make.incident(belt, at.installed_at + (30 + 27 * i) * DAY)
    studies = studies_of(alder, now)
    of = {each.installation.device.number: each for each in studies}
    assert (of["30"].verdict, of["31"].verdict) == (EffectVerdict.MORE, EffectVerdict.TOO_FEW)
    standings = standings_of(studies)
    assert of["31"].installation.pk not in standings
    p = [standings[e.installation.pk].p if e.installation.pk in standings else None for e in studies]
    telling = [each for each, e in zip(p, studies, strict=True) if e.installation.device.number not in ("30", "31")]
    adjusted = multipletests(telling, method="fdr_bh")[1]
    assert [standings[e.installation.pk].q for e in studies if e.installation.device.number not in ("30", "31")] == (
        pytest.approx(adjusted, rel=1e-12)
    )
    central = [min(1.0, 2 * min(_tails(e))) for e in studies]
    among_all = dict(zip(of, multipletests(central, method="fdr_bh")[1], strict=True))
    assert standings[of["30"].installation.pk].q == pytest.approx(among_all["30"], rel=1e-9)


def _tails(study):
    share = study.after.hours / (study.before.hours + study.after.hours)
    n = study.before.n + study.after.n
    return [stats.binomtest(study.after.n, n, share, alternative=way).pvalue for way in ("less", "greater")]


def test_the_list_shows_the_pooled_rows(client, fleet, mona):
    client.force_login(mona)
    page = client.get(reverse("effect-list")).content.decode()
    assert "Together, by model, area and duty" in page
    assert "may be wrong" in page
    assert page.count('class="forest pool"') == 4
    assert page.count('class="ring"') == 0  # too few stretches for a reference: no shrunk answer to draw
    assert "Ring with thin line" in page


def test_an_empty_book_has_no_pools(alder):
    assert pools_of(()) == []
    assert standing_verdicts(standings_of(())) == (0, 0)
