"""What this app shows on pages of the apps below it, and its entries in the masthead."""

from __future__ import annotations

from typing import Any

from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inspections.charts.device_grades import grade_layers
from inspections.charts.reading_trends import reading_trends
from inspections.charts.torque import torque_charts
from inspections.charts.wear import wear_band
from inspections.models import Action, CheckPlan, Reading, Task
from inspections.selectors.fault_finding import suspects_at
from inspections.selectors.fitting_clashes import clashes_of
from inspections.selectors.round_board import rounds_today
from inspections.selectors.tasks import checks_at, states_for
from inspections.selectors.today import planners_day, technicians_day
from inspections.selectors.visits import acts_running, torques_in_time, visits_of
from inspections.selectors.wear import wear_of
from inspections.tables.device_states import device_columns
from inspections.words.fitting_clashes import clash_words_at_fitting
from inspections.words.grading import because_words
from installs.models import DeviceModel, Fitting, Installation
from installs.words.timeline import TimelineEvent
from plant.calc.units import UnitSystem
from plant.files.pdf import print_drawings
from plant.models import Plant
from plant.panels import MainPage, register_main_page, register_panel
from plant.permissions import PlantRequest, has_right
from plant.words.history import reasons_kept_in

register_main_page(
    MainPage(
        url_name="task-list",
        label=_("Checks"),
        right="inspections.view_task",
        order=50,
        prefixes=("/checks/", "/check-kinds/", "/check-plans/"),
    )
)
register_main_page(
    MainPage(
        url_name="round-list",
        label=_("Rounds"),
        right="inspections.view_round",
        order=55,
        prefixes=("/rounds/", "/shifts/", "/technicians/"),
    )
)


@register_panel("today:planner", order=10)
def planners_today(request: PlantRequest, plant: Plant) -> dict[str, Any]:
    """What is late, due and may be done in the outage windows ahead."""
    now = timezone.now()
    today = timezone.localdate(timezone=plant.zone)
    return {
        "template": "inspections/_today_planner.html",
        "day": planners_day(plant, today, now),
        "today": today,
    }


@register_panel("fitting-crew", order=10)
def rounds_of_crew(request: PlantRequest, fitting: Fitting) -> dict[str, Any] | None:
    """Rounds of the crew that lie in the time of a fitting."""
    clashes = clashes_of(fitting)
    if not clashes:
        return None
    may_see = has_right(request.user, "inspections.view_round", fitting.plant)
    day = clashes[0].round.shift.day.isoformat()
    return {
        "template": "inspections/_fitting_rounds.html",
        "words": [clash_words_at_fitting(each) for each in clashes],
        "board_url": f"{reverse('round-list')}?day={day}" if may_see else "",
    }


@register_panel("installation-detail", order=40)
def checks_of_installation(request: PlantRequest, installation: Installation) -> dict[str, Any] | None:
    """How each check stands at one device, when the next is due, by which plan, put off how often."""
    if not has_right(request.user, "inspections.view_task", installation.plant):
        return None
    today = timezone.localdate(timezone=installation.plant.zone)
    rows = checks_at(installation, states_for(request, [installation])[installation.pk])
    following = [row.next for row in rows if row.next]
    return {
        "template": "inspections/_installation_checks.html",
        "installation": installation,
        "is_removed": installation.removed_at is not None,
        "rows": rows,
        "today": today,
        "next": min(following, key=lambda task: task.due_on, default=None),
        "n_late": sum(1 for task in following if task.days_late(today)),
    }


@register_panel("today:technician", order=10)
def technicians_today(request: PlantRequest, plant: Plant) -> dict[str, Any]:
    """The published round of today, else all that is open in walking order; what it needs; the person's own actions."""
    today = timezone.localdate(timezone=plant.zone)
    rounds = rounds_today(request.user, plant, today)
    mine = {task.pk: task for each in rounds for stop in each.stops.all() for task in stop.tasks.all()}
    day = technicians_day(request.user, plant, today, timezone.now(), only=mine if rounds else None)
    # What is wanted twice of a device is asked once, on the round or besides it.
    wanted = Task.objects.of_plant(plant).due_by(today).order_by().values_list("installation_id", "check_kind_id")
    on_round = {(task.installation_id, task.check_kind_id) for task in mine.values()}
    n_open = len(set(wanted) - on_round) if rounds else 0
    return {
        "template": "inspections/_today_technician.html",
        "day": day,
        "rounds": rounds,
        "belts": [] if rounds else day.belts,
        "n_others": n_open,
        "today": today,
    }


@register_panel("installation-detail", order=43)
def wear_of_installation(request: PlantRequest, installation: Installation) -> dict[str, Any] | None:
    """How fast the sensor rollers wear and when they reach the limit, with the band of the forecast."""
    if not has_right(request.user, "inspections.view_visit", installation.plant):
        return None
    like = Installation.objects.of_plant(installation.plant).in_place()
    fleet = like.filter(
        device__device_model=installation.device.device_model, conveyor__duty=installation.conveyor.duty
    ).select_related("conveyor", "device__device_model", "plant", "sheet")
    wear = wear_of([installation], fleet=fleet)[installation.pk]
    if not wear.sides:
        return None
    return {
        "template": "inspections/_installation_wear.html",
        "installation": installation,
        "wear": wear,
        "band": wear_band(wear, UnitSystem(request.user.unit_system)),
    }


@register_panel("installation-detail", order=45)
def visits_of_installation(request: PlantRequest, installation: Installation) -> dict[str, Any] | None:
    """The latest visits with their grades, the wear over time, and what is still to be done here."""
    if not has_right(request.user, "inspections.view_visit", installation.plant):
        return None
    torques = torques_in_time(installation, most=12)
    return {
        "template": "inspections/_installation_visits.html",
        "installation": installation,
        "visits": visits_of(installation),
        "running": list(acts_running(installation).values()),
        "torques": torques,
        "torque_charts": torque_charts(installation, torques, UnitSystem(request.user.unit_system)),
        "actions": Action.objects.open().filter(installation=installation).select_related("owner"),
        "today": timezone.localdate(timezone=installation.plant.zone),
    }


@register_panel("installation-detail", order=47)
def suspects_of_installation(request: PlantRequest, installation: Installation) -> dict[str, Any] | None:
    """Where to look if the device does not steer: the usual suspects with what the book says of each."""
    if installation.removed_at is not None or not has_right(request.user, "inspections.view_visit", installation.plant):
        return None
    found = suspects_at(installation)
    return {"template": "inspections/_installation_suspects.html", "found": found}


register_panel("strip", order=40)(grade_layers)
reasons_kept_in("inspections.grade_because", because_words)
register_panel("conveyor-devices", order=40)(device_columns)


@register_panel("device-model-detail", order=10)
def plans_of_model(request: PlantRequest, model: DeviceModel) -> dict[str, Any] | None:
    """How often each check is done at every device of this model, unless an installation has a plan of its own."""
    if not has_right(request.user, "inspections.view_checkplan", model.plant):
        return None
    rows = CheckPlan.objects.filter(device_model=model).select_related("check_kind").order_by("check_kind__name")
    return {"template": "inspections/_model_plans.html", "rows": rows, "model": model}


@register_panel("timeline", order=10)
def checks_in_timeline(request: PlantRequest, installation: Installation) -> dict[str, Any] | None:
    """Visits, and actions as they were raised and done."""
    if not has_right(request.user, "inspections.view_visit", installation.plant):
        return None
    events = [
        TimelineEvent(
            visit.visited_at, str(_("Visited")), f"{visit.visited_by}. {visit.note}"[:200], visit.get_absolute_url()
        )
        for visit in installation.visits.current().select_related("visited_by")
    ]
    for action in installation.actions.all():
        events.append(
            TimelineEvent(action.created_at, str(_("Action raised")), action.title, action.get_absolute_url())
        )
        if action.done_at:
            detail = f"{action.title}: {action.done_note}" if action.done_note else action.title
            events.append(TimelineEvent(action.done_at, str(_("Action done")), detail, action.get_absolute_url()))
    return {"events": events}


@register_panel("dossier", order=10)
def checks_in_dossier(request: PlantRequest, installation: Installation) -> dict[str, Any] | None:
    """How each check was found last, when it is due next, and what was read over time, for the printed dossier."""
    if not has_right(request.user, "inspections.view_task", installation.plant):
        return None
    system = UnitSystem(request.user.unit_system)
    rows = [
        [
            str(row.check_kind),
            str(timezone.localtime(row.last.closed_at).date()) if row.last and row.last.closed_at else "–",
            {"mark": row.last.grade, "words": row.last.get_grade_display()} if row.last and row.last.grade else "–",
            found_words(row.last, system) if row.last else "",
            str(row.next.due_on) if row.next else "–",
        ]
        for row in checks_at(installation)
    ]
    captions, svgs = readings_drawn(installation, system)
    return {
        "title": str(_("Checks")),
        "words": "" if rows else str(_("No check is planned here.")),
        "heads": [str(_("Check")), str(_("Last done")), str(_("Found")), str(_("Why")), str(_("Due next"))],
        "rows": rows,
        "grow": [3],
        "svgs": svgs,
        "captions": captions,
        "width": 72,
    }


def found_words(task: Task, system: UnitSystem) -> str:
    words = because_words(task.grade_because, system)
    return f"{words} {_('Closed twice, to be decided.')}".strip() if task.twice else words


def readings_drawn(installation: Installation, system: UnitSystem) -> tuple[list[str], list[bytes]]:
    """Small charts for paper: diameters with their forecast, then every other reading; captions and SVG."""
    captions: list[str] = []
    html = ""
    wear = wear_of([installation])[installation.pk]
    band = wear_band(wear, system) if wear.sides else None
    if band is not None:
        captions.append(str(_("Sensor wear: diameters, with the band of the forecast to the limit")))
        html += render_to_string("inspections/_wear_band.html", {"band": band})
    # Belt offsets have their own charts, and diameters have theirs above.
    rows = Reading.objects.current().as_found().filter(visit__installation=installation).exclude(quantity="mm")
    trends = reading_trends(rows.select_related("visit", "task__check_kind"), system)
    html += render_to_string("inspections/_reading_trends.html", {"trends": trends})
    return [*captions, *(each.title for each in trends)], print_drawings(html, "text { font-size: 14px; }")
