"""What a page asks while the result that it shows is made anew."""

from __future__ import annotations

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from plant.permissions import PlantRequest, open_to_members
from plant.selectors.kept import standing_of
from plant.services.kept import ask_for_kept, parts_of, topic_names


@open_to_members
def kept_standing(request: PlantRequest, topic: str, part: str) -> HttpResponse:
    """How a kept result of the plant stands; once it is fresh, the page is told to load again."""
    if request.plant is None or topic not in topic_names():
        raise Http404
    standing = standing_of(request.plant, topic, part, timezone.now())
    if standing is None and part not in parts_of(topic, request.plant):
        raise Http404
    if standing is None or standing.is_fresh:
        answer = HttpResponse()
        answer["HX-Refresh"] = "true"
        return answer
    ask_for_kept(request.plant, topic, part)
    return render(request, "plant/_as_of.html", {"kept": standing})
