"""When a check falls due by what the book knows of its belt."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from inspections.calc.due_dates import recent_daily_hours
from inspections.selectors.due_dates import BeltHours, forecast
from plant.models import Conveyor
from tests import make

TODAY = dt.date(2026, 3, 20)


@pytest.fixture
def device(belt_a1):
    return make.installation(belt_a1, "1")


def test_belts_that_run_long_days_are_told_by_the_hours_in_the_book(device):
    plan = make.check_plan(
        device.device.device_model, make.check_kind(), interval_days=90, long_day_h=16, long_day_pct=60
    )

    def hours(per_day):
        by_day = np.full(42, per_day)
        return BeltHours(TODAY - dt.timedelta(days=42), by_day, recent_daily_hours(by_day), ())

    known = {"last_done_on": TODAY, "today": TODAY}
    assert forecast(plan, device.conveyor, hours=hours(15.9), **known).due_on == TODAY + dt.timedelta(days=90)
    long = forecast(plan, device.conveyor, hours=hours(16.0), **known)
    assert (long.due_on, long.shortened_by) == (TODAY + dt.timedelta(days=54), ("long_day",))
    assert forecast(plan, device.conveyor, hours=None, **known).due_on == TODAY + dt.timedelta(days=90)


def test_the_bedding_in_check_is_not_shortened(device):
    plan = make.check_plan(
        device.device.device_model, make.check_kind(), interval_days=90, bedding_in_days=14, duty_pct=50
    )
    device.conveyor.duty = Conveyor.Duty.WET_ABRASIVE
    due = forecast(plan, device.conveyor, last_done_on=TODAY, today=TODAY, hours=None, is_bedding_in=True)
    assert due.due_on == TODAY + dt.timedelta(days=14)
