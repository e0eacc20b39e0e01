"""Pages for what went wrong: what happened, that nothing is lost, what to do."""

from __future__ import annotations

import logging
import sys
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template import loader

from plant.services.book_faults import is_full_disk
from plant.services.log_marks import fresh_id, request_at_hand
from plant.words import storage

log = logging.getLogger(__name__)


def no_right(request: HttpRequest, exception: Any = None) -> HttpResponse:
    return render(
        request, "plant/no_right.html", {"words": str(exception or ""), "title": "Not in your role"}, status=403
    )


def not_found(request: HttpRequest, exception: Any = None) -> HttpResponse:
    return render(request, "plant/not_found.html", {"title": "Not found"}, status=404)


def full_disk(request: HttpRequest) -> HttpResponse:
    log.error("the disk is full: %s %s could not be answered", request.method, request.path)
    words = {"words": storage.full_disk(), "remedy": storage.full_disk_remedy()}
    return HttpResponse(loader.get_template("plant/full_disk.html").render(words), status=507)


def failed(request: HttpRequest) -> HttpResponse:
    """No data base, no session: the page must come whatever is broken. The reference stands in the log."""
    if is_full_disk(sys.exc_info()[1]):
        return full_disk(request)
    reference = getattr(request, "id", None) or request_at_hand() or fresh_id()
    log.error("a page failed, reference %s, %s %s", reference, request.method, request.path)
    return HttpResponse(loader.get_template("plant/failed.html").render({"reference": reference}), status=500)
