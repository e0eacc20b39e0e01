"""The load: people of each role do their errands on a site, what fails is counted, and times come page by page."""

from __future__ import annotations

import io
import re

import numpy as np
import pytest
from django.core.management import CommandError, call_command

from deploy.bench.errands import ERRANDS, SHARES, crowd_of
from deploy.bench.load import Crowd, Errand, Measured, Step, report_of, run, times_of
from fixtures.people import DEMO_PASSWORD, PEOPLE
from plant.models import Incident, Person
from plant.permissions import ROLES
from tests import make
from tests.servers import GIVE_UP_AFTER_S


def test_times_of_a_page():
    """Of 1 to 21 the 95th percentile is the 20th: rank 0.95 (n - 1), as numpy.percentile reckons it too."""
    assert np.percentile(range(1, 22), 95) == pytest.approx(20.0)
    line = times_of("page", [float(n) for n in range(21, 0, -1)])
    assert (line.n, line.median, line.p95, line.longest) == (21, 11.0, 20.0, 21.0)
    assert times_of("page", [3.0]).p95 == 3.0


def test_the_report_begins_with_the_slowest_page_and_ends_with_all():
    measured = Measured()
    for name, seconds in (("quick", 1.0), ("slow", 5.0), ("quick", 2.0)):
        measured.took(name, seconds)
    lines = report_of(measured)
    assert [(line.name, line.n) for line in lines] == [("slow", 1), ("quick", 2), ("all pages", 3)]
    assert report_of(Measured()) == []


def test_everybody_is_of_a_role_that_has_errands():
    assert set(ERRANDS) == set(SHARES) == set(ROLES)
    for n in (1, 4, 50, 200):
        people = crowd_of(n, {role: [role] for role in ROLES})
        assert len(people) == n
    assert {role for _name, role in people} == set(ROLES)
    assert sum(role == "technician" for _name, role in crowd_of(50, {role: [role] for role in ROLES})) == 26


@pytest.fixture
def plant_at_work(transactional_db):
    """A plant with the sign-ins of the demo, a belt with a device, a plan and a check."""
    make.built_in_check_kinds()
    plant = make.plant(name="Alder Pit")
    for name, role, _units in PEOPLE:
        person = make.person(name, plant, role)
        person.set_password(DEMO_PASSWORD)
        person.save()
    belt = make.conveyor(plant)
    place = make.installation(belt, "1")
    kind = make.check_kind()
    plan = make.check_plan(place.device.device_model, kind)
    make.task(place, kind, make.today(), check_plan=plan)
    return plant


def load(live_server, **given):
    out = io.StringIO()
    try:
        call_command("benchmark_load", address=live_server.url, think=(0.0, 0.0), minutes=10.0, stdout=out, **given)
    finally:
        print(out.getvalue())
    return out.getvalue()


@pytest.mark.parametrize(("name", "role"), [each[:2] for each in PEOPLE if not each[0].endswith(("-2", "-3"))])
def test_each_does_all_errands_without_an_error(live_server, plant_at_work, name, role):
    """One after the other: a book in memory has one connection for all."""
    for errand in ERRANDS[role]:
        crowd = Crowd(live_server.url, [(name, role)], DEMO_PASSWORD, {role: [errand]}, (0.0, 0.0))
        measured, signing = run(crowd, for_s=GIVE_UP_AFTER_S, most_errands=1)
        assert signing.faults == measured.faults == []
        assert set(signing.seconds) == {"sign-in page", "signing in"}
        # A link that is on no page ends an errand early; what has an address is opened.
        assert {step.name for step in errand.steps if step.path} <= set(measured.seconds)
    if role == "technician":
        assert Incident.objects.get().chainage_m == 40.0


def test_the_report_has_a_line_a_page(live_server, plant_at_work):
    told = load(live_server, people=1, errands=6)
    assert "1 of 1 people have signed in." in told
    assert told.rstrip().endswith("0 errors")
    pages = {line[:36].strip(): int(line[36:43]) for line in told.splitlines() if re.search(r"\d\.\d\ds$", line)}
    before = {"signing in", "sign-in page"}
    assert {name: pages[name] for name in before} == dict.fromkeys(before, 1)
    assert pages["start, technician"] == 6
    assert pages["all pages"] == sum(n for name, n in pages.items() if name not in {"all pages", *before})


def test_a_page_that_fails_is_counted_and_said(live_server, plant_at_work, monkeypatch):
    broken = Errand([Step("nothing", "/nothing/"), Step("never", "/")])
    monkeypatch.setitem(ERRANDS, "technician", [broken])
    with pytest.raises(CommandError, match="Pages failed"):
        load(live_server, people=1, errands=2)


def test_who_is_not_let_in_is_said(live_server, plant_at_work, capsys):
    person = Person.objects.get(username="technician-1")
    person.set_password("another one")
    person.save()
    with pytest.raises(CommandError, match="Pages failed"):
        load(live_server, people=1, errands=1)
    assert "signing in: technician-1 is not let in" in capsys.readouterr().out


def test_a_crowd_of_nobody_is_refused(db):
    with pytest.raises(CommandError, match="Give at least one person"):
        call_command("benchmark_load", people=0)
