import datetime as dt
import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from inspections.models import Task
from inspections.services.visits import StopReport, close_out_visit
from reports.panels import at_act
from tests import make

pytestmark = pytest.mark.django_db


def done(at, code, grade, days_ago=10):
    day = make.today() - dt.timedelta(days=days_ago)
    task = make.task(at, make.check_kind(code), day)
    Task.objects.filter(pk=task.pk).update(
        closed_at=timezone.now() - dt.timedelta(days=days_ago), outcome=Task.Outcome.DONE, grade=grade
    )
    return task


def strip_and_rest(client, belt):
    # A template stands one tag a line; the drawing takes the breaks for nothing.
    page = re.sub(r">\s+|\s+<", lambda gap: gap.group().strip(), client.get(belt.get_absolute_url()).content.decode())
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
    late = make.task(at, make.check_kind("sensor-wear"), make.today() - dt.timedelta(days=12))
    ahead = make.task(other, make.check_kind("pivot-freedom"), make.today() + dt.timedelta(days=30))
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
    make.task(first, make.check_kind("pivot-freedom"), make.today())
    n_queries()
    before = n_queries()
    for n in range(2, 8):
        at = make.installation(belt_a1, str(n), chainage_m=20.0 * n)
        done(at, "sensor-wear", "watch")
        make.task(at, make.check_kind("pivot-freedom"), make.today())
    n_queries()  # a new device makes the site gather the stretches without one anew, once
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
        make.task(at, make.check_kind("pivot-freedom"), make.today())
        make.incident(belt, timezone.now() - dt.timedelta(days=9))

    carry(belt_a1, "1")
    n_queries()
    before = n_queries()
    for n in range(2, 9):
        carry(make.conveyor(belt_a1.plant, tag=f"B-{n}"), str(n))
    assert n_queries() == before


@pytest.fixture
def round_of(client, belt_a1, tess):
    """Closes out one check of sensor wear with these diameters (as found, as left) of drive and off side."""

    def close(drive, off):
        at = make.installation(belt_a1, "1", chainage_m=50.0)
        task = make.task(at, make.check_kind("sensor-wear"), make.today())
        entries = {}
        for side, (found, left) in (("drive", drive), ("off", off)):
            entries[f"{side}_diameter"] = {"as_found": found} | ({"as_left": left} if left else {})
        close_out_visit(
            StopReport(
                installation=at,
                by=tess,
                entries={task.pk: entries},
                visited_at=timezone.now() - dt.timedelta(hours=2),
                lockout_confirmed=True,
                no_action_reason="see the readings as left",
            )
        )
        task.refresh_from_db()
        make.task(at, task.check_kind, make.today())
        client.force_login(tess)
        return task

    return close


# New 76 mm, limit 68 mm: 69.5 mm is 81 % of the permitted wear and so act, 70 mm is 75 % and so watch.
@pytest.mark.parametrize(
    ("drive", "off", "is_changed"),
    [
        ((69.5, 76.0), (71.0, 76.0), True),
        ((69.5, 76.0), (75.0, None), True),  # the sound one stayed
        ((69.5, 76.0), (71.0, None), False),  # a worn one stayed
        ((69.5, 70.0), (71.0, 70.0), False),  # changed for worn ones
        ((69.5, None), (71.0, None), False),
    ],
)
def test_rollers_that_were_changed_at_the_visit_are_no_finding_any_more(
    client, belt_a1, round_of, alder, drive, off, is_changed
):
    task = round_of(drive, off)
    assert task.grade == "act"  # as found, it stays in the book
    strip, page = strip_and_rest(client, belt_a1)
    table = page.split('id="devices"')[1].split("</table>")[0]
    assert ('class="device ink"' in strip) is is_changed
    assert ('class="device act"' in strip) is not is_changed
    assert ("rollers changed" in strip) is is_changed
    assert ("rollers changed" in table) is is_changed
    assert '<span class="mark act">' in table
    assert ("a pair of sensor rollers for" in client.get("/").content.decode()) is not is_changed
    assert [at.pk for at, _states in at_act(alder)] == ([] if is_changed else [task.installation_id])
