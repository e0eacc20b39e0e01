import datetime as dt

import pytest
import time_machine
from django.template import Context, Template

from plant.calc.units import UnitSystem
from plant.selectors.history import lines_of
from plant.services.records import change_record, correct_entry
from plant.words.history import lines_told
from tests import make

pytestmark = pytest.mark.django_db
WHEN = dt.datetime(2026, 11, 2, 6, 30, tzinfo=dt.UTC)


def told(row, system=UnitSystem.METRIC, related=()):
    return lines_told(lines_of(row, related), system)


def test_a_change_tells_who_and_what_stood_there_before_in_the_readers_units(belt_a1, erin):
    change_record(belt_a1, by=erin, version=1, reason="measured", belt_width_mm=1000.0, duty="wet_abrasive")
    newest, first = told(belt_a1, UnitSystem.US)
    assert (newest.who, newest.what, newest.reason) == ("erin", "changed", "measured")
    assert [(each.label, each.before, each.after) for each in newest.changes] == [
        ("Belt width", "47 1/4 in", "39 3/8 in"),
        ("Duty", "ordinary", "wet or abrasive"),
    ]
    assert first.what == "entered"


def test_a_foreign_key_is_shown_by_its_name(belt_a1, erin):
    change_record(belt_a1, by=erin, version=1, area=make.area(belt_a1.plant, "B", "Screening"))
    change = told(belt_a1)[0].changes[0]
    assert (change.before, change.after) == ("A Crushing", "B Screening")


def test_rows_that_hang_on_the_row_are_told_too(belt_a1):
    make.drift_switch(belt_a1, 30)
    assert "Parts of the conveyor: drift switch: entered" in [line.what for line in told(belt_a1, related=["parts"])]


def test_rows_that_were_entered_in_one_go_are_one_line_and_changes_stay_apart(belt_a1, erin):
    with time_machine.travel(WHEN, tick=False):
        switches = [make.drift_switch(belt_a1, 10.0 * n) for n in range(8)]
    with time_machine.travel(WHEN + dt.timedelta(hours=1), tick=False):
        for switch in switches[:2]:
            change_record(switch, by=erin, version=1, label=f"DS-{switch.chainage_m:g}")
    acts = [line.what for line in told(belt_a1, related=["parts"]) if line.what.startswith("Parts")]
    six = ", ".join(["drift switch"] * 6)  # as they were called then
    assert sorted(acts) == sorted(
        [
            f"Parts of the conveyor: {six} and 2 more: entered",
            "Parts of the conveyor: drift switch DS-0: changed",
            "Parts of the conveyor: drift switch DS-10: changed",
        ]
    )


def test_an_entry_tells_its_chain_of_corrections_from_either_end(belt_a1, tess):
    first = make.incident(belt_a1, WHEN, created_by=tess)
    second = correct_entry(first, by=tess, reason="wrong place", chainage_m=120.0)
    third = correct_entry(second, by=tess, reason="was another belt", withdraw=True)
    for row in (first, second, third):
        row.refresh_from_db()
        lines = told(row)
        assert [line.what for line in lines] == ["withdrawn", "corrected", "entered"]
        assert lines[0].reason == "was another belt"
        assert [(c.before, c.after) for c in lines[1].changes] == [("80 m", "120 m")]


def test_the_tag_shows_it_in_a_page(belt_a1, erin, rf):
    change_record(belt_a1, by=erin, version=1, name="<b>Feed</b>")
    page = Template("{% load history %}{% history_of row %}").render(Context({"row": belt_a1}))
    assert "&lt;b&gt;Feed&lt;/b&gt;" in page
    assert "erin" in page


def test_care_leads_with_the_procedure_and_this_belts_energies_and_never_says_safe(belt_a1):
    belt_a1.plant.lockout_procedure = "Isolation of conveyors, rev. 7"
    belt_a1.plant.lockout_reviewed_on = dt.date(2020, 1, 1)
    belt_a1.energies = "gravity take-up"
    page = Template('{% include "plant/_care.html" with conveyor=row %}').render(Context({"row": belt_a1}))
    assert "Isolation of conveyors, rev. 7" in page
    assert "more than a year ago" in page
    assert "gravity take-up; incline, the belt can roll back." in page
    assert "come before anything on this page" in page
    assert "safe" not in page.lower()
    bare = Template('{% include "plant/_care.html" %}').render(Context({}))
    assert "Its title is not in the book yet" in bare
