"""Spec sheets: what is written, what is refused and with which words."""

from __future__ import annotations

import datetime as dt
import uuid

import pytest

from installs.models import DeviceModel, Fastener, Installation
from installs.selectors.sheets import sheet_state
from installs.services.device_models import (
    add_device_model,
    add_fastener,
    add_part,
    change_device_model,
    change_fastener,
    change_part,
)
from installs.services.devices import add_device
from installs.services.installations import install_device, take_over_sheet
from installs.words.sheets import changes_since_fitted
from plant.calc.units import UnitSystem
from plant.errors import ChangedMeanwhile, Refused
from tests import make

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
        ({"effect_length_m": 900.0}, "give 500 m or less", "effect_length_m"),
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


def test_each_change_of_model_fastener_or_part_writes_a_sheet_and_the_same_content_none(alder, erin):
    made = add_device_model(plant=alder, by=erin, fasteners=FASTENERS, name="RP-2", mass_kg=71.0)
    assert [each.number for each in made.sheets.all()] == [1]
    made = change_device_model(made, by=erin, version=made.version, mass_kg=72.0, reason="new frame")
    made = change_device_model(made, by=erin, version=made.version, mass_kg=72.0)
    clamp = made.fasteners.get(place="clamp")
    change_fastener(clamp, by=erin, version=clamp.version, torque_nm=80.0)
    part = add_part(device_model=made, by=erin, kind="tool", name="chain hoist", count=1)
    change_part(part, by=erin, version=part.version, count=2)
    newest, *_earlier, first = made.sheets.all()
    assert [each.number for each in made.sheets.all()] == [5, 4, 3, 2, 1]
    assert first.content["mass_kg"] == 71
    assert first.content["fasteners"][0]["torque_nm"] == 75
    assert newest.content["fasteners"][0]["torque_nm"] == 80
    assert newest.content["parts"][0]["count"] == 2
    assert made.sheets.get(number=2).reason == "new frame"
    assert first.content["roller_drop_mm"] is None  # not stated is kept as such, and not as 0


def test_a_part_stands_once_on_a_sheet(alder, erin):
    made = add_device_model(plant=alder, by=erin, name="RP-2", parts=[{"kind": "tool", "name": "Spanner 24"}])
    assert made.sheets.get().content["parts"][0]["name"] == "Spanner 24"
    with pytest.raises(Refused, match="has “spanner 24” already"):
        add_part(device_model=made, by=erin, kind="tool", name="spanner 24")


def test_an_installation_is_held_against_the_sheet_that_it_was_fitted_to(alder, erin):
    model = add_device_model(
        plant=alder, by=erin, fasteners=FASTENERS, name="RP-2", sensor_new_mm=76.0, sensor_limit_mm=68.0
    )
    device = add_device(plant=alder, by=erin, number="1", device_model=model)
    at = install_device(
        device=device,
        conveyor=make.conveyor(alder),
        strand="return",
        chainage_m=100.0,
        installed_at=dt.datetime(2026, 1, 5, 8, tzinfo=dt.UTC),
        by=erin,
    )
    change_device_model(model, by=erin, version=model.version, sensor_limit_mm=70.0)
    clamp = model.fasteners.get(place="clamp")
    change_fastener(clamp, by=erin, version=clamp.version, torque_nm=80.0)
    at = Installation.objects.get(pk=at.pk)
    assert at.sheet.number == 1
    assert at.spec.sensor_limit_mm == 68
    assert at.spec.fasteners[0].torque_nm == 75
    state = sheet_state(at)
    assert not state.is_newest
    words = {each.what: (each.before, each.after) for each in changes_since_fitted(state, UnitSystem.METRIC)}
    assert words["sensor roller, limit diameter"] == ("68 mm", "70 mm")
    assert words["clamp"] == ("target torque: 75 N·m", "target torque: 80 N·m")
    with pytest.raises(Refused, match="Say why"):
        take_over_sheet(at, by=erin, version=at.version, reason=" ")
    take_over_sheet(at, by=erin, version=at.version, reason="rollers of the new kind fitted")
    at = Installation.objects.get(pk=at.pk)
    assert at.sheet.number == 3
    assert at.spec.sensor_limit_mm == 70
    assert at.history.first().history_change_reason == "rollers of the new kind fitted"
    with pytest.raises(Refused, match="newest sheet already"):
        take_over_sheet(at, by=erin, version=at.version, reason="again")
