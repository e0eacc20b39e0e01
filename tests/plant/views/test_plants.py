"""What a plant sets for itself: its holidays and its unit costs."""

from __future__ import annotations

import datetime as dt

import pytest
from django.forms.models import model_to_dict
from django.urls import reverse

from plant.models import Plant


@pytest.fixture
def sent(alder):
    """The form of the plant as it stands, to be sent with changes."""

    def build(**changes):
        known = model_to_dict(alder) | {"version": alder.version}
        return {name: value for name, value in {**known, **changes}.items() if value is not None}

    return build


def test_a_planner_gives_holidays_and_unit_costs(client, alder, pat, sent):
    client.force_login(pat)
    page = client.get(reverse("plant-settings")).content.decode()
    assert "cost of an hour that a belt stands" in page.lower()
    values = {"holidays": "2026-12-25 Christmas Day", "currency": "EUR", "cost_of_stop_hour": "900"}
    assert client.post(reverse("plant-settings"), sent(**values)).status_code == 302
    kept = Plant.objects.get(pk=alder.pk)
    assert kept.holiday_names == {dt.date(2026, 12, 25): "Christmas Day"}
    assert (kept.currency, kept.cost_of_stop_hour, kept.cost_of_spilled_tonne) == ("EUR", 900.0, None)


def test_a_line_that_is_no_date_is_sent_back(client, alder, pat, sent):
    client.force_login(pat)
    answer = client.post(reverse("plant-settings"), sent(holidays="Christmas"))
    assert answer.status_code == 422
    assert "begin each line with a date such as 2026-12-25" in answer.content.decode()
    assert Plant.objects.get(pk=alder.pk).holidays == ""
