"""A device is planned, fitted over two cycles, accepted, handed over; then its first checks are due. All by pages."""

from __future__ import annotations

import datetime as dt
import io

import pytest
from django.utils import timezone
from PIL import Image
from playwright.sync_api import expect

from inspections.models import Task
from installs.models import Fitting, Installation, Isolation, ModelPart
from plant.models import OutageWindow
from tests import make
from tests.walks.sign_ins import sign_off

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def spare(built_in_kinds, belt_a1):
    belt_a1.energies = "gravity take-up"
    belt_a1.save()
    device = make.device(belt_a1.plant, "70")
    ModelPart.objects.create(device_model=device.device_model, kind="part", name="clamp", count=4)
    make.check_plan(device.device_model, make.check_kind(), interval_days=5, opens_days_before=7)
    return device


@pytest.fixture
def window(belt_a1):
    starts_at = timezone.now() + dt.timedelta(days=1)
    return OutageWindow.objects.create(conveyor=belt_a1, starts_at=starts_at, ends_at=starts_at + dt.timedelta(hours=3))


def picture():
    buffer = io.BytesIO()
    Image.new("RGB", (300, 200), "brown").save(buffer, format="JPEG")
    return {"name": "pin.jpg", "mimeType": "image/jpeg", "buffer": buffer.getvalue()}


def press(page, words):
    """Press a button that leads to another page, and go on when that one is there."""
    with page.expect_event("load"):
        page.get_by_role("button", name=words).click()


def isolate(page):
    page.get_by_label("Isolation points and locks").fill("Main switch 4, lock 12")
    page.get_by_label("A start was tried after the isolation").check()
    press(page, "Record the isolation")
    expect(page.locator(".isolation")).to_contain_text("Recorded as isolated by tess since")


def confirm(page, *points):
    for point in points:
        press(page, f"Confirm: {point}")
        expect(page.locator(".says.success")).to_contain_text("Recorded with your name and the time.")


def fill_run(page, load, minutes, **offsets):
    page.get_by_label(load, exact=True).check()
    page.get_by_label("Watched for [min]").fill(minutes)
    stations = page.locator(".station")
    named = [row for row in stations.all() if row.get_by_label("Station").input_value()]
    for row, (offset, side) in zip((named[0], named[-1]), offsets.values(), strict=True):
        row.get_by_label("Offset [mm]").fill(offset)
        row.get_by_label("Belt lies to").select_option(label=side)


def measured(page):
    press(page, "Record the trial run")
    expect(page.locator(".says.success")).to_contain_text("The trial run is recorded.")


def test_from_the_plan_to_the_first_checks(spare, window, pat, tess, page_of, live_server):
    page = page_of(pat)
    page.goto(f"{live_server.url}/fittings/")
    expect(page.locator(".empty")).to_contain_text("Plan the first fitting")
    page.get_by_role("link", name="Plan a fitting").click()
    page.get_by_label("Conveyor").select_option(label="A-1")
    page.get_by_label("Chainage [m]").fill("100")
    page.get_by_label("Model").select_option(label="T-1")
    page.get_by_label("Device (if known)").select_option(label="70 (T-1)")
    page.get_by_label("Outage window").select_option(index=1)
    page.get_by_label("tess").check()
    press(page, "Plan the fitting")
    expect(page.locator(".says.warning")).to_contain_text("leaves 3 h from the planned start, the job takes 4 h")
    expect(page.get_by_role("heading", name="things are missing for this job")).to_be_visible()
    expect(page.get_by_text("clamp: 0 of 4 at hand.")).to_be_visible()
    page.goto(f"{live_server.url}/")
    expect(page.get_by_role("heading", name="1 fitting in the next three days, 1 lacks something")).to_be_visible()

    sign_off(page)
    page.set_viewport_size({"width": 390, "height": 844})
    page = page_of(tess)
    page.get_by_role("link", name="Open the job").click()
    expect(page.get_by_role("region", name="Before you go to the belt")).to_contain_text("gravity take-up")
    isolate(page)
    confirm(page, "parts and fasteners complete")
    press(page, "Confirm: transport restraint removed")
    expect(page.get_by_role("alert")).to_contain_text("Take a photo of the loose transport restraint")
    page.get_by_label("Photo of the loose restraint").set_input_files(picture())
    confirm(page, "transport restraint removed")
    confirm(page, "clear of structure")
    expect(page.locator("#next h2")).to_contain_text("Sign the torques off")
    page.locator("#next").get_by_role("link", name="Pass over, with a reason").click()
    for fastener in ("clamp 1", "clamp 2", "clamp 3", "clamp 4", "pivot 1"):
        page.get_by_label(fastener).check()
    page.get_by_label("Why they are passed over").fill("Torques are on the paper sheet.")
    page.get_by_role("button", name="Pass them over").click()
    expect(page.locator(".says.success")).to_contain_text("Passed over.")
    expect(page.get_by_text("pivot 1 passed over: Torques are on the paper sheet. (tess, ").first).to_be_visible()
    confirm(page, "guards back", "people clear", "locks handed back")
    expect(page.locator(".isolation")).to_contain_text("The locks of cycle 1 are recorded as handed back")
    # The phone is quick: twenty minutes of watching cannot lie between the locks and now.
    fill_run(page, "Empty", "20", first=("72", "drive side"), last=("10", "off side"))
    page.get_by_role("button", name="Record the trial run").click()
    asked = page.locator(".asked")
    expect(asked).to_contain_text("20 min, but only")
    expect(asked).to_contain_text("Correct the start or the minutes, or say why they stand")
    asked.get_by_label("Why these times stand").fill("The locks came back earlier; I wrote them down late.")
    measured(page)
    expect(page.get_by_text("Confirmed: The locks came back earlier; I wrote them down late.")).to_be_visible()
    expect(page.locator("#next h2")).to_contain_text("Record the isolation")

    isolate(page)
    # In and out stand whole in their half of a phone's page.
    assert page.locator(".pair .ways").count() == 2
    assert page.evaluate(
        "() => [...document.querySelectorAll('.pair .ways')].every(each => each.scrollWidth <= each.clientWidth)"
    )
    page.get_by_label("Drive side moved by [mm]").fill("6")
    page.get_by_label("Off side moved by [mm]").fill("6")
    press(page, "Record the adjustment")
    confirm(page, "clear of structure", "guards back", "people clear", "locks handed back")
    job = Fitting.objects.get()
    make.time_passes(job, 25)
    fill_run(page, "Empty", "20", first=("18", "drive side"), last=("6", "off side"))
    measured(page)
    make.time_passes(job, 40)
    fill_run(page, "Loaded", "35", first=("22", "drive side"), last=("9", "off side"))
    measured(page)
    expect(page.get_by_text("The belt answered the last move the right way")).to_be_visible()
    for width in (320, 390, 820, 1440):
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("() => document.documentElement.scrollWidth") <= width
    page.get_by_label("why it is accepted although").fill("Measures and torques are on paper.")
    press(page, "Accept with my name")
    assert Installation.objects.count() == 0
    page.get_by_label("Handed over to").fill("shift B")
    press(page, "Hand over with my name")
    expect(page.locator(".says.success")).to_contain_text("The device is in service.")
    page.get_by_role("link", name="To the installation").click()
    expect(page.get_by_role("heading", name="A-1 device 70")).to_be_visible()
    expect(page.get_by_text("Sensor wear").first).to_be_visible()

    assert Isolation.objects.count() == 2
    installation = Installation.objects.get()
    assert Fitting.objects.get().installation == installation
    assert Task.objects.open().filter(installation=installation).count() >= 1
