"""Pages of a device's life in its place: who may, and the acts through forms."""

from __future__ import annotations

import datetime as dt
import uuid

import pytest
from django.urls import reverse

from installs.models import OutOfService, PartChange
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
