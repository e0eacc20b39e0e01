"""Commissioning: isolations, hold points in order, adjustments, trial runs, acceptance, hand-over.

A job is a row of cycles. Each begins with an isolation and ends with the locks handed back; trial runs follow. Only the
hand-over makes the installation, so that checks, plans and the comparison before and after begin with it.

Everything here is a record of what people did. Nothing here isolates, releases or starts anything.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from typing import Any

from django.db import transaction
from django.db.models import Model
from django.utils import timezone
from django.utils.translation import gettext as _

from installs.calc.commissioning import (
    TIME_SLACK,
    Acceptance,
    Adjustment,
    Balance,
    Convergence,
    Offset,
    Run,
    Spell,
    TimeDoubt,
    TimeRule,
    converge,
    doubts_about_time,
    judge_acceptance,
    judge_adjustment,
    next_point,
    permitted_offset_mm,
    points_of,
)
from installs.calc.fit_up import Line, Verdict
from installs.models import BeltOffset, Fitting, HoldPoint, Installation, Isolation, TrialRun
from installs.services.belt_offsets import check_station
from installs.services.device_models import keep_sheet
from installs.services.fit_up import result_of
from installs.services.fittings import locked, refuse_if_accepted, refuse_if_over
from installs.services.installations import check_moment, install_device, refuse
from installs.services.torque import FastenerRow, check_torques_settled, open_fasteners, passed_over, torque_rows
from installs.words.commissioning import TIME_HINT, UNEQUAL_HINT, adjustment_words, time_doubt_words
from installs.words.torque import fastener_names, passed_together
from plant.calc.chainage import revolution_time_s
from plant.calc.units import UnitSystem
from plant.calc.wording import figure
from plant.errors import Refused
from plant.models import Photo
from plant.services.records import change_record, correct_entry, create_record, known_row
from plant.words.moments import moment_words

Point = HoldPoint.Point
LONGEST_RUN = dt.timedelta(minutes=1440)  # as the column takes it
NAMED_LINES = 4  # so many lines of the fit-up are named; the rest are counted


# --- What is recorded so far ------------------------------------------------------------------------------------------
def current_points(fitting: Fitting) -> dict[tuple[int, str], HoldPoint]:
    """The hold points that count, by cycle and point."""
    rows = HoldPoint.objects.current().filter(fitting=fitting).select_related("confirmed_by", "photo")
    return {(row.cycle, row.point): row for row in rows}


def current_cycle(fitting: Fitting) -> int:
    """The cycle that the job is in; 1 before anything is recorded."""
    cycles = [
        *fitting.isolations.values_list("cycle", flat=True),
        *HoldPoint.objects.current().filter(fitting=fitting).values_list("cycle", flat=True),
    ]
    return max(cycles, default=1)


def done_in(points: Iterable[tuple[int, str]], cycle: int) -> list[str]:
    return [point for at, point in points if at == cycle]


def current_runs(fitting: Fitting) -> list[TrialRun]:
    """The trial runs that count, in the order in which they were made, with their offsets."""
    rows = TrialRun.objects.current().filter(fitting=fitting).select_related("created_by")
    rows = rows.prefetch_related("belt_offsets__corrected_by", "photos")
    # By cycle, which the hold points tell whatever was entered, then by their ends: the last one watched decides, also
    # where a start cannot be as it was entered.
    return sorted(rows, key=lambda run: (run.cycle, run.ends_at, run.pk))


def offsets_of(run: TrialRun) -> list[BeltOffset]:
    """The offsets of a run that count, from the tail on; those written again at acceptance are the same readings."""
    mine = [row for row in run.belt_offsets.all() if row.counts and row.occasion == BeltOffset.Occasion.TRIAL_RUN]
    return sorted(mine, key=lambda row: row.chainage_m)


def as_run(run: TrialRun) -> Run:
    return Run(
        cycle=run.cycle,
        is_loaded=run.is_loaded,
        minutes=run.minutes,
        offsets=tuple(Offset(row.chainage_m, row.offset_mm) for row in offsets_of(run)),
        touches_structure=run.touches_structure,
        is_noisy=run.is_noisy,
        frame_position=run.frame_position,
        is_time_doubted=bool(run.time_doubts),
    )


def target_of(fitting: Fitting) -> float:
    """The offset that is to be met: the job's own, else the plant's permitted run-off [mm]."""
    if fitting.target_offset_mm is not None:
        return fitting.target_offset_mm
    plant = fitting.plant
    return permitted_offset_mm(
        fitting.conveyor.belt_width_mm, share_pct=plant.runoff_share_pct, most_mm=plant.runoff_most_mm
    )


def acceptance_of(fitting: Fitting, runs: Sequence[TrialRun] | None = None) -> Acceptance:
    """How the trial runs after the last cycle stand against the target."""
    belt = fitting.conveyor
    return judge_acceptance(
        [as_run(run) for run in (current_runs(fitting) if runs is None else runs)],
        cycle=current_cycle(fitting),
        target_mm=target_of(fitting),
        device_m=fitting.chainage_m,
        strand=fitting.strand,
        revolution_s=revolution_time_s(belt.length_m, belt.speed_m_s),
        reversing=belt.is_reversing,
    )


def convergence_of(fitting: Fitting, runs: Sequence[TrialRun] | None = None) -> Convergence:
    """Worst offset by cycle and how the belt answered each adjustment."""
    return converge(
        [as_run(run) for run in (current_runs(fitting) if runs is None else runs)],
        {row.cycle: row.adjustment for row in fitting.isolations.all()},
        device_m=fitting.chainage_m,
        strand=fitting.strand,
    )


def open_isolation(fitting: Fitting) -> Isolation | None:
    """The isolation whose locks are not recorded as handed back."""
    return fitting.isolations.filter(released_at__isnull=True).order_by("-cycle").first()


def check_order(fitting: Fitting, cycle: int, point: str) -> None:
    """Raises Refused, in words, where another hold point of the cycle comes first or this one is done."""
    known = current_points(fitting)
    row = known.get((cycle, point))
    if row is not None:
        raise Refused(
            _("“%(point)s” was recorded %(when)s by %(who)s already. Correct that entry if it is wrong.")
            % {"point": row.get_point_display(), "when": moment_words(row.confirmed_at), "who": row.confirmed_by},
            code="done",
        )
    wanted = next_point(cycle, done_in(known, cycle))
    if wanted != point:
        words = (
            _("“%(point)s” is no hold point of an adjustment.") % {"point": Point(point).label}
            if point not in points_of(cycle)
            else _("First comes “%(first)s”; “%(point)s” follows later. Hold points are recorded in their order.")
            % {"first": Point(wanted).label if wanted else "", "point": Point(point).label}
        )
        raise Refused(words, code="order")


def check_time(fitting: Fitting, cycle: int, field: str, moment: dt.datetime, now: dt.datetime) -> None:
    check_moment(field, moment, now)
    earlier = HoldPoint.objects.current().filter(fitting=fitting, cycle__lte=cycle).order_by("-confirmed_at").first()
    if earlier is not None and moment < earlier.confirmed_at - dt.timedelta(minutes=1):
        refuse(
            field,
            "order",
            _("%(when)s is before “%(point)s” of %(then)s. Check both times.")
            % {
                "when": moment_words(moment),
                "point": earlier.get_point_display(),
                "then": moment_words(earlier.confirmed_at),
            },
        )


def check_no_run_at(fitting: Fitting, moment: dt.datetime) -> None:
    """A belt that ran was not isolated: raises Refused where a trial run of the job was watched at this moment."""
    for run in current_runs(fitting):
        if not run.time_doubts and run.started_at <= moment < run.ends_at - TIME_SLACK:
            refuse(
                "isolated_at",
                "order",
                _("%(when)s lies within the trial run of %(begins)s, watched for %(min)s min. Check both times.")
                % {
                    "when": moment_words(moment),
                    "begins": moment_words(run.started_at),
                    "min": figure(run.minutes),
                },
            )


# --- Isolation and hold points ----------------------------------------------------------------------------------------
@transaction.atomic
def record_isolation(
    *,
    fitting: Fitting,
    by: Any,
    points: str,
    tried_start: bool,
    people: Iterable[Any] = (),
    other_people: str = "",
    energies: str = "",
    permit_reference: str | None = None,
    not_tried_reason: str = "",
    isolated_at: dt.datetime | None = None,
    client_key: uuid.UUID | None = None,
    now: dt.datetime | None = None,
) -> Isolation:
    """Record that the belt was isolated by the site's procedure: the first hold point of a cycle, with its people.

    Begins the job where it is the first one, and a new cycle where the one before is complete.

    Parameters
    ----------
    points : str
        Isolation points and locks.
    tried_start : bool
        A start was tried after the isolation.
    people : iterable of Person
        Who put a lock on, besides `by`; others (contractors, other crafts) in `other_people`.
    permit_reference : str, optional
        Left out: the one of the plan. "": there is none.
    not_tried_reason : str
        Why no start was tried; stays visible.

    Raises
    ------
    Refused
        If the cycle before is not complete, its locks are not handed back, points or the tried start are missing, or
        the job is over or accepted.
    """
    row, now = locked(fitting), now or timezone.now()
    known = known_row(Isolation, client_key)
    if known is not None:
        return known
    refuse_if_accepted(row)
    isolated_at = isolated_at or now
    cycle = cycle_to_isolate(row)
    check_time(row, cycle, "isolated_at", isolated_at, now)
    check_no_run_at(row, isolated_at)
    if not points.strip():
        refuse("points", "points", _("Say at which points the belt was isolated and whose locks hang there."))
    if not tried_start and not not_tried_reason.strip():
        refuse(
            "tried_start",
            "tried_start",
            _("Try to start the belt by the site's procedure and confirm it, or say why that was not done."),
        )
    values: dict[str, Any] = {
        "isolated_at": isolated_at,
        "points": points.strip(),
        "energies": energies.strip(),
        "tried_start": tried_start,
        "permit_reference": row.permit_reference if permit_reference is None else permit_reference.strip(),
        "other_people": other_people.strip(),
    }
    there: Isolation | None = row.isolations.filter(cycle=cycle).first()
    if there is not None:  # its hold point was withdrawn: the record is put right, the history keeps the old one
        isolation = change_record(
            there, by=by, version=there.version, isolated_by=by, released_at=None, released_by=None, **values
        )
    else:
        isolation = create_record(
            Isolation, by=by, client_key=client_key, fitting=row, cycle=cycle, isolated_by=by, **values
        )
    isolation.people.set({by, *people})
    create_record(
        HoldPoint,
        by=by,
        client_key=uuid.uuid5(client_key or uuid.uuid4(), "lockout"),
        fitting=row,
        point=Point.LOCKOUT,
        cycle=cycle,
        confirmed_at=isolated_at,
        confirmed_by=by,
        note=_("No start was tried: %s") % not_tried_reason.strip() if not tried_start else "",
    )
    begin(row, by=by, at=isolated_at)
    return isolation


def cycle_to_isolate(fitting: Fitting) -> int:
    """The cycle that an isolation recorded now belongs to."""
    cycle, known = current_cycle(fitting), current_points(fitting)
    wanted = next_point(cycle, done_in(known, cycle))
    if wanted == Point.LOCKOUT:
        return cycle
    if wanted is not None:
        raise Refused(
            _("Cycle %(cycle)s is not finished: next is “%(point)s”.") % {"cycle": cycle, "point": Point(wanted).label},
            code="order",
        )
    return cycle + 1


def begin(fitting: Fitting, *, by: Any, at: dt.datetime) -> None:
    """The job begins with its first hold point; the sheet of the model is the one that holds now."""
    if fitting.begun_at is None:
        sheet = keep_sheet(fitting.device_model, by=by)
        change_record(fitting, by=by, version=fitting.version, begun_at=at, sheet=sheet)


@transaction.atomic
def confirm_point(
    *,
    fitting: Fitting,
    point: str,
    by: Any,
    note: str = "",
    passed_over_reason: str = "",
    handed_back_by: str = "",
    photo: Photo | None = None,
    confirmed_at: dt.datetime | None = None,
    client_key: uuid.UUID | None = None,
    now: dt.datetime | None = None,
) -> HoldPoint:
    """Confirm the next hold point of the cycle at hand, or pass it over with a reason that stays visible.

    Parameters
    ----------
    note : str
        For the restraint without a photo: why there is none.
    passed_over_reason : str
        Given: the point is passed over and not confirmed.
    handed_back_by : str
        For the locks: who handed back theirs.
    photo : Photo, optional
        Of the loose restraint.

    Raises
    ------
    Refused
        If another point comes first, the restraint has neither photo nor reason, an adjustment is not recorded yet,
        the guards are to go back and a fastener is neither signed off nor passed over, the locks name nobody or more
        than the note takes, or the job is over or accepted.
    """
    row, now = locked(fitting), now or timezone.now()
    known = known_row(HoldPoint, client_key)
    if known is not None:
        return known
    refuse_if_accepted(row)
    confirmed_at = confirmed_at or now
    cycle = current_cycle(row)
    check_order(row, cycle, point)
    check_time(row, cycle, "confirmed_at", confirmed_at, now)
    passed_over_reason, note = passed_over_reason.strip(), note.strip()
    isolation = row.isolations.filter(cycle=cycle).first()
    if point == Point.LOCKOUT and not passed_over_reason:
        raise Refused(_("Record the isolation with its points and people; that confirms the lockout."), code="lockout")
    if point == Point.RESTRAINT:
        check_restraint(photo, note, passed_over_reason)
    if point == Point.GUARDS and not passed_over_reason:
        check_torques_settled(row)
    if point == Point.CLEAR and cycle > 1 and isolation is not None and isolation.adjustment_mm is None:
        raise Refused(_("Record first what was adjusted in this cycle; 0 where nothing was."), code="adjustment")
    if point == Point.LOCKS and not passed_over_reason:
        if not handed_back_by.strip():
            refuse("handed_back_by", "locks", _("Say who handed back their locks: everyone who had put one on."))
        note = _("Handed back by %s.") % handed_back_by.strip() + (f" {note}" if note else "")
        check_fits(HoldPoint, "note", note, _("Names and note together"))
    made = create_record(
        HoldPoint,
        by=by,
        client_key=client_key,
        fitting=row,
        point=point,
        cycle=cycle,
        confirmed_at=confirmed_at,
        confirmed_by=by,
        note=note,
        passed_over_reason=passed_over_reason,
        photo=photo,
    )
    if point == Point.LOCKS and isolation is not None and isolation.released_at is None:
        change_record(isolation, by=by, version=isolation.version, released_at=confirmed_at, released_by=by)
    begin(row, by=by, at=confirmed_at)
    return made


def check_fits(model: type[Model], column: str, text: str, what: str) -> None:
    """Raises Refused, at the field, where a text is longer than its column, with both counts of characters."""
    most: int = getattr(model._meta.get_field(column), "max_length", 0)
    if len(text) > most:
        known = {"what": what, "n": len(text), "most": most}
        words = _("%(what)s have %(n)s characters; up to %(most)s fit. Shorten the text.") % known
        refuse(column, "too_long", words)


def check_restraint(photo: Photo | None, note: str, passed_over_reason: str) -> None:
    if photo is None and not note and not passed_over_reason:
        refuse(
            "photo",
            "restraint",
            _(
                "Take a photo of the loose transport restraint, or say why there is none. With the restraint left in, "
                "the device does nothing from its first day."
            ),
        )


@transaction.atomic
def correct_point(
    row: HoldPoint,
    *,
    by: Any,
    reason: str,
    withdraw: bool = False,
    client_key: uuid.UUID | None = None,
    **values: Any,
) -> HoldPoint:
    """Write the entry that takes the place of a wrong hold point, or withdraws it: then the job waits there again.

    Parameters
    ----------
    **values
        note, passed_over_reason, confirmed_at, photo.

    Raises
    ------
    Refused
        If no reason is given, it was corrected before, the job is over, a hold point of an accepted job would be lost
        or would turn from confirmed to passed over or back, or the restraint would stand without photo and reason.
    """
    fitting = locked(row.fitting)
    known = known_row(HoldPoint, client_key)
    if known is not None:
        return known
    refuse_if_over(fitting)
    passed_over = values.get("passed_over_reason", row.passed_over_reason).strip()
    if withdraw or bool(passed_over) != bool(row.passed_over_reason):
        refuse_if_accepted(fitting)
    if not withdraw and row.point == Point.RESTRAINT:
        new = {name: values.get(name, getattr(row, name)) for name in ("photo", "note", "passed_over_reason")}
        check_restraint(new["photo"], new["note"].strip(), new["passed_over_reason"].strip())
    if "confirmed_at" in values:
        check_moment("confirmed_at", values["confirmed_at"], timezone.now())
    fresh = correct_entry(row, by=by, reason=reason, client_key=client_key, withdraw=withdraw, **values)
    isolation = fitting.isolations.filter(cycle=row.cycle).first()
    if withdraw and row.point == Point.LOCKS and isolation is not None:
        change_record(isolation, by=by, version=isolation.version, reason=reason, released_at=None, released_by=None)
    return fresh


@transaction.atomic
def record_adjustment(
    isolation: Isolation, *, by: Any, version: int, in_drive_mm: float, out_off_mm: float, note: str = ""
) -> Isolation:
    """Record what was adjusted in a cycle, as it was read on both sides.

    Parameters
    ----------
    in_drive_mm : float
        Moved in on the drive side; negative: out [mm].
    out_off_mm : float
        Moved out on the off side; negative: in [mm].
    note : str
        Needed where the amounts differ, or where the belt answered two moves the wrong way.

    Raises
    ------
    ChangedMeanwhile, Refused
        If the cycle is the fitting itself, its locks are handed back, or the amounts differ without a word why.
    """
    fitting = locked(isolation.fitting)
    isolation = Isolation.objects.get(pk=isolation.pk)
    given = (in_drive_mm, out_off_mm, note.strip())
    if given == (isolation.adjustment_mm, isolation.adjustment_off_mm, isolation.adjustment_note):
        return isolation  # the same form sent twice
    refuse_if_accepted(fitting)
    if isolation.cycle == 1 or isolation.released_at is not None:
        raise Refused(
            _("An adjustment is recorded under its own isolation, while that is recorded as open."), code="cycle"
        )
    adjustment, note = Adjustment(in_drive_mm, out_off_mm), note.strip()
    if judge_adjustment(adjustment) is Balance.CHANGED and not note:
        refuse("out_off_mm", "unequal", adjustment_words(adjustment) + " " + UNEQUAL_HINT)
    if adjustment.is_move and not note:
        told = convergence_of(fitting)
        if told.must_stop:
            refuse("note", "stop", told.words + " " + _("Say in the note which cause was found."))
    return change_record(
        isolation,
        by=by,
        version=version,
        adjustment_mm=in_drive_mm,
        adjustment_off_mm=out_off_mm,
        adjustment_note=note,
    )


# --- Trial runs -------------------------------------------------------------------------------------------------------
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


def doubts_about_run(
    fitting: Fitting, cycle: int, started_at: dt.datetime | None, minutes: float, now: dt.datetime
) -> tuple[TimeDoubt, ...]:
    """Why a run of the job cannot have been watched as it is entered now; empty where it can."""
    begins_at = started_at or now - dt.timedelta(minutes=minutes)
    return doubts_about_time(
        begins_at,
        minutes,
        locks_at=current_points(fitting)[cycle, Point.LOCKS].confirmed_at,
        now=now,
        others=other_runs(fitting, begins_at, begins_at + dt.timedelta(minutes=minutes)),
        is_start_given=started_at is not None,
    )


def other_runs(fitting: Fitting, begins_at: dt.datetime, ends_at: dt.datetime) -> list[Spell]:
    """Trial runs of the same belt around these times, of this job and of others."""
    rows = TrialRun.objects.current().filter(fitting__conveyor=fitting.conveyor, started_at__lt=ends_at)
    rows = rows.filter(started_at__gt=begins_at - LONGEST_RUN).select_related("fitting__conveyor")
    return [
        Spell(row.started_at, row.ends_at, row.is_loaded, "" if row.fitting_id == fitting.pk else str(row.fitting))
        for row in rows.order_by("started_at", "pk")
    ]


def kept_doubt(doubt: TimeDoubt) -> dict[str, Any]:
    """A doubt as the row keeps it: its rule and values, moments in ISO 8601."""
    kept = asdict(doubt)
    for part in (kept, kept["other"] or {}):
        for name, value in part.items():
            part[name] = value.isoformat() if isinstance(value, dt.datetime) else value
    return kept


def time_doubts_of(run: TrialRun) -> list[TimeDoubt]:
    """The doubts that were found when a run was entered."""
    return [read_doubt(each) for each in run.time_doubts]


def read_doubt(kept: Mapping[str, Any]) -> TimeDoubt:
    moment = dt.datetime.fromisoformat
    other = kept["other"]
    return TimeDoubt(
        TimeRule(kept["rule"]),
        kept["minutes"],
        moment(kept["begins_at"]),
        moment(kept["against"]),
        kept["apart_s"],
        other and Spell(moment(other["begins_at"]), moment(other["ends_at"]), other["is_loaded"], other["job"]),
    )


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
            refuse("stations", "twice", _("The station at %s m is there twice. Leave one out.") % figure(chainage_m))
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


# --- Acceptance and hand-over -----------------------------------------------------------------------------------------
def left_open(fitting: Fitting) -> list[str]:
    """What of the fit-up is not measured or not within its tolerance, and which torques are not signed off.

    What the model does not state of the fit-up is no open work: no line of it can be judged.
    """
    told = []
    result = result_of(fitting, system=UnitSystem.METRIC)
    if result is None:
        told.append(_("Fit-up sheet: nothing is measured yet."))
    else:
        for verdict, words in (
            (Verdict.OPEN, _("Fit-up sheet, not measured: %s.")),
            (Verdict.OUTSIDE, _("Fit-up sheet, outside its tolerance: %s.")),
        ):
            lines = [line for line in result.lines if line.verdict is verdict]
            if lines:
                told.append(words % named(lines))
    return told + torques_left_open(torque_rows(fitting))


def torques_left_open(rows: Sequence[FastenerRow]) -> list[str]:
    """How many fasteners are signed off where not all are, which are open, and each one passed over with its reason."""
    left, passed = open_fasteners(rows), passed_over(rows)
    if not left and not passed:
        return []
    words = _("Torque: %(n)s of %(wanted)s fasteners signed off") % {
        "n": sum(row.n_signed for row in rows),
        "wanted": sum(len(row.signed) for row in rows),
    }
    if left:
        words += _("; open: %s") % fastener_names(left)
    return [f"{words}.", *(f"{words}." for words in passed_together(passed))]


def named(lines: Sequence[Line]) -> str:
    labels = [line.label for line in lines[:NAMED_LINES]]
    more = len(lines) - len(labels)
    return ", ".join(labels) + (" " + _("and %s more") % more if more else "")


@transaction.atomic
def accept_fitting(
    *, fitting: Fitting, by: Any, version: int, reason: str = "", now: dt.datetime | None = None
) -> Fitting:
    """Accept the job against its target; with a reason that stays visible where a line is not met or work is open.

    Raises
    ------
    ChangedMeanwhile, Refused
        If no device is named, no trial run stands, a hold point is open; or if a line is not met, the fit-up has open
        lines or a torque is not signed off, and no reason is given.
    """
    row, now = locked(fitting), now or timezone.now()
    if row.accepted_at is not None and row.accepted_by_id == by.pk:
        return row  # the same form sent twice
    refuse_if_accepted(row)
    if row.device is None:
        raise Refused(_("Say first which device is fitted: change the plan and choose it."), code="device")
    runs = current_runs(row)
    if not runs:
        raise Refused(_("No trial run is recorded; without one there is nothing to accept."), code="no_run")
    check_may_run(row)
    told = acceptance_of(row, runs)
    not_met = [line.words for line in told.lines if line.verdict != "sound"] if not told.is_met else []
    still_open = left_open(row)
    if (not_met or still_open) and not reason.strip():
        how = _("Say why it is accepted all the same, or adjust and run again.") if not_met else ""
        how = how or _("Finish it, or say why it is accepted all the same; the reason stays visible.")
        refuse("reason", "not_met" if not_met else "open", " ".join([*not_met, *still_open, how]))
    return change_record(
        row,
        by=by,
        version=version,
        reason=reason,
        accepted_at=now,
        accepted_by=by,
        accepted_reason=reason.strip(),
    )


@transaction.atomic
def hand_over_fitting(
    *,
    fitting: Fitting,
    by: Any,
    version: int,
    handed_over_to: str,
    open_points: str = "",
    now: dt.datetime | None = None,
) -> Installation:
    """Hand the device over: now it is an installation, its checks are planned and the clock before and after begins.

    The readings of the last runs are written once more as acceptance rows of the installation, because entries are
    never overwritten; the rows from before are found through `fitting.survey`.

    Raises
    ------
    ChangedMeanwhile, Refused
        If it is not accepted, nobody is named, the open points are too long, or the device or place is taken meanwhile.
    """
    row = locked(fitting)
    if row.installation is not None:
        return row.installation  # the same form sent twice
    refuse_if_over(row)
    now = now or timezone.now()
    if row.accepted_at is None or row.device is None:
        raise Refused(_("Accept the job first; then it is handed over."), code="not_accepted")
    if not handed_over_to.strip():
        refuse("handed_over_to", "to", _("Say who takes it over: a person, a shift or a crew."))
    check_fits(Fitting, "open_points", open_points.strip(), _("The open points"))
    installation = install_device(
        device=row.device,
        conveyor=row.conveyor,
        strand=row.strand,
        chainage_m=row.chainage_m,
        installed_at=now,
        by=by,
        client_key=uuid.uuid5(row.client_key, "installation"),
        now=now,
        sheet=row.sheet,
        access=row.survey.access if row.survey else "",
        note=open_points.strip(),
    )
    write_acceptance_offsets(row, installation, by=by)
    change_record(
        row,
        by=by,
        version=version,
        handed_over_at=now,
        handed_over_by=by,
        handed_over_to=handed_over_to.strip(),
        open_points=open_points.strip(),
        installation=installation,
    )
    return installation


def write_acceptance_offsets(fitting: Fitting, installation: Installation, *, by: Any) -> None:
    """The readings of the last run empty and of the last run loaded, as rows of the installation."""
    last = {run.is_loaded: run for run in current_runs(fitting)}
    for run in last.values():
        for row in offsets_of(run):
            create_record(
                BeltOffset,
                by=by,
                client_key=uuid.uuid5(row.client_key, "acceptance"),
                plant=row.plant,
                conveyor=row.conveyor,
                strand=row.strand,
                chainage_m=row.chainage_m,
                offset_mm=row.offset_mm,
                is_loaded=row.is_loaded,
                taken_at=row.taken_at,
                occasion=BeltOffset.Occasion.ACCEPTANCE,
                trial_run=run,
                installation=installation,
            )
