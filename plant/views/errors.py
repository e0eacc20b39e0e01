"""Pages for what went wrong: what happened, that nothing is lost, what to do."""

from __future__ import annotations

import errno
import logging
import shutil
import sqlite3
import sys
import uuid
from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template import loader

from plant.words import storage

log = logging.getLogger(__name__)


def no_right(request: HttpRequest, exception: Any = None) -> HttpResponse:
    return render(
        request, "plant/no_right.html", {"words": str(exception or ""), "title": "Not in your role"}, status=403
    )


def not_found(request: HttpRequest, exception: Any = None) -> HttpResponse:
    return render(request, "plant/not_found.html", {"title": "Not found"}, status=404)


# No room: an error that only a full disk brings, or one that it brings among others.
FULL = {sqlite3.SQLITE_FULL}
MAYBE_FULL = {sqlite3.SQLITE_IOERR, sqlite3.SQLITE_CANTOPEN}
POSTGRES_FULL = "53100"
NO_ROOM_BYTES = 1024 * 1024


def is_full_disk(error: BaseException | None) -> bool:
    """Whether an error, or the one that it came from, says that the disk is full."""
    while error is not None:
        if isinstance(error, OSError) and error.errno in (errno.ENOSPC, errno.EDQUOT):
            return True
        code = getattr(error, "sqlite_errorcode", 0) & 0xFF
        if code in FULL or getattr(error, "sqlstate", "") == POSTGRES_FULL:
            return True
        if code in MAYBE_FULL and has_no_room():
            return True
        error = error.__cause__ or error.__context__
    return False


def has_no_room() -> bool:
    try:
        return shutil.disk_usage(settings.DATA_DIR).free < NO_ROOM_BYTES
    except OSError:  # the folder itself is gone, and the page that says so must come
        return False


def full_disk(request: HttpRequest) -> HttpResponse:
    log.error("the disk is full: %s %s could not be answered", request.method, request.path)
    words = {"words": storage.full_disk(), "remedy": storage.full_disk_remedy()}
    return HttpResponse(loader.get_template("plant/full_disk.html").render(words), status=507)


def failed(request: HttpRequest) -> HttpResponse:
    """No data base, no session: the page must come whatever is broken. The reference stands in the log."""
    if is_full_disk(sys.exc_info()[1]):
        return full_disk(request)
    reference = uuid.uuid4().hex[:8]
    log.error("a page failed, reference %s, %s %s", reference, request.method, request.path)
    return HttpResponse(loader.get_template("plant/failed.html").render({"reference": reference}), status=500)
