"""What stands before every page: how it is asked for, how much is sent, which plant it is about, in whose clock."""

from __future__ import annotations

import contextlib
import re
import time
from collections.abc import Callable
from typing import Any
from urllib.parse import urlencode, urlsplit

from django.conf import settings
from django.contrib.auth.middleware import LoginRequiredMiddleware
from django.http import HttpRequest, HttpResponse, HttpResponseBadRequest, HttpResponseNotAllowed, JsonResponse
from django.shortcuts import redirect
from django.urls import resolve, reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from plant.files.metrics import note_request
from plant.models import Person, Plant
from plant.services.log_marks import fresh_id, marked
from plant.views.bodies import refusal_of
from plant.views.crowded import Gate, note_turned_away, turned_away
from plant.views.sent_again import signed_out_meanwhile

# Addresses of plant/views/health.py for machines.
BEFORE_SIGN_IN = {"/health/live", "/health/ready", "/metrics"}
METHODS = ("GET", "HEAD", "POST")


class RequestIdMiddleware:
    """Names each request: in every line of the log that is about it, on the page when it fails, in the answer.

    A name that comes with the request is taken only from the header that the settings say a trusted proxy writes.
    """

    NAME = re.compile(r"[A-Za-z0-9._:-]{1,64}")

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, given: HttpRequest) -> HttpResponse:
        request: Any = given
        header = settings.REQUEST_ID_HEADER
        passed = request.headers.get(header, "") if header else ""
        request.id = passed if self.NAME.fullmatch(passed) else fresh_id()
        with marked(request=request.id):
            answer = self.get_response(request)
        answer.headers["X-Request-ID"] = request.id
        return answer


class MethodMiddleware:
    """Lets only GET, HEAD and POST through: no page offers more, and TRACE would send cookies back."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.method not in METHODS:
            return HttpResponseNotAllowed(METHODS)
        return self.get_response(request)


class MeasureMiddleware:
    """Counts what is answered, and in which time, by the name of the address."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        began = time.perf_counter()
        answer = self.get_response(request)
        found = request.resolver_match
        is_file = found is None and request.path.startswith(settings.STATIC_URL)
        route = "static" if is_file else (found and found.url_name) or "no such address"
        with contextlib.suppress(OSError):  # no room for the counters: the answer matters more
            note_request(route, request.method or "", answer.status_code, time.perf_counter() - began)
        return answer


class HealthMiddleware:
    """Answers whoever watches the site before sessions, people or plants are looked at: those may be what is broken."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.path_info not in BEFORE_SIGN_IN:
            return self.get_response(request)
        request.resolver_match = resolve(request.path_info)
        answer: HttpResponse = request.resolver_match.func(request)
        answer.headers["Cache-Control"] = "no-store"
        return answer


class NoStoreMiddleware:
    """Asks browsers to keep no page: what a signed-in person saw is not shown after they signed out.

    Static files are answered before this. A page that says by itself how long it may be kept is left alone.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        answer = self.get_response(request)
        answer.headers.setdefault("Cache-Control", "no-store, private")
        return answer


class CrowdMiddleware:
    """Lets as many requests in as this process can serve; the rest is told when to come back, and nobody hangs.

    It stands behind what answers those who watch the site, and behind static files, which cost nothing.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response
        self.gate = Gate(settings.PAGES_AT_ONCE, settings.WAITING_REQUESTS, settings.LONGEST_WAIT_S)

    def __call__(self, request: HttpRequest) -> HttpResponse:
        with self.gate.place() as has_place:
            if not has_place:
                return turned_away(request)
            answer = self.get_response(request)
            n = self.gate.take_count()
            if n:
                note_turned_away(n)
            return answer


class BodyMiddleware:
    """Refuses a body that is larger than its address takes, before anything reads it.

    It stands before the check against forged forms, which reads the whole form.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(self, request: Any, view: Any, args: Any, kwargs: Any) -> HttpResponse | None:
        return refusal_of(request, view)


def is_opened_by_a_person(request: HttpRequest) -> bool:
    """Whether the browser asks for a page to show, and not for a picture or a part of the page that it shows.

    Browsers tell it in Sec-Fetch-Mode, but on plain HTTP they leave that out: there it is read off what they accept.
    """
    mode = request.headers.get("Sec-Fetch-Mode", "")
    if mode:
        return mode == "navigate"
    accepted = request.headers.get("Accept", "")
    return not accepted or "text/html" in accepted


class SignInMiddleware(LoginRequiredMiddleware):
    """Leads to the sign-in; a form that was sent after the sign-in ended is kept on its page.

    What a page asks for by itself is not led there: the sign-in would answer with a token of its own, and the form that
    the person has before them could no longer be sent.
    """

    def handle_no_permission(self, request: HttpRequest, view_func: Any) -> Any:
        if request.headers.get("HX-Request"):
            here = urlsplit(request.headers.get("HX-Current-URL", ""))._replace(scheme="", netloc="", fragment="")
            address = f"{reverse('sign-in')}?{urlencode({'next': here.geturl() or '/'})}"
            return HttpResponse(status=401, headers={"HX-Redirect": address})
        if not is_opened_by_a_person(request):
            return HttpResponse(_("Sign in first."), status=401, content_type="text/plain; charset=utf-8")
        return signed_out_meanwhile(request) or super().handle_no_permission(request, view_func)


class ReadableAddressMiddleware:
    """Refuses an address with a null character: no name holds one, and PostgreSQL fails on it."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if "\x00" in request.path or "%00" in request.META.get("QUERY_STRING", ""):
            words = _("The address holds a character that cannot be read. Go back and type what you look for again.")
            return HttpResponseBadRequest(words, content_type="text/plain; charset=utf-8")
        return self.get_response(request)


class PlantMiddleware:
    """Sets `request.plant` (the plant chosen last, else the first of the person's plants) and its time zone."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, given: HttpRequest) -> HttpResponse:
        request: Any = given
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


class OwnPasswordMiddleware:
    """Whoever signed in with a first password chooses one of their own before anything else."""

    OPEN = ("password", "sign-out")

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(self, request: Any, view: Any, args: Any, kwargs: Any) -> HttpResponse | None:
        person = request.user
        if not person.is_authenticated or not person.must_change_password:
            return None
        is_json = getattr(view, "answers_in_json", False)
        if not is_json and getattr(view, "right", "") == "all":
            return None
        if request.resolver_match is not None and request.resolver_match.url_name in self.OPEN:
            return None
        if is_json:
            words = _("Choose a password of your own first: open the site and sign in. What is kept here stays.")
            return JsonResponse({"code": "sign_in", "message": words}, status=403)
        address = reverse("password")
        if request.headers.get("HX-Request"):
            return HttpResponse(status=403, headers={"HX-Redirect": address})
        return redirect(address)


class FirstSignInMiddleware:
    """While nobody can sign in yet, every page leads to the one that makes the first person."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response
        self.somebody_exists = False

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if not self.somebody_exists and not request.user.is_authenticated:
            self.somebody_exists = Person.objects.exists()
            address = reverse("first-sign-in")
            is_exempt = request.path == address or request.path.startswith("/static/")
            if not self.somebody_exists and not is_exempt:
                return redirect(address)
        return self.get_response(request)
