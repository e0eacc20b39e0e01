"""Visits: closing checks out, and correcting what was entered.

Grades are worked out here from what was entered and from the limits of the device model and the check kind, whatever
the page showed. A visit is one transaction and one row; sent twice it counts once.
"""

from __future__ import annotations

import uuid
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import F, Q
from django.utils import timezone
from django.utils.translation import gettext as _

from inspections.calc.findings import (
    Finding,
)
from inspections.calc.grading import Grade, worst
from inspections.check_rules.kinds import rule_of, suggested_action
from inspections.check_rules.wanted import FOUND, LEFT, Method, Typed, reading_key
from inspections.errors import NotClosedOut
from inspections.models import (
    CLOCK_DRIFT,
    Action,
    Reading,
    Task,
    TwiceClosed,
    Visit,
)
from inspections.selectors.actions import alike_open, kinds_in_hand
from inspections.selectors.entered import (
    Entered,
    act_faults,
    at_act,
    doubt_about,
    entries_of,
    finding_at,
    take_in,
    tool_faults,
    unchanged,
)
from inspections.selectors.readings_wanted import own_wear, times_running, wanted_of
from inspections.selectors.tasks import answered_too
from inspections.selectors.visits import visit_chain
from inspections.selectors.wanted_tasks import local_day
from inspections.services.actions import NewAction, add_to_action, choice_faults, raise_or_add
from inspections.services.rounds import leave_rounds
from inspections.services.tasks import end_spells, plan_next
from installs.models import BeltOffset, Installation
from installs.selectors.torque import deviation_of
from installs.services.belt_offsets import set_offset
from plant.errors import Refused
from plant.models import Notice, Person, Photo
from plant.services.records import check_row, create_record, known_row


@dataclass(frozen=True)
class PhoneClock:
    """What a phone's own clock said: when a visit was closed out on it, and when it was sent."""

    at: datetime
    sent_at: datetime


# --- closing out ------------------------------------------------------------------------------------------------------


@transaction.atomic
def close_out_visit(
    *,
    installation: Installation,
    by: Person,
    entries: Mapping[int, Mapping[str, Mapping[str, Any]]],
    visited_at: datetime,
    client_key: uuid.UUID | None = None,
    lockout_confirmed: bool = False,
    lockout_confirmed_at: datetime | None = None,
    permit_reference: str = "",
    note: str = "",
    photos: Collection[Photo] = (),
    confirmed_implausible: Collection[str] = (),
    action: NewAction | None = None,
    no_action_reason: str = "",
    phone: PhoneClock | None = None,
) -> Visit:
    """Record one stop at a device and close the checks that were filled in, each with the worst of its grades.

    Parameters
    ----------
    installation : Installation
        Where the visit was made.
    by : Person
        Who made it.
    entries : mapping
        {task id: {code: {"as_found": value, "as_left": value}}}; numbers in SI, answers as text, or `Typed` with the
        text that was typed. A check with nothing filled in stays open.
    visited_at : datetime
        When the visit was made.
    client_key : UUID, optional
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

    Returns
    -------
    Visit
        A check that somebody else closed meanwhile keeps who closed it; its readings are kept beside the others, and
        both people are asked which count.

    Raises
    ------
    NotClosedOut
        If something is missing, hard to believe and not yet confirmed, or a finding to act on has neither an action nor
        a reason. Nothing is written.
    """
    known = known_row(Visit, client_key)
    if known is not None:
        return known
    if phone is not None:
        visited_at = time_by_server(visited_at, phone, timezone.now())
    hold_tasks(installation, entries)
    tasks = tasks_of(installation, entries)
    # The trend is worked out only where it could still ask: what is confirmed already is taken as it is.
    unsure = [
        tasks[pk] for pk, codes in entries.items() for code in codes
        if reading_key(pk, code, FOUND) not in confirmed_implausible
    ]  # fmt: skip
    wear = own_wear(unsure, installation, visited_at)
    wanted = wanted_of(list(tasks.values()), installation, before=visited_at, wear=wear)
    entered, faults, questions = take_in(tasks, wanted, entries, confirmed_implausible)
    if phone is not None:
        # The phone asked by what it knew; where somebody else closed the check since, people are asked which counts.
        closed = {pk for pk, task in tasks.items() if task.closed_at is not None}
        questions = {key: words for key, words in questions.items() if int(key.split(":")[0]) not in closed}
    faults.update(time_faults(installation, visited_at))
    faults.update(tool_faults(entered, local_day(visited_at, installation.plant)))
    if not entered and not faults:
        faults["checks"] = _("Fill in at least one check, or say that it could not be done.")
    if any(each.task.check_kind.needs_lockout for each in entered) and not lockout_confirmed:
        faults["lockout_confirmed"] = _(
            "These checks need lockout. Confirm it, or say that the check could not be done."
        )
    suggestion = ""
    to_act = at_act(entered, questions)
    if to_act:
        first = to_act[0]
        n_before = times_running(installation, first.task.check_kind_id, besides=first.task.pk)
        suggestion = suggested_action(first.task.check_kind, n_before)
        if action is None and not no_action_reason.strip():
            faults.update(act_faults(to_act, kinds_in_hand(installation)))
    kinds = {each.task.check_kind_id for each in to_act}
    if action is not None and phone is None:
        faults.update(choice_faults(action, alike_open(installation, kinds, action.title)))
    if faults or questions:
        raise not_closed_out(faults, questions, suggestion)
    visit = new_visit(
        installation=installation,
        by=by,
        client_key=client_key,
        visited_at=visited_at,
        lockout_confirmed_at=(lockout_confirmed_at or timezone.now()) if lockout_confirmed else None,
        lockout_confirmed_by=by if lockout_confirmed else None,
        permit_reference=permit_reference.strip(),
        note=note.strip(),
        no_action_reason=no_action_reason.strip() if to_act else "",
        phone_at=phone.at if phone else None,
        phone_sent_at=phone.sent_at if phone else None,
    )
    if visit is None:
        assert client_key is not None
        return Visit.objects.get(client_key=client_key)
    visit.photos.add(*photos)
    read_here = {each.task.pk for each in entered}
    for each in entered:
        each.task = lead_of(each.task, besides=read_here)
        read_here.add(each.task.pk)
        write_readings(visit, each, by)
        if close_task(each, visit, by):
            close_with(each.task, visit, by, besides=read_here)
        write_offsets(visit, each, by)
    # The night makes the next checks too; so a failure here only delays them.
    transaction.on_commit(lambda: plan_next(installation), robust=True)
    raise_of_visit(visit, action, by, kinds, may_ask=phone is None)
    add_findings(visit, to_act, by, added_to=action.add_to if action else None)
    return visit


def raise_of_visit(
    visit: Visit, action: NewAction | None, by: Person, kinds: Collection[int], *, may_ask: bool = True
) -> None:
    if action is not None:
        raise_or_add(
            action,
            installation=visit.installation,
            by=by,
            kinds=kinds,
            visit=visit,
            client_key=uuid.uuid5(visit.client_key, "action"),
            may_ask=may_ask,
        )


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
                % {"kind": each.task.check_kind, "reason": each.finding.reason},
                visit=visit,
                client_key=uuid.uuid5(visit.client_key, f"found again {each.task.pk}"),
            )


def not_closed_out(faults: Mapping[str, str], questions: Mapping[str, str], suggestion: str) -> NotClosedOut:
    words = " ".join([*faults.values(), *questions.values()])
    return NotClosedOut(words, fields=faults, questions=questions, suggested_action=suggestion)


def hold_tasks(installation: Installation, task_ids: Iterable[Any]) -> None:
    """Let two closings at one device come one after the other, where the data base can lock rows (PostgreSQL).

    SQLite lets one transaction write at a time. The order is that in which the night takes the same rows.
    """
    rows = Task.objects.filter(Q(closed_at__isnull=True) | Q(pk__in=task_ids), installation=installation)
    list(rows.select_for_update(of=("self",)).values_list("pk"))


def lead_of(task: Task, *, besides: Collection[int]) -> Task:
    """The check to which readings belong: the one that answered this one meanwhile, so that both stand side by side.

    `besides` are checks with readings of their own at this visit: those keep apart.
    """
    fresh = Task.objects.select_related("check_kind", "plant", "done_with__check_kind", "done_with__plant")
    lead = fresh.get(pk=task.pk).done_with
    return task if lead is None or lead.pk in besides else lead


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


def new_visit(*, installation: Installation, by: Person, client_key: uuid.UUID | None, **values: Any) -> Visit | None:
    """Write the row; None where the same form arrived at the same moment and was first."""
    visit = Visit(
        plant=installation.plant,
        installation=installation,
        visited_by=values.pop("visited_by", by),
        created_by=by,
        client_key=client_key or uuid.uuid4(),
        **values,
    )
    check_row(visit)
    try:
        with transaction.atomic():
            visit.save()
    except IntegrityError:
        if known_row(Visit, client_key) is None:
            raise
        return None
    return visit


def write_readings(visit: Visit, each: Entered, by: Person, replaced: Mapping[str, Reading] | None = None) -> None:
    replaced = replaced or {}
    on = local_day(visit.visited_at, visit.plant)
    for wanted in each.wanted:
        for stage in (FOUND, LEFT):
            typed = each.values[stage].get(wanted.code)
            if typed is None or typed.value is None:
                continue
            graded = each.finding.parts.get(wanted.code) if stage == FOUND else None
            reason = graded.reason if graded else each.finding.left.get(wanted.code, "") if stage == LEFT else ""
            corrected = replaced.get(reading_key(each.task.pk, wanted.code, stage))
            is_torque = rule_of(each.task.check_kind).names_tool and wanted.form == "number"
            Reading.objects.create(
                visit=visit,
                task=each.task,
                code=wanted.code,
                label=wanted.label,
                side=wanted.side,
                stage=stage,
                value=float(typed.value) if wanted.form == "number" else None,
                quantity=wanted.quantity,
                answer=str(typed.value) if wanted.form == "choice" else "",
                typed=typed.text[:60],
                grade=graded.grade.value if graded and graded.grade else "",
                grade_reason=reason[:300],
                method=method_at(stage, typed) if is_torque else "",
                instrument=typed.instrument if is_torque else None,
                deviation_pct=deviation_of(typed.instrument) if is_torque else None,
                doubt=kept_doubt(typed, corrected) or doubt_about(typed, wanted, on) if is_torque else "",
                corrects=corrected,
                correction_reason=visit.correction_reason if corrected else "",
                created_by=by,
            )


def kept_doubt(typed: Typed, corrected: Reading | None) -> str:
    """What was said of the same wrench when the reading was first entered, with the reason why it was used."""
    if corrected is None or typed.tool_reason or corrected.instrument != typed.instrument:
        return ""
    return corrected.doubt


def method_at(stage: str, typed: Typed) -> str:
    """What is left was set while tightening, however it was read as found; nothing is guessed where nobody said."""
    return Method.TIGHTENING.value if stage == LEFT and typed.method else typed.method


def write_offsets(visit: Visit, each: Entered, by: Person, *, reason: str = "") -> None:
    """Offsets of a visit also go to the belt's own rows, which the comparison before and after reads."""
    installation = visit.installation
    measured = rule_of(each.task.check_kind).belt_offsets(installation, each.values)
    if not measured:
        return
    first = visit
    while first.corrects is not None:
        first = first.corrects
    for at, is_loaded, offset_mm in measured:
        set_offset(
            root=uuid.uuid5(first.client_key, f"offsets {each.task.pk}"),
            conveyor=installation.conveyor,
            strand=installation.strand,
            chainage_m=at,
            is_loaded=is_loaded,
            offset_mm=offset_mm,
            taken_at=visit.visited_at,
            occasion=BeltOffset.Occasion.FOLLOW_UP,
            by=by,
            reason=reason or visit.correction_reason,
            installation=installation,
        )


def close_task(each: Entered, visit: Visit, by: Person) -> bool:
    """Close the check with its grade; where somebody else closed it meanwhile, only a worse grade is taken over.

    One that was withdrawn meanwhile was done all the same, and its finding is one: it counts as done. True if this
    visit closed it.
    """
    task, finding = each.task, each.finding
    # A conditional update: of two visits sent at once exactly one closes the check.
    undone = Q(closed_at__isnull=True) | Q(outcome=Task.Outcome.WITHDRAWN)
    claimed = Task.objects.filter(undone, pk=task.pk).update(
        closed_at=visit.visited_at, outcome=Task.Outcome.DONE, version=F("version") + 1
    )
    task.refresh_from_db()
    task._history_user = by
    if claimed:
        task.visit, task.closed_by, task.closing_reason = visit, by, ""
        task.grade, task.grade_reason = finding.grade.value if finding.grade else "", finding.reason[:400]
        task.save(update_fields=["outcome", "visit", "closed_by", "closing_reason", "grade", "grade_reason"])
        end_spells([task], at=visit.visited_at)
        leave_rounds([task], by=by)
        return True
    take_over_worse(task, finding, by)
    if task.done_with is not None:  # its own readings stand beside those of the check that answered it
        take_over_worse(task.done_with, finding, by)
    if task.visit is not None:
        ask_which_counts(task, task.visit, visit, by)
    return False


def take_over_worse(task: Task, finding: Finding, by: Person) -> None:
    """A worse finding stands at once, whichever visit will count: people on the belt go by it until it is decided."""
    if finding.grade is None or not worse(finding.grade, task.grade):
        return
    task.grade, task.grade_reason = finding.grade.value, finding.reason[:400]
    task.version += 1
    task._history_user = by
    task.save(update_fields=["grade", "grade_reason", "version"])
    follow_lead(task, by)


def close_with(task: Task, visit: Visit, by: Person, *, besides: Collection[int] = ()) -> None:
    """Close what else asked for the same check: the plan, a person, the watch. Each keeps its origin and its dates.

    `besides` are checks with readings of their own at this visit.
    """
    others = []
    for each in answered_too(task, local_day(visit.visited_at, visit.plant)):
        # As in `close_task`: one that another visit closes at this moment keeps that visit and what it found.
        if each.pk in besides or not Task.objects.open().filter(pk=each.pk).update(
            closed_at=visit.visited_at, outcome=Task.Outcome.DONE, version=F("version") + 1
        ):
            continue
        each.refresh_from_db()
        each.closed_by, each.visit, each.done_with = by, visit, task
        each.grade, each.grade_reason = task.grade, task.grade_reason
        each._history_user = by
        each.save(update_fields=["outcome", "closed_by", "visit", "done_with", "grade", "grade_reason"])
        others.append(each)
    end_spells(others, at=visit.visited_at)
    leave_rounds(others, by=by)


def follow_lead(task: Task, by: Person) -> None:
    """Checks that the readings of another answer take over its grade and visit when those change."""
    own = Reading.objects.current().filter(task__done_with=task).values("task")
    for each in Task.objects.filter(done_with=task).exclude(pk__in=own):
        each.grade, each.grade_reason, each.visit = task.grade, task.grade_reason, task.visit
        each.version += 1
        each._history_user = by
        each.save(update_fields=["grade", "grade_reason", "visit", "version"])


def ask_which_counts(task: Task, first: Visit, second: Visit, by: Person) -> TwiceClosed:
    """Two visits closed the same check: keep both and tell the one who was first. The second sees it at once."""
    row = create_record(
        TwiceClosed,
        by=by,
        client_key=uuid.uuid5(second.client_key, f"twice closed {task.pk}"),
        plant=task.plant,
        task=task,
        first=first,
        second=second,
    )
    words = _("%(task)s was closed by %(first)s and again by %(second)s: say which counts.") % {
        "task": task,
        "first": first.visited_by,
        "second": second.visited_by,
    }
    for person_id in {first.visited_by_id, second.visited_by_id}:
        Notice.objects.get_or_create(
            person_id=person_id,
            key=f"twice-closed-{row.pk}",
            defaults={"plant": task.plant, "text": words[:300], "url": row.get_absolute_url()},
        )
    return row


def worse(grade: Grade, than: str) -> bool:
    return not than or grade > Grade(than)


# --- correcting -------------------------------------------------------------------------------------------------------


@transaction.atomic
def correct_visit(
    *,
    visit: Visit,
    by: Person,
    reason: str,
    entries: Mapping[int, Mapping[str, Mapping[str, Any]]],
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
    if not reason.strip():
        words = _("Say why it is corrected.")
        raise Refused(words, code="reason", fields={"correction_reason": words})
    if Visit.objects.filter(corrects=visit).exists():
        raise Refused(_("This visit was corrected before. Open the latest one and correct that."), code="corrected")
    installation = visit.installation
    hold_tasks(installation, visit.readings.values_list("task"))
    old = {reading_key(row.task_id, row.code, row.stage): row for row in visit.readings.current()}
    full = {**entries_of(old.values()), **entries}
    tasks = tasks_of(installation, full)
    wanted = wanted_of(list(tasks.values()), installation, before=visit.visited_at)
    entered, faults, questions = take_in(tasks, wanted, full, {*confirmed_implausible, *unchanged(old, full)})
    if not entered and not faults:
        faults["checks"] = _("A corrected visit needs at least one reading.")
    suggestion = ""
    why_not = no_action_reason.strip() or visit.no_action_reason
    to_act = at_act(entered, questions)
    missing = act_faults(to_act, kinds_in_hand(installation, visit_chain(visit)))
    if missing and action is None and not why_not:
        kind = to_act[0].task.check_kind
        n_before = times_running(installation, kind.pk, besides=to_act[0].task.pk)
        suggestion = suggested_action(kind, n_before)
        faults.update(missing)
    kinds = {each.task.check_kind_id for each in to_act}
    if action is not None:
        faults.update(choice_faults(action, alike_open(installation, kinds, action.title)))
    if faults or questions:
        raise not_closed_out(faults, questions, suggestion)
    fresh = new_visit(
        installation=installation,
        by=by,
        client_key=client_key,
        visited_at=visit.visited_at,
        visited_by=visit.visited_by,
        lockout_confirmed_at=visit.lockout_confirmed_at,
        lockout_confirmed_by=visit.lockout_confirmed_by,
        permit_reference=visit.permit_reference,
        note=visit.note if note is None else note.strip(),
        no_action_reason=why_not if to_act else "",
        corrects=visit,
        correction_reason=reason.strip()[:300],
    )
    if fresh is None:
        assert client_key is not None
        return Visit.objects.get(client_key=client_key)
    fresh.photos.add(*visit.photos.all(), *photos)
    kept = set()
    for each in entered:
        write_offsets(fresh, each, by)
        write_readings(fresh, each, by, old)
        kept |= {reading_key(each.task.pk, code, stage) for stage, row in each.values.items() for code in row}
        regrade_task(each, visit, fresh, by)
    for key, row in old.items():
        if key not in kept:
            withdraw_reading(row, fresh, by)
    for task_id in {row.task_id for row in old.values()} - {each.task.pk for each in entered}:
        regrade_task(
            Entered(tasks[task_id], [], {}, Finding(None, _("All readings were withdrawn."))), visit, fresh, by
        )
    raise_of_visit(fresh, action, by, kinds)
    was_act = {row.task_id for row in old.values() if row.grade == Grade.ACT.value}
    new_acts = [each for each in to_act if each.task.pk not in was_act]
    add_findings(fresh, new_acts, by, added_to=action.add_to if action else None)
    return fresh


def withdraw_reading(row: Reading, fresh: Visit, by: Person) -> None:
    Reading.objects.create(
        visit=fresh,
        task=row.task,
        code=row.code,
        label=row.label,
        side=row.side,
        stage=row.stage,
        value=row.value,
        quantity=row.quantity,
        answer=row.answer,
        typed=row.typed,
        method=row.method,
        instrument=row.instrument,
        deviation_pct=row.deviation_pct,
        doubt=row.doubt,
        corrects=row,
        correction_reason=fresh.correction_reason,
        is_withdrawn=True,
        created_by=by,
    )


def regrade_task(each: Entered, old: Visit, fresh: Visit, by: Person) -> None:
    """The grade follows the readings that count now: of the corrected visit and of any other visit of the check."""
    task, finding = each.task, each.finding
    task.refresh_from_db()
    others = (
        Reading.objects.current()
        .filter(task=task)
        .exclude(visit__in=[old, fresh])
        .exclude(grade="")
        .values_list("grade", "grade_reason")
    )
    beside = [Finding(Grade(grade), reason) for grade, reason in others]
    # Readings of a plant's own kind keep the grade of the limits of then, and say all there is.
    if not rule_of(task.check_kind).has_own_fields:
        again = Visit.objects.filter(readings__in=Reading.objects.current().filter(task=task)).exclude(
            pk__in=[old.pk, fresh.pk]
        )
        beside += [finding_at(task, each) for each in again.distinct()]
    grade = worst([finding.grade, *(each.grade for each in beside)])
    reason = finding.reason
    if grade is not None and grade is not finding.grade:
        reason = next(each.reason for each in beside if each.grade is grade)
    task.grade, task.grade_reason = grade.value if grade else "", reason[:400]
    if task.visit_id == old.pk:
        task.visit = fresh
    task.version += 1
    task._history_user = by
    task._change_reason = fresh.correction_reason[:100]
    task.save(update_fields=["grade", "grade_reason", "visit", "version"])
    follow_lead(task, by)
