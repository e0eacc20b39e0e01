"""A check that two visits closed: every list shows the worse finding, and that it is still to be decided."""

from __future__ import annotations

import datetime as dt
import re

import pytest
from django.urls import reverse
from django.utils import timezone

from inspections.models import Task, TwiceClosed
from inspections.services.actions import NewAction
from inspections.services.twice_closed import say_which_counts
from inspections.services.visits import PhoneClock, StopReport, close_out_visit
from tests import make

WORDS = "closed twice, to be decided"


@pytest.fixture
def place(belt_a1):
    return make.installation(belt_a1)


@pytest.fixture
def clash(place, tess, pat):
    """Pat's visit answered the plan and the watch; tess's phone had the watch's alone and found the roller worn."""
    kind = make.check_kind("sensor-wear")
    plan = make.task(place, kind, make.today())
    watch = make.task(place, kind, make.today(), origin=Task.Origin.RATE_WATCH)
    now = timezone.now()
    known = {"installation": place, "visited_at": now, "lockout_confirmed": True}
    close_out_visit(StopReport(by=pat, entries={plan.pk: {"drive_diameter": {"as_found": 75.0}}}, **known))
    close_out_visit(
        StopReport(
            by=tess,
            entries={watch.pk: {"drive_diameter": {"as_found": 67.5}}},
            phone=PhoneClock(now, now),
            action=NewAction("Change the rollers", make.today() - dt.timedelta(days=1), owner=tess),
            **known,
        )
    )
    make.task(place, kind, make.today())  # the next one is due already
    return TwiceClosed.objects.get()


PAGES = {
    "planner": ("pat", lambda place: "/"),
    "technician": ("tess", lambda place: "/"),
    "engineer": ("erin", lambda place: "/"),
    "due": ("pat", lambda place: reverse("task-list")),
    "closed": ("pat", lambda place: reverse("task-list") + "?state=closed"),
    "findings": ("pat", lambda place: reverse("reading-list") + "?grade=act"),
    "actions": ("pat", lambda place: reverse("action-list")),
    "device": ("erin", lambda place: place.get_absolute_url()),
    "conveyor": ("erin", lambda place: place.conveyor.get_absolute_url()),
}


@pytest.mark.parametrize("name", PAGES)
def test_the_worse_finding_is_on_every_list_until_it_is_decided(client, place, clash, request, name):
    who, address = PAGES[name]
    client.force_login(request.getfixturevalue(who))
    page = client.get(address(place))
    assert page.status_code == 200
    words = page.content.decode()
    assert WORDS in words
    assert ">act<" in words or "Change the rollers" in words
    say_which_counts(clash, by=request.getfixturevalue("pat"), version=1, counts="first")
    assert WORDS not in client.get(address(place)).content.decode()


def test_once_decided_no_page_says_that_the_worse_grade_stands(client, clash, pat):
    client.force_login(pat)
    address = clash.second.get_absolute_url()
    assert "the worse grade stands" in client.get(address).text
    say_which_counts(clash, by=pat, version=1, counts="first")
    page = client.get(address).text
    assert "the worse grade stands" not in page
    assert "What counts: the first" in page.lower().replace("what", "What")


def test_the_planners_list_leads_to_both_visits(client, place, clash, pat):
    client.force_login(pat)
    words = client.get("/").content.decode()
    assert "1 check was closed twice, to be decided" in words
    assert clash.get_absolute_url() in words
    sides = client.get(clash.get_absolute_url()).context["sides"]
    assert [side["visit"] for side in sides] == [clash.first, clash.second]
    assert all(side["lines"] for side in sides)


@pytest.mark.parametrize("name", ["planner", "due", "closed", "findings", "actions"])
def test_on_a_phone_the_mark_stands_in_the_cell_beside_its_label(client, place, clash, request, name):
    """A cell is laid out there as label and one further piece; a second piece would slip under the label."""
    who, address = PAGES[name]
    client.force_login(request.getfixturevalue(who))
    page = client.get(address(place)).content.decode()
    cells = [cell.strip() for cell in re.findall(r"<td[^>]*>(.*?)</td>", page, re.DOTALL) if WORDS in cell]
    assert cells
    for cell in cells:
        assert cell.startswith("<div>"), cell
        assert cell.endswith("</div>"), cell
