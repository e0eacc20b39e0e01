"""A row that the book has comes again with other details: refused, or corrected where a person chose so."""

from __future__ import annotations

import datetime as dt

import pytest

from plant.errors import Refused
from plant.models import Incident, MeterReading, RunRecord
from plant.services import import_corrections, import_understanding, imports
from plant.services.import_preview import preview_of
from plant.services.incidents import correct_incident, record_incident, withdraw_incident
from plant.services.running_hours import correct_run
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


# --- whose word it is -------------------------------------------------------------------------------------------------
def test_a_person_s_correction_stands_whatever_its_reason_says(alder, pat, erin, belt_a1):
    run(send(alder, pat, "incidents", rows(AT + "drift,a")), pat)
    for reason in ("Import of march.csv", "came again in march.csv, line 3"):
        latest = Incident.objects.current().get()
        severity = "contact" if latest.severity != "contact" else "spill"
        correct_incident(row=latest, by=erin, reason=reason, severity=severity)
        batch = correcting(alder, pat, rows(AT + "damage,a"))
        assert counts(batch) == (0, 0, 0, 1)
        assert current() == [(severity, "a")]
        words = reasons(batch)[2]
        assert f"The book has this row already with severity {severity}; the file says damage." in words
        assert "erin corrected it on " in words
        assert f"(“{reason}”), and what a person corrected stands." in words


def test_a_person_s_correction_of_hours_stands_too(alder, pat, erin, belt_a1):
    head = "belt,from,to,hours\nA-1,2026-03-01 00:00,2026-03-02 00:00,"
    run(send(alder, pat, "running_hours", head + "20\n"), pat)
    correct_run(row=RunRecord.objects.get(), by=erin, reason="Import of the month was wrong", running_h=19.0)
    assert counts(run(send(alder, pat, "running_hours", head + "21\n"), pat)) == (0, 0, 0, 1)
    assert [row.running_h for row in RunRecord.objects.current()] == [19.0]


def test_a_row_that_a_person_withdrew_is_said_to_be(alder, pat, erin, belt_a1):
    run(send(alder, pat, "incidents", rows(AT + "drift,a")), pat)
    withdraw_incident(row=Incident.objects.get(), by=erin, reason="A test.")
    batch = correcting(alder, pat, rows(AT + "damage,a"))
    assert reasons(batch)[2].startswith("erin withdrew this row on ")
    assert "“A test.”" in reasons(batch)[2]


def test_each_row_names_the_file_that_brought_it_and_a_person_s_names_none(client, alder, pat, erin, belt_a1):
    one = run(send(alder, pat, "incidents", rows(AT + "drift,a", "A-1,2026-03-02 10:00,drift,b"), name="one.csv"), pat)
    two = correcting(alder, pat, rows(AT + "damage,a"), name="two.csv")
    second = Incident.objects.get(note="b")
    correct_incident(row=second, by=erin, reason="It was contact.", severity="contact")
    told = Incident.objects.order_by("pk").values_list("severity", "import_batch")
    assert list(told) == [("drift", one.pk), ("drift", one.pk), ("damage", two.pk), ("contact", None)]
    client.force_login(pat)
    assert f'<a href="{one.get_absolute_url()}">one.csv</a>' in client.get(second.get_absolute_url()).content.decode()


# --- some fields of a known conveyor ----------------------------------------------------------------------------------
def test_tag_and_one_column_change_only_that_of_known_conveyors(alder, pat, belt_a1):
    before = {name: getattr(belt_a1, name) for name in ("area_id", "belt_width_mm", "length_m", "lift_m", "name")}
    batch = send(alder, pat, "conveyors", "tag,speed\na1,3.15\nA-l,2\n", name="speeds.csv")
    found = preview_of(batch)
    assert found.is_ready
    assert found.notes[-1].startswith("No column was found for: area, belt width, length. Rows that the book knows")
    assert found.n_wrong == 1
    batch = run(batch, pat)
    assert counts(batch) == (0, 1, 0, 1)
    belt_a1.refresh_from_db()
    assert belt_a1.speed_m_s == 3.15
    assert {name: getattr(belt_a1, name) for name in before} == before
    [row] = batch.rejected_rows.all()
    assert [each["field"] for each in row.problems] == ["area", "belt_width_mm", "length_m"]
    words = row.problems[1]["reason"]
    assert words.startswith("There is no conveyor “A-l” yet, and a new one needs its belt width.")
    assert "the nearest is A-1" in words
    assert import_corrections.retry_row(row=row, by=pat, values={"tag": "A-1", "speed": "3"}) == "changed"


def test_the_tag_itself_is_needed_in_every_file(alder, pat, belt_a1):
    found = import_understanding.understand(send(alder, pat, "conveyors", "name,speed\nCrusher feed,2\n"))
    assert found.problems[0].startswith("No column was found for: tag.")


def test_a_new_conveyor_may_be_told_of_again_further_down_and_its_empty_cells_mean_nothing(alder, pat):
    text = "tag,area,width,speed,length\nB-1,B,1200,2,100\nB-1,,,2.5,\nB-2,,1000,2,50\n"
    batch = run(send(alder, pat, "conveyors", text), pat)
    assert counts(batch) == (1, 1, 0, 1)
    assert [each["field"] for each in batch.rejected_rows.get().problems] == ["area"]


def test_rows_that_build_on_one_that_is_refused_are_refused_too(alder, pat):
    text = "tag,area,width,speed,length\nB-1,B,1200,900,100\nB-1,,,2.5,\n"
    batch = run(send(alder, pat, "conveyors", text), pat)
    assert counts(batch) == (0, 0, 0, 2), reasons(batch)
    assert "There is no conveyor “B-1” yet" in reasons(batch)[3]


# --- readings that are doubted ----------------------------------------------------------------------------------------
METER = "tag,date,reading\nA-1,2026-03-01,1000\nA-1,2026-03-02,1400\n"


def test_a_doubted_reading_is_kept_where_the_meter_really_shows_it(client, alder, pat, belt_a1):
    batch = run(send(alder, pat, "meter_readings", METER), pat)
    row = batch.rejected_rows.get()
    url = batch.get_absolute_url()
    client.force_login(pat)
    page = client.get(url).content.decode()
    assert "The meter really shows this" in page
    cells = {f"row{row.pk}-cell{n}": text for n, text in enumerate(METER.split()[2].split(","))}
    client.post(f"{url}rows/{row.pk}/", {**cells, "act": "retry"})
    assert MeterReading.objects.count() == 1
    client.post(f"{url}rows/{row.pk}/", {**cells, f"row{row.pk}-keep_doubtful": "on", "act": "retry"})
    assert MeterReading.objects.order_by("-read_at").first().reading_h == 1400.0
    batch.refresh_from_db()
    assert counts(batch) == (2, 0, 0, 0)
    # The whole file again finds both.
    assert counts(run(send(alder, pat, "meter_readings", METER), pat)) == (0, 0, 2, 0)


def test_a_tick_keeps_no_reading_that_cannot_be(alder, pat, belt_a1):
    batch = run(send(alder, pat, "meter_readings", METER), pat)
    with pytest.raises(Refused, match="in the future"):
        import_corrections.retry_row(
            row=batch.rejected_rows.get(), by=pat, values={"date": "2097-03-02"}, keep_doubtful=True
        )


def test_rows_that_are_wrong_for_other_reasons_offer_no_such_tick(client, alder, pat, belt_a1):
    batch = run(send(alder, pat, "meter_readings", "tag,date,reading\nA-1,2097-03-01,1000\n"), pat)
    client.force_login(pat)
    assert "The meter really shows this" not in client.get(batch.get_absolute_url()).content.decode()
