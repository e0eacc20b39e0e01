"""Which plant a request is about, in whose clock."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from plant.models import Plant


class PlantMiddleware:
    """Sets `request.plant` (the plant chosen last, else the first of the person's plants) and its time zone."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        request.plant = None
        request.plants = []
        if request.user.is_authenticated:
            request.plants = list(Plant.objects.visible_to(request.user))
            chosen = request.session.get("plant")
            request.plant = next((each for each in request.plants if each.pk == chosen), None)
            if request.plant is None and request.plants:
                request.plant = request.plants[0]
        with timezone.override(request.plant.zone if request.plant else "UTC"):
            return self.get_response(request)
