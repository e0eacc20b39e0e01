"""What is asked for beyond what a process can serve: a bounded number waits for a bounded time, the rest is told to.

A computer that takes in more than it can do answers everybody too late. So each process lets a few requests in at once
and some wait; whoever comes when all of these are taken, or waited too long, gets 429 with Retry-After (RFC 6585,
RFC 9110) before anything of theirs is read: to send the same again is right.
"""

from __future__ import annotations

import contextlib
import logging
import random
import threading
import time
from collections.abc import Iterator

from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.template import loader
from django.urls import resolve
from django.utils.translation import gettext as _

from plant.models import Tally
from plant.services.health import tally

log = logging.getLogger(__name__)

TRY_AGAIN_AFTER_S = (8, 15)  # not for all the same, or all come back at once
COUNTED_EVERY_S = 10.0


class Gate:
    """Lets so many in at once, one after the other as they came.

    Parameters
    ----------
    at_once, most_waiting : int
        How many are let in, and how many may wait.
    longest_wait_s : float
        Who waited for so long goes [s].
    """

    def __init__(self, at_once: int, most_waiting: int, longest_wait_s: float) -> None:
        self.most_waiting, self.longest_wait_s = most_waiting, longest_wait_s
        self.n_waiting = 0
        self.n_turned_away = 0
        self.counted_at = time.monotonic()
        self._places = threading.Semaphore(at_once)
        self._lock = threading.Lock()

    @contextlib.contextmanager
    def place(self) -> Iterator[bool]:
        """Whether there is a place; it is held until the block ends."""
        has_place = self._enter()
        try:
            yield has_place
        finally:
            if has_place:
                self._places.release()

    def _enter(self) -> bool:
        with self._lock:
            # Whoever waits already comes first.
            if not self.n_waiting and self._places.acquire(blocking=False):
                return True
            if self.n_waiting >= self.most_waiting:
                self.n_turned_away += 1
                return False
            self.n_waiting += 1
        has_place = self._places.acquire(timeout=self.longest_wait_s)
        with self._lock:
            self.n_waiting -= 1
            self.n_turned_away += not has_place
        return has_place

    def take_count(self) -> int:
        """How many were turned away since it was asked last; nothing where that was a moment ago."""
        with self._lock:
            if not self.n_turned_away or time.monotonic() - self.counted_at < COUNTED_EVERY_S:
                return 0
            n, self.n_turned_away, self.counted_at = self.n_turned_away, 0, time.monotonic()
            return n


def note_turned_away(n: int) -> None:
    """Count them for the keeper. Whoever has a place does it: who was turned away waits for nothing."""
    log.warning("more was asked for than this process can serve: %s requests were turned away", n)
    try:
        tally(Tally.What.PAGE, "turned_away", n=n)
    except Exception:
        log.warning("the requests that were turned away could not be counted", exc_info=True)


def turned_away(request: HttpRequest) -> HttpResponse:
    """The answer to a request that found no place. It asks nothing of the data base, and nothing was read."""
    with contextlib.suppress(Http404):
        request.resolver_match = resolve(request.path_info)
    seconds = random.randint(*TRY_AGAIN_AFTER_S)
    answer = as_who_asked_reads(request, seconds)
    answer.status_code = 429
    answer.headers["Retry-After"] = str(seconds)
    answer._has_been_logged = True  # type: ignore[attr-defined]  # a line for each would make it worse; they are counted
    return answer


def as_who_asked_reads(request: HttpRequest, seconds: int) -> HttpResponse:
    view = request.resolver_match.func if request.resolver_match else None
    if getattr(view, "answers_in_json", False):
        words = _("The site has more to do than it can. What is kept on this phone stays there; it is sent by itself.")
        return JsonResponse({"code": "busy", "message": words, "seconds": seconds})
    if request.headers.get("HX-Request") or "text/html" not in request.headers.get("Accept", "text/html"):
        words = _("The site has more to do than it can. Try again in %(n)s seconds.") % {"n": seconds}
        return HttpResponse(words, content_type="text/plain; charset=utf-8")
    shown = {"seconds": seconds, "is_sent": request.method == "POST", "address": request.get_full_path()}
    return HttpResponse(loader.get_template("plant/crowded.html").render(shown))
