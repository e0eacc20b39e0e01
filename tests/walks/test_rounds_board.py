"""The planner's errand at the board, by keyboard alone: move in time, to another person, take back, publish."""

from __future__ import annotations

import datetime as dt
import io

import icalendar
import pytest
from django.utils import timezone
from playwright.sync_api import expect
from pypdf import PdfReader

from inspections.models import CheckKind, Round, Stop
from inspections.services.rounds import lay
from plant.models import Job
from plant.services import jobs as job_services
from tests import make
from tests.walks.accessibility import ANY, barriers
from tests.walks.sign_ins import sign_off

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


def tab_to(page, words):
    """Press Tab until what has the focus says so, as anybody without a mouse does."""
    said = "() => document.activeElement.getAttribute('aria-label') ?? document.activeElement.textContent"
    for _press in range(120):
        page.keyboard.press("Tab")
        if words in page.evaluate(said).strip():
            return
    raise AssertionError(f"{words!r} is not reached by Tab")


def do_the_laying(page):
    """What the worker does meanwhile; the page learns of it by itself."""
    page.locator("#progress").wait_for()
    job = Job.objects.get(state=Job.State.WAITING)
    job.args["search_s"] = 0.3
    job.save(update_fields=["args"])
    page.evaluate("() => { window.isBefore = true; }")
    assert job_services.do_job(job.pk)
    page.wait_for_function("() => window.isBefore === undefined && document.readyState === 'complete'")
    expect(page.locator("#progress")).to_have_count(0)


def whose_stops():
    rows = Stop.objects.filter(round__in=Round.objects.published()).select_related("round__shift__person", "conveyor")
    return {row.conveyor.tag: str(row.round.shift.person) for row in rows}


def test_a_planners_day_at_the_board_by_keyboard_alone(
    built_in_kinds, alder, pat, tess, page_of, live_server, tomorrow
):
    """Lay, move, publish; somebody is away: lay the rest again, publish, print; the calendar follows."""
    look = CheckKind.objects.create(plant=alder, code="look", name="Look", needs_lockout=False, minutes=45)
    begin = dt.datetime(tomorrow.year, tomorrow.month, tomorrow.day, 6, tzinfo=alder.zone)
    tim = make.person("tim", alder, "technician")
    for who in (tess, tim):
        make.shift(who, alder, begin)
    for n, tag in enumerate(("A-1", "A-2"), 1):
        make.task(make.installation(make.conveyor(alder, tag=tag), str(n)), look, tomorrow)
    page = page_of(pat)
    keys = page.keyboard
    page.goto(f"{live_server.url}/rounds/?day={tomorrow.isoformat()}")
    tab_to(page, "Lay this day")
    keys.press("Enter")
    do_the_laying(page)

    tab_to(page, "A-1, ")
    before = standing()["A-1"]
    keys.press("ArrowRight")
    expect(page.locator("#spoken")).to_contain_text("A-1: ")
    assert standing()["A-1"][1] > before[1]
    tab_to(page, "Publish to phones")
    keys.press("Enter")
    expect(page.locator(".says").first).to_contain_text("Published: ")
    first = whose_stops()
    ill = first["A-1"]
    other = "tim" if ill == "tess" else "tess"

    tab_to(page, f"of {ill}")
    keys.press("Enter")
    tab_to(page, "Away: lay the rest again")
    keys.press("Enter")
    page.locator("h1", has_text=f"{ill} is away").wait_for()
    tab_to(page, "Away; lay the rest again")
    keys.press("Enter")
    page.locator("#board").wait_for()
    do_the_laying(page)
    assert whose_stops() == first  # on the phones nothing moves before it is published
    tab_to(page, "Publish to phones")
    keys.press("Enter")
    expect(page.locator(".says").first).to_contain_text("Published: ")
    assert whose_stops() == {"A-1": other, "A-2": other}

    tab_to(page, "Print sheets")
    sheets = page.evaluate("() => document.activeElement.href")
    for paper, size in (("a4", (595, 842)), ("us-letter", (612, 792))):
        pages = PdfReader(io.BytesIO(page.request.get(f"{sheets}&paper={paper}").body())).pages
        assert tuple(round(float(side)) for side in pages[0].mediabox[2:]) == size
        text = " ".join(each.extract_text() for each in pages)
        assert f"Round of {other}" in text
        assert text.index("Lock out and get your permit") < text.index("A-1")

    sign_off(page)
    page = page_of(tim if other == "tim" else tess)
    page.goto(f"{live_server.url}/rounds/calendar/")
    address = page.input_value("#address")
    sign_off(page)  # the address alone is the key
    events = icalendar.Calendar.from_ical(page.request.get(address).body()).walk("VEVENT")
    assert {each["SUMMARY"].split()[0].strip(",:") for each in events} == {"A-1", "A-2"}


def test_two_rounds_are_swapped_by_keyboard_alone(laid, pat, page_of, live_server, tomorrow):
    page = page_of(pat)
    page.goto(f"{live_server.url}/rounds/?day={tomorrow.isoformat()}")
    before = standing()
    who = before["A-1"][0]
    other = "tim" if who == "tess" else "tess"
    tab_to(page, f"of {who}")
    page.keyboard.press("Enter")
    tab_to(page, "Swap rounds")
    page.keyboard.press("Enter")
    page.locator("h1", has_text=f"Swap the round of {who}").wait_for()
    for _press in range(60):
        page.keyboard.press("Tab")
        if page.evaluate("() => document.activeElement.name") == "other":
            break
    page.keyboard.type(other)
    tab_to(page, "Swap their rounds")
    page.keyboard.press("Enter")
    expect(page.locator(".says").first).to_contain_text("Swapped as drafts")
    assert {tag: person for tag, (person, _at) in standing().items()} == {"A-1": other, "A-2": other}


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
    page = page_of(pat)
    for width in (390, 1440):
        page.set_viewport_size({"width": width, "height": 900})
        page.goto(f"{live_server.url}/rounds/?day={tomorrow.isoformat()}")
        assert barriers(page, impacts=ANY) == [], width
        assert page.evaluate("() => document.documentElement.scrollWidth") <= width
