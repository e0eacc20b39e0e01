"""What is shown before anything is written: the same refusals as writing, equal rows, a file that was sent before."""

from __future__ import annotations

import csv
import io
import sqlite3
from collections import Counter
from contextlib import closing

import psycopg
import pytest
from django.apps import apps
from django.db import DatabaseError, OperationalError, ProgrammingError, transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from plant.calc.import_cells import read_choice
from plant.calc.import_columns import match_columns
from plant.errors import Refused
from plant.models import ImportBatch, Incident
from plant.services import import_preview, imports
from plant.services.book_faults import book_fault
from plant.services.conveyors import change_conveyor
from plant.services.import_corrections import drop_row, retry_row
from plant.services.import_preview import preview_of
from plant.services.import_subjects.shape import import_subjects, subject_of
from plant.services.incidents import correct_incident
from plant.words.moments import day_of
from tests.plant.services.test_imports import HEAD, counts, files_of_the_test, reasons, run, send  # noqa: F401

METER = "tag,date,reading\nA-1,2026-03-01,1000\nA-1,2026-03-02,1400\nA-1,2026-03-03,900\nA-1,2026-03-04,1060\n"


def words_of(tried):
    return {row.line_number: " ".join(each["reason"] for each in row.problems) for row in tried}


def rows_in_book():
    return {model._meta.label: model.objects.count() for model in apps.get_models()}


# --- preview and writing agree ----------------------------------------------------------------------------------------
def test_heads_that_logs_write_are_found():
    heads = ["Date", "Time", "Conveyor", "Pos. (m)", "Side", "Stopped min", "Remarks"]
    columns = subject_of("incidents").columns
    matched, units, doubts = match_columns(heads, columns)
    assert {name: heads[at] for name, at in matched.items()} == {
        "happened_at": "Date",
        "happened_time": "Time",
        "conveyor": "Conveyor",
        "chainage_m": "Pos. (m)",
        "side": "Side",
        "minutes_lost": "Stopped min",
        "note": "Remarks",
    }
    assert (units["chainage_m"], doubts) == ("m", {})
    side = next(each for each in columns if each.name == "side")
    assert [read_choice(word, side) for word in ("DS", "OS", "off side")] == ["drive", "off", "off"]
    assert match_columns(["Conveyor", "Read on", "Counter h"], subject_of("meter_readings").columns)[0] == {
        "conveyor": 0,
        "read_at": 1,
        "reading_h": 2,
    }


def test_a_file_that_comes_again_with_its_places_is_asked_about(alder, pat, belt_a1):
    head = "tag,when,strand,{}\n"
    rows = "A-1,2026-03-01 07:15,return,20\nA-1,2026-03-02 07:15,return,30\nA-1,2026-03-03,return,40\n"
    run(send(alder, pat, "incidents", head.format("where it was") + rows.replace("03-02", "03-12")), pat)
    preview = preview_of(send(alder, pat, "incidents", head.format("chainage [m]") + rows))
    assert dict(preview.tally) == {"written": 2, "refused": 1}
    known = Incident.objects.get(happened_at__day=1, happened_at__hour__gt=0)
    (asked,) = preview.wrong
    (problem,) = asked.problems
    assert (asked.line_number, problem["url"]) == (2, known.get_absolute_url())
    assert problem["reason"].startswith(
        "The book has an incident of the same belt and minute: return, no chainage there, return, 20 m here."
    )
    first = preview_of(send(alder, pat, "incidents", head.format("chainage [m]") + rows.replace("07:15", "08:15")))
    assert dict(first.tally) == {"written": 3}


@pytest.mark.parametrize("is_other", [True, False])
def test_a_row_that_may_be_the_same_event_waits_for_whoever_knows(alder, pat, belt_a1, is_other):
    head, row = "tag,when,strand,{}\n", "A-1,2026-03-01 07:15,return,20\n"
    run(send(alder, pat, "incidents", head.format("where it was") + row), pat)
    batch = run(send(alder, pat, "incidents", head.format("chainage [m]") + row), pat)
    assert counts(batch) == (0, 0, 0, 1)
    (kept,) = batch.rejected_rows.all()
    with pytest.raises(Refused, match="of the same belt and minute"):
        retry_row(row=kept, by=pat)  # nobody has said yet what it is
    if is_other:
        assert retry_row(row=kept, by=pat, keep_doubtful=True) == "written"
    else:
        assert drop_row(row=kept)
    kept.refresh_from_db()
    assert kept.state == ("corrected" if is_other else "dropped")  # the choice stays with the row
    assert Incident.objects.count() == (2 if is_other else 1)
    again = run(send(alder, pat, "incidents", head.format("chainage [m]") + row, name="again.csv"), pat)
    assert counts(again) == ((0, 0, 1, 0) if is_other else (0, 0, 0, 1))


def test_two_places_at_one_minute_are_two_events_and_only_told(alder, pat, belt_a1):
    head = "tag,when,strand,chainage [m]\n"
    run(send(alder, pat, "incidents", head + "A-1,2026-03-01 07:15,return,20\n"), pat)
    preview = preview_of(send(alder, pat, "incidents", head + "A-1,2026-03-01 07:15,return,120\n"))
    assert dict(preview.tally) == {"written": 1}
    told = [each for each in preview.notes if "same belt and minute" in each]
    assert told[0].startswith("Line 2 would be new, but the book has a row of the same belt and minute")


def test_what_only_the_services_refuse_is_shown_before_it_is_written(alder, pat, belt_a1):
    text = "tag,when,strand,chainage [m],severity\n"
    text += "A-1,2026-03-01,return,250,drift\nA-1,2097-03-01,return,20,drift\nA-1,2026-03-01,,20,drift\n"
    text += "A-1,2026-03-01,return,20,awful\nA-1,2026-03-01,return,20,drift\n"
    batch = send(alder, pat, "incidents", text)
    before = rows_in_book()
    preview = preview_of(batch)
    assert rows_in_book() == before
    assert dict(preview.tally) == {"refused": 4, "written": 1}
    assert "off the belt" in words_of(preview.wrong)[2]
    assert "in the future" in words_of(preview.wrong)[3]
    assert "needs its strand" in words_of(preview.wrong)[4]
    assert words_of(preview.wrong) == reasons(run(batch, pat))


def test_rows_of_the_file_are_held_against_each_other_as_in_writing(alder, pat, belt_a1):
    batch = send(alder, pat, "meter_readings", METER)
    preview = preview_of(batch)
    assert [row.line_number for row in preview.wrong] == [3, 4]
    assert [row.outcome for row in preview.samples] == ["written", "refused", "refused", "written"]
    assert words_of(preview.wrong) == reasons(run(batch, pat))


def test_what_a_file_would_change_in_the_book_is_shown(alder, pat, belt_a1):
    run(send(alder, pat, "incidents", HEAD + "A-1,2026-03-01 10:00,drift,a\n"), pat)
    text = HEAD + "A-1,2026-03-01 10:00,damage,a\nA-1,2026-03-02 10:00,drift,b\n"
    batch = send(alder, pat, "incidents", text, options={"known": "correct"})
    assert dict(preview_of(batch).tally) == {"changed": 1, "written": 1}
    batch = send(alder, pat, "incidents", text)
    assert dict(preview_of(batch).tally) == {"refused": 1, "written": 1}
    assert Incident.objects.count() == 1


# Cells as they come, good and bad, by subject and column.
CELLS = {
    "incidents": {
        "tag": ["A-1", "a1", "A-2", "A-l", "", "QQ-7"],
        "when": ["2026-03-01 10:00", "2026-03-01", "01.03.2026 11:30", "2097-01-01", "soon", "2026-03-29 02:30", ""],
        "strand": ["return", "carry", "", "sideways"],
        "chainage [m]": ["80", "", "250", "-3", "n/a", "many"],
        "severity": ["drift", "spill", "", "awful"],
        "note": ["a", "b", "x" * 2001, ""],
    },
    "running_hours": {
        "tag": ["A-1", "A-2", "B-9"],
        "from": ["2026-03-01 00:00", "2026-03-02 00:00", "yesterday"],
        "to": ["2026-03-02 00:00", "2026-03-01 00:00", "2097-01-01 00:00", ""],
        "hours": ["20", "25", "-1", "", "Bad"],
        "kind": ["total", "running", "no_data", "", "perhaps"],
    },
    "meter_readings": {
        "tag": ["A-1", "A-2", "B-9"],
        "date": ["2026-03-01 06:00", "2026-03-02 06:00", "2026-03-03 06:00", "2097-01-01"],
        "reading": ["1000", "1020", "1400", "900", "-5", ""],
        "event": ["", "normal", "last_of_old", "new"],
    },
    "conveyors": {
        "tag": ["A-1", "B-1", "b1", "B-2", "--"],
        "area": ["A", "Crushing", "Crushin", "B", "A very long name of a section", ""],
        "width": ["1200", "0", "-1", ""],
        "speed": ["2.5", "900", ""],
        "length": ["200", "0", "long"],
    },
    "device_models": {
        "name": ["T-1", "t-1", "T-2", ""],
        "sensor new": ["76", "60", ""],
        "sensor limit": ["68", "80", ""],
        "fasteners": ["clamp: 4 x M12 @ 75 N·m", "four bolts", "pivot: 1 x M16 @ 130 kg", ""],
    },
    "installations": {
        "device": ["7", "8", ""],
        "model": ["T-1", "T1", ""],
        "belt": ["A-1", "A-2", "", "B-9"],
        "strand": ["return", "carry", ""],
        "chainage": ["100", "60", "400", ""],
        "installed": ["2025-01-05 08:00", "2025-06-01 09:00", "2097-01-01", ""],
        "removed": ["", "2025-03-01 08:00", "2024-01-01"],
    },
}


@st.composite
def dirty_files(draw):
    name = draw(st.sampled_from(sorted(CELLS)))
    columns = CELLS[name]
    row = st.tuples(*(st.sampled_from(cells) for cells in columns.values()))

    def text():
        rows = draw(st.lists(row, min_size=1, max_size=9))
        out = io.StringIO()
        csv.writer(out).writerows([list(columns), *rows])
        return out.getvalue()

    options = {"known": draw(st.sampled_from(["refuse", "correct"])), "equal": draw(st.sampled_from(["one", "each"]))}
    return name, text(), draw(st.sampled_from(["other", "same"])), text(), options


@settings(
    max_examples=60,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(case=dirty_files())
def test_the_preview_of_any_file_says_what_writing_it_does(alder, pat, belt_a1, case):
    """For a new file, for a second one of the same rows and fields, and for the same file again."""
    name, first, which, second, options = case
    with transaction.atomic():
        for text in (first, first if which == "same" else second):
            batch = send(alder, pat, name, text, options=options)
            preview = preview_of(batch)
            batch = run(batch, pat)
            told = {each: n for each, n in preview.tally.items() if n}
            done = Counter(
                written=batch.n_written,
                changed=batch.n_changed,
                unchanged=batch.n_unchanged,
                repeated=batch.n_repeated,
                refused=batch.n_refused,
            )
            assert told == {each: n for each, n in done.items() if n}
            kept = batch.rejected_rows.refused()
            assert words_of(preview.wrong) == {
                row.line_number: " ".join(each["reason"] for each in row.problems) for row in kept
            }
        transaction.set_rollback(True)


def test_every_subject_of_the_desk_is_tried_with_dirty_files():
    assert {each.name for each in import_subjects()} == set(CELLS)
    for name, columns in CELLS.items():
        assert len(match_columns(list(columns), subject_of(name).columns)[0]) == len(columns)


# --- a file that was sent before --------------------------------------------------------------------------------------
TWO = HEAD + "A-1,2026-03-01 10:00,drift,a\nA-1,2026-03-02 10:00,drift,b\n"


def test_a_file_that_was_imported_is_named_and_changes_nothing(client, alder, pat, erin, belt_a1):
    first = run(send(alder, erin, "incidents", TWO, name="march.csv"), erin)
    assert preview_of(send(alder, pat, "incidents", TWO.replace(",b", ",c"))).sent_before is None
    batch = send(alder, pat, "incidents", TWO, name="again.csv")
    found = preview_of(batch).sent_before
    assert found.batch == first
    day = day_of(first.created_at)
    assert found.words == f"This file was imported on {day} by erin. Importing it again changes nothing."
    client.force_login(pat)
    page = client.get(batch.get_absolute_url()).content.decode()
    assert found.words in page
    assert f'<a href="{first.get_absolute_url()}">What came of it</a>' in page


def test_rows_of_a_file_sent_before_that_differ_by_now_are_named(alder, pat, erin, belt_a1):
    text = TWO + "A-l,2026-03-03 10:00,drift,c\n"
    run(send(alder, pat, "incidents", text), pat)
    correct_incident(row=Incident.objects.get(note="a"), by=erin, reason="Elsewhere.", note="z")
    found = preview_of(send(alder, pat, "incidents", text)).sent_before
    words = "1 row differs from what the book has now (line 4): 0 would be written, 0 changed, 1 refused."
    assert found.words.endswith(words)


def test_the_same_file_again_is_shown_to_leave_what_people_changed_since(alder, pat, belt_a1):
    text = "tag,area,width,speed,length\na1,A,1400,2.5,200\n"
    batch = send(alder, pat, "conveyors", text)
    imports.choose(batch=batch, options={"date_order": "dmy", "doubled": "refuse", "equal": "one"})
    run(batch, pat)
    belt_a1.refresh_from_db()
    change_conveyor(belt_a1, by=pat, version=belt_a1.version, belt_width_mm=1350.0)
    batch = send(alder, pat, "conveyors", text)  # with no choice at all, which means the same
    assert preview_of(batch).sent_before.words.endswith("Importing it again changes nothing.")
    assert counts(run(batch, pat)) == (0, 0, 1, 0)


def test_a_file_that_was_only_looked_at_or_belongs_to_others_is_not_named(alder, pat, otto, belt_a1, belt_z9, other):
    send(alder, pat, "incidents", TWO)
    run(send(other, otto, "incidents", TWO), otto)
    run(send(alder, pat, "incidents", TWO + "B-9,2026-03-03,drift,c\n"), pat, all_or_nothing=True)
    assert preview_of(send(alder, pat, "incidents", TWO)).sent_before is None


def test_an_import_that_was_broken_off_is_not_said_to_be_done(alder, pat, belt_a1):
    broken = send(alder, pat, "incidents", TWO)
    ImportBatch.objects.filter(pk=broken.pk).update(state=ImportBatch.State.FAILED)
    found = preview_of(send(alder, pat, "incidents", TWO)).sent_before
    assert found.batch == broken
    assert found.words.startswith("An import of this file was begun on ")
    assert "has not come to its end. 2 rows differ" in found.words
    done = run(send(alder, pat, "incidents", TWO), pat)
    ImportBatch.objects.filter(pk=send(alder, pat, "incidents", TWO).pk).update(state=ImportBatch.State.FAILED)
    found = preview_of(send(alder, pat, "incidents", TWO)).sent_before
    assert found.batch == done  # whatever was broken off after it
    assert found.words.startswith("This file was imported on ")


# --- how far rows are tried out ---------------------------------------------------------------------------------------
def many(n):
    return HEAD + "".join(f"A-1,2026-03-{1 + i // 24:02} {i % 24:02}:00,drift,row {i}\n" for i in range(n))


def test_trying_out_ends_after_its_time_and_says_how_far_it_came(alder, pat, belt_a1, monkeypatch):
    batch = run(send(alder, pat, "incidents", many(450)), pat)
    batch = send(alder, pat, "incidents", many(450))
    monkeypatch.setattr(import_preview, "TRIED_FOR_S", -1.0)
    preview = preview_of(batch)
    assert (preview.n_tried, preview.tally["unchanged"]) == (200, 200)
    assert preview.sent_before.words.endswith("Importing it again changes nothing in the first 200 rows.")


def sqlite_fault(code, words="what the data base says"):
    cause = sqlite3.OperationalError(words)
    cause.sqlite_errorcode = code
    return cause


FAULTS = [
    (sqlite_fault(sqlite3.SQLITE_BUSY), "busy"),
    (sqlite_fault(sqlite3.SQLITE_LOCKED), "busy"),
    (sqlite_fault(sqlite3.SQLITE_BUSY_SNAPSHOT), "busy"),
    (sqlite_fault(sqlite3.SQLITE_FULL), "full"),
    (sqlite_fault(sqlite3.SQLITE_CORRUPT), "damaged"),
    (sqlite_fault(sqlite3.SQLITE_NOTADB), "damaged"),
    (sqlite_fault(sqlite3.SQLITE_ERROR, "no such table: plant_incident"), "behind"),
    (sqlite_fault(sqlite3.SQLITE_ERROR, "table plant_incident has no column named source"), "behind"),
    (sqlite_fault(sqlite3.SQLITE_READONLY), "out_of_reach"),
    (sqlite_fault(sqlite3.SQLITE_CANTOPEN), "out_of_reach"),
    (sqlite_fault(sqlite3.SQLITE_ERROR, "near a word"), "unknown"),
    (psycopg.errors.LockNotAvailable("lock timeout"), "busy"),
    (psycopg.errors.QueryCanceled("statement timeout"), "busy"),
    (psycopg.errors.DeadlockDetected("two at once"), "busy"),
    (psycopg.errors.DiskFull("could not extend file"), "full"),
    (psycopg.errors.DataCorrupted("invalid page"), "damaged"),
    (psycopg.errors.UndefinedTable("no table"), "behind"),
    (psycopg.errors.UndefinedColumn("no column"), "behind"),
    (psycopg.errors.AdminShutdown("the server stops"), "out_of_reach"),
    (psycopg.errors.ReadOnlySqlTransaction("a copy"), "out_of_reach"),
]
TO_DO = {
    "busy": "Read the file again in a minute.",
    "full": "space has to be freed",
    "damaged": "put back the last backup",
    "behind": "start it again, which brings the book up to date",
    "out_of_reach": "the data base server has to be looked at",
    "unknown": "the log has what the data base said",
}


@pytest.mark.parametrize(("cause", "fault"), FAULTS, ids=lambda each: str(each).replace(" ", "-"))
def test_where_the_book_cannot_be_written_cells_are_read_and_the_sentence_says_why(
    alder, pat, belt_a1, monkeypatch, caplog, cause, fault
):
    """Only a lock is busy; all else is in the log, and its sentence says what to do."""
    kind = OperationalError if isinstance(cause, sqlite3.Error | psycopg.OperationalError) else DatabaseError

    def fail(*args):
        raise kind("said again") from cause

    batch = send(alder, pat, "incidents", TWO + "A-l,2026-03-03 10:00,drift,c\n")
    monkeypatch.setattr(import_preview, "outcomes_of", fail)
    preview = preview_of(batch)
    assert TO_DO[fault] in preview.notes[-1]
    assert ("busy" in preview.notes[-1]) is (fault == "busy")
    assert [row.line_number for row in preview.wrong] == [4]
    logged = [each for each in caplog.records if each.name == import_preview.__name__]
    assert [bool(each.exc_info) for each in logged] == ([] if fault == "busy" else [True])


def test_a_file_that_another_process_holds_is_busy_by_its_own_code(tmp_path):
    """The data base itself says so, with two connections to one file."""
    first, second = (sqlite3.connect(tmp_path / "book.sqlite3", timeout=0, isolation_level=None) for _n in range(2))
    with closing(first), closing(second):
        first.execute("BEGIN IMMEDIATE")
        with pytest.raises(sqlite3.OperationalError) as held:
            second.execute("BEGIN IMMEDIATE")
        with pytest.raises(sqlite3.OperationalError) as missing:
            first.execute("SELECT 1 FROM absent")
    (tmp_path / "other.sqlite3").write_bytes(b"no book at all" * 100)
    other = sqlite3.connect(tmp_path / "other.sqlite3")
    with closing(other), pytest.raises(sqlite3.DatabaseError) as damaged:
        other.execute("SELECT 1 FROM absent")
    assert [book_fault(each.value) for each in (held, missing, damaged)] == ["busy", "behind", "damaged"]


def test_an_error_of_the_code_is_not_told_as_one_of_the_book(alder, pat, belt_a1, monkeypatch):
    def fail(*args):
        raise ProgrammingError("a wrong query") from psycopg.errors.SyntaxError("near a word")

    batch = send(alder, pat, "incidents", TWO)
    monkeypatch.setattr(import_preview, "outcomes_of", fail)
    with pytest.raises(ProgrammingError):
        preview_of(batch)


@pytest.mark.parametrize("question", ["tag,when\nA-1,03/04/2026 10:00\nA-1,03/05/2097 10:00\n"])
def test_while_something_is_to_be_decided_nothing_is_held_against_the_book(alder, pat, belt_a1, question):
    preview = preview_of(send(alder, pat, "incidents", question))
    assert preview.n_wrong == 0
    assert [row.outcome for row in preview.samples] == ["", ""]
