"""How wrong tries to sign in are counted, so that guessing is slow and nobody is locked out by somebody else.

A browser in which a person has signed in before is known for that person (a signed cookie says so): its tries count
for themselves, whatever others do under the same name or from the same network. From any other browser, wrong tries
count by name and network together; and a network that tries many names is slowed for all of them.
"""

from __future__ import annotations

import ipaddress
import secrets
from typing import Any
from urllib.parse import urlsplit

from axes.attempts import get_cool_off_threshold
from axes.handlers.database import AxesDatabaseHandler
from axes.helpers import get_client_username
from axes.models import AccessAttempt
from django.conf import settings
from django.db.models import QuerySet, Sum
from django.http import HttpRequest, HttpResponse

from plant.models import Person

COOKIE, SALT = "known_browser", "plant.known_browser"
KNOWN_FOR_S = 400 * 86_400  # the longest that browsers keep a cookie
MOST_PEOPLE = 20  # of one browser, as in a shared control room; the one who signed in last stays longest
MARK = "known browser "


def client_address(request: HttpRequest) -> str:
    """The address that a request came from; for IPv6 its network, as one subscriber has millions of addresses.

    Behind a proxy it is the one that the outermost trusted proxy wrote down. What stands before that in the list was
    written by the sender and may be anything.
    """
    given = request.META.get("REMOTE_ADDR") or ""
    if settings.TRUSTED_PROXIES:
        passed = [each.strip() for each in request.META.get("HTTP_X_FORWARDED_FOR", "").split(",") if each.strip()]
        if passed:
            given = passed[-min(settings.TRUSTED_PROXIES, len(passed))]
    address = address_in(given)
    if address is None:
        return "0.0.0.0"  # a proxy that wrote no address: all that it lets through count as one
    if isinstance(address, ipaddress.IPv6Address):
        if address.ipv4_mapped:
            return str(address.ipv4_mapped)
        return str(ipaddress.ip_network((address, 64), strict=False).network_address)
    return str(address)


def address_in(text: str) -> ipaddress.IPv4Address | ipaddress.IPv6Address | None:
    """The address in what a proxy wrote: alone, or with a port behind it as in an address of the web (RFC 3986)."""
    text = text.strip()
    try:
        return ipaddress.ip_address(text)
    except ValueError:
        pass
    try:
        parts = urlsplit(f"//{text}")
        if parts.netloc != text or "@" in text or (parts.port is None and not text.startswith("[")):
            return None
        return ipaddress.ip_address(parts.hostname or "")
    except ValueError:  # also a port that is none
        return None


def known_people(request: HttpRequest) -> tuple[str, list[int]]:
    """What the browser is called, and the keys of the people who signed in there."""
    try:
        name, _, people = str(request.get_signed_cookie(COOKIE, "", salt=SALT)).partition(":")
        return name, [int(each) for each in people.split(",") if each]
    except ValueError:  # also a signature that is not ours
        return "", []


def remember_browser(request: HttpRequest, answer: HttpResponse, person: Any) -> None:
    name, people = known_people(request)
    kept = [person.pk, *(each for each in people if each != person.pk)][:MOST_PEOPLE]
    value = f"{name or secrets.token_hex(8)}:{','.join(map(str, kept))}"
    answer.set_signed_cookie(
        COOKIE,
        value,
        salt=SALT,
        max_age=KNOWN_FOR_S,
        secure=settings.SESSION_COOKIE_SECURE,
        httponly=True,
        samesite="Lax",
    )


def mark_of(request: HttpRequest, username: str | None) -> str:
    """The mark under which a known browser's tries are counted; empty for a browser that this person never used."""
    name, people = known_people(request)
    if not name or not username:
        return ""
    is_known = Person.objects.filter(pk__in=people, username=username).exists()
    return MARK + name if is_known else ""


class TriesHandler(AxesDatabaseHandler):
    """The library's own counting, under the rules that stand at the top of this module."""

    def recent(self, request: HttpRequest) -> QuerySet[AccessAttempt]:
        return AccessAttempt.objects.filter(attempt_time__gte=get_cool_off_threshold(request))

    def get_failures(self, request: Any, credentials: dict[str, Any] | None = None) -> int:
        """Wrong tries that count for this one; the limit itself where the whole network has used up its own."""
        username = get_client_username(request, credentials)
        mark = mark_of(request, username)
        if mark:
            return count_of(self.recent(request).filter(username=username, user_agent=mark))
        here = self.recent(request).filter(ip_address=request.axes_ip_address).exclude(user_agent__startswith=MARK)
        by_name = count_of(here.filter(username=username))
        if count_of(here) >= settings.WRONG_TRIES_OF_A_NETWORK:
            return max(by_name, settings.AXES_FAILURE_LIMIT)
        return by_name

    def user_login_failed(self, sender: Any, credentials: dict[str, Any], request: Any = None, **kwargs: Any) -> None:
        if request is not None:
            # What a browser calls itself is not kept: it could call itself known.
            request.axes_user_agent = mark_of(request, get_client_username(request, credentials)) or "other"
        super().user_login_failed(sender, credentials, request, **kwargs)

    def reset_user_attempts(self, request: Any, credentials: dict[str, Any] | None = None) -> int:
        """After a sign-in that went well: this browser's wrong tries are forgotten, other browsers' are not."""
        username = get_client_username(request, credentials)
        mark = mark_of(request, username)
        tries = AccessAttempt.objects.filter(username=username)
        if mark:
            return int(tries.filter(user_agent=mark).delete()[0])
        return int(tries.filter(ip_address=request.axes_ip_address).exclude(user_agent__startswith=MARK).delete()[0])


def count_of(tries: QuerySet[AccessAttempt]) -> int:
    return tries.aggregate(n=Sum("failures_since_start"))["n"] or 0
