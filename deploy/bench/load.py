"""People at work on a running site: each opens pages of an errand, thinks, opens the next; how long each page takes.

Standard library only: what is measured is the site, and a person who thinks for half a minute needs no event loop.
"""

from __future__ import annotations

import http.client
import http.cookiejar
import random
import re
import statistics
import threading
import time
import urllib.error
import urllib.parse
import urllib.request
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from html.parser import HTMLParser

GIVE_UP_AFTER_S = 120.0


@dataclass(frozen=True)
class Step:
    """One page of an errand, by the name that the report gives it.

    Its address is `path`, or that of one of the links on the pages of this errand that `link` finds, the latest page
    first. With `sends` its form is filled in with that and sent; the answer has a line of its own in the report.
    """

    name: str
    path: str = ""
    link: str = ""
    sends: Mapping[str, str] | None = None


@dataclass(frozen=True)
class Errand:
    """Pages in their order, and how often this errand comes up among those of its person."""

    steps: Sequence[Step]
    share: int = 1


@dataclass
class Measured:
    """How long each page took and what went wrong; written by all people at once."""

    seconds: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    faults: list[str] = field(default_factory=list)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def took(self, name: str, seconds: float) -> None:
        with self.lock:
            self.seconds[name].append(seconds)

    def failed(self, name: str, words: str) -> None:
        with self.lock:
            self.faults.append(f"{name}: {words}")


@dataclass(frozen=True)
class PageTimes:
    """One line of the report [s]."""

    name: str
    n: int
    median: float
    p95: float
    longest: float


def times_of(name: str, seconds: Sequence[float]) -> PageTimes:
    """Median and 95th percentile of the times of a page; of a single one, that."""
    cuts = statistics.quantiles(seconds, n=20, method="inclusive") if len(seconds) > 1 else [seconds[0]] * 19
    return PageTimes(name, len(seconds), statistics.median(seconds), cuts[18], max(seconds))


class FormReader(HTMLParser):
    """The forms of a page that are sent with POST: where each goes, and what it holds before anybody types.

    Of a list that nothing is chosen from, `chooses` takes the first that is something; else it stays as it is shown.
    """

    def __init__(self, *, chooses: bool = True) -> None:
        super().__init__()
        self.chooses = chooses
        self.forms: list[tuple[str, dict[str, str]]] = []
        self.is_open = False
        self.select = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if tag == "form":
            self.is_open = given.get("method", "").lower() == "post"
            if self.is_open:
                self.forms.append((given.get("action", ""), {}))
        if not self.is_open:
            return
        held, name = self.forms[-1][1], given.get("name", "")
        if tag == "select":
            self.select = name
            held[name] = ""
        elif tag == "option" and self.select and ("selected" in given or (self.chooses and not held[self.select])):
            held[self.select] = given.get("value", "")
        elif tag == "textarea" and name:
            held[name] = ""
        elif tag == "input" and name and given.get("type", "text") not in ("submit", "file", "checkbox", "radio"):
            held[name] = given.get("value", "")

    def handle_endtag(self, tag: str) -> None:
        if tag == "select":
            self.select = ""
        elif tag == "form":
            self.is_open = False


class Visitor:
    """One person's browser: cookies, the pages of the errand so far, and what is measured."""

    def __init__(self, address: str, measured: Measured, rng: random.Random) -> None:
        self.address = address.rstrip("/")
        self.measured = measured
        self.rng = rng
        jar = urllib.request.HTTPCookieProcessor(http.cookiejar.CookieJar())
        self.opener = urllib.request.build_opener(jar)
        self.seen: list[str] = []

    def ask(self, name: str, path: str, sent: Mapping[str, str] | None = None) -> str | None:
        """The text of a page; None where it does not come, which is counted."""
        return self.ask_with(name, path, urllib.parse.urlencode(sent).encode() if sent is not None else None)

    def ask_with(self, name: str, path: str, body: bytes | None, kind: str = "") -> str | None:
        """The same with the body of a form as it is sent, of a content type other than the usual one."""
        url = urllib.parse.urljoin(f"{self.address}/", path)
        heads = {"Referer": url} | ({"Content-Type": kind} if kind else {})
        request = urllib.request.Request(url, body, heads)
        began = time.monotonic()
        try:
            with self.opener.open(request, timeout=GIVE_UP_AFTER_S) as answer:
                text: str = answer.read().decode("utf-8", errors="replace")
        except urllib.error.HTTPError as error:
            error.close()
            self.measured.failed(name, f"{path} answers {error.code}")
            return None
        except (OSError, http.client.HTTPException) as error:  # cut off before or in the middle of the answer
            self.measured.failed(name, f"{path} does not answer ({error})")
            return None
        self.measured.took(name, time.monotonic() - began)
        return text

    def sign_in(self, username: str, password: str) -> bool:
        page = self.ask("sign-in page", "/sign-in/")
        given = {"username": username, "password": password}
        answer = page and self.send("signing in", "/sign-in/", page, given)
        if answer and 'name="password"' in answer:
            self.measured.failed("signing in", f"{username} is not let in")
            return False
        return bool(answer)

    def send(self, name: str, path: str, page: str, typed: Mapping[str, str]) -> str | None:
        """The form of a page that has these fields, sent with them."""
        reader = FormReader()
        reader.feed(page)
        for action, held in reader.forms:
            if typed.keys() <= held.keys():
                return self.ask(name, action or path, {**held, **typed})
        self.measured.failed(name, f"{path} has no form with {', '.join(typed)}")
        return None

    def take(self, step: Step) -> bool:
        """Open the page of a step; False where the errand ends here."""
        path = step.path or self.link(step.link)
        if not path:
            return False  # nothing of that kind is on the pages: not every day has a late check
        page = self.ask(step.name, path)
        if page is None:
            return False
        self.seen.append(page)
        if step.sends is not None:
            typed = {name: text.format(n=self.rng.getrandbits(64)) for name, text in step.sends.items()}
            return self.send(f"{step.name}, sent", path, page, typed) is not None
        return True

    def link(self, pattern: str) -> str:
        for page in reversed(self.seen):
            found: list[str] = sorted(set(re.findall(rf'href="({pattern})"', page)))
            if found:
                return self.rng.choice(found)
        return ""


def work(
    visitor: Visitor,
    errands: Sequence[Errand],
    *,
    think_s: tuple[float, float],
    goes_on: Callable[[int], bool],
    pause: Callable[[float], bool],
) -> None:
    """One errand after the other, with a pause for thinking after each page that came or not, as long as it goes on.

    Parameters
    ----------
    goes_on : callable
        Whether to begin a further errand after so many.
    pause : callable
        Waits for so many seconds; True where the time is over.
    """
    if pause(visitor.rng.uniform(0.0, think_s[1])):
        return
    n = 0
    while goes_on(n):
        n += 1
        errand = visitor.rng.choices(errands, [each.share for each in errands])[0]
        visitor.seen.clear()
        for step in errand.steps:
            # Whoever is told to come back waits at least as long as anybody who thinks, as the page asks for.
            is_there = visitor.take(step)
            if pause(visitor.rng.uniform(*think_s)):
                return
            if not is_there:
                break


@dataclass(frozen=True)
class Crowd:
    """Who works on the site, and how."""

    address: str
    people: Sequence[tuple[str, str]]  # sign-in and role, one for each person
    password: str
    errands: Mapping[str, Sequence[Errand]]
    think_s: tuple[float, float]
    seed: int = 1


def run(
    crowd: Crowd, *, for_s: float, most_errands: int | None = None, say: Callable[[str], None] = lambda _words: None
) -> tuple[Measured, Measured]:
    """Let everybody sign in and work; what was measured while they worked, and while they signed in.

    Parameters
    ----------
    for_s : float
        Nobody opens a page later than this after all have signed in [s].
    most_errands : int, optional
        Nobody does more than so many.
    """
    signing, measured = Measured(), Measured()
    visitors = []
    for n, (username, role) in enumerate(crowd.people):
        visitor = Visitor(crowd.address, signing, random.Random(f"{crowd.seed} {n}"))
        if visitor.sign_in(username, crowd.password):
            visitor.measured = measured
            visitors.append((visitor, role))
    say(f"{len(visitors)} of {len(crowd.people)} people have signed in.")
    over = threading.Event()
    threads = [
        threading.Thread(
            target=work,
            args=(visitor, crowd.errands[role]),
            kwargs={
                "think_s": crowd.think_s,
                "goes_on": lambda n: not over.is_set() and (most_errands is None or n < most_errands),
                "pause": over.wait,
            },
            daemon=True,
        )
        for visitor, role in visitors
    ]
    for thread in threads:
        thread.start()
    until = time.monotonic() + for_s
    try:
        for thread in threads:
            thread.join(max(until - time.monotonic(), 0.0))
    finally:
        over.set()
    for thread in threads:
        thread.join(2 * GIVE_UP_AFTER_S)
    return measured, signing


def report_of(measured: Measured) -> list[PageTimes]:
    """A line for each page, the slowest first, and one for all pages together."""
    lines = [times_of(name, seconds) for name, seconds in measured.seconds.items()]
    every = [each for seconds in measured.seconds.values() for each in seconds]
    whole = [times_of("all pages", every)] if every else []
    return [*sorted(lines, key=lambda line: -line.p95), *whole]
