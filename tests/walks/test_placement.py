"""The engineer asks where the next device should go, tries places by keyboard, and plans a survey there."""

from __future__ import annotations

import datetime as dt
import re

import pytest
from django.utils import timezone

from tests import make

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
DAY = dt.timedelta(days=1)
ASKED = re.compile(r"/placement/\d+/\?")


@pytest.fixture
def belt(alder):
    """Device 1 steers 140 to 190 m; nine incidents from 70 to 94 m are out of its reach."""
    now = timezone.now()
    made = make.conveyor(alder, tag="A-1")
    model = make.device_model(alder, "RP-2", clearance_below_mm=280.0)
    make.installation(made, device=make.device(alder, "1", model), chainage_m=190.0)
    make.run_record(made, now - 360 * DAY, now - DAY, 3000.0)
    make.drift_switch(made, 60.0)
    for n in range(9):
        make.incident(made, now - (10 + n) * DAY, chainage_m=70.0 + 3 * n)
    return made


def test_from_the_start_page_to_the_survey(belt, erin, page_of):
    page = page_of(erin)
    page.get_by_role("link", name="All places of the plant").click()
    page.get_by_role("heading", name="Where should the next device go?").wait_for()
    page.get_by_role("row").filter(has_text="9 of the 9 incidents").get_by_role("link", name="A-1").click()
    page.get_by_role("heading", name="RP-2 on trial: return strand").wait_for()
    page.evaluate("window.isStill = true")
    page.fill("input[name=chainage_m]", "80")
    page.keyboard.press("Tab")
    page.get_by_role("heading", name="RP-2 on trial: return strand, 80 m").wait_for()
    # The page swapped the trial alone, and the next box kept the focus.
    assert page.evaluate("window.isStill")
    assert page.evaluate("document.activeElement.name") == "clearance_below_mm"
    assert "chainage_m=80" in page.url
    page.keyboard.type("16 1/2 in")
    page.keyboard.press("Enter")
    page.get_by_text("139.1 mm to spare").wait_for()
    page.fill("input[name=chainage_m]", "300")
    page.keyboard.press("Enter")
    page.get_by_text("A-1 is 200 m long: give a place on it.").wait_for()
    assert page.get_by_text("on trial:").count() == 0
    page.fill("input[name=chainage_m]", "95 m")
    page.keyboard.press("Enter")
    page.get_by_role("button", name="5 m towards the head").click()
    page.get_by_role("heading", name="RP-2 on trial: return strand, 100 m").wait_for()
    assert page.input_value("input[name=chainage_m]") == "100 m"
    assert "step" not in page.url
    page.get_by_role("link", name="Plan a survey here").click()
    page.wait_for_url("**/surveys/new/?conveyor=*&strand=return&chainage=100")
    assert page.input_value("input[name=chainage_m]").startswith("100")


def test_what_is_typed_while_an_answer_is_on_its_way_stays(belt, erin, page_of, live_server):
    page = page_of(erin)
    page.goto(f"{live_server.url}/placement/{belt.pk}/")
    held = []
    page.route(ASKED, lambda route: held.append(route))
    page.fill("input[name=clearance_below_mm]", "430 mm")
    with page.expect_request(lambda request: "clearance_below_mm=430" in request.url):
        page.keyboard.press("Tab")
    page.keyboard.type("125 mm")  # the answer to the first box is not there yet
    held[0].continue_()
    page.get_by_text("150 mm to spare: 430 mm of clearance below").wait_for()
    page.unroute(ASKED)
    assert page.input_value("input[name=clearance_beside_mm]") == "125 mm"
    assert page.evaluate("document.activeElement.name") == "clearance_beside_mm"
    # A step takes along what no answer has seen yet.
    at = page.input_value("input[name=chainage_m]")
    page.get_by_role("button", name="5 m towards the tail").click()
    page.wait_for_url("**clearance_beside_mm=125*")
    page.wait_for_function("at => document.querySelector('input[name=chainage_m]').value !== at", arg=at)
    assert page.input_value("input[name=clearance_below_mm]") == "430 mm"
    assert page.input_value("input[name=clearance_beside_mm]") == "125 mm"
    # The way back shows the boxes of the place that it shows.
    page.go_back()
    page.wait_for_function("at => document.querySelector('input[name=chainage_m]').value === at", arg=at)


def test_on_a_phone_nothing_is_pushed_out_of_the_page(belt, erin, page_of, live_server):
    page = page_of(erin)
    page.set_viewport_size({"width": 320, "height": 700})
    for address in (f"/placement/{belt.pk}/", "/placement/"):
        page.goto(f"{live_server.url}{address}")
        assert page.evaluate("() => document.documentElement.scrollWidth") <= 320
