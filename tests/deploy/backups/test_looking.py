"""Backups that lie about are read again: each in turn, and what became of one is said."""

from __future__ import annotations

import dataclasses
import datetime as dt
import logging
from pathlib import Path

import pytest

from deploy.backups import looking, making
from deploy.backups.looking import look_again_if_due
from deploy.backups.making import back_up
from plant.calc.backups import BackupOccasion, BackupRule, to_be_looked_over
from plant.calc.health import HealthPart, HealthRule, site_health
from plant.selectors.backups import backups_in, last_looks
from plant.selectors.health import site_facts
from plant.words.health import line_shown
from tests.deploy.backups.sites import site_in

NIGHT = dt.datetime(2026, 11, 25, 4, 55, tzinfo=dt.UTC)
DAY, HOUR = dt.timedelta(days=1), dt.timedelta(hours=1)


@pytest.fixture
def site(tmp_path, settings, monkeypatch):
    """With four backups, the newest of that night."""
    site = site_in(tmp_path)
    settings.DATA_DIR, settings.BACKUP_FOLDER = site.data, site.folder
    monkeypatch.setattr(
        looking, "site_of_settings", lambda: dataclasses.replace(site, folder=Path(settings.BACKUP_FOLDER))
    )
    for n in range(4):
        back_up(site, occasion=BackupOccasion.NIGHT, now=NIGHT - n * DAY - 2 * HOUR)
    return site


def damage(path):
    """One bit, in the middle of a member."""
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 1
    path.write_bytes(content)


def line_of(now):
    [line] = [each for each in site_health(site_facts(now)) if each.part == HealthPart.BACKUP_LOOK]
    return line


@pytest.mark.parametrize("n", range(6))
def test_each_has_its_turn_before_one_comes_again(n):
    at_hand = list(range(n))
    days = [to_be_looked_over(at_hand, dt.date(2026, 12, 20) + dt.timedelta(day)) for day in range(max(n - 1, 0))]
    assert all(each[0] == 0 for each in days)
    assert sorted(older for each in days for older in each[1:]) == at_hand[1:]


def test_it_is_done_once_a_night_and_none_is_left_out(site, db):
    at_hand = [each.path.name for each in backups_in(site.folder)]
    looked = [[look.name for look in look_again_if_due(NIGHT + n * HOUR) or ()] for n in range(0, 72, 6)]
    nights = [names for names in looked if names]
    assert len(nights) == 3
    assert all(names[0] == at_hand[0] for names in nights)
    assert sorted(names[1] for names in nights) == sorted(at_hand[1:])
    assert not any(look.fault for look in last_looks())
    assert line_of(NIGHT + 60 * HOUR).reason.rule == HealthRule.STILL_WHOLE
    assert "of those at hand: 4" in line_shown(line_of(NIGHT + 60 * HOUR)).words


def test_one_that_changed_is_named_until_it_is_gone(site, db, caplog):
    spoilt = backups_in(site.folder)[0].path
    damage(spoilt)
    with caplog.at_level(logging.ERROR):
        first, second = look_again_if_due(NIGHT)
    assert first.fault.rule == BackupRule.MEMBER_CHANGED
    assert second.fault is None
    assert spoilt.name in caplog.text
    shown = line_shown(line_of(NIGHT + HOUR))
    assert "not as it was written" in shown.words
    assert f"{spoilt} is damaged" in shown.remedy
    spoilt.unlink()
    assert line_of(NIGHT + HOUR).reason.rule == HealthRule.STILL_WHOLE


def test_one_that_is_thinned_out_in_the_meantime_is_passed_over(site, db, monkeypatch):
    real = looking.look_over

    def gone(path, beside):
        path.unlink()
        return real(path, beside)

    monkeypatch.setattr(looking, "look_over", gone)
    assert look_again_if_due(NIGHT) == []


def test_where_there_is_none_nothing_is_looked_at(site, db):
    for each in backups_in(site.folder):
        each.path.unlink()
    assert look_again_if_due(NIGHT) == []
    assert line_of(NIGHT).reason.rule == HealthRule.NOT_LOOKED_YET


def test_a_disk_without_room_for_it_is_said_and_is_no_damage(site, db, monkeypatch):
    def full(*args, **kwargs):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(making, "look_over_book", full)
    assert {look.fault.rule for look in look_again_if_due(NIGHT)} == {BackupRule.DISK_FULL}
    assert not list(site.folder.glob(".unfinished*"))
