"""Pages of a device's life in its place: who may, and the acts through forms."""

from __future__ import annotations

import datetime as dt
import uuid

import pytest
from django.urls import reverse

from installs.models import PartChange
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
