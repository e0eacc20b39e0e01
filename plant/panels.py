"""Places that a page of this app offers, and what apps above put there (they register; this app never imports them).

A panel is a function (request, subject) -> None or a dict with `template`, and whatever the template needs.

Place "strip" holds functions `(request, subject: StripSubject) -> dict[conveyor pk, StripLayer]`, see
`plant.charts.strip`. Each is asked once for all conveyors of a page, so its queries do not grow with their number; it
draws nothing itself. `subject.incidents` holds the incidents of the window that is drawn, so that no layer asks again.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Any

from django.utils.translation import gettext_lazy as _

from plant.calc.units import UnitSystem
from plant.charts.strip import StripFigure, StripLayer, draw_small_strip, draw_strip, merged
from plant.models import Conveyor, ConveyorPart
from plant.selectors.running_hours import ledger_of
from plant.selectors.strip import StripSubject, strip_subject

PanelFunction = Callable[[Any, Any], "dict[Any, Any] | None"]
_panels: dict[str, list[tuple[int, PanelFunction]]] = defaultdict(list)


def register_panel(place: str, order: int) -> Callable[[PanelFunction], PanelFunction]:
    """Put a panel in a place: "conveyor-detail", "today:technician", "strip" and so on; lower orders come first."""

    def add(function: PanelFunction) -> PanelFunction:
        if all(function is not known for _order, known in _panels[place]):
            _panels[place].append((order, function))
            _panels[place].sort(key=lambda pair: pair[0])
        return function

    return add


def panels_for(place: str, request: Any, subject: Any = None) -> list[dict[Any, Any]]:
    """What the registered panels of a place have to show; those with nothing to say are left out."""
    shown = (function(request, subject) for _order, function in _panels[place])
    return [panel for panel in shown if panel]


# --- The strip of a conveyor ------------------------------------------------------------------------------------------
def layers_of(request: Any, subject: StripSubject) -> dict[int, StripLayer]:
    """Everything that apps above add, one layer a conveyor."""
    found = panels_for("strip", request, subject)
    return {belt.pk: merged([each[belt.pk] for each in found if belt.pk in each]) for belt in subject.conveyors}


def strip_of(
    request: Any,
    conveyor: Conveyor,
    parts: Iterable[ConveyorPart] | None = None,
    *,
    now: dt.datetime | None = None,
    extra: StripLayer | None = None,
) -> StripFigure:
    """The large strip of one conveyor, with the parts that are on it unless others are given.

    `extra` is what this page alone adds, such as a device on trial.
    """
    subject = strip_subject([conveyor], UnitSystem(request.user.unit_system), now=now)
    layer = layers_of(request, subject)[conveyor.pk]
    if extra is not None:
        layer = replace(
            layer,
            devices=layer.devices + extra.devices,
            zones=layer.zones + extra.zones,
            gaps=layer.gaps + extra.gaps,
            rows=layer.rows + extra.rows,
        )
    return draw_strip(
        conveyor,
        parts=list(conveyor.parts.filter(removed_on__isnull=True) if parts is None else parts),
        places=subject.incidents[conveyor.pk],
        exposure=ledger_of(conveyor).hours(subject.since, subject.until),
        layer=layer,
        system=subject.system,
    )


def small_strips(
    request: Any, conveyors: Iterable[Conveyor], *, now: dt.datetime | None = None
) -> dict[int, StripFigure]:
    """Small strips for the rows of a table, by conveyor; the number of queries does not depend on how many."""
    subject = strip_subject(conveyors, UnitSystem(request.user.unit_system), now=now)
    layers = layers_of(request, subject)
    return {
        belt.pk: draw_small_strip(belt, places=subject.incidents[belt.pk], layer=layers[belt.pk], system=subject.system)
        for belt in subject.conveyors
    }


# --- The masthead -----------------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class MainPage:
    """An entry of the masthead, shown to those who hold the right."""

    url_name: str
    label: Any
    right: str
    order: int
    prefixes: tuple[str, ...] = ()


_main_pages: list[MainPage] = []


def register_main_page(page: MainPage) -> None:
    if page not in _main_pages:
        _main_pages.append(page)
        _main_pages.sort(key=lambda each: each.order)


def main_pages() -> list[MainPage]:
    return list(_main_pages)


# This app's own entries in the masthead.
register_main_page(MainPage(url_name="today", label=_("Today"), right="member", order=10))
register_main_page(
    MainPage(
        url_name="conveyor-list",
        label=_("Conveyors"),
        right="plant.view_conveyor",
        order=20,
        prefixes=(
            "/conveyors/",
            "/areas/",
            "/outages/",
            "/belt-changes/",
            "/parts/",
            "/running-hours/",
            "/meter-readings/",
        ),
    )
)
register_main_page(
    MainPage(
        url_name="incident-list", label=_("Incidents"), right="plant.view_incident", order=40, prefixes=("/incidents/",)
    )
)
register_main_page(
    MainPage(url_name="import-list", label=_("Import"), right="plant.run_import", order=90, prefixes=("/imports/",))
)
