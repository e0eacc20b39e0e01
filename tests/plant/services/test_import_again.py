"""Refused rows all at once: tried again, kept as they are, left out, taken up again; each written once."""

from __future__ import annotations

import pytest

from plant.errors import Refused
from plant.models import ImportBatch, Incident, Job, MeterReading
from plant.services import import_again, jobs
from tests import make
from tests.plant.services.test_imports import HEAD, counts, files_of_the_test, reasons, run, send  # noqa: F401
from tests.plant.services.test_own_words import say

SIDES = "tag,when,severity,side\n" + "".join(
    f"A-1,2026-03-{day:02} 10:00,drift,{side}\n"
    for day, side in enumerate(("links", "rechts", "links", "oben"), start=1)
)


def do(batch, by, act, code=""):
    job = import_again.ask_again(batch=batch, by=by, act=act, code=code)
    jobs.do_job(job.pk)
    batch.refresh_from_db()
    job.refresh_from_db()
    assert job.state == "done", job.problem
    return batch


@pytest.fixture
def refused(alder, pat, belt_a1):
    return run(send(alder, pat, "incidents", SIDES), pat)


def test_words_of_refused_rows_are_found_with_how_often_they_come(refused):
    assert [(each.written, each.n) for each in import_again.unknown_words(refused)] == [
        ("links", 2), ("rechts", 1), ("oben", 1)
    ]  # fmt: skip


def test_once_their_words_are_said_all_are_written(alder, pat, refused):
    say(alder, pat, ("side", "links", "drive"), ("side", "rechts", "off"))
    batch = do(refused, pat, "retry")
    assert counts(batch) == (3, 0, 0, 1), reasons(batch)
    assert [each.side for each in Incident.objects.order_by("happened_at")] == ["drive", "off", "drive"]
    assert [each.written for each in import_again.unknown_words(batch)] == ["oben"]
    assert batch.state == ImportBatch.State.DONE


def test_nothing_is_written_twice(alder, pat, refused):
    say(alder, pat, ("side", "links", "drive"))
    do(refused, pat, "retry")
    do(refused, pat, "retry")
    assert counts(run(send(alder, pat, "incidents", SIDES, name="again.csv"), pat))[0] == 0
    assert Incident.objects.count() == 2


def test_two_who_press_at_once_get_one_job(refused, pat, erin):
    one = import_again.ask_again(batch=refused, by=pat, act="retry")
    stale = ImportBatch.objects.get(pk=refused.pk)
    with pytest.raises(Refused, match="being written"):
        import_again.ask_again(batch=stale, by=erin, act="retry")
    assert Job.objects.filter(kind="import-again").get() == one


def test_a_belt_that_was_added_since_is_found(alder, pat, belt_a1):
    batch = run(
        send(alder, pat, "incidents", HEAD + "B-7,2026-03-01 10:00,drift,x\nB-7,2026-03-02 10:00,drift,y\n"), pat
    )
    assert counts(batch) == (0, 0, 0, 2)
    make.conveyor(alder, tag="B-7")
    assert counts(do(batch, pat, "retry")) == (2, 0, 0, 0)


def test_events_that_are_equal_stay_apart_from_one_another(alder, pat, belt_a1):
    row = "A-1,2026-03-01 10:00,drift,same\n"
    batch = run(send(alder, pat, "incidents", HEAD + row * 4), pat)
    assert (batch.n_written, batch.n_repeated) == (1, 3)
    batch = do(batch, pat, "own")
    assert (batch.n_written, batch.n_repeated) == (4, 0)
    assert Incident.objects.count() == 4
    assert {each.state for each in batch.rejected_rows.all()} == {"own"}
    with pytest.raises(Refused, match="waits any more"):
        import_again.ask_again(batch=batch, by=pat, act="own")


def test_rows_refused_and_equal_in_one_file_keep_keys_of_their_own(alder, pat, belt_a1):
    """Two that are equal and were both refused: one is written, the other is its equal."""
    text = "tag,when,severity,side,note\n" + "A-1,2026-03-01 10:00,drift,links,n\n" * 2
    batch = run(send(alder, pat, "incidents", text), pat)
    say(alder, pat, ("side", "links", "drive"))
    batch = do(batch, pat, "retry")
    assert Incident.objects.count() == 1
    assert sorted(batch.rejected_rows.values_list("state", flat=True)) == ["corrected", "repeated"]
    assert (batch.n_written, batch.n_refused, batch.n_repeated) == (1, 0, 1)


def test_readings_that_the_meter_really_shows_are_kept_all_at_once(alder, pat, belt_a1):
    text = "tag,date,reading\nA-1,2026-03-01,1000\nA-1,2026-03-02,1400\nA-1,2026-03-03,1900\n"
    batch = run(send(alder, pat, "meter_readings", text), pat)
    n = import_again.asked_of(batch)["doubtful"]
    assert n >= 1
    batch = do(batch, pat, "keep", "doubtful")
    assert import_again.asked_of(batch)["doubtful"] == 0
    assert MeterReading.objects.count() == 1 + n


def test_events_of_a_belt_and_a_minute_that_are_others_are_written_all_at_once(alder, pat, belt_a1):
    head = "tag,when,severity,strand,chainage\n"
    run(
        send(
            alder, pat, "incidents", head + "A-1,2026-03-01 10:00,drift,return,\nA-1,2026-03-02 10:00,drift,return,\n"
        ),
        pat,
    )
    batch = run(
        send(
            alder,
            pat,
            "incidents",
            head + "A-1,2026-03-01 10:00,drift,return,80\nA-1,2026-03-02 10:00,drift,return,80\n",
        ),
        pat,
    )
    assert import_again.asked_of(batch) == {"maybe_same": 2}
    assert counts(do(batch, pat, "keep", "maybe_same")) == (2, 0, 0, 0), reasons(batch)
    assert Incident.objects.count() == 4


def test_what_is_left_out_stays_and_can_be_taken_up_again(alder, pat, refused):
    assert import_again.drop_all(batch=refused) == 4
    with pytest.raises(Refused, match="waits any more"):
        import_again.ask_again(batch=refused, by=pat, act="retry")
    assert import_again.take_up_all(batch=refused) == 4
    say(alder, pat, ("side", "links", "drive"))
    assert counts(do(refused, pat, "retry")) == (2, 0, 0, 2)


def test_killed_half_way_the_others_are_written_by_the_next(alder, pat, refused, monkeypatch):
    say(alder, pat, ("side", "links", "drive"), ("side", "rechts", "off"), ("side", "oben", ""))
    job = import_again.ask_again(batch=refused, by=pat, act="retry")
    real, written = import_again.write_retried, []

    def dies(row, *args):
        if len(written) == 2:
            raise KeyboardInterrupt
        written.append(row)
        return real(row, *args)

    monkeypatch.setattr(import_again, "write_retried", dies)
    with pytest.raises(KeyboardInterrupt):
        jobs.do_job(job.pk)
    assert Incident.objects.count() == 2
    monkeypatch.setattr(import_again, "write_retried", real)
    Job.objects.filter(pk=job.pk).update(state="waiting", holder="")
    jobs.do_job(job.pk)
    refused.refresh_from_db()
    assert counts(refused) == (4, 0, 0, 0)
    assert Incident.objects.count() == 4


def test_a_file_that_is_no_longer_kept_is_said_to_be(refused, pat):
    refused.file.storage.delete(refused.file.name)
    with pytest.raises(Refused, match="no longer kept"):
        import_again.ask_again(batch=refused, by=pat, act="retry")
    refused.refresh_from_db()
    assert refused.state == ImportBatch.State.DONE


@pytest.mark.parametrize(("act", "code"), [("write", ""), ("keep", ""), ("keep", "repeated"), ("drop", "")])
def test_only_what_is_offered_is_done(refused, pat, act, code):
    with pytest.raises(Refused, match="cannot be done"):
        import_again.ask_again(batch=refused, by=pat, act=act, code=code)


def test_a_file_refused_as_a_whole_is_not_written_row_by_row(alder, pat, belt_a1):
    batch = run(send(alder, pat, "incidents", SIDES), pat, all_or_nothing=True)
    assert batch.state == ImportBatch.State.REFUSED
    with pytest.raises(Refused, match="refused as a whole"):
        import_again.ask_again(batch=batch, by=pat, act="retry")


def test_the_file_is_read_once_however_many_rows_wait(alder, pat, belt_a1, monkeypatch):
    text = HEAD + "".join(f"B-7,2026-03-{1 + n % 28:02} {n % 24:02}:{n % 60:02},drift,{n}\n" for n in range(80))
    batch = run(send(alder, pat, "incidents", text), pat)
    make.conveyor(alder, tag="B-7")
    from plant.services import import_corrections

    real, calls = import_corrections.rows_of, []
    monkeypatch.setattr(import_corrections, "rows_of", lambda *given: calls.append(1) or real(*given))
    assert counts(do(batch, pat, "retry"))[0] == 80
    assert len(calls) == 1
