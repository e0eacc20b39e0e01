"""What every page shows: the plants, the main pages, the notices, and since when no job ran."""

from __future__ import annotations

import shutil
from typing import Any

from django.conf import settings
from django.core.cache import cache
from django.urls import reverse

from plant.panels import main_pages
from plant.permissions import PlantRequest, has_right
from plant.services.jobs import stale_background_words
from plant.words.storage import folder_gone, nearly_full

ROOM_KEPT_S = 60  # the disk is not asked again on each page
GONE = -1


def site(request: PlantRequest) -> dict[str, Any]:
    person = getattr(request, "user", None)
    if person is None or not person.is_authenticated:
        return {}
    here = getattr(request, "plant", None)
    pages = [
        {
            "label": page.label,
            "url": reverse(page.url_name),
            "is_current": any(request.path.startswith(prefix) for prefix in page.prefixes)
            or request.path == reverse(page.url_name),
        }
        for page in main_pages()
        if page.right == "member" or has_right(person, page.right, here)
    ]
    return {
        "current_plant": here,
        "my_plants": request.plants,
        "main_pages": pages,
        "units": person.unit_system,
        "n_notices": person.notices.filter(read_at__isnull=True, plant__in=request.plants).count(),
        "background_words": stale_background_words(),
        "storage_words": storage_words(person, here),
    }


def storage_words(person: Any, plant: Any) -> str:
    """A warning while little is free, for everybody; that the data folder is gone, for those who can act on it."""
    free = cache.get_or_set("room-of-data-folder", free_bytes, ROOM_KEPT_S)
    if free is not None and free != GONE:
        return nearly_full(free)
    can_act = person.is_keeper or (plant is not None and has_right(person, "plant.manage_people", plant))
    return folder_gone() if can_act else ""


def free_bytes() -> int:
    """What is free where the data folder lies; `GONE` where the folder cannot be asked."""
    try:
        return shutil.disk_usage(settings.DATA_DIR).free
    except OSError:
        return GONE
