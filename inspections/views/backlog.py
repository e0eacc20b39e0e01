"""The backlog: what is late by age, area and reason, what was put off, and the weeks ahead."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _

from inspections.selectors.backlog import backlog_of
from plant.permissions import PlantRequest, right


@right("inspections.view_task")
def backlog(request: PlantRequest) -> HttpResponse:
    today = timezone.localdate(timezone=request.plant.zone)
    found = backlog_of(request.plant, today, timezone.now())
    context = {"title": _("Backlog"), "backlog": found, "today": today}
    return render(request, "inspections/backlog.html", context)
