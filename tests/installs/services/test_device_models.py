"""Spec sheets: what is written, what is refused and with which words."""

from __future__ import annotations

import uuid

import pytest

from installs.models import DeviceModel, Fastener
from installs.services.device_models import add_device_model, add_fastener, change_device_model, change_fastener
from plant.errors import ChangedMeanwhile, Refused

FASTENERS = (
    {"place": "clamp", "count": 4, "size": "M16 8.8", "torque_nm": 75.0},
    {"place": "pivot", "count": 1, "torque_nm": 130.0, "tolerance_pct": 5.0},
)


def test_a_model_comes_with_its_fasteners_and_is_written_once(alder, erin):
    key = uuid.uuid4()
    for _ in range(2):
        made = add_device_model(plant=alder, by=erin, client_key=key, fasteners=FASTENERS, name="RP-2", mass_kg=71.0)
    assert DeviceModel.objects.count() == 1
    assert [(each.place, each.torque_nm) for each in made.fasteners.all()] == [("clamp", 75.0), ("pivot", 130.0)]
    assert made.effect_length_m is None  # not stated stays not stated


@pytest.mark.parametrize(
    ("values", "words", "field"),
    [
        ({"name": "rp-2"}, "RP-2 is in the book already", "name"),
        ({"sensor_new_mm": 60.0, "sensor_limit_mm": 68.0}, "limit is 68 mm, its new", "sensor_limit_mm"),
        ({"sensor_new_mm": 60.0, "sensor_limit_mm": 60.0}, "must be below", "sensor_limit_mm"),
        ({"belt_width_least_mm": 1400.0, "belt_width_most_mm": 900.0}, "from 1400 mm to 900 mm", "belt_width_least_mm"),
        ({"mass_kg": -3.0}, "-3 is negative", "mass_kg"),
        ({"effect_length_m": 900.0}, "less than or equal to 500", "effect_length_m"),
        ({"strand": "upper"}, "not a valid choice", "strand"),
    ],
)  # fmt: skip
def test_what_does_not_go_together_is_refused(alder, erin, values, words, field):
    add_device_model(plant=alder, by=erin, name="RP-2")
    with pytest.raises(Refused, match=words) as refusal:
        add_device_model(plant=alder, by=erin, **{"name": "RP-3", **values})
    assert field in refusal.value.fields
    assert DeviceModel.objects.count() == 1


def test_a_bad_fastener_leaves_no_half_model(alder, erin):
    with pytest.raises(Refused):
        add_device_model(plant=alder, by=erin, name="RP-9", fasteners=[{"place": "clamp", "torque_nm": -1.0}])
    assert not DeviceModel.objects.exists()


def test_a_change_keeps_what_was_before_and_meets_the_second_editor(alder, erin, pat):
    made = add_device_model(plant=alder, by=erin, name="RP-2", sensor_new_mm=76.0, sensor_limit_mm=68.0)
    change_device_model(made, by=erin, version=1, sensor_limit_mm=70.0)
    assert [each.sensor_limit_mm for each in made.history.order_by("history_id")] == [68.0, 70.0]
    with pytest.raises(ChangedMeanwhile):
        change_device_model(DeviceModel.objects.get(), by=pat, version=1, sensor_limit_mm=66.0)
    with pytest.raises(Refused, match="must be below"):
        change_device_model(DeviceModel.objects.get(), by=pat, version=2, sensor_new_mm=50.0)
    assert DeviceModel.objects.get().sensor_limit_mm == 70.0


def test_fasteners_stand_once_at_a_place(alder, erin):
    made = add_device_model(plant=alder, by=erin, name="RP-2", fasteners=FASTENERS)
    with pytest.raises(Refused, match="has fasteners at “Clamp” already"):
        add_fastener(device_model=made, by=erin, place="Clamp")
    with pytest.raises(Refused, match="already"):
        change_fastener(made.fasteners.get(place="pivot"), by=erin, version=1, place="clamp")
    change_fastener(made.fasteners.get(place="pivot"), by=erin, version=1, torque_nm=120.0)
    assert Fastener.objects.get(place="pivot").torque_nm == 120.0
