"""What stands before every page: how it is asked for, how much is sent, which plant it is about, in whose clock."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib.auth.middleware import LoginRequiredMiddleware
from django.http import HttpRequest, HttpResponse, HttpResponseBadRequest, HttpResponseNotAllowed, JsonResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from plant.models import Person, Plant
from plant.views.bodies import refusal_of
from plant.views.sent_again import signed_out_meanwhile

METHODS = ("GET", "HEAD", "POST")


class MethodMiddleware:
    """Lets only GET, HEAD and POST through: no page offers more, and TRACE would send cookies back."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.method not in METHODS:
            return HttpResponseNotAllowed(METHODS)
        return self.get_response(request)


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


class BodyMiddleware:
    """Refuses a body that is larger than its address takes, before anything reads it.

    It stands before the check against forged forms, which reads the whole form.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(self, request: HttpRequest, view: Any, args: Any, kwargs: Any) -> HttpResponse | None:
        return refusal_of(request, view)


class SignInMiddleware(LoginRequiredMiddleware):
    """Leads to the sign-in; a form that was sent after the sign-in ended is kept on its page."""

    def handle_no_permission(self, request: HttpRequest, view_func: Any) -> HttpResponse:
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


class OwnPasswordMiddleware:
    """Whoever signed in with a first password chooses one of their own before anything else."""

    OPEN = ("password", "sign-out")

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(self, request: HttpRequest, view: Any, args: Any, kwargs: Any) -> HttpResponse | None:
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
            is_exempt = request.path in (address, reverse("healthz")) or request.path.startswith("/static/")
            if not self.somebody_exists and not is_exempt:
                return redirect(address)
        return self.get_response(request)
