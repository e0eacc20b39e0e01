"""How much an address takes: what is sent is bounded by its address before a byte of it is read.

An address takes a form without files unless its view is marked; whoever is not signed in sends no more than that to
any address.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.http import HttpResponse, JsonResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _

from plant.errors import Refused
from plant.permissions import PlantRequest, View
from plant.services.imports import check_size

MB = 1024 * 1024
PHOTOS_AT_ONCE = 10  # of the largest size; more of the usual size go in


def mb_of(size: int) -> str:
    return f"{size / MB:.1f}"


def as_form(size: int) -> str:
    """Why a form without files is too large; empty where it is not."""
    most = settings.LARGEST_FORM_MB
    if size <= most * MB:
        return ""
    return _("What was sent has %(size)s MB; this address takes %(most)s MB. Shorten the text and send it again.") % {
        "size": mb_of(size),
        "most": most,
    }


def as_photos(size: int) -> str:
    most = settings.LARGEST_FORM_MB + settings.LARGEST_PHOTO_MB * PHOTOS_AT_ONCE
    if size <= most * MB:
        return ""
    return _("The photos have %(size)s MB together; %(most)s MB are taken at once. Send fewer, or smaller ones.") % {
        "size": mb_of(size),
        "most": most,
    }


def as_one_photo(size: int) -> str:
    if size <= (settings.LARGEST_FORM_MB + settings.LARGEST_PHOTO_MB) * MB:
        return ""
    return _("The photo has %(size)s MB; a photo may have %(most)s MB. Send a smaller one.") % {
        "size": mb_of(size),
        "most": settings.LARGEST_PHOTO_MB,
    }


def as_import(size: int) -> str:
    try:
        check_size(size - settings.LARGEST_FORM_MB * MB)  # the form itself adds some hundred bytes to the file
    except Refused as refusal:
        return refusal.message
    return ""


def takes(too_large: Callable[[int], str]) -> Callable[[View], View]:
    """Mark a view that takes more than a form: `too_large` says why a size is refused, or nothing."""

    def mark(view: View) -> View:
        marked: Any = view
        marked.too_large = too_large
        return view

    return mark


def answers_in_json(view: View) -> View:
    """Mark a view whose caller is a program."""
    marked: Any = view
    marked.answers_in_json = True
    return view


def refusal_of(request: PlantRequest, view: Any) -> HttpResponse | None:
    """The answer to a body that is not read; None for one that may be. Nothing here reads it."""
    announced = request.META.get("CONTENT_LENGTH") or ""
    if not announced:
        # With no length nothing is read at all, so what came this way would be lost without a word.
        if "chunked" not in request.META.get("HTTP_TRANSFER_ENCODING", "").lower():
            return None
        words = _("What was sent came without its length, so it was not read. Send it in one piece.")
        return refused(request, view, "no_length", words, 411)
    digits = announced.strip().lstrip("0")
    size = int(digits[:18]) if digits.isdecimal() else 0  # more digits than int() takes are too many in any case
    words = as_form(size)
    if not words:
        return None
    if not request.user.is_authenticated:
        if getattr(view, "answers_in_json", False):
            words = _("Sign in again; what is kept on this phone stays there.")
            return refused(request, view, "sign_in", words, 401)
        return refused(request, view, "refused", words, 413)
    words = getattr(view, "too_large", as_form)(size)
    return refused(request, view, "refused", words, 413) if words else None


def refused(request: PlantRequest, view: Any, code: str, words: str, status: int) -> HttpResponse:
    if getattr(view, "answers_in_json", False):
        return JsonResponse({"code": code, "message": words}, status=status)
    shown = {"title": _("Not taken"), "words": words, "back": page_before(request)}
    return render(request, "plant/too_large.html", shown, status=status)


def page_before(request: PlantRequest) -> str:
    """The page of this site from which something was sent; the start page where the browser does not tell."""
    referer = request.META.get("HTTP_REFERER", "")
    is_ours = url_has_allowed_host_and_scheme(referer, {request.get_host()}, require_https=request.is_secure())
    return referer if is_ours else reverse("today")
