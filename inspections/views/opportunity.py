"""A belt stopped: what fits now, and onto whose round it goes."""

from __future__ import annotations

from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from inspections.forms.opportunity import OpportunityForm, PutOnRoundForm
from inspections.selectors.opportunity import opportunity_of
from inspections.services.opportunity import put_on_round
from plant.errors import Refused
from plant.permissions import PlantRequest, right

USUAL_MINUTES = 120


@right("inspections.view_task")
def opportunity(request: PlantRequest) -> HttpResponse:
    """The checks that need lockout and fit into the time for which a belt stands, with people, tools and other work."""
    asked = "conveyor" in request.GET
    values = request.GET.copy()
    values.setdefault("minutes", str(USUAL_MINUTES))
    form = OpportunityForm(values if asked else None, plant=request.plant, initial={"minutes": USUAL_MINUTES})
    found = None
    if asked and form.is_valid():
        found = opportunity_of(form.cleaned_data["conveyor"], form.cleaned_data["minutes"], timezone.now())
    status = 422 if asked and found is None else 200
    context = {
        "title": _("A belt stopped: what fits now?"),
        "form": form,
        "found": found,
        "today": timezone.localdate(timezone=request.plant.zone),
    }
    return render(request, "inspections/opportunity.html", context, status=status)


@require_POST
@right("inspections.lay_round")
def put_on(request: PlantRequest) -> HttpResponse:
    """Put what fits on one person's round of today; the planner looks at the draft and publishes it."""
    form = PutOnRoundForm(request.POST, plant=request.plant)
    back = (
        reverse("opportunity")
        + "?"
        + urlencode({name: request.POST.get(name, "") for name in OpportunityForm.base_fields})
    )
    if not form.is_valid():
        messages.error(request, _("A check was closed or moved meanwhile. Look at what fits now."))
        return redirect(back)
    try:
        draft = put_on_round(by=request.user, **form.cleaned_data)
    except Refused as refusal:
        messages.error(request, refusal.message)
        return redirect(back)
    words = _("On the draft of %(who)s; look at it and publish it, then it is on the phone.")
    messages.success(request, words % {"who": draft.shift.person})
    return redirect(f"{reverse('round-list')}?day={draft.shift.day.isoformat()}")
