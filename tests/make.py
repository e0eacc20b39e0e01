"""Factories of test rows. They write through models, not services, so that a service's test shows the service."""

from __future__ import annotations

import datetime as dt
from importlib import import_module
from typing import Any
from zoneinfo import ZoneInfo

from django.apps import apps
from django.contrib.auth.models import Group
from django.db.models import F
from django.utils import timezone

from inspections.models import CheckKind, CheckPlan, Shift, Task
from installs.models import Device, DeviceModel, Fastener, Fitting, Installation, Instrument, Survey
from plant.models import Area, Conveyor, ConveyorPart, Incident, Membership, OutageWindow, Person, Plant, RunRecord

UTC = dt.UTC


def today() -> dt.date:
    """Today at Alder Pit, which is tomorrow in UTC for an hour or two of each night."""
    return timezone.localdate(timezone=ZoneInfo("Europe/Berlin"))


def plant(**values: Any) -> Plant:
    return Plant.objects.create(**{"name": "Alder Pit", **values})


def person(name: str, at: Plant | None = None, role: str = "", **values: Any) -> Person:
    made = Person.objects.create_user(username=name, password="pass-word-1", email=f"{name}@alder.example", **values)
    if at is not None:
        Membership.objects.create(person=made, plant=at, role=Group.objects.get(name=role))
    return made


def area(at: Plant, code: str = "A", name: str = "Crushing") -> Area:
    return Area.objects.get_or_create(plant=at, code=code, defaults={"name": name})[0]


def conveyor(at: Plant, tag: str = "A-1", **values: Any) -> Conveyor:
    known = {"belt_width_mm": 1200.0, "speed_m_s": 2.5, "length_m": 200.0, "lift_m": 10.0}
    return Conveyor.objects.create(plant=at, area=area(at), tag=tag, **{**known, **values})


def drift_switch(on: Conveyor, chainage_m: float) -> ConveyorPart:
    return ConveyorPart.objects.create(conveyor=on, kind=ConveyorPart.Kind.DRIFT_SWITCH, chainage_m=chainage_m)


def device_model(at: Plant, name: str = "T-1", **values: Any) -> DeviceModel:
    known = {"sensor_new_mm": 76.0, "sensor_limit_mm": 68.0, "effect_length_m": 50.0}
    made = DeviceModel.objects.create(plant=at, name=name, **{**known, **values})
    Fastener.objects.create(device_model=made, place="clamp", count=4, torque_nm=75.0)
    Fastener.objects.create(device_model=made, place="pivot", count=1, torque_nm=130.0)
    return made


def device(at: Plant, number: str = "1", model: DeviceModel | None = None) -> Device:
    model = model or DeviceModel.objects.filter(plant=at).first() or device_model(at)
    return Device.objects.create(plant=at, number=number, device_model=model)


def installation(on: Conveyor, number: str = "1", **values: Any) -> Installation:
    known = {"strand": "return", "chainage_m": 100.0, "installed_at": dt.datetime(2026, 1, 5, 8, tzinfo=UTC)}
    return Installation.objects.create(
        plant=on.plant,
        conveyor=on,
        device=values.pop("device", None) or device(on.plant, number),
        **{**known, **values},
    )


def run_record(on: Conveyor, starts_at: dt.datetime, ends_at: dt.datetime, running_h: float) -> RunRecord:
    return RunRecord.objects.create(conveyor=on, starts_at=starts_at, ends_at=ends_at, running_h=running_h)


def incident(on: Conveyor, happened_at: dt.datetime, **values: Any) -> Incident:
    return Incident.objects.create(
        plant=on.plant, conveyor=on, happened_at=happened_at, **{"strand": "return", "chainage_m": 80.0, **values}
    )


def built_in_check_kinds() -> None:
    """What a migration put there once; a test that empties every table takes them away for the tests behind it."""
    import_module("inspections.migrations.0002_built_in_check_kinds").add(apps, None)


def check_kind(code: str = "sensor-wear") -> CheckKind:
    if not CheckKind.objects.filter(code=code, plant=None).exists():
        built_in_check_kinds()
    return CheckKind.objects.get(code=code, plant=None)


def check_plan(model: DeviceModel, kind: CheckKind, **values: Any) -> CheckPlan:
    return CheckPlan.objects.create(
        plant=model.plant, device_model=model, check_kind=kind, **{"interval_days": 90, **values}
    )


def task(at: Installation, kind: CheckKind, due_on: dt.date, **values: Any) -> Task:
    known = {"opens_on": due_on - dt.timedelta(days=7), "closes_on": due_on + dt.timedelta(days=7)}
    return Task.objects.create(plant=at.plant, installation=at, check_kind=kind, due_on=due_on, **{**known, **values})


def fitting(on: Conveyor, model: DeviceModel | None = None, **values: Any) -> Fitting:
    model = model or DeviceModel.objects.filter(plant=on.plant).first() or device_model(on.plant)
    known = {"chainage_m": 100.0, "strand": "return"}
    return Fitting.objects.create(plant=on.plant, conveyor=on, device_model=model, **{**known, **values})


def survey(of: Fitting, **values: Any) -> Survey:
    """A survey of the place of a fitting."""
    known = {"strand": of.strand, "chainage_m": of.chainage_m, "surveyed_at": dt.datetime(2026, 11, 2, 8, tzinfo=UTC)}
    return Survey.objects.create(plant=of.plant, conveyor=of.conveyor, **{**known, **values})


def time_passes(of: Fitting, minutes: float) -> None:
    """What is recorded of a job was so many minutes earlier, as if that time had gone by since."""
    earlier = dt.timedelta(minutes=minutes)
    of.hold_points.update(confirmed_at=F("confirmed_at") - earlier)
    of.trial_runs.update(started_at=F("started_at") - earlier)
    of.torques.update(signed_at=F("signed_at") - earlier)
    for each in of.isolations.all():
        released_at = each.released_at - earlier if each.released_at else None
        of.isolations.filter(pk=each.pk).update(isolated_at=each.isolated_at - earlier, released_at=released_at)


def torque_wrench(at: Plant, number: str = "W-07", **values: Any) -> Instrument:
    """In calibration for another 159 days, or to the day that is given; the calibration is a year old then."""
    known = {"range_least_nm": 20.0, "range_most_nm": 200.0, "deviation_pct": 4.0}
    due_on = values.get("calibration_due_on") or today() + dt.timedelta(days=159)
    known |= {"calibrated_on": due_on - dt.timedelta(days=364), "calibration_due_on": due_on}
    return Instrument.objects.create(plant=at, number=number, **{**known, **values})


def shift(who: Person, at: Plant, starts_at: dt.datetime, hours: float = 8, **values: Any) -> Shift:
    known = {"day": starts_at.astimezone(at.zone).date(), "ends_at": starts_at + dt.timedelta(hours=hours)}
    return Shift.objects.create(plant=at, person=who, starts_at=starts_at, **{**known, **values})


def outage(on: Conveyor, starts_at: dt.datetime, hours: float) -> OutageWindow:
    return OutageWindow.objects.create(conveyor=on, starts_at=starts_at, ends_at=starts_at + dt.timedelta(hours=hours))
