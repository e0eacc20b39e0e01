"""The reliability engineer follows each story of the demo plant from the list of verdicts to its last incident row."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

pytestmark = pytest.mark.browser

# Counts, interval and verdict of each story; the intervals were worked out with scipy's exact binomial limits.
STORIES = [
    ("S-12", "device 20", "29 in 4,800 h", "6 in 4,700 h", "0.21 (0.07-0.52)", "fewer incidents"),
    ("L-06", "devices 56 + 57", "21 in 4,500 h", "6 in 4,400 h", "0.29 (0.10-0.75)", "fewer incidents"),
    ("Q-04", "device 4", "24 in 4,400 h", "8 in 4,100 h", "0.36 (0.14-0.82)", "fewer incidents"),
    ("P-05", "device 15", "12 in 4,600 h", "5 in 4,500 h", "0.43 (0.12-1.30)", "no clear change"),
    ("S-15", "device 22", "20 in 4,900 h", "3 in 820 h", "0.90 (0.17-3.02)", "too early"),
    ("Y-09", "device 34", "16 in 5,000 h", "15 in 5,000 h", "0.94 (0.43-2.02)", "no clear change"),
    ("Y-03", "device 30", "15 in 5,000 h", "14 in 4,900 h", "0.95 (0.43-2.12)", "no clear change"),
    ("K-07", "device 41", "16 in 10,500 h", "25 in 7,000 h", "2.34 (1.20-4.70)", "more incidents"),
    ("L-03", "device 48", "10 in 4,400 h", "10 in 8,800 h", "0.50 (0.19-1.34)", "no clear change"),
    ("S-21", "device 25", "14 in 4,900 h", "0 in 95 h", "0.00 (0.00-15.5", "too early"),
]


def row_of(page, tag: str, devices: str):
    exact = re.compile(rf"{re.escape(tag)}\s*{re.escape(devices)}(?!\d)")
    return page.locator("table.register").first.locator("tbody tr").filter(has_text=exact)


def test_each_story_leads_to_its_rows(site, sign_in):
    page = sign_in("engineer-1")
    for tag, devices, before, after, ratio, verdict in STORIES:
        page.goto(f"{site.address}/effect/")
        row = row_of(page, tag, devices)
        for words in (before, after, ratio, verdict):
            expect(row).to_contain_text(words)
        row.get_by_role("link", name=tag).click()
        expect(page.locator("main")).to_contain_text(ratio)
        # From the keyboard: the count of each side opens exactly its rows, and the last of them is an incident.
        for side, counted in (("Before", before), ("After", after)):
            n = int(counted.split(" in ")[0])
            own = page.url
            line = page.locator("table.sides tr").filter(has=page.get_by_text(side, exact=True))
            line.get_by_role("link").first.focus()
            page.keyboard.press("Enter")
            page.wait_for_url(re.compile(r"/incidents/\?"))
            if n == 0:
                expect(page.get_by_text("No row fits this filter.")).to_be_visible()
            else:
                expect(page.get_by_text(f"{n} row{'s' if n > 1 else ''}.", exact=False).first).to_be_visible()
                page.locator("table.register tbody tr").last.get_by_role("link").first.click()
                expect(page.get_by_role("heading", level=1)).to_contain_text(tag)
            page.goto(own)


def test_the_wander_that_moved_upstream_stands_beside_the_zone(site, sign_in):
    page = sign_in("engineer-1")
    page.goto(f"{site.address}/effect/")
    row_of(page, "L-03", "device 48").get_by_role("link", name="L-03").click()
    panel = page.locator("section").filter(has=page.get_by_role("heading", name="Moved, not cured?"))
    upstream = panel.locator("tbody tr").filter(has_text="upstream of the zone")
    for words in ("160 m – 210 m", "1.60 (0.56-"):
        expect(upstream).to_contain_text(words)
    expect(upstream.locator("td.num").nth(0)).to_have_text("5")
    expect(upstream.locator("td.num").nth(1)).to_have_text("16")


def test_the_offsets_tell_of_a_device_that_works_and_of_one_that_does_not(site, sign_in):
    page = sign_in("engineer-1")
    for tag, devices, words in (
        ("S-12", "device 20", "the belt lies nearer to its line"),
        ("Y-03", "device 30", "no clear change of the offset|the same change at every station"),
    ):
        page.goto(f"{site.address}/effect/")
        row_of(page, tag, devices).get_by_role("link", name=tag).click()
        expect(page.locator("#offset-answer p").first).to_contain_text(re.compile(words))


def test_a_verdict_that_stands_among_all_is_found_by_the_filter(site, sign_in):
    page = sign_in("engineer-1")
    page.goto(f"{site.address}/effect/")
    page.get_by_label("Among all").select_option("stands")
    page.get_by_role("button", name="Show", exact=True).click()
    expect(row_of(page, "S-12", "device 20")).to_be_visible()
    expect(row_of(page, "Y-03", "device 30")).to_have_count(0)


def test_a_note_is_kept_and_two_periods_are_compared(site, sign_in):
    page = sign_in("engineer-1")
    page.goto(f"{site.address}/effect/")
    row_of(page, "Y-03", "device 30").get_by_role("link", name="Y-03").click()
    page.get_by_role("link", name="Write a note").click()
    page.get_by_label(re.compile("note", re.IGNORECASE)).fill("The restraint strap was found in place.")
    page.get_by_role("button", name="Keep this note").click()
    expect(page.locator("#notes")).to_contain_text("The restraint strap was found in place.")
    expect(page.locator("#notes")).to_contain_text("engineer-1")
    page.get_by_role("link", name="Compare two periods").click()
    page.get_by_role("button", name="Compare", exact=True).click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Two periods of Y-03, in reach of device 30")
    expect(page.get_by_text("perhaps after a look at the counts")).to_be_visible()
