"""Pages of models, devices and installations: who may, what is shown, how many queries, and the acts through forms."""

from __future__ import annotations

import csv
import datetime as dt
import io
import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from openpyxl import load_workbook

from installs.models import Device, DeviceModel, Fastener, Installation
from tests import make

LISTS = ["device-model-list", "device-list", "installation-list"]
MAY = dt.datetime(2026, 5, 4, 8, tzinfo=dt.UTC)


@pytest.fixture
def at(belt_a1):
    return make.installation(belt_a1, "20", installed_at=MAY)


def detail_urls(at):
    return [row.get_absolute_url() for row in (at, at.device, at.device.device_model)]


def test_everyone_of_the_plant_reads_and_nobody_else(client, at, mona, otto, stranger):
    for person, status in ((mona, 200), (otto, 404), (stranger, 403)):
        client.force_login(person)
        for url in detail_urls(at):
            assert client.get(url).status_code == status, (person, url)
    client.logout()
    assert client.get(at.get_absolute_url()).status_code == 302


@pytest.mark.parametrize(
    ("name", "role", "status"),
    [
        ("device-model-create", "erin", 200),
        ("device-model-create", "pat", 403),
        ("device-create", "pat", 200),
        ("device-create", "tess", 403),
        ("installation-create", "pat", 200),
        ("installation-create", "mona", 403),
    ],
)
def test_who_may_add(client, request, alder, name, role, status):
    client.force_login(request.getfixturevalue(role))
    assert client.get(reverse(name)).status_code == status


def test_who_may_change(client, at, tess, erin, otto):
    urls = [
        reverse("installation-update", args=[at.pk]),
        reverse("installation-remove", args=[at.pk]),
        reverse("device-update", args=[at.device_id]),
        reverse("device-model-update", args=[at.device.device_model_id]),
        reverse("fastener-create", args=[at.device.device_model_id]),
        reverse("fastener-update", args=[at.device.device_model.fasteners.first().pk]),
    ]
    for person, wanted in ((tess, {403}), (erin, {200}), (otto, {403, 404})):
        client.force_login(person)
        assert {client.get(url).status_code for url in urls} <= wanted, person


@pytest.mark.parametrize("name", LISTS)
def test_lists_take_the_same_queries_for_one_row_and_for_many(client, alder, belt_a1, mona, name):
    client.force_login(mona)
    make.installation(belt_a1, "1", chainage_m=10.0)

    def queries():
        with CaptureQueriesContext(connection) as caught:
            assert client.get(reverse(name)).status_code == 200
        return len(caught)

    queries()
    few = queries()
    for n in range(2, 14):
        model = make.device_model(alder, f"M-{n}")
        make.installation(belt_a1, device=make.device(alder, str(n), model), chainage_m=10.0 * n)
    assert queries() == few


def test_files_hold_the_same_rows(client, at, mona):
    client.force_login(mona)
    text = b"".join(client.get(reverse("installation-list") + "?format=csv").streaming_content).decode()
    lines = list(csv.reader(io.StringIO(text)))
    assert lines[1][:3] == ["20", "T-1", "A-1"]
    assert lines[1][6] == "2026-05-04T10:00:00+02:00"
    book = load_workbook(io.BytesIO(client.get(reverse("device-list") + "?format=xlsx").content))
    assert next(iter(book["rows"].iter_rows(min_row=2, values_only=True)))[4] == "A-1 return 100 m"
    text = b"".join(client.get(reverse("device-model-list") + "?format=csv").streaming_content).decode()
    lines = list(csv.reader(io.StringIO(text)))
    assert "not stated" not in text
    assert lines[1][lines[0].index("Sensor new [mm]")] == "76.0"


def test_what_is_not_stated_is_said_so(client, at, mona):
    client.force_login(mona)
    assert "not stated" in client.get(at.device.device_model.get_absolute_url()).content.decode()
    assert "not stated" in client.get(reverse("device-model-list")).content.decode()


@pytest.mark.parametrize(
    ("query", "shown"),
    [("", {"20"}), ("?state=removed", {"21"}), ("?state=all", {"20", "21"}), ("?strand=carry", set())],
)
def test_installations_are_filtered(client, at, mona, query, shown):
    make.installation(at.conveyor, "21", chainage_m=50.0, installed_at=MAY, removed_at=MAY + dt.timedelta(days=9))
    client.force_login(mona)
    answer = client.get(reverse("installation-list") + query)
    assert {row.record.device.number for row in answer.context["table"].rows} == shown


@pytest.mark.parametrize(
    ("query", "shown"),
    [("?state=free", {"21"}), ("?state=in_place", {"20"}), ("?state=scrapped", {"22"}), ("?text=SN-7", {"21"})],
)
def test_devices_are_filtered(client, at, alder, mona, query, shown):
    Device.objects.create(plant=alder, number="21", serial="SN-77", device_model=at.device.device_model)
    Device.objects.create(plant=alder, number="22", device_model=at.device.device_model, scrapped_on=MAY.date())
    client.force_login(mona)
    answer = client.get(reverse("device-list") + query)
    assert {row.record.number for row in answer.context["table"].rows} == shown


def test_a_device_is_found_by_number_serial_and_label(client, at, otto, mona):
    Device.objects.filter(pk=at.device_id).update(serial="SN-4711")
    at.device.refresh_from_db()
    client.force_login(mona)
    for text in ("20", "sn-4711", at.device.label_code.lower()):
        answer = client.get(reverse("find"), {"q": text})
        assert (answer.status_code, answer.url) == (302, at.get_absolute_url()), text
    client.force_login(otto)
    assert client.get(reverse("find"), {"q": at.device.label_code}).status_code == 200


def test_a_model_with_fasteners_through_the_forms(client, alder, erin):
    client.force_login(erin)
    erin.unit_system = "us"
    erin.save()
    answer = client.post(
        reverse("device-model-create"),
        {"name": "RP-2", "strand": "return", "pivot": "pivot", "sensor_new_mm": "3", "sensor_limit_mm": "2 11/16 in"},
    )
    made = DeviceModel.objects.get()
    assert answer.url == made.get_absolute_url()
    assert (made.sensor_new_mm, made.sensor_limit_mm) == (pytest.approx(76.2), pytest.approx(68.2625))
    client.post(
        reverse("fastener-create", args=[made.pk]),
        {"place": "clamp", "count": "4", "torque_nm": "55", "tolerance_pct": "10"},
    )
    assert Fastener.objects.get().torque_nm == pytest.approx(74.57, abs=0.01)


def test_an_installation_through_the_form_says_what_does_not_suit(client, belt_a1, alder, pat):
    device = make.device(alder, "30", make.device_model(alder, "RP-1", belt_width_most_mm=900.0))
    client.force_login(pat)
    sent = {
        "device": device.pk,
        "conveyor": belt_a1.pk,
        "strand": "return",
        "chainage_m": "120 m",
        "installed_at": "2026-05-04T10:00",
    }
    answer = client.post(reverse("installation-create"), sent, follow=True)
    row = Installation.objects.get()
    assert answer.redirect_chain[-1][0] == row.get_absolute_url()
    assert row.installed_at == MAY  # ten o'clock in the plant's summer time
    assert "1200 mm wide; RP-1 is stated for at most 900 mm" in answer.content.decode()
    again = client.post(reverse("installation-create"), {**sent, "client_key": uuid.uuid4(), "again": "on"})
    assert again.status_code == 422
    assert "Device 30 stands on A-1, return strand, at 120 m" in again.content.decode()


def test_a_removal_through_the_form(client, at, pat):
    client.force_login(pat)
    url = reverse("installation-remove", args=[at.pk])
    page = client.get(url).content.decode()
    assert "Remove device 20 from A-1?" in page
    assert "Lock out and get your permit" in page
    assert client.post(url, {"removed_at": "2026-06-04T10:00", "reason": "", "version": "1"}).status_code == 422
    answer = client.post(url, {"removed_at": "2026-06-04T10:00", "reason": "worn out", "version": "1"}, follow=True)
    assert "Removed: worn out." in answer.content.decode().replace("\n", " ")
    at.refresh_from_db()
    assert at.removed_at == dt.datetime(2026, 6, 4, 8, tzinfo=dt.UTC)


def test_the_second_editor_sees_the_first_ones_change(client, at, pat):
    client.force_login(pat)
    url = reverse("installation-update", args=[at.pk])
    sent = {"strand": "return", "chainage_m": "101", "installed_at": "2026-05-04T10:00", "version": "1"}
    assert client.post(url, {**sent, "access": "drive side"}).status_code == 302
    answer = client.post(url, {**sent, "chainage_m": "99", "access": "off side"})
    assert answer.status_code == 409
    assert "drive side" in answer.content.decode()
    assert Installation.objects.get().chainage_m == 101.0


def test_the_belts_page_lists_its_devices(client, at, mona):
    make.installation(at.conveyor, "21", chainage_m=50.0, installed_at=MAY, removed_at=MAY + dt.timedelta(days=9))
    client.force_login(mona)
    page = client.get(at.conveyor.get_absolute_url()).content.decode()
    assert "1 device stands on this belt" in page
    assert "1 device stood here before" in page


def test_the_dossier_says_where_it_steers(client, at, mona):
    client.force_login(mona)
    page = " ".join(client.get(at.get_absolute_url()).content.decode().split())
    assert "Model T-1 stands on the return strand at 100 m since 4 May 2026" in page
    assert "It steers from 50 m to 100 m." in page


def test_devices_stand_in_the_order_in_which_people_count(client, alder, tess):
    for number in ("10", "9", "1", "100", "A-7"):
        make.device(alder, number)
    client.force_login(tess)
    for query, shown in (("", ["1", "9", "10", "100", "A-7"]), ("?sort=-number", ["A-7", "100", "10", "9", "1"])):
        table = client.get(reverse("device-list") + query).context["table"]
        assert [row.record.number for row in table.rows] == shown
