"""The planner looks at a year before a plan is saved, by the keyboard alone; and lays work on a belt that stopped."""

from __future__ import annotations

import datetime as dt

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from inspections.models import CheckPlan, Round, Task
from plant.models import OutageWindow
from tests import make

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def plan(built_in_kinds, belt_a1):
    now = timezone.now()
    device = make.installation(belt_a1, "4", installed_at=now - dt.timedelta(days=10))
    plan = make.check_plan(device.device.device_model, make.check_kind("sensor-wear"), interval_days=90)
    make.task(device, plan.check_kind, (now + dt.timedelta(days=5)).date(), check_plan=plan)
    return plan


def press_to(page, role, name, most=60):
    """Tab on until that control holds the focus."""
    target = page.get_by_role(role, name=name, exact=True)
    for _n in range(most):
        page.keyboard.press("Tab")
        if target.evaluate("each => each === document.activeElement"):
            return
    raise AssertionError(f"{name} was not reached with the Tab key")


def test_fixed_dates_are_looked_at_and_then_saved_by_keyboard(plan, pat, page_of, live_server):
    page = page_of(pat)
    page.goto(f"{live_server.url}{plan.get_absolute_url()}")
    press_to(page, "link", "Change")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_contain_text("Change")
    press_to(page, "spinbutton", "Every [days]")
    page.keyboard.press("Control+A")
    page.keyboard.press("Delete")
    press_to(page, "spinbutton", "Every [months]")
    page.keyboard.type("3")
    first = make.today().replace(day=1)
    page.get_by_label("First date").fill(first.isoformat())
    press_to(page, "button", "Show the year before saving")
    page.keyboard.press("Enter")
    year = page.locator("#year")
    expect(year.get_by_role("heading")).to_contain_text("checks in the year ahead instead of")
    expect(year.get_by_role("img")).to_be_visible()
    plan.refresh_from_db()
    assert plan.fixed_months is None
    press_to(page, "button", "Save")
    page.keyboard.press("Enter")
    expect(page.locator(".lede")).to_contain_text("On fixed dates: day 1 of the month, or its last, every 3 months.")
    plan.refresh_from_db()
    assert (plan.interval_days, plan.fixed_months, plan.fixed_from) == (None, 3, first)
    assert Task.objects.open().get().fixed_on.day == 1
    assert CheckPlan.objects.count() == 1


def test_a_belt_that_stopped_is_on_a_round_with_one_press(plan, pat, tess, alder, page_of, live_server):
    make.shift(tess, alder, timezone.now() - dt.timedelta(hours=1))
    page = page_of(pat)
    page.goto(f"{live_server.url}/opportunity/")
    page.get_by_label("Belt").select_option(label="A-1")
    page.get_by_label("Stands for [min]").fill("120")
    page.get_by_role("button", name="What fits?").click()
    expect(page.locator(".lede")).to_contain_text("1 check fits on A-1")
    expect(page.get_by_text("Only the site's own lockout and its test do that.")).to_be_visible()
    expect(page.get_by_role("row", name="tess").last).to_contain_text("1 / 1")
    page.get_by_role("button", name="Put on today's round of tess").click()
    page.wait_for_url("**/rounds/**")
    assert OutageWindow.objects.get().conveyor.tag == "A-1"
    draft = Round.objects.drafts().get()
    assert [task.pk for stop in draft.stops.all() for task in stop.tasks.all()] == [Task.objects.get().pk]
