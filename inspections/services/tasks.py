"""Tasks: made from plans by night and after an installation, asked for, put off, withdrawn.

Every function may run twice, or on two workers at once, and leaves the same rows: an open task is unique by
installation, check kind and origin.
"""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import date, datetime, timedelta
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import Exists, F, OuterRef, Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _
from simple_history.utils import bulk_create_with_history, bulk_update_with_history

from inspections.calc.due_dates import DueDate
from inspections.models import CheckKind, Deferral, Task
from inspections.selectors.follow_ups import CLOSES_DAYS_AFTER, OPENS_DAYS_BEFORE, FollowUp, follow_ups_wanted
from inspections.selectors.wanted_tasks import (
    DueGrounds,
    PlanningRun,
    Renewal,
    TaskKey,
    TaskWanted,
    due_grounds_of,
    has_bedded_in,
    is_active,
    last_done_days,
    latest_days,
    local_day,
    not_earlier,
    plans_in_force,
    wanted_tasks,
)
from inspections.services.lateness import end_spells
from inspections.services.rounds import leave_rounds
from inspections.words.due_dates import due_words
from inspections.words.people_named import ASKED_FOR
from inspections.words.tasks import follow_up_words
from installs.models import Installation, OutOfService
from plant.errors import ChangedMeanwhile, Refused
from plant.models import Plant
from plant.services.job_kinds import JobHandle, JobLost
from plant.services.records import create_record, known_row
from plant.words.moments import day_words

# The longest that a task may be put off in one step, from today (common practice, no source).
LONGEST_DEFERRAL_DAYS = 365
NIGHT_REASON = "planned by night"

MOVED_FIELDS = ["check_plan", "due_on", "opens_on", "closes_on", "fixed_on", "why", "version"]
CLOSED_FIELDS = ["closed_at", "closed_by", "outcome", "closing_reason", "version"]


# --- Making tasks -----------------------------------------------------------------------------------------------------
def plan_tasks(
    plant: Plant,
    today: date,
    handle: JobHandle | None = None,
    *,
    installations: Iterable[Installation] | None = None,
    not_before: date | None = None,
) -> PlanningRun:
    """Make the next open task of every check in force, and move open ones whose forecast moved.

    A task is never moved into the past, nor moved at all once it is late or was put off by a person: late stays late
    until somebody does the check, puts it off or withdraws it.

    Parameters
    ----------
    plant : Plant
    today : date
        Day of the plant's calendar; running hours count to the end of the day before.
    handle : JobHandle, optional
        The running job: told of the progress after each belt.
    installations : iterable of Installation, optional
        Only these; left out: all that are in place.
    not_before : date, optional
        New tasks are due on this day at the earliest (a plan that was resumed makes nothing late at once).
    """
    done = PlanningRun()
    known = Installation.objects.of_plant(plant).select_related("conveyor", "device__device_model", "sheet")
    if installations is not None:
        known = known.filter(pk__in=[each.pk for each in installations])
    done.withdrawn += withdraw_of_removed(plant, known, today)
    # Nobody is sent to a device out of service, or on a belt that was taken out of use.
    standing = list(known.in_service().exclude(conveyor__retired_on__lte=today))
    grounds = due_grounds_of(plant, standing, plans_in_force(plant, standing), today)
    by_belt: dict[int, list[Installation]] = defaultdict(list)
    for each in standing:
        by_belt[each.conveyor_id].append(each)
    for n, those in enumerate(by_belt.values(), start=1):
        wanted = [
            each for installation in those for each in wanted_tasks(grounds, installation, today, done, not_before)
        ]
        write_tasks(grounds, those, wanted, today, handle, done)
        done.made += create_tasks([follow_up_task(plant, each) for each in follow_ups_wanted(plant, those, today)])
        if handle is not None:
            handle.progress(n, len(by_belt), _("%(tag)s planned") % {"tag": those[0].conveyor.tag})
    return done


def follow_up_task(plant: Plant, wanted: FollowUp) -> Task:
    return Task(
        plant=plant,
        installation=wanted.installation,
        check_kind=wanted.kind,
        origin=Task.Origin.FOLLOW_UP,
        due_on=wanted.due_on,
        opens_on=wanted.due_on - timedelta(days=OPENS_DAYS_BEFORE),
        closes_on=wanted.due_on + timedelta(days=CLOSES_DAYS_AFTER),
        why=follow_up_words(wanted.months),
    )


_is_planned_later: ContextVar[bool] = ContextVar("is_planned_later", default=False)


@contextmanager
def planned_together() -> Iterator[None]:
    """For many acts in one go: none of them plans its own next checks; whoever opens this plans all after it."""
    token = _is_planned_later.set(True)
    try:
        yield
    finally:
        _is_planned_later.reset(token)


def plan_next(installation: Installation) -> PlanningRun:
    """The tasks of one device, as the next night would make them: after a fitting, a removal or a close-out."""
    return plan_at_once(installation.plant, [installation])


def plan_at_once(plant: Plant, installations: Iterable[Installation]) -> PlanningRun:
    """The tasks of some devices, as the next night would make them; nothing where they are planned together later."""
    if _is_planned_later.get():
        return PlanningRun()
    return plan_tasks(plant, timezone.localdate(timezone=plant.zone), installations=installations)


def write_tasks(
    grounds: DueGrounds,
    installations: Sequence[Installation],
    wanted: Sequence[TaskWanted],
    today: date,
    handle: JobHandle | None,
    done: PlanningRun,
) -> None:
    """Bring the open tasks of one belt in line with what is wanted, in one short transaction."""
    with transaction.atomic():
        if handle is not None and not handle.still_mine():
            raise JobLost
        now = timezone.now()
        rows = Task.objects.filter(
            installation__in=installations, origin__in=[Task.Origin.PLAN, Task.Origin.BEDDING_IN]
        )
        # Locked where the data base can: a person who puts a task off meanwhile waits, and is not overwritten.
        open_tasks = {
            (row.installation_id, row.check_kind_id, row.origin): row for row in rows.open().select_for_update()
        }
        for row in open_tasks.values():
            row.plant = grounds.plant
        bedded_in = bedded_in_once(grounds, rows)
        done.withdrawn += withdraw_needless(grounds, installations, open_tasks, today, now)
        done.moved += move_open(wanted, open_tasks, today, now)
        new = [
            fresh_task(grounds.plant, each)
            for each in wanted
            if each.key not in open_tasks and (each.origin == Task.Origin.PLAN or each.key[:2] not in bedded_in)
        ]
        done.made += create_tasks(still_missing(grounds, installations, new))


def bedded_in_once(grounds: DueGrounds, rows: QuerySet[Task]) -> set[tuple[int, int]]:
    """(installation, kind of check) whose bedding-in check was done since the fasteners were last renewed."""
    closed = rows.filter(origin=Task.Origin.BEDDING_IN, closed_at__isnull=False)
    # What a rule withdrew was not done: it is asked for again once its reason is gone.
    closed = closed.exclude(outcome=Task.Outcome.WITHDRAWN, closed_by__isnull=True)
    latest = latest_days(grounds.plant, closed)
    return {key for key, last in latest.items() if has_bedded_in(last, grounds.renewed.get(key[0]))}


def withdraw_needless(
    grounds: DueGrounds,
    installations: Sequence[Installation],
    open_tasks: Mapping[TaskKey, Task],
    today: date,
    now: datetime,
) -> int:
    """Withdraw open tasks whose plan rests, and bedding-in tasks whose check was done meanwhile; how many."""
    plans = grounds.plans
    dropped = [
        row
        for (at, kind, _origin), row in open_tasks.items()
        if (at, kind) in plans and not is_active(plans[at, kind], today)
    ]
    close_by_rule(dropped, reason=str(_("the check plan is suspended or the check is no longer used")), at=now)
    settled = bedding_in_done_otherwise(
        open_tasks.values(), last_done_days(grounds.plant, installations, skipped=False), grounds.renewed
    )
    close_by_rule(settled, reason=str(_("the same check was done meanwhile")), at=now)
    return len(dropped) + len(settled)


def move_open(wanted: Sequence[TaskWanted], open_tasks: Mapping[TaskKey, Task], today: date, now: datetime) -> int:
    """Give open tasks the days of their forecast, but those that are late or were put off; how many moved."""
    put_off = set(
        Deferral.objects.current()
        .filter(task__in=[row.pk for row in open_tasks.values()])
        .values_list("task_id", flat=True)
    )
    moved: list[Task] = []
    for each in wanted:
        found = open_tasks.get(each.key)
        if found and found.closes_on >= today and found.pk not in put_off and move(found, each, today):
            moved.append(found)
    if moved:
        bulk_update_with_history(moved, Task, MOVED_FIELDS, default_change_reason=NIGHT_REASON, default_date=now)
    return len(moved)


def still_missing(grounds: DueGrounds, installations: Sequence[Installation], new: list[Task]) -> list[Task]:
    """New tasks without those whose check was closed out between the look at what was last done and here.

    The next look makes the right task of them.
    """
    if not new:
        return []
    since = last_done_days(grounds.plant, installations)
    keys = [(row.installation_id, row.check_kind_id) for row in new]
    return [row for row, key in zip(new, keys, strict=True) if since.get(key) == grounds.last_done.get(key)]


def bedding_in_done_otherwise(
    rows: Iterable[Task], last_done: dict[tuple[int, int], date], renewed: dict[int, Renewal]
) -> list[Task]:
    """Open bedding-in tasks whose check was done at the same device by another task, so that nobody does it twice."""
    return [
        row
        for row in rows
        if row.origin == Task.Origin.BEDDING_IN
        and row.closed_at is None
        and has_bedded_in(last_done.get((row.installation_id, row.check_kind_id)), renewed.get(row.installation_id))
    ]


def days_of(due: DueDate) -> tuple[date, date, date]:
    """Due day and window; what has none is never wanted."""
    if due.due_on is None or due.opens_on is None or due.closes_on is None:
        raise ValueError(f"no day is known: {due.reason.rule}")
    return due.due_on, due.opens_on, due.closes_on


def fresh_task(plant: Plant, wanted: TaskWanted) -> Task:
    due = wanted.due
    due_on, opens_on, closes_on = days_of(due)
    return Task(
        plant=plant,
        installation=wanted.installation,
        check_kind_id=wanted.plan.check_kind_id,
        check_plan=wanted.plan,
        origin=wanted.origin,
        due_on=due_on,
        opens_on=opens_on,
        closes_on=closes_on,
        fixed_on=due.fixed_on,
        why=due_words(due.reason)[:200],
    )


def move(row: Task, wanted: TaskWanted, today: date) -> bool:
    """Give an open task the dates of the forecast; True if anything changed."""
    due = wanted.due
    if days_of(due)[0] < row.due_on:
        due = not_earlier(due, min(row.due_on, today))
    before = (row.due_on, row.opens_on, row.closes_on, row.fixed_on, row.check_plan_id)
    after = days_of(due)
    if (*after, due.fixed_on, wanted.plan.pk) == before:
        return False
    row.due_on, row.opens_on, row.closes_on = after
    row.fixed_on = due.fixed_on
    row.check_plan, row.why, row.version = wanted.plan, due_words(due.reason)[:200], row.version + 1
    return True


def create_tasks(rows: list[Task]) -> int:
    """Write new tasks; those that another run wrote first are left as they are."""
    if not rows:
        return 0
    try:
        with transaction.atomic():
            bulk_create_with_history(rows, Task, default_change_reason=NIGHT_REASON)
        return len(rows)
    except IntegrityError:
        return sum(create_task_once(row) for row in rows)


def create_task_once(row: Task) -> bool:
    row.pk = None
    row._state.adding = True
    row._change_reason = NIGHT_REASON
    try:
        with transaction.atomic():
            row.save(force_insert=True)
    except IntegrityError:
        return False
    return True


# --- Closing without a visit ------------------------------------------------------------------------------------------
def close_by_rule(rows: Sequence[Task], *, reason: str, at: datetime) -> None:
    """Withdraw open tasks because of what happened to their plan or device; no person is named."""
    for row in rows:
        row.closed_at, row.closed_by, row.outcome = at, None, Task.Outcome.WITHDRAWN
        row.closing_reason, row.version = reason[:200], row.version + 1
    if rows:
        bulk_update_with_history(rows, Task, CLOSED_FIELDS, default_change_reason=reason[:100], default_date=at)
        end_spells(rows, at=at)
        leave_rounds(rows)


@transaction.atomic
def withdraw_of_removed(plant: Plant, installations: Any, today: date) -> int:
    """Withdraw the open tasks of devices that are removed or out of service, or whose belt was taken out of use.

    A check that was asked for besides the plan after the spell out of service was written stays open.
    """
    gone = Q(removed_at__isnull=False) | Q(conveyor__retired_on__lte=today)
    out_before = OutOfService.objects.filter(installation=OuterRef("installation"), ends_at__isnull=True)
    asked_since = Q(origin__in=Task.ASKED_FOR) & ~Exists(out_before.filter(created_at__gt=OuterRef("created_at")))
    at_gone = Q(installation__in=installations.filter(gone))
    at_resting = Q(installation__in=installations.out_of_service_now()) & ~asked_since
    rows = list(
        Task.objects.open()
        .filter(at_gone | at_resting, plant=plant)
        .select_related("installation")
        .select_for_update(of=("self",))
    )
    for row in rows:
        row.plant = plant
    spells = OutOfService.objects.filter(installation__in={row.installation_id for row in rows}, ends_at__isnull=True)
    out = dict(spells.values_list("installation_id", "reason"))
    for reason, those in by_reason(rows, out).items():
        close_by_rule(those, reason=reason, at=timezone.now())
    return len(rows)


def by_reason(rows: Iterable[Task], out: dict[int, str]) -> dict[str, list[Task]]:
    told: dict[str, list[Task]] = defaultdict(list)
    for row in rows:
        place = row.installation
        why = place.removal_reason
        if place.removed_at is None:
            reason = out.get(place.pk)
            words = _("out of service: %(why)s") % {"why": reason} if reason else _("the belt was taken out of use")
        else:
            words = _("device removed: %(why)s") % {"why": why} if why else _("device removed")
        told[words].append(row)
    return told


@transaction.atomic
def withdraw_task(*, task: Task, by: Any, reason: str, version: int | None = None, now: datetime | None = None) -> Task:
    """Close an open task without a visit. The next one of its plan counts from this day.

    Raises
    ------
    Refused
        If no reason is given or the task is closed already.
    """
    if not reason.strip():
        raise Refused(_("Say why it is withdrawn."), code="reason", fields={"reason": _("Give a reason.")})
    now = now or timezone.now()
    claim_open(task, version)
    task.closed_at, task.closed_by, task.outcome, task.closing_reason = now, by, Task.Outcome.WITHDRAWN, reason[:200]
    task._history_user, task._change_reason = by, reason[:100]
    task.save(update_fields=CLOSED_FIELDS)
    end_spells([task], at=now)
    leave_rounds([task], by=by)
    return task


def claim_open(task: Task, version: int | None) -> None:
    """Take the next version of an open task, so that of two people who act at once the second one is told."""
    opened_at = task.version if version is None else version
    if not Task.objects.open().filter(pk=task.pk, version=opened_at).update(version=F("version") + 1):
        current = Task.objects.get(pk=task.pk)
        if current.closed_at is not None:
            raise Refused(
                _("This check is closed already: %(how)s.") % {"how": current.get_outcome_display()}, code="closed"
            )
        raise ChangedMeanwhile(
            _("Somebody else changed this check meanwhile. Look at its dates and act again."), current=current
        )
    task.version = opened_at + 1


# --- Asked for by hand, put off ---------------------------------------------------------------------------------------
@transaction.atomic
def ask_for_task(
    *,
    installation: Installation,
    check_kind: CheckKind,
    by: Any,
    due_on: date,
    closes_on: date | None = None,
    why: str = "",
    origin: str = Task.Origin.BY_HAND,
    client_key: uuid.UUID | None = None,
    today: date | None = None,
) -> Task:
    """A check that a person, or the rate watch, wants done besides the plan.

    Raises
    ------
    Refused
        If the device is no longer in place, the day has passed, or such a check is open already.
    """
    known = known_row(Task, client_key)
    if known is not None:
        return known
    plant = installation.plant
    today = today or timezone.localdate(timezone=plant.zone)
    closes_on = closes_on or due_on + timedelta(days=7)
    if installation.removed_at is not None:
        raise Refused(
            _("%(device)s is no longer in place; ask for a check where it stands now.") % {"device": installation}
        )
    if due_on < today:
        raise Refused(
            _("%(day)s has passed; give today or a later day.") % {"day": day_words(due_on)},
            fields={"due_on": _("Give today or a later day.")},
        )
    if closes_on < due_on:
        raise Refused(
            _("The window closes before the check is due."), fields={"closes_on": _("Give the due day or a later one.")}
        )
    alike = Task.objects.open().filter(installation=installation, check_kind=check_kind)
    # The watch keeps a want of its own beside a person's: one visit answers both, and it knows when that was.
    besides = [Task.Origin.RATE_WATCH] if origin == Task.Origin.RATE_WATCH else Task.ASKED_FOR
    open_one = alike.filter(origin__in=besides).first()
    if open_one is not None:
        raise Refused(
            _("%(kind)s was asked for here already and is due %(day)s.")
            % {"kind": check_kind, "day": day_words(open_one.due_on)},
            code="open_already",
        )
    return create_record(
        Task,
        by=by,
        client_key=client_key,
        plant=plant,
        installation=installation,
        check_kind=check_kind,
        origin=origin,
        due_on=due_on,
        opens_on=min(today, due_on),
        closes_on=closes_on,
        why=why[:200] or str(ASKED_FOR % {"who": by}),
    )


@transaction.atomic
def put_off_task(
    *,
    task: Task,
    by: Any,
    closes_on: date,
    reason: str,
    client_key: uuid.UUID | None = None,
    version: int | None = None,
    now: datetime | None = None,
) -> Deferral:
    """Let the window of an open task close later, for a reason, in the name of the person who agreed to it.

    Raises
    ------
    Refused
        If no reason is given, the day is not later than before or lies in the past, or the task is closed.
    """
    known = known_row(Deferral, client_key)
    if known is not None:
        return known
    now = now or timezone.now()
    today = local_day(now, task.plant)
    if not reason.strip():
        raise Refused(_("Say why it is put off."), code="reason", fields={"reason": _("Give a reason.")})
    if closes_on <= task.closes_on or closes_on < today:
        least = max(task.closes_on + timedelta(days=1), today)
        raise Refused(
            _("%(day)s does not put it off; give %(least)s or later.")
            % {"day": day_words(closes_on), "least": day_words(least)},
            fields={"closes_on": _("Give %(least)s or later.") % {"least": day_words(least)}},
        )
    if closes_on > today + timedelta(days=LONGEST_DEFERRAL_DAYS):
        raise Refused(
            _("%(day)s is more than a year ahead; give an earlier day, or suspend the plan.")
            % {"day": day_words(closes_on)},
            fields={"closes_on": _("At most a year ahead.")},
        )
    claim_open(task, version)
    before, task.closes_on = task.closes_on, closes_on
    end_spells([task], at=now, closes_on=before)
    task._history_user, task._change_reason = by, reason[:100]
    task.save(update_fields=["closes_on", "version"])
    return create_record(
        Deferral,
        by=by,
        client_key=client_key,
        created_at=now,
        task=task,
        closes_on_before=before,
        closes_on=closes_on,
        reason=reason[:300],
        approved_by=by,
    )
