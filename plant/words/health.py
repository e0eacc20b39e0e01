"""What the keeper reads of the site: each part, how it is, and what to do."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext

from plant.calc.health import HealthLine, HealthPart, HealthRule, HealthState, worst_of
from plant.calc.units import UnitSystem
from plant.words.backups import TEXTS as BACKUP_TEXTS
from plant.words.reasons import Writers, sentence

NAMES = {
    HealthPart.DATABASE: _("Data base"),
    HealthPart.VERSION: _("Version"),
    HealthPart.DISK: _("Disk"),
    HealthPart.WORKER: _("Worker"),
    HealthPart.TIMETABLE: _("Timetable"),
    HealthPart.PAGES: _("Pages"),
    HealthPart.QUEUE: _("Queue"),
    HealthPart.FAILED: _("Failed jobs"),
    HealthPart.BACKUP: _("Backup"),
    HealthPart.BACKUP_LOOK: _("Older backups"),
    HealthPart.MAIL: _("Mail"),
    HealthPart.KEPT: _("Kept results"),
    HealthPart.SIGN_INS: _("Sign-ins"),
    HealthPart.CLEARING: _("Clearing"),
}
STATES = {HealthState.WELL: _("well"), HealthState.LOOK: _("look at it"), HealthState.ACT: _("act now")}
MARKS = {HealthState.WELL: "sound", HealthState.LOOK: "watch", HealthState.ACT: "act"}

TEXTS: dict[str, Any] = {
    HealthRule.ANSWERS: _("%(database)s answers in %(took)s. The book takes %(size)s."),
    HealthRule.ANSWERS_SLOWLY: _("%(database)s took %(took)s to answer. The book takes %(size)s."),
    HealthRule.UP_TO_DATE: _("%(version)s, and the book is of the same version."),
    HealthRule.STEPS_MISSING: _("%(version)s, and the book lacks %(n)s of its steps."),
    HealthRule.ROOM: _("%(free)s free where the data folder lies."),
    HealthRule.ROOM_LOW: _("Only %(free)s free where the data folder lies."),
    HealthRule.NO_ROOM: _("Nearly full: %(free)s free where the data folder lies. Soon nothing can be saved."),
    HealthRule.FOLDER_GONE: _("The data folder cannot be reached: no photo or file can be saved or shown."),
    HealthRule.WORKER_ALIVE: _("One worker, seen %(ago)s ago."),
    HealthRule.WORKERS_ALIVE: _("%(n)s workers, seen %(ago)s ago."),
    HealthRule.WORKER_NEVER: _("No worker is there: no job is done."),
    HealthRule.WORKER_SILENT: _("No worker was seen for %(ago)s: no job is done."),
    HealthRule.TICKS: _("Seen %(ago)s ago."),
    HealthRule.NEVER_TICKED: _("The timetable was never seen: nothing runs by itself."),
    HealthRule.TICKS_NO_MORE: _("The timetable was not seen for %(ago)s: nothing runs by itself."),
    HealthRule.NONE_TURNED_AWAY: _("Nobody was told to come back later."),
    HealthRule.TURNED_AWAY_BEFORE: _("For %(ago)s nobody was told to come back later; before that, %(n)s times."),
    HealthRule.TURNED_AWAY: _(
        "More was asked for than could be served: %(n)s times somebody was told to come back later, %(ago)s ago last."
    ),
    HealthRule.NOTHING_WAITS: _("No job waits."),
    HealthRule.NONE_WAITS_BUT_RUNS: _("No job waits; %(running)s being done."),
    HealthRule.WAITING: _("%(n)s waiting, the oldest for %(ago)s; %(running)s being done."),
    HealthRule.WAITS_LONG: _("%(n)s waiting, the oldest for %(ago)s; %(running)s being done."),
    HealthRule.NONE_FAILED: _("No failed job waits to be looked at."),
    HealthRule.ONE_FAILED: _("One job failed and was not made good."),
    HealthRule.SOME_FAILED: _("%(n)s jobs failed and were not made good."),
    HealthRule.BACKUP_MADE: _("The last one was made %(ago)s ago."),
    HealthRule.BACKUP_MADE_BESIDE: _("The last one was made %(ago)s ago, on the disk of the book: copy it elsewhere."),
    HealthRule.BACKUP_OLD: _("The last one was made %(ago)s ago."),
    HealthRule.BACKUP_FAILED: _("The last try failed."),
    HealthRule.NO_BACKUP_YET: _("There is none yet; the timetable makes one by night."),
    HealthRule.NO_BACKUP: _("There is none, and the timetable makes none."),
    HealthRule.NOT_LOOKED_YET: _("None was looked over again yet; it is done by night, two at a time."),
    HealthRule.STILL_WHOLE: _("Looked over again %(ago)s ago, and still whole. So far of those at hand: %(n)s."),
    HealthRule.LOOKED_LONG_AGO: _("Looked over again %(ago)s ago last."),
    HealthRule.NOT_WHOLE: _("One of them is not as it was written."),
    HealthRule.MAIL_AS_FILES: _("No mail server is named: mails are written as files into the data folder."),
    HealthRule.MAIL_NEVER_SENT: _("No mail was sent yet."),
    HealthRule.MAIL_SENT: _("The last mail went %(ago)s ago."),
    HealthRule.MAIL_REFUSED: _("The last mail was refused %(ago)s ago (%(said)s). Mails that wait: %(n)s."),
    HealthRule.NONE_KEPT: _("Nothing is kept yet: the worker makes it once there is something to keep."),
    HealthRule.KEPT_FRESH: _("As the book stands, %(all)s of %(all)s."),
    HealthRule.KEPT_BEING_MADE: _("Being made anew, as the book went on: %(n)s of %(all)s."),
    HealthRule.KEPT_BEHIND: _("Behind the book: %(n)s of %(all)s, and none was made anew for %(ago)s."),
    HealthRule.NOBODY_SLOWED: _("Nobody has to wait."),
    HealthRule.ONE_SLOWED: _("One has to wait after too many wrong passwords."),
    HealthRule.SOME_SLOWED: _("%(n)s have to wait after too many wrong passwords."),
    HealthRule.NOTHING_CLEARED_YET: _("Nothing was cleared away yet; it is done by night."),
    HealthRule.CLEARED: _("Looked through %(ago)s ago. So many things were over and went: %(n)s."),
    HealthRule.CLEARED_LONG_AGO: _("What is over was cleared away %(ago)s ago last."),
    HealthRule.NOT_ALL_CLEARED: _("%(ago)s ago not everything that is over was cleared away: see the table below."),
}
# Why a backup was not made says itself what to do.
FAULTS: dict[str, Any] = dict(BACKUP_TEXTS)
RESTART = _("Start the site again (deploy/start); its lines in the log say why it ended.")
REMEDIES: dict[str, Any] = {
    HealthRule.ANSWERS_SLOWLY: _("See what keeps the machine or the data base server busy."),
    HealthRule.STEPS_MISSING: _("Start the site again (deploy/start), which brings the book up to date."),
    HealthRule.ROOM_LOW: _("Free space on that disk before it is full."),
    HealthRule.NO_ROOM: _("Free space on that disk now."),
    HealthRule.FOLDER_GONE: _("Put it back: is its disk mounted, and may the site write there?"),
    HealthRule.WORKER_NEVER: RESTART,
    HealthRule.WORKER_SILENT: RESTART,
    HealthRule.NEVER_TICKED: RESTART,
    HealthRule.TICKS_NO_MORE: _(
        "Start the site again (deploy/start). Where there is a Redis server, see that it runs."
    ),
    HealthRule.TURNED_AWAY: _(
        "See what keeps the machine busy. Where many people work at once: more cores, and more processes for pages "
        "(DRIFTBOOK_WEB_PROCESSES)."
    ),
    HealthRule.WAITS_LONG: _("Where the worker lives, a long job holds the others up: wait, or add a worker."),
    HealthRule.ONE_FAILED: _("See below: do it again, or discard it."),
    HealthRule.SOME_FAILED: _("See below: do each again, or discard it."),
    HealthRule.BACKUP_OLD: _("Make one now (deploy/backup) and see why the timetable makes none."),
    HealthRule.BACKUP_FAILED: "%(fault)s",
    HealthRule.NO_BACKUP_YET: _("Wait for the night, or make one now: deploy/backup."),
    HealthRule.NO_BACKUP: _("Make one now (deploy/backup), and have one made each night."),
    HealthRule.LOOKED_LONG_AGO: _("It is done each night: look at the timetable and the worker."),
    HealthRule.NOT_WHOLE: "%(fault)s",
    HealthRule.MAIL_REFUSED: _(
        "See to the mail server or to DRIFTBOOK_MAIL_... What could not go waits; it is tried again each hour and sent "
        "once."
    ),
    HealthRule.KEPT_BEHIND: _("Look at the worker and the failed jobs. Pages say of when their figures are."),
    HealthRule.ONE_SLOWED: _("They wait a quarter of an hour. A planner can give them a new password."),
    HealthRule.CLEARED_LONG_AGO: _("It is done each night: look at the timetable and the worker."),
    HealthRule.NOT_ALL_CLEARED: _("The log says why. It is tried again each night."),
    HealthRule.SOME_SLOWED: _("They wait a quarter of an hour. Somebody may be guessing: the log says from where."),
}


def duration_words(seconds: float) -> str:
    """As long as one number tells it: 40 s, 12 min, 5 h, 3 days."""
    for size, limit, unit in ((1, 90, "s"), (60, 5400, "min"), (3600, 129_600, "h")):
        if seconds < limit:
            return f"{seconds / size:.0f} {unit}"
    return ngettext("%(n)d day", "%(n)d days", round(seconds / 86_400)) % {"n": round(seconds / 86_400)}


def room_words(megabytes: float) -> str:
    if megabytes < 1000:
        return f"{megabytes:.0f} MB"
    return f"{megabytes / 1000:.1f} GB" if megabytes < 100_000 else f"{megabytes / 1000:.0f} GB"


def took_words(milliseconds: float) -> str:
    return _now("less than 1 ms") if milliseconds < 1 else f"{milliseconds:.0f} ms"


WRITERS: Writers = {"ago": duration_words, "free": room_words, "size": room_words, "took": took_words}


def fault_words(error: str) -> str:
    """What kind of fault ended a job. The rest stands in the log: it may hold what only people of the plant may see."""
    named = re.findall(r"^(?:[a-z_]\w*\.)*([A-Z]\w+)(?::|$)", error, re.MULTILINE)
    return named[-1] if named else _now("ended without a word")


@dataclass(frozen=True)
class LineShown:
    """A line of the keeper's page."""

    mark: str
    label: str
    words: str
    remedy: str


def line_shown(line: HealthLine) -> LineShown:
    has_remedy = line.state > HealthState.WELL and line.reason.rule in REMEDIES
    remedy = sentence(line.reason, FAULTS | REMEDIES, UnitSystem.METRIC, writers=WRITERS) if has_remedy else ""
    words = sentence(line.reason, FAULTS | TEXTS, UnitSystem.METRIC, writers=WRITERS)
    label = _now("%(part)s: %(state)s") % {"part": NAMES[line.part], "state": STATES[line.state]}
    return LineShown(MARKS[line.state], label, words, remedy)


def headline(lines: list[HealthLine]) -> str:
    """The answer in one sentence; that all is well is said only where all is."""
    n_act = sum(line.state == HealthState.ACT for line in lines)
    n_look = sum(line.state == HealthState.LOOK for line in lines)
    if worst_of(lines) == HealthState.WELL:
        return _now("All is well.")
    if not n_act:
        return ngettext("%(n)d thing to look at.", "%(n)d things to look at.", n_look) % {"n": n_look}
    return ngettext("%(n)d thing to act on now.", "%(n)d things to act on now.", n_act) % {"n": n_act}
