"""The technician fills a fit-up sheet in on a tablet: lines and drawing follow, and a reload loses nothing."""

from __future__ import annotations

import itertools
import re

import pytest
from playwright.sync_api import expect

from installs.models import FitUp
from installs.services.fit_up import save_fit_up
from tests import make
from tests.walks.accessibility import ANY, barriers

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
    # A day as on the site's pages, whatever the browser's language: 3 Dec 2026, 16:58.
    typed = re.compile(r"Kept on this device and not saved yet, typed \d{1,2} [A-Z][a-z]{2} \d{4}, \d\d:\d\d\.")
    expect(page.locator("#kept-words")).to_contain_text(typed)
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


def test_sheet_and_torque_are_accessible_and_never_scroll_sideways(page_of, live_server, tess, job):
    save_fit_up(
        fitting=job, by=tess, version=0, bracket_spacing_mm=1640.0, frame_length_mm=1505.0, extension_drive_mm=66.0,
        extension_off_mm=56.0, gap_drive_mm=9.0, gap_off_mm=29.0, squareness_way="parallel", square_drive_mm=3000.0,
        square_off_mm=3009.0,
    )  # fmt: skip
    make.torque_wrench(job.plant)
    page = page_of(tess)
    for name, width in itertools.product(("fit-up", "torque"), (320, 390, 820, 1440)):
        page.set_viewport_size({"width": width, "height": 900})
        page.goto(f"{live_server.url}{job.get_absolute_url()}{name}/")
        assert page.evaluate("() => document.documentElement.scrollWidth") <= width
        small = page.evaluate(
            "() => [...document.querySelectorAll('form.sheet input:not([type=hidden]):not([type=checkbox]), form.sheet "
            "select, form.sheet .foot button')].filter((each) => each.getBoundingClientRect().height < 56).length"
        )
        assert small == 0
        assert barriers(page, impacts=ANY) == [], (name, width)


# What the boxes hold in each case of the drawing, and whose units the page speaks.
DRAWN = {
    "empty": ("metric", {}),
    "fitted": ("metric", {
        "bracket_spacing_mm": "1640", "frame_length_mm": "1505", "extension_drive_mm": "61", "extension_off_mm": "61",
        "belt_width_mm": "1196", "sensor_clear_mm": "1234", "gap_drive_mm": "19", "gap_off_mm": "19",
        "belt_mark_drive_mm": "850", "belt_mark_off_mm": "850", "bracket_height_drive_mm": "983",
        "bracket_height_off_mm": "983",
    }),
    "to one side": ("metric", {
        "bracket_spacing_mm": "1640", "frame_length_mm": "1310", "extension_drive_mm": "145", "extension_off_mm": "12",
        "belt_width_mm": "1196", "sensor_clear_mm": "1600", "gap_drive_mm": "3.5", "gap_off_mm": "400.5",
    }),
    "not possible": ("metric", {"bracket_spacing_mm": "1500", "frame_length_mm": "1700", "extension_drive_mm": "300"}),
    "cut off": ("metric", {
        "bracket_spacing_mm": "1640", "frame_length_mm": "1505", "belt_mark_drive_mm": "850",
        "belt_mark_off_mm": "1850", "bracket_height_drive_mm": "2983", "bracket_height_off_mm": "983",
    }),
    "inches": ("us", {
        "bracket_spacing_mm": "64 9/16", "frame_length_mm": "59 1/4", "extension_drive_mm": "2 13/32",
        "extension_off_mm": "2 13/32", "belt_width_mm": "47 1/16", "sensor_clear_mm": "48 9/16",
        "gap_drive_mm": "11/16", "gap_off_mm": "13/16",
    }),
}  # fmt: skip
MEASURED_IN_THE_BROWSER = """() => {
  const box = (each) => { const r = each.getBoundingClientRect(); return [r.left, r.top, r.right, r.bottom]; };
  const figure = document.getElementById("fit-up-figure"), svg = figure.querySelector("svg");
  return {
    figure: box(figure), svg: box(svg), screen: document.documentElement.clientWidth,
    shapes: [...svg.querySelectorAll("rect, path, circle")].map(box),
    texts: [...svg.querySelectorAll("text")].map((each) => ({ words: each.textContent, box: box(each) })),
    frame: svg.querySelector('rect[fill="#c9dbe2"]').getBoundingClientRect().width,
    posts: [...svg.querySelectorAll("rect")].filter((each) => Number(each.getAttribute("height")) === 44).map(box),
  };
}"""


def lies_inside(inner, outer, slack=0.75):
    """Whether a box lies in another; strokes are a little wider than their path."""
    return all((inner[0] >= outer[0] - slack, inner[1] >= outer[1] - slack,
                inner[2] <= outer[2] + slack, inner[3] <= outer[3] + slack))  # fmt: skip


def overlap(one, other, slack=0.5):
    return all((one[0] < other[2] - slack, other[0] < one[2] - slack, one[1] < other[3] - slack,
                other[1] < one[3] - slack))  # fmt: skip


def test_the_drawing_stays_in_its_box_and_follows_the_numbers(page_of, live_server, tess, job):
    page = page_of(tess)
    page.wait_for_load_state("networkidle")  # what the start page still asks for would meet the change of units
    for name, (system, boxes) in DRAWN.items():
        tess.unit_system = system
        tess.save()
        page.goto(f"{live_server.url}{job.get_absolute_url()}fit-up/")
        page.evaluate("() => localStorage.clear()")
        page.reload()
        if boxes:
            with page.expect_response("**/fit-up/live/") as drawn:
                for box, words in boxes.items():
                    page.fill(f"#id_{box}", words)
            drawn.value.finished()
            wanted = "spacing 64 9/16 in" if system == "us" else f"spacing {boxes['bracket_spacing_mm']} mm"
            expect(page.locator("#fit-up-figure svg text", has_text=wanted)).to_be_visible()
        page.wait_for_load_state("networkidle")  # a page that is left while it asks complains
        for width in (390, 820, 1440):
            page.set_viewport_size({"width": width, "height": 900})
            seen = page.evaluate(MEASURED_IN_THE_BROWSER)
            judge_drawing(seen, f"{name}, {width} px")
            if boxes and system == "metric":
                between = seen["posts"][1][0] - seen["posts"][0][2]
                frame, spacing = float(boxes["frame_length_mm"]), float(boxes["bracket_spacing_mm"])
                assert seen["frame"] / between == pytest.approx(frame / spacing, rel=0.02), (name, width)


def judge_drawing(seen, case):
    """The drawing lies in its box and on the screen, its shapes in the drawing, and no word over another."""
    assert lies_inside(seen["svg"], seen["figure"]), case
    assert seen["svg"][2] <= seen["screen"], case
    for shape in seen["shapes"]:
        assert lies_inside(shape, seen["svg"], slack=3), (case, shape)
    for number, text in enumerate(seen["texts"]):
        assert lies_inside(text["box"], seen["svg"]), (case, text["words"])
        for other in seen["texts"][:number]:
            assert not overlap(text["box"], other["box"]), (case, text["words"], other["words"])


OUT_OF_SIGHT = """() => {
  const each = document.activeElement, r = each.getBoundingClientRect();
  if (each === document.body || !r.width) return "";
  const foot = document.querySelector("form.sheet .foot"), f = foot && foot.getBoundingClientRect();
  const covered = f && !foot.contains(each) && r.bottom > f.top + 1 && r.top < f.bottom;
  const outside = r.top < -1 || r.bottom > innerHeight + 1;
  const style = getComputedStyle(each);
  const unseen = style.outlineStyle === "none" || parseFloat(style.outlineWidth) === 0;
  return covered || outside || unseen ? `${each.tagName} ${each.name || each.textContent.trim()} ` +
    (covered ? "under the foot" : outside ? "outside" : "no outline") : "";
}"""


@pytest.mark.parametrize("name", ["fit-up", "torque"])
def test_every_box_is_reached_and_seen_by_keyboard_alone(page_of, live_server, tess, job, name):
    page = page_of(tess)
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto(f"{live_server.url}{job.get_absolute_url()}{name}/")
    reached, hidden = set(), []
    for _press in range(90):
        page.keyboard.press("Tab")
        if unseen := page.evaluate(OUT_OF_SIGHT):
            hidden.append(unseen)
        reached.add(page.evaluate("() => document.activeElement.name || document.activeElement.textContent.trim()"))
        if page.evaluate("() => document.activeElement.matches('form.sheet .foot button')"):
            break
    assert hidden == []
    boxes = page.evaluate(
        "() => [...document.querySelectorAll('form.sheet input:not([type=hidden]), form.sheet select, form.sheet "
        "textarea')].map((each) => each.name)"
    )
    assert boxes
    assert set(boxes) <= reached
    page.keyboard.press("Enter")  # the foot is the last stop, and it saves
    expect(page.locator(".says, .error").first).to_be_visible()
