"""Whether the site is well: each part at its bounds, the worst on top, and "all is well" only where all is.

The bounds are the house's own; there is no standard for them.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from plant.calc.backups import BackupRule
from plant.calc.health import HealthPart, HealthRule, HealthState, SiteFacts, site_health, worst_of
from plant.calc.reasons import Reason

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
ACT, LOOK, FINE = HealthState.ACT, HealthState.LOOK, HealthState.WELL


def line(part, **values):
    [found] = [each for each in site_health(replace(WELL, **values)) if each.part == part]
    return found.state, found.reason.rule


def test_all_parts_of_a_site_that_is_well_are_well():
    lines = site_health(WELL)
    assert [each.part for each in lines] == list(HealthPart)
    assert worst_of(lines) == FINE


@pytest.mark.parametrize(
    ("part", "values", "state", "rule"),
    [
        (HealthPart.DATABASE, {"answer_ms": 1000.0}, FINE, HealthRule.ANSWERS),
        (HealthPart.DATABASE, {"answer_ms": 1000.1}, LOOK, HealthRule.ANSWERS_SLOWLY),
        (HealthPart.VERSION, {"n_steps_missing": 1}, ACT, HealthRule.STEPS_MISSING),
        (HealthPart.DISK, {"disk_free_mb": None}, ACT, HealthRule.FOLDER_GONE),
        (HealthPart.DISK, {"disk_free_mb": 99}, ACT, HealthRule.NO_ROOM),
        (HealthPart.DISK, {"disk_free_mb": 100}, LOOK, HealthRule.ROOM_LOW),
        (HealthPart.DISK, {"disk_free_mb": 1000}, FINE, HealthRule.ROOM),
        (HealthPart.WORKER, {"worker_s": None, "n_workers": 0}, ACT, HealthRule.WORKER_NEVER),
        (HealthPart.WORKER, {"worker_s": 121, "n_workers": 0}, ACT, HealthRule.WORKER_SILENT),
        (HealthPart.WORKER, {"worker_s": 120}, FINE, HealthRule.WORKER_ALIVE),
        (HealthPart.WORKER, {"n_workers": 3}, FINE, HealthRule.WORKERS_ALIVE),
        (HealthPart.TIMETABLE, {"tick_s": None}, ACT, HealthRule.NEVER_TICKED),
        (HealthPart.TIMETABLE, {"tick_s": 121, "sweep_every_s": 20}, ACT, HealthRule.TICKS_NO_MORE),
        (HealthPart.TIMETABLE, {"tick_s": 121, "sweep_every_s": 600}, FINE, HealthRule.TICKS),
        (HealthPart.PAGES, {}, FINE, HealthRule.NONE_TURNED_AWAY),
        (HealthPart.PAGES, {"n_turned_away": 3, "turned_away_s": 86_400}, LOOK, HealthRule.TURNED_AWAY),
        (HealthPart.PAGES, {"n_turned_away": 3, "turned_away_s": 86_401}, FINE, HealthRule.TURNED_AWAY_BEFORE),
        (HealthPart.QUEUE, {}, FINE, HealthRule.NOTHING_WAITS),
        (HealthPart.QUEUE, {"n_running": 1}, FINE, HealthRule.NONE_WAITS_BUT_RUNS),
        (HealthPart.QUEUE, {"n_waiting": 2, "oldest_s": 600}, FINE, HealthRule.WAITING),
        (HealthPart.QUEUE, {"n_waiting": 2, "oldest_s": 601}, LOOK, HealthRule.WAITS_LONG),
        (HealthPart.QUEUE, {"n_waiting": 2, "oldest_s": 3601}, ACT, HealthRule.WAITS_LONG),
        (HealthPart.FAILED, {"n_failed": 1}, LOOK, HealthRule.ONE_FAILED),
        (HealthPart.FAILED, {"n_failed": 2}, LOOK, HealthRule.SOME_FAILED),
        (HealthPart.BACKUP, {"backup_s": 129_600}, FINE, HealthRule.BACKUP_MADE),
        (HealthPart.BACKUP, {"is_backup_beside": True}, FINE, HealthRule.BACKUP_MADE_BESIDE),
        (HealthPart.BACKUP, {"backup_s": 129_601}, ACT, HealthRule.BACKUP_OLD),
        (HealthPart.BACKUP, {"backup_fault": Reason(BackupRule.NO_BOOK)}, ACT, HealthRule.BACKUP_FAILED),
        (HealthPart.BACKUP, {"backup_s": None}, LOOK, HealthRule.NO_BACKUP_YET),
        (HealthPart.BACKUP, {"backup_s": None, "is_backup_nightly": False}, ACT, HealthRule.NO_BACKUP),
        (HealthPart.BACKUP_LOOK, {}, FINE, HealthRule.NOT_LOOKED_YET),
        (HealthPart.BACKUP_LOOK, {"looked_s": 129_600, "n_looked": 2}, FINE, HealthRule.STILL_WHOLE),
        (HealthPart.BACKUP_LOOK, {"looked_s": 129_601, "n_looked": 2}, LOOK, HealthRule.LOOKED_LONG_AGO),
        (
            HealthPart.BACKUP_LOOK,
            {"looked_s": 60, "look_fault": Reason(BackupRule.MEMBER_CHANGED)},
            ACT,
            HealthRule.NOT_WHOLE,
        ),
        (HealthPart.MAIL, {"has_mail_server": True}, FINE, HealthRule.MAIL_NEVER_SENT),
        (HealthPart.MAIL, {"has_mail_server": True, "sent_s": 60}, FINE, HealthRule.MAIL_SENT),
        (HealthPart.MAIL, {"has_mail_server": True, "sent_s": 60, "refused_s": 90}, FINE, HealthRule.MAIL_SENT),
        (HealthPart.MAIL, {"has_mail_server": True, "sent_s": 60, "refused_s": 30}, ACT, HealthRule.MAIL_REFUSED),
        (HealthPart.MAIL, {"has_mail_server": True, "refused_s": 90_000}, LOOK, HealthRule.MAIL_REFUSED),
        (HealthPart.KEPT, {"n_kept": 0}, FINE, HealthRule.NONE_KEPT),
        (HealthPart.KEPT, {"n_behind": 2, "kept_idle_s": 900}, FINE, HealthRule.KEPT_BEING_MADE),
        (HealthPart.KEPT, {"n_behind": 2, "kept_idle_s": 901}, LOOK, HealthRule.KEPT_BEHIND),
        (HealthPart.SIGN_INS, {"n_slowed": 1}, LOOK, HealthRule.ONE_SLOWED),
        (HealthPart.SIGN_INS, {"n_slowed": 4}, LOOK, HealthRule.SOME_SLOWED),
        (HealthPart.CLEARING, {}, FINE, HealthRule.NOTHING_CLEARED_YET),
        (HealthPart.CLEARING, {"cleared_s": 129_600}, FINE, HealthRule.CLEARED),
        (HealthPart.CLEARING, {"cleared_s": 129_601}, LOOK, HealthRule.CLEARED_LONG_AGO),
        (HealthPart.CLEARING, {"cleared_s": 60, "n_not_cleared": 1}, LOOK, HealthRule.NOT_ALL_CLEARED),
    ],
)
def test_each_part_at_its_bounds(part, values, state, rule):
    assert line(part, **values) == (state, rule)
    assert worst_of(site_health(replace(WELL, **values))) == state


def test_the_worst_stands_on_top():
    lines = site_health(replace(WELL, n_failed=1, tick_s=None, n_slowed=2))
    assert [each.part for each in lines[:3]] == [HealthPart.TIMETABLE, HealthPart.FAILED, HealthPart.SIGN_INS]
