"""What a planned fitting still lacks, line by line in words, and where it clashes with other jobs.

A line says what the book knows. That nothing is missing in the book never says that a job may begin.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import Q
from django.urls import NoReverseMatch
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from installs.calc.placement import SAME_PLACE_M
from installs.models import Fitting, Installation, Instrument, Survey
from installs.words.installations import place_words
from plant.calc.wording import figure
from plant.models import Plant
from plant.words.moments import moment_words

LOOK_AHEAD_DAYS = 3  # common practice: what is found missing later is found with the belt down


@dataclass(frozen=True)
class ReadinessLine:
    """One thing that a job needs: what it is called, whether it is missing, and a sentence."""

    key: str
    label: str
    is_missing: bool
    words: str
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
    survey, label = fitting.survey, _("Survey")
    if survey is None:
        return ReadinessLine("survey", label, True, _("No survey of the place belongs to this job."))
    url = page_of(survey)
    if survey.closed_at is None:
        return ReadinessLine("survey", label, True, _("The survey is not closed yet."), url)
    fits = survey.result in (Survey.Result.FITS, Survey.Result.CONDITIONS)
    words = _("The survey says: %s.") % survey.get_result_display()
    if survey.conditions and survey.result == Survey.Result.CONDITIONS:
        words += " " + _("Conditions: %s") % survey.conditions
    return ReadinessLine("survey", label, not fits, words, url)


def device_line(fitting: Fitting) -> ReadinessLine:
    device, label = fitting.device, _("Device")
    if device is None:
        return ReadinessLine(
            "device", label, True, _("No device is chosen yet; a %s is planned.") % fitting.device_model
        )
    url, known = device.get_absolute_url(), {"number": device.number}
    if device.scrapped_on is not None:
        words = _("Device %(number)s was scrapped on %(day)s.") % {**known, "day": device.scrapped_on}
        return ReadinessLine("device", label, True, words, url)
    standing = device.installations.in_place().exclude(pk=fitting.installation_id).select_related("conveyor").first()
    if standing is not None:
        words = _("Device %(number)s still stands on %(place)s.") % {**known, "place": place_words(standing)}
        return ReadinessLine("device", label, True, words, url)
    other = device.fittings.open().exclude(pk=fitting.pk).select_related("conveyor").first()
    if other is not None:
        words = _("Device %(number)s is planned for another job too: %(job)s.") % {**known, "job": job_words(other)}
        return ReadinessLine("device", label, True, words, other.get_absolute_url())
    return ReadinessLine("device", label, False, _("Device %(number)s stands in no place.") % known, url)


def place_line(fitting: Fitting) -> ReadinessLine:
    near = (fitting.chainage_m - SAME_PLACE_M, fitting.chainage_m + SAME_PLACE_M)
    taken = (
        Installation.objects.in_place()
        .filter(conveyor=fitting.conveyor, strand=fitting.strand, chainage_m__range=near)
        .exclude(pk=fitting.installation_id)
        .select_related("device")
        .first()
    )
    if taken is not None:
        words = _("Device %s still stands in this place.") % taken.device.number
        return ReadinessLine("place", _("Place"), True, words, taken.get_absolute_url())
    return ReadinessLine("place", _("Place"), False, _("No device stands in this place."))


def need_lines(fitting: Fitting) -> list[ReadinessLine]:
    needs, label = list(fitting.needs.all()), _("Parts and tools")
    if not needs:
        words = _("The model lists no parts or tools; put on the list of the job what it needs.")
        return [ReadinessLine("needs", label, True, words)]
    missing = [
        ReadinessLine(
            f"need-{need.pk}",
            need.get_kind_display().capitalize(),
            True,
            _("%(name)s: %(there)s of %(needed)s at hand.")
            % {"name": need.name, "there": need.at_hand, "needed": need.needed},
        )
        for need in needs
        if need.is_missing
    ]
    count = len(needs)
    told = ngettext("%s part or tool is at hand.", "All %s parts and tools are at hand.", count) % count
    return missing or [ReadinessLine("needs", label, False, told)]


def window_line(fitting: Fitting, now: dt.datetime) -> ReadinessLine:
    window, label = fitting.outage_window, _("Outage window")
    if window is None:
        words = _("No outage window is chosen.")
        if fitting.planned_at is not None:
            words = _("Planned for %s, in no outage window.") % moment_words(fitting.planned_at)
        return ReadinessLine("window", label, True, words)
    url = window.get_absolute_url()
    known = {"from": moment_words(window.starts_at), "to": moment_words(window.ends_at)}
    if window.ends_at <= now and fitting.begun_at is None:
        return ReadinessLine("window", label, True, _("The window %(from)s to %(to)s has passed.") % known, url)
    starts_at = max(fitting.planned_at or window.starts_at, window.starts_at)
    there_h = (window.ends_at - starts_at).total_seconds() / 3600
    known |= {"there": figure(there_h), "needed": figure(fitting.duration_h)}
    if there_h < fitting.duration_h:
        words = _(
            "The window %(from)s to %(to)s leaves %(there)s h from the planned start, the job takes %(needed)s h."
        )
        return ReadinessLine("window", label, True, words % known, url)
    clashes = belt_clashes(fitting)
    if clashes:
        return ReadinessLine("window", label, True, " ".join(clashes), url)
    return ReadinessLine(
        "window", label, False, _("%(from)s to %(to)s: %(there)s h for a job of %(needed)s h.") % known, url
    )


def crew_line(fitting: Fitting) -> ReadinessLine:
    crew, label = list(fitting.crew.all()), _("Crew")
    if not crew:
        return ReadinessLine("crew", label, True, _("Nobody is named for the job."))
    clashes = crew_clashes(fitting, crew)
    if clashes:
        return ReadinessLine("crew", label, True, " ".join(clashes))
    return ReadinessLine("crew", label, False, ", ".join(str(person) for person in crew) + ".")


def permit_line(fitting: Fitting) -> ReadinessLine:
    label = _("Permit")
    if not fitting.permit_reference:
        return ReadinessLine("permit", label, True, _("No permit reference is written down."))
    words = _("Reference %s. A number is no permit: look at the paper.") % fitting.permit_reference
    return ReadinessLine("permit", label, False, words)


def instrument_line(fitting: Fitting, now: dt.datetime) -> ReadinessLine:
    """A torque wrench in calibration on the day of the job, for the torques that the model states."""
    label = _("Torque wrench")
    moment = fitting.planned_at or now
    day = timezone.localdate(moment, timezone=fitting.plant.zone)
    shown = date_format(day, "j M Y")
    targets = [each.torque_nm for each in fitting.spec.fasteners if each.torque_nm]
    wrenches = Instrument.objects.of_plant(fitting.plant).in_calibration(day).filter(kind=Instrument.Kind.TORQUE_WRENCH)
    able = [
        each
        for each in wrenches
        if all((each.range_least_nm or 0) <= nm <= (each.range_most_nm or nm) for nm in targets)
    ]
    if able:
        names = ", ".join(each.number for each in able[:3])
        words = _("In calibration on %(day)s: %(names)s.") % {"day": shown, "names": names}
        return ReadinessLine("instrument", label, False, words, page_of(able[0]))
    if wrenches:
        words = _("No wrench that is in calibration on %(day)s covers %(low)s to %(high)s N·m.") % {
            "day": shown,
            "low": figure(min(targets)),
            "high": figure(max(targets)),
        }
        return ReadinessLine("instrument", label, True, words)
    return ReadinessLine("instrument", label, True, _("No torque wrench is in calibration on %s.") % shown)


# --- Clashes ----------------------------------------------------------------------------------------------------------
def job_words(fitting: Fitting) -> str:
    return _("%(tag)s, %(strand)s, %(chainage)s m") % {
        "tag": fitting.conveyor.tag,
        "strand": fitting.get_strand_display(),
        "chainage": figure(fitting.chainage_m),
    }


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


def belt_clashes(fitting: Fitting) -> list[str]:
    """Jobs on the same belt at the same time, in words."""
    return [
        _("Another job is planned on this belt at the same time: %(job)s, %(when)s for %(hours)s h.")
        % {"job": job_words(other), "when": moment_words(other.planned_at), "hours": figure(other.duration_h)}
        for other in at_the_same_time(fitting, others_open(fitting).filter(conveyor=fitting.conveyor))
    ]


def crew_clashes(fitting: Fitting, crew: Iterable[Any]) -> list[str]:
    """People who are planned elsewhere at the same time, in words."""
    wanted = {person.pk: person for person in crew}
    rows = others_open(fitting).filter(crew__in=list(wanted)).distinct().prefetch_related("crew")
    return [
        _("%(who)s is planned at the same time for %(job)s, %(when)s for %(hours)s h.")
        % {
            "who": ", ".join(str(person) for person in other.crew.all() if person.pk in wanted),
            "job": job_words(other),
            "when": moment_words(other.planned_at),
            "hours": figure(other.duration_h),
        }
        for other in at_the_same_time(fitting, rows)
    ]


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
    mine = Q(begun_at__isnull=False) | Q(crew=person, planned_at__lt=until)
    return list(Fitting.objects.of_plant(plant).open().filter(mine).with_place().distinct().order_by("planned_at"))
