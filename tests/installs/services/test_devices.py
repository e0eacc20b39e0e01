"""Devices: number, label, and when one may be scrapped."""

from __future__ import annotations

import datetime as dt
import uuid

import pytest

from installs.models import Device
from installs.models.devices import LABEL_ALPHABET
from installs.services.devices import add_device, change_device
from plant.errors import Refused
from tests import make


def test_a_device_gets_a_label_of_its_own_and_is_written_once(alder, pat):
    model, key = make.device_model(alder), uuid.uuid4()
    one = add_device(plant=alder, by=pat, client_key=key, number="20", device_model=model)
    again = add_device(plant=alder, by=pat, client_key=key, number="20", device_model=model)
    other = add_device(plant=alder, by=pat, number="21", device_model=model)
    assert one == again
    assert one.label_code != other.label_code
    assert len(one.label_code) == 6
    assert set(one.label_code) <= set(LABEL_ALPHABET)


def test_a_number_is_taken_once(alder, pat):
    model = make.device_model(alder)
    add_device(plant=alder, by=pat, number="A20", device_model=model)
    with pytest.raises(Refused, match=r"Device A20 is in the book already \(T-1\)"):
        add_device(plant=alder, by=pat, number="a20 ", device_model=model)
    assert Device.objects.count() == 1


def test_a_model_of_another_plant_is_refused(alder, other, pat):
    with pytest.raises(Refused, match="belongs to another plant"):
        add_device(plant=alder, by=pat, number="20", device_model=make.device_model(other))


def test_a_device_in_place_is_not_scrapped(belt_a1, pat):
    at = make.installation(belt_a1, "20")
    with pytest.raises(Refused, match=r"Device 20 stands on A-1[.] Record its removal there first"):
        change_device(at.device, by=pat, version=1, scrapped_on=dt.date(2026, 3, 1))
    with pytest.raises(Refused, match="in the future"):
        change_device(at.device, by=pat, version=1, scrapped_on=dt.date(2999, 3, 1))
    change_device(make.device(belt_a1.plant, "21"), by=pat, version=1, scrapped_on=dt.date(2026, 3, 1))
    assert Device.objects.get(number="21").scrapped_on == dt.date(2026, 3, 1)
