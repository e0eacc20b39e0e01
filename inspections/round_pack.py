"""What a phone keeps of a person's day, so that every page of the round works with no signal.

The published round of the day comes first, in its order; whatever else is due follows as on Today, by belt and device.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from itertools import groupby
from types import SimpleNamespace
from typing import Any

from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from inspections.calc.grading import grading_rules
from inspections.forms.visits import VisitForm, tool_words
from inspections.models import CheckKind, CouldNotDo, Round, Task
from inspections.selectors import WORN, Belt, TechniciansDay, acts_running, technicians_day
from inspections.services.actions import kinds_in_hand
from inspections.services.visits import FOUND_METHODS, wanted_of
from inspections.services.wear import DeviceWear, wear_of
from installs.models import Installation
from plant.calc.units import QuantityKind, UnitSystem, format_quantity, typing_grammar
from plant.models import Conveyor, Person, Plant
from plant.templatetags.quantities import days_late


def round_pack(person: Person, plant: Plant, now: datetime) -> dict[str, Any]:
    """Everything that the pages of the round show and need, as plain values for JSON."""
    today = timezone.localdate(now, plant.zone)
    day = technicians_day(person, plant, today, now)
    due = belt_legs(day)
    known = {task.pk: task for leg in due for task in leg["tasks"]}
    legs = without_repeats([*published_legs(person, plant, today, known), *due])
    wear = wear_of_tasks([task for leg in legs for task in leg["tasks"]], now)
    return {
        "made_at": now.isoformat(),
        "today": today.isoformat(),
        "today_words": date_format(today, "l j F"),
        "person": {"id": person.pk, "name": str(person), "wants_contrast": person.wants_contrast},
        "system": person.unit_system,
        "plant": {"id": plant.pk, "name": str(plant), "zone": str(plant.zone)},
        "care": care_html(plant, None),
        "bring": bring_words(day, UnitSystem(person.unit_system)),
        "legs": [as_leg(leg, person, plant, today, wear) for leg in legs],
        "labels": labels_of(plant),
        "rules": {"grading": grading_rules(), "typing": typing_grammar()},
        "reasons": [[value, str(label)] for value, label in CouldNotDo.Reason.choices],
        "methods": [[method.value, str(method.label)] for method in FOUND_METHODS],
        "tools": tool_words(plant, today),
        "owners": [[each.pk, str(each)] for each in people_of(plant)],
        "actions": [
            {
                "title": action.title,
                "place": f"{action.installation.conveyor.tag} {action.installation.device.number}",
                "due": date_format(action.due_on, "j M"),
                "is_late": action.due_on < today,
            }
            for action in day.actions
        ],
    }


def people_of(plant: Plant) -> Iterable[Person]:
    return Person.objects.filter(memberships__plant=plant, is_active=True).distinct().order_by("username")


# --- The order of the day ---------------------------------------------------------------------------------------------
def published_legs(person: Person, plant: Plant, today: date, known: Mapping[int, Task]) -> list[dict[str, Any]]:
    """The stops of the person's published rounds of the day, each with the checks that are still open."""
    rounds = Round.objects.of_plant(plant).of_person(person).published().filter(shift__day=today).with_stops()
    legs = []
    for each in rounds:
        for stop in each.stops.all():
            tasks = [known.get(task.pk, task) for task in stop.tasks.all() if task.closed_at is None]
            start, end = (
                date_format(timezone.localtime(at, plant.zone), "H:i") for at in (stop.starts_at, stop.ends_at)
            )
            words = [_("%(start)s to %(end)s by the round.") % {"start": start, "end": end}]
            if stop.walk_m:
                words.append(_("%(n)s m to walk there.") % {"n": stop.walk_m})
            if tasks:
                legs.append(
                    {
                        "conveyor": stop.conveyor,
                        "needs_lockout": stop.needs_lockout,
                        "words": " ".join(words),
                        "is_of_round": True,
                        "tasks": tasks,
                    }
                )
    return legs


def belt_legs(day: TechniciansDay) -> list[dict[str, Any]]:
    return [
        {
            "conveyor": belt.conveyor,
            "needs_lockout": belt.needs_lockout,
            "words": window_words(belt),
            "is_of_round": False,
            "tasks": [task for stop in belt.stops for task in stop.tasks],
        }
        for belt in day.belts
    ]


def without_repeats(legs: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """A check that the round holds is not shown a second time among what is due besides."""
    seen: set[int] = set()
    kept = []
    for leg in legs:
        tasks = [task for task in leg["tasks"] if task.pk not in seen]
        seen.update(task.pk for task in tasks)
        if tasks:
            kept.append({**leg, "tasks": tasks})
    return kept


def window_words(belt: Belt) -> str:
    if not belt.needs_lockout:
        return _("No lockout for these: looked at from the walkway.")
    if belt.window is None:
        return _("No outage window is known: ask the control room.")
    start = date_format(timezone.localtime(belt.window.starts_at), "H:i" if belt.is_today else "D j M H:i")
    said = _("Outage window %(start)s to %(end)s.") % {"start": start, "end": belt.end_words}
    return f"{said} {_('A window is a plan, never a permit.')}"


# --- One stop ---------------------------------------------------------------------------------------------------------
def wear_of_tasks(tasks: Iterable[Task], now: datetime) -> dict[int, DeviceWear]:
    """Wear of the devices whose rollers are read on the round, in a fixed number of queries."""
    read = [task for task in tasks if task.check_kind.rule == CheckKind.Rule.SENSOR_WEAR]
    return wear_of({task.installation_id: task.installation for task in read}.values(), now=now)


def as_leg(
    leg: dict[str, Any], person: Person, plant: Plant, today: date, wear: Mapping[int, DeviceWear]
) -> dict[str, Any]:
    conveyor = leg["conveyor"]
    conveyor.plant = plant
    tasks = sorted(leg["tasks"], key=lambda task: (task.installation.chainage_m, task.installation_id))
    return {
        "tag": conveyor.tag,
        "area": str(conveyor.area),
        "needs_lockout": leg["needs_lockout"],
        "words": leg["words"],
        "is_of_round": leg["is_of_round"],
        "minutes": sum(task.check_kind.minutes for task in tasks),
        "care": care_html(plant, conveyor),
        "stops": [
            as_stop(list(those), person, plant, today, wear)
            for _pk, those in groupby(tasks, key=lambda task: task.installation_id)
        ],
    }


def as_stop(
    tasks: list[Task], person: Person, plant: Plant, today: date, wear: Mapping[int, DeviceWear]
) -> dict[str, Any]:
    """One device with its checks: what is asked, the limits, the reading before, and how it stood the last time."""
    installation = tasks[0].installation
    for task in tasks:
        task.plant = plant
    wanted = wanted_of(tasks, installation, wear=wear.get(installation.pk))
    form = VisitForm(tasks=tasks, wanted=wanted, person=person, plant=plant)
    running = acts_running(installation)
    form.running = {kind_id: n for kind_id, (_kind, n) in running.items()}
    in_hand = kinds_in_hand(installation)
    checks = []
    for section, rules in zip(form.sections(), form.as_rules(), strict=True):
        task = section["task"]
        days = task.days_late(today)
        checks.append(
            {
                **rules,
                "due": str(days_late(days)) if days else _("due %(on)s") % {"on": date_format(task.due_on, "j M")},
                "is_late": days > 0,
                "has_action": task.check_kind_id in in_hand,
                "method": task.check_kind.method,
                "minutes": task.check_kind.minutes,
                "n_acts": running.get(task.check_kind_id, (None, 0))[1],
                "last_grade": getattr(task, "last_grade", None) or "",
                "readings": [
                    {**one, **reading_words(row)} for one, row in zip(rules["readings"], section["rows"], strict=True)
                ],
            }
        )
    return {
        "installation": installation.pk,
        "label_code": installation.device.label_code,
        "tag": installation.conveyor.tag,
        "device": installation.device.number,
        "model": str(installation.device.device_model),
        "place": place_words(installation, UnitSystem(person.unit_system)),
        "photos": photo_words(tasks),
        "checks": checks,
    }


def reading_words(row: dict[str, Any]) -> dict[str, Any]:
    each = row["wanted"]
    last = row["last"]
    if last and row["last_at"]:
        last = _("%(value)s on %(on)s") % {
            "value": last,
            "on": date_format(timezone.localtime(row["last_at"]), "j M Y"),
        }
    return {
        "asks_as_left": each.asks_as_left,
        "required": each.required,
        "options": [list(option) for option in each.options],
        "unit": row["unit"],
        "limit_words": row["limit_words"],
        "last": last,
    }


def place_words(installation: Installation, system: UnitSystem) -> str:
    words = [
        str(installation.get_strand_display()),
        format_quantity(installation.chainage_m, QuantityKind("m"), system),
    ]
    return ", ".join(word for word in [*map(str, words), installation.access] if word)


def photo_words(tasks: Sequence[Task]) -> str:
    """Where a photo helps most: what was bad the last time, so that people can compare."""
    bad = [str(task.check_kind) for task in tasks if getattr(task, "last_grade", "") in WORN]
    if not bad:
        return _("A photo of each finding to act on.")
    return _("A photo of: %(checks)s (was not sound the last time), and of each finding to act on.") % {
        "checks": ", ".join(bad)
    }


def care_html(plant: Plant, conveyor: Conveyor | None) -> str:
    """The safety lead word for word as on the site's own pages."""
    at_hand = {"conveyor": conveyor} if conveyor else {"request": SimpleNamespace(plant=plant)}
    return render_to_string("plant/_care.html", at_hand)


def bring_words(day: TechniciansDay, system: UnitSystem) -> list[str]:
    words = []
    if day.has_caliper:
        words.append(_("caliper for the sensor rollers"))
    if day.has_balance:
        words.append(_("spring balance for the pivots"))
    if day.has_wrench:
        words.append(_("torque wrench, calibration in date"))
    words += [
        _("a pair of sensor rollers for %(tag)s device %(number)s")
        % {"tag": task.installation.conveyor.tag, "number": task.installation.device.number}
        for task in day.rollers
    ]
    words.append(_("locks, tags and what your permit asks for"))
    return words


def labels_of(plant: Plant) -> dict[str, dict[str, Any]]:
    """Every label of the plant's devices in place, so that a scan says where one stands even off the round."""
    rows = Installation.objects.of_plant(plant).filter(removed_at__isnull=True)
    return {
        code: {"installation": pk, "tag": tag, "device": number}
        for code, pk, tag, number in rows.values_list("device__label_code", "pk", "conveyor__tag", "device__number")
    }
