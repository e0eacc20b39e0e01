"""The month in the masthead and on the start pages of manager and engineer."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest
from django.utils.translation import gettext_lazy as _

from plant.models import Plant
from plant.panels import MainPage, register_main_page, register_panel
from plant.permissions import has_right
from reports.models import MonthlyReport

register_main_page(
    MainPage(
        url_name="month-list",
        label=_("Month"),
        right="reports.view_monthlyreport",
        order=80,
        prefixes=("/months/", "/life/"),
    )
)


@register_panel("today:manager", order=20)
@register_panel("today:reliability engineer", order=40)
def the_month(request: HttpRequest, plant: Plant) -> dict[str, Any] | None:
    """The newest published month, and the draft that waits for a comment."""
    if not has_right(request.user, "reports.view_monthlyreport", plant):
        return None
    reports = MonthlyReport.objects.of_plant(plant)
    return {
        "template": "reports/_today_month.html",
        "newest": reports.published().first(),
        "draft": reports.drafts().first(),
        "may_publish": has_right(request.user, "reports.publish_monthlyreport", plant),
    }
