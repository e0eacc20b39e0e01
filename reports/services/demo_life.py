"""What a plant keeps of its devices besides visits: instruments, changed parts, a device out of service."""

from __future__ import annotations

import datetime as dt

from fixtures import instruments, stories
from fixtures.generator import DemoPlant, DemoVisit
from fixtures.plant_time import DAY_S, wall
from installs.models import Installation, Instrument, PartChange
from installs.services.instruments import add_instrument
from installs.services.out_of_service import take_out_of_service
from installs.services.part_changes import record_part_change
from plant.models import Person, Plant
from reports.services.demo_keys import key_of

Part, Why = PartChange.Part, PartChange.Why


def write_instruments(plant: Plant, by: Person, today: dt.date) -> dict[str, Instrument]:
    """The register of tools; one wrench is out of calibration."""

    def day(ago: int | None) -> dt.date | None:
        return None if ago is None else today + dt.timedelta(days=ago)

    return {
        number: add_instrument(
            plant=plant,
            by=by,
            client_key=key_of("instrument", number),
            number=number,
            kind=kind,
            range_least_nm=low,
            range_most_nm=high,
            deviation_pct=deviation,
            calibrated_on=day(done),
            calibration_due_on=day(due),
            certificate=certificate,
            note=note,
        )
        for number, kind, low, high, deviation, done, due, certificate, note in instruments.INSTRUMENTS
    }


def write_part_changes(places: dict[int, Installation], demo: DemoPlant, by_name: dict[str, Person]) -> None:
    """Rollers of the wet belt at the visits that changed them, clamps that kept loosening, a pivot that seized."""
    loose = 0
    for visit in demo.drawn.visits:
        place, by, at = places[visit.device], by_name[visit.by], demo.at(visit.moment)
        if visit.device == stories.WET_DEVICE and "replaced" in visit.note:
            note = "Changed before the limit: wet and abrasive."
            write_change(place, Part.SENSOR_ROLLERS, Why.EARLY, at, by, note)
        if visit.device == stories.LOOSE_DEVICE and "loose" in visit.note:
            loose += 1
            if loose == 2:
                write_change(place, Part.FASTENERS, Why.FAILED, at, by, "All four clamps with new nuts.")
    done = ((each, moment) for each in demo.drawn.visits if (moment := done_moment(each)) is not None)
    visit, moment = next(done)  # the first pivot that was found seized and put right since
    note = "The bearing had water in it and was replaced, the seal as well."
    write_change(places[visit.device], Part.PIVOT, Why.SEIZED, demo.at(moment), by_name[visit.by], note)


def done_moment(visit: DemoVisit) -> int | None:
    """When the action that a visit raised was done; None where it raised none, or where it is open still."""
    if not visit.action or visit.action_done_days is None:
        return None
    moment = visit.moment + visit.action_done_days * DAY_S
    return moment if moment < 0 else None


def write_change(place: Installation, part: str, why: str, at: dt.datetime, by: Person, note: str) -> None:
    record_part_change(
        installation=place,
        part=part,
        why=why,
        changed_at=at,
        by=by,
        note=note,
        client_key=key_of("part", place.device.number, part, at),
    )


def write_out_of_service(places: dict[int, Installation], demo: DemoPlant, by: Person) -> None:
    """The carry device that fouls the deck plate stands still until the plate is cut back."""
    take_out_of_service(
        installation=places[stories.OUT_OF_SERVICE],
        begins_at=demo.at(wall(-12, 14)),
        reason="Fouls the deck plate at full tilt: tied back until the plate is cut.",
        by=by,
        client_key=key_of("out of service", stories.OUT_OF_SERVICE),
    )
