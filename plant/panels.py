"""Places that a page of this app offers, and what apps above put there (they register; this app never imports them).

A panel is a function (request, subject) -> None or a dict with `template`, and whatever the template needs.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext_lazy as _

PanelFunction = Callable[[Any, Any], "dict[str, Any] | None"]
_panels: dict[str, list[tuple[int, PanelFunction]]] = defaultdict(list)


def register_panel(place: str, order: int) -> Callable[[PanelFunction], PanelFunction]:
    """Put a panel in a place: "conveyor-detail", "today:technician", "strip" and so on; lower orders come first."""

    def add(function: PanelFunction) -> PanelFunction:
        if all(function is not known for _order, known in _panels[place]):
            _panels[place].append((order, function))
            _panels[place].sort(key=lambda pair: pair[0])
        return function

    return add


def panels_for(place: str, request: Any, subject: Any = None) -> list[dict[str, Any]]:
    """What the registered panels of a place have to show; those with nothing to say are left out."""
    shown = (function(request, subject) for _order, function in _panels[place])
    return [panel for panel in shown if panel]


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
