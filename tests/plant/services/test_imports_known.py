"""A row that the book has comes again with other details: refused, or corrected where a person chose so."""

from __future__ import annotations

import datetime as dt

import pytest

from plant.errors import Refused
from plant.models import Incident, MeterReading
from plant.services import imports
from plant.services.incidents import correct_incident, record_incident, withdraw_incident
from tests.plant.services.test_imports import HEAD, counts, files_of_the_test, reasons, run, send  # noqa: F401

AT = "A-1,2026-03-01 10:00,"
MOMENT = dt.datetime(2026, 3, 1, 9, tzinfo=dt.UTC)


def rows(*lines):
    return HEAD + "".join(f"{line}\n" for line in lines)


def correcting(plant, person, text, subject="incidents", **more):
    return run(send(plant, person, subject, text, options={"known": "correct"}, **more), person)


def current():
    return list(Incident.objects.current().order_by("pk").values_list("severity", "note"))


def test_a_known_incident_is_corrected_by_a_further_row_with_file_and_line(alder, pat, erin, belt_a1):
    run(send(alder, pat, "incidents", rows(AT + "drift,a")), pat)
    text = rows("A-1,2026-03-04 10:00,drift,z", AT + "damage,a")
    batch = correcting(alder, erin, text, name="march.csv")
    assert counts(batch) == (1, 1, 0, 0), reasons(batch)
    old, new = Incident.objects.get(severity="drift", note="a"), Incident.objects.get(severity="damage")
    assert (new.corrects, new.correction_reason) == (old, "came again in march.csv, line 3")
    assert new.created_by == erin
    assert old.note == "a"
    # The same file again, and the first file again, change nothing.
    assert counts(correcting(alder, erin, text, name="again.csv")) == (0, 0, 2, 0)
    assert counts(correcting(alder, pat, rows(AT + "drift,a"))) == (0, 0, 1, 0)
    assert Incident.objects.count() == 3


def test_without_the_choice_nothing_is_corrected(alder, pat, belt_a1):
    run(send(alder, pat, "incidents", rows(AT + "drift,a")), pat)
    batch = run(send(alder, pat, "incidents", rows(AT + "damage,a"), options={"known": "refuse"}), pat)
    assert counts(batch) == (0, 0, 0, 1)
    assert current() == [("drift", "a")]


def test_a_third_file_brings_the_row_to_what_it_says_and_not_to_a_mixture(alder, pat, belt_a1):
    for severity, note in [("drift", "a"), ("damage", "b"), ("drift", "c")]:
        batch = correcting(alder, pat, rows(f"{AT}{severity},{note}"), name=f"{note}.csv")
    assert counts(batch) == (0, 1, 0, 0), reasons(batch)
    assert current() == [("drift", "c")]
    assert Incident.objects.count() == 3


def test_what_a_person_corrected_or_withdrew_stays_as_they_left_it(alder, pat, belt_a1):
    run(send(alder, pat, "incidents", rows(AT + "drift,a", "A-1,2026-03-02 10:00,drift,b")), pat)
    first, second = Incident.objects.order_by("happened_at")
    correct_incident(row=first, by=pat, reason="It was contact.", severity="contact")
    withdraw_incident(row=second, by=pat, reason="A test.")
    batch = correcting(alder, pat, rows(AT + "damage,a", "A-1,2026-03-02 10:00,damage,b"))
    assert counts(batch) == (0, 0, 0, 2)
    assert current() == [("contact", "a")]


def test_a_row_that_a_person_wrote_is_corrected_once_it_was_chosen(alder, pat, belt_a1):
    record_incident(conveyor=belt_a1, by=pat, happened_at=MOMENT, severity="drift", note="x")
    assert counts(correcting(alder, pat, rows(AT + "damage,x"))) == (0, 1, 0, 0)
    assert current() == [("damage", "x")]


def test_of_two_rows_alike_none_is_corrected_as_nobody_can_tell_which_is_meant(alder, pat, belt_a1):
    run(send(alder, pat, "incidents", rows(AT + "drift,a", AT + "spill,b")), pat)
    batch = correcting(alder, pat, rows(AT + "damage,b"))
    assert counts(batch) == (0, 0, 0, 1)
    assert "The book has 2 rows of this belt, moment and place" in reasons(batch)[2]
    assert current() == [("drift", "a"), ("spill", "b")]


def test_a_correction_that_cannot_be_is_refused_with_its_reason(alder, pat, belt_a1):
    run(send(alder, pat, "meter_readings", "tag,date,reading\nA-1,2026-03-01,1000\nA-1,2026-03-02,1020\n"), pat)
    batch = correcting(alder, pat, "tag,date,reading\nA-1,2026-03-02,1400\n", "meter_readings")
    assert counts(batch) == (0, 0, 0, 1)
    assert "more than the clock has" in reasons(batch)[2]
    batch = correcting(alder, pat, "tag,date,reading\nA-1,2026-03-02,1021\n", "meter_readings")
    assert counts(batch) == (0, 1, 0, 0), reasons(batch)
    assert [each.reading_h for each in MeterReading.objects.current().order_by("read_at")] == [1000.0, 1021.0]


def test_only_a_choice_that_is_offered_is_taken(alder, pat, belt_a1):
    batch = send(alder, pat, "incidents", rows(AT + "drift,a"))
    with pytest.raises(Refused, match="no choice for known"):
        imports.choose(batch=batch, options={"known": "overwrite"})
    imports.choose(batch=batch, options={"known": "correct"})
    assert run(batch, pat).options["known"] == "correct"
