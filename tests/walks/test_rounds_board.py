"""The planner's errand at the board, by keyboard alone: move in time, to another person, take back, publish."""

from __future__ import annotations

import datetime as dt

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from inspections.models import CheckKind, Round, Stop
from inspections.services.rounds import lay
from tests import make

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def tomorrow(alder):
    return timezone.localdate(timezone=alder.zone) + dt.timedelta(days=1)


@pytest.fixture
def laid(built_in_kinds, alder, pat, tess, tomorrow):
    """A look at A-1 and a check with a stopped belt at A-2, both on one round; a second person is free."""
    look = CheckKind.objects.create(plant=alder, code="look", name="Look", needs_lockout=False, minutes=45)
    begin = dt.datetime(tomorrow.year, tomorrow.month, tomorrow.day, 6, tzinfo=alder.zone)
    for who in (tess, make.person("tim", alder, "technician")):
        make.shift(who, alder, begin)
    for n, (tag, kind) in enumerate((("A-1", look), ("A-2", make.check_kind())), 1):
        make.task(make.installation(make.conveyor(alder, tag=tag), str(n)), kind, tomorrow)
    make.outage(Stop._meta.get_field("conveyor").related_model.objects.get(tag="A-2"), begin + dt.timedelta(hours=2), 3)
    with timezone.override(alder.zone):
        lay(plant=alder, first_day=tomorrow, last_day=tomorrow, by=pat, iterations=60)


def standing():
    rows = Stop.objects.filter(round__superseded_at__isnull=True).select_related("round__shift__person", "conveyor")
    zone = rows[0].round.plant.zone
    return {
        stop.conveyor.tag: (str(stop.round.shift.person), timezone.localtime(stop.starts_at, zone)) for stop in rows
    }


def test_the_board_by_keyboard_alone(laid, alder, pat, page_of, live_server, tomorrow):
    page = page_of(pat)
    keys, spoken = page.keyboard, page.locator("#spoken")
    page.goto(f"{live_server.url}/rounds/?day={tomorrow.isoformat()}")
    before = standing()
    who = before["A-1"][0]
    other = "tim" if who == "tess" else "tess"
    # By Tab to the first stop, as anybody without a mouse gets there.
    for _press in range(40):
        keys.press("Tab")
        if page.evaluate("() => document.activeElement.dataset.tag ?? ''") == "A-1":
            break
    focused = page.locator(":focus")
    expect(focused).to_have_attribute("data-tag", "A-1")

    keys.press("ArrowRight")
    expect(spoken).to_contain_text(f"A-1: {who}, 06:")
    assert standing()["A-1"][1] == before["A-1"][1] + dt.timedelta(minutes=15)
    expect(page.locator(":focus")).to_have_attribute("data-tag", "A-1")  # the focus stays with the stop

    keys.press("m")
    dialog = page.get_by_role("dialog")
    expect(dialog).to_be_visible()
    expect(page.locator(":focus")).to_contain_text(other)
    keys.press("Enter")
    expect(spoken).to_contain_text(f"A-1: {other}, 06:")
    assert standing()["A-1"][0] == other
    expect(page.locator(":focus")).to_have_attribute("data-tag", "A-1")

    keys.press("Escape")
    expect(spoken).to_contain_text(f"A-1: {who}, ")
    keys.press("Escape")
    expect(page.locator("#spoken")).to_contain_text(before["A-1"][1].strftime("%H:%M"))
    assert standing() == before
    keys.press("Escape")
    expect(spoken).to_have_text("Nothing to take back.")

    # Out of its window: placed, blamed in words, and not published.
    keys.press("ArrowDown")
    expect(page.locator(":focus")).to_have_attribute("data-tag", "A-2")
    for _press in range(12):
        keys.press("ArrowRight")
        page.wait_for_function("() => !document.getElementById('board').hasAttribute('aria-busy')")
    expect(spoken).to_contain_text("needs a stopped belt and lies outside its outage windows")
    expect(page.locator("#faults")).to_contain_text("1 thing stands against publishing")
    page.get_by_role("button", name="Publish to phones").focus()
    keys.press("Enter")
    expect(page.locator(".says").first).to_contain_text("Not published, 1 thing stands against it")
    assert not Round.objects.published().exists()

    page.get_by_role("button", name="A-2", exact=False).first.focus()
    while page.locator("#faults").count():
        keys.press("ArrowLeft")
        page.wait_for_function("() => !document.getElementById('board').hasAttribute('aria-busy')")
    page.get_by_role("button", name="Publish to phones").focus()
    keys.press("Enter")
    expect(page.locator(".says").first).to_contain_text("Published: ")
    assert Round.objects.published().exists()


def test_a_stop_is_dragged_to_another_person(laid, pat, page_of, live_server, tomorrow):
    page = page_of(pat)
    page.set_viewport_size({"width": 1440, "height": 900})
    page.goto(f"{live_server.url}/rounds/?day={tomorrow.isoformat()}")
    who = standing()["A-1"][0]
    other = "tim" if who == "tess" else "tess"
    stop = page.locator("[data-tag='A-1']").bounding_box()
    track = page.locator(f".lane[data-who='{other}'] .track").bounding_box()
    page.mouse.move(stop["x"] + 5, stop["y"] + 10)
    page.mouse.down()
    page.mouse.move(track["x"] + track["width"] / 2, track["y"] + 20, steps=8)
    page.mouse.up()
    expect(page.locator("#spoken")).to_contain_text(f"A-1: {other}, ")
    # Half of a shift of eight hours from six o'clock.
    person, at = standing()["A-1"]
    assert person == other
    assert abs(at.hour * 60 + at.minute - 10 * 60) <= 10


def test_the_board_passes_the_accessibility_rules(laid, pat, page_of, live_server, tomorrow):
    from axe_playwright_python.sync_playwright import Axe

    page = page_of(pat)
    for width in (390, 1440):
        page.set_viewport_size({"width": width, "height": 900})
        page.goto(f"{live_server.url}/rounds/?day={tomorrow.isoformat()}")
        tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
        found = Axe().run(page, options={"runOnly": {"type": "tag", "values": tags}})
        assert [each["id"] for each in found.response["violations"]] == [], found.generate_report()
        assert page.evaluate("() => document.documentElement.scrollWidth") <= width
