"""Whether the site is well, part by part: what is wrong, how badly, and from which figures.

Bounds without a source beside them are this house's own: they say when a person should look, and stop nothing.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import IntEnum, StrEnum

from plant.calc.reasons import Reason, Values

LEAST_FREE_MB = 100  # below it pages warn everybody: on a full disk nothing can be saved
LOW_FREE_MB = 1000
SLOW_ANSWER_MS = 1000.0
WORKER_SILENT_S = 120.0
SWEEPS_MISSED = 3
WAITS_LONG_S, WAITS_TOO_LONG_S = 600.0, 3600.0
KEPT_IDLE_S = 900.0
MAIL_REFUSED_S = 86_400.0
TURNED_AWAY_S = 86_400.0
CLEARED_OLD_S = 36 * 3600.0
BACKUP_OLD_S = 36 * 3600.0  # a night was missed


class HealthState(IntEnum):
    """How urgent; the larger, the worse."""

    WELL = 0
    LOOK = 1
    ACT = 2


class HealthPart(StrEnum):
    DATABASE = "health.database"
    VERSION = "health.version"
    DISK = "health.disk"
    WORKER = "health.worker"
    TIMETABLE = "health.timetable"
    PAGES = "health.pages"
    QUEUE = "health.queue"
    FAILED = "health.failed"
    BACKUP = "health.backup"
    BACKUP_LOOK = "health.backup_look"
    MAIL = "health.mail"
    KEPT = "health.kept"
    SIGN_INS = "health.sign_ins"
    CLEARING = "health.clearing"


class HealthRule(StrEnum):
    ANSWERS = "health.answers"
    ANSWERS_SLOWLY = "health.answers_slowly"
    UP_TO_DATE = "health.up_to_date"
    STEPS_MISSING = "health.steps_missing"
    ROOM = "health.room"
    ROOM_LOW = "health.room_low"
    NO_ROOM = "health.no_room"
    FOLDER_GONE = "health.folder_gone"
    WORKER_ALIVE = "health.worker_alive"
    WORKERS_ALIVE = "health.workers_alive"
    WORKER_NEVER = "health.worker_never"
    WORKER_SILENT = "health.worker_silent"
    TICKS = "health.ticks"
    NEVER_TICKED = "health.never_ticked"
    TICKS_NO_MORE = "health.ticks_no_more"
    NONE_TURNED_AWAY = "health.none_turned_away"
    TURNED_AWAY_BEFORE = "health.turned_away_before"
    TURNED_AWAY = "health.turned_away"
    NOTHING_WAITS = "health.nothing_waits"
    NONE_WAITS_BUT_RUNS = "health.none_waits_but_runs"
    WAITING = "health.waiting"
    WAITS_LONG = "health.waits_long"
    NONE_FAILED = "health.none_failed"
    ONE_FAILED = "health.one_failed"
    SOME_FAILED = "health.some_failed"
    BACKUP_MADE = "health.backup_made"
    BACKUP_MADE_BESIDE = "health.backup_made_beside"
    BACKUP_OLD = "health.backup_old"
    BACKUP_FAILED = "health.backup_failed"
    NO_BACKUP_YET = "health.no_backup_yet"
    NO_BACKUP = "health.no_backup"
    NOT_LOOKED_YET = "health.not_looked_yet"
    STILL_WHOLE = "health.still_whole"
    LOOKED_LONG_AGO = "health.looked_long_ago"
    NOT_WHOLE = "health.not_whole"
    MAIL_AS_FILES = "health.mail_as_files"
    MAIL_NEVER_SENT = "health.mail_never_sent"
    MAIL_SENT = "health.mail_sent"
    MAIL_REFUSED = "health.mail_refused"
    NONE_KEPT = "health.none_kept"
    KEPT_FRESH = "health.kept_fresh"
    KEPT_BEING_MADE = "health.kept_being_made"
    KEPT_BEHIND = "health.kept_behind"
    NOBODY_SLOWED = "health.nobody_slowed"
    ONE_SLOWED = "health.one_slowed"
    SOME_SLOWED = "health.some_slowed"
    NOTHING_CLEARED_YET = "health.nothing_cleared_yet"
    CLEARED = "health.cleared"
    CLEARED_LONG_AGO = "health.cleared_long_ago"
    NOT_ALL_CLEARED = "health.not_all_cleared"


@dataclass(frozen=True)
class SiteFacts:
    """What was found of the site at one moment.

    Attributes
    ----------
    database, version : str
        Kind of the data base; version of the product.
    database_mb : int
        Size of the book [MB].
    disk_free_mb : int or None
        What is free where the data folder lies; None where it cannot be reached [MB].
    answer_ms : float
        How long the data base took to answer one question [ms].
    n_steps_missing : int
        Migrations that the book lacks.
    n_workers : int
        Workers heard of within `WORKER_SILENT_S`.
    worker_s, tick_s : float or None
        Since the last life sign of a worker and of the timetable; None where there was none [s].
    sweep_every_s : float
        How often the timetable ticks at least [s].
    n_waiting, n_running, n_failed : int
        Jobs that wait, that run, and that failed and were not made good since.
    oldest_s : float or None
        How long the oldest one waits [s].
    backup_s : float or None
        Since the newest backup at hand was made; None where there is none [s].
    backup_fault : Reason or None
        Why the last try failed; None where it went well.
    is_backup_nightly, is_backup_beside : bool
        Whether the timetable makes one a night; whether they lie on the disk of the book.
    looked_s : float or None
        Since backups were looked over again; None where none was, or none is at hand [s].
    n_looked : int
        How many of those at hand were, since they were made.
    look_fault : Reason or None
        What is wrong with one of them.
    has_mail_server : bool
        Whether mails go to a server; else they are written as files.
    sent_s, refused_s : float or None
        Since the last mail went, and was refused [s].
    refusal : str
        What the mail server said then.
    n_mails_waiting : int
        Mails that were tried, could not go and are tried again.
    n_kept, n_behind : int
        Kept results, and those of them that the book has gone past.
    kept_idle_s : float or None
        Since one of those that are behind was made, or any was made since; None where none is behind [s].
    n_slowed : int
        Sign-ins, by name and network, that have to wait after too many wrong tries.
    n_turned_away : int
        Requests that found no place since the book was begun, as more was asked for than could be served.
    turned_away_s : float or None
        Since the last of them [s].
    cleared_s : float or None
        Since what is over was cleared away; None where it never was [s].
    n_cleared, n_not_cleared : int
        How many things went then, and how many kinds could not be cleared.
    """

    database: str
    version: str
    answer_ms: float
    database_mb: int = 0
    disk_free_mb: int | None = None
    n_steps_missing: int = 0
    n_workers: int = 0
    worker_s: float | None = None
    tick_s: float | None = None
    sweep_every_s: float = 20.0
    n_waiting: int = 0
    n_running: int = 0
    n_failed: int = 0
    oldest_s: float | None = None
    backup_s: float | None = None
    backup_fault: Reason | None = None
    is_backup_nightly: bool = True
    is_backup_beside: bool = False
    looked_s: float | None = None
    n_looked: int = 0
    look_fault: Reason | None = None
    has_mail_server: bool = False
    sent_s: float | None = None
    refused_s: float | None = None
    refusal: str = ""
    n_mails_waiting: int = 0
    n_kept: int = 0
    n_behind: int = 0
    kept_idle_s: float | None = None
    n_slowed: int = 0
    n_turned_away: int = 0
    turned_away_s: float | None = None
    cleared_s: float | None = None
    n_cleared: int = 0
    n_not_cleared: int = 0


@dataclass(frozen=True)
class HealthLine:
    """One part of the site: how it is, and why."""

    part: HealthPart
    state: HealthState
    reason: Reason


def site_health(facts: SiteFacts) -> list[HealthLine]:
    """Each part of the site, the worst first.

    Parameters
    ----------
    facts : SiteFacts
        What was found.

    Returns
    -------
    list of HealthLine
        Of equal ones in the order in which faults bring each other about: the data base first.

    Examples
    --------
    >>> lines = site_health(SiteFacts("SQLite", "0.2.0", 0.4, database_mb=12, disk_free_mb=40))
    >>> [line.part.name for line in lines[:3]], lines[0].state.name
    (['DISK', 'WORKER', 'TIMETABLE'], 'ACT')
    """
    lines = [HealthLine(part, *judge(facts)) for part, judge in JUDGES.items()]
    return sorted(lines, key=lambda line: -line.state)


def worst_of(lines: list[HealthLine]) -> HealthState:
    """How the site is as a whole.

    Parameters
    ----------
    lines : list of HealthLine
        At least one.

    Returns
    -------
    HealthState
    """
    return max(line.state for line in lines)


Judged = tuple[HealthState, Reason]


def _database(facts: SiteFacts) -> Judged:
    values: Values = {"database": facts.database, "size": facts.database_mb, "took": facts.answer_ms}
    if facts.answer_ms > SLOW_ANSWER_MS:
        return HealthState.LOOK, Reason(HealthRule.ANSWERS_SLOWLY, values)
    return HealthState.WELL, Reason(HealthRule.ANSWERS, values)


def _version(facts: SiteFacts) -> Judged:
    values: Values = {"version": facts.version, "n": facts.n_steps_missing}
    if facts.n_steps_missing:
        return HealthState.ACT, Reason(HealthRule.STEPS_MISSING, values)
    return HealthState.WELL, Reason(HealthRule.UP_TO_DATE, values)


def _disk(facts: SiteFacts) -> Judged:
    if facts.disk_free_mb is None:
        return HealthState.ACT, Reason(HealthRule.FOLDER_GONE)
    values = {"free": facts.disk_free_mb}
    if facts.disk_free_mb < LEAST_FREE_MB:
        return HealthState.ACT, Reason(HealthRule.NO_ROOM, values)
    if facts.disk_free_mb < LOW_FREE_MB:
        return HealthState.LOOK, Reason(HealthRule.ROOM_LOW, values)
    return HealthState.WELL, Reason(HealthRule.ROOM, values)


def _worker(facts: SiteFacts) -> Judged:
    values = {"ago": facts.worker_s, "n": facts.n_workers}
    if facts.worker_s is None:
        return HealthState.ACT, Reason(HealthRule.WORKER_NEVER)
    if facts.worker_s > WORKER_SILENT_S:
        return HealthState.ACT, Reason(HealthRule.WORKER_SILENT, values)
    return HealthState.WELL, Reason(
        HealthRule.WORKER_ALIVE if facts.n_workers == 1 else HealthRule.WORKERS_ALIVE, values
    )


def _timetable(facts: SiteFacts) -> Judged:
    if facts.tick_s is None:
        return HealthState.ACT, Reason(HealthRule.NEVER_TICKED)
    is_late = facts.tick_s > SWEEPS_MISSED * facts.sweep_every_s + 60
    values = {"ago": facts.tick_s}
    if is_late:
        return HealthState.ACT, Reason(HealthRule.TICKS_NO_MORE, values)
    return HealthState.WELL, Reason(HealthRule.TICKS, values)


def _pages(facts: SiteFacts) -> Judged:
    if facts.turned_away_s is None:
        return HealthState.WELL, Reason(HealthRule.NONE_TURNED_AWAY)
    values = {"n": facts.n_turned_away, "ago": facts.turned_away_s}
    if facts.turned_away_s > TURNED_AWAY_S:
        return HealthState.WELL, Reason(HealthRule.TURNED_AWAY_BEFORE, values)
    return HealthState.LOOK, Reason(HealthRule.TURNED_AWAY, values)


def _queue(facts: SiteFacts) -> Judged:
    values = {"n": facts.n_waiting, "running": facts.n_running, "ago": facts.oldest_s}
    if facts.oldest_s is None:
        rule = HealthRule.NONE_WAITS_BUT_RUNS if facts.n_running else HealthRule.NOTHING_WAITS
        return HealthState.WELL, Reason(rule, values)
    if facts.oldest_s <= WAITS_LONG_S:
        return HealthState.WELL, Reason(HealthRule.WAITING, values)
    state = HealthState.ACT if facts.oldest_s > WAITS_TOO_LONG_S else HealthState.LOOK
    return state, Reason(HealthRule.WAITS_LONG, values)


def _failed(facts: SiteFacts) -> Judged:
    if not facts.n_failed:
        return HealthState.WELL, Reason(HealthRule.NONE_FAILED)
    rule = HealthRule.ONE_FAILED if facts.n_failed == 1 else HealthRule.SOME_FAILED
    return HealthState.LOOK, Reason(rule, {"n": facts.n_failed})


def _backup(facts: SiteFacts) -> Judged:
    values: Values = {"ago": facts.backup_s, "fault": facts.backup_fault}
    if facts.backup_fault is not None:
        return HealthState.ACT, Reason(HealthRule.BACKUP_FAILED, values)
    if facts.backup_s is None:
        if facts.is_backup_nightly:
            return HealthState.LOOK, Reason(HealthRule.NO_BACKUP_YET)
        return HealthState.ACT, Reason(HealthRule.NO_BACKUP)
    if facts.backup_s > BACKUP_OLD_S:
        return HealthState.ACT, Reason(HealthRule.BACKUP_OLD, values)
    return HealthState.WELL, Reason(
        HealthRule.BACKUP_MADE_BESIDE if facts.is_backup_beside else HealthRule.BACKUP_MADE, values
    )


def _backup_look(facts: SiteFacts) -> Judged:
    values: Values = {"ago": facts.looked_s, "n": facts.n_looked, "fault": facts.look_fault}
    if facts.look_fault is not None:
        return HealthState.ACT, Reason(HealthRule.NOT_WHOLE, values)
    if facts.looked_s is None:
        return HealthState.WELL, Reason(HealthRule.NOT_LOOKED_YET)
    if facts.looked_s > BACKUP_OLD_S:
        return HealthState.LOOK, Reason(HealthRule.LOOKED_LONG_AGO, values)
    return HealthState.WELL, Reason(HealthRule.STILL_WHOLE, values)


def _mail(facts: SiteFacts) -> Judged:
    if facts.refused_s is not None and (facts.sent_s is None or facts.refused_s < facts.sent_s):
        state = HealthState.ACT if facts.refused_s <= MAIL_REFUSED_S else HealthState.LOOK
        return state, Reason(
            HealthRule.MAIL_REFUSED, {"ago": facts.refused_s, "said": facts.refusal, "n": facts.n_mails_waiting}
        )
    if not facts.has_mail_server:
        return HealthState.WELL, Reason(HealthRule.MAIL_AS_FILES)
    if facts.sent_s is None:
        return HealthState.WELL, Reason(HealthRule.MAIL_NEVER_SENT)
    return HealthState.WELL, Reason(HealthRule.MAIL_SENT, {"ago": facts.sent_s})


def _kept(facts: SiteFacts) -> Judged:
    values = {"n": facts.n_behind, "all": facts.n_kept, "ago": facts.kept_idle_s}
    if not facts.n_kept:
        return HealthState.WELL, Reason(HealthRule.NONE_KEPT, values)
    if not facts.n_behind:
        return HealthState.WELL, Reason(HealthRule.KEPT_FRESH, values)
    if facts.kept_idle_s is None or facts.kept_idle_s <= KEPT_IDLE_S:
        return HealthState.WELL, Reason(HealthRule.KEPT_BEING_MADE, values)
    return HealthState.LOOK, Reason(HealthRule.KEPT_BEHIND, values)


def _sign_ins(facts: SiteFacts) -> Judged:
    if not facts.n_slowed:
        return HealthState.WELL, Reason(HealthRule.NOBODY_SLOWED)
    rule = HealthRule.ONE_SLOWED if facts.n_slowed == 1 else HealthRule.SOME_SLOWED
    return HealthState.LOOK, Reason(rule, {"n": facts.n_slowed})


def _clearing(facts: SiteFacts) -> Judged:
    values = {"ago": facts.cleared_s, "n": facts.n_cleared, "kinds": facts.n_not_cleared}
    if facts.cleared_s is None:
        return HealthState.WELL, Reason(HealthRule.NOTHING_CLEARED_YET)
    if facts.n_not_cleared:
        return HealthState.LOOK, Reason(HealthRule.NOT_ALL_CLEARED, values)
    if facts.cleared_s > CLEARED_OLD_S:
        return HealthState.LOOK, Reason(HealthRule.CLEARED_LONG_AGO, values)
    return HealthState.WELL, Reason(HealthRule.CLEARED, values)


JUDGES: dict[HealthPart, Callable[[SiteFacts], Judged]] = {
    HealthPart.DATABASE: _database,
    HealthPart.VERSION: _version,
    HealthPart.DISK: _disk,
    HealthPart.WORKER: _worker,
    HealthPart.TIMETABLE: _timetable,
    HealthPart.PAGES: _pages,
    HealthPart.QUEUE: _queue,
    HealthPart.FAILED: _failed,
    HealthPart.BACKUP: _backup,
    HealthPart.BACKUP_LOOK: _backup_look,
    HealthPart.MAIL: _mail,
    HealthPart.KEPT: _kept,
    HealthPart.SIGN_INS: _sign_ins,
    HealthPart.CLEARING: _clearing,
}
