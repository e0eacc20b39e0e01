"""Times as the plant's clocks show them. Summer time ends on the last Sunday of October at 01:00 UTC (Directive
2000/84/EC): in Berlin the hour from 02:00 comes twice on 25 October 2026, and on 29 March 2026 it is skipped.
"""

from __future__ import annotations

import datetime as dt
import uuid
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django import forms
from django.urls import reverse
from django.utils import timezone

from plant.forms.moments import MomentField
from plant.models import Incident

UTC = dt.UTC


@pytest.mark.parametrize(
    ("now", "taken"),
    [
        ("2026-10-25 00:41", "2026-10-25 00:40"),  # in the first of the two hours
        ("2026-10-25 01:41", "2026-10-25 01:40"),  # in the second
        ("2026-10-25 06:00", "2026-10-25 01:40"),  # written down in the morning
        ("2026-10-01 06:00", "2026-10-25 00:40"),  # both lie ahead
    ],
)
def test_a_time_that_comes_twice_is_the_later_one_unless_it_lies_ahead(now, taken):
    with (
        time_machine.travel(dt.datetime.fromisoformat(now).replace(tzinfo=UTC), tick=False),
        timezone.override(ZoneInfo("Europe/Berlin")),
    ):
        assert MomentField().clean("2026-10-25T02:40") == dt.datetime.fromisoformat(taken).replace(tzinfo=UTC)


def test_other_times_are_read_in_the_plants_clock():
    with timezone.override(ZoneInfo("Europe/Berlin")):
        assert MomentField().clean("2026-07-01T12:00") == dt.datetime(2026, 7, 1, 10, tzinfo=UTC)
        assert MomentField(required=False).clean("") is None


@pytest.mark.parametrize("text", ["2026-03-29T02:30", "yesterday"])
def test_a_time_that_no_clock_showed_is_refused(text):
    with timezone.override(ZoneInfo("Europe/Berlin")), pytest.raises(forms.ValidationError):
        MomentField().clean(text)


@pytest.mark.django_db
def test_an_incident_is_recorded_in_the_night_on_which_the_clock_is_put_back(client, tess, belt_a1):
    client.force_login(tess)
    form = {
        "conveyor": belt_a1.pk, "happened_at": "2026-10-25T02:40", "severity": "drift", "suspected_cause": "unknown",
        "source": "person", "client_key": str(uuid.uuid4()),
    }  # fmt: skip
    with time_machine.travel(dt.datetime(2026, 10, 25, 1, 45, tzinfo=UTC), tick=False):
        client.force_login(tess)
        assert client.post(reverse("incident-create"), form).status_code == 302
    assert Incident.objects.get().happened_at == dt.datetime(2026, 10, 25, 1, 40, tzinfo=UTC)
