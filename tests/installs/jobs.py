"""A job at the belt, act by act, with times that are told in minutes."""

from __future__ import annotations

import datetime as dt

from installs.selectors.job_steps import job_of
from installs.selectors.torque import open_fasteners, torque_rows
from installs.services.acceptance import accept_fitting
from installs.services.commissioning import confirm_point, record_adjustment, record_isolation
from installs.services.torque import pass_over_fasteners, sign_off_torque
from installs.services.trial_runs import record_trial_run
from tests import make

NOW = dt.datetime(2026, 11, 20, 9, tzinfo=dt.UTC)
GOOD = [(40.0, 12.0), (160.0, -8.0)]


def at(minutes):
    return NOW + dt.timedelta(minutes=minutes)


def settle(job, by):
    """Pass every fastener over, with a reason."""
    left = open_fasteners(torque_rows(job))
    pass_over_fasteners(fitting=job, fasteners=left, reason="tightened by hand", by=by, now=NOW)
    return job


def isolate(job, by, minute, **values):
    known = {"points": "Main switch 4, lock 12", "tried_start": True, "isolated_at": at(minute), "now": at(minute)}
    return record_isolation(fitting=job, by=by, **{**known, **values})


def confirm(job, by, minute, *points, **values):
    rows = []
    for number, point in enumerate(points):
        known = {"confirmed_at": at(minute + number), "now": at(minute + number)}
        if point == "locks":
            known["handed_back_by"] = "tess"
        if point == "restraint":
            known["note"] = "no camera in this gallery"
        rows.append(confirm_point(fitting=job, point=point, by=by, **{**known, **values}))
    return rows


def run(job, by, minute, **values):
    """A run of 40 minutes, entered when it is over."""
    known = {"minutes": 40.0, "offsets": GOOD, "started_at": at(minute)}
    known["now"] = at(minute) + dt.timedelta(minutes=values.get("minutes", 40.0))
    return record_trial_run(fitting=job, by=by, **{**known, **values})


def fit(job, by, minute=0):
    """The first cycle, whole."""
    isolate(job, by, minute)
    confirm(job, by, minute + 1, "parts", "restraint", "clear", "guards", "people", "locks")


def fresh(job):
    job.refresh_from_db()
    return job


def moved(isolation, by, drive, off, **values):
    isolation.refresh_from_db()
    return record_adjustment(isolation, by=by, version=isolation.version, in_drive_mm=drive, out_off_mm=off, **values)


def entered(job, by, minutes, seconds, **values):
    """A run that is entered so many seconds after the locks came back at minute 6, its start left empty."""
    now = at(6) + dt.timedelta(seconds=seconds)
    return record_trial_run(fitting=job, by=by, minutes=minutes, offsets=GOOD, now=now, **values)


def sign_all(job, by, minute, *, but=0):
    """Sign every fastener off but the last ones."""
    tool = make.torque_wrench(job.plant)
    each_one = [(one, n) for one in job.device_model.fasteners.all() for n in range(1, one.count + 1)]
    return [
        sign_off_torque(
            fitting=fresh(job), fastener=one, number=n, torque_nm=one.torque_nm, by=by, instrument=tool,
            signed_at=at(minute), now=at(minute),
        )
        for one, n in each_one[: len(each_one) - but]
    ]  # fmt: skip


def up_to_the_guards(job, by):
    isolate(job, by, 0)
    confirm(job, by, 1, "parts", "restraint", "clear")


def confirm_next_cycle(job, by):
    moved(isolate(job, by, 60), by, 3.0, 3.0)
    confirm(job, by, 62, "clear", "guards")


def following(job):
    return job_of(fresh(job)).next


def accepted(job, by, reason=""):
    return accept_fitting(fitting=job, by=by, version=fresh(job).version, reason=reason, now=at(200))


def finish(job, by):
    fit(job, by)
    run(job, by, 20)
    run(job, by, 70, is_loaded=True)
    accepted(job, by, reason="fitted up by the paper sheet")
