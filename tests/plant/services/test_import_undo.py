"""A file taken back whole: what it brought goes, what it changed is as before, what people went on with stays."""

from __future__ import annotations

import datetime as dt

import pytest

from plant.errors import Refused
from plant.models import Area, Conveyor, ImportBatch, ImportedRecord, Incident, Job, MeterReading, RunRecord
from plant.services import import_undo, imports, jobs
from plant.services.conveyors import add_part, change_conveyor
from plant.services.import_corrections import retry_row
from plant.services.incidents import correct_incident, record_incident, withdraw_incident
from plant.services.job_kinds import JobLost
from tests import make
from tests.plant.services.test_imports import (  # noqa: F401
    HEAD,
    counts,
    files_of_the_test,
    incidents,
    reasons,
    run,
    send,
)
from tests.plant.services.test_imports_known import AT, MOMENT, correcting, rows


def undo(batch, by, reason="the wrong year"):
    job = import_undo.take_back(batch=batch, by=by, reason=reason)
    jobs.do_job(job.pk)
    batch.refresh_from_db()
    job.refresh_from_db()
    assert job.state == "done", job.error
    return batch


def current():
    return list(Incident.objects.current().order_by("happened_at", "pk").values_list("severity", "note"))


def told(batch):
    found = import_undo.preview_of_undo(batch)
    return found.n_withdrawn, found.n_as_before, found.n_removed, found.n_stays


# --- entries ----------------------------------------------------------------------------------------------------------
def test_rows_that_the_file_brought_no_longer_count_and_can_still_be_seen(alder, pat, erin, belt_a1):
    record_incident(
        conveyor=belt_a1, by=pat, happened_at=MOMENT - dt.timedelta(days=9), severity="spill", note="by hand"
    )
    batch = run(send(alder, pat, "incidents", incidents(30)), pat)
    assert told(batch) == (30, 0, 0, 0)
    undo(batch, erin)
    assert (batch.state, batch.n_taken_back, batch.n_staying) == (ImportBatch.State.TAKEN_BACK, 30, 0)
    assert current() == [("spill", "by hand")]
    gone = Incident.objects.filter(is_withdrawn=True)
    assert gone.count() == 30
    assert {(each.created_by, each.correction_reason) for each in gone} == {
        (erin, "rows.csv was taken back: the wrong year")
    }


def test_what_it_corrected_is_as_it_was_before(alder, pat, erin, belt_a1):
    run(send(alder, pat, "incidents", rows(AT + "drift,a")), pat)
    batch = correcting(alder, erin, rows(AT + "damage,b", "A-1,2026-03-04 10:00,drift,z"), name="march.csv")
    assert told(batch) == (1, 1, 0, 0)
    undo(batch, erin)
    assert current() == [("drift", "a")]
    assert batch.n_taken_back == 2


def test_what_people_corrected_or_withdrew_since_stays_as_they_left_it(alder, pat, erin, belt_a1):
    batch = run(send(alder, pat, "incidents", incidents(5)), pat)
    first, second = Incident.objects.order_by("happened_at")[:2]
    correct_incident(row=first, by=erin, reason="It was contact.", severity="contact")
    withdraw_incident(row=second, by=erin, reason="A test.")
    found = import_undo.preview_of_undo(batch)
    assert (found.n_withdrawn, found.n_stays) == (3, 2)
    assert [each.why for each in found.stays] == [
        "corrected by erin (“It was contact.”)",
        "withdrawn by erin (“A test.”)",
    ]
    undo(batch, pat)
    assert current() == [("contact", "row 0")]
    assert (batch.n_taken_back, batch.n_staying) == (3, 2)


def test_what_a_later_file_corrected_stays_until_that_one_goes(alder, pat, belt_a1):
    first = run(send(alder, pat, "incidents", rows(AT + "drift,a")), pat)
    second = correcting(alder, pat, rows(AT + "damage,b"), name="later.csv")
    assert told(first) == (0, 0, 0, 1)
    undo(first, pat)
    assert current() == [("damage", "b")]
    undo(second, pat)
    assert current() == [], "the file that brought it is taken back, so nothing stands before the later one"


def test_the_later_file_first_and_then_the_earlier(alder, pat, belt_a1):
    first = run(send(alder, pat, "incidents", rows(AT + "drift,a")), pat)
    second = correcting(alder, pat, rows(AT + "damage,b"), name="later.csv")
    undo(second, pat)
    assert current() == [("drift", "a")]
    undo(first, pat)
    assert current() == []


def test_hours_and_readings_go_too(alder, pat, belt_a1):
    spans = "belt,from,to,hours\nA-1,2026-03-01 00:00,2026-03-02 00:00,20\nA-1,2026-03-02 00:00,2026-03-03 00:00,21\n"
    undo(run(send(alder, pat, "running_hours", spans), pat), pat)
    assert RunRecord.objects.current().count() == 0
    undo(run(send(alder, pat, "meter_readings", "tag,date,reading\nA-1,2026-03-01,1000\n"), pat), pat)
    assert MeterReading.objects.current().count() == 0


def test_kept_ledgers_learn_of_it(alder, pat, belt_a1):
    from plant.selectors.running_hours import hours_of

    text = "belt,from,to,hours\nA-1,2026-03-01 00:00,2026-03-02 00:00,20\n"
    batch = run(send(alder, pat, "running_hours", text), pat)
    span = (dt.datetime(2026, 2, 28, tzinfo=dt.UTC), dt.datetime(2026, 3, 3, tzinfo=dt.UTC))

    def hours():
        belts = Conveyor.objects.filter(pk=belt_a1.pk)
        return hours_of(belts)[belt_a1.pk].ledger.hours(*span).running_h

    assert hours() == pytest.approx(20)
    undo(batch, pat)
    assert hours() == 0


# --- sent again -------------------------------------------------------------------------------------------------------
def test_the_file_can_be_sent_again_and_counts_again(alder, pat, belt_a1):
    undo(run(send(alder, pat, "incidents", incidents(5)), pat), pat)
    again = run(send(alder, pat, "incidents", incidents(5)), pat)
    assert counts(again) == (5, 0, 0, 0), reasons(again)
    assert len(current()) == 5
    assert counts(run(send(alder, pat, "incidents", incidents(5)), pat)) == (0, 0, 5, 0)
    undo(again, pat)
    assert current() == []
    third = run(send(alder, pat, "incidents", incidents(5)), pat)
    assert counts(third) == (5, 0, 0, 0), reasons(third)


def test_sent_again_put_right_it_says_what_the_new_file_says_and_nothing_of_the_old(alder, pat, belt_a1):
    undo(run(send(alder, pat, "incidents", rows(AT + "damage,wrong")), pat), pat)
    fresh = run(send(alder, pat, "incidents", "tag,when,minutes lost\nA-1,2026-03-01 10:00,25\n"), pat)
    assert counts(fresh) == (1, 0, 0, 0), reasons(fresh)
    row = Incident.objects.current().get()
    assert (row.severity, row.note, row.minutes_lost) == (Incident._meta.get_field("severity").get_default(), "", 25)


def test_a_correction_can_be_sent_again(alder, pat, belt_a1):
    run(send(alder, pat, "incidents", rows(AT + "drift,a")), pat)
    undo(correcting(alder, pat, rows(AT + "damage,b"), name="march.csv"), pat)
    again = correcting(alder, pat, rows(AT + "damage,b"), name="march again.csv")
    assert counts(again) == (0, 1, 0, 0), reasons(again)
    assert current() == [("damage", "b")]


def test_hours_can_be_sent_again(alder, pat, belt_a1):
    text = "belt,from,to,hours\nA-1,2026-03-01 00:00,2026-03-02 00:00,20\n"
    undo(run(send(alder, pat, "running_hours", text), pat), pat)
    again = run(send(alder, pat, "running_hours", text.replace("20\n", "21\n")), pat)
    assert counts(again) == (1, 0, 0, 0), reasons(again)
    assert [each.running_h for each in RunRecord.objects.current()] == [21.0]


# --- records ----------------------------------------------------------------------------------------------------------
BELTS = "tag,name,area,width,speed,length\nN-1,North,N,1200,2.5,200\nN-2,North two,N,1000,2,150\nA-1,Renamed,,,,\n"


@pytest.fixture
def belts(alder, pat, belt_a1):
    batch = run(send(alder, pat, "conveyors", BELTS), pat)
    assert counts(batch) == (2, 1, 0, 0), reasons(batch)
    return batch


def test_conveyors_that_nothing_hangs_on_disappear_and_changed_ones_are_as_before(alder, pat, belt_a1, belts):
    name = Conveyor.history.filter(id=belt_a1.pk).earliest("history_id").name
    assert told(belts) == (0, 1, 3, 0), "two belts and their area"
    assert Conveyor.objects.by_tag(alder, "N-1").exists(), "a preview changes nothing"
    undo(belts, pat)
    assert list(Conveyor.objects.of_plant(alder).values_list("tag", "name")) == [("A-1", name)]
    assert not Area.objects.of_plant(alder).filter(code="N").exists()
    assert Conveyor.history.filter(tag="N-1", history_type="-").get().history_user == pat
    assert counts(run(send(alder, pat, "conveyors", BELTS), pat)) == (2, 1, 0, 0)


def test_a_conveyor_in_use_stays_with_its_area_and_says_why(alder, pat, belts):
    belt = Conveyor.objects.by_tag(alder, "N-1").get()
    add_part(conveyor=belt, by=pat, kind="drift_switch", chainage_m=30, label="DS-3")
    found = import_undo.preview_of_undo(belts)
    assert (found.n_removed, found.n_as_before, found.n_stays) == (1, 1, 2)
    assert {(each.what.split()[0], each.why) for each in found.stays} == {
        ("N-1", "in use: parts of the conveyor"),
        ("N", "in use: conveyors"),
    }
    undo(belts, pat)
    assert Conveyor.objects.by_tag(alder, "N-1").exists()
    assert belts.n_staying == 2


def test_what_a_person_changed_since_stays(alder, pat, erin, belt_a1, belts):
    belt = Conveyor.objects.get(pk=belt_a1.pk)
    change_conveyor(belt, by=erin, version=belt.version, speed_m_s=3.1)
    undo(belts, pat)
    belt.refresh_from_db()
    assert (belt.name, belt.speed_m_s) == ("Renamed", 3.1)
    assert belts.n_staying == 1


def test_two_files_that_changed_the_same_record_go_one_after_the_other(alder, pat, belt_a1, belts):
    name = Conveyor.history.filter(id=belt_a1.pk).earliest("history_id").name
    later = run(send(alder, pat, "conveyors", "tag,name\nA-1,Renamed once more\n"), pat)
    assert told(belts)[3] == 1, "a later file changed it"
    undo(later, pat)
    assert Conveyor.objects.get(pk=belt_a1.pk).name == "Renamed"
    undo(belts, pat)
    assert Conveyor.objects.get(pk=belt_a1.pk).name == name


# --- bad times --------------------------------------------------------------------------------------------------------
def test_a_reason_is_needed(alder, pat, belt_a1):
    batch = run(send(alder, pat, "incidents", incidents(2)), pat)
    with pytest.raises(Refused, match="Say why"):
        import_undo.take_back(batch=batch, by=pat, reason=" ")
    assert len(current()) == 2


def test_a_second_time_is_refused_and_two_at_once_get_one_job(alder, pat, erin, belt_a1):
    batch = run(send(alder, pat, "incidents", incidents(2)), pat)
    one = import_undo.take_back(batch=batch, by=pat, reason="x")
    assert import_undo.take_back(batch=ImportBatch.objects.get(pk=batch.pk), by=erin, reason="y") == one
    jobs.do_job(one.pk)
    with pytest.raises(Refused, match="pat took this file back already"):
        import_undo.take_back(batch=batch, by=erin, reason="y")
    with pytest.raises(Refused, match="took this file back already"):
        import_undo.preview_of_undo(ImportBatch.objects.get(pk=batch.pk))
    assert Job.objects.filter(kind="import-undo").count() == 1


def test_a_file_of_which_nothing_is_written_is_refused(alder, pat, belt_a1):
    with pytest.raises(Refused, match="Nothing of this file"):
        import_undo.take_back(batch=send(alder, pat, "incidents", incidents(2)), by=pat, reason="x")
    running = send(alder, pat, "incidents", incidents(2), name="b.csv")
    imports.start_import(batch=running, by=pat)
    with pytest.raises(Refused, match="stop that first"):
        import_undo.take_back(batch=running, by=pat, reason="x")


def test_killed_half_way_the_rest_goes_with_the_next(alder, pat, belt_a1, monkeypatch):
    batch = run(send(alder, pat, "incidents", incidents(90)), pat)
    monkeypatch.setattr(import_undo, "CHUNK", 20)
    job = import_undo.take_back(batch=batch, by=pat, reason="x")
    real, seen = import_undo.undo_chunk, []

    def dies(*args):
        if len(seen) == 2:
            raise KeyboardInterrupt
        seen.append(1)
        return real(*args)

    monkeypatch.setattr(import_undo, "undo_chunk", dies)
    with pytest.raises(KeyboardInterrupt):
        jobs.do_job(job.pk)
    assert len(current()) == 50
    monkeypatch.setattr(import_undo, "undo_chunk", real)
    Job.objects.filter(pk=job.pk).update(state="waiting", holder="")
    jobs.do_job(job.pk)
    batch.refresh_from_db()
    assert (batch.state, batch.n_taken_back, current()) == (ImportBatch.State.TAKEN_BACK, 90, [])
    assert Incident.objects.filter(is_withdrawn=True).count() == 90


def test_stopped_it_goes_on(alder, pat, belt_a1):
    batch = run(send(alder, pat, "incidents", incidents(3)), pat)
    job = import_undo.take_back(batch=batch, by=pat, reason="x")
    Job.objects.filter(pk=job.pk).update(state="stopped")
    batch.refresh_from_db()
    assert batch.standing == "interrupted"
    undo(ImportBatch.objects.get(pk=batch.pk), pat, reason="")
    assert current() == []


def test_an_import_that_was_stopped_half_way_is_taken_back_so_far(alder, pat, belt_a1):
    batch = run(send(alder, pat, "incidents", incidents(3)), pat)
    Job.objects.filter(pk=batch.job_id).update(state="stopped")
    ImportBatch.objects.filter(pk=batch.pk).update(state="running", rows_done=2)
    batch.refresh_from_db()
    undo(batch, pat)
    assert current() == []


def test_a_file_from_before_records_were_noted_is_not_said_to_be_taken_back(alder, pat, belts):
    ImportedRecord.objects.all().delete()
    for ask in (
        lambda: import_undo.preview_of_undo(belts),
        lambda: import_undo.take_back(batch=belts, by=pat, reason="x"),
    ):
        with pytest.raises(Refused, match="was not kept"):
            ask()
    belts.refresh_from_db()
    assert belts.state == ImportBatch.State.DONE


def test_records_stopped_after_the_last_one_went_go_on_to_the_end(alder, pat, belts):
    """What the file did to records is forgotten as each is put back: that is no file from before."""
    undo(belts, pat)
    ImportBatch.objects.filter(pk=belts.pk).update(state="taking_back")
    Job.objects.filter(pk=belts.job_id).update(state="stopped")
    undo(ImportBatch.objects.get(pk=belts.pk), pat, reason="")


def test_queries_do_not_grow_with_the_rows(alder, pat, belt_a1, django_assert_max_num_queries):
    batch = run(send(alder, pat, "incidents", incidents(150)), pat)
    make.incident(belt_a1, MOMENT)
    job = import_undo.take_back(batch=batch, by=pat, reason="x")
    with django_assert_max_num_queries(60):
        jobs.do_job(job.pk)


def test_a_worker_that_lost_the_job_takes_nothing_back(alder, pat, belt_a1, belts):
    entries = run(send(alder, pat, "incidents", incidents(3)), pat)
    for batch in (entries, belts):
        n_belts = Conveyor.objects.count()
        job = import_undo.take_back(batch=batch, by=pat, reason="x")
        slow = jobs.take_job(job.pk)
        Job.objects.filter(pk=job.pk).update(holder="another")
        with pytest.raises(JobLost):
            import_undo.run_undo(slow, batch.pk)
        batch.refresh_from_db()
        assert (batch.state, batch.n_taken_back) == (ImportBatch.State.TAKING_BACK, 0)
        assert (len(current()), Conveyor.objects.count()) == (3, n_belts)


def test_what_was_put_back_before_a_stop_is_not_said_to_stay(alder, pat, belt_a1, monkeypatch):
    run(send(alder, pat, "incidents", rows(AT + "drift,a", "A-1,2026-03-04 10:00,drift,b")), pat)
    batch = correcting(alder, pat, rows(AT + "damage,a", "A-1,2026-03-04 10:00,damage,b"), name="later.csv")
    monkeypatch.setattr(import_undo, "CHUNK", 1)
    job = import_undo.take_back(batch=batch, by=pat, reason="x")
    handle, found = jobs.take_job(job.pk), import_undo.Undone()
    next(import_undo.undo_entries(ImportBatch.objects.get(pk=batch.pk), handle, found, "x"))
    Job.objects.filter(pk=job.pk).update(state="stopped")
    assert told(ImportBatch.objects.get(pk=batch.pk)) == (0, 1, 0, 0)
    undo(ImportBatch.objects.get(pk=batch.pk), pat, reason="")
    batch.refresh_from_db()
    assert (batch.n_taken_back, batch.n_staying) == (2, 0)
    assert current() == [("drift", "a"), ("drift", "b")]


def test_a_row_that_cannot_stand_as_before_stays_and_the_others_go(alder, pat, belt_a1):
    """Its severity is none of today's list."""
    run(send(alder, pat, "incidents", rows(AT + "drift,a")), pat)
    batch = correcting(alder, pat, rows(AT + "damage,b", "A-1,2026-03-04 10:00,drift,z"), name="later.csv")
    Incident.objects.filter(severity="drift", note="a").update(severity="scuffed")
    undo(batch, pat)
    assert (batch.state, batch.n_taken_back, batch.n_staying) == (ImportBatch.State.TAKEN_BACK, 1, 1)
    assert current() == [("damage", "b")]


def test_a_chunk_of_which_a_row_is_corrected_at_that_moment_is_looked_at_anew(alder, pat, erin, belt_a1, monkeypatch):
    batch = run(send(alder, pat, "incidents", incidents(3)), pat)
    real, n_tried = import_undo.withdraw_many, []

    def too_late(fresh, **more):
        n_tried.append(len(fresh))
        if len(n_tried) == 1:
            raise Refused("Somebody else corrected one of these rows at the same moment.", code="corrected")
        if len(n_tried) == 2:  # undone with the chunk, as the data base would have it
            correct_incident(row=fresh[0], by=erin, reason="It was contact.", severity="contact")
        return real(fresh, **more)

    monkeypatch.setattr(import_undo, "withdraw_many", too_late)
    undo(batch, pat)
    assert n_tried == [3, 3, 3]
    assert (batch.n_taken_back, batch.n_staying, current()) == (3, 0, [])


@pytest.mark.parametrize("is_over", [True, False])
def test_a_file_taken_back_is_written_no_further(alder, pat, belt_a1, is_over):
    text = f"{incidents(3)}A-1,no day,,,\n"
    batch = run(send(alder, pat, "incidents", text), pat)
    [row] = batch.rejected_rows.open()
    if is_over:
        undo(batch, pat)
    else:
        job = import_undo.take_back(batch=batch, by=pat, reason="x")
        Job.objects.filter(pk=job.pk).update(state="stopped")
    batch = ImportBatch.objects.get(pk=batch.pk)
    state, n = batch.state, len(current())
    with pytest.raises(Refused, match="taken back"):
        imports.start_import(batch=batch, by=pat)
    [head] = [head for head, cell in row.values.items() if cell == "no day"]
    with pytest.raises(Refused, match="taken back"):
        retry_row(row=row, by=pat, values={head: "2026-03-20 10:00"})
    batch.refresh_from_db()
    row.refresh_from_db()
    assert (batch.state, len(current()), row.state) == (state, n, "open")


def test_a_refused_row_that_was_mended_goes_with_its_file(alder, pat, erin, belt_a1):
    batch = run(send(alder, pat, "incidents", f"{incidents(3)}A-1,no day,,,\n"), pat)
    [row] = batch.rejected_rows.open()
    [head] = [head for head, cell in row.values.items() if cell == "no day"]
    assert retry_row(row=row, by=erin, values={head: "2026-03-20 10:00"}) == "written"
    assert len(current()) == 4
    undo(ImportBatch.objects.get(pk=batch.pk), pat)
    assert current() == []


def test_a_row_that_was_put_back_is_one_event_to_a_file_with_two(alder, pat, belt_a1):
    run(send(alder, pat, "incidents", rows(AT + "drift,a")), pat)
    undo(correcting(alder, pat, rows(AT + "damage,a"), name="later.csv"), pat)
    two = send(alder, pat, "incidents", rows(AT + "drift,a", AT + "drift,a"), name="two.csv")
    imports.choose(batch=two, options={"equal": "each"})
    assert counts(run(two, pat)) == (1, 0, 1, 0)
    assert current() == [("drift", "a"), ("drift", "a")]
    again = send(alder, pat, "incidents", rows(AT + "drift,a", AT + "drift,a"), name="again.csv")
    imports.choose(batch=again, options={"equal": "each"})
    assert counts(run(again, pat)) == (0, 0, 2, 0)
