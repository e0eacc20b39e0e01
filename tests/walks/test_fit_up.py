"""The technician fills a fit-up sheet in on a tablet: lines and drawing follow, and a reload loses nothing."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from installs.models import FitUp
from installs.services.fit_up import save_fit_up
from tests import make

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def job(belt_a1):
    model = make.device_model(belt_a1.plant, extension_most_mm=150.0, roller_drop_mm=120.0)
    return make.fitting(belt_a1, model)


def test_lines_and_drawing_follow_what_is_typed(page_of, live_server, tess, job):
    page = page_of(tess)
    page.set_viewport_size({"width": 820, "height": 1180})
    page.goto(f"{live_server.url}{job.get_absolute_url()}fit-up/")
    page.fill("#id_bracket_spacing_mm", "64 9/16 in")
    page.fill("#id_frame_length_mm", "1505")
    expect(page.locator("#line_extension_drive_mm")).to_contain_text("wanted 60.9 mm")
    expect(page.locator("#echo_bracket_spacing_mm")).to_have_text("= 1639.9 mm")
    expect(page.locator("#fit-up-figure svg text", has_text="spacing 1639.9 mm")).to_be_visible()
    page.fill("#id_frame_length_mm", "1700")
    expect(page.locator("#line_frame_length_mm")).to_contain_text("the frame is longer than the space")
    page.fill("#id_frame_length_mm", "1505")
    page.click("text=Save the sheet")
    expect(page.locator(".says")).to_contain_text(["The sheet is saved."])
    assert FitUp.objects.get().frame_length_mm == 1505


def test_a_reload_loses_nothing_and_a_clash_is_still_told(page_of, live_server, tess, pat, job):
    page = page_of(tess)
    page.set_viewport_size({"width": 390, "height": 844})
    address = f"{live_server.url}{job.get_absolute_url()}fit-up/"
    page.goto(address)
    page.fill("#id_bracket_spacing_mm", "1640")
    page.reload()
    expect(page.locator("#kept-words")).to_contain_text("Kept on this device and not saved yet")
    expect(page.locator("#id_bracket_spacing_mm")).to_have_value("1640")
    save_fit_up(fitting=job, by=pat, version=0, bracket_spacing_mm=1650.0)
    page.reload()
    expect(page.locator("#id_bracket_spacing_mm")).to_have_value("1640")
    page.click("text=Save the sheet")
    expect(page.locator(".says.warning").first).to_contain_text("Somebody else changed this sheet meanwhile")
    page.click("text=Save the sheet")
    expect(page.locator(".says").first).to_contain_text("The sheet is saved.")
    page.reload()
    expect(page.locator("#kept-words")).to_be_hidden()
    assert FitUp.objects.get().bracket_spacing_mm == 1640


def test_what_is_kept_can_be_thrown_away(page_of, live_server, tess, job):
    page = page_of(tess)
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto(f"{live_server.url}{job.get_absolute_url()}fit-up/")
    page.fill("#id_bracket_spacing_mm", "1640")
    page.reload()
    page.click("#kept-drop")
    expect(page.locator("#id_bracket_spacing_mm")).to_have_value("")
    expect(page.locator("#kept-words")).to_be_hidden()


@pytest.mark.parametrize("width", [320, 390, 820, 1440])
def test_sheet_and_torque_are_accessible_and_never_scroll_sideways(page_of, live_server, tess, job, width):
    from axe_playwright_python.sync_playwright import Axe

    save_fit_up(
        fitting=job, by=tess, version=0, bracket_spacing_mm=1640.0, frame_length_mm=1505.0, extension_drive_mm=66.0,
        extension_off_mm=56.0, gap_drive_mm=9.0, gap_off_mm=29.0, squareness_way="parallel", square_drive_mm=3000.0,
        square_off_mm=3009.0,
    )  # fmt: skip
    make.torque_wrench(job.plant)
    page = page_of(tess)
    page.set_viewport_size({"width": width, "height": 900})
    for name in ("fit-up", "torque"):
        page.goto(f"{live_server.url}{job.get_absolute_url()}{name}/")
        assert page.evaluate("() => document.documentElement.scrollWidth") <= width
        small = page.evaluate(
            "() => [...document.querySelectorAll('form.sheet input:not([type=hidden]):not([type=checkbox]), form.sheet "
            "select, form.sheet .foot button')].filter((each) => each.getBoundingClientRect().height < 56).length"
        )
        assert small == 0
        found = Axe().run(page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]})
        assert found.violations_count == 0, found.generate_report()
