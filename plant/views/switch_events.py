"""What the raw events of a belt's drift switches tell."""

from __future__ import annotations

import datetime as dt

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _

from plant.models import Conveyor, SwitchEvent
from plant.permissions import get_visible, right
from plant.selectors.running_hours import switch_watch_of

DAYS_SHOWN = 90


@right("plant.view_switchevent")
def switch_page(request: HttpRequest, pk: int) -> HttpResponse:
    """Which switches chatter, what comes once per revolution, and which incidents the rule makes of the events."""
    conveyor = get_visible(request, Conveyor.objects.select_related("plant"), "plant.view_switchevent", pk=pk)
    since = timezone.now() - dt.timedelta(days=DAYS_SHOWN)
    return render(
        request,
        "plant/switch_events.html",
        {
            "title": _("Drift switches of %(tag)s") % {"tag": conveyor.tag},
            "conveyor": conveyor,
            "watch": switch_watch_of(conveyor, since=since, zone=conveyor.plant.zone),
            "days_shown": DAYS_SHOWN,
            "latest": SwitchEvent.objects.filter(drift_switch__conveyor=conveyor)
            .select_related("drift_switch")
            .order_by("-at")[:200],
        },
    )
