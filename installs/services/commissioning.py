"""Commissioning: isolations, hold points in order, adjustments.

A job is a row of cycles. Each begins with an isolation and ends with the locks handed back; trial runs follow.

Everything here is a record of what people did. Nothing here isolates, releases or starts anything.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable
from typing import Any

from django.db import transaction
from django.db.models import Model
from django.utils import timezone
from django.utils.translation import gettext as _

from installs.calc.adjustments import Adjustment, Balance, judge_adjustment, what_was_moved
from installs.calc.commissioning import next_point, points_of
from installs.calc.run_times import TIME_SLACK
from installs.models import Fitting, HoldPoint, Isolation
from installs.selectors.commissioning import convergence_of, current_cycle, current_points, current_runs, done_in
from installs.services.device_models import keep_sheet
from installs.services.fittings import locked, refuse_if_accepted, refuse_if_over
from installs.services.installations import check_moment, refuse
from installs.services.torque import check_torques_settled
from installs.words.commissioning import TEXTS, CommissioningRule
from plant.calc.reasons import Reason
from plant.calc.wording import figure
from plant.errors import Refused
from plant.models import Photo
from plant.services.records import change_record, correct_entry, create_record, known_row
from plant.words.moments import moment_words
from plant.words.refusals import refused

Point = HoldPoint.Point


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
    refuse_half_isolated(points, tried_start or bool(not_tried_reason.strip()))
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


def refuse_half_isolated(points: str, is_start_answered: bool) -> None:
    """Refuse an isolation without its points, or with no word on whether a start was tried."""
    if not points.strip():
        refuse("points", "points", _("Say at which points the belt was isolated and whose locks hang there."))
    if not is_start_answered:
        refuse(
            "tried_start",
            "tried_start",
            _("Try to start the belt by the site's procedure and confirm it, or say why that was not done."),
        )


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
        why = Reason(CommissioningRule.UNEQUAL, {"moved": what_was_moved(adjustment)})
        raise refused(why, TEXTS, code="unequal", fields=["out_off_mm"])
    if adjustment.is_move and not note:
        told = convergence_of(fitting)
        if told.must_stop:
            why = Reason(CommissioningRule.STOPPED, {"advice": told.advice})
            raise refused(why, TEXTS, code="stop", fields=["note"])
    return change_record(
        isolation,
        by=by,
        version=version,
        adjustment_mm=in_drive_mm,
        adjustment_off_mm=out_off_mm,
        adjustment_note=note,
    )
