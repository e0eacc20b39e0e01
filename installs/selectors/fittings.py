"""What a planned fitting still lacks, line by line, and where it clashes with other jobs.

A line says what the book knows. That nothing is missing in the book never says that a job may begin.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from django.db.models import Q
from django.urls import NoReverseMatch
from django.utils import timezone

from installs.calc.placement import SAME_PLACE_M
from installs.models import Fitting, Installation, Instrument, Survey
from plant.models import Plant

LOOK_AHEAD_DAYS = 3  # common practice: what is found missing later is found with the belt down
WRENCHES_NAMED = 3


class Needed(StrEnum):
    """What a job needs before it is begun."""

    SURVEY = "survey"
    DEVICE = "device"
    PLACE = "place"
    NEEDS = "needs"
    WINDOW = "window"
    CREW = "crew"
    PERMIT = "permit"
    INSTRUMENT = "instrument"


class ReadinessRule(StrEnum):
    """What the book knows of a thing that a job needs; in words `installs.words.fittings`."""

    NO_SURVEY = "readiness.no_survey"
    SURVEY_OPEN = "readiness.survey_open"
    SURVEY_SAYS = "readiness.survey_says"
    SURVEY_SAYS_CONDITIONS = "readiness.survey_says_conditions"
    NO_DEVICE = "readiness.no_device"
    DEVICE_SCRAPPED = "readiness.device_scrapped"
    DEVICE_STANDS = "readiness.device_stands"
    DEVICE_PLANNED = "readiness.device_planned"
    DEVICE_FREE = "readiness.device_free"
    PLACE_TAKEN = "readiness.place_taken"
    PLACE_FREE = "readiness.place_free"
    NO_NEEDS = "readiness.no_needs"
    NEED_SHORT = "readiness.need_short"
    NEEDS_AT_HAND = "readiness.needs_at_hand"
    NO_WINDOW = "readiness.no_window"
    PLANNED_IN_NO_WINDOW = "readiness.planned_in_no_window"
    WINDOW_PASSED = "readiness.window_passed"
    WINDOW_SHORT = "readiness.window_short"
    WINDOW_CLASHES = "readiness.window_clashes"
    WINDOW_LONG_ENOUGH = "readiness.window_long_enough"
    NO_CREW = "readiness.no_crew"
    CREW_CLASHES = "readiness.crew_clashes"
    CREW_NAMED = "readiness.crew_named"
    NO_PERMIT = "readiness.no_permit"
    PERMIT_NAMED = "readiness.permit_named"
    NO_WRENCH = "readiness.no_wrench"
    WRENCH_COVERS_NOT = "readiness.wrench_covers_not"
    WRENCHES = "readiness.wrenches"


@dataclass(frozen=True)
class ReadinessLine:
    """One thing that a job needs, and what the book knows of it.

    Attributes
    ----------
    about : Needed
    rule : ReadinessRule
    is_missing : bool
    known : mapping of str to Any
        The rows and values that the rule names: rows, moments (UTC), days, times in h, torques in N·m, counts.
    url : str
        Of the record that it was read from.
    """

    about: Needed
    rule: ReadinessRule
    is_missing: bool
    known: Mapping[str, Any] = field(default_factory=dict)
    url: str = ""


def readiness_of(fitting: Fitting, now: dt.datetime | None = None) -> list[ReadinessLine]:
    """Every line of the readiness check, the missing ones first."""
    now = now or timezone.now()
    lines = [
        survey_line(fitting),
        device_line(fitting),
        place_line(fitting),
        *need_lines(fitting),
        window_line(fitting, now),
        crew_line(fitting),
        permit_line(fitting),
        instrument_line(fitting, now),
    ]
    return sorted(lines, key=lambda line: not line.is_missing)


def page_of(row: Any) -> str:
    """The address of a row's page; empty where the site has none."""
    try:
        return str(row.get_absolute_url())
    except NoReverseMatch:
        return ""


def survey_line(fitting: Fitting) -> ReadinessLine:
    survey = fitting.survey
    if survey is None:
        return ReadinessLine(Needed.SURVEY, ReadinessRule.NO_SURVEY, True)
    url = page_of(survey)
    if survey.closed_at is None:
        return ReadinessLine(Needed.SURVEY, ReadinessRule.SURVEY_OPEN, True, url=url)
    fits = survey.result in (Survey.Result.FITS, Survey.Result.CONDITIONS)
    known: dict[str, Any] = {"result": Survey.Result(survey.result)}
    rule = ReadinessRule.SURVEY_SAYS
    if survey.conditions and survey.result == Survey.Result.CONDITIONS:
        known["conditions"], rule = survey.conditions, ReadinessRule.SURVEY_SAYS_CONDITIONS
    return ReadinessLine(Needed.SURVEY, rule, not fits, known, url)


def device_line(fitting: Fitting) -> ReadinessLine:
    device, about = fitting.device, Needed.DEVICE
    if device is None:
        return ReadinessLine(about, ReadinessRule.NO_DEVICE, True, {"model": fitting.device_model})
    url, known = device.get_absolute_url(), {"number": device.number}
    if device.scrapped_on is not None:
        return ReadinessLine(
            about, ReadinessRule.DEVICE_SCRAPPED, True, {**known, "scrapped_on": device.scrapped_on}, url
        )
    standing = (
        device.installations.in_place().exclude(pk=fitting.installation_id or 0).select_related("conveyor").first()
    )
    if standing is not None:
        return ReadinessLine(about, ReadinessRule.DEVICE_STANDS, True, {**known, "place": standing}, url)
    other = device.fittings.open().exclude(pk=fitting.pk).select_related("conveyor").first()
    if other is not None:
        return ReadinessLine(
            about, ReadinessRule.DEVICE_PLANNED, True, {**known, "job": other}, other.get_absolute_url()
        )
    return ReadinessLine(about, ReadinessRule.DEVICE_FREE, False, known, url)


def place_line(fitting: Fitting) -> ReadinessLine:
    near = (fitting.chainage_m - SAME_PLACE_M, fitting.chainage_m + SAME_PLACE_M)
    taken = (
        Installation.objects.in_place()
        .filter(conveyor=fitting.conveyor, strand=fitting.strand, chainage_m__range=near)
        .exclude(pk=fitting.installation_id or 0)
        .select_related("device")
        .first()
    )
    if taken is not None:
        known = {"number": taken.device.number}
        return ReadinessLine(Needed.PLACE, ReadinessRule.PLACE_TAKEN, True, known, taken.get_absolute_url())
    return ReadinessLine(Needed.PLACE, ReadinessRule.PLACE_FREE, False)


def need_lines(fitting: Fitting) -> list[ReadinessLine]:
    needs = list(fitting.needs.all())
    if not needs:
        return [ReadinessLine(Needed.NEEDS, ReadinessRule.NO_NEEDS, True)]
    missing = [
        ReadinessLine(Needed.NEEDS, ReadinessRule.NEED_SHORT, True, {"need": need}) for need in needs if need.is_missing
    ]
    return missing or [ReadinessLine(Needed.NEEDS, ReadinessRule.NEEDS_AT_HAND, False, {"n": len(needs)})]


def window_line(fitting: Fitting, now: dt.datetime) -> ReadinessLine:
    window, about = fitting.outage_window, Needed.WINDOW
    if window is None:
        if fitting.planned_at is None:
            return ReadinessLine(about, ReadinessRule.NO_WINDOW, True)
        return ReadinessLine(about, ReadinessRule.PLANNED_IN_NO_WINDOW, True, {"planned_at": fitting.planned_at})
    url = window.get_absolute_url()
    known: dict[str, Any] = {"begins_at": window.starts_at, "ends_at": window.ends_at}
    if window.ends_at <= now and fitting.begun_at is None:
        return ReadinessLine(about, ReadinessRule.WINDOW_PASSED, True, known, url)
    starts_at = max(fitting.planned_at or window.starts_at, window.starts_at)
    there_h = (window.ends_at - starts_at).total_seconds() / 3600
    known |= {"there_h": there_h, "needed_h": fitting.duration_h}
    if there_h < fitting.duration_h:
        return ReadinessLine(about, ReadinessRule.WINDOW_SHORT, True, known, url)
    clashes = belt_clashes(fitting)
    if clashes:
        return ReadinessLine(about, ReadinessRule.WINDOW_CLASHES, True, {"clashes": clashes}, url)
    return ReadinessLine(about, ReadinessRule.WINDOW_LONG_ENOUGH, False, known, url)


def crew_line(fitting: Fitting) -> ReadinessLine:
    crew = tuple(fitting.crew.all())
    if not crew:
        return ReadinessLine(Needed.CREW, ReadinessRule.NO_CREW, True)
    clashes = crew_clashes(fitting, crew)
    if clashes:
        return ReadinessLine(Needed.CREW, ReadinessRule.CREW_CLASHES, True, {"clashes": clashes})
    return ReadinessLine(Needed.CREW, ReadinessRule.CREW_NAMED, False, {"people": crew})


def permit_line(fitting: Fitting) -> ReadinessLine:
    if not fitting.permit_reference:
        return ReadinessLine(Needed.PERMIT, ReadinessRule.NO_PERMIT, True)
    return ReadinessLine(Needed.PERMIT, ReadinessRule.PERMIT_NAMED, False, {"reference": fitting.permit_reference})


def instrument_line(fitting: Fitting, now: dt.datetime) -> ReadinessLine:
    """A torque wrench in calibration on the day of the job, for the torques that the model states."""
    about = Needed.INSTRUMENT
    moment = fitting.planned_at or now
    day = timezone.localdate(moment, timezone=fitting.plant.zone)
    targets = [each.torque_nm for each in fitting.spec.fasteners if each.torque_nm]
    wrenches = Instrument.objects.of_plant(fitting.plant).in_calibration(day).filter(kind=Instrument.Kind.TORQUE_WRENCH)
    able = [
        each
        for each in wrenches
        if all((each.range_least_nm or 0) <= nm <= (each.range_most_nm or nm) for nm in targets)
    ]
    known: dict[str, Any] = {"day": day}
    if able:
        known["numbers"] = tuple(each.number for each in able[:WRENCHES_NAMED])
        return ReadinessLine(about, ReadinessRule.WRENCHES, False, known, page_of(able[0]))
    if wrenches:
        known |= {"low_nm": min(targets), "high_nm": max(targets)}
        return ReadinessLine(about, ReadinessRule.WRENCH_COVERS_NOT, True, known)
    return ReadinessLine(about, ReadinessRule.NO_WRENCH, True, known)


# --- Clashes ----------------------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class Clash:
    """Another job at the same time, on the same belt or with people of this one."""

    job: Fitting
    people: tuple[Any, ...] = ()


def span_of(fitting: Fitting) -> tuple[dt.datetime, dt.datetime] | None:
    if fitting.planned_at is None:
        return None
    return fitting.planned_at, fitting.planned_at + dt.timedelta(hours=fitting.duration_h)


def at_the_same_time(fitting: Fitting, others: Iterable[Fitting]) -> list[Fitting]:
    mine = span_of(fitting)
    if mine is None:
        return []
    found = []
    for other in others:
        theirs = span_of(other)
        if theirs is not None and theirs[0] < mine[1] and mine[0] < theirs[1]:
            found.append(other)
    return found


def others_open(fitting: Fitting) -> Any:
    rows = Fitting.objects.of_plant(fitting.plant).open().exclude(pk=fitting.pk)
    return rows.select_related("conveyor").order_by("planned_at")


def belt_clashes(fitting: Fitting) -> tuple[Clash, ...]:
    """Jobs on the same belt at the same time."""
    others = others_open(fitting).filter(conveyor=fitting.conveyor)
    return tuple(Clash(other) for other in at_the_same_time(fitting, others))


def crew_clashes(fitting: Fitting, crew: Iterable[Any]) -> tuple[Clash, ...]:
    """Jobs at the same time for which people of this one are planned, with their names."""
    wanted = {person.pk: person for person in crew}
    rows = others_open(fitting).filter(crew__in=list(wanted)).distinct().prefetch_related("crew")
    return tuple(
        Clash(other, tuple(person for person in other.crew.all() if person.pk in wanted))
        for other in at_the_same_time(fitting, rows)
    )


# --- Days ahead -------------------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class JobAhead:
    """A job of the next days with what it lacks."""

    fitting: Fitting
    missing: tuple[ReadinessLine, ...]


def jobs_ahead(plant: Plant, now: dt.datetime, *, days: int = LOOK_AHEAD_DAYS) -> list[JobAhead]:
    """Jobs that are not begun and planned up to the end of the third day, also those whose start has passed."""
    today = timezone.localdate(now, timezone=plant.zone)
    until = dt.datetime.combine(today + dt.timedelta(days=days + 1), dt.time(), plant.zone)
    rows = Fitting.objects.of_plant(plant).open().filter(begun_at__isnull=True, planned_at__lt=until).with_place()
    rows = rows.prefetch_related("needs", "crew", "device_model__fasteners")
    return [
        JobAhead(row, tuple(line for line in readiness_of(row, now) if line.is_missing))
        for row in rows.order_by("planned_at")
    ]


def jobs_under_way(plant: Plant) -> list[Fitting]:
    """Jobs that are begun and not handed over."""
    rows = Fitting.objects.of_plant(plant).open().filter(begun_at__isnull=False).with_place()
    return list(rows.prefetch_related("crew").order_by("begun_at"))


def jobs_of_person(person: Any, plant: Plant, now: dt.datetime) -> list[Fitting]:
    """Jobs under way in the plant, and those planned for this person up to the end of the third day."""
    today = timezone.localdate(now, timezone=plant.zone)
    until = dt.datetime.combine(today + dt.timedelta(days=LOOK_AHEAD_DAYS + 1), dt.time(), plant.zone)
    # Not over a join: of rows with so many columns PostgreSQL takes a tenth of a second to plan how they differ.
    planned = Fitting.crew.through.objects.filter(person=person).values("fitting")
    mine = Q(begun_at__isnull=False) | Q(pk__in=planned, planned_at__lt=until)
    return list(Fitting.objects.of_plant(plant).open().filter(mine).with_place().order_by("planned_at"))
