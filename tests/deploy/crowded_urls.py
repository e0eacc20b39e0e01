"""The site's addresses, and a page that is held back until a file says that it may go."""

from __future__ import annotations

import time

from django.http import HttpRequest, HttpResponse
from django.urls import include, path

from plant.permissions import open_to_all
from tests.deploy.crowded_site import OPEN, note_held


@open_to_all
def held(request: HttpRequest) -> HttpResponse:
    note_held()
    while not OPEN.exists():
        time.sleep(0.05)
    return HttpResponse("well")


urlpatterns = [path("held/", held), path("", include("deploy.urls"))]
