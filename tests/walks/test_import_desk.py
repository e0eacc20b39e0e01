"""The planner sends a file in from a phone: what was understood, progress, the result, and a bad row mended there."""

from __future__ import annotations

import re

import pytest

from plant.models import ImportBatch, Incident, Job, MeterReading
from plant.services import import_writing, jobs
from tests.walks.accessibility import barriers

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

ROWS = (
    "tag,when,severity,strand,chainage [ft],note\n"
    "A-1,2026-03-01 10:00,drift,return,100,one\n"
    "A-l,2026-03-02 10:00,contact,return,110,two\n"
    "A-1,2026-03-03 10:00,spill,carry,120,three\n"
)
PHONE = {"width": 390, "height": 844}


@pytest.fixture(autouse=True)
def files_of_the_test(tmp_path, settings):
    settings.MEDIA_ROOT = tmp_path


def send(page, live_server, text, subject="incidents"):
    page.set_viewport_size(PHONE)
    page.goto(f"{live_server.url}/imports/")
    look(page)
    page.select_option("[name=subject]", subject)
    page.set_input_files(
        "input[name=file]", {"name": "log.csv", "mimeType": "text/csv", "buffer": text.encode("utf-8")}
    )
    page.get_by_role("button", name="Read the file").click()
    page.wait_for_url("**/imports/*/")
    look(page)


def look(page):
    """It fits, buttons and boxes are large enough for a thumb, and there is no serious barrier."""
    assert page.evaluate("() => document.documentElement.scrollWidth") <= PHONE["width"]
    small = page.evaluate(
        """() => [...document.querySelectorAll("main button, main select, main input:not([type=hidden])"
            + ":not([type=checkbox])")]
            .filter((each) => each.getClientRects().length && each.getBoundingClientRect().height < 44)
            .map((each) => each.name || each.textContent)"""
    )
    assert small == []
    assert barriers(page) == []


def work(page, *, seen):
    """The worker's part, as far as `seen` rows first, so that the page can be watched."""
    job = Job.objects.unfinished().get()
    handle = jobs.take_job(job.pk)
    handle.progress(seen, 3)
    page.wait_for_selector(f"#bar[value='{seen}']")  # the page asks by itself
    look(page)
    # The data base of the tests has one memory for all threads: the page asks nothing while rows are written into it.
    page.route("**/progress/", lambda route: route.fulfill(status=204))
    result = import_writing.run_import(handle, job.args["batch"])
    jobs.end_job(handle, Job.State.DONE, result=result)
    page.unroute("**/progress/")
    page.wait_for_selector("#counts")  # and loads the result by itself


def test_a_file_from_the_phone_to_the_last_mended_row(live_server, pat, belt_a1, page_of):
    page = page_of(pat)
    send(page, live_server, ROWS)
    words = page.locator("main").inner_text()
    assert "1 of the 3 rows tried out looks wrong" in words
    assert "30.5 m" in words
    assert Incident.objects.count() == 0

    page.get_by_role("button", name="Write 2 new rows and keep 1 row for correction").click()
    page.wait_for_selector("#bar")
    work(page, seen=1)
    look(page)
    assert "1 refused row waits for correction" in page.locator("#counts").inner_text()
    assert "The nearest tag is A-1" in page.locator("form.refused").inner_text()

    row = page.locator("form.refused")
    row.get_by_label("tag").fill("A1")
    row.get_by_role("button", name="Write this row").click()
    page.get_by_text("corrected and written").wait_for()
    assert "All rows are in the book" in page.locator("#counts").inner_text()
    look(page)
    assert list(Incident.objects.order_by("happened_at").values_list("note", flat=True)) == ["one", "two", "three"]

    page.goto(f"{live_server.url}/notices/")
    page.get_by_role("link", name="Import of log.csv is done: 2 new").click()
    page.wait_for_url("**/imports/*/")
    assert "0 refused" in page.locator("#counts").inner_text()


def test_all_rows_or_none_is_watched_and_keeps_all_out(live_server, pat, belt_a1, page_of):
    page = page_of(pat)
    send(page, live_server, ROWS)
    page.check("#all_or_nothing")
    page.get_by_role("button", name=re.compile("^Write ")).click()
    page.wait_for_selector("#bar")
    work(page, seen=2)
    look(page)
    assert "Nothing was written: 1 row is wrong" in page.locator("#counts").inner_text()
    assert Incident.objects.count() == 0
    assert ImportBatch.objects.get().state == "refused"


def test_a_reading_that_the_meter_really_shows_is_kept_from_the_page(live_server, pat, belt_a1, page_of):
    page = page_of(pat)
    text = "tag,date,reading\nA-1,2026-03-01,1000\nA-1,2026-03-02,1400\nA-1,2026-03-03,1410\n"
    send(page, live_server, text, "meter_readings")
    page.get_by_role("button", name=re.compile("^Write ")).click()
    page.wait_for_selector("#bar")
    work(page, seen=1)
    first = page.locator("form.refused").first
    first.get_by_label("The meter really shows this").check()
    look(page)
    first.get_by_role("button", name="Write this row").click()
    page.get_by_text("corrected and written").first.wait_for()
    assert MeterReading.objects.filter(reading_h=1400.0).exists()


def test_equal_rows_and_a_file_sent_before_are_said_on_the_phone(live_server, pat, belt_a1, page_of):
    page = page_of(pat)
    text = "tag,when,note\nA-1,2026-03-01,twice\nA-1,2026-03-01,twice\nA-1,2097-03-01,ahead\n"
    send(page, live_server, text)
    words = page.locator("main").inner_text()
    assert "Line 3 is equal to a row above it in every cell and is not counted again." in words
    assert "2026-03-01, time not known" in words
    assert "1 of the 3 rows tried out looks wrong" in words
    assert "is in the future" in words
    page.get_by_role("button", name=re.compile("^Write ")).click()
    page.wait_for_selector("#bar")
    work(page, seen=1)
    look(page)
    assert Incident.objects.count() == 1
    page.get_by_role("button", name="Write it as an event of its own").click()
    page.get_by_text("written as an event of its own").wait_for()
    look(page)
    assert Incident.objects.count() == 2

    send(page, live_server, text)
    words = page.locator("main").inner_text()
    assert "This file was imported on" in words
    assert "1 row differs from what the book has now (line 4)" in words
    page.get_by_role("link", name="What came of it").click()
    page.get_by_text("Refused: 1 row").wait_for()
