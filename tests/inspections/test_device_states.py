import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from inspections.models import Task
from tests import make

pytestmark = pytest.mark.django_db


def done(at, code, grade, days_ago=10):
    day = timezone.localdate() - dt.timedelta(days=days_ago)
    task = make.task(at, make.check_kind(code), day)
    Task.objects.filter(pk=task.pk).update(
        closed_at=timezone.now() - dt.timedelta(days=days_ago), outcome=Task.Outcome.DONE, grade=grade
    )
    return task


def strip_and_rest(client, belt):
    page = client.get(belt.get_absolute_url()).content.decode()
    return page.split('<div class="strip tall">')[0], page


def test_the_worst_grade_of_a_device_is_on_the_strip_in_colour_and_in_words(client, belt_a1, tess):
    at = make.installation(belt_a1, "11")
    done(at, "sensor-wear", "act", days_ago=90)  # an older finding, since put right
    done(at, "sensor-wear", "watch")
    done(at, "pivot-freedom", "sound")
    client.force_login(tess)
    strip, _page = strip_and_rest(client, belt_a1)
    assert 'class="device watch"' in strip
    assert ">11 watch</text>" in strip
    assert "sensor wear: watch, pivot freedom: sound" in strip.lower()


def test_a_sound_device_is_drawn_in_ink_and_an_unchecked_one_too(client, belt_a1, tess):
    done(make.installation(belt_a1, "1", chainage_m=50.0), "sensor-wear", "sound")
    make.installation(belt_a1, "2", chainage_m=150.0)
    client.force_login(tess)
    strip, _page = strip_and_rest(client, belt_a1)
    assert strip.count('class="device ink"') == 2
    assert 'class="device watch"' not in strip


def test_the_table_of_devices_has_a_column_for_each_check_and_the_next_one(client, belt_a1, tess):
    at, other = make.installation(belt_a1, "1", chainage_m=50.0), make.installation(belt_a1, "2", chainage_m=150.0)
    done(at, "sensor-wear", "act")
    late = make.task(at, make.check_kind("sensor-wear"), timezone.localdate() - dt.timedelta(days=12))
    ahead = make.task(other, make.check_kind("pivot-freedom"), timezone.localdate() + dt.timedelta(days=30))
    client.force_login(tess)
    _strip, page = strip_and_rest(client, belt_a1)
    table = page.split('id="devices"')[1].split("</table>")[0]
    assert table.lower().index("sensor wear</th>") < table.lower().index("pivot freedom</th>")
    assert "5 days late" in table  # the window closed seven days after the due date
    assert late.get_absolute_url() in table
    assert ahead.get_absolute_url() in table
    assert '<span class="mark act">' in table


def test_more_devices_cost_no_more_queries(client, belt_a1, tess):
    client.force_login(tess)

    def n_queries():
        with CaptureQueriesContext(connection) as queries:
            strip_and_rest(client, belt_a1)
        return len(queries)

    first = make.installation(belt_a1, "1", chainage_m=10.0)
    done(first, "sensor-wear", "watch")
    make.task(first, make.check_kind("pivot-freedom"), timezone.localdate())
    n_queries()
    before = n_queries()
    for n in range(2, 8):
        at = make.installation(belt_a1, str(n), chainage_m=20.0 * n)
        done(at, "sensor-wear", "watch")
        make.task(at, make.check_kind("pivot-freedom"), timezone.localdate())
    assert n_queries() == before


def test_the_list_of_conveyors_costs_the_same_however_many_belts_carry_devices(client, belt_a1, tess):
    client.force_login(tess)

    def n_queries():
        with CaptureQueriesContext(connection) as queries:
            client.get(reverse("conveyor-list"))
        return len(queries)

    def carry(belt, number):
        at = make.installation(belt, number)
        done(at, "sensor-wear", "watch")
        make.task(at, make.check_kind("pivot-freedom"), timezone.localdate())
        make.incident(belt, timezone.now() - dt.timedelta(days=9))

    carry(belt_a1, "1")
    n_queries()
    before = n_queries()
    for n in range(2, 9):
        carry(make.conveyor(belt_a1.plant, tag=f"B-{n}"), str(n))
    assert n_queries() == before
