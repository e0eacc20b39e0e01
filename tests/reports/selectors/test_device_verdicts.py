import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from tests import make

pytestmark = pytest.mark.django_db


def fit(belt, number, chainage_m):
    return make.installation(belt, number, chainage_m=chainage_m, installed_at=timezone.now() - dt.timedelta(days=300))


def devices_table(client, belt):
    page = client.get(belt.get_absolute_url()).content.decode()
    return page.split('id="devices"')[1].split("</table>")[0]


def test_each_device_of_a_belt_has_its_verdict_and_a_way_to_the_comparison(client, belt_a1, erin):
    now = timezone.now()
    make.run_record(belt_a1, now - dt.timedelta(days=700), now - dt.timedelta(days=1), 12_000)
    make.drift_switch(belt_a1, 80)
    device = fit(belt_a1, "1", 100.0)
    for n in range(30):
        make.incident(belt_a1, now - dt.timedelta(days=310 + 10 * n), chainage_m=80.0)
    make.incident(belt_a1, now - dt.timedelta(days=50), chainage_m=80.0)
    client.force_login(erin)
    table = devices_table(client, belt_a1)
    assert "Effect</th>" in table
    assert "fewer incidents" in table
    assert reverse("effect-detail", args=[device.pk]) in table


def test_devices_judged_as_one_share_their_verdict_and_more_of_them_cost_no_more_queries(client, belt_a1, erin):
    client.force_login(erin)
    fit(belt_a1, "1", 100.0)

    def n_queries():
        with CaptureQueriesContext(connection) as queries:
            devices_table(client, belt_a1)
        return len(queries)

    n_queries()
    before = n_queries()
    fit(belt_a1, "2", 110.0)
    fit(belt_a1, "3", 190.0)
    n_queries()  # the plant's reference stretches are gathered once after a new row
    assert n_queries() == before
    assert devices_table(client, belt_a1).count("cannot be judged") == 3
