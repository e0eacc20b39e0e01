"""The year under a plan: made by a worker while the page says how far it is, kept, and made anew after a write."""

from __future__ import annotations

import datetime as dt
import re

import pytest
from django.urls import reverse
from django.utils import timezone

from inspections.models import CheckPlan
from inspections.selectors.plan_advice import YEAR_STEPS, year_if
from inspections.selectors.plan_years import (
    YEAR,
    part_of,
    plan_as_text,
    plan_from_text,
    year_as_text,
    year_from_text,
)
from inspections.services import plan_years
from inspections.services.check_plans import new_plan, plan_with
from plant.models import Job, KeptResult
from plant.services import jobs
from plant.services.clearing import clear_old
from tests import make

DAY = dt.timedelta(days=1)


@pytest.fixture
def device(belt_a1):
    return make.installation(belt_a1, "1", installed_at=timezone.now() - 620 * DAY)


@pytest.fixture
def plan(device):
    kind = make.check_kind("sensor-wear")
    made = make.check_plan(device.device.device_model, kind, interval_days=28, interval_h=None)
    make.task(device, kind, make.today() + 13 * DAY, check_plan=made)
    return made


@pytest.fixture
def with_worker(monkeypatch):
    monkeypatch.setattr(jobs, "_nudge", lambda job_id: None)


def words(answer):
    assert answer.status_code == 200
    return re.sub(r"\s+", " ", answer.text)


def asked(plan, days=14):
    return f"{plan.get_absolute_url()}?days={days}&hours="


def work():
    for job in Job.objects.unfinished().filter(kind=YEAR):
        assert jobs.do_job(job.pk)


def fragment(client, part):
    return client.get(reverse("plan-year"), {"part": part})


def test_nobody_waits_for_the_year(client, pat, plan, with_worker):
    client.force_login(pat)
    page = words(client.get(asked(plan)))
    assert "The year ahead is being computed" in page
    assert "Waiting for a worker" in page
    assert "in the year ahead instead of" not in page
    part = client.get(asked(plan)).context["year"].part
    assert Job.objects.filter(kind=YEAR).count() == 1  # asked for twice, made once
    assert "The year ahead is being computed" in words(fragment(client, part))
    work()
    there = words(fragment(client, part))
    assert "26 checks in the year ahead instead of 13" in there
    assert "As of " in there
    assert "hx-get" not in there
    # From then on the page shows it at once, to everybody.
    assert "26 checks in the year ahead instead of 13" in words(client.get(asked(plan)))
    assert Job.objects.filter(kind=YEAR).count() == 1


def test_how_far_it_is_is_said(client, pat, plan, with_worker, monkeypatch):
    client.force_login(pat)
    part = client.get(asked(plan)).context["year"].part
    seen = []

    def watched(*args):
        def step(n):
            args[3](n)
            seen.append(words(fragment(client, part)))

        return year_if(*args[:3], step)

    monkeypatch.setattr(plan_years, "year_if", watched)
    work()
    assert [f'value="{n}"' in page and f'max="{YEAR_STEPS}"' in page for n, page in enumerate(seen, 1)] == [True] * 3
    assert all("Counting the checks of 52 weeks" in page for page in seen)


def test_after_a_write_the_year_is_shown_with_its_time_and_made_anew(client, pat, plan, device, with_worker):
    client.force_login(pat)
    part = client.get(asked(plan)).context["year"].part
    work()
    make.installation(device.conveyor, "2", chainage_m=150.0, installed_at=timezone.now() - 3 * DAY)
    page = words(client.get(asked(plan)))
    assert "26 checks in the year ahead instead of 13" in page
    assert "The book has changed since: it is being computed anew." in page
    work()
    assert "checks in the year ahead instead of 13" in words(fragment(client, part))
    assert "26 checks" not in words(fragment(client, part))


def test_a_year_that_is_shown_is_not_made_over_and_over(client, pat, plan, device, with_worker):
    client.force_login(pat)
    part = client.get(asked(plan)).context["year"].part
    work()
    device.save()
    KeptResult.objects.filter(topic=YEAR).update(took_s=5.0, made_at=timezone.now())
    assert "The book has changed since" in words(fragment(client, part))
    assert not Job.objects.unfinished().filter(kind=YEAR).exists()
    KeptResult.objects.filter(topic=YEAR).update(made_at=timezone.now() - dt.timedelta(seconds=60))
    fragment(client, part)
    assert Job.objects.unfinished().filter(kind=YEAR).count() == 1


def test_a_plan_that_is_not_saved_is_looked_at_in_the_same_way(client, pat, device, with_worker):
    client.force_login(pat)
    given = {
        "check_kind": make.check_kind("pivot-freedom").pk,
        "device_model": device.device.device_model_id,
        "interval_days": 30,
        "opens_days_before": 7,
        "closes_days_after": 7,
    }
    answer = client.post("/check-plans/create/", {**given, "look": "1"})
    assert "The year ahead is being computed" in words(answer)
    work()
    assert "in the year ahead instead of 0" in words(fragment(client, answer.context["year"].part))
    assert not CheckPlan.objects.exists()


def test_a_year_that_fails_is_said(client, pat, plan, with_worker, monkeypatch):
    client.force_login(pat)
    part = client.get(asked(plan)).context["year"].part

    def broken(*args):
        raise ValueError("broken")

    monkeypatch.setattr(plan_years, "year_if", broken)
    work()
    page = words(fragment(client, part))
    assert "The year ahead could not be computed." in page
    assert "hx-get" not in page


def test_another_plant_sees_nothing_of_it(client, pat, otto, plan, with_worker):
    client.force_login(pat)
    part = client.get(asked(plan)).context["year"].part
    client.force_login(otto)
    assert fragment(client, part).status_code == 404
    assert fragment(client, "nothing").status_code == 404


def test_a_plan_is_carried_whole_and_each_change_is_another_year(plan, device, alder):
    other = plan_with(plan, interval_days=None, fixed_months=3, fixed_from=dt.date(2026, 1, 31), fixed_on="1MO")
    own = new_plan(alder, installation=device, check_kind=plan.check_kind, interval_days=9, interval_h=120.5)
    for each in (plan, other, own):
        carried = plan_from_text(plan_as_text(each))
        assert plan_as_text(carried) == plan_as_text(each)
        assert (carried.pk, carried.interval_h, carried.fixed_from) == (each.pk, each.interval_h, each.fixed_from)
    assert len({part_of(each) for each in (plan, other, own)}) == 3
    assert part_of(new_plan(alder, installation=device, check_kind=plan.check_kind, interval_days=9)) == part_of(
        new_plan(alder, installation=device, check_kind=plan.check_kind, interval_days=9)
    )


def test_what_is_kept_of_a_year_is_what_was_counted(plan, device, alder, tess):
    make.shift(tess, alder, timezone.now() + 3 * DAY)
    by_hours = plan_with(plan, interval_days=None, interval_h=500.0)  # no hours are known: no day can be told
    for each in (plan, by_hours):
        found = year_if(each, make.today(), timezone.now())
        text = year_as_text(found)
        read = year_from_text(text)
        assert year_as_text(read) == text
        assert (read.now, read.then, read.weeks, read.skills) == (found.now, found.then, found.weeks, found.skills)
        assert [one.plan.check_kind for one in read.undated] == [one.plan.check_kind for one in found.undated]


def test_a_night_clears_years_of_before(client, pat, plan, with_worker):
    client.force_login(pat)
    client.get(asked(plan))
    work()
    clear_old()
    assert KeptResult.objects.filter(topic=YEAR).exists()
    clear_old(now=timezone.now() + 3 * DAY)
    assert not KeptResult.objects.filter(topic=YEAR).exists()
    assert not Job.objects.filter(kind=YEAR).exists()
