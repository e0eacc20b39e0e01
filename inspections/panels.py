"""What this app shows on pages of the apps below it, and its entries in the masthead."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from plant.panels import MainPage, register_main_page

register_main_page(
    MainPage(
        url_name="task-list",
        label=_("Checks"),
        right="inspections.view_task",
        order=50,
        prefixes=("/checks/", "/check-kinds/", "/check-plans/"),
    )
)
