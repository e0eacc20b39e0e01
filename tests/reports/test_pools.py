"""Pooled rows of the list of comparisons, and how many verdicts stand among many."""

from __future__ import annotations

import csv
import datetime as dt
import io

import numpy as np
import pytest
from django.urls import reverse
from django.utils import timezone
from scipy import stats
from statsmodels.stats.multitest import multipletests

from reports.calc.rate_ratio import Verdict
from reports.pools import pools_of, standing_verdicts, standings_of
from reports.selectors import studies_of
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
    named = np.array([each.verdict in (Verdict.FEWER, Verdict.MORE) for each in fleet])
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
        if q <= 0.05 and each.verdict in (Verdict.FEWER, Verdict.MORE)
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
        assert (each.p_common < 0.05) == (each.common.high < 1 or each.common.low > 1)


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
