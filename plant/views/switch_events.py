"""What the raw events of a belt's drift switches tell."""

from __future__ import annotations

import datetime as dt

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _

from plant.models import Conveyor, SwitchEvent
from plant.permissions import PlantRequest, get_visible, right
from plant.selectors.running_hours import switch_watch_of
from plant.words.switch_events import fold_words

DAYS_SHOWN = 90


@right("plant.view_switchevent")
def switch_page(request: PlantRequest, pk: int) -> HttpResponse:
    """Which switches chatter, what comes once per revolution, and which incidents the rule makes of the events."""
    conveyor = get_visible(request, Conveyor.objects.select_related("plant"), "plant.view_switchevent", pk=pk)
    since = timezone.now() - dt.timedelta(days=DAYS_SHOWN)
    watch = switch_watch_of(conveyor, since=since, zone=conveyor.plant.zone)
    return render(
        request,
        "plant/switch_events.html",
        {
            "title": _("Drift switches of %(tag)s") % {"tag": conveyor.tag},
            "conveyor": conveyor,
            "watch": watch,
            "folds": [(label, fold, fold_words(fold)) for label, fold in watch.folds],
            "days_shown": DAYS_SHOWN,
            "latest": SwitchEvent.objects.filter(drift_switch__conveyor=conveyor)
            .select_related("drift_switch")
            .order_by("-at")[:200],
        },
    )
