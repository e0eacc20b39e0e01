"""What a plan's page says before an interval is changed: the year under another one, and what the findings tell."""

from __future__ import annotations

import datetime as dt
import re

import pytest
import time_machine

from inspections.models import CheckPlan, Task
from inspections.selectors.plan_advice import advice_of, year_if
from inspections.services.check_plans import plan_with
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
    last = TODAY - dt.timedelta(days=15)
    make.task(device, plan.check_kind, last, closed_at=NOW - dt.timedelta(days=15), outcome="done", grade="sound")
    make.task(device, plan.check_kind, TODAY + dt.timedelta(days=13), check_plan=plan)
    found = year_if(plan_with(plan, interval_days=14), TODAY, NOW)
    # Due on 3 December and every 28 days: 13 until 14 November; every 14 days from today on (it would be due): 26.
    assert (found.now.n, found.then.n) == (13, 26)
    assert found.then.locked_out_h == pytest.approx(2 * found.now.locked_out_h)
    assert found.then.other_h == 0
    assert found.now.weeks[2].n == 1
    assert (found.plant_now.n, found.plant_then.n) == (13, 26)
    plan.refresh_from_db()
    assert plan.interval_days == 28


def test_fixed_dates_are_looked_at_with_all_else_that_the_plant_has_to_do(plan, device, alder, tess):
    make.task(device, plan.check_kind, TODAY + dt.timedelta(days=13), check_plan=plan)
    lifting = make.check_kind("pivot-freedom")
    lifting.skills_needed = "Lifting"
    lifting.save()
    make.task(device, lifting, TODAY + dt.timedelta(days=3))
    make.shift(tess, alder, NOW + dt.timedelta(days=3))
    fixed = {"interval_days": None, "fixed_months": 3, "fixed_from": dt.date(2026, 1, 31), "fixed_on": "1MO"}
    found = year_if(plan_with(plan, **fixed), TODAY, NOW)
    # The first Mondays of January 2027 and each third month: 4 January, 5 April, 5 July, 4 October.
    days = [week.monday for week in found.then.weeks if week.n]
    assert days == [dt.date(2027, 1, 4), dt.date(2027, 4, 5), dt.date(2027, 7, 5), dt.date(2027, 10, 4)]
    assert (found.now.n, found.plant_now.n, found.plant_then.n) == (13, 14, 5)
    week, after = found.weeks[0], found.weeks[1]
    assert [each.skill for each in found.skills] == ["lifting"]
    # The shift of Monday is tess's, who has no skill in the book; beyond it no shift is known.
    assert (after.shift_min, [each.skill for each in after.over], after.is_over) == (480, ["lifting"], True)
    assert (week.shift_min, found.weeks[2].shift_min) == (0, None)


def test_what_is_late_or_was_put_off_stays_and_a_wet_belt_comes_twice_as_often(plan, device, alder, pat):
    make.task(device, plan.check_kind, TODAY - dt.timedelta(days=30), check_plan=plan)
    wet = make.conveyor(alder, tag="A-2", duty="wet_abrasive")
    soaked = make.installation(wet, "2", installed_at=NOW - dt.timedelta(days=1))
    make.task(soaked, plan.check_kind, TODAY + dt.timedelta(days=27), check_plan=plan)
    found = year_if(plan_with(plan, duty_pct=50), TODAY, NOW)
    assert (found.n_late, found.shortened) == (1, [("duty", 1)])
    # Every 28 days from today for the late one: 13 + 1; the wet one from 3 December every 14 days: 25.
    assert found.then.n == 13 + 25
    assert found.now.n == 13 + 12


def test_wear_that_is_forecast_is_in_the_year(plan, device, monkeypatch):
    """The look goes the same way as the night: a roller near its limit is due sooner than its plan says."""
    from inspections.selectors import wanted_tasks
    from inspections.selectors.wear import DeviceWear

    class Worn(DeviceWear):
        early_on = TODAY + dt.timedelta(days=2)

    worn = Worn(device, 76, 68, (), 10, NOW)
    monkeypatch.setattr(wanted_tasks, "wear_of", lambda places: {device.pk: worn})
    done = TODAY - dt.timedelta(days=1)
    make.task(device, plan.check_kind, done, closed_at=NOW - dt.timedelta(days=1), outcome="done", grade="watch")
    found = year_if(plan_with(plan, interval_days=300), TODAY, NOW)
    assert [n for n, week in enumerate(found.then.weeks) if week.n] == [0, 43]


def test_a_plan_that_is_not_written_yet_is_looked_at_and_then_saved(client, pat, device):
    client.force_login(pat)
    given = {
        "check_kind": make.check_kind("pivot-freedom").pk,
        "device_model": device.device.device_model_id,
        "fixed_months": 1,
        "fixed_from": "2026-12-01",
        "fixed_on": "1TU",
        "opens_days_before": 7,
        "closes_days_after": 7,
    }
    answer = client.post("/check-plans/create/", {**given, "look": "1"})
    text = re.sub(r"\s+", " ", answer.content.decode())
    assert answer.status_code == 200
    assert "12 checks in the year ahead instead of 0" in text
    assert not CheckPlan.objects.exists()
    assert not Task.objects.exists()
    assert client.post("/check-plans/create/", given).status_code == 302
    assert Task.objects.get().due_on == dt.date(2026, 12, 1)


def test_a_look_refuses_what_saving_refuses(client, erin, plan, device):
    client.force_login(erin)
    url = f"/check-plans/{plan.pk}/change/"
    form = client.get(url).context["form"]
    values = {name: form[name].value() for name in form.fields if form[name].value() is not None}
    answer = client.post(url, {**values, "fixed_months": 2, "look": "1"})
    assert answer.status_code == 422
    assert "Give intervals or fixed dates, not both." in answer.content.decode()
    looked = client.post(url, {**values, "season_from": 11, "season_to": 2, "season_pct": 50, "look": "1"})
    assert looked.context["what_if"].then.n > looked.context["what_if"].now.n
    plan.refresh_from_db()
    assert (plan.season_pct, plan.version) == (None, 1)


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


@pytest.mark.parametrize(
    ("grades", "interval", "words", "offered"),
    [
        (["sound"] * 22, 28, "about 72 without act would tell. That none found act is no reason to shorten.", False),
        (["sound"] * 80, 7, "At 7 days it is surely not above 5 %: no reason to shorten.", False),
        (["sound"] * 9 + ["act"], 28, "Too few findings to tell: at 28 days it may be above 5 % or below.", False),
        ((["sound"] * 2 + ["act"]) * 8, 25, "At 25 days it is surely above 5 %: the interval is too long.", True),
    ],
)
def test_an_interval_is_offered_only_where_the_findings_speak_for_it(
    client, erin, plan, device, grades, interval, words, offered
):
    plan.interval_days = interval
    plan.save()
    done(device, plan, grades, every=interval)
    client.force_login(erin)
    text = re.sub(r"\s+", " ", client.get(plan.get_absolute_url()).content.decode())
    assert words in text
    assert ("into the plan, with this reason" in text) == offered


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
