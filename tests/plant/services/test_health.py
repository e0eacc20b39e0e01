from __future__ import annotations

from plant.models import Job, Tally
from plant.services import job_kinds
from plant.services.health import tally
from plant.services.jobs import ask_for_job, do_job, stop_job


def test_a_tally_only_grows_and_remembers_the_last(db):
    tally(Tally.What.MAIL, "refused", words="first " * 100)
    tally(Tally.What.MAIL, "refused", words="last", n=2)
    row = Tally.objects.get()
    assert (row.n, row.last_words) == (3, "last")


def test_each_end_of_a_job_is_counted_once(db, monkeypatch):
    monkeypatch.setattr(job_kinds, "_functions", dict(job_kinds._functions))
    job_kinds.job_kind("good")(lambda handle, args: None)
    job_kinds.job_kind("bad")(lambda handle, args: 1 / 0)
    for kind in ("good", "good", "bad"):
        job = ask_for_job(kind)
        for _twice in range(2):
            do_job(job.pk)
    stop_job(ask_for_job("good"))
    found = Tally.objects.filter(what="job").values_list("kind", "outcome", "n").order_by("kind", "outcome")
    assert list(found) == [("bad", "failed", 1), ("good", "done", 2), ("good", "stopped", 1)]
    assert Job.objects.count() == 4
