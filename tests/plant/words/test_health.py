from __future__ import annotations

from dataclasses import replace

import pytest

from plant.calc.backups import BackupRule
from plant.calc.health import HealthPart, HealthRule, HealthState, SiteFacts, site_health
from plant.calc.reasons import Reason
from plant.words.health import (
    NAMES,
    REMEDIES,
    STATES,
    TEXTS,
    duration_words,
    fault_words,
    headline,
    line_shown,
    room_words,
)

WELL = SiteFacts(
    "SQLite",
    "0.2.0",
    0.4,
    database_mb=12,
    disk_free_mb=5000,
    n_workers=1,
    worker_s=4,
    tick_s=9,
    n_kept=7,
    backup_s=7200,
)
NEEDS_NONE = {
    HealthRule.ANSWERS, HealthRule.UP_TO_DATE, HealthRule.ROOM, HealthRule.WORKER_ALIVE, HealthRule.WORKERS_ALIVE,
    HealthRule.TICKS, HealthRule.NOTHING_WAITS, HealthRule.WAITING, HealthRule.NONE_FAILED, HealthRule.MAIL_AS_FILES,
    HealthRule.MAIL_NEVER_SENT, HealthRule.MAIL_SENT, HealthRule.NONE_KEPT, HealthRule.KEPT_FRESH,
    HealthRule.KEPT_BEING_MADE, HealthRule.BACKUP_MADE, HealthRule.BACKUP_MADE_BESIDE,
    HealthRule.NOBODY_SLOWED, HealthRule.NONE_WAITS_BUT_RUNS,
    HealthRule.NONE_TURNED_AWAY, HealthRule.TURNED_AWAY_BEFORE, HealthRule.NOTHING_CLEARED_YET, HealthRule.CLEARED,
    HealthRule.NOT_LOOKED_YET, HealthRule.STILL_WHOLE,
}  # fmt: skip


def test_each_rule_has_its_words_and_each_that_is_not_well_says_what_to_do():
    assert set(TEXTS) == set(HealthRule)
    assert set(REMEDIES) == set(HealthRule) - NEEDS_NONE
    assert set(NAMES) == set(HealthPart)
    assert set(STATES) == set(HealthState)


@pytest.mark.parametrize(
    ("values", "part", "words", "remedy"),
    [
        ({}, HealthPart.DATABASE, "SQLite answers in less than 1 ms. The book takes 12 MB.", ""),
        ({}, HealthPart.DISK, "5.0 GB free where the data folder lies.", ""),
        ({}, HealthPart.WORKER, "One worker, seen 4 s ago.", ""),
        ({"n_waiting": 3, "oldest_s": 4000, "n_running": 1}, HealthPart.QUEUE,
         "3 waiting, the oldest for 67 min; 1 being done.", "a long job holds the others up"),
        ({"n_turned_away": 12, "turned_away_s": 300}, HealthPart.PAGES,
         "12 times somebody was told to come back later, 5 min ago last.", "DRIFTBOOK_WEB_PROCESSES"),
        ({}, HealthPart.KEPT, "As the book stands, 7 of 7.", ""),
        ({"n_kept": 0}, HealthPart.KEPT, "Nothing is kept yet", ""),
        ({"n_behind": 1}, HealthPart.KEPT, "Being made anew, as the book went on: 1 of 7.", ""),
        ({}, HealthPart.FAILED, "No failed job waits to be looked at.", ""),
        ({"tick_s": 9000}, HealthPart.TIMETABLE, "was not seen for 2 h: nothing runs by itself", "deploy/start"),
        ({"backup_fault": Reason(BackupRule.NO_BOOK, {"folder": "/book"})}, HealthPart.BACKUP, "The last try failed.",
         "There is no book in /book yet."),
        ({"refused_s": 60, "refusal": "550 no such user", "n_mails_waiting": 4}, HealthPart.MAIL,
         "refused 60 s ago (550 no such user). Mails that wait: 4.", "mail server"),
    ],
)  # fmt: skip
def test_lines_read_as_sentences(values, part, words, remedy):
    [line] = [line_shown(each) for each in site_health(replace(WELL, **values)) if each.part == part]
    assert words in line.words
    assert remedy in line.remedy
    assert "None" not in line.words


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({}, "All is well."),
        ({"n_failed": 1}, "1 thing to look at."),
        ({"n_failed": 1, "n_slowed": 1}, "2 things to look at."),
        ({"n_failed": 1, "tick_s": None}, "1 thing to act on now."),
        ({"worker_s": None, "tick_s": None}, "2 things to act on now."),
    ],
)
def test_the_answer_is_one_sentence(values, words):
    assert headline(site_health(replace(WELL, **values))) == words


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(0, "0 s"), (89, "89 s"), (90, "2 min"), (5399, "90 min"), (5400, "2 h"), (259_200, "3 days")],
)
def test_a_time_is_one_number(seconds, words):
    assert duration_words(seconds) == words


@pytest.mark.parametrize(("mb", "words"), [(12, "12 MB"), (1234, "1.2 GB"), (123_456, "123 GB")])
def test_room_is_one_number(mb, words):
    assert room_words(mb) == words


@pytest.mark.parametrize(
    ("error", "words"),
    [
        ("no such belt A-7\n\nTraceback ...\nValueError: no such belt A-7\n", "ValueError"),
        ("x\n\nTraceback ...\ndjango.db.utils.OperationalError: disk is full", "OperationalError"),
        ("given up after 5 attempts that did not end", "ended without a word"),
        ("", "ended without a word"),
    ],
)
def test_a_fault_is_named_by_its_kind_alone(error, words):
    assert fault_words(error) == words
