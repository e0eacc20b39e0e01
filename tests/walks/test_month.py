"""The month at a real browser: from a figure to its rows, from draft to publication, and an edition that corrects."""

from __future__ import annotations

import datetime as dt
import re

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from plant.services.incidents import correct_incident
from reports.services.months import draft_month, month_before, publish_month
from tests import make

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def month(alder):
    """First day of last month, in which S-12 ran through, tripped twice and spilled once."""
    first = month_before(timezone.localdate(timezone=alder.zone))
    belt = make.conveyor(alder, tag="S-12")
    start = dt.datetime(first.year, first.month, first.day, tzinfo=dt.UTC)
    make.run_record(belt, start - dt.timedelta(days=400), start + dt.timedelta(days=32), 9000.0)
    make.incident(belt, start + dt.timedelta(days=3, hours=9), minutes_lost=30, severity="trip")
    make.incident(belt, start + dt.timedelta(days=5, hours=9), minutes_lost=15, severity="trip")
    make.incident(belt, start + dt.timedelta(days=8, hours=9), spilled_t=2.5, severity="spill")
    return first


@pytest.fixture
def published(month, alder, erin):
    draft = draft_month(plant=alder, month=month, by=erin)
    return publish_month(draft, by=erin, version=draft.version)


def figure(page, name):
    return page.get_by_role("row").filter(has=page.get_by_text(name, exact=True))


def test_the_manager_goes_from_the_month_to_a_figure_its_rows_the_row_and_back(published, mona, page_of):
    page = page_of(mona)
    page.get_by_role("link", name="Open the report").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Alder Pit")
    expect(page.locator("p.lede").first).to_contain_text("needs a decision")
    figure(page, "Minutes lost").locator("summary").click()
    expect(page.get_by_text("Minutes that people or the control system wrote with incidents")).to_be_visible()
    figure(page, "Minutes lost").get_by_role("link", name="45 min").click()
    rows = page.locator("table.kept tbody tr")
    expect(rows).to_have_count(2)
    expect(page.locator("table.kept tfoot")).to_contain_text("45")
    expect(page.get_by_text("Every row reads the same today.")).to_be_visible()
    rows.first.get_by_role("link").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("S-12")
    expect(page.get_by_text("30 min")).to_be_visible()
    page.go_back()
    page.get_by_role("link", name="Back to the month").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Alder Pit")


def test_the_drawing_is_walked_with_the_keyboard_and_no_library_is_fetched(published, mona, page_of):
    fetched = []
    page = page_of(mona)
    page.on("request", lambda request: fetched.append(request.url))
    page.goto(page.url.rstrip("/") + published.get_absolute_url())
    bars = page.locator("svg.plot a")
    expect(bars).to_have_count(13)
    bars.last.focus()
    assert re.search(r"\d{4}-\d\d: 3 in \d+ h; hours known for 100 %", bars.last.get_attribute("aria-label"))
    page.keyboard.press("Enter")
    page.wait_for_url("**/rows/trend/?month=*")
    expect(page.locator("table.kept tbody tr")).to_have_count(3)
    page.get_by_role("link", name="All rows").click()
    page.wait_for_url("**/rows/trend/?")
    assert not [url for url in fetched if "plotly" in url or "chart.js" in url]


def test_month_and_rows_stay_inside_a_small_screen(published, mona, page_of):
    page = page_of(mona)
    address = page.url.rstrip("/") + published.get_absolute_url()
    for url in (address, f"{address}rows/incidents/", f"{address}rows/verdicts/"):
        page.goto(url)
        for width in (820, 390, 320):
            page.set_viewport_size({"width": width, "height": 844})
            assert page.evaluate("() => document.documentElement.scrollWidth") <= width, (url, width)


def test_the_engineer_comments_and_publishes_then_corrects_in_a_new_edition(month, alder, erin, mona, page_of):
    page = page_of(erin)
    site = page.url.rstrip("/")
    page.goto(f"{site}/months/")
    page.get_by_role("link", name="Draft a month").click()
    page.get_by_role("button", name="Open the draft").click()
    expect(page.get_by_text("Draft of edition 1")).to_be_visible()
    page.get_by_role("link", name="Comment", exact=True).click()
    page.locator("textarea[name=comment]").fill("The return strand was slick with clay.")
    page.get_by_role("button", name="Keep the comment").click()
    expect(page.get_by_text("The return strand was slick with clay.")).to_be_visible()
    page.get_by_role("link", name="Publish", exact=True).click()
    page.get_by_role("button", name="Publish", exact=True).click()
    expect(page.get_by_text(re.compile("Edition 1, published .* by erin"))).to_be_visible()
    first_edition = page.url

    incident = alder.incidents.order_by("happened_at").first()
    corrected = correct_incident(row=incident, by=erin, reason="read off the wrong line", minutes_lost=90)
    page.goto(first_edition)
    page.get_by_role("link", name="New edition").click()
    page.get_by_label(re.compile("why a new edition", re.IGNORECASE)).fill("Minutes of one trip corrected.")
    page.get_by_role("button", name="Open the draft").click()
    expect(page.get_by_role("heading", name="Why edition 2: Minutes of one trip corrected.")).to_be_visible()
    expect(page.get_by_text("Minutes lost: was 45 min, now 105 min")).to_be_visible()
    page.get_by_role("link", name="Publish", exact=True).click()
    page.get_by_role("button", name="Publish", exact=True).click()
    expect(figure(page, "Minutes lost").get_by_role("link", name="105 min")).to_be_visible()

    page.get_by_role("link", name="edition 1").click()
    figure(page, "Minutes lost").get_by_role("link", name="45 min").click()
    row = page.locator("table.kept tbody tr").first
    expect(row).to_contain_text("30")
    expect(row).to_contain_text("corrected since: minutes lost now 90")
    row.get_by_role("link", name="corrected since").click()
    page.wait_for_url(f"**{corrected.get_absolute_url()}")
    expect(page.get_by_text("90 min")).to_be_visible()
