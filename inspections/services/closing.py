"""Checks closed by a visit, with what else asked for them; closed by two, and graded anew when readings change."""

from __future__ import annotations

import uuid
from collections.abc import Collection, Iterable
from typing import Any

from django.db.models import F, Q
from django.utils.translation import gettext as _

from inspections.calc.findings import (
    Finding,
)
from inspections.calc.grading import Grade, worst
from inspections.check_rules.kinds import rule_of
from inspections.models import (
    Reading,
    Task,
    TwiceClosed,
    Visit,
)
from inspections.selectors.entered import Entered, finding_at
from inspections.selectors.tasks import answered_too
from inspections.selectors.wanted_tasks import local_day
from inspections.services.lateness import end_spells
from inspections.services.rounds import leave_rounds
from inspections.words.entered import entry_refused
from installs.models import Installation
from plant.calc.reasons import NotAccepted
from plant.models import Notice, Person
from plant.services.records import create_record

# Of which device and kind a check is stays: their rows need not be read again.
STAYS = {"plant", "installation", "check_kind"}
MAY_HAVE_CHANGED = [column.name for column in Task._meta.concrete_fields if column.name not in STAYS]


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
    if not Task.objects.filter(pk=task.pk, done_with__isnull=False).exists():
        return task
    fresh = Task.objects.select_related("check_kind", "plant", "done_with__check_kind", "done_with__plant")
    lead = fresh.get(pk=task.pk).done_with
    return task if lead is None or lead.pk in besides else lead


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
    task.refresh_from_db(fields=MAY_HAVE_CHANGED)
    task._history_user = by
    if claimed:
        task.visit, task.closed_by, task.closing_reason = visit, by, ""
        task.grade, task.grade_because = finding.grade.value if finding.grade else "", finding.reason.kept()
        task.save(update_fields=["outcome", "visit", "closed_by", "closing_reason", "grade", "grade_because"])
        end_spells([task], at=visit.visited_at)
        leave_rounds([task], by=by)
        return True
    take_over_worse(task, finding, by)
    if task.done_with is not None:  # its own readings stand beside those of the check that answered it
        take_over_worse(task.done_with, finding, by)
    if task.visit is not None:
        ask_which_counts(task, task.visit, visit, by)
    return False


def finding_of(task: Task, visit: Visit) -> Finding:
    """What the readings of one visit come to, as `finding_at`.

    Raises
    ------
    Refused
        If one of them is no longer asked for by the check.
    """
    try:
        return finding_at(task, visit)
    except NotAccepted as error:
        raise entry_refused(error) from error


def take_over_worse(task: Task, finding: Finding, by: Person) -> None:
    """A worse finding stands at once, whichever visit will count: people on the belt go by it until it is decided."""
    if finding.grade is None or not worse(finding.grade, task.grade):
        return
    task.grade, task.grade_because = finding.grade.value, finding.reason.kept()
    task.version += 1
    task._history_user = by
    task.save(update_fields=["grade", "grade_because", "version"])
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
        each.grade, each.grade_because = task.grade, task.grade_because
        each._history_user = by
        each.save(update_fields=["outcome", "closed_by", "visit", "done_with", "grade", "grade_because"])
        others.append(each)
    if others:
        end_spells(others, at=visit.visited_at)
        leave_rounds(others, by=by)


def follow_lead(task: Task, by: Person) -> None:
    """Checks that the readings of another answer take over its grade and visit when those change."""
    own = Reading.objects.current().filter(task__done_with=task).values("task")
    for each in Task.objects.filter(done_with=task).exclude(pk__in=own):
        each.grade, each.grade_because, each.visit = task.grade, task.grade_because, task.visit
        each.version += 1
        each._history_user = by
        each.save(update_fields=["grade", "grade_because", "visit", "version"])


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


def regrade_task(each: Entered, old: Visit, fresh: Visit, by: Person) -> None:
    """The grade follows the readings that count now: of the corrected visit and of any other visit of the check."""
    task, finding = each.task, each.finding
    task.refresh_from_db()
    others = (
        Reading.objects.current()
        .filter(task=task)
        .exclude(visit__in=[old, fresh])
        .exclude(grade="")
        .values_list("grade", "grade_because")
    )
    beside: list[tuple[Grade | None, dict[str, Any]]] = [(Grade(grade), because) for grade, because in others]
    # Readings of a plant's own kind keep the grade of the limits of then, and say all there is.
    if not rule_of(task.check_kind).has_own_fields:
        again = Visit.objects.filter(readings__in=Reading.objects.current().filter(task=task)).exclude(
            pk__in=[old.pk, fresh.pk]
        )
        found = [finding_of(task, each) for each in again.distinct()]
        beside += [(each.grade, each.reason.kept()) for each in found]
    grade = worst([finding.grade, *(each for each, _because in beside)])
    because = finding.reason.kept()
    if grade is not None and grade is not finding.grade:
        because = next(because for each, because in beside if each is grade)
    task.grade, task.grade_because = grade.value if grade else "", because
    if task.visit_id == old.pk:
        task.visit = fresh
    task.version += 1
    task._history_user = by
    task._change_reason = fresh.correction_reason[:100]
    task.save(update_fields=["grade", "grade_because", "visit", "version"])
    follow_lead(task, by)
