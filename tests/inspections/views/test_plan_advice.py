"""What a plan's page says before an interval is changed: the year under another one, and what the findings tell."""

from __future__ import annotations

import datetime as dt
import re

import pytest
import time_machine

from inspections.models import Task
from inspections.plan_advice import advice_of, year_if
from tests import make

NOW = dt.datetime(2026, 11, 20, 8, tzinfo=dt.UTC)
TODAY = dt.date(2026, 11, 20)


@pytest.fixture(autouse=True)
def at_nine():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def device(belt_a1):
    return make.installation(belt_a1, "1", installed_at=NOW - dt.timedelta(days=620))


@pytest.fixture
def plan(device):
    return make.check_plan(
        device.device.device_model, make.check_kind("sensor-wear"), interval_days=28, interval_h=None
    )


def done(device, plan, grades, every=60):
    """Checks every so many days since the installation, with these grades."""
    for n, grade in enumerate(grades, 1):
        at = device.installed_at + dt.timedelta(days=every * n)
        make.task(device, plan.check_kind, at.date(), closed_at=at, outcome=Task.Outcome.DONE, grade=grade)


def test_half_the_interval_is_twice_the_work(plan, device):
    make.task(device, plan.check_kind, TODAY + dt.timedelta(days=13), check_plan=plan)
    found = year_if(plan, 14, None, TODAY, NOW)
    # Due on 3 December and every 28 days: 13 until 14 November; every 14 days from today (it moved there): 26.
    assert (found.now.n, found.then.n) == (13, 26)
    assert found.then.locked_out_h == pytest.approx(2 * found.now.locked_out_h)
    assert found.then.other_h == 0
    assert found.now.weeks[2].n == 1
    plan.refresh_from_db()
    assert plan.interval_days == 28


def test_one_act_in_ten_equal_intervals_is_a_chance_of_a_tenth(plan, device):
    done(device, plan, ["sound"] * 9 + ["act"])
    advice = advice_of(plan, 0.05)[0]
    assert (advice.curve.n_checks, advice.curve.n_act) == (10, 1)
    # Equal intervals: the estimate is the share itself, 1 / 10 at 60 days, so 5 % at 60 ln(0.95) / ln(0.9) = 29.2 days.
    assert advice.curve.chance(60)[0] == pytest.approx(0.1, abs=1e-4)
    assert advice.longest_d == 29
    assert advice.sure_d < advice.longest_d


def test_a_check_after_a_finding_of_act_is_left_out(plan, device):
    done(device, plan, ["sound", "act", "sound", "sound", "sound", "sound", "sound"])
    assert advice_of(plan, 0.05)[0].curve.n_checks == 6


def test_few_checks_say_nothing(client, pat, plan, device):
    done(device, plan, ["sound"] * 3)
    client.force_login(pat)
    text = client.get(plan.get_absolute_url()).content.decode()
    assert "Only 3 checks are in the book; 5 are needed" in text
    assert "Advice only" in text


def test_the_page_shows_the_year_and_the_advice_and_saves_nothing(client, erin, plan, device):
    done(device, plan, ["sound"] * 9 + ["act"])
    make.task(device, plan.check_kind, TODAY + dt.timedelta(days=13), check_plan=plan)
    client.force_login(erin)
    answer = client.get(plan.get_absolute_url(), {"days": 14})
    text = re.sub(r"\s+", " ", answer.content.decode())
    assert "26 checks in the year ahead instead of 13" in text
    assert "1 of 10 checks found act." in text
    assert "The longest interval that keeps it at 5 % is 29 days by the estimate" in text
    wider = client.get(plan.get_absolute_url(), {"risk": 10}).context["advice"][0]
    assert wider.longest_d in (59, 60)
    plan.refresh_from_db()
    assert plan.interval_days == 28


@pytest.mark.parametrize(("asked", "words"), [({"days": 0}, "greater than or equal to 1"), ({"days": ""}, "Give an")])
def test_an_interval_that_cannot_be_is_refused(client, pat, plan, asked, words):
    client.force_login(pat)
    assert words in client.get(plan.get_absolute_url(), asked).content.decode()


def test_the_engineer_takes_it_over_with_the_reason(client, erin, plan, device):
    client.force_login(erin)
    url = f"/check-plans/{plan.pk}/change/?interval_days=21&reason=Findings"
    form = client.get(url).context["form"]
    assert (form["interval_days"].value(), form["reason"].value()) == (21, "Findings")
    values = {name: form[name].value() for name in form.fields if form[name].value() is not None}
    assert client.post(url, values).status_code == 302
    plan.refresh_from_db()
    assert plan.interval_days == 21
    assert plan.history.first().history_change_reason == "Findings"
