"""Pooled rows of the list of comparisons, and how many verdicts stand among many."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from django.urls import reverse
from django.utils import timezone
from scipy import stats

from reports.calc.rate_ratio import Verdict
from reports.pools import pools_of, standing_verdicts
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
    assert standing_verdicts(fleet) == (int(named.sum()), int((holds & named).sum()))
    assert named.any()


def test_the_list_shows_the_pooled_rows(client, fleet, mona):
    client.force_login(mona)
    page = client.get(reverse("effect-list")).content.decode()
    assert "Together, by model, area and duty" in page
    assert "may be wrong" in page


def test_an_empty_book_has_no_pools(alder):
    assert pools_of(()) == []
    assert standing_verdicts(()) == (0, 0)
