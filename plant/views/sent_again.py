"""A form that could not be taken because its token or the sign-in was over: what was typed stays, to be sent again."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _

TOKEN = "csrfmiddlewaretoken"
# Boxes that no person types into: they are sent along and not shown.
NOT_SHOWN = {"client_key", "version", "next", "act"}


def is_from_here(request: HttpRequest) -> bool:
    """Whether a page of this site sent it. Another site's form must not be offered for sending again."""
    origin = request.headers.get("Origin", "")
    if origin:
        return origin == f"{request.scheme}://{request.get_host()}"
    referer = request.headers.get("Referer", "")
    return bool(referer) and url_has_allowed_host_and_scheme(
        referer, {request.get_host()}, require_https=request.is_secure()
    )


def holds_a_secret(request: HttpRequest) -> bool:
    return any("password" in name for name in request.POST)


def kept(request: HttpRequest) -> dict[str, Any]:
    """What the form held: to be sent again, and to be read."""
    sent = [(name, value) for name, values in request.POST.lists() if name != TOKEN for value in values]
    shown = [
        (name.replace("_", " ").replace("-", " "), value)
        for name, value in sent
        if value.strip() and name not in NOT_SHOWN
    ]
    files = [(name, ", ".join(each.name or "" for each in request.FILES.getlist(name))) for name in request.FILES]
    return {"sent": sent, "shown": shown, "files": files}


def stale_form(request: HttpRequest, reason: str = "") -> HttpResponse:
    """Django asks this view where the token of a form is missing or old."""
    if request.headers.get("HX-Request"):
        words = _("This page is out of date. Load it again.")
        return HttpResponse(words, status=403, content_type="text/plain; charset=utf-8")
    shown: dict[str, Any] = {"title": _("Nothing was saved yet"), "address": request.get_full_path()}
    if not is_from_here(request):
        shown["words"] = _("This form did not come from a page of this site, so it was not taken.")
    elif holds_a_secret(request):
        shown["words"] = _("This page was open while somebody signed in or out in this browser. Load it again.")
        shown["back"] = request.get_full_path()
    else:
        shown["words"] = _("This page was open while somebody signed in or out in this browser.")
        shown |= kept(request)
    return render(request, "plant/send_again.html", shown, status=403)


def signed_out_meanwhile(request: HttpRequest) -> HttpResponse | None:
    """For a form that was sent after the sign-in ended; None where there is nothing to keep."""
    if request.method != "POST" or request.headers.get("HX-Request") or holds_a_secret(request):
        return None
    given = kept(request)
    if not given["shown"] and not given["files"]:
        return None
    shown = {
        "title": _("Your sign-in has ended"),
        "words": _("Nothing was saved yet. Sign in again on a page of its own, then come back here and send it again."),
        "address": request.get_full_path(),
        "sign_in": reverse("sign-in"),
        **given,
    }
    return render(request, "plant/send_again.html", shown, status=401)
