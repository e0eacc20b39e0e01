"""Rounds outside the site: the sheet on paper and the calendar (RFC 5545)."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from itertools import groupby
from typing import Any

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from icalendar import Calendar, Event

from inspections.models import Round, Stop, TechnicianProfile
from inspections.words.rounds import clock
from plant.calc.units import QuantityKind, UnitSystem, format_quantity
from plant.calc.wording import full_stop
from plant.files.pdf import pdf
from plant.models import Membership, Plant
from plant.permissions import RIGHTS

# A calendar needs no long past, and rounds are laid two weeks ahead at most.
PAST_DAYS = 14


# --- On paper ---------------------------------------------------------------------------------------------------------
def sheet_of(rounds: Sequence[Round], system: UnitSystem, paper: str) -> bytes:
    """One or several rounds as a PDF, each from a new page on."""
    data = {
        "rounds": [round_data(each, system) for each in rounds],
        "care": care_lines(rounds[0].plant),
        "title": _("Rounds"),
        "foot": f"{rounds[0].plant}, {date_format(rounds[0].shift.day, 'j M Y')}",
        "heads": [_("At"), _("Belt and device"), _("Checks"), _("Lockout"), _("Done, by hand")],
    }
    return pdf("inspections/round.typ", data, paper=paper)


def care_lines(plant: Plant) -> list[str]:
    first = _("Lock out and get your permit by the site's procedure first. Ask for its valid revision before you go.")
    if plant.lockout_procedure:
        first = _("Lock out and get your permit by the site's procedure first: %(procedure)s") % {
            "procedure": full_stop(plant.lockout_procedure)
        }
    return [
        first,
        _(
            "Take-up, belt tension, incline and a tilted frame can move by themselves after the drive is locked. Nips "
            "lie between frame and structure, sensor arm and belt, roller and belt. Lift with the aid and the people "
            "that the site asks for."
        ),
        _(
            "The site's procedures, local codes, the maker's instructions and licensed practice come before anything "
            "on this sheet. A window is a plan, never a permit; the sheet may be older than the plan."
        ),
    ]


def round_data(row: Round, system: UnitSystem) -> dict[str, Any]:
    shift = row.shift
    facts = [[_("Shift"), f"{clock(shift.starts_at)}-{clock(shift.ends_at)}"]]
    if shift.break_starts_at and shift.break_ends_at:
        facts.append([_("Break"), f"{clock(shift.break_starts_at)}-{clock(shift.break_ends_at)}"])
    kinds = [task.check_kind for stop in row.stops.all() for task in stop.tasks_in_order]
    tools = sorted({word.strip() for kind in kinds for word in kind.tools_needed.split(",") if word.strip()})
    if tools:
        facts.append([_("To bring"), ", ".join(tools)])
    published = _("draft, not published")
    if row.published_at:
        published = _("published %(at)s") % {"at": date_format(timezone.localtime(row.published_at), "j M Y H:i")}
    return {
        "title": _("Round of %(who)s, %(day)s") % {"who": shift.person, "day": date_format(shift.day, "l j F Y")},
        "state": published,
        "facts": facts,
        "stops": [line for stop in row.stops.all() for line in stop_lines(stop, system)],
    }


def stop_lines(stop: Stop, system: UnitSystem) -> list[list[str]]:
    """A line for each device of a stop; time, way and lockout stand on the first."""
    lines = []
    by_device = groupby(stop.tasks_in_order, key=lambda task: task.installation)
    for n, (place, tasks) in enumerate(by_device):
        kinds = ", ".join(dict.fromkeys(str(task.check_kind) for task in tasks))
        where = f"{stop.conveyor.tag}, {_('device')} {place.device.number}"
        spot = f"{place.get_strand_display()}, {format_quantity(place.chainage_m, QuantityKind('m'), system)}"
        lockout = lockout_words(stop) if not n else _("as above")
        span = f"{clock(stop.starts_at)}-{clock(stop.ends_at)}" if not n else ""
        lines.append([span, f"{where}\n{spot}{', ' + place.access if place.access else ''}", kinds, lockout])
    return lines


def lockout_words(stop: Stop) -> str:
    """What a stop needs, never how a belt stands: a sheet is read when the belt may long run again."""
    if not stop.needs_lockout:
        return _("none needed: from the walkway")
    if stop.lockout_s:
        return _("needs lockout: isolate, prove dead")
    return _("needs lockout: kept from the stop before, make sure of it")


# --- In a calendar ----------------------------------------------------------------------------------------------------
def may_have_calendar(profile: TechnicianProfile) -> bool:
    """Only while the person works in the plant in a role that has rounds: an old address ends with the membership."""
    roles = [role for role, rights in RIGHTS.items() if "inspections.view_own_round" in rights]
    held = Membership.objects.filter(plant=profile.plant, person=profile.person, role__name__in=roles)
    return profile.person.is_active and held.exists()


def calendar_of(profile: TechnicianProfile, now: datetime) -> bytes:
    """Published stops as events: belt, checks and times, and nothing about any person."""
    calendar = Calendar()
    calendar.add("prodid", "-//Driftbook//Rounds//EN")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("x-wr-calname", _("Rounds, %(plant)s") % {"plant": profile.plant})
    rounds = (
        Round.objects.with_stops()
        .published()
        .of_person(profile.person)
        .filter(plant=profile.plant, shift__ends_at__gt=now - timedelta(days=PAST_DAYS))
    )
    for row in rounds:
        for stop in row.stops.all():
            calendar.add_component(event_of(row, stop))
    return bytes(calendar.to_ical())


def event_of(row: Round, stop: Stop) -> Event:
    """The same stop keeps its identity when a round is published anew, so that a calendar moves it."""
    event = Event()
    first = stop.task_order[0] if stop.task_order else stop.pk
    event.add("uid", f"round-{row.shift_id}-{first}@driftbook")
    published = row.published_at or row.created_at
    event.add("dtstamp", published)
    event.add("sequence", row.pk)
    event.add("dtstart", stop.starts_at)
    event.add("dtend", stop.ends_at)
    kinds = list(dict.fromkeys(str(task.check_kind) for task in stop.tasks_in_order))
    devices = list(dict.fromkeys(task.installation.device.number for task in stop.tasks_in_order))
    event.add("summary", f"{stop.conveyor.tag}: {', '.join(kinds)}")
    event.add("location", f"{stop.conveyor.area}, {stop.conveyor.tag}")
    words = [_("Device %(numbers)s.") % {"numbers": ", ".join(devices)}]
    if stop.needs_lockout:
        words.append(_("Lock out by the site's procedure first; this entry is a plan, never a permit."))
    event.add("description", " ".join(words))
    return event
