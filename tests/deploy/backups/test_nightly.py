"""The backup of the night: once, by itself, again where it failed."""

from __future__ import annotations

import dataclasses
import datetime as dt
import logging
from pathlib import Path

import pytest

from deploy.backups import nightly
from deploy.backups.nightly import back_up_if_due
from plant.calc.backups import BackupOccasion, BackupRule
from plant.selectors.backups import last_backups
from tests.deploy.backups.sites import site_in

NIGHT = dt.datetime(2026, 11, 25, 2, 25, tzinfo=dt.UTC)
HOUR = dt.timedelta(hours=1)


@pytest.fixture
def site(tmp_path, settings, monkeypatch):
    site = site_in(tmp_path)
    settings.DATA_DIR, settings.BACKUP_FOLDER, settings.BACKUP_NIGHTLY = site.data, site.folder, True
    # The data base of the test run is in memory.
    monkeypatch.setattr(
        nightly, "site_of_settings", lambda: dataclasses.replace(site, folder=Path(settings.BACKUP_FOLDER))
    )
    return site


def test_it_is_made_once_a_night_however_often_it_is_asked_for(site):
    made = [back_up_if_due(NIGHT + n * HOUR) for n in range(-1, 30)]
    assert [each.at for each in made if each] == [NIGHT - HOUR, NIGHT, NIGHT + 24 * HOUR]
    assert {each.occasion for each in last_backups().outcomes} == {BackupOccasion.NIGHT}


def test_one_that_failed_is_tried_again_and_the_log_says_why(site, settings, caplog):
    settings.BACKUP_FOLDER = site.data.parent / "disk"
    with caplog.at_level(logging.ERROR):
        assert back_up_if_due(NIGHT) is None
    assert "is not there. Is its disk connected?" in caplog.text
    settings.BACKUP_FOLDER.mkdir()
    assert back_up_if_due(NIGHT + HOUR).is_good
    good, failed = last_backups().outcomes
    assert good.is_good
    assert failed.fault.rule == BackupRule.FOLDER_MISSING


def test_one_that_was_carried_away_is_made_anew(site):
    made = back_up_if_due(NIGHT)
    (site.folder / made.path).unlink()
    assert back_up_if_due(NIGHT + HOUR).is_good


def test_where_it_is_switched_off_none_is_made(site, settings):
    settings.BACKUP_NIGHTLY = False
    assert back_up_if_due(NIGHT) is None
    assert last_backups().outcomes == ()
