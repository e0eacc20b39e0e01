"""Jobs that tests of fittings share."""

from __future__ import annotations

import io

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from installs.selectors.commissioning import OpenWork
from installs.services.fittings import plan_fitting
from plant.services.photos import keep_photo
from tests import make
from tests.installs.jobs import settle


@pytest.fixture
def unsigned(belt_a1, pat):
    """A job of which no fastener is signed off or passed over yet."""
    device = make.device(belt_a1.plant, "70")
    return plan_fitting(
        conveyor=belt_a1, device_model=device.device_model, device=device, chainage_m=100.0, strand="return", by=pat
    )


@pytest.fixture
def job(unsigned, pat):
    """A job whose torques hold nothing up."""
    return settle(unsigned, pat)


@pytest.fixture
def photo(alder, tess):
    buffer = io.BytesIO()
    Image.new("RGB", (30, 20), "brown").save(buffer, format="JPEG")
    return keep_photo(plant=alder, file=SimpleUploadedFile("pin.jpg", buffer.getvalue()), by=tess)


@pytest.fixture
def finished(job, monkeypatch):
    """A job whose fit-up and torques are not what a test is about."""
    monkeypatch.setattr("installs.services.acceptance.left_open", lambda fitting: OpenWork())
