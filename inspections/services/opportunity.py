"""Work put on a round at once because a belt stands still."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from inspections.models import Round, Shift, Stop, Task
from inspections.selectors.rounds import is_fixed
from inspections.services.rounds import MovedStop, draft_of, write_moved
from plant.errors import Refused
from plant.models import Conveyor, OutageWindow
from plant.services.outages import plan_outage


@transaction.atomic
def put_on_round(
    *, conveyor: Conveyor, shift: Shift, tasks: Sequence[Task], minutes: int, by: Any, now: datetime | None = None
) -> Round:
    """Write down that the belt stands from now on, and put these checks on the draft of one shift, to be done first.

    Checks that stand on another round are taken off it; a stop that has begun keeps its own. The draft is looked at and
    published by a person, as every round is. Twice changes nothing.

    Raises
    ------
    Refused
        If the person is away or the shift is over, a check is of another belt, or one has begun elsewhere.
    """
    now = now or timezone.now()
    if not tasks or any(task.installation.conveyor_id != conveyor.pk for task in tasks):
        raise Refused(_("Choose open checks of %(tag)s.") % {"tag": conveyor.tag}, code="tasks")
    if shift.plant_id != conveyor.plant_id:
        raise Refused(_("That shift is of another plant."), code="plant")
    if shift.ends_at <= now or (shift.away_from is not None and shift.away_from <= now):
        raise Refused(_("%(who)s is not at work any more on this day.") % {"who": shift.person}, code="away")
    begins_at = now.replace(second=0, microsecond=0)
    stand_window(conveyor, begins_at, begins_at + timedelta(minutes=minutes), by=by)
    wanted = {task.pk for task in tasks}
    draft = draft_of(shift, by=by)
    if is_there(draft, wanted):
        return draft
    take_off(wanted, now=now, by=by)
    draft = draft_of(shift, by=by)
    write_moved(draft, MovedStop(tuple(tasks), begins_at), list(draft.stops.all()), None, now, by)
    return Round.objects.with_stops().get(pk=draft.pk)


def is_there(draft: Round, wanted: set[int]) -> bool:
    """Whether the checks stand on the draft, at one belt, in stops moved there by hand."""
    return wanted <= {pk for stop in draft.stops.all() if stop.not_before for pk in stop.task_order}


def stand_window(conveyor: Conveyor, begins_at: datetime, ends_at: datetime, *, by: Any) -> None:
    """An outage window from now on, up to the next one in the book; none where one is open already."""
    known = OutageWindow.objects.filter(conveyor=conveyor, ends_at__gt=begins_at, starts_at__lt=ends_at)
    first = known.order_by("starts_at").first()
    if first is not None and first.starts_at <= begins_at:
        return
    end = first.starts_at if first is not None else ends_at
    plan_outage(conveyor=conveyor, starts_at=begins_at, ends_at=end, by=by, reason=_("stopped unplanned"))


def take_off(wanted: set[int], *, now: datetime, by: Any) -> None:
    """Take checks off the rounds on which they stand; the rest of those rounds is timed anew."""
    rows = Stop.objects.filter(tasks__in=wanted, round__superseded_at__isnull=True, round__shift__ends_at__gt=now)
    rows = rows.select_related("round__shift__person", "conveyor").prefetch_related("tasks").distinct()
    shifts: dict[int, Shift] = {}
    for stop in rows:
        if is_fixed(stop, stop.round.published_at is not None, now):
            raise Refused(
                _("%(tag)s is begun by %(who)s: what stands in that stop stays there.")
                % {"tag": stop.conveyor.tag, "who": stop.round.shift.person},
                code="begun",
            )
        shifts[stop.round.shift_id] = stop.round.shift
    for shift in shifts.values():
        draft = draft_of(shift, by=by)
        Stop.tasks.through.objects.filter(stop__round=draft, task__in=wanted).delete()
        draft.stops.filter(tasks__isnull=True).delete()
        draft = Round.objects.with_stops().get(pk=draft.pk)
        write_moved(draft, None, list(draft.stops.all()), None, now, by)
