"""A check that two people closed: which of the two visits counts. Neither is ever lost."""

from __future__ import annotations

from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from inspections.calc.findings import Finding, FindingRule
from inspections.check_rules.wanted import FOUND, LEFT
from inspections.models import Reading, Task, TwiceClosed, Visit
from inspections.selectors.entered import Entered
from inspections.selectors.visits import visit_chain
from inspections.services.closing import finding_of, follow_lead, hold_tasks
from inspections.services.readings import write_offsets
from inspections.words.people_named import READINGS_COUNT
from plant.calc.reasons import Reason
from plant.errors import Refused
from plant.models import Person
from plant.services.records import change_record, correct_entry

Counts = TwiceClosed.Counts


@transaction.atomic
def say_which_counts(row: TwiceClosed, *, by: Person, version: int, counts: str) -> TwiceClosed:
    """Let the first, the second or both visits stand for the check.

    The readings of the one that does not count are withdrawn by rows of their own: they stay visible beside the others
    and leave trends and grades. Where both count, the worse grade stands.

    Raises
    ------
    ChangedMeanwhile
        If somebody else decided since the page was opened.
    Refused
        If it was decided before, or the answer is none of the three.
    """
    if row.counts:
        raise Refused(_("It was decided before which visit counts."), code="decided")
    if counts not in Counts.values:
        raise Refused(_("Choose the first, the second or both."), code="invalid", fields={"counts": _("Choose one.")})
    hold_tasks(row.task.installation, [row.task_id])
    change_record(row, by=by, version=version, counts=counts, decided_by=by, decided_at=timezone.now())
    if counts == Counts.BOTH:
        return row
    sides = (row.first, row.second) if counts == Counts.FIRST else (row.second, row.first)
    stays, goes = (visit_chain(visit)[-1] for visit in sides)  # each may have been corrected since
    reason = str(READINGS_COUNT % {"who": stays.visited_by, "by": by})
    for reading in Reading.objects.current().filter(visit=goes, task=row.task):
        correct_entry(reading, by=by, reason=reason, withdraw=True)
    nothing = Entered(row.task, [], {FOUND: {}, LEFT: {}}, Finding(None, Reason(FindingRule.WITHDRAWN)))
    write_offsets(goes, nothing, by, reason=reason)
    let_stand(row.task, stays, by=by, reason=reason)
    return row


def let_stand(task: Task, visit: Visit, *, by: Any, reason: str) -> None:
    """Give the check the time, the person and the grade of the visit that counts.

    One that another check of the visit answers keeps that grade; with readings of its own it is answered by itself.
    """
    task.refresh_from_db()
    lead = None if Reading.objects.current().filter(visit=visit, task=task).exists() else task.done_with
    finding = finding_of(task, visit)
    change_record(
        task,
        by=by,
        version=task.version,
        reason=reason,
        visit=visit,
        closed_at=visit.visited_at,
        closed_by=visit.visited_by,
        grade=lead.grade if lead else finding.grade.value if finding.grade else "",
        grade_because=lead.grade_because if lead else finding.reason.kept(),
        done_with=lead,
    )
    task.refresh_from_db()
    follow_lead(task, by)
