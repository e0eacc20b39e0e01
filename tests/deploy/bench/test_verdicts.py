"""Judging many at once says the same as statsmodels and scipy one by one."""

from __future__ import annotations

from io import StringIO

from django.core.management import call_command

from deploy.bench.verdicts import measure


def test_both_ways_agree():
    # References: statsmodels (exact-cond, Clopper-Pearson) and scipy.stats.betaprime.
    found = measure(300, 120, seed=7)
    assert found.largest_difference < 1e-6
    assert found.seconds_many > 0
    assert found.seconds_sample > 0


def test_the_command_tells_both_times():
    said = StringIO()
    call_command("benchmark_effect", installations=60, sample=20, stdout=said)
    assert "60 installations at once" in said.getvalue()
    assert "20 in a loop" in said.getvalue()
