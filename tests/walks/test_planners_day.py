"""The planner's errand: read what is late, put it off with a reason, write a plan, see its checks; all by the pages."""

from __future__ import annotations

import datetime as dt

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from inspections.models import CheckPlan, Deferral, Task
from inspections.services.nightly import ask_for_nightly
from plant.models import OutageWindow
from plant.services.jobs import do_job
from tests import make

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def late_task(built_in_kinds, belt_a1):
    device = make.installation(belt_a1, "4", installed_at=timezone.now() - dt.timedelta(days=200))
    make.check_plan(
        device.device.device_model,
        make.check_kind(),
        created_at=timezone.now() - dt.timedelta(days=300),
        interval_days=100,
    )
    starts_at = timezone.now() + dt.timedelta(days=2)
    OutageWindow.objects.create(conveyor=belt_a1, starts_at=starts_at, ends_at=starts_at + dt.timedelta(hours=4))
    now = timezone.now().replace(hour=12)
    do_job(ask_for_nightly(now)[0].pk)
    return Task.objects.get()


def test_planner_puts_a_late_check_off_and_finds_it_counted(late_task, pat, page_of, live_server):
    page = page_of(pat)
    expect(page.locator(".stale")).to_have_count(0)  # the night ran
    days = late_task.days_late(timezone.localdate(timezone=late_task.plant.zone))
    lede = page.locator(".lede").first
    expect(lede).to_contain_text(f"1 is late (the longest by {days} days). Next outage windows: A-1")
    lede.get_by_role("link", name="1 is late").click()
    page.get_by_role("link", name="A-1 device 4").click()
    expect(page.locator(".lede")).to_contain_text(f"{days} days late")
    expect(page.get_by_role("region", name="Before you go to the belt")).to_contain_text("Lock out")
    page.get_by_role("link", name="Put off").click()
    until = make.today() + dt.timedelta(days=5)
    page.get_by_label("New end of the window").fill(until.isoformat())
    page.get_by_role("button", name="Put off").click()
    expect(page.get_by_role("alert")).to_contain_text("Reason")  # no deferral without a reason
    page.get_by_label("Reason").fill("no wrench in date")
    page.get_by_role("button", name="Put off").click()
    expect(page.get_by_role("heading", name="Put off once")).to_be_visible()
    page.goto(f"{live_server.url}/checks/")
    expect(page.locator("table.register tbody tr")).to_contain_text("once: no wrench in date")
    expect(page.locator(".lede")).to_have_text("No check is late.")
    deferral = Deferral.objects.get()
    assert (deferral.closes_on, deferral.approved_by) == (until, pat)


def test_planner_writes_a_plan_and_its_checks_are_there(late_task, pat, page_of, live_server):
    page = page_of(pat)
    page.get_by_role("navigation", name="Main").get_by_role("link", name="Checks").click()
    page.get_by_role("link", name="Check plans").click()
    page.get_by_role("link", name="Write a check plan").click()
    page.get_by_label("Check", exact=True).select_option(label="Pivot freedom")
    page.get_by_label("For all of model").select_option(label="T-1")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("alert")).to_contain_text("Give an interval in days, in running hours, or both.")
    page.get_by_label("Every [days]").fill("30")
    page.get_by_role("button", name="Save").click()
    expect(page.locator(".lede")).to_have_text("Every 30 days. 1 check is open.")
    page.get_by_role("link", name="A-1 device 4").click()
    expect(page.locator(".lede")).to_contain_text("May be done now")
    assert CheckPlan.objects.count() == 2
    assert Task.objects.open().count() == 2
