"""One errand of each of the four people on the demo plant, from the start page to the last row."""

from __future__ import annotations

import datetime as dt
import re

import pytest
from playwright.sync_api import expect

pytestmark = pytest.mark.browser


def test_the_technician_closes_a_check_out_on_the_phone(site, sign_in):
    page = sign_in("technician-1", width=390, height=844)
    expect(page.get_by_role("heading", level=1)).to_contain_text("My round")
    expect(page.get_by_text("BW-S-04 Isolation of conveyors")).to_be_visible()
    stop = page.locator("section", has=page.get_by_role("link", name="P-02", exact=True)).last
    stop.get_by_role("link", name="Close out").click()
    expect(page.get_by_role("heading", name="Sensor wear")).to_be_visible()
    drive = page.get_by_label("Drive side", exact=True).first
    drive.fill("2 15/16 in")  # more than the 74 mm that were found last time: asked back before it is sent
    expect(page.get_by_role("button", name=re.compile("^It is ")).first).to_be_visible()
    drive.fill("2 7/8 in")
    expect(page.get_by_role("button", name=re.compile("^It is "))).to_have_count(0)
    page.get_by_label(re.compile("locked out|lockout", re.IGNORECASE)).first.check()
    page.get_by_role("radio", name="free").first.check()
    page.get_by_role("button", name=re.compile("Close out")).click()
    page.wait_for_url(re.compile(r"/visits/\d+/"))
    expect(page.get_by_text("73 mm (typed 2 7/8 in)").first).to_be_visible()


def test_the_planner_puts_a_late_check_off(site, sign_in):
    page = sign_in("planner-1")
    late = page.locator("section", has=page.get_by_role("heading", name=re.compile("^Late: ")))
    expect(late.get_by_text("41 days late")).to_be_visible()
    late.get_by_role("link", name=re.compile("device 47")).first.click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Sensor wear")
    page.get_by_role("link", name=re.compile("Put off", re.IGNORECASE)).click()
    page.get_by_label(re.compile("New end of the window")).fill(
        f"{dt.datetime.now(tz=dt.UTC).date() + dt.timedelta(days=14)}"
    )
    page.get_by_label(re.compile("reason", re.IGNORECASE)).fill("Bearing puller is out of the house until Monday.")
    page.get_by_role("button", name=re.compile("Put", re.IGNORECASE)).click()
    expect(page.get_by_text("Bearing puller is out of the house until Monday.").first).to_be_visible()


def test_the_engineer_follows_a_verdict_to_its_incidents(site, sign_in):
    page = sign_in("engineer-1")
    page.get_by_role("link", name=re.compile("K-07 return, device 41")).first.click()
    expect(page.get_by_text("25 in 7,000 h").first).to_be_visible()
    expect(page.locator("main")).to_contain_text("2.34 (1.20-4.70)")
    count = page.get_by_role("link", name="25", exact=True).first
    count.click()
    expect(page.get_by_text("25 rows")).to_be_visible()
    page.locator("table.register tbody tr").last.get_by_role("link").first.click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("K-07")


def test_the_manager_opens_the_rows_behind_a_figure(site, sign_in):
    page = sign_in("manager-1")
    expect(page.get_by_role("heading", level=1)).to_have_text("Are we getting better?")
    figure = page.locator("p.lede a").first
    n = figure.inner_text().strip()
    figure.click()
    expect(page.get_by_text(f"{n} rows")).to_be_visible()
    with page.expect_download() as download:
        page.get_by_role("link", name="CSV").click()
    assert len(download.value.path().read_text().splitlines()) == int(n) + 1


def test_the_engineer_sends_incidents_in_twice(site, sign_in, tmp_path):
    """The same file twice changes nothing; a row that cannot be is refused with its line and remedy."""
    sent = tmp_path / "incidents.csv"
    sent.write_text(
        "tag,when,strand,chainage [m],severity\n"
        "S-03,2026-03-02 10:15,return,22,contact\n"
        "s03,2026-03-03 11:00,return,24,drift\n"
        "S-0333,2026-03-04 11:00,return,24,drift\n"
    )
    page = sign_in("engineer-1")
    for n_new, button in ((2, "Write 2 new rows and keep 1 row for correction"), (0, "Keep 1 row for correction")):
        page.goto(f"{site.address}/imports/new/")
        page.get_by_label("What the rows are").select_option(label="Incidents")
        page.get_by_label("File, CSV or XLSX").set_input_files(sent)
        page.get_by_role("button", name="Read the file").click()
        page.wait_for_url(re.compile(r"/imports/\d+/$"))
        page.get_by_role("button", name=button, exact=True).click()
        site.manage("shell", "--verbosity=0", "-c", DO_WAITING_JOBS)
        expect(page.locator("main")).to_contain_text(f"{n_new} new")
    expect(page.locator("main")).to_contain_text("S-0333")


DO_WAITING_JOBS = (
    "from plant.models import Job; from plant.services.jobs import do_job; "
    "[do_job(pk) for pk in Job.objects.filter(state='waiting').values_list('pk', flat=True)]"
)
