"""Pages of a device's life in its place: who may, and the acts through forms."""

from __future__ import annotations

import datetime as dt
import uuid

import pytest
from django.urls import reverse

from installs.models import FittingNeed, OutOfService, PartChange
from plant.calc.units import QuantityKind, UnitSystem, format_quantity
from tests import make

MAY = dt.datetime(2026, 5, 4, 8, tzinfo=dt.UTC)


@pytest.fixture
def at(belt_a1):
    return make.installation(belt_a1, "20", installed_at=dt.datetime(2025, 5, 4, 8, tzinfo=dt.UTC))


@pytest.mark.parametrize(("role", "status"), [("tess", 200), ("pat", 200), ("erin", 200), ("mona", 403), ("otto", 404)])
def test_who_may_record_a_part_change(client, request, at, role, status):
    client.force_login(request.getfixturevalue(role))
    assert client.get(reverse("part-change-create", args=[at.pk])).status_code == status


def test_part_change_by_form_and_its_correction(client, at, tess):
    client.force_login(tess)
    url = reverse("part-change-create", args=[at.pk])
    assert "Lock out" in client.get(url).text
    sent = {
        "part": "sensor_rollers",
        "side": "drive",
        "why": "worn",
        "changed_at": "2025-11-03T10:30",
        "client_key": uuid.uuid4(),
    }
    for _twice in range(2):
        assert client.post(url, sent).status_code == 302
    row = PartChange.objects.get()
    page = client.get(at.get_absolute_url()).text
    assert "worn to its limit" in page
    assert "Where a check plan asks for a bedding-in check, it is due anew." in page  # there is no plan here
    assert reverse("part-change-correct", args=[row.pk]) in page
    answer = client.post(url, {**sent, "client_key": uuid.uuid4(), "changed_at": "2024-01-01T10:00"})
    assert answer.status_code == 422
    assert "before the installation" in answer.text

    correct = reverse("part-change-correct", args=[row.pk])
    assert client.get(correct).status_code == 200
    answer = client.post(correct, {**sent, "client_key": uuid.uuid4(), "side": ""})
    assert answer.status_code == 422  # no reason given
    answer = client.post(
        correct, {**sent, "client_key": uuid.uuid4(), "side": "off", "correction_reason": "the other side"}
    )
    assert answer.status_code == 302
    assert PartChange.objects.current().get().side == "off"
    assert PartChange.objects.count() == 2
    assert "the other side" in client.get(at.get_absolute_url()).text


@pytest.mark.parametrize(("role", "status"), [("tess", 200), ("pat", 200), ("erin", 200), ("mona", 403), ("otto", 404)])
def test_who_may_take_out_of_service(client, request, at, role, status):
    spell = OutOfService.objects.create(installation=at, begins_at=MAY, reason="strap")
    client.force_login(request.getfixturevalue(role))
    for name, pk in (
        ("out-of-service-create", at.pk),
        ("out-of-service-back", spell.pk),
        ("out-of-service-update", spell.pk),
    ):
        assert client.get(reverse(name, args=[pk])).status_code == status


def test_out_and_back_by_form(client, at, tess):
    client.force_login(tess)
    url = reverse("out-of-service-create", args=[at.pk])
    sent = {"begins_at": "2025-11-03T10:30", "reason": "pivot seized", "client_key": uuid.uuid4()}
    for _twice in range(2):
        assert client.post(url, sent).status_code == 302
    spell = OutOfService.objects.get()
    page = client.get(at.get_absolute_url()).text
    assert "pivot seized" in page
    assert reverse("out-of-service-back", args=[spell.pk]) in page
    back = reverse("out-of-service-back", args=[spell.pk])
    answer = client.post(back, {"ends_at": "2025-11-02T10:30", "version": 1})
    assert answer.status_code == 422
    assert "not after" in answer.text
    assert client.post(back, {"ends_at": "2025-11-09T10:30", "version": 1}).status_code == 302
    page = client.get(at.get_absolute_url()).text
    assert "not back yet" not in page
    assert url in page
    change = reverse("out-of-service-update", args=[spell.pk])
    sent = {"begins_at": "2025-11-03T10:30", "ends_at": "2025-11-08T10:30", "reason": "strap", "version": 1}
    assert client.post(change, sent).status_code == 409
    assert client.post(change, {**sent, "version": 2}).status_code == 302
    spell.refresh_from_db()
    assert spell.reason == "strap"


# --- moves, scrapping, the life of a device ---------------------------------------------------------------------------
@pytest.mark.parametrize(("role", "status"), [("pat", 200), ("erin", 200), ("tess", 403), ("mona", 403), ("otto", 404)])
def test_who_may_move_and_scrap(client, request, at, role, status):
    client.force_login(request.getfixturevalue(role))
    assert client.get(reverse("installation-move", args=[at.pk])).status_code == status
    assert client.get(reverse("device-scrap", args=[at.device_id])).status_code == status


def test_a_move_leads_to_the_plan_of_the_next_place(client, at, pat):
    client.force_login(pat)
    url = reverse("installation-move", args=[at.pk])
    assert "Lock out" in client.get(url).text
    sent = {"removed_at": "2025-11-03T10:30", "reason": "goes to B-2", "version": 1, "left_behind": "both brackets"}
    answer = client.post(url, sent)
    assert answer.status_code == 302
    assert answer.url.startswith(reverse("fitting-create"))
    plan = client.get(answer.url)
    assert plan.context["form"].initial["device"] == at.device_id
    assert "both brackets" in client.get(at.get_absolute_url()).text
    assert client.post(url, {**sent, "reason": "goes to C-3"}).status_code in (409, 422)


def test_scrapping_by_form_is_shown_on_the_device_page(client, at, pat):
    client.force_login(pat)
    url = reverse("device-scrap", args=[at.device_id])
    sent = {"scrapped_on": "2025-11-05", "reason": "frame bent", "version": 1}
    answer = client.post(url, sent)
    assert answer.status_code == 422
    assert "stands on A-1" in answer.text
    at.removed_at, at.removal_reason = dt.datetime(2025, 11, 3, 9, tzinfo=dt.UTC), "worn out"
    at.save()
    page = client.get(at.device.get_absolute_url()).text
    assert url in page
    assert client.post(url, sent).status_code == 302
    page = client.get(at.device.get_absolute_url()).text
    assert "frame bent" in page
    assert url not in page


def test_the_device_page_tells_its_life_in_one_list_over_all_places(client, alder, at, tess):
    at.removed_at, at.removal_reason = dt.datetime(2025, 11, 3, 9, tzinfo=dt.UTC), "no clear change"
    at.save()
    OutOfService.objects.create(
        installation=at, begins_at=at.installed_at + dt.timedelta(days=1),
        ends_at=at.installed_at + dt.timedelta(days=2), reason="pivot seized",
    )  # fmt: skip
    there = make.conveyor(alder, tag="B-2")
    second = make.installation(there, device=at.device, installed_at=dt.datetime(2025, 11, 9, tzinfo=dt.UTC))
    second.removed_at, second.removal_reason = dt.datetime(2025, 12, 1, tzinfo=dt.UTC), "worn out"
    second.save()
    at.device.scrapped_on, at.device.scrapped_reason = dt.date(2025, 12, 1), "frame bent"
    at.device.save()
    client.force_login(tess)
    page = client.get(at.device.get_absolute_url())
    life = page.context["life"]
    assert [(place[:3], each.event.what) for each, place in life if "Verdict" not in each.event.what] == [
        ("A-1", "In service"),
        ("A-1", "Out of service"),
        ("A-1", "Back in service"),
        ("A-1", "Removed"),
        ("B-2", "In service"),
        ("B-2", "Removed"),
        ("", "Scrapped"),
    ]
    assert [each.event.at for each, _place in life] == sorted(each.event.at for each, _place in life)
    for said in ("pivot seized", "worn out", "frame bent", second.get_absolute_url()):
        assert said in page.text
    tess.unit_system = "us"
    tess.save(update_fields=["unit_system"])
    at_feet = f", at {format_quantity(at.chainage_m, QuantityKind.DISTANCE_M, UnitSystem.US)}"
    assert client.get(at.device.get_absolute_url()).context["life"][0][1].endswith(at_feet)


def test_the_code_of_a_label_alone_as_svg(client, at, tess, otto):
    url = reverse("device-code", args=[at.device_id])
    client.force_login(tess)
    answer = client.get(url)
    assert answer["Content-Type"] == "image/svg+xml"
    assert "attachment" in answer["Content-Disposition"]
    assert b"<svg" in answer.content
    client.force_login(otto)
    assert client.get(url).status_code == 404


def test_parts_and_tools_of_a_job_as_pdf(client, belt_a1, tess, otto):
    job = make.fitting(belt_a1)
    FittingNeed.objects.create(fitting=job, kind="tool", name="torque wrench", needed=1)
    url = reverse("fitting-needs-list", args=[job.pk])
    client.force_login(tess)
    assert url in client.get(job.get_absolute_url()).text
    for paper in ("a4", "us-letter"):
        answer = client.get(url, {"paper": paper})
        assert answer.content.startswith(b"%PDF")
    client.force_login(otto)
    assert client.get(url).status_code == 404


def test_the_model_page_shows_its_check_plans(client, at, mona):
    model = at.device.device_model
    plan = make.check_plan(model, make.check_kind(), bedding_in_days=3)
    client.force_login(mona)
    page = client.get(model.get_absolute_url()).text
    assert plan.get_absolute_url() in page
    assert "in force" in page
