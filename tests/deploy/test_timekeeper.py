"""The timetable under a clock that is set back: what is due soon stays due soon."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
import time_machine
from celery import Celery
from celery.beat import PersistentScheduler
from celery.schedules import crontab

from deploy.celery_app import app as app_of_the_site
from deploy.timekeeper import Timekeeper

START = datetime(2027, 3, 1, 12, 0, tzinfo=UTC)


@pytest.fixture
def app():
    app = Celery("a timetable", set_as_current=False)
    app.conf.update(
        broker_url="memory://",
        timezone="UTC",
        result_expires=None,
        beat_schedule={
            "sweep": {"task": "sweep", "schedule": timedelta(seconds=20)},
            "night": {"task": "night", "schedule": crontab(minute="5,35")},
        },
    )
    return app


def sent_within(keeper, traveller, minutes):
    """What the timetable sends in so many minutes of its clock, in steps of ten seconds."""
    sent = []
    keeper.apply_entry = lambda entry, producer=None: sent.append(entry.name)
    for _n in range(minutes * 6):
        while keeper.tick() == 0:
            pass
        traveller.shift(timedelta(seconds=10))
    return sent


def after_setting_back(kind, app, folder, traveller, *, restarts):
    keeper = kind(app, schedule_filename=str(folder / "timetable"))
    assert set(sent_within(keeper, traveller, 40)) == {"sweep", "night"}
    if restarts:
        keeper.close()
    traveller.move_to(START - timedelta(days=1))
    if restarts:
        keeper = kind(app, schedule_filename=str(folder / "timetable"))
    try:
        return sent_within(keeper, traveller, 40)
    finally:
        keeper.close()


@pytest.mark.parametrize("restarts", [False, True])
def test_a_clock_set_back_by_a_day_silences_nothing(app, tmp_path, restarts):
    with time_machine.travel(START, tick=False) as traveller:
        sent = after_setting_back(Timekeeper, app, tmp_path, traveller, restarts=restarts)
    assert sent.count("sweep") >= 110
    assert 1 <= sent.count("night") <= 2


def test_without_it_nothing_would_be_sent_until_the_old_time_comes_again(app, tmp_path):
    """What is worked round: once this fails, Celery does it by itself and the keeper of time may go."""
    with time_machine.travel(START, tick=False) as traveller:
        sent = after_setting_back(PersistentScheduler, app, tmp_path, traveller, restarts=False)
    assert sent == []


def test_the_site_uses_it():
    assert app_of_the_site.conf.beat_scheduler == "deploy.timekeeper:Timekeeper"
