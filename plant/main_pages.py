"""This app's entries in the masthead."""

from django.utils.translation import gettext_lazy as _

from plant.panels import MainPage, register_main_page

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
