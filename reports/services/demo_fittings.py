"""Two fittings of the demo plant: one planned into next week's outage that still lacks something, one half done."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.utils import timezone

from installs.services.commissioning import confirm_point, record_isolation
from installs.services.devices import add_device
from installs.services.fittings import add_need, count_needs, plan_fitting
from plant.models import OutageWindow, Person, Plant

NEEDS = (
    ("part", "bracket clamp", 4),
    ("part", "pivot bolt with nut", 1),
    ("tool", "torque wrench up to 200 N·m", 1),
    ("lifting", "chain hoist and two slings", 1),
)


def write_fittings(plant: Plant, by: Person, night: dt.datetime) -> None:
    """The plan on S-12 and the job on Y-06, begun at `night` by the late shift and left for the next one."""
    planned_on_s12(plant, by)
    half_done_on_y06(plant, by, min(night, timezone.now() - dt.timedelta(hours=4)))


def plan(plant: Plant, by: Person, *, tag: str, number: str, crew: list[Person], **values: Any) -> Any:
    model = plant.device_models.get(name="RP-2")
    device = add_device(
        plant=plant, by=by, number=number, device_model=model, serial=f"BW-RP-2-{1000 + 7 * int(number)}"
    )
    belt = plant.conveyors.get(tag=tag)
    job = plan_fitting(conveyor=belt, device_model=model, device=device, by=by, crew=crew, **values)
    if not job.needs.exists():
        for kind, name, needed in NEEDS:
            add_need(fitting=job, by=by, kind=kind, name=name, needed=needed)
    return job


def planned_on_s12(plant: Plant, by: Person) -> None:
    """Into the window that S-12 has next week: a part is short and no permit is written down."""
    window = OutageWindow.objects.filter(conveyor__plant=plant, conveyor__tag="S-12").ahead(timezone.now()).first()
    crew = [Person.objects.get(username="technician-1"), Person.objects.get(username="technician-2")]
    job = plan(
        plant,
        by,
        tag="S-12",
        number="61",
        crew=crew,
        strand="return",
        chainage_m=60.0,
        outage_window=window,
        duration_h=4.0,
        note="The stretch below 70 m is steered by nobody.",
    )
    needs = list(job.needs.all())
    count_needs(
        fitting=job, by=by, at_hand={need.pk: need.needed if need != needs[-1] else need.needed - 1 for need in needs}
    )


def half_done_on_y06(plant: Plant, by: Person, begun_at: dt.datetime) -> None:
    """Left at the end of a shift after the restraint came off; the locks hang as recorded."""
    first, second = (Person.objects.get(username=f"technician-{n}") for n in (1, 2))
    job = plan(
        plant,
        by,
        tag="Y-06",
        number="62",
        crew=[first, second],
        strand="return",
        chainage_m=90.0,
        planned_at=begun_at,
        duration_h=5.0,
        permit_reference="PW-0412",
        note="Left at shift change; the next crew goes on.",
    )
    count_needs(fitting=job, by=first, at_hand={need.pk: need.needed for need in job.needs.all()})
    record_isolation(
        fitting=job,
        by=first,
        points="Main switch Y-06/Q1, lock 12; take-up weight pinned.",
        tried_start=True,
        people=[second],
        other_people="one rigger",
        energies="take-up weight, belt tension, incline",
        isolated_at=begun_at,
        now=begun_at,
    )
    for minutes, point, note in (
        (25, "parts", ""),
        (95, "restraint", "No photo: cameras are not allowed in this gallery. The strap lies on the walkway."),
    ):
        at = begun_at + dt.timedelta(minutes=minutes)
        confirm_point(fitting=job, point=point, by=first, note=note, confirmed_at=at, now=at)
