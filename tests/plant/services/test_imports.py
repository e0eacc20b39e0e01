"""The import desk: each row once, bad rows kept, nothing half-written, whatever happens to the worker."""

from __future__ import annotations

import csv
import datetime as dt
import io
import zipfile
from zoneinfo import ZoneInfo

import openpyxl
import pytest
from django.test import override_settings
from django.utils import timezone

from plant.errors import Refused
from plant.files import rejected_rows
from plant.models import Area, Conveyor, ImportBatch, Incident, Job, MeterReading, RejectedRow, RunRecord
from plant.services import import_corrections, import_rows, import_understanding, import_writing, imports, jobs
from plant.services.conveyors import change_conveyor
from plant.services.import_preview import preview_of
from plant.services.import_subjects import shape as import_subjects
from plant.services.import_subjects.shape import subject_of
from plant.services.incidents import correct_incident, record_incident
from plant.services.job_kinds import JobLost
from tests import make

UTC = dt.UTC
HEAD = "tag,when,severity,note\n"


@pytest.fixture(autouse=True)
def files_of_the_test(tmp_path, settings):
    settings.MEDIA_ROOT = tmp_path


def send(plant, by, subject, data, name="rows.csv", **more):
    data = data.encode() if isinstance(data, str) else data
    return imports.take_in_file(
        plant=plant, by=by, subject=subject, file=io.BytesIO(data), file_name=name, size=len(data), **more
    )


def run(batch, by, **more):
    job = imports.start_import(batch=batch, by=by, **more)
    jobs.do_job(job.pk)
    batch.refresh_from_db()
    return batch


def counts(batch):
    return batch.n_written, batch.n_changed, batch.n_unchanged, batch.n_refused


def reasons(batch):
    return {row.line_number: " ".join(each["reason"] for each in row.problems) for row in batch.rejected_rows.all()}


def incidents(n, start=0):
    return HEAD + "".join(f"A-1,2026-03-{1 + i // 24:02} {i % 24:02}:00,drift,row {i}\n" for i in range(start, n))


# --- each row once ----------------------------------------------------------------------------------------------------
def test_the_same_file_twice_changes_nothing(alder, pat, belt_a1):
    assert counts(run(send(alder, pat, "incidents", incidents(30)), pat)) == (30, 0, 0, 0)
    assert counts(run(send(alder, pat, "incidents", incidents(30)), pat)) == (0, 0, 30, 0)
    assert Incident.objects.count() == 30


def test_an_overlapping_export_adds_only_what_is_new(alder, pat, belt_a1):
    run(send(alder, pat, "incidents", incidents(30)), pat)
    assert counts(run(send(alder, pat, "incidents", incidents(40, start=20)), pat)) == (10, 0, 10, 0)


# --- equal rows -------------------------------------------------------------------------------------------------------
A, B = "A-1,2026-03-01 10:00,drift,a\n", "A-1,2026-03-01 10:00,spill,b\n"
C = "A-1,2026-03-02 10:00,drift,c\n"
EACH = {"options": {"equal": "each"}}


def notes_in_book():
    return sorted(Incident.objects.current().values_list("note", flat=True))


def test_equal_rows_of_one_file_are_one_incident_and_said_to_be(alder, pat, belt_a1):
    batch = send(alder, pat, "incidents", HEAD + A + B + A * 2)
    preview = preview_of(batch)
    assert dict(preview.tally) == {"written": 2, "repeated": 2}
    assert "Lines 4, 5 are equal to rows above them in every cell and are not counted again." in preview.notes[-1]
    batch = run(batch, pat)
    assert (counts(batch), batch.n_repeated) == ((2, 0, 0, 0), 2)
    kept = {row.line_number: (row.state, row.problems[0]["reason"]) for row in batch.rejected_rows.all()}
    words = "Equal to line 2 in every cell, so it was not counted again."
    assert kept == {4: ("repeated", words), 5: ("repeated", words)}
    again = run(send(alder, pat, "incidents", HEAD + A + B + A * 2), pat)
    assert (counts(again), again.n_repeated) == ((0, 0, 2, 0), 2)
    assert notes_in_book() == ["a", "b"]


def test_equal_rows_are_two_incidents_where_a_person_says_so_and_stay_two(alder, pat, belt_a1):
    batch = send(alder, pat, "incidents", HEAD + A * 2, **EACH)
    assert "Line 3 is equal to a row above it in every cell and is written as an event" in preview_of(batch).notes[-1]
    assert counts(run(batch, pat)) == (2, 0, 0, 0)
    assert counts(run(send(alder, pat, "incidents", HEAD + A * 2, **EACH), pat)) == (0, 0, 2, 0)
    assert counts(run(send(alder, pat, "incidents", HEAD + A), pat)) == (0, 0, 1, 0)
    # A third one is new, whatever else of that minute stands between.
    assert counts(run(send(alder, pat, "incidents", HEAD + A + B + A * 2, **EACH), pat)) == (2, 0, 2, 0)
    assert notes_in_book() == ["a", "a", "a", "b"]
    assert counts(run(send(alder, pat, "incidents", HEAD + A * 3 + B, **EACH), pat)) == (0, 0, 4, 0)


def test_a_file_that_was_counted_once_may_be_sent_again_with_each_an_event(alder, pat, belt_a1):
    run(send(alder, pat, "incidents", HEAD + A * 2 + B), pat)
    assert counts(run(send(alder, pat, "incidents", HEAD + A * 2 + B, **EACH), pat)) == (1, 0, 2, 0)
    assert notes_in_book() == ["a", "a", "b"]


def test_equal_incidents_with_the_keys_of_before_are_known(alder, pat, belt_a1):
    """Equal rows once had the keys of the first and second row of their minute."""
    batch = run(send(alder, pat, "incidents", HEAD + A), pat)
    subject, natural = subject_of("incidents"), f"{belt_a1.pk}|2026-03-01T09:00:00+00:00||"
    key = import_rows.row_key(subject, alder, natural, 1)
    at = dt.datetime(2026, 3, 1, 9, tzinfo=UTC)
    more = {"happened_at": at, "severity": "drift", "note": "a", "client_key": key, "import_batch": batch}
    record_incident(conveyor=belt_a1, by=pat, **more)
    assert Incident.objects.filter(client_key=import_rows.row_key(subject, alder, natural, 0)).exists()
    assert counts(run(send(alder, pat, "incidents", HEAD + A * 2, **EACH), pat)) == (0, 0, 2, 0)
    assert notes_in_book() == ["a", "a"]


def test_rows_that_differ_in_a_column_that_is_not_used_are_two_incidents(alder, pat, belt_a1):
    text = "no,tag,when,note\n1,A-1,2026-03-01 10:00,a\n2,A-1,2026-03-01 10:00,a\n2,a1,2026-03-01 10:00,a\n"
    batch = run(send(alder, pat, "incidents", text), pat)
    assert (counts(batch), batch.n_repeated) == ((2, 0, 0, 0), 1)


def test_an_equal_row_becomes_an_incident_of_its_own_from_the_result_and_each_stays_known(alder, pat, belt_a1):
    batch = run(send(alder, pat, "incidents", HEAD + A * 3 + B), pat)
    for n, row in enumerate(batch.rejected_rows.all(), start=2):
        assert import_corrections.retry_row(row=row, by=pat, is_own_event=True) == "written"
        assert import_corrections.retry_row(row=row, by=pat, is_own_event=True) == "unchanged"
        assert notes_in_book() == ["a"] * n + ["b"]
    batch.refresh_from_db()
    assert (counts(batch), batch.n_repeated) == ((4, 0, 0, 0), 0)
    assert {row.state for row in batch.rejected_rows.all()} == {"own"}
    assert batch.rejected_rows.refused().count() == 0
    again = run(send(alder, pat, "incidents", HEAD + A * 3 + B), pat)
    assert (counts(again), again.n_repeated) == ((0, 0, 2, 0), 2)
    assert counts(run(send(alder, pat, "incidents", HEAD + A * 3 + B, **EACH), pat)) == (0, 0, 4, 0)


def test_all_rows_or_none_is_not_kept_out_by_equal_rows(alder, pat, belt_a1):
    batch = run(send(alder, pat, "incidents", HEAD + A * 2), pat, all_or_nothing=True)
    assert (batch.state, counts(batch), batch.n_repeated) == ("done", (1, 0, 0, 0), 1)
    batch = run(send(alder, pat, "incidents", HEAD + C * 2 + "B-9,2026-03-01,drift,x\n"), pat, all_or_nothing=True)
    assert (batch.state, [row.line_number for row in batch.rejected_rows.all()]) == ("refused", [4])
    batch = run(batch, pat, all_or_nothing=False)
    assert (batch.state, counts(batch), batch.n_repeated) == ("done", (1, 0, 0, 1), 1)


def test_equal_rows_far_apart_are_told_also_after_a_worker_died(alder, pat, belt_a1, monkeypatch):
    batch = send(alder, pat, "incidents", incidents(450) + "A-1,2026-03-01 00:00,drift,row 0\n")
    job = imports.start_import(batch=batch, by=pat)
    with monkeypatch.context() as patch:
        die_after(patch, 1)
        with pytest.raises(SystemExit):
            jobs.do_job(job.pk)
    Job.objects.filter(pk=job.pk).update(heartbeat_at=timezone.now() - dt.timedelta(minutes=5))
    jobs.do_job(job.pk)
    batch.refresh_from_db()
    assert (batch.state, counts(batch), batch.n_repeated) == ("done", (450, 0, 0, 0), 1)
    assert batch.rejected_rows.get().problems[0]["reason"].startswith("Equal to line 2 ")


# --- known rows -------------------------------------------------------------------------------------------------------


def test_a_known_incident_with_other_details_is_never_overwritten(alder, pat, belt_a1):
    run(send(alder, pat, "incidents", HEAD + "A-1,2026-03-01 10:00,drift,a\n"), pat)
    batch = run(send(alder, pat, "incidents", HEAD + "A-1,2026-03-01 10:00,drift,b\n"), pat)
    assert counts(batch) == (0, 0, 0, 1)
    assert "The book has this row already with note a; the file says b" in reasons(batch)[2]


def test_a_revised_severity_is_no_second_incident(alder, pat, belt_a1):
    run(send(alder, pat, "incidents", HEAD + "A-1,2026-03-01 10:00,drift,a\n"), pat)
    batch = run(send(alder, pat, "incidents", HEAD + "A-1,2026-03-01 10:00,damage,a\n"), pat)
    assert counts(batch) == (0, 0, 0, 1)
    assert "severity drift; the file says damage" in reasons(batch)[2]


def test_two_events_of_one_minute_are_known_in_an_export_that_has_only_the_second(alder, pat, belt_a1):
    first, second = "A-1,2026-03-01 10:00,drift,a\n", "A-1,2026-03-01 10:00,spill,b\n"
    assert counts(run(send(alder, pat, "incidents", HEAD + first + second), pat)) == (2, 0, 0, 0)
    assert counts(run(send(alder, pat, "incidents", HEAD + second), pat)) == (0, 0, 1, 0)


def test_what_an_empty_cell_means_makes_no_second_row(alder, pat, belt_a1):
    run(send(alder, pat, "meter_readings", "tag,date,reading\nA-1,2026-03-01,1000\n"), pat)
    said = "tag,date,reading,event\nA-1,2026-03-01,1000,normal\n"
    assert counts(run(send(alder, pat, "meter_readings", said), pat)) == (0, 0, 1, 0)
    run(send(alder, pat, "running_hours", "tag,from,to,hours\nA-1,2026-03-01,2026-03-02,20:30\n"), pat)
    said = "tag,from,to,hours,kind\nA-1,2026-03-01,2026-03-02,20.5,total\n"
    assert counts(run(send(alder, pat, "running_hours", said), pat)) == (0, 0, 1, 0)


def test_an_incident_that_a_person_wrote_by_hand_does_not_count_twice(alder, pat, belt_a1):
    at = dt.datetime(2026, 3, 1, 9, tzinfo=UTC)
    record_incident(conveyor=belt_a1, by=pat, happened_at=at, severity="drift", note="x")
    same, second = "A-1,2026-03-01 10:00,drift,x\n", "A-1,2026-03-01 10:00,drift,y\n"
    assert counts(run(send(alder, pat, "incidents", HEAD + same), pat)) == (0, 0, 1, 0)
    batch = run(send(alder, pat, "incidents", HEAD + second), pat)
    assert counts(batch) == (0, 0, 0, 1)
    assert "note x; the file says y" in reasons(batch)[2]
    # Two rows of a file that are two incidents: one is the one by hand, the other is new, and stays known.
    assert counts(run(send(alder, pat, "incidents", HEAD + same * 2, **EACH), pat)) == (1, 0, 1, 0)
    assert counts(run(send(alder, pat, "incidents", HEAD + same * 2, **EACH), pat)) == (0, 0, 2, 0)
    assert Incident.objects.count() == 2


def test_a_list_that_was_taken_from_the_site_changes_nothing_when_it_is_sent_back(client, alder, pat, belt_a1):
    for day in (1, 2):
        at = dt.datetime(2026, 3, day, 9, tzinfo=UTC)
        place = {"strand": "return", "chainage_m": 80.0, "side": "drive"}
        record_incident(conveyor=belt_a1, by=pat, happened_at=at, severity="spill", minutes_lost=12.5, **place)
    client.force_login(pat)
    answer = client.get("/incidents/?format=csv")
    batch = send(alder, pat, "incidents", b"".join(answer.streaming_content))
    assert counts(run(batch, pat)) == (0, 0, 2, 0), reasons(batch)


def test_the_person_s_upload_sent_twice_is_one_batch(alder, pat, belt_a1):
    key = "8e5f4bb0-0e1f-4e62-8f42-1c3a1a2b3c4d"
    first = send(alder, pat, "incidents", incidents(2), client_key=key)
    assert send(alder, pat, "incidents", incidents(2), client_key=key) == first
    assert ImportBatch.objects.count() == 1


def test_a_doubled_hour_is_mended_in_the_cell_of_its_date_though_the_time_has_its_own(alder, pat, belt_a1):
    batch = run(send(alder, pat, "incidents", "tag,date,time\nA-1,2025-10-26,02:30\n"), pat)
    row = batch.rejected_rows.get()
    assert "2025-10-26T02:30+01:00" in row.problems[0]["reason"]
    import_corrections.retry_row(row=row, by=pat, values={"date": "2025-10-26T02:30+01:00"})
    assert Incident.objects.get().happened_at == dt.datetime(2025, 10, 26, 1, 30, tzinfo=UTC)


# --- a day without a time of day --------------------------------------------------------------------------------------
def days_and_times():
    rows = Incident.objects.order_by("happened_at").values_list("happened_at", "time_is_known")
    return [(f"{at.astimezone(ZoneInfo('Europe/Berlin')):%Y-%m-%d %H:%M}", known) for at, known in rows]


def test_an_incident_without_a_time_of_day_keeps_that_it_is_not_known(alder, pat, belt_a1):
    text = "tag,when\nA-1,2026-03-01\nA-1,2026-03-02 10:00\nA-1,2026-03-03 00:00\n"
    batch = send(alder, pat, "incidents", text)
    preview = preview_of(batch)
    assert preview.notes[-1].startswith("1 of the 3 rows tried out have no time of day: their day is kept")
    assert [row.shown["when"] for row in preview.samples] == [
        "2026-03-01, time not known",
        "2026-03-02 10:00 CET",
        "2026-03-03 00:00 CET",
    ]
    assert counts(run(batch, pat)) == (3, 0, 0, 0)
    told = [("2026-03-01 00:00", False), ("2026-03-02 10:00", True), ("2026-03-03 00:00", True)]
    assert days_and_times() == told
    assert counts(run(send(alder, pat, "incidents", text), pat)) == (0, 0, 3, 0)


def test_a_clock_column_gives_the_time_where_it_is_filled(alder, pat, belt_a1):
    run(send(alder, pat, "incidents", "tag,date,time\nA-1,2026-03-01,06:15\nA-1,2026-03-02,\n"), pat)
    assert days_and_times() == [("2026-03-01 06:15", True), ("2026-03-02 00:00", False)]


def test_an_export_of_midnights_only_kept_days_and_a_person_may_say_otherwise(alder, pat, belt_a1):
    text = "tag,when\n" + "".join(f"A-1,2026-03-0{n} 00:00:00\n" for n in range(1, 5))
    batch = send(alder, pat, "incidents", text)
    assert preview_of(batch).notes[-1].startswith("4 of the 4 rows tried out have no time of day")
    imports.choose(batch=batch, options={"midnight": "time"})
    assert preview_of(batch).samples[0].shown["when"] == "2026-03-01 00:00 CET"
    assert {known for _at, known in days_and_times()} == set()
    run(send(alder, pat, "incidents", text), pat)
    assert {known for _at, known in days_and_times()} == {False}


def test_a_date_of_a_workbook_is_a_day(alder, pat, belt_a1):
    book = openpyxl.Workbook()
    for row in [
        ["tag", "when"],
        ["A-1", dt.date(2026, 3, 1)],
        ["A-1", dt.datetime(2026, 3, 2, 10)],  # noqa: DTZ001 - a workbook knows no zone
        ["A-1", dt.datetime(2026, 3, 3)],  # noqa: DTZ001
    ]:
        book.active.append(row)
    buffer = io.BytesIO()
    book.save(buffer)
    run(send(alder, pat, "incidents", buffer.getvalue(), name="log.xlsx"), pat)
    assert [known for _at, known in days_and_times()] == [False, True, False]


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_a_shift_that_ends_at_midnight_is_read_by_the_clock_of_its_file(alder, pat, belt_a1, kind):
    """As its other hours are: a span has no day alone, so its 00:00 is no day of the plant."""
    rows = [["tag", "from", "to"]]
    for day, hour in ((1, 16), (2, 0), (2, 8)):
        start = dt.datetime(2026, 3, day, hour)  # noqa: DTZ001 - a file knows no zone
        rows.append(["A-1", start, start + dt.timedelta(hours=8)])
    buffer = io.BytesIO()
    if kind == "xlsx":
        book = openpyxl.Workbook()
        for row in rows:
            book.active.append(row)
        book.save(buffer)
    else:
        buffer.write("".join(",".join(map(str, row)) + "\n" for row in rows).encode())
    batch = send(alder, pat, "running_hours", buffer.getvalue(), name=f"log.{kind}", options={"time_zone": "UTC"})
    assert counts(run(batch, pat)) == (3, 0, 0, 0), reasons(batch)
    found = RunRecord.objects.order_by("starts_at")
    first = dt.datetime(2026, 3, 1, 16, tzinfo=UTC)
    starts = [first + dt.timedelta(hours=8 * n) for n in range(3)]
    assert [(row.starts_at, row.ends_at) for row in found] == [(at, at + dt.timedelta(hours=8)) for at in starts]


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_days_and_midnights_that_leave_the_site_come_back_as_they_were(client, alder, pat, belt_a1, kind):
    for n, known in enumerate([False, True, True], start=1):
        at = dt.datetime(2026, 3, n, tzinfo=ZoneInfo("Europe/Berlin"))
        record_incident(conveyor=belt_a1, by=pat, happened_at=at, time_is_known=known, severity="spill")
    before = days_and_times()
    client.force_login(pat)
    answer = client.get(f"/incidents/?format={kind}")
    data = b"".join(answer.streaming_content) if answer.streaming else answer.content
    batch = send(alder, pat, "incidents", data, name=f"incidents.{kind}")
    assert counts(run(batch, pat)) == (0, 0, 3, 0), reasons(batch)
    Incident.objects.all().delete()
    assert counts(run(send(alder, pat, "incidents", data, name=f"incidents.{kind}"), pat)) == (3, 0, 0, 0)
    assert days_and_times() == before


def test_a_time_that_becomes_known_later_is_a_correction(alder, pat, belt_a1):
    run(send(alder, pat, "incidents", "tag,when,note\nA-1,2026-03-01,a\n"), pat)
    text = "tag,when,note\nA-1,2026-03-01 00:00,a\n"
    batch = run(send(alder, pat, "incidents", text), pat)
    assert "time of day is known no; the file says yes" in reasons(batch)[2]
    batch = run(send(alder, pat, "incidents", text, options={"known": "correct"}), pat)
    assert counts(batch) == (0, 1, 0, 0)
    assert Incident.objects.current().get().time_is_known is True


def test_other_moments_without_a_time_are_still_taken_at_midnight_and_said_so(alder, pat, belt_a1):
    batch = send(alder, pat, "meter_readings", "tag,date,reading\nA-1,2026-03-01,1000\nA-1,2026-03-02 10:00,1010\n")
    assert preview_of(batch).notes[-1].startswith("1 of the 2 rows tried out stand at 00:00")


def test_words_for_loaded_that_say_neither_are_refused_with_the_remedy(alder, pat, belt_a1):
    text = "tag,when,loaded\n" + "".join(
        f"A-1,2026-03-0{n},{word}\n" for n, word in enumerate(["full", "empty", "", "half", "none"], start=1)
    )
    batch = run(send(alder, pat, "incidents", text), pat)
    assert counts(batch) == (3, 0, 0, 2)
    assert list(Incident.objects.order_by("happened_at").values_list("was_loaded", flat=True)) == [True, False, None]
    assert {line: row.split(" Write")[0] for line, row in reasons(batch).items()} == {
        5: "“half” is neither yes nor no.",
        6: "“none” is neither yes nor no.",
    }
    assert (
        import_corrections.retry_row(row=batch.rejected_rows.first(), by=pat, values={"loaded": "loaded"}) == "written"
    )


def test_tags_are_known_in_any_spelling_and_times_are_of_the_plant(alder, pat, belt_a1):
    run(send(alder, pat, "incidents", "Belt;Date;Time;Note\na1;25.11.2025;06:15;läuft schräg\n".encode("cp1252")), pat)
    row = Incident.objects.get()
    assert (row.conveyor, row.note, row.created_by) == (belt_a1, "läuft schräg", pat)
    assert row.happened_at == dt.datetime(2025, 11, 25, 5, 15, tzinfo=UTC)  # Berlin is one hour ahead in winter


# --- conveyors --------------------------------------------------------------------------------------------------------
BELTS = "tag,area,area name,width [in],speed [ft/min],length [ft],lift [ft],reversing\n"


def test_conveyors_in_customary_units_are_stored_in_si(alder, pat):
    assert (
        counts(run(send(alder, pat, "conveyors", BELTS + 'B-7,B,Blending,"47 1/4",620,"1,500.0",-20,no\n'), pat))[0]
        == 1
    )
    belt = Conveyor.objects.get()
    assert belt.belt_width_mm == pytest.approx(1200.15)  # 47.25 x 25.4
    assert belt.speed_m_s == pytest.approx(620 * 0.3048 / 60)
    assert belt.length_m == pytest.approx(457.2)
    assert belt.lift_m == pytest.approx(-6.096)
    assert (belt.area.code, belt.area.name) == ("B", "Blending")


def test_a_known_conveyor_is_changed_with_its_history_and_empty_cells_leave_it_alone(alder, pat, belt_a1):
    text = "tag,area,width,speed,length,lift,name\na1,A,1400,2.5,200,,\n"
    assert counts(run(send(alder, pat, "conveyors", text, name="belts.csv"), pat)) == (0, 1, 0, 0)
    belt_a1.refresh_from_db()
    assert (belt_a1.belt_width_mm, belt_a1.lift_m, belt_a1.tag) == (1400.0, 10.0, "A-1")
    assert belt_a1.history.first().history_change_reason == "Import of belts.csv"


def test_the_same_file_again_does_not_undo_what_a_person_changed_since(alder, pat, belt_a1):
    text = "tag,area,width,speed,length\na1,A,1400,2.5,200\n"
    run(send(alder, pat, "conveyors", text), pat)
    belt_a1.refresh_from_db()
    change_conveyor(belt_a1, by=pat, version=belt_a1.version, belt_width_mm=1350.0)
    assert counts(run(send(alder, pat, "conveyors", text), pat)) == (0, 0, 1, 0)
    belt_a1.refresh_from_db()
    assert belt_a1.belt_width_mm == 1350.0


def test_negative_lengths_are_refused_with_row_field_and_remedy(alder, pat):
    batch = run(
        send(alder, pat, "conveyors", "tag,area,width,speed,length\nB-1,A,-1200,2,100\nB-2,A,1200,2,100\n"), pat
    )
    assert counts(batch) == (1, 0, 0, 1)
    [row] = batch.rejected_rows.all()
    assert (row.line_number, row.problems[0]["field"]) == (2, "belt_width_mm")
    assert row.problems[0]["reason"] == "“-1200” is negative; belt width is 0 or more. Write the right value."


def test_a_slip_in_an_area_s_name_makes_no_new_area(alder, pat):
    make.area(alder, "CR", "Crushing")
    batch = run(send(alder, pat, "conveyors", "tag,area,width,speed,length\nB-1,Crushin,1200,2,100\n"), pat)
    assert "The nearest is CR Crushing" in reasons(batch)[2]
    assert Area.objects.count() == 1


# --- running hours ----------------------------------------------------------------------------------------------------
def test_spans_with_hours_and_spans_that_ran_all_the_while(alder, pat, belt_a1):
    spans = "belt,from,to,hours\nA-1,2026-03-01 00:00,2026-03-02 00:00,20.5\n"
    assert counts(run(send(alder, pat, "running_hours", spans), pat)) == (1, 0, 0, 0)
    intervals = "belt,start,stop\nA-1,2026-03-02 06:00,2026-03-02 14:30\n"
    assert counts(run(send(alder, pat, "running_hours", intervals), pat)) == (1, 0, 0, 0)
    assert list(RunRecord.objects.order_by("starts_at").values_list("kind", "running_h")) == [
        ("total", 20.5),
        ("running", 8.5),
    ]


def test_a_span_with_mended_hours_is_a_correction_and_only_once(alder, pat, belt_a1):
    head = "belt,from,to,hours\nA-1,2026-03-01 00:00,2026-03-02 00:00,"
    run(send(alder, pat, "running_hours", head + "20\n"), pat)
    assert counts(run(send(alder, pat, "running_hours", head + "21\n"), pat)) == (0, 1, 0, 0)
    assert counts(run(send(alder, pat, "running_hours", head + "21\n"), pat)) == (0, 0, 1, 0)
    assert [row.running_h for row in RunRecord.objects.current()] == [21.0]
    assert RunRecord.objects.count() == 2


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("A-1,2026-03-02 00:00,2026-03-01 00:00,5", "not after it starts"),
        ("A-1,2026-03-01 00:00,2026-03-02 00:00,25", "more than the clock has"),
        ("A-1,2026-03-01 00:00,2026-03-02 00:00,-5", "negative"),
        ("A-1,2026-03-01 00:00,2026-03-02 00:00,Bad", "a logger writes"),
        ("A-1,2026-03-01 00:00,2026-03-02 00:00,", "hours are empty"),
        ("A-1,2097-03-01 00:00,2097-03-02 00:00,5", "in the future"),
    ],
)
def test_hours_that_cannot_be_are_refused(alder, pat, belt_a1, line, words):
    with_kind = f"belt,from,to,hours,kind\n{line},total\n"
    batch = run(send(alder, pat, "running_hours", with_kind), pat)
    assert counts(batch) == (0, 0, 0, 1)
    assert words in reasons(batch)[2]
    assert RunRecord.objects.count() == 0


def test_a_meter_that_jumps_is_refused_and_a_replaced_one_is_not(alder, pat, belt_a1):
    text = (
        "tag,date,reading,event\n"
        "A-1,2026-03-01,1000,\n"
        "A-1,2026-03-02,1400,\n"
        "A-1,2026-03-03,900,\n"
        "A-1,2026-03-04,1060,last of old\n"
        "A-1,2026-03-04,0,first of new\n"
    )
    text = text.replace("last of old", "last_of_old").replace("first of new", "new")
    batch = run(send(alder, pat, "meter_readings", text), pat)
    assert counts(batch) == (3, 0, 0, 2)
    assert "400.0 h in 24.0 h" in reasons(batch)[3]
    assert "backwards" in reasons(batch)[4]
    assert MeterReading.objects.count() == 3


# --- bad input --------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("line", "field", "words"),
    [
        ("A-11,2026-03-01 10:00,drift,", "conveyor", "The nearest tag is A-1."),
        ("QQ-77,2026-03-01 10:00,drift,", "conveyor", "add the conveyor first"),
        ("A-1,2097-03-01 10:00,drift,", "happened_at", "in the future"),
        ("A-1,2026-03-29 02:30,drift,", "happened_at", "did not exist"),
        ("A-1,2025-10-26 02:30,drift,", "happened_at", "came twice"),
        ("A-1,soon,drift,", "happened_at", "not a date"),
        ("A-1,2026-03-01 10:00,awful,", "severity", "Write one of: drift, contact"),
        ("A-1,2026-03-01 10:00,drift", "", "3 cells and the head 4"),
    ],
)
def test_a_bad_row_is_kept_with_field_and_reason_and_stops_no_good_one(alder, pat, belt_a1, line, field, words):
    batch = run(send(alder, pat, "incidents", f"{HEAD}A-1,2026-03-01 09:00,drift,good\n{line}\n"), pat)
    assert counts(batch) == (1, 0, 0, 1)
    [row] = batch.rejected_rows.all()
    assert row.line_number == 3
    assert row.problems[0]["field"] == field
    assert words in row.problems[0]["reason"]
    assert row.values["tag"] == line.split(",")[0] or row.problems[0]["field"] == ""


def test_a_place_beyond_the_belt_is_refused(alder, pat, belt_a1):
    text = "tag,when,strand,chainage [m]\nA-1,2026-03-01,return,250\n"
    assert "off the belt" in reasons(run(send(alder, pat, "incidents", text), pat))[2]


def test_a_refused_row_is_said_in_the_units_of_whoever_sent_the_file(alder, pat, belt_a1):
    pat.unit_system = "us"
    pat.save(update_fields=["unit_system"])
    text = "conveyor,date,severity,chainage m,strand\nA-1,2026-03-01 10:00,drift,300,carry\n"
    assert (
        "Chainage 984.3 ft is off the belt: A-1 reaches from 0 to 656.2 ft."
        in reasons(run(send(alder, pat, "incidents", text), pat))[2]
    )


def test_a_large_file_is_refused_by_its_size_before_it_is_read(alder, pat):
    class Unread(io.BytesIO):
        def read(self, *args):
            raise AssertionError("the file was read")

    with override_settings(LARGEST_IMPORT_MB=50), pytest.raises(Refused, match="200 MB; files up to 50 MB"):
        imports.take_in_file(
            plant=alder, by=pat, subject="incidents", file=Unread(), file_name="big.csv", size=200 * 1024 * 1024
        )
    assert ImportBatch.objects.count() == 0


# --- how much is read -------------------------------------------------------------------------------------------------
def test_more_rows_than_the_site_takes_are_refused_when_sent_and_when_read_later(alder, pat, belt_a1):
    batch = send(alder, pat, "incidents", incidents(30))
    with override_settings(LARGEST_IMPORT_ROWS=20):
        with pytest.raises(Refused, match=r"more than 20 rows.*DRIFTBOOK_LARGEST_IMPORT_ROWS"):
            send(alder, pat, "incidents", incidents(30))
        with pytest.raises(Refused, match="more than 20 rows"):
            preview_of(batch)
    assert ImportBatch.objects.count() == 1


def test_a_page_gives_up_a_file_that_takes_too_long_and_a_job_does_not(alder, pat, belt_a1):
    batch = send(alder, pat, "incidents", incidents(600))
    with override_settings(LARGEST_IMPORT_SECONDS=0):
        for reads in (lambda: send(alder, pat, "incidents", incidents(600)), lambda: preview_of(batch)):
            with pytest.raises(Refused, match=r"takes longer than 0 s and was given up after 256 rows.* Cut it"):
                reads()
        found = import_understanding.understand(batch, import_understanding.limits_in_a_job())
        assert len(found.first_rows) == 600
    job = imports.start_import(batch=batch, by=pat)
    with override_settings(LARGEST_IMPORT_SECONDS=0):
        jobs.do_job(job.pk)
    batch.refresh_from_db()
    assert (batch.state, counts(batch)) == ("done", (600, 0, 0, 0))


def test_a_workbook_that_unpacks_to_more_than_the_site_reads_leaves_nothing(alder, pat):
    book = openpyxl.Workbook()
    for n in range(9000):
        book.active.append([f"A-{n}", f"2026-03-01 {n:05}", "drift", f"row {n} of many"])
    buffer = io.BytesIO()
    book.save(buffer)
    with (
        override_settings(LARGEST_IMPORT_UNPACKED_MB=1),
        pytest.raises(Refused, match=r"up to 1 MB are read.*DRIFTBOOK_LARGEST_IMPORT_UNPACKED_MB"),
    ):
        send(alder, pat, "incidents", buffer.getvalue(), name="log.xlsx")
    assert ImportBatch.objects.count() == 0


def test_a_mended_row_is_not_looked_for_in_its_file_for_longer_than_a_page_waits(alder, pat, belt_a1):
    batch = run(send(alder, pat, "incidents", incidents(600) + "A-l,2026-03-01 10:00,drift,x\n"), pat)
    row = batch.rejected_rows.get()
    with override_settings(LARGEST_IMPORT_SECONDS=0), pytest.raises(Refused, match="given up"):
        import_corrections.retry_row(row=row, by=pat, values={"tag": "A-1"})
    row.refresh_from_db()
    assert row.state == "open"
    assert import_corrections.retry_row(row=row, by=pat, values={"tag": "A-1"}) == "written"


def test_a_tag_that_nobody_knows_is_looked_for_once_however_often_it_comes(alder, pat, belt_a1, monkeypatch):
    asked = []
    monkeypatch.setattr(import_subjects, "nearest_tags", lambda key, known: asked.append(key) or [])
    batch = run(
        send(alder, pat, "incidents", HEAD + "".join(f"QQ-7,2026-03-{n:02},drift,\n" for n in range(1, 29))), pat
    )
    assert (counts(batch), asked) == ((0, 0, 0, 28), ["QQ7"])


def test_text_in_utf_16_comes_in_like_any_other(alder, pat, belt_a1):
    text = "tag\twhen\tnote\nA-1\t2026-03-01 10:00\tläuft schräg\n"
    assert counts(run(send(alder, pat, "incidents", text.encode("utf-16"), name="log.txt"), pat)) == (1, 0, 0, 0)
    assert Incident.objects.get().note == "läuft schräg"


def test_a_zip_bomb_leaves_nothing_behind(alder, pat):
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/workbook.xml", "<workbook/>")
        archive.writestr("xl/worksheets/sheet1.xml", b"0" * 60_000_000)
    with pytest.raises(Refused, match="would unpack to 60 MB"):
        send(alder, pat, "incidents", buffer.getvalue(), name="log.xlsx")
    assert ImportBatch.objects.count() == 0


def test_what_is_no_table_leaves_nothing_behind(alder, pat):
    with pytest.raises(Refused, match="a picture"):
        send(alder, pat, "incidents", b"\x89PNG\r\n\x1a\n" + b"\x00" * 99, name="photo.csv")
    with pytest.raises(Refused, match="nothing that can be imported"):
        send(alder, pat, "photos", "a,b\n")
    assert ImportBatch.objects.count() == 0


def test_a_missing_column_and_doubled_heads_are_asked_before_anything_runs(alder, pat, belt_a1):
    batch = send(alder, pat, "incidents", "tag,remark\nA-1,x\n")
    found = import_understanding.understand(batch)
    assert found.problems[0].startswith("No column was found for: when.")
    with pytest.raises(Refused, match="No column was found for"):
        imports.start_import(batch=batch, by=pat)
    batch = send(alder, pat, "incidents", "tag,Tag,when\nA-1,A-1,2026-03-01\n")
    assert "Two columns may be the conveyor" in import_understanding.understand(batch).problems[0]
    imports.choose(batch=batch, options={"columns": {"conveyor": "Tag (column B)"}})
    assert counts(run(batch, pat)) == (1, 0, 0, 0)


def test_dates_that_read_both_ways_are_asked_and_then_read_as_chosen(alder, pat, belt_a1):
    batch = send(alder, pat, "incidents", "tag,when\nA-1,03/04/2026 10:00\n")
    found = import_understanding.understand(batch)
    assert [each.option for each in found.questions] == ["date_order"]
    assert preview_of(batch).samples[0].shown["when"] == "to be decided"
    with pytest.raises(Refused, match="Choose the order"):
        imports.start_import(batch=batch, by=pat)
    imports.choose(batch=batch, options={"date_order": "mdy"})
    run(batch, pat)
    assert Incident.objects.get().happened_at == dt.datetime(2026, 3, 4, 9, tzinfo=UTC)


def test_a_doubled_hour_may_be_decided_for_the_file(alder, pat, belt_a1):
    batch = send(alder, pat, "incidents", "tag,when\nA-1,2025-10-26 02:30\n")
    assert preview_of(batch).n_wrong == 1
    imports.choose(batch=batch, options={"doubled": "later"})
    run(batch, pat)
    assert Incident.objects.get().happened_at == dt.datetime(2025, 10, 26, 1, 30, tzinfo=UTC)


def test_what_was_understood_shows_rows_as_they_will_be_written(alder, erin, belt_a1):
    batch = send(alder, erin, "incidents", "tag;when;chainage [ft];strand;lost\nA-1;2026-03-01 10:00;328,0;top;1,5\n")
    preview = preview_of(batch)
    found = preview.found
    assert found.reading.decimal == "comma"
    assert [each.column.name for each in found.matched()] == [
        "conveyor",
        "happened_at",
        "strand",
        "chainage_m",
        "minutes_lost",
    ]
    assert list(preview.samples[0].shown.values()) == ["A-1", "2026-03-01 10:00 CET", "carry", "100 m", "1.5 min"]
    assert Incident.objects.count() == 0


def test_a_workbook_with_formulas_and_merged_cells_names_both(alder, pat, belt_a1):
    book = openpyxl.Workbook()
    for row in [
        ["tag", "when", "note"],
        ["A-1", dt.datetime(2026, 3, 1, 10), "one"],  # noqa: DTZ001 - a workbook knows no zone
        ["A-1", "=B2+1", "two"],
        ["A-1", dt.datetime(2026, 3, 3, 10), None],  # noqa: DTZ001
    ]:
        book.active.append(row)
    book.active.merge_cells("C3:C4")
    buffer = io.BytesIO()
    book.save(buffer)
    batch = run(send(alder, pat, "incidents", buffer.getvalue(), name="log.xlsx"), pat)
    assert counts(batch) == (1, 0, 0, 2)
    assert "Cell B3 holds a formula without a saved value" in reasons(batch)[3]
    assert "merged cells C3:C4" in reasons(batch)[4]
    assert Incident.objects.get().happened_at == dt.datetime(2026, 3, 1, 9, tzinfo=UTC)


# --- refused rows -----------------------------------------------------------------------------------------------------
def test_a_refused_row_is_mended_in_place_once(alder, pat, belt_a1):
    batch = run(send(alder, pat, "incidents", HEAD + "A-l,2026-03-01 10:00,drift,x\n"), pat)
    row = batch.rejected_rows.get()
    with pytest.raises(Refused, match="no conveyor “B-9”"):
        import_corrections.retry_row(row=row, by=pat, values={"tag": "B-9"})
    row.refresh_from_db()
    assert (row.state, row.values["tag"]) == ("open", "B-9")
    assert import_corrections.retry_row(row=row, by=pat, values={"tag": "A-1"}) == "written"
    assert import_corrections.retry_row(row=row, by=pat, values={"tag": "A-1"}) == "unchanged"
    batch.refresh_from_db()
    row.refresh_from_db()
    assert (counts(batch), row.state) == ((1, 0, 0, 0), "corrected")
    # The whole file mended elsewhere and sent again brings the same row.
    assert counts(run(send(alder, pat, "incidents", HEAD + "A-1,2026-03-01 10:00,drift,x\n"), pat)) == (0, 0, 1, 0)


def test_a_mended_row_that_equals_another_row_of_its_file_counts_once_until_a_person_says_otherwise(
    alder, pat, belt_a1
):
    text = HEAD + "A-l,2026-03-01 10:00,drift,x\nA-1,2026-03-01 10:00,drift,x\n"
    batch = run(send(alder, pat, "incidents", text), pat)
    row = batch.rejected_rows.get()
    assert import_corrections.retry_row(row=row, by=pat, values={"tag": "A-1"}) == "repeated"
    row.refresh_from_db()
    batch.refresh_from_db()
    assert (row.state, row.values["tag"], counts(batch), batch.n_repeated) == ("repeated", "A-1", (1, 0, 0, 0), 1)
    assert row.problems[0]["reason"].startswith("Equal to line 3 ")
    assert import_corrections.retry_row(row=row, by=pat, is_own_event=True) == "written"
    batch.refresh_from_db()
    assert (counts(batch), batch.n_repeated, Incident.objects.count()) == ((2, 0, 0, 0), 0, 2)
    mended = HEAD + "A-1,2026-03-01 10:00,drift,x\n" * 2
    assert counts(run(send(alder, pat, "incidents", mended, **EACH), pat)) == (0, 0, 2, 0)


def test_a_mended_row_is_an_event_of_its_own_where_the_whole_file_was_sent_so(alder, pat, belt_a1):
    text = HEAD + "A-l,2026-03-01 10:00,drift,x\nA-1,2026-03-01 10:00,drift,x\n"
    batch = run(send(alder, pat, "incidents", text, **EACH), pat)
    assert import_corrections.retry_row(row=batch.rejected_rows.get(), by=pat, values={"tag": "A-1"}) == "written"
    assert Incident.objects.count() == 2


def test_refused_rows_come_as_a_file_that_can_be_mended_and_sent_again(alder, pat, belt_a1):
    text = "tag;when;note;lost\nA-l;2026-03-01 10:00;a, b;1,5\nA-1;2026-03-02 10:00;c;2,5\n"
    batch = run(send(alder, pat, "incidents", text), pat)
    back = "".join(rejected_rows.rejected_as_csv(batch))
    assert back.startswith("\ufeff")
    [row] = csv.DictReader(io.StringIO(back.removeprefix("\ufeff")), delimiter=";")
    assert (row["tag"], row["note"], row["lost"], row["line in the first file"]) == ("A-l", "a, b", "1,5", "2")
    assert "The nearest tag is A-1" in row["reasons"]
    assert counts(run(send(alder, pat, "incidents", back.replace("A-l;", "A-1;").encode()), pat)) == (1, 0, 0, 0)
    assert Incident.objects.get(note="a, b").minutes_lost == 1.5


def test_a_row_left_out_on_purpose_stays_counted_and_cannot_be_written(alder, pat, belt_a1):
    batch = run(send(alder, pat, "incidents", HEAD + "X,2026-03-01 10:00,drift,x\n"), pat)
    row = batch.rejected_rows.get()
    assert import_corrections.drop_row(row=row) is True
    assert import_corrections.drop_row(row=row) is False
    row.refresh_from_db()
    with pytest.raises(Refused, match="left out on purpose"):
        import_corrections.retry_row(row=row, by=pat, values={"tag": "A-1"})
    assert batch.n_refused == 1


# --- all or nothing ---------------------------------------------------------------------------------------------------
def test_all_or_nothing_writes_nothing_when_one_row_is_refused(alder, pat, belt_a1):
    text = incidents(450) + "B-9,2026-03-01 10:00,drift,x\n"
    batch = run(send(alder, pat, "incidents", text), pat, all_or_nothing=True)
    assert (batch.state, batch.n_written, batch.n_refused) == ("refused", 0, 1)
    assert Incident.objects.count() == 0
    assert batch.rejected_rows.get().line_number == 452
    with pytest.raises(Refused, match="written as a whole"):
        import_corrections.retry_row(row=batch.rejected_rows.get(), by=pat, values={"tag": "A-1"})
    # The person may then take the good rows after all.
    batch = run(batch, pat, all_or_nothing=False)
    assert (batch.state, counts(batch)) == ("done", (450, 0, 0, 1))


def test_all_or_nothing_writes_all_when_all_are_good(alder, pat, belt_a1):
    batch = run(send(alder, pat, "incidents", incidents(450)), pat, all_or_nothing=True)
    assert (batch.state, counts(batch)) == ("done", (450, 0, 0, 0))


# --- workers ----------------------------------------------------------------------------------------------------------
def die_after(monkeypatch, n_chunks):
    """The worker is killed when it comes to the chunk after these: nothing of its own code runs any more."""
    real, seen = import_writing.write_rows, []

    def write_rows(*args, **kwargs):
        if len(seen) >= n_chunks:
            raise SystemExit("killed")
        seen.append(1)
        return real(*args, **kwargs)

    monkeypatch.setattr(import_writing, "write_rows", write_rows)


def test_a_killed_worker_s_import_goes_on_where_it_was_and_ends_complete_once(alder, pat, belt_a1, monkeypatch):
    twice = "A-1,2026-03-25 10:00,drift,x\n"
    text = HEAD + twice + incidents(500).removeprefix(HEAD) + "B-9,2026-03-01 10:00,drift,bad\n" + twice
    batch = send(alder, pat, "incidents", text, **EACH)
    job = imports.start_import(batch=batch, by=pat)
    with monkeypatch.context() as patch:
        die_after(patch, 1)
        with pytest.raises(SystemExit):
            jobs.do_job(job.pk)
    batch.refresh_from_db()
    job.refresh_from_db()
    assert (batch.state, batch.rows_done, batch.n_written, job.state) == ("running", 200, 200, "running")
    assert Incident.objects.count() == 200

    assert jobs.do_job(job.pk) is False  # its holder is not silent for long enough yet
    Job.objects.filter(pk=job.pk).update(heartbeat_at=timezone.now() - dt.timedelta(minutes=5), nudged_at=None)
    assert jobs.sweep_jobs() == 1  # the sweep finds it ...
    assert jobs.do_job(job.pk) is True  # ... and another worker ends it
    batch.refresh_from_db()
    assert (batch.state, counts(batch), batch.rows_done) == ("done", (502, 0, 0, 1), 503)
    assert Incident.objects.count() == 502
    assert jobs.do_job(job.pk) is False
    assert counts(run(send(alder, pat, "incidents", text, **EACH), pat)) == (0, 0, 502, 1)


def test_a_chunk_that_dies_half_way_leaves_nothing(alder, pat, belt_a1, monkeypatch):
    # The good rows are written many at a time, the refused one is tried alone; there the worker dies.
    batch = send(alder, pat, "incidents", incidents(150) + "A-1,2097-03-01 10:00,drift,ahead\n")
    job = imports.start_import(batch=batch, by=pat)

    def write_one(*args):
        assert Incident.objects.count() > 100
        raise SystemExit("killed")

    with monkeypatch.context() as patch:
        patch.setattr(import_writing, "write_one", write_one)
        with pytest.raises(SystemExit):
            jobs.do_job(job.pk)
    assert Incident.objects.count() == 0
    assert ImportBatch.objects.get().rows_done == 0


def test_of_two_workers_at_once_only_one_writes(alder, pat, belt_a1, monkeypatch):
    batch = send(alder, pat, "incidents", incidents(450))
    job = imports.start_import(batch=batch, by=pat)
    slow = jobs.take_job(job.pk)
    real, calls = import_writing.write_rows, []

    def write_rows(*args):
        calls.append(1)
        if len(calls) == 2:
            # The first worker hangs before its second chunk; another takes over and ends the file.
            monkeypatch.setattr(import_writing, "write_rows", real)
            late = timezone.now() + dt.timedelta(minutes=5)
            other = jobs.take_job(job.pk, now=late)
            import_writing.run_import(other, batch.pk)
        return real(*args)

    monkeypatch.setattr(import_writing, "write_rows", write_rows)
    with pytest.raises(JobLost):
        import_writing.run_import(slow, batch.pk)
    # The hung worker's transaction is taken back whole, with the other's inside it on this one connection; so the
    # file stands where the last whole chunk left it, and a further worker ends it.
    batch.refresh_from_db()
    assert batch.rows_done == 200
    assert Incident.objects.count() == 200
    Job.objects.filter(pk=job.pk).update(heartbeat_at=timezone.now() - dt.timedelta(minutes=5))
    assert jobs.do_job(job.pk) is True
    batch.refresh_from_db()
    assert (batch.state, counts(batch)) == ("done", (450, 0, 0, 0))
    assert Incident.objects.count() == 450


def test_a_worker_that_lost_its_job_writes_nothing_more(alder, pat, belt_a1):
    batch = send(alder, pat, "incidents", incidents(10))
    job = imports.start_import(batch=batch, by=pat)
    first = jobs.take_job(job.pk)
    second = jobs.take_job(job.pk, now=timezone.now() + dt.timedelta(minutes=5))
    with pytest.raises(JobLost):
        import_writing.run_import(first, batch.pk)
    assert Incident.objects.count() == 0
    import_writing.run_import(second, batch.pk)
    assert Incident.objects.count() == 10


def test_a_person_stops_an_import_and_lets_it_go_on(alder, pat, belt_a1, monkeypatch):
    batch = send(alder, pat, "incidents", incidents(450))
    job = imports.start_import(batch=batch, by=pat)
    real = import_writing.write_rows

    def write_rows(*args):
        imports.stop_import(batch=ImportBatch.objects.get(pk=batch.pk))
        return real(*args)

    with monkeypatch.context() as patch:
        patch.setattr(import_writing, "write_rows", write_rows)
        jobs.do_job(job.pk)
    job.refresh_from_db()
    batch.refresh_from_db()
    assert (job.state, batch.rows_done, Incident.objects.count()) == ("stopped", 200, 200)
    assert counts(run(batch, pat)) == (450, 0, 0, 0)
    assert Incident.objects.count() == 450


def test_pressing_start_twice_asks_for_one_job(alder, pat, belt_a1):
    batch = send(alder, pat, "incidents", incidents(3))
    job = imports.start_import(batch=batch, by=pat)
    assert imports.start_import(batch=ImportBatch.objects.get(pk=batch.pk), by=pat) == job
    jobs.do_job(job.pk)
    with pytest.raises(Refused, match="written already"):
        imports.start_import(batch=ImportBatch.objects.get(pk=batch.pk), by=pat)
    assert Job.objects.count() == 1


@pytest.mark.parametrize(
    ("option", "words"),
    [
        ({"time_zone": "Mars/Crater"}, "Give a time zone such as Europe/Berlin"),
        ({"encoding": "hex"}, "no choice for encoding"),
        ({"delimiter": "a"}, "no choice for delimiter"),
        ({"date_order": "ymd"}, "Choose one of: 'dmy', 'mdy'"),
        ({"header_line": "first"}, "give a line from 1 to 1000"),
    ],
)
def test_a_choice_that_is_not_offered_is_refused(alder, pat, belt_a1, option, words):
    batch = send(alder, pat, "incidents", incidents(3))
    with pytest.raises(Refused, match=words):
        imports.choose(batch=batch, options=option)


def test_a_choice_made_while_somebody_else_starts_the_file_changes_nothing(alder, pat, belt_a1):
    mine = send(alder, pat, "incidents", incidents(3))
    imports.start_import(batch=ImportBatch.objects.get(pk=mine.pk), by=pat)
    with pytest.raises(Refused, match="Somebody else started"):
        imports.choose(batch=mine, options={"date_order": "mdy"})
    assert ImportBatch.objects.get().options["date_order"] == "dmy"


def test_a_file_that_is_gone_from_the_disk_is_said_to_be(alder, pat, belt_a1):
    batch = send(alder, pat, "incidents", incidents(3))
    batch.file.storage.delete(batch.file.name)
    with pytest.raises(Refused, match="Send it again"):
        imports.start_import(batch=batch, by=pat)


def test_refused_text_is_no_formula_for_a_spreadsheet_and_comes_back_as_it_was(alder, pat, belt_a1):
    text = HEAD + "A-l,2026-03-01 10:00,drift,=HYPERLINK(1)\n"
    back = "".join(rejected_rows.rejected_as_csv(run(send(alder, pat, "incidents", text), pat)))
    assert ",'=HYPERLINK(1)," in back
    run(send(alder, pat, "incidents", back.replace("A-l,", "A-1,", 1).encode()), pat)
    assert Incident.objects.get().note == "=HYPERLINK(1)"


def test_choices_are_settled_once_it_runs(alder, pat, belt_a1):
    batch = run(send(alder, pat, "incidents", incidents(3)), pat)
    with pytest.raises(Refused, match="settled"):
        imports.choose(batch=batch, options={"date_order": "mdy"})


def test_rows_of_another_plant_are_out_of_reach(alder, pat, belt_a1, belt_z9):
    batch = run(send(alder, pat, "incidents", HEAD + "Z-9,2026-03-01 10:00,drift,x\n"), pat)
    assert "no conveyor “Z-9” in Alder Pit" in reasons(batch)[2]
    assert RejectedRow.objects.count() == 1


def test_an_incident_that_a_person_corrected_is_still_known(alder, pat, belt_a1):
    text = HEAD + "A-1,2026-03-01 10:00,drift,x\n"
    run(send(alder, pat, "incidents", text), pat)

    correct_incident(row=Incident.objects.get(), by=pat, reason="It was contact.", severity="contact")
    record_incident(conveyor=belt_a1, by=pat, happened_at=dt.datetime(2026, 3, 5, tzinfo=UTC), severity="spill")
    assert counts(run(send(alder, pat, "incidents", text), pat)) == (0, 0, 1, 0)
    assert Incident.objects.current().count() == 2
