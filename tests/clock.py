"""The suite's clock: every process of a run of the tests stands on one day, whatever the machine's clock says.

The day is `DAY`, or the one in DRIFTBOOK_TEST_DAY: an ISO date (then it is ten in the morning), a date and a time (UTC,
or with an offset), or `real` for the machine's own clock. Time goes on from there at its usual pace. The first process
works out how far ahead that is and its children inherit the difference, so that test, web server, worker and timetable
agree; the walks move the browser's `Date` by the same. `time.monotonic`, by which all waits are measured, stays.

The product reads the machine's clock and knows nothing of this: only the settings of tests start it, and they refuse a
data folder that no test has made.
"""

from __future__ import annotations

import datetime as dt
import os
import time
from pathlib import Path

import time_machine
from django.core.exceptions import ImproperlyConfigured

DAY = "2026-11-25"
AHEAD = "DRIFTBOOK_TEST_CLOCK_AHEAD_S"
MARK = "only-for-tests"


def moment_of(words: str) -> dt.datetime:
    """The moment that DRIFTBOOK_TEST_DAY names."""
    try:
        if len(words) == len("2026-11-25"):
            return dt.datetime.combine(dt.date.fromisoformat(words), dt.time(10), dt.UTC)
        given = dt.datetime.fromisoformat(words)
    except ValueError as error:
        raise ImproperlyConfigured(
            f"DRIFTBOOK_TEST_DAY is {words!r}; give a date such as 2028-02-29, a date and a time such as "
            "2027-01-01T00:30+01:00, or the word real."
        ) from error
    return given if given.tzinfo else given.replace(tzinfo=dt.UTC)


def begins_at() -> dt.datetime:
    """Where the clock stood when the run began; with the machine's own clock now."""
    day = os.environ.get("DRIFTBOOK_TEST_DAY") or DAY
    return dt.datetime.now(dt.UTC) if day == "real" else moment_of(day)


def machine_s() -> float:
    """The machine's own clock, moved or not [s since 1970]."""
    hatch = time_machine.escape_hatch
    return float(hatch.time.time() if hatch.is_travelling() else time.time())


def ahead_for(moment: dt.datetime) -> str:
    """What a child's `AHEAD` has to be for its clock to begin at that moment."""
    return repr(moment.timestamp() - machine_s())


def ahead_s() -> float:
    """How far the suite's clock is ahead of the machine's [s]; the first process to ask decides for its children."""
    if AHEAD not in os.environ:
        is_real = os.environ.get("DRIFTBOOK_TEST_DAY") == "real"
        os.environ[AHEAD] = "0" if is_real else ahead_for(begins_at())
    return float(os.environ[AHEAD])


def mark(data: Path) -> None:
    """Say of a data folder that it belongs to tests, whose clock may be moved."""
    data.mkdir(parents=True, exist_ok=True)
    (data / MARK).touch()


def start() -> None:
    """Move the clock of this process, before anything of the site is imported."""
    data = os.environ.get("DRIFTBOOK_DATA", "")
    if not (data and (Path(data) / MARK).exists()):
        raise ImproperlyConfigured(
            f"DRIFTBOOK_DATA is {data!r}, a folder that no test has made: the clock of a real site is never moved. "
            "Leave DRIFTBOOK_DATA out when you run tests."
        )
    if not time_machine.traveller_stack and ahead_s():
        time_machine.travel(time.time() + ahead_s(), tick=True).start()
        time.time()  # it ticks from when it is first asked


# A browser has a clock of its own. Only what names no moment is moved: `new Date()`, `Date()` and `Date.now()`.
MOVE_DATE = """
    const ahead = %d;
    globalThis.Date = new Proxy(Date, {
        construct: (date, given, made) => Reflect.construct(date, given.length ? given : [date.now() + ahead], made),
        apply: (date) => new date(date.now() + ahead).toString(),
        get: (date, name) => (name === "now" ? () => date.now() + ahead : Reflect.get(date, name)),
    });
"""


def browser_script() -> str:
    """For every page of a browser, before its own scripts: the moment of this process, moved once more or not."""
    return moved_by(time.time() - machine_s())


def moved_by(seconds: float) -> str:
    """A script that moves a page's clock once more. A page that is open goes on by it from where it stands."""
    return f"(() => {{{MOVE_DATE % round(seconds * 1000)}}})();"
