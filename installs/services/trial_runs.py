"""Trial runs of a job: recorded, added to, withdrawn; refused while hold points are open.

Everything here is a record of what people did. Nothing here releases or starts anything.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from installs.calc.commissioning import next_point
from installs.calc.run_times import TIME_SLACK, TimeDoubt
from installs.models import BeltOffset, Fitting, HoldPoint, TrialRun
from installs.selectors.commissioning import (
    LONGEST_RUN,
    current_cycle,
    current_points,
    done_in,
    doubts_about_run,
    offsets_of,
    open_isolation,
)
from installs.services.belt_offsets import check_station
from installs.services.fittings import locked, refuse_if_accepted
from installs.services.installations import check_moment, refuse, refuse_bound
from installs.services.torque import check_torques_settled
from installs.words.bounds import BoundRule
from installs.words.commissioning import TIME_HINT, time_doubt_words
from plant.calc.wording import figure
from plant.errors import Refused
from plant.models import Photo
from plant.services.records import correct_entry, create_record, known_row
from plant.words.moments import moment_words

Point = HoldPoint.Point


def check_may_run(fitting: Fitting) -> int:
    """The cycle after which a trial run is recorded.

    Raises
    ------
    Refused
        In words, where a hold point is open, guards or people were passed over, a fastener is neither signed off nor
        passed over with a reason, or locks are not handed back.
    """
    cycle, known = current_cycle(fitting), current_points(fitting)
    if (1, Point.RESTRAINT) not in known:
        raise Refused(
            _(
                "No trial run before the transport restraint is recorded as removed, with a photo or a reason. "
                "Record that hold point first."
            ),
            code="restraint",
        )
    wanted = next_point(cycle, done_in(known, cycle))
    if wanted is not None:
        raise Refused(
            _("No trial run yet: “%(point)s” of cycle %(cycle)s is not recorded.")
            % {"point": Point(wanted).label, "cycle": cycle},
            code="order",
        )
    for point in (Point.GUARDS, Point.PEOPLE):
        row = known[cycle, point]
        if row.passed_over_reason:
            raise Refused(
                _("No trial run: “%(point)s” was passed over (%(why)s). Correct that entry once it is confirmed.")
                % {"point": point.label, "why": row.passed_over_reason},
                code="passed_over",
            )
    check_torques_settled(fitting)
    isolation = open_isolation(fitting)
    if isolation is not None:
        raise Refused(
            _("No trial run: the belt is recorded as isolated since %s.") % moment_words(isolation.isolated_at),
            code="isolated",
        )
    return cycle


def kept_doubt(doubt: TimeDoubt) -> dict[str, Any]:
    """A doubt as the row keeps it: its rule and values, moments in ISO 8601."""
    kept = asdict(doubt)
    for part in (kept, kept["other"] or {}):
        for name, value in part.items():
            part[name] = value.isoformat() if isinstance(value, dt.datetime) else value
    return kept


@transaction.atomic
def record_trial_run(
    *,
    fitting: Fitting,
    by: Any,
    minutes: float,
    offsets: Sequence[tuple[float, float]],
    is_loaded: bool = False,
    started_at: dt.datetime | None = None,
    time_reason: str = "",
    photos: Sequence[Photo] = (),
    client_key: uuid.UUID | None = None,
    now: dt.datetime | None = None,
    **values: Any,
) -> TrialRun:
    """Record a trial run with the belt's offset at stations upstream and downstream of the device.

    Start and minutes are kept as they were entered. Where the clock, the hold points or another run of the belt speak
    against them, that is asked about; confirmed with a reason, they stand, and the doubt stands with them.

    Parameters
    ----------
    minutes : float
        How long it was watched [min].
    started_at : datetime, optional
        When it began; left out: it ended just now.
    time_reason : str, optional
        Why times stand that are in doubt.
    offsets : sequence of (float, float)
        Chainage of the station [m] and offset there [mm], drive side positive.
    **values
        frame_position, touches_structure, is_noisy, note.

    Raises
    ------
    Refused
        If hold points are open or passed over that must stand before the belt runs, the restraint is not recorded,
        locks are not handed back, the times are in doubt and no reason is given (code "time"), no offset is given, or
        a station is off the belt or named twice.
    """
    row, now = locked(fitting), now or timezone.now()
    known = known_row(TrialRun, client_key)
    if known is not None:
        return known
    refuse_if_accepted(row)
    check_moment("started_at", started_at or now, now)
    cycle = check_may_run(row)
    check_minutes(minutes)
    check_stations(row, offsets)
    doubts, time_reason = doubts_about_run(row, cycle, started_at, minutes, now), time_reason.strip()
    if doubts and not time_reason:
        refuse("time_reason", "time", " ".join([*map(time_doubt_words, doubts), str(TIME_HINT)]))
    if started_at is None:
        started_at = now - dt.timedelta(minutes=minutes)
    made = create_record(
        TrialRun,
        by=by,
        client_key=client_key,
        fitting=row,
        cycle=cycle,
        is_loaded=is_loaded,
        started_at=started_at,
        minutes=minutes,
        time_doubts=[kept_doubt(each) for each in doubts],
        time_reason=time_reason,
        **values,
    )
    made.photos.add(*photos)
    write_readings(made, offsets, root=made.client_key, by=by, taken_at=started_at)
    return made


def write_readings(
    run: TrialRun, offsets: Sequence[tuple[float, float]], *, root: uuid.UUID, by: Any, taken_at: dt.datetime
) -> list[BeltOffset]:
    job = run.fitting
    return [
        create_record(
            BeltOffset,
            by=by,
            client_key=uuid.uuid5(root, f"offset {chainage_m:g}"),
            plant=job.plant,
            conveyor=job.conveyor,
            strand=job.strand,
            chainage_m=chainage_m,
            offset_mm=offset_mm,
            is_loaded=run.is_loaded,
            taken_at=taken_at,
            occasion=BeltOffset.Occasion.TRIAL_RUN,
            trial_run=run,
        )
        for chainage_m, offset_mm in offsets
    ]


@transaction.atomic
def add_readings(
    run: TrialRun,
    *,
    by: Any,
    offsets: Sequence[tuple[float, float]],
    taken_at: dt.datetime | None = None,
    client_key: uuid.UUID | None = None,
    now: dt.datetime | None = None,
) -> TrialRun:
    """Add readings at further stations to a trial run: a run that was good need not be made again for one of them.

    Parameters
    ----------
    offsets : sequence of (float, float)
        Chainage of the station [m] and offset there [mm], drive side positive.
    taken_at : datetime, optional
        When they were read; now where left out.

    Raises
    ------
    Refused
        If the run was withdrawn, the belt was isolated or adjusted since, the job is accepted or over, the time lies
        before the run or ahead, or a station is off the belt or in the run already.
    """
    root = client_key or uuid.uuid4()
    job, now = locked(run.fitting), now or timezone.now()
    if BeltOffset.objects.filter(client_key__in=[uuid.uuid5(root, f"offset {at:g}") for at, _mm in offsets]).exists():
        return run  # the same form sent twice
    refuse_if_accepted(job)
    if run.is_withdrawn or not run.counts:
        raise Refused(_("This run was withdrawn. Record the right one anew."), code="withdrawn")
    if check_may_run(job) != run.cycle:
        raise Refused(
            _("The belt was isolated for an adjustment since this run. Record a further run."), code="adjusted"
        )
    taken_at = taken_at or now
    check_moment("taken_at", taken_at, now)
    if taken_at < run.started_at - TIME_SLACK:
        refuse(
            "taken_at",
            "order",
            _("%(when)s is before the run began (%(then)s). Check both times.")
            % {"when": moment_words(taken_at), "then": moment_words(run.started_at)},
        )
    check_stations(job, offsets, known=[row.chainage_m for row in offsets_of(run)])
    write_readings(run, offsets, root=root, by=by, taken_at=taken_at)
    return run


def check_minutes(minutes: float) -> None:
    longest = LONGEST_RUN.total_seconds() / 60
    if not 0 < minutes <= longest:
        refuse(
            "minutes",
            "minutes",
            _("The run was watched for %(min)s min; give more than 0, up to %(most)s min.")
            % {"min": figure(minutes), "most": figure(longest)},
        )


def check_stations(fitting: Fitting, offsets: Sequence[tuple[float, float]], known: Iterable[float] = ()) -> None:
    if not offsets:
        refuse("stations", "offsets", _("Measure the belt's offset at one station at least, better at five to eight."))
    seen = set(known)
    for chainage_m, offset_mm in offsets:
        check_station(fitting.conveyor, chainage_m, offset_mm)
        if chainage_m in seen:
            refuse_bound("stations", "twice", BoundRule.STATION_TWICE, at_m=chainage_m)
        seen.add(chainage_m)


@transaction.atomic
def withdraw_trial_run(row: TrialRun, *, by: Any, reason: str, client_key: uuid.UUID | None = None) -> TrialRun:
    """A trial run that was written down wrong counts no more, with its offsets; the right one is recorded anew.

    Raises
    ------
    Refused
        If no reason is given, or the job is accepted or over.
    """
    fitting = locked(row.fitting)
    known = known_row(TrialRun, client_key)
    if known is not None:
        return known
    refuse_if_accepted(fitting)
    fresh = correct_entry(row, by=by, reason=reason, client_key=client_key, withdraw=True)
    for offset in row.belt_offsets.current():
        correct_entry(offset, by=by, reason=reason, withdraw=True)
    return fresh
