"""Files with models, devices and installations taken back: what nothing hangs on goes, the rest stays and says why."""

from __future__ import annotations

import pytest

from installs.models import Device, DeviceModel, Fastener, Installation
from plant.services import import_undo
from tests import make
from tests.plant.services.test_import_undo import told, undo
from tests.plant.services.test_imports import counts, files_of_the_test, reasons, run, send  # noqa: F401

MODELS = "name,strand,fasteners\nN-9,return,clamp 4 M12\n"
DEVICES = "number,model,conveyor,strand,chainage,installed\n9001,N-9,A-1,return,100,2026-03-01\n9002,N-9,,,,\n"


@pytest.fixture
def model(alder, pat, belt_a1):
    text = "name,strand\nN-9,return\n"
    batch = run(send(alder, pat, "device_models", text), pat)
    assert counts(batch) == (1, 0, 0, 0), reasons(batch)
    return batch


@pytest.fixture
def devices(alder, pat, model):
    batch = run(send(alder, pat, "installations", DEVICES, name="devices.csv"), pat)
    assert counts(batch) == (2, 0, 0, 0), reasons(batch)
    return batch


def test_a_model_with_its_sheet_goes_where_nothing_hangs_on_it(alder, pat, model):
    assert DeviceModel.objects.get(name="N-9").sheets.exists()
    assert told(model) == (0, 0, 1, 0)
    undo(model, pat)
    assert not DeviceModel.objects.filter(name="N-9").exists()
    assert not Fastener.objects.filter(device_model__name="N-9").exists()
    assert DeviceModel.history.filter(name="N-9", history_type="-").get().history_user == pat


def test_a_model_that_devices_are_of_stays(alder, pat, model, devices):
    found = import_undo.preview_of_undo(model)
    assert (found.n_removed, [each.why for each in found.stays]) == (0, ["in use: devices, installations"])


def test_devices_go_with_their_installations_and_then_the_model_can(alder, pat, model, devices):
    assert Installation.objects.filter(device__number="9001").count() == 1
    undo(devices, pat)
    assert Device.objects.filter(number__startswith="900").count() == 0
    assert Installation.objects.filter(conveyor__tag="A-1").count() == 0
    undo(model, pat)
    assert not DeviceModel.objects.filter(name="N-9").exists()


def test_an_installation_with_a_check_stays_with_its_device(alder, pat, model, devices):
    place = Installation.objects.get(device__number="9001")
    make.task(place, make.check_kind("sensor-wear"), make.today())
    found = import_undo.preview_of_undo(devices)
    assert found.n_removed == 1, "the device that stands nowhere"
    assert [each.why for each in found.stays] == ["in use: checks", "in use: installations"]


def test_a_removal_that_a_file_told_is_taken_back(alder, pat, model, devices):
    later = DEVICES.splitlines()
    text = f"{later[0]},removed\n{later[1]},2026-05-01\n"
    batch = run(send(alder, pat, "installations", text, name="later.csv"), pat)
    assert counts(batch) == (0, 1, 0, 0), reasons(batch)
    place = Installation.objects.get(device__number="9001")
    assert place.removed_at is not None
    undo(batch, pat)
    place.refresh_from_db()
    assert place.removed_at is None
