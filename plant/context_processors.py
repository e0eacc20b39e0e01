"""What every page shows: the plants, the main pages, the notices, and since when no job ran."""

from __future__ import annotations

import shutil
from typing import Any

from django.conf import settings
from django.http import HttpRequest
from django.urls import reverse

from plant.panels import main_pages
from plant.permissions import has_right
from plant.services.jobs import stale_background_words
from plant.words.storage import nearly_full


def site(request: HttpRequest) -> dict[str, Any]:
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
        "storage_words": nearly_full(shutil.disk_usage(settings.DATA_DIR).free),
    }
