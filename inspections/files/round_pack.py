"""What a phone keeps of a person's day, so that every page of the round works with no signal.

The published round of the day comes first, in its order; whatever else is due follows as on Today, by belt and device.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import groupby
from types import SimpleNamespace
from typing import Any

from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from inspections.calc.phone_rules import grading_rules
from inspections.check_rules.kinds import rule_of
from inspections.check_rules.wanted import FOUND_METHODS
from inspections.forms.visits import ReadingsForm
from inspections.models import Action, CheckKind, CouldNotDo, Round, Task
from inspections.selectors.actions import kinds_answered, open_at, proposed_owner
from inspections.selectors.fitting_clashes import jobs_in
from inspections.selectors.readings_wanted import Gathered, chosen_check, gathered_for, wanted_of
from inspections.selectors.round_board import rounds_today
from inspections.selectors.tasks import WORN, ask_once
from inspections.selectors.today import BeltToday, TechniciansDay, technicians_day
from inspections.selectors.tools import tools_at_hand
from inspections.selectors.visits import acts_running_at
from inspections.selectors.wear import DeviceWear, wear_of
from inspections.words.actions import action_words
from inspections.words.check_rules import answers_of
from inspections.words.grading import texts_for_phone
from inspections.words.tasks import late_words
from inspections.words.tools import tools_told
from installs.models import Installation
from installs.words.fittings import job_words
from plant.calc.units import QuantityKind, UnitSystem, format_quantity
from plant.models import Conveyor, Person, Plant
from plant.words.typing import typing_for_page


def round_pack(person: Person, plant: Plant, now: datetime) -> dict[str, Any]:
    """Everything that the pages of the round show and need, as plain values for JSON."""
    today = timezone.localdate(now, plant.zone)
    day = technicians_day(person, plant, today, now)
    due = belt_legs(day)
    known = {task.pk: task for leg in due for task in leg["tasks"]}
    rounds = rounds_today(person, plant, today)
    legs = without_repeats([*published_legs(rounds, plant, known, UnitSystem(person.unit_system)), *due])
    tasks = [task for leg in legs for task in leg["tasks"]]
    for task in tasks:
        task.plant = task.installation.plant = task.installation.conveyor.plant = plant
    more = more_checks(plant, tasks, today)
    wear = wear_of_tasks([*tasks, *(task for those in more.values() for task in those)], now)
    every = [*tasks, *(task for those in more.values() for task in those)]
    open_actions = open_at(more)
    at_hand = AtHand(
        person=person,
        plant=plant,
        today=today,
        wear=wear,
        more=more,
        tried=came_back_words(tasks, plant),
        gathered=gathered_for(every),
        open_actions=open_actions,
        answered=kinds_answered(row for rows in open_actions.values() for row in rows),
        running=acts_running_at(more),
    )
    return {
        "made_at": now.isoformat(),
        "today": today.isoformat(),
        "today_words": date_format(today, "l j F"),
        "person": {"id": person.pk, "name": str(person), "wants_contrast": person.wants_contrast},
        "system": person.unit_system,
        "plant": {"id": plant.pk, "name": str(plant), "zone": str(plant.zone)},
        "care": care_html(plant, None),
        "bring": bring_words(day, UnitSystem(person.unit_system)),
        # Where a round is published, it is what waits; the rest is open besides, as on the start page.
        "has_round": bool(rounds),
        "legs": [as_leg(leg, at_hand) for leg in legs],
        "labels": labels_of(plant),
        "rules": {"grading": grading_rules(), "typing": typing_for_page(), "texts": texts_for_phone()},
        "reasons": [[value, str(label)] for value, label in CouldNotDo.Obstacle.choices],
        "methods": [[method.value, str(method.label)] for method in FOUND_METHODS],
        "tools": tools_told(tools_at_hand(plant, today)),
        "owners": [[each.pk, str(each)] for each in people_of(plant)],
        "owner": getattr(proposed_owner(plant, person), "pk", None),
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


@dataclass
class AtHand:
    """What the stops of a pack are told from; `more` is used up by the first stop at each device."""

    person: Person
    plant: Plant
    today: date
    wear: Mapping[int, DeviceWear]
    more: dict[int, list[Task]]
    tried: Mapping[int, str]
    gathered: Gathered
    open_actions: Mapping[int, Sequence[Action]]
    answered: Mapping[int, set[int]]  # kinds of check by open action
    running: Mapping[int, dict[int, int]]

    @property
    def system(self) -> UnitSystem:
        return UnitSystem(self.person.unit_system)


def people_of(plant: Plant) -> Iterable[Person]:
    return Person.objects.filter(memberships__plant=plant, is_active=True).distinct().order_by("username")


# --- The order of the day ---------------------------------------------------------------------------------------------
def published_legs(
    rounds: Iterable[Round], plant: Plant, known: Mapping[int, Task], system: UnitSystem
) -> list[dict[str, Any]]:
    """The stops of the person's published rounds of the day, each with the checks that are still open."""
    lead_of = {other.pk: lead for lead in known.values() for other in lead.asked_too}
    legs = []
    for each in rounds:
        jobs = jobs_in(each)
        for stop in each.stops.all():
            still_open = [task for task in stop.tasks.all() if task.closed_at is None]
            leads = [lead_of.get(task.pk) or known.get(task.pk, task) for task in still_open]
            tasks = list({task.pk: task for task in leads}.values())
            start, end = (
                date_format(timezone.localtime(at, plant.zone), "H:i") for at in (stop.starts_at, stop.ends_at)
            )
            words = [_("%(start)s to %(end)s by the round.") % {"start": start, "end": end}]
            if stop.walk_m:
                way = format_quantity(stop.walk_m, QuantityKind.DISTANCE_M, system)
                words.append(_("%(way)s to walk there.") % {"way": way})
            words += [
                _("You are planned to the fitting at %(place)s then; ask the planner.")
                % {"place": job_words(job.fitting, system)}
                for job in jobs
                if stop in job.stops
            ]
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
    seen: set[tuple[int, int]] = set()
    kept = []
    for leg in legs:
        tasks = [task for task in leg["tasks"] if want_of(task) not in seen]
        seen.update(want_of(task) for task in tasks)
        if tasks:
            kept.append({**leg, "tasks": tasks})
    return kept


def want_of(task: Task) -> tuple[int, int]:
    return task.installation_id, task.check_kind_id


def window_words(belt: BeltToday) -> str:
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
    read = [task for task in tasks if rule_of(task.check_kind).reads_wear]
    return wear_of({task.installation_id: task.installation for task in read}.values(), now=now)


def more_checks(plant: Plant, tasks: Sequence[Task], today: date) -> dict[int, list[Task]]:
    """What else can be checked at each device of the round: what is open besides, then kinds that nobody asked for.

    The latter have the key of the kind with a minus; a row is written when one was done.
    """
    places = {task.installation_id: task.installation for task in tasks}
    on_round = {want_of(task) for task in tasks}
    rows = Task.objects.open().filter(installation__in=places).with_place().with_last_grade()
    rows = rows.prefetch_related("installation__device__device_model__fasteners").order_by("due_on", "pk")
    more: dict[int, list[Task]] = {pk: [] for pk in places}
    for task in ask_once(task for task in rows if want_of(task) not in on_round):
        task.installation = places[task.installation_id]
        more[task.installation_id].append(task)
    asked = {want_of(task) for task in [*tasks, *(one for each in more.values() for one in each)]}
    kinds = list(CheckKind.objects.for_plant(plant))
    for pk, place in places.items():
        more[pk] += [chosen_check(place, kind, today) for kind in kinds if (pk, kind.pk) not in asked]
    return more


def came_back_words(tasks: Sequence[Task], plant: Plant) -> dict[int, str]:
    """Of checks that were tried and could not be done: when and why, so that nobody walks there for the same."""
    rows = CouldNotDo.objects.current().filter(task__in=[task.pk for task in tasks]).order_by("tried_at", "pk")
    return {
        row.task_id: _("could not be done on %(at)s: %(reason)s")
        % {
            "at": date_format(timezone.localtime(row.tried_at, plant.zone), "j M H:i"),
            "reason": row.get_reason_display(),
        }
        for row in rows
    }


def as_leg(leg: dict[str, Any], at_hand: AtHand) -> dict[str, Any]:
    conveyor = leg["conveyor"]
    conveyor.plant = at_hand.plant
    tasks = sorted(leg["tasks"], key=lambda task: (task.installation.chainage_m, task.installation_id))
    return {
        "tag": conveyor.tag,
        "area": str(conveyor.area),
        "needs_lockout": leg["needs_lockout"],
        "words": leg["words"],
        "is_of_round": leg["is_of_round"],
        "minutes": sum(task.check_kind.minutes for task in tasks),
        "care": care_html(at_hand.plant, conveyor),
        "stops": [
            as_stop(list(those), at_hand) for _pk, those in groupby(tasks, key=lambda task: task.installation_id)
        ],
    }


def as_stop(due: list[Task], at_hand: AtHand) -> dict[str, Any]:
    """One device with its checks: what is asked, the limits, the readings before, and how it stood the last time."""
    installation = due[0].installation
    tasks = [*due, *at_hand.more.pop(installation.pk, [])]
    own_wear = at_hand.wear.get(installation.pk)
    wanted = wanted_of(tasks, installation, wear=own_wear, gathered=at_hand.gathered)
    form = ReadingsForm(tasks=tasks, wanted=wanted, person=at_hand.person)
    form.running = at_hand.running[installation.pk]
    forecasts = forecast_words(own_wear)
    answered, kinds = at_hand.answered, {task.check_kind_id for task in tasks}
    open_actions = [row for row in at_hand.open_actions[installation.pk] if answered[row.pk] & kinds]
    in_hand = set().union(*(answered[row.pk] for row in open_actions))
    checks = []
    for section, rules in zip(form.sections(), form.as_rules(), strict=True):
        task = section["task"]
        checks.append(
            {
                **rules,
                "due": due_words(task.most_pressing, at_hand.today),
                "is_late": task.most_pressing.days_late(at_hand.today) > 0,
                "asked": section["asked"],
                "tried": at_hand.tried.get(task.pk, ""),
                "has_action": task.check_kind_id in in_hand,
                "kind_id": task.check_kind_id,
                "method": task.check_kind.method,
                "minutes": task.check_kind.minutes,
                "n_acts": form.running.get(task.check_kind_id, 0),
                "last_grade": getattr(task, "last_grade", None) or "",
                "readings": [
                    {**one, **reading_words(row, forecasts)}
                    for one, row in zip(rules["readings"], section["rows"], strict=True)
                ],
            }
        )
    on_round = {task.pk for task in due}
    return {
        "installation": installation.pk,
        "label_code": installation.device.label_code,
        "tag": installation.conveyor.tag,
        "device": installation.device.number,
        "model": str(installation.device.device_model),
        "place": place_words(installation, at_hand.system),
        "photos": photo_words(due),
        "open_actions": [
            {"id": row.pk, "title": row.title, "words": action_words(row), "kinds": sorted(answered[row.pk])}
            for row in open_actions
        ],
        "checks": [check for check in checks if check["task"] in on_round],
        # A kind for which the device's model names nothing to read cannot be done here.
        "more": [check for check in checks if check["task"] not in on_round and check["readings"]],
    }


def due_words(task: Task, today: date) -> str:
    if task.pk < 0:
        return _("not planned")
    return late_words(task, today) or _("due %(on)s") % {"on": date_format(task.due_on, "j M")}


def forecast_words(wear: DeviceWear | None) -> dict[str, str]:
    """When each roller reaches its limit, by the code of its reading; nothing where no date can be computed."""
    words = {}
    for side in wear.sides if wear else ():
        if side.limit_on:
            words[f"{side.side}_diameter"] = _("at its limit about %(on)s") % {
                "on": date_format(side.limit_on, "j M Y")
            }
        elif side.early_on:
            words[f"{side.side}_diameter"] = _("at its limit not before %(on)s") % {
                "on": date_format(side.early_on, "j M Y")
            }
    return words


def reading_words(row: dict[str, Any], forecasts: Mapping[str, str]) -> dict[str, Any]:
    each = row["wanted"]
    return {
        "asks_as_left": each.asks_as_left,
        "required": each.required,
        "options": [list(option) for option in answers_of(each.options).items()],
        "unit": row["unit"],
        "limit_words": row["limit_words"],
        "last": row["last"],
        "earlier": row["earlier"],
        "set": row["set"],
        "forecast": forecasts.get(each.code, ""),
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
