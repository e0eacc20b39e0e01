"""The engineer asks which devices earn their place and follows a bar of the chart to its incidents."""

from __future__ import annotations

import datetime as dt

import pytest
from django.utils import timezone

from tests import make

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
DAY = dt.timedelta(days=1)


@pytest.fixture
def at(alder):
    """S-12 device 20, fitted 300 days ago: worse than before; device 21 beside it in a zone that no switch sees."""
    now = timezone.now()
    belt = make.conveyor(alder, tag="S-12")
    make.run_record(belt, now - 900 * DAY, now, 12.0 * 900)
    for chainage_m in (2.0, 60.0, 198.0):
        make.drift_switch(belt, chainage_m)
    at = make.installation(belt, "20", installed_at=now - 300 * DAY)
    make.installation(belt, "21", chainage_m=190.0, installed_at=now - 300 * DAY)
    for i in range(4):
        make.incident(belt, at.installed_at - (20 + 30 * i) * DAY)
    for i in range(24):
        make.incident(belt, at.installed_at + (30 + 10 * i) * DAY)
    return at


def test_from_the_start_page_to_the_last_row(at, erin, page_of):
    page = page_of(erin)
    page.get_by_role("heading", name="Which devices earn their place?", exact=True).wait_for()
    page.locator(".lede").get_by_text("2 comparisons of 2 devices").wait_for()
    page.get_by_role("link", name="1 with more").click()
    page.get_by_role("row").filter(has_text="more incidents").get_by_role("link", name="S-12").click()
    page.get_by_role("heading", name="Did it work?").wait_for()
    page.locator(".chart").scroll_into_view_if_needed()
    page.locator(".chart[data-drawn]").wait_for()
    bars = page.locator(".chart .bars .point path")
    assert bars.count() > 20
    box = max((bars.nth(i).bounding_box() for i in range(bars.count())), key=lambda box: box["width"] * box["height"])
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.wait_for_url("**/incidents/?conveyor=*")
    assert page.locator("table.register tbody tr").count() >= 1
    page.get_by_role("link", name="S-12").first.wait_for()


def test_a_chart_on_a_phone_stays_inside_it(at, mona, page_of):
    page = page_of(mona)
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto(page.url.rstrip("/") + at.get_absolute_url())
    page.locator(".chart").scroll_into_view_if_needed()
    page.locator(".chart[data-drawn]").wait_for()
    assert page.evaluate("() => document.documentElement.scrollWidth") <= 390


def test_the_manager_follows_the_decision_to_its_rows(at, mona, page_of):
    page = page_of(mona)
    page.get_by_role("heading", name="1 decision", exact=True).wait_for()
    page.get_by_role("link", name="S-12 return, device 20 has more incidents than before").click()
    row = page.get_by_role("row").filter(has_text="After")
    row.get_by_role("link").first.click()
    page.wait_for_url("**/incidents/?conveyor=*")
    assert page.locator("table.register tbody tr").count() == 24
