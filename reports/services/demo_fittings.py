"""Fittings of the demo plant: one planned that lacks something, one left half done, one between two adjustments.

A fourth is over: device 25 went through the whole book, from its survey to the hand-over.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

from django.utils import timezone

from fixtures import fittings as stories
from fixtures import instruments
from fixtures import surveys as survey_stories
from fixtures.generator import DemoPlant
from fixtures.plant_time import FITTED_H, fitted_day, wall
from fixtures.scenario import device as story_device
from installs.models import Device, Fitting, Installation, Instrument, Survey
from installs.selectors.torque import target_for
from installs.services.acceptance import accept_fitting, hand_over_fitting
from installs.services.commissioning import confirm_point, record_adjustment, record_isolation
from installs.services.devices import add_device
from installs.services.fit_up import save_fit_up
from installs.services.fittings import count_needs, plan_fitting
from installs.services.torque import pass_over_fasteners, sign_off_torque
from installs.services.trial_runs import record_trial_run
from plant.models import Conveyor, OutageWindow, Person, Plant
from reports.services.demo_keys import key_of
from reports.services.demo_surveys import write_closed_survey

FITTED_BY_THE_BOOK = 25
PASSED_OVER_WORDS = "The wrench does not reach it past the guard post; tightened by hand, the long extension is ordered"
RESTRAINT_WORDS = "No photo: cameras are not allowed in this gallery. The strap lies on the walkway."


def write_fittings(plant: Plant, by: Person, demo: DemoPlant) -> None:
    """Those that are planned or under way today."""
    planned_on_s12(plant, by)
    # Begun by the late shift and left for the next one.
    half_done_on_y06(plant, by, min(demo.at(wall(-1, 20)), timezone.now() - dt.timedelta(hours=4)))
    between_adjustments_on_l01(plant, by, demo.at(wall(-1, 7)))


def people() -> dict[str, Person]:
    return {each.username: each for each in Person.objects.all()}


def plan(plant: Plant, by: Person, *, tag: str, number: str, crew: Sequence[Person], **values: Any) -> Fitting:
    model = plant.device_models.get(name="RP-2")
    device = add_device(
        plant=plant, by=by, number=number, device_model=model, serial=f"BW-RP-2-{1000 + 7 * int(number)}"
    )
    belt = plant.conveyors.get(tag=tag)
    return plan_fitting(conveyor=belt, device_model=model, device=device, by=by, crew=crew, **values)


def have_all(job: Fitting, by: Person, *, short_of: str = "") -> None:
    """Count what the job needs; of one thing there is one too few."""
    there = {need.pk: need.needed - (need.name == short_of) for need in job.needs.all()}
    count_needs(fitting=job, by=by, at_hand=there)


def planned_on_s12(plant: Plant, by: Person) -> None:
    """Into the window that S-12 has next week: a part is short, nobody surveyed, no permit is written down."""
    window = OutageWindow.objects.filter(conveyor__plant=plant, conveyor__tag="S-12").ahead(timezone.now()).first()
    known = people()
    job = plan(
        plant,
        by,
        tag="S-12",
        number="61",
        crew=[known["technician-1"], known["technician-2"]],
        strand="return",
        chainage_m=60.0,
        outage_window=window,
        duration_h=4.0,
        note="The stretch below 70 m is steered by nobody.",
    )
    have_all(job, by, short_of="bracket clamp")


def half_done_on_y06(plant: Plant, by: Person, begun_at: dt.datetime) -> None:
    """Left at the end of a shift after the restraint came off; the locks hang as recorded."""
    known = people()
    first, second = known["technician-1"], known["technician-2"]
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
        survey=Survey.objects.filter(plant=plant, conveyor__tag="Y-06").first(),
        note="Left at shift change; the next crew goes on.",
    )
    have_all(job, first)
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
    confirm(job, first, begun_at, {"parts": 25, "restraint": 95})
    job.refresh_from_db()
    save_fit_up(fitting=job, by=first, version=0, **stories.FIT_UP_Y06)


def between_adjustments_on_l01(plant: Plant, by: Person, begun_at: dt.datetime) -> None:
    """Fitted and tightened; after one adjustment the belt is better and not yet within the target."""
    known = people()
    first, second = known["technician-3"], known["technician-1"]
    job = plan(
        plant,
        by,
        tag="L-01",
        number="63",
        crew=[first, second],
        strand="return",
        chainage_m=112.0,
        planned_at=begun_at,
        duration_h=6.0,
        permit_reference="PW-0409",
        survey=Survey.objects.filter(plant=plant, conveyor__tag="L-01").first(),
        target_offset_mm=25.0,
    )
    have_all(job, first)
    fit(job, first, second, begun_at, 1640.0, 1194.0, "scribed line on both stringers at 108.0 m", left_out=1)
    run_cycles(job, first, second, begun_at, stories.HALFWAY_L01)


def fit_by_the_book(device: Device, belt: Conveyor, chainage_m: float, demo: DemoPlant) -> Installation:
    """Device 25: surveyed, planned, fitted up, tightened, run, accepted and handed over when it went into service."""
    known = people()
    by, first, second = known["planner-1"], known["technician-1"], known["technician-2"]
    story = story_device(FITTED_BY_THE_BOOK)
    over_at = demo.fitted_at(story)
    walked = wall(fitted_day(story) - survey_stories.OF_THE_YOUNG_ONE.days_ago, FITTED_H + 4)
    survey = write_closed_survey(survey_stories.OF_THE_YOUNG_ONE, belt, demo.at(walked), first)
    begun_at = over_at - dt.timedelta(hours=7)
    job = plan_fitting(
        conveyor=belt,
        device_model=device.device_model,
        device=device,
        by=by,
        crew=[first, second],
        client_key=key_of("fitting", FITTED_BY_THE_BOOK),
        strand="return",
        chainage_m=chainage_m,
        planned_at=begun_at,
        duration_h=7.0,
        permit_reference="PW-0388",
        survey=survey,
    )
    have_all(job, first)
    fit(job, first, second, begun_at, 1432.0, 996.0, "scribed line on both stringers at 46.0 m")
    run_cycles(job, first, second, begun_at, stories.DONE_S21)
    job.refresh_from_db()
    job = accept_fitting(fitting=job, by=known["engineer-1"], version=job.version, now=over_at)
    return hand_over_fitting(
        fitting=job,
        by=first,
        version=job.version,
        handed_over_to="shift B, screening house",
        open_points="Touch up the paint on the drive side bracket.",
        now=over_at,
    )


# --- The steps of a job -----------------------------------------------------------------------------------------------
def confirm(job: Fitting, by: Person, begun_at: dt.datetime, minutes: dict[str, int]) -> None:
    """Hold points, each so many minutes after the job began."""
    for point, after in minutes.items():
        at = begun_at + dt.timedelta(minutes=after)
        confirm_point(
            fitting=job,
            point=point,
            by=by,
            note=RESTRAINT_WORDS if point == "restraint" else "",
            handed_back_by="both technicians" if point == "locks" else "",
            confirmed_at=at,
            now=at,
        )


def isolate(job: Fitting, by: Person, other: Person, at: dt.datetime) -> Any:
    return record_isolation(
        fitting=job,
        by=by,
        points=f"Main switch {job.conveyor.tag}/Q1, two locks.",
        tried_start=True,
        people=[other],
        energies=job.conveyor.energies[:300],
        isolated_at=at,
        now=at,
    )


def fit(
    job: Fitting,
    by: Person,
    other: Person,
    begun_at: dt.datetime,
    spacing_mm: float,
    belt_width_mm: float,
    reference: str,
    *,
    left_out: int = 0,
) -> None:
    """The first cycle up to the locks: fit-up, torque of all but the last `left_out`, which are passed over, points."""
    isolate(job, by, other, begun_at)
    confirm(job, by, begun_at, {"parts": 20, "restraint": 70})
    job.refresh_from_db()
    save_fit_up(fitting=job, by=by, version=0, **stories.fit_up_of(spacing_mm, belt_width_mm, reference))
    wrench = Instrument.objects.get(plant=job.plant, number=instruments.GOOD_WRENCH)
    each_one = [(one, n) for one in job.device_model.fasteners.all() for n in range(1, one.count + 1)]
    at = begun_at + dt.timedelta(minutes=100)
    for fastener, number in each_one[: len(each_one) - left_out]:
        sign_off_torque(
            fitting=job,
            fastener=fastener,
            number=number,
            torque_nm=target_for(job, fastener).torque_nm or 0.0,
            by=by,
            instrument=wrench,
            signed_at=at,
            now=at,
        )
    if left_out:
        left = each_one[len(each_one) - left_out :]
        pass_over_fasteners(fitting=job, fasteners=left, reason=PASSED_OVER_WORDS, by=by, passed_at=at, now=at)
    confirm(job, by, begun_at, {"clear": 120, "guards": 130, "people": 133, "locks": 136})


def run_cycles(
    job: Fitting, by: Person, other: Person, begun_at: dt.datetime, cycles: Sequence[stories.DemoCycle]
) -> None:
    """Trial runs, each further adjustment under an isolation of its own; the first cycle was isolated already."""
    minutes = 140
    for cycle in cycles:
        if cycle.adjustment_mm is not None:
            at = begun_at + dt.timedelta(minutes=minutes)
            isolation = isolate(job, by, other, at)
            record_adjustment(
                isolation,
                by=by,
                version=isolation.version,
                in_drive_mm=cycle.adjustment_mm,
                out_off_mm=cycle.adjustment_mm,
                note="Both brackets, by the witness lines.",
            )
            points = {point: minutes + 8 + 4 * n for n, point in enumerate(stories.POINTS_OF_ADJUSTMENT)}
            confirm(job, by, begun_at, points)
            minutes += 24
        for run in cycle.runs:
            started_at = begun_at + dt.timedelta(minutes=minutes)
            record_trial_run(
                fitting=job,
                by=by,
                minutes=run.minutes,
                # On the return strand downstream is towards the tail.
                offsets=[
                    (job.chainage_m - along, offset)
                    for along, offset in zip(stories.STATIONS_M, run.offsets_mm, strict=True)
                ],
                is_loaded=run.is_loaded,
                frame_position=run.frame,
                started_at=started_at,
                now=started_at + dt.timedelta(minutes=run.minutes),
            )
            minutes += int(run.minutes) + 6
