"""What this app shows on pages of the apps below it, and its entries in the masthead."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

import django_tables2 as tables
from django.db.models import Count, Q
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from installs.charts.belt_offsets import offset_charts
from installs.charts.strip_layer import layer_of
from installs.models import BeltOffset, Fitting, Installation, Survey
from installs.selectors.belt_offsets import change_of, occasions_of, permitted_on
from installs.selectors.fittings import JobAhead, jobs_ahead, jobs_of_person, jobs_under_way, readiness_of
from installs.selectors.installations import find_devices
from installs.selectors.placement import belt_studies, models_of, places_of, ranked_places
from installs.tables.belt_devices import device_rows
from installs.words.belt_offsets import change_words, occasion_words, station_table, summary_lines
from installs.words.installations import place_words
from plant.calc.units import UnitSystem
from plant.charts.strip import StripLayer
from plant.models import Conveyor, OutageWindow, Plant
from plant.panels import MainPage, register_main_page, register_panel
from plant.permissions import PlantRequest, has_right
from plant.selectors.strip import StripSubject
from plant.tables.columns import NUMBER

register_main_page(
    MainPage(
        url_name="device-list",
        label=gettext_lazy("Devices"),
        right="installs.view_device",
        order=30,
        prefixes=(
            "/devices/",
            "/installations/",
            "/device-models/",
            "/fasteners/",
            "/instruments/",
            "/torque-sign-offs/",
            "/model-parts/",
            "/labels/",
            "/fittings/",
            "/hold-points/",
            "/trial-runs/",
            "/surveys/",
            "/placement/",
            "/logged-stations/",
            "/cause-overrides/",
            "/part-changes/",
            "/out-of-service/",
        ),
    )
)
PLACES_SHOWN = 3


@register_panel("find", order=10)
def devices_found(request: PlantRequest, text: str) -> dict[str, Any] | None:
    """Devices by number, serial number or label code."""
    if not has_right(request.user, "installs.view_device", request.plant):
        return None
    hits, system = [], UnitSystem(request.user.unit_system)
    device: Any
    for device in find_devices(request.user, request.plant, text):
        at = device.standing[0] if device.standing else None
        where = place_words(at, system) if at else (_("scrapped") if device.scrapped_on else _("in no place"))
        url = at.get_absolute_url() if at else device.get_absolute_url()
        hits.append({"url": url, "label": _("Device %s") % device.number, "detail": f"{device.device_model}, {where}"})
    return {"hits": hits}


@register_panel("conveyor-detail", order=20)
def devices_on_belt(request: PlantRequest, conveyor: Conveyor) -> dict[str, Any] | None:
    """Devices that stand on a belt, and those that stood there."""
    if not has_right(request.user, "installs.view_installation", conveyor.plant):
        return None
    rows = Installation.objects.filter(conveyor=conveyor).select_related("device__device_model", "sheet")
    known = list(rows.select_related("plant").order_by("strand", "chainage_m", "-installed_at"))
    for each in known:
        each.conveyor = conveyor  # the same row: no further query for each device
    heads, standing = device_rows(request, [each for each in known if each.removed_at is None])
    return {
        "template": "installs/_conveyor_devices.html",
        "conveyor": conveyor,
        "heads": heads,
        "standing": standing,
        "removed": [each for each in known if each.removed_at is not None],
    }


@register_panel("strip", order=10)
def strip_layers(request: Any, subject: StripSubject) -> dict[int, StripLayer]:
    """One query for all conveyors of a page."""
    standing: dict[int, list[Installation]] = defaultdict(list)
    rows = Installation.objects.in_place_at(subject.until).filter(conveyor__in=subject.conveyors)
    for each in rows.select_related("device__device_model", "plant", "conveyor", "sheet").order_by("chainage_m"):
        standing[each.conveyor_id].append(each)
    return {
        belt.pk: layer_of(belt, standing[belt.pk], subject.incidents[belt.pk], subject.system)
        for belt in subject.conveyors
    }


@register_panel("conveyor-detail", order=25)
def best_place_on_belt(request: PlantRequest, conveyor: Conveyor) -> dict[str, Any] | None:
    """Where the next device could go on this belt."""
    if conveyor.retired_on is not None or not has_right(request.user, "installs.view_placement", conveyor.plant):
        return None
    study = belt_studies([conveyor], timezone.now())[conveyor.pk]
    places = places_of(study, models_of(conveyor.plant))
    return {
        "template": "installs/_conveyor_places.html",
        "span": 5,
        "conveyor": conveyor,
        "places": places[:PLACES_SHOWN],
    }


@register_panel("today:reliability engineer", order=20)
def places_today(request: PlantRequest, plant: Plant) -> dict[str, Any] | None:
    """The first places for the next device."""
    if not has_right(request.user, "installs.view_placement", plant):
        return None
    places = ranked_places(plant, timezone.now(), most=1)
    return {"template": "installs/_today_places.html", "places": places[:PLACES_SHOWN]} if places else None


@register_panel("conveyor-columns", order=10)
def devices_of_conveyors(request: PlantRequest, subject: Any) -> dict[str, Any]:
    """How many devices stand on each conveyor of the list."""
    return {
        "name": "n_devices",
        "annotation": Count("installations", filter=Q(installations__removed_at__isnull=True)),
        "column": tables.Column(verbose_name=gettext_lazy("Devices"), attrs=NUMBER),
    }


@register_panel("today:planner", order=20)
def fittings_ahead(request: PlantRequest, plant: Plant) -> dict[str, Any] | None:
    """Fittings of the next three days with what each lacks, and those under way."""
    if not has_right(request.user, "installs.view_fitting", plant):
        return None
    ahead, under_way = jobs_ahead(plant, timezone.now()), jobs_under_way(plant)
    return {
        "template": "installs/_today_fittings.html",
        "ahead": ahead,
        "n_lacking": sum(1 for each in ahead if each.missing),
        "under_way": under_way,
    }


@register_panel("outage-detail", order=20)
def fittings_in_window(request: PlantRequest, window: OutageWindow) -> dict[str, Any] | None:
    """Jobs that are planned into a window, with what each lacks."""
    plant = window.conveyor.plant
    if not has_right(request.user, "installs.view_fitting", plant):
        return None
    jobs = Fitting.objects.filter(outage_window=window, given_up_at__isnull=True).with_place()
    return {
        "template": "installs/_window_fittings.html",
        "window": window,
        "jobs": [
            JobAhead(
                job,
                tuple(line for line in readiness_of(job, timezone.now()) if line.is_missing)
                if job.begun_at is None
                else (),
            )
            for job in jobs.prefetch_related("needs", "crew", "device_model__fasteners").order_by("planned_at", "pk")
        ],
    }


@register_panel("today:technician", order=5)
def my_fittings(request: PlantRequest, plant: Plant) -> dict[str, Any] | None:
    """Jobs that this person may go on with: under way in the plant, or planned for them in the next days."""
    if not has_right(request.user, "installs.do_fitting", plant):
        return None
    jobs = jobs_of_person(request.user, plant, timezone.now())
    return {"template": "installs/_today_my_fittings.html", "jobs": jobs} if jobs else None


@register_panel("installation-detail", order=30)
def offsets_of_installation(request: PlantRequest, installation: Installation) -> dict[str, Any] | None:
    """Where the belt lay before, at acceptance and at each follow-up, station by station."""
    if not has_right(request.user, "installs.view_beltoffset", installation.plant):
        return None
    occasions = occasions_of(BeltOffset.objects.current().of_installation(installation), installation)
    surveys = Survey.objects.filter(fittings__installation=installation).distinct()
    if not occasions and not surveys:
        return None
    system = UnitSystem(request.user.unit_system)
    return {
        "template": "installs/_installation_offsets.html",
        "occasions": [occasion_words(each) for each in occasions],
        "summaries": summary_lines(occasions, system),
        "said": change_words(change_of(occasions), system),
        "charts": offset_charts(occasions, permitted_on(installation.conveyor), system),
        "lines": station_table(occasions, system),
        "surveys": surveys,
    }
