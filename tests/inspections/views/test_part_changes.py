"""A part change from its page to the trend, the bedding-in check and the finding that it answered."""

from __future__ import annotations

import datetime as dt

import pytest
import time_machine

from inspections.calc.wear import Since
from inspections.models import Action, Task
from inspections.selectors.wear import wear_of
from inspections.services.tasks import plan_tasks
from tests import make
from tests.inspections.selectors.test_wear import INSTALLED, NOW, measure, on

TODAY = NOW.date()


@pytest.fixture
def worn(belt_a1):
    """A device on a belt that ran 12 h a day; its drive side lost 0.5 mm a month, rollers new 76, limit 68 mm."""
    days = (NOW - INSTALLED).days + 60
    make.run_record(belt_a1, INSTALLED, INSTALLED + dt.timedelta(days=days), 12.0 * days)
    device = make.installation(belt_a1, "20", installed_at=INSTALLED)
    for month, value in enumerate((75.9, 75.4, 74.9, 74.4, 73.9), start=1):
        measure(device, on(month), value, 76.0)
    return device


def test_new_rollers_restart_trend_and_bedding_in(client, pat, tess, alder, worn, django_capture_on_commit_callbacks):
    make.check_plan(
        worn.device.device_model, make.check_kind(), interval_days=300, bedding_in_days=14, created_at=INSTALLED
    )
    with time_machine.travel(NOW, tick=False):
        plan_tasks(alder, TODAY)
        assert [task.origin for task in Task.objects.open()] == [Task.Origin.PLAN]
        before = wear_of([worn])[worn.pk].sides[0]
        assert (len(before.points), before.since_what) == (5, Since.INSTALLATION)
        assert before.limit_on is not None

        client.force_login(tess)
        given = {"part": "sensor_rollers", "side": "", "why": "worn", "changed_at": "2026-06-01T10:00"}
        with django_capture_on_commit_callbacks(execute=True):
            assert client.post(f"/installations/{worn.pk}/parts/new/", given).status_code == 302

        bedding = Task.objects.open().get(origin=Task.Origin.BEDDING_IN)
        assert bedding.due_on == TODAY + dt.timedelta(days=14)
        # The old rollers' line says nothing of the new ones: no reading, no side, no date.
        assert wear_of([worn])[worn.pk].sides == ()
        page = client.get(worn.get_absolute_url()).content.decode()
        assert "since the installation" not in page

    later = NOW + dt.timedelta(days=15)
    with time_machine.travel(later, tick=False):
        measure(worn, NOW + dt.timedelta(days=14), 75.8, 75.8)
        after = wear_of([worn])[worn.pk].sides[0]
        assert ([each.diameter_mm for each in after.points], after.since_what) == ([75.8], Since.PART_CHANGE)
        # The check was done by another task, so nobody is sent for the bedding-in a second time.
        plan_tasks(alder, later.date())
        assert not Task.objects.open().filter(origin=Task.Origin.BEDDING_IN).exists()


def test_state_of_an_action_is_read_from_its_dates(client, pat, worn):
    client.force_login(pat)
    with time_machine.travel(NOW, tick=False):
        given = {"title": "Rollers", "due_on": "2026-06-03", "check_kind": make.check_kind().pk}
        assert client.post(f"/installations/{worn.pk}/actions/create/", given).status_code == 302
        action = Action.objects.get()
        assert (action.visit, action.check_kind) == (None, make.check_kind())
        assert "Open, due 3 Jun 2026" in client.get(action.get_absolute_url()).content.decode()
        assert len(client.get("/actions/?state=late").context["table"].rows) == 0
    with time_machine.travel(NOW + dt.timedelta(days=5), tick=False):
        assert "3 days late" in client.get(action.get_absolute_url()).content.decode().lower()
        assert len(client.get("/actions/?state=late").context["table"].rows) == 1
