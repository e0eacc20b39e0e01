"""Loads the demo plant through the services that people use, in one transaction: all of it or nothing.

A load that was interrupted or killed leaves nothing behind and may be begun anew; a second load changes nothing.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib.auth.hashers import make_password
from django.db import transaction
from django.utils import timezone
from simple_history.utils import bulk_create_with_history

from fixtures import device_models, instruments, people, scenario, stories
from fixtures.generator import EFFECT_LENGTH_M, METER_ROLLS_OVER_AT_H, DemoPlant, DemoVisit, build
from fixtures.plant_time import DAYS, FITTED_H, day_of, fitted_day, wall
from fixtures.scenario import BELTS, DemoBelt
from inspections.check_rules.wanted import Typed
from inspections.models import Action, CheckKind, Task
from inspections.selectors.actions import alike_open
from inspections.services.actions import NewAction, finish_action
from inspections.services.check_plans import add_reading_field, create_check_kind, create_check_plan
from inspections.services.nightly import job_of_night
from inspections.services.rounds import lay
from inspections.services.shifts import add_shift, profile_of, set_profile
from inspections.services.tasks import plan_tasks, planned_together, put_off_task
from inspections.services.visits import close_out_visit, could_not_do, reading_key
from installs.models import Installation, Instrument, TorqueSignOff
from installs.services.device_models import add_device_model
from installs.services.devices import add_device
from installs.services.installations import install_device
from plant.calc.units import QuantityKind, UnitSystem, parse_quantity
from plant.calc.working_days import is_working_day
from plant.models import Conveyor, ConveyorPart, Job, Person, Plant
from plant.services.conveyors import add_area, add_conveyor, add_part
from plant.services.incidents import record_incidents
from plant.services.jobs import do_job
from plant.services.outages import plan_outage, record_belt_change
from plant.services.people import give_role
from plant.services.records import create_record
from plant.services.running_hours import record_meter_reading, record_runs
from plant.services.switch_events import keep_switch_events
from reports.services.demo_fittings import FITTED_BY_THE_BOOK, fit_by_the_book, write_fittings
from reports.services.demo_keys import key_of
from reports.services.demo_life import done_moment, write_instruments, write_out_of_service, write_part_changes
from reports.services.demo_surveys import write_belt_offsets, write_surveys
from reports.services.months import draft_month, month_before, publish_month
from reports.services.rate_watch import watch_plant
from reports.services.study_windows import set_window

Say = Callable[[str], None]
Kind = ConveyorPart.Kind
CHECKS = ("sensor-wear", "pivot-freedom", "fastener-torque")
INTERVALS = {"sensor-wear": (90, 2000.0), "pivot-freedom": (90, 2000.0), "fastener-torque": (182, 4000.0)}
HIGH = {"Q-11", "S-12", "S-15", "K-01", "K-04", "K-07", "L-02", "L-06", "Y-03"}
LOW = {"Q-09", "P-06", "S-08", "S-14", "S-17", "S-19", "Y-08"}


def load_demo(*, say: Say = print) -> bool:
    """Make Bramwick Works as of today. False if it stood there already.

    Raises
    ------
    RuntimeError
        If the night's work failed; then nothing was written.
    """
    if Plant.objects.filter(name=scenario.PLANT_NAME).exists():
        say(f"{scenario.PLANT_NAME} is in the book already; nothing was changed.")
        return False
    demo = build(timezone.localdate(timezone=ZoneInfo(scenario.TIME_ZONE)))
    # The night plans the checks of all, so that nothing is left to be planned after the commit.
    with planned_together(), transaction.atomic():
        write_demo(demo, say)
    return True


def write_demo(demo: DemoPlant, say: Say) -> None:
    say("Registers, running hours, incidents and past visits ...")
    plant = write_past(demo, say)
    say("Check plans and the night's work ...")
    write_plans(plant, demo)
    do_night_of(plant, demo)
    watch_plant(plant=plant)
    say("Shifts and the rounds of the next working day ...")
    write_shifts(plant, demo)
    say("The months ...")
    write_months(plant, demo.today)


def do_night_of(plant: Plant, demo: DemoPlant) -> None:
    job = job_of_night(plant, demo.today)
    do_job(job.pk)
    job.refresh_from_db()
    if job.state != Job.State.DONE:
        raise RuntimeError(f"the night's work of {plant} did not come to its end: {job.error or job.state}")


def write_months(plant: Plant, today: dt.date) -> None:
    """The month before last is published, last month waits as a draft."""
    engineer, manager = (Person.objects.get(username=name) for name in ("engineer-1", "manager-1"))
    last = month_before(today)
    for month in (month_before(last), last):
        key = key_of("month", month)
        report = draft_month(plant=plant, month=month, by=engineer, client_key=key)
        if month != last and not report.is_published:
            publish_month(report, by=manager, version=report.version)


# --- What stands there, and the past ---------------------------------------------------------------------------------
def write_past(demo: DemoPlant, say: Say) -> Plant:
    plant = create_record(
        Plant,
        by=None,
        name=scenario.PLANT_NAME,
        time_zone=scenario.TIME_ZONE,
        lockout_procedure=scenario.LOCKOUT_PROCEDURE,
        lockout_reviewed_on=demo.today - dt.timedelta(days=140),
        # Invented, as everything of this plant.
        currency="EUR",
        cost_of_stop_hour=900.0,
        cost_of_spilled_tonne=60.0,
        holidays="\n".join(f"{day} {name}" for day, name in holidays_of(demo).items()),
    )
    by_name = write_people(plant)
    engineer, planner = by_name["engineer-1"], by_name["planner-1"]
    belts = write_belts(plant, planner)
    wrenches = write_instruments(plant, planner, demo.today)
    places = write_devices(plant, belts, demo, engineer)
    write_hours(belts, demo, planner)
    say("  running hours are in")
    write_incidents(belts, demo, engineer)
    write_changes(belts, places, demo, planner, engineer)
    say("  incidents are in")
    write_belt_offsets(places, demo, by_name["technician-1"])
    write_surveys(plant, demo, by_name)
    write_visits(plant, places, demo, by_name, wrenches)
    write_part_changes(places, demo, by_name)
    write_out_of_service(places, demo, planner)
    say("  visits are in")
    return plant


def holidays_of(demo: DemoPlant) -> dict[dt.date, str]:
    years = (demo.today.year, demo.today.year + 1)
    named = ((1, 1, "New Year's Day"), (12, 25, "Christmas Day"))
    return {dt.date(year, month, day): name for year in years for month, day, name in named}


def is_working(demo: DemoPlant, day: dt.date) -> bool:
    return is_working_day(day, holidays_of(demo))


def write_people(plant: Plant) -> dict[str, Person]:
    known = {}
    password = make_password(people.DEMO_PASSWORD)  # the same for all, and slow to make on purpose
    for name, role, units in people.PEOPLE:
        person = Person(username=name, email=f"{name}@bramwick.example", unit_system=units, password=password)
        person.full_clean()
        person.save()
        give_role(person=person, plant=plant, role=role)
        known[name] = person
    return known


def write_belts(plant: Plant, by: Person) -> dict[str, Conveyor]:
    areas = {
        code: add_area(plant=plant, by=by, code=code, name=name, walking_order=order)
        for code, name, order in scenario.AREAS
    }
    known = {}
    for belt in BELTS:
        conveyor = add_conveyor(
            plant=plant,
            by=by,
            client_key=key_of("belt", belt.tag),
            area=areas[belt.area],
            tag=belt.tag,
            name=belt.name[0].upper() + belt.name[1:],
            belt_width_mm=belt.belt_width_mm,
            speed_m_s=belt.speed_m_s,
            length_m=belt.length_m,
            lift_m=belt.lift_m,
            edge_clearance_mm=75.0 if belt.belt_width_mm <= 1000 else 90.0,
            is_reversing=belt.is_reversing,
            duty=Conveyor.Duty.WET_ABRASIVE if belt.is_wet else Conveyor.Duty.ORDINARY,
            criticality="high" if belt.tag in HIGH else "low" if belt.tag in LOW else "medium",
            energies=scenario.energies(belt),
            meter_rolls_over_at_h=METER_ROLLS_OVER_AT_H if belt.tag == "Y-01" else None,
        )
        for values in parts_of(belt):
            add_part(conveyor=conveyor, by=by, **values)
        known[belt.tag] = conveyor
    return known


def parts_of(belt: DemoBelt) -> Iterator[dict[str, Any]]:
    end = belt.length_m
    yield {"kind": Kind.TAIL_PULLEY, "chainage_m": 0.0}
    yield {"kind": Kind.HEAD_PULLEY, "chainage_m": end}
    yield {"kind": Kind.LOADING_POINT, "strand": "carry", "chainage_m": round(min(6.0, end / 8), 1)}
    yield {"kind": Kind.SCRAPER, "strand": "return", "chainage_m": end - 1.0}
    if end > 150:
        yield {"kind": Kind.TAKE_UP, "strand": "return", "chainage_m": round(end * 0.9, 1)}
    if belt.tag == "P-03":
        yield {
            "kind": Kind.GUARD,
            "strand": "return",
            "chainage_m": 52.0,
            "note": "was off after the fitting, refitted",
        }
    for n, at in enumerate(belt.switches_m, start=1):
        yield {"kind": Kind.DRIFT_SWITCH, "chainage_m": at, "label": f"{belt.tag}-DS{n}"}


def write_devices(plant: Plant, belts: dict[str, Conveyor], demo: DemoPlant, by: Person) -> dict[int, Installation]:
    models = {}
    for row in scenario.MODELS:
        (name, strand, reversing, frame, trough, width_from, width_to, speed, new, limit,
         below, beside, mass, clamps, pivot) = row  # fmt: skip
        models[name] = add_device_model(
            plant=plant,
            by=by,
            name=name,
            strand=strand,
            suits_reversing=reversing,
            pivot=frame,
            trough_angle_deg=trough,
            belt_width_least_mm=width_from,
            belt_width_most_mm=width_to,
            speed_most_m_s=speed,
            sensor_new_mm=new,
            sensor_limit_mm=limit,
            clearance_below_mm=below,
            clearance_beside_mm=beside,
            mass_kg=mass,
            effect_length_m=EFFECT_LENGTH_M,
            fasteners=device_models.fasteners(name, clamps, pivot),
            parts=[{"kind": kind, "name": part, "count": count} for kind, part, count in device_models.PARTS[name]],
            **device_models.FIGURES[name],
        )
    places = {}
    for belt in BELTS:
        for each in belt.devices:
            device = add_device(
                plant=plant,
                by=by,
                number=str(each.number),
                device_model=models[each.model],
                serial=f"BW-{each.model}-{1000 + 7 * each.number}",
            )
            if each.number == FITTED_BY_THE_BOOK:
                places[each.number] = fit_by_the_book(device, belts[belt.tag], each.chainage_m, demo)
                continue
            places[each.number] = install_device(
                device=device,
                conveyor=belts[belt.tag],
                strand=each.strand,
                chainage_m=each.chainage_m,
                installed_at=demo.fitted_at(each),
                by=by,
                access="drive side walkway" if each.number % 3 else "off side platform",
                note=NOTES.get(each.number, ""),
            )
    return places


NOTES = {
    24: "Found mirrored at commissioning and turned round before hand-over.",
    55: "Fouls the deck plate at full tilt: touch marks seen.",
    33: "Fitted over a shift change; finished by the second crew.",
}


def write_hours(belts: dict[str, Conveyor], demo: DemoPlant, by: Person) -> None:
    days = [(day, demo.date(day), *demo.span(day)) for day in demo.days()]
    for tag, conveyor in belts.items():
        if tag == "Y-01":  # an hour meter instead of daily totals
            for row in demo.drawn.meter:
                record_meter_reading(
                    conveyor=conveyor, by=by, read_at=demo.at(row.moment), reading_h=row.shown_h, event=row.event,
                    keep_doubtful=row.is_doubtful,
                )  # fmt: skip
            continue
        missing = demo.drawn.missing_days.get(tag, ())
        record_runs(
            (
                {
                    "conveyor": conveyor,
                    "starts_at": start,
                    "ends_at": end,
                    "running_h": float(hours),
                    "source": "shift log",
                    "client_key": key_of("hours", tag, date),
                }
                for (day, date, start, end), hours in zip(days, demo.drawn.hours[tag], strict=True)
                if day not in missing
            ),
            by=by,
        )


def write_incidents(belts: dict[str, Conveyor], demo: DemoPlant, by: Person) -> None:
    record_incidents(
        (
            {
                "client_key": key_of("incident", n),
                "conveyor": belts[each.tag],
                "happened_at": demo.at(each.moment),
                "strand": each.strand,
                "chainage_m": each.chainage_m,
                "side": each.side,
                "severity": each.severity,
                "source": each.source,
                "offset_mm": each.offset_mm,
                "minutes_lost": each.minutes_lost,
                "spilled_t": each.spilled_t,
                "suspected_cause": each.cause,
            }
            for n, each in enumerate(demo.drawn.incidents)
        ),
        by=by,
    )
    switches = {
        (part.conveyor.tag, part.chainage_m): part
        for part in ConveyorPart.objects.drift_switches().select_related("conveyor")
    }
    keep_switch_events(
        {
            "drift_switch": switches[each.tag, each.chainage_m],
            "at": demo.at(each.moment),
            "is_on": each.is_on,
            "side": each.side,
        }
        for each in demo.drawn.switch_events
    )


def write_changes(
    belts: dict[str, Conveyor], places: dict[int, Installation], demo: DemoPlant, planner: Person, engineer: Person
) -> None:
    def ago(days: int) -> dt.datetime:
        return demo.at(wall(-days, 9))

    record_belt_change(
        conveyor=belts["S-15"],
        changed_at=demo.at(wall(fitted_day(scenario.device(22)) + stories.NEW_BELT_AFTER_DAYS, FITTED_H)),
        by=planner,
        kind="belt",
        description="New belt, 1200 mm, two vulcanised joints",
    )
    record_belt_change(
        conveyor=belts["Q-11"], changed_at=ago(84), by=planner, kind="splice", chainage_m=410.0,
        description="Splice renewed at 410 m",
    )  # fmt: skip
    record_belt_change(
        conveyor=belts["Q-11"], changed_at=ago(16), by=engineer, kind="idlers", chainage_m=430.0,
        description="Idler 203 reported seized, not changed yet", cuts_comparison=False,
    )  # fmt: skip
    record_belt_change(
        conveyor=belts["Y-02"], changed_at=ago(30), by=engineer, kind="splice",
        description="Splice found crooked: it trips the same switch once per revolution", cuts_comparison=False,
    )  # fmt: skip
    # Thursday of next week, or Friday where that is a holiday.
    next_week = next(day for day in range(10 - demo.today.weekday(), 21) if is_working(demo, demo.date(day)))
    start = demo.at(wall(next_week, 6))
    for tag in ("S-12", "S-15"):
        plan_outage(
            conveyor=belts[tag], starts_at=start, ends_at=start + dt.timedelta(hours=6), by=planner,
            reason="screen deck change",
        )  # fmt: skip
    for days, tag, hours in ((2, "Q-04", 4), (4, "L-02", 5), (9, "Q-11", 6), (12, "K-04", 8)):
        start = demo.at(wall(days, 7))
        plan_outage(
            conveyor=belts[tag], starts_at=start, ends_at=start + dt.timedelta(hours=hours), by=planner,
            reason="planned stop",
        )  # fmt: skip
    for story in stories.STORIES:
        if story.window_reason:
            place = places[story.devices[0]]
            year_on = demo.date(fitted_day(scenario.device(story.devices[0])) + 364)
            set_window(
                installation=place,
                by=engineer,
                reason=story.window_reason,
                before_months=story.before_months,
                after_until=year_on if story.after_ends == "year" else None,
                set_at=place.installed_at,  # before anyone counted
            )


# --- Shifts and rounds ------------------------------------------------------------------------------------------------
def write_shifts(plant: Plant, demo: DemoPlant) -> None:
    """Shifts of this week and the next, and a draft for the next working day."""
    planner = Person.objects.get(username="planner-1")
    monday = demo.today - dt.timedelta(days=demo.today.weekday())
    days = [day for n in range(14) if is_working(demo, day := monday + dt.timedelta(days=n))]
    for name, begin, end, rest, skills, tools in people.SHIFTS:
        person = Person.objects.get(username=name)
        profile = profile_of(plant, person)
        set_profile(profile, by=planner, version=profile.version, skills=skills, tools=tools)
        for day in days:
            times = [dt.datetime(day.year, day.month, day.day, each, tzinfo=demo.zone) for each in (begin, end, rest)]
            add_shift(
                plant=plant,
                by=planner,
                client_key=key_of("shift", name, day),
                person=person,
                starts_at=times[0],
                ends_at=times[1],
                break_starts_at=times[2],
            )
    next_day = next(day for day in days if day > demo.today)
    for tag, begin, hours in (("L-03", 7, 3), ("Y-02", 11, 3)):
        starts_at = dt.datetime(next_day.year, next_day.month, next_day.day, begin, tzinfo=demo.zone)
        plan_outage(
            conveyor=Conveyor.objects.get(plant=plant, tag=tag), starts_at=starts_at,
            ends_at=starts_at + dt.timedelta(hours=hours), by=planner, reason="planned stop",
        )  # fmt: skip
    with timezone.override(plant.zone):
        lay(plant=plant, first_day=next_day, last_day=next_day, by=planner, iterations=300)


# --- Past visits ------------------------------------------------------------------------------------------------------
def write_visits(
    plant: Plant,
    places: dict[int, Installation],
    demo: DemoPlant,
    by_name: dict[str, Person],
    wrenches: dict[str, Instrument],
) -> None:
    kinds = {kind.code: kind for kind in CheckKind.objects.filter(plant=None)}
    tasks = past_tasks(plant, places, demo, kinds)
    for n, each in enumerate(demo.drawn.visits):
        write_visit(each, places[each.device], {code: tasks[n, code] for code in each.entries}, by_name, demo, wrenches)


def past_tasks(
    plant: Plant, places: dict[int, Installation], demo: DemoPlant, kinds: dict[str, CheckKind]
) -> dict[tuple[int, str], Task]:
    """The tasks that the past visits closed, in their windows."""
    rows, keys, seen = [], [], set()
    for n, each in enumerate(demo.drawn.visits):
        at = demo.at(each.moment)
        day = demo.date(day_of(each.moment))
        for code in each.entries:
            is_first = code == "fastener-torque" and (each.device, code) not in seen
            seen.add((each.device, code))
            # One open task of a kind at a time: each is written as closed; the visit closes it again with its grade.
            rows.append(
                Task(
                    plant=plant,
                    installation=places[each.device],
                    check_kind=kinds[code],
                    origin=Task.Origin.BEDDING_IN if is_first else Task.Origin.PLAN,
                    due_on=day,
                    opens_on=day - dt.timedelta(days=7),
                    closes_on=day + dt.timedelta(days=7),
                    created_at=at - dt.timedelta(days=30),
                    client_key=key_of("task", n, code),
                )
            )
            keys.append((n, code))
    return dict(zip(keys, rows, strict=True))


def write_visit(
    each: DemoVisit,
    place: Installation,
    tasks: dict[str, Task],
    by_name: dict[str, Person],
    demo: DemoPlant,
    wrenches: dict[str, Instrument],
) -> None:
    bulk_create_with_history(list(tasks.values()), Task)
    entries = {
        tasks[code].pk: read_with(wrenches, each.by, readings)
        if code == "fastener-torque"
        else typed_entries(each, readings)
        for code, readings in each.entries.items()
    }
    by, at, day = by_name[each.by], demo.at(each.moment), demo.date(day_of(each.moment))
    action = action_of(each, place, day, by)
    visit = close_out_visit(
        installation=place,
        by=by,
        client_key=key_of("visit", each.device, at),
        visited_at=at,
        entries=entries,
        lockout_confirmed=True,
        lockout_confirmed_at=at - dt.timedelta(minutes=12),
        permit_reference=f"PTW-{day:%y%m%d}-{each.device:02d}",
        note=each.note,
        confirmed_implausible={
            reading_key(pk, code, stage) for pk, codes in entries.items() for code, stages in codes.items()
            for stage in stages
        },
        action=action,
        no_action_reason=each.no_action_reason or "Looked at again at the next visit.",
    )  # fmt: skip
    if action and (done := done_moment(each)) is not None:
        known = action.add_to or Action.objects.get(visit=visit)
        finish_action(known, by=by, note="Pivot freed, cleaned and greased.", done_at=demo.at(done))


def action_of(each: DemoVisit, place: Installation, day: dt.date, by: Person) -> NewAction | None:
    """What a visit called for; where the same is open still, it was found again and is added to that."""
    if not each.action:
        return None
    open_one = next(iter(alike_open(place, (), each.action)), None)
    return NewAction(each.action, day + dt.timedelta(days=14), by, add_to=open_one)


def typed_entries(each: DemoVisit, readings: dict[str, dict[str, Any]]) -> dict[str, dict[str, Any]]:
    """What was typed in inches, with its text; everything else in SI."""
    if not each.typed_in_inches or "drive_diameter" not in readings:
        return readings
    text = each.typed_in_inches
    value = parse_quantity(text, QuantityKind.LENGTH_MM, UnitSystem.US).value
    return {**readings, "drive_diameter": {**readings["drive_diameter"], "as_found": Typed(value, text)}}


def read_with(
    wrenches: dict[str, Instrument], by: str, readings: dict[str, dict[str, Any]]
) -> dict[str, dict[str, Any]]:
    """Torques with the wrench that the technician carries; one of the three goes on with a wrench that ran out."""
    is_late = by == instruments.CARRIES_THE_LATE_ONE
    wrench = wrenches[instruments.LATE_WRENCH if is_late else instruments.GOOD_WRENCH]
    reason = instruments.WHY_THE_LATE_ONE if is_late else ""
    return {
        code: {stage: Typed(value, "", METHODS[stage], wrench, reason) for stage, value in stages.items()}
        for code, stages in readings.items()
    }


METHODS = {"as_found": TorqueSignOff.Method.FIRST_MOVEMENT.value, "as_left": TorqueSignOff.Method.TIGHTENING.value}


# --- Plans ------------------------------------------------------------------------------------------------------------
def write_plans(plant: Plant, demo: DemoPlant) -> None:
    engineer = Person.objects.get(username="engineer-1")
    planner = Person.objects.get(username="planner-1")
    kinds = {kind.code: kind for kind in CheckKind.objects.filter(plant=None)}
    long_ago = demo.at(wall(-DAYS, 0))
    for model in plant.device_models.all():
        for code in CHECKS:
            write_plan(plant, engineer, kinds[code], 1, created_at=long_ago, device_model=model)
    for belt in BELTS:
        for each in belt.devices if belt.is_wet else ():
            place = Installation.objects.get(plant=plant, device__number=str(each.number))
            for code in CHECKS:
                write_plan(plant, engineer, kinds[code], 2, created_at=place.installed_at, installation=place)
    write_own_check(plant, engineer, demo)
    plan_tasks(plant, demo.today)
    put_off_twice(plant, planner, demo)
    not_safe(plant, demo)
    write_fittings(plant, planner, demo)


def write_plan(plant: Plant, by: Person, kind: CheckKind, often: int, **where: Any) -> None:
    days, hours = INTERVALS[kind.code]
    create_check_plan(
        plant=plant,
        by=by,
        check_kind=kind,
        interval_days=days // often,
        interval_h=hours / often,
        opens_days_before=7,
        closes_days_after=7,
        bedding_in_days=7 if kind.code == "fastener-torque" else None,
        bedding_in_h=72.0 if kind.code == "fastener-torque" else None,
        **where,
    )


def write_own_check(plant: Plant, by: Person, demo: DemoPlant) -> None:
    """A kind of the plant's own: a look from the walkway at carry devices, after one was seen to foul structure."""
    kind = create_check_kind(
        plant=plant, by=by, name="Structure contact", needs_lockout=False, minutes=5,
        method="From the walkway, guards on: look for touch marks on frame and structure while the belt runs.",
    )  # fmt: skip
    answers = [{"value": "no", "label": "no", "grade": "sound"}, {"value": "yes", "label": "yes", "grade": "act"}]
    add_reading_field(kind=kind, by=by, label="Touch marks", form="yes_no", choices=answers)
    add_reading_field(
        kind=kind, by=by, label="Least gap", form="number", quantity="mm", is_required=False, watch_below=25.0,
        act_below=10.0, position=1,
    )  # fmt: skip
    model = plant.device_models.get(name="CT-1")
    create_check_plan(
        plant=plant, by=by, check_kind=kind, device_model=model, interval_days=30, opens_days_before=5,
        closes_days_after=10, created_at=demo.at(wall(-2, 0)),
    )  # fmt: skip


def put_off_twice(plant: Plant, by: Person, demo: DemoPlant) -> None:
    task = Task.objects.open().get(
        plant=plant,
        installation__device__number=str(stories.PUT_OFF_TWICE),
        check_kind__code="fastener-torque",
        origin=Task.Origin.PLAN,
    )
    for reason in stories.PUT_OFF_REASONS:
        agreed_at = demo.at(wall((task.closes_on - demo.today).days - 1, 10))
        put_off_task(
            task=task,
            by=by,
            closes_on=task.closes_on + dt.timedelta(days=stories.PUT_OFF_DAYS),
            reason=reason,
            now=agreed_at,
        )
        task.refresh_from_db()


def not_safe(plant: Plant, demo: DemoPlant) -> None:
    """A visit at Q-06 that ended because it was not safe to do: no penalty, the planner is told."""
    task = Task.objects.open().filter(plant=plant, installation__device__number="6").order_by("due_on").first()
    if task is not None:
        could_not_do(
            task=task,
            by=Person.objects.get(username="technician-1"),
            reason="not_safe",
            note="Water across the walkway, no safe footing at the return strand.",
            tried_at=demo.at(wall(-1, 10)),
        )
