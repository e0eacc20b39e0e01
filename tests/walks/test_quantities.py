"""A number typed anywhere on the site that may mean several things: a button for each, before and after it is sent."""

from __future__ import annotations

import pytest
from django.urls import reverse
from playwright.sync_api import expect

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_a_length_that_may_mean_two_things_is_settled_by_a_button(live_server, pat, belt_a1, page_of):
    page = page_of(pat)
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto(f"{live_server.url}{reverse('conveyor-update', args=[belt_a1.pk])}")
    echo = page.locator("#echo_length_m")
    page.fill("[name=length_m]", "400 1/2")
    echo.get_by_role("button", name="It is 400.5 m").wait_for()
    assert echo.get_by_role("button").all_inner_texts() == ["It is 400.5 m", "It is 400 1/2 ft = 122.1 m"]
    assert page.evaluate("() => document.documentElement.scrollWidth") <= 390
    with page.expect_navigation():  # back to the same address: neither it nor the words tell one page from the other
        page.click("main form.record button.main")
    echo.get_by_role("button", name="It is 400 1/2 ft").wait_for()  # and at once after it was refused
    echo.get_by_role("button", name="It is 400 1/2 ft").click()
    assert page.input_value("[name=length_m]") == "400 1/2 ft"
    expect(echo.get_by_role("button")).to_have_count(0)  # they show "= 122.1 m" too, so the words alone tell nothing
    echo.get_by_text("= 122.1 m").wait_for()
    page.fill("[name=belt_width_mm]", "51 1/2")
    page.locator("#echo_belt_width_mm").get_by_text("= 1308.1 mm (a fraction is read as inches)").wait_for()
    page.click("main form.record button.main")
    page.wait_for_url("**/conveyors/*/")
    belt_a1.refresh_from_db()
    assert belt_a1.length_m == pytest.approx(400.5 * 0.3048)
    assert belt_a1.belt_width_mm == pytest.approx(1308.1)
