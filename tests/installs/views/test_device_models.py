"""Pages of spec sheets: figures with units, what is not stated, parts, versions and taking one over."""

from __future__ import annotations

import pytest
from django.urls import reverse

from installs.models import Installation
from installs.services.device_models import add_device_model, change_device_model
from installs.services.installations import install_device
from tests import make


@pytest.fixture
def model(alder, erin):
    return add_device_model(
        plant=alder,
        by=erin,
        name="RP-2",
        sensor_new_mm=76.0,
        sensor_limit_mm=68.0,
        fasteners=[{"place": "clamp", "count": 4, "thread": "M16", "strength_class": "8.8", "nut_factor": 0.2}],
        parts=[{"kind": "lifting", "name": "Chain hoist 250 kg"}],
    )


@pytest.fixture
def fitted(alder, erin, model):
    return install_device(
        device=make.device(alder, "1", model),
        conveyor=make.conveyor(alder),
        strand="return",
        chainage_m=100.0,
        installed_at=make.dt.datetime(2026, 1, 5, 8, tzinfo=make.dt.UTC),
        by=erin,
    )


def test_the_page_shows_every_figure_and_says_what_is_not_stated(client, tess, model):
    client.force_login(tess)
    page = client.get(model.get_absolute_url()).content.decode()
    for words in ("76 mm", "Belt lift from", "not stated", "M16", "Chain hoist 250 kg", "Versions of this sheet"):
        assert words in page
    assert ">0 mm<" not in page


def test_a_technician_changes_no_part_and_the_engineer_does(client, tess, erin, model):
    address = reverse("model-part-create", args=[model.pk])
    client.force_login(tess)
    assert client.get(address).status_code == 403
    client.force_login(erin)
    assert client.get(address).status_code == 200
    answer = client.post(address, {"kind": "tool", "name": "Torque wrench", "count": "1", "note": ""})
    assert answer.status_code == 302
    assert model.sheets.first().number == 2
    part = model.parts.get(name="Torque wrench")
    values = {"kind": "tool", "name": "Torque wrench", "count": "2", "note": "", "version": part.version}
    assert client.post(reverse("model-part-update", args=[part.pk]), values).status_code == 302
    assert model.sheets.first().content["parts"][1]["count"] == 2


def test_an_older_sheet_is_said_on_the_installations_page_and_may_be_taken_over(client, tess, erin, model, fitted):
    change_device_model(model, by=erin, version=model.version, sensor_limit_mm=70.0, reason="maker's notice")
    client.force_login(tess)
    page = client.get(fitted.get_absolute_url()).content.decode()
    assert "Fitted to sheet 1; sheet 2 is the newest" in page
    assert "68 mm" in page
    assert "70 mm" in page
    address = reverse("installation-sheet", args=[fitted.pk])
    assert address not in page
    assert client.get(address).status_code == 403
    client.force_login(erin)
    assert "70 mm" in client.get(address).content.decode()
    assert client.post(address, {"version": fitted.version, "reason": ""}).status_code == 422
    assert client.post(address, {"version": fitted.version, "reason": "new rollers fitted"}).status_code == 302
    assert Installation.objects.get(pk=fitted.pk).sheet.number == 2


def test_another_plants_sheet_is_not_there(client, other, model, fitted):
    client.force_login(make.person("olga", other, "reliability engineer"))
    assert client.get(reverse("model-part-create", args=[model.pk])).status_code == 404
    assert client.get(reverse("installation-sheet", args=[fitted.pk])).status_code == 404
