"""One stop at a device as it is sent: checks that were done, those that could not be, those done besides."""

from __future__ import annotations

import re
import uuid
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from inspections.errors import NotClosedOut
from inspections.models import (
    CheckKind,
    CouldNotDo,
    Task,
    Visit,
)
from inspections.selectors.tasks import answered_too
from inspections.selectors.wanted_tasks import local_day
from inspections.services.actions import raise_or_add
from inspections.services.rounds import give_back_task
from inspections.services.tasks import ask_for_task
from inspections.services.visits import StopReport, close_out_visit, tasks_of, time_by_server
from inspections.words.people_named import DONE_WHILE_THERE
from plant.errors import Refused
from plant.models import Notice, Person
from plant.permissions import PLANNER
from plant.selectors.people import people_in
from plant.services.records import create_record, known_row


@transaction.atomic
def finish_stop(report: StopReport, not_done: Mapping[int, tuple[str, str]]) -> Visit | None:
    """One stop at a device: the checks that were done become a visit, those that could not be done are reported.

    Where none could be done, its note goes with each of them, and an action that was raised stands by itself with the
    photos. A key below 0 is that of a kind of check, with a minus: done of the person's own choice, and written as
    asked for by them unless a check of this kind is open here.

    Returns
    -------
    Visit or None
        None where no check could be done.

    Raises
    ------
    NotClosedOut
        As `close_out_visit`, and where a check has readings as well as a reason why it could not be done.
    """
    installation, by, phone = report.installation, report.by, report.phone
    chosen = write_chosen(report)
    entries = {chosen[pk].pk if pk in chosen else pk: readings for pk, readings in report.entries.items()}
    tasks = tasks_of(installation, {*entries, *not_done})
    both = {pk for pk in not_done if entries.get(pk)}
    if both:
        words = _("Give either readings or the reason why it could not be done.")
        raise NotClosedOut(words, fields={f"t{pk}-reason": words for pk in both})
    for pk, (reason, note) in not_done.items():
        could_not_do(
            task=tasks[pk],
            by=by,
            reason=reason,
            note=note or report.note,
            tried_at=time_by_server(report.visited_at, phone, timezone.now()) if phone else None,
            is_kept_when_closed=phone is not None,
            client_key=uuid.uuid5(report.client_key, f"not done {pk}"),
        )
    if not_done and not any(entries.values()):
        if report.action is not None:
            raise_or_add(
                report.action,
                installation=installation,
                by=by,
                photos=report.photos,
                client_key=uuid.uuid5(report.client_key, "action"),
                may_ask=phone is None,
            )
        return None
    back = {str(task.pk): str(pk) for pk, task in chosen.items()}
    sure = {renamed(key, {new: old for old, new in back.items()}) for key in report.confirmed_implausible}
    read = {pk: readings for pk, readings in entries.items() if readings}
    try:
        return close_out_visit(replace(report, entries=read, confirmed_implausible=sure))
    except NotClosedOut as refusal:
        raise NotClosedOut(
            refusal.message,
            fields={renamed(key, back): words for key, words in refusal.fields.items()},
            questions={renamed(key, back): words for key, words in refusal.questions.items()},
            suggested_action=refusal.suggested_action,
        ) from None


def renamed(key: str, names: Mapping[str, str]) -> str:
    """A key of a reading (task:code:stage) or of a field (ttask-name) under another task's key."""
    mark, rest = (key[0], key[1:]) if key[:1] == "t" and key[1:2] in "-0123456789" else ("", key)
    parts = re.match(r"-?\d+", rest)
    if parts is None or parts.group() not in names:
        return key
    return mark + names[parts.group()] + rest[parts.end() :]


def write_chosen(report: StopReport) -> dict[int, Task]:
    """The checks behind keys below 0: the one of that kind that is open here, else one asked for by this person."""
    installation, by = report.installation, report.by
    wanted = [pk for pk, readings in report.entries.items() if pk < 0 and readings]
    if not wanted:
        return {}
    kinds = {-kind.pk: kind for kind in CheckKind.objects.for_plant(installation.plant).filter(pk__in=map(abs, wanted))}
    if set(wanted) - set(kinds):
        raise Refused(_("This kind of check is not used any more; open the round anew."), code="invalid")
    found = {}
    for pk in wanted:
        here = Task.objects.filter(installation=installation, check_kind=kinds[pk]).exclude(pk__in=report.entries)
        # Closed by this very entry before its answer was lost, it is the same check.
        key = uuid.uuid5(report.client_key, f"chosen {kinds[pk].pk}")
        task = known_row(Task, key) or here.open().order_by("due_on", "pk").first()
        if task is None:
            on = local_day(min(report.visited_at, timezone.now()), installation.plant)
            why = str(DONE_WHILE_THERE % {"who": by})
            task = ask_for_task(
                installation=installation, check_kind=kinds[pk], by=by, due_on=on, why=why, client_key=key, today=on
            )
        found[pk] = task
    return found


@transaction.atomic
def could_not_do(
    *,
    task: Task,
    by: Person,
    reason: str,
    note: str = "",
    tried_at: datetime | None = None,
    is_kept_when_closed: bool = False,
    client_key: uuid.UUID | None = None,
) -> CouldNotDo:
    """Say that a check was tried and could not be done. The task stays open, goes off the round, planners are told.

    What a phone kept for hours is written down even where somebody else could do the check meanwhile; nobody is told
    then, as there is nothing to do.

    Raises
    ------
    Refused
        If the check is closed already, or the reason is none of those offered.
    """
    known = known_row(CouldNotDo, client_key)
    if known is not None:
        return known
    current = Task.objects.get(pk=task.pk)
    if current.closed_at is not None and not is_kept_when_closed:
        raise Refused(_("This check was closed meanwhile; there is nothing left to do."), code="closed")
    row = create_record(
        CouldNotDo,
        by=by,
        client_key=client_key,
        task=task,
        tried_at=tried_at or timezone.now(),
        reason=reason,
        note=note.strip(),
    )
    if current.closed_at is not None:
        return row
    give_back_task(task=current, tried_at=row.tried_at, by=by)
    # Whoever else asked for the same check has it tried as well; it is told once.
    for each in answered_too(current, local_day(row.tried_at, current.plant)):
        create_record(
            CouldNotDo,
            by=by,
            client_key=uuid.uuid5(row.client_key, f"asked too {each.pk}"),
            task=each,
            tried_at=row.tried_at,
            reason=reason,
            note=row.note,
        )
        give_back_task(task=each, tried_at=row.tried_at, by=by)
    words = _("%(task)s could not be done: %(reason)s") % {"task": task, "reason": row.get_reason_display()}
    for person_id in set(people_in(task.plant, PLANNER)) - {by.pk}:
        Notice.objects.get_or_create(
            person_id=person_id,
            key=f"could-not-do-{row.pk}",
            defaults={"plant": task.plant, "text": words[:300], "url": task.get_absolute_url()},
        )
    return row
