"""Visits: closing checks out, and correcting what was entered.

Grades are worked out here from what was entered and from the limits of the device model and the check kind, whatever
the page showed. A visit is one transaction and one row; sent twice it counts once.
"""

from __future__ import annotations

import uuid
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from inspections.calc.findings import (
    Finding,
    FindingRule,
)
from inspections.calc.grading import Grade
from inspections.check_rules.wanted import FOUND, reading_key
from inspections.errors import NotClosedOut
from inspections.models import (
    CLOCK_DRIFT,
    Action,
    Reading,
    Task,
    Visit,
)
from inspections.selectors.actions import alike_open, kinds_in_hand
from inspections.selectors.entered import (
    Entered,
    act_faults,
    at_act,
    entries_of,
    take_in,
    tool_faults,
    unchanged,
)
from inspections.selectors.readings_wanted import own_wear, times_running, wanted_of
from inspections.selectors.visits import visit_chain
from inspections.selectors.wanted_tasks import local_day
from inspections.selectors.wear import DeviceWear
from inspections.services.actions import NewAction, add_to_action, choice_faults, raise_or_add
from inspections.services.closing import close_task, close_with, hold_tasks, lead_of, regrade_task
from inspections.services.readings import withdraw_reading, write_offsets, write_readings
from inspections.services.tasks import plan_next
from inspections.words.check_rules import suggested_action
from inspections.words.entered import entry_refused, entry_words
from inspections.words.grading import grade_words
from installs.models import Installation
from plant.calc.reasons import NotAccepted, Reason
from plant.calc.units import UnitSystem
from plant.errors import Refused
from plant.models import Person, Photo
from plant.services.records import check_row, known_row


@dataclass(frozen=True)
class PhoneClock:
    """What a phone's own clock said: when a visit was closed out on it, and when it was sent."""

    at: datetime
    sent_at: datetime


Entries = Mapping[int, Mapping[str, Mapping[str, Any]]]


@dataclass(frozen=True)
class StopReport:
    """What a person reports of one stop at a device.

    Attributes
    ----------
    installation : Installation
        Where the visit was made.
    by : Person
        Who made it.
    visited_at : datetime
        When the visit was made.
    entries : mapping
        {task id: {code: {"as_found": value, "as_left": value}}}; numbers in SI, answers as text, or `Typed` with the
        text that was typed. A check with nothing filled in stays open.
    client_key : UUID
        Made by the page; the same key again gives back the first visit.
    lockout_confirmed, lockout_confirmed_at
        That the person confirmed the lockout, and when. A record, never an interlock.
    confirmed_implausible : collection of str
        Keys (task:code:stage) of readings that were asked back and are right.
    action : NewAction, optional
        Corrective work to raise with the visit.
    no_action_reason : str
        Why a finding to act on gets no action.
    phone : PhoneClock, optional
        For a visit that was kept on a phone: its clock. `visited_at` is then set right by it and never refused for
        lying ahead.
    """

    installation: Installation
    by: Person
    visited_at: datetime
    entries: Entries
    client_key: uuid.UUID = field(default_factory=uuid.uuid4)
    lockout_confirmed: bool = False
    lockout_confirmed_at: datetime | None = None
    permit_reference: str = ""
    note: str = ""
    photos: Collection[Photo] = ()
    confirmed_implausible: Collection[str] = ()
    action: NewAction | None = None
    no_action_reason: str = ""
    phone: PhoneClock | None = None


# --- what a report comes to -------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Settled:
    """What a report comes to: the checks that were filled in, and those found at act."""

    entered: list[Entered]
    to_act: list[Entered]

    @property
    def kinds(self) -> set[int]:
        """The kinds of check found at act."""
        return {each.task.check_kind_id for each in self.to_act}


def wanted_action(report: StopReport, settled: Settled) -> NewAction | None:
    """The action that a report raises: one that was only suggested needs a finding, and no reason against it."""
    action = report.action
    if action is not None and action.is_suggested and (not settled.to_act or report.no_action_reason.strip()):
        return None
    return action


def settle(report: StopReport, tasks: Mapping[int, Task], *, corrects: Visit | None = None) -> Settled:
    """Grade what was entered, at a stop or in place of an earlier visit.

    Raises
    ------
    NotClosedOut
        If something is missing, hard to believe and not yet confirmed, or a finding to act on has neither an action nor
        a reason.
    """
    wear = wear_to_ask_by(report, tasks) if corrects is None else None
    wanted = wanted_of(list(tasks.values()), report.installation, before=report.visited_at, wear=wear)
    try:
        entered, wrong, questions = take_in(tasks, wanted, report.entries, report.confirmed_implausible)
    except NotAccepted as error:
        raise entry_refused(error) from error
    faults = entry_words(wrong)
    if corrects is None:
        questions = still_asked(report, tasks, questions)
        faults.update(stop_faults(report, entered))
    if not entered and not faults:
        faults["checks"] = (
            _("Fill in at least one check, or say that it could not be done.")
            if corrects is None
            else _("A corrected visit needs at least one reading.")
        )
    settled = Settled(entered, at_act(entered, questions))
    missing = {}
    action = wanted_action(report, settled)
    if settled.to_act and action is None and not report.no_action_reason.strip():
        chain = visit_chain(corrects) if corrects is not None else ()
        missing = entry_words(act_faults(settled.to_act, kinds_in_hand(report.installation, chain)))
    faults.update(missing)
    if action is not None and report.phone is None:
        alike = alike_open(report.installation, settled.kinds, action.title)
        faults.update(choice_faults(action, alike))
    if faults or questions:
        suggestion = ""
        if settled.to_act and (corrects is None or missing):
            first = settled.to_act[0].task
            n_before = times_running(report.installation, first.check_kind_id, besides=first.pk)
            suggestion = suggested_action(first.check_kind, n_before)
        raise not_closed_out(faults, questions, suggestion)
    return settled


def wear_to_ask_by(report: StopReport, tasks: Mapping[int, Task]) -> DeviceWear | None:
    """The trend is worked out only where it could still ask: what is confirmed already is taken as it is."""
    unsure = [
        tasks[pk]
        for pk, codes in report.entries.items()
        for code in codes
        if reading_key(pk, code, FOUND) not in report.confirmed_implausible
    ]
    return own_wear(unsure, report.installation, report.visited_at)


def still_asked(report: StopReport, tasks: Mapping[int, Task], questions: dict[str, Reason]) -> dict[str, Reason]:
    """A phone asked by what it knew; where somebody else closed the check since, people are asked which counts."""
    if report.phone is None:
        return questions
    closed = {pk for pk, task in tasks.items() if task.closed_at is not None}
    return {key: asked for key, asked in questions.items() if int(key.split(":")[0]) not in closed}


def stop_faults(report: StopReport, entered: Sequence[Entered]) -> dict[str, str]:
    """What is wrong with a stop itself: its time, its tools, its lockout."""
    faults = time_faults(report.installation, report.visited_at)
    faults.update(entry_words(tool_faults(entered, local_day(report.visited_at, report.installation.plant))))
    if any(each.task.check_kind.needs_lockout for each in entered) and not report.lockout_confirmed:
        faults["lockout_confirmed"] = _(
            "These checks need lockout. Confirm it, or say that the check could not be done."
        )
    return faults


# --- closing out ------------------------------------------------------------------------------------------------------


@transaction.atomic
def close_out_visit(report: StopReport) -> Visit:
    """Record one stop at a device and close the checks that were filled in, each with the worst of its grades.

    Returns
    -------
    Visit
        A check that somebody else closed meanwhile keeps who closed it; its readings are kept beside the others, and
        both people are asked which count.

    Raises
    ------
    NotClosedOut
        As `settle`. Nothing is written.
    """
    known = known_row(Visit, report.client_key)
    if known is not None:
        return known
    if report.phone is not None:
        report = replace(report, visited_at=time_by_server(report.visited_at, report.phone, timezone.now()))
    installation, by = report.installation, report.by
    hold_tasks(installation, report.entries)
    settled = settle(report, tasks_of(installation, report.entries))
    confirmed_at = report.lockout_confirmed_at or timezone.now()
    visit = new_visit(
        report,
        lockout_confirmed_at=confirmed_at if report.lockout_confirmed else None,
        lockout_confirmed_by=by if report.lockout_confirmed else None,
        no_action_reason=report.no_action_reason.strip() if settled.to_act else "",
        phone_at=report.phone.at if report.phone else None,
        phone_sent_at=report.phone.sent_at if report.phone else None,
    )
    if visit is None:
        return Visit.objects.get(client_key=report.client_key)
    visit.photos.add(*report.photos)
    read_here = {each.task.pk for each in settled.entered}
    for each in settled.entered:
        each.task = lead_of(each.task, besides=read_here)
        read_here.add(each.task.pk)
        write_readings(visit, each, by)
        if close_task(each, visit, by):
            close_with(each.task, visit, by, besides=read_here)
        write_offsets(visit, each, by)
    # The night makes the next checks too; so a failure here only delays them.
    transaction.on_commit(lambda: plan_next(installation), robust=True)
    answer_findings(visit, report, settled, settled.to_act)
    return visit


def answer_findings(visit: Visit, report: StopReport, settled: Settled, fresh: Sequence[Entered]) -> None:
    """Raise the action of a report, and write findings that are new on the actions that stand for them."""
    action = wanted_action(report, settled)
    if action is not None:
        raise_or_add(
            action,
            installation=visit.installation,
            by=report.by,
            kinds=settled.kinds,
            visit=visit,
            client_key=uuid.uuid5(visit.client_key, "action"),
            may_ask=report.phone is None,
        )
    add_findings(visit, fresh, report.by, added_to=action.add_to if action else None)


def add_findings(visit: Visit, to_act: Sequence[Entered], by: Person, *, added_to: Action | None = None) -> None:
    """Each finding of act that an open action stands for is written down on it, with the visit that found it again.

    Also where another action was raised for it, or a reason given why none is: whoever works on the open one learns
    of it. What a person added to an action (`added_to`) stands for the one finding that it answers.
    """
    found: dict[Action, list[Entered]] = {}
    raised_here = {one.pk for one in visit_chain(visit)} if to_act else set()
    for each in to_act:
        rows = alike_open(visit.installation, [each.task.check_kind_id])
        alike = [row for row in rows if row.visit_id not in raised_here]
        if alike:
            found.setdefault(next((row for row in alike if row == added_to), alike[0]), []).append(each)
    for action, those in found.items():
        if action == added_to and len(those) == 1:
            continue
        for each in those:
            add_to_action(
                action,
                installation=visit.installation,
                by=by,
                text=_("%(kind)s found at act again: %(reason)s")
                % {"kind": each.task.check_kind, "reason": grade_words(each.finding.reason, UnitSystem.METRIC)},
                visit=visit,
                client_key=uuid.uuid5(visit.client_key, f"found again {each.task.pk}"),
            )


def not_closed_out(faults: Mapping[str, str], questions: Mapping[str, Reason], suggestion: str) -> NotClosedOut:
    asked = [grade_words(each, UnitSystem.METRIC) for each in questions.values()]
    words = " ".join([*faults.values(), *asked])
    return NotClosedOut(words, fields=faults, questions=questions, suggested_action=suggestion)


def tasks_of(installation: Installation, task_ids: Collection[int]) -> dict[int, Task]:
    tasks = {
        task.pk: task
        for task in Task.objects.filter(installation=installation, pk__in=task_ids).select_related(
            "check_kind", "plant"
        )
    }
    if set(task_ids) - set(tasks):
        raise Refused(_("One of these checks belongs to another device; open the page again."), code="invalid")
    return tasks


def time_faults(installation: Installation, visited_at: datetime) -> dict[str, str]:
    if visited_at > timezone.now() + CLOCK_DRIFT:
        return {"visited_at": _("This time lies ahead; give when the visit was made.")}
    if visited_at < installation.installed_at:
        return {"visited_at": _("The device was not in this place yet; give when the visit was made.")}
    if installation.removed_at is not None and visited_at > installation.removed_at:
        return {"visited_at": _("The device was no longer in this place; give when the visit was made.")}
    return {}


def time_by_server(visited_at: datetime, phone: PhoneClock, now: datetime) -> datetime:
    """When a visit was made, from a phone whose clock may be wrong.

    The clock's error is what it showed at the sending against the time of arrival. More than ten minutes of it are
    taken out, so visits keep their order and their distance; what would still lie ahead was made by now.
    """
    off = phone.sent_at - now
    if abs(off) > CLOCK_DRIFT:
        visited_at -= off
    return min(visited_at, now)


def new_visit(report: StopReport, **values: Any) -> Visit | None:
    """Write the row; None where the same form arrived at the same moment and was first."""
    visit = Visit(
        plant=report.installation.plant,
        installation=report.installation,
        visited_by=values.pop("visited_by", report.by),
        visited_at=report.visited_at,
        created_by=report.by,
        client_key=report.client_key,
        permit_reference=report.permit_reference.strip(),
        note=report.note.strip(),
        **values,
    )
    check_row(visit)
    try:
        with transaction.atomic():
            visit.save()
    except IntegrityError:
        if known_row(Visit, report.client_key) is None:
            raise
        return None
    return visit


# --- correcting -------------------------------------------------------------------------------------------------------


@transaction.atomic
def correct_visit(
    *,
    visit: Visit,
    by: Person,
    reason: str,
    entries: Entries,
    client_key: uuid.UUID | None = None,
    note: str | None = None,
    photos: Collection[Photo] = (),
    confirmed_implausible: Collection[str] = (),
    action: NewAction | None = None,
    no_action_reason: str = "",
) -> Visit:
    """Take the place of a visit by one with other readings. The old one stays visible; no later check moves.

    `entries` hold all readings of each check that is named; checks of the visit that are not named keep theirs.

    Raises
    ------
    Refused
        If no reason is given or the visit was corrected before.
    NotClosedOut
        If a reading is at fault or asked back, or a finding that says act now has neither an action nor a reason.
        Nothing is written.
    """
    known = known_row(Visit, client_key)
    if known is not None:
        return known
    refuse_correction(visit, reason)
    installation = visit.installation
    hold_tasks(installation, visit.readings.values_list("task"))
    old = {reading_key(row.task_id, row.code, row.stage): row for row in visit.readings.current()}
    full = {**entries_of(old.values()), **entries}
    report = StopReport(
        installation=installation,
        by=by,
        visited_at=visit.visited_at,
        entries=full,
        client_key=client_key or uuid.uuid4(),
        permit_reference=visit.permit_reference,
        note=visit.note if note is None else note,
        photos=[*visit.photos.all(), *photos],
        confirmed_implausible={*confirmed_implausible, *unchanged(old, full)},
        action=action,
        no_action_reason=no_action_reason.strip() or visit.no_action_reason,
    )
    tasks = tasks_of(installation, full)
    settled = settle(report, tasks, corrects=visit)
    fresh = new_visit(
        report,
        visited_by=visit.visited_by,
        lockout_confirmed_at=visit.lockout_confirmed_at,
        lockout_confirmed_by=visit.lockout_confirmed_by,
        no_action_reason=report.no_action_reason if settled.to_act else "",
        corrects=visit,
        correction_reason=reason.strip()[:300],
    )
    if fresh is None:
        return Visit.objects.get(client_key=report.client_key)
    fresh.photos.add(*report.photos)
    write_corrected(fresh, visit, settled, old, tasks, by)
    was_act = {row.task_id for row in old.values() if row.grade == Grade.ACT.value}
    answer_findings(fresh, report, settled, [each for each in settled.to_act if each.task.pk not in was_act])
    return fresh


def refuse_correction(visit: Visit, reason: str) -> None:
    """A correction says why, and takes the place of a visit that still counts."""
    if not reason.strip():
        words = _("Say why it is corrected.")
        raise Refused(words, code="reason", fields={"correction_reason": words})
    if Visit.objects.filter(corrects=visit).exists():
        raise Refused(_("This visit was corrected before. Open the latest one and correct that."), code="corrected")


def write_corrected(
    fresh: Visit,
    visit: Visit,
    settled: Settled,
    old: Mapping[str, Reading],
    tasks: Mapping[int, Task],
    by: Person,
) -> None:
    """The readings of a corrected visit; what the old one read besides is withdrawn. Grades follow."""
    kept = set()
    for each in settled.entered:
        write_offsets(fresh, each, by)
        write_readings(fresh, each, by, old)
        kept |= {reading_key(each.task.pk, code, stage) for stage, row in each.values.items() for code in row}
        regrade_task(each, visit, fresh, by)
    for key, row in old.items():
        if key not in kept:
            withdraw_reading(row, fresh, by)
    for task_id in {row.task_id for row in old.values()} - {each.task.pk for each in settled.entered}:
        regrade_task(Entered(tasks[task_id], [], {}, Finding(None, Reason(FindingRule.WITHDRAWN))), visit, fresh, by)
