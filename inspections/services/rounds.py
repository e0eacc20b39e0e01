"""Rounds: laid by a job, moved by hand, published to the phones, laid again when somebody is away.

What has begun is never moved: a stop with a closed check, and a published stop whose time it is, keep their place.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inspections.calc.round_check import BrokenRule
from inspections.calc.round_problem import PlannedErrand
from inspections.calc.round_reasons import explain_together
from inspections.calc.rounds import lay_rounds, split_by_breaks
from inspections.models import Round, RoundLaying, Shift, Stop, Task
from inspections.selectors.fitting_clashes import clashes_of
from inspections.selectors.round_faults import faults_of
from inspections.selectors.round_problems import (
    Desk,
    desk_for,
    in_goes,
    stops_of,
)
from inspections.selectors.rounds import (
    LAY_ROUNDS,
    begun_stops,
    free_from,
    is_fixed,
    is_published_too,
    parted,
    shifts_to_lay,
    standing_round,
    standing_rounds,
    tasks_to_lay,
)
from inspections.words.fitting_clashes import clash_words_at_fitting
from inspections.words.rounds import change_words, fault_words, reason_words
from installs.models import Fitting
from plant.errors import Refused
from plant.models import Job, Notice, Plant
from plant.permissions import PLANNER
from plant.selectors.people import people_in
from plant.services.job_kinds import JobHandle, JobLost, JobStopped
from plant.services.jobs import ask_for_job

SEARCH_S = 20  # how long the search goes on; longer gains little (measured by manage.py benchmark_rounds)
LONGEST_DAYS = 14
STEP_MINUTES = 15  # one press of an arrow key on the board


# --- Asked for, and done by a job -------------------------------------------------------------------------------------
def ask_for_rounds(
    *, plant: Plant, first_day: date, last_day: date, by: Any, search_s: float = SEARCH_S, now: datetime | None = None
) -> Job:
    """Have the rounds of some days laid in the background; the job that runs already is given back.

    Raises
    ------
    Refused
        If the days are not in order, lie in the past or are more than 14, or nobody works on them.
    """
    today = (now or timezone.now()).astimezone(plant.zone).date()
    if not today <= first_day <= last_day < first_day + timedelta(days=LONGEST_DAYS):
        raise Refused(
            _("Give a first day from today and a last day after it, %(n)s days at most.") % {"n": LONGEST_DAYS},
            code="days",
        )
    if not Shift.objects.of_plant(plant).filter(day__range=(first_day, last_day)).exists():
        raise Refused(_("Nobody works on these days yet: write the shifts first."), code="no_shift")
    running = Job.objects.unfinished().filter(kind=LAY_ROUNDS, plant=plant).first()
    if running is not None:
        return running
    args = {
        "plant": plant.pk,
        "first_day": first_day.isoformat(),
        "last_day": last_day.isoformat(),
        "search_s": search_s,
        "by": by.pk if by is not None else None,
    }
    return ask_for_job(LAY_ROUNDS, args=args, plant=plant, by=by)


def do_lay_rounds(handle: JobHandle, args: dict[str, Any]) -> dict[str, Any]:
    """The job. A stop keeps the best plan so far; run again it lays the same days anew."""
    plant = Plant.objects.get(pk=args["plant"])
    with timezone.override(plant.zone):
        laying = lay(
            plant=plant,
            first_day=date.fromisoformat(args["first_day"]),
            last_day=date.fromisoformat(args["last_day"]),
            by=Job.objects.get(pk=handle.job_id).requested_by,
            seconds=args["search_s"],
            handle=handle,
        )
    return {"laying": laying.pk, "planned": laying.n_planned, "due": laying.n_due}


def lay(
    *,
    plant: Plant,
    first_day: date,
    last_day: date,
    by: Any,
    seconds: float | None = None,
    iterations: int | None = None,
    seed: int = 1,
    handle: JobHandle | None = None,
    now: datetime | None = None,
) -> RoundLaying:
    """Lay drafts for all shifts of these days from what is open then, around what has begun."""
    now = now or timezone.now()
    shifts = shifts_to_lay(plant, first_day, last_day, now)
    begun = begun_stops(shifts, now)
    tasks = tasks_to_lay(plant, shifts, begun, last_day, now)
    today = now.astimezone(plant.zone).date()
    free = free_from(plant, shifts, begun, now)
    # A day already under way is laid from the next five minutes on, so that the plan is not late when it is made.
    desk = desk_for(plant, shifts, in_goes(tasks, today, last_day), now=now, free_from=free)
    tell = told_by(handle, _("%(n)s checks are laid into %(m)s shifts") % {"n": len(tasks), "m": len(shifts)})
    plan = lay_rounds(desk.problem, seconds=seconds, iterations=iterations, seed=seed, tell=tell)
    left_out = [
        {
            "tasks": [task.pk for told in those for task in desk.tasks_of[told.errand]],
            "reason": reason_words(desk, those[0]),
            "change": change_words(desk, those[0]),
        }
        for those in explain_together(desk.problem, plan, lambda: tell(0.99))
    ]
    with transaction.atomic():
        if handle is not None and not handle.still_mine():
            raise JobLost
        write_drafts(desk, plan.planned, shifts, begun, by)
        n_planned = sum(len(desk.tasks_of[row.errand]) for row in plan.planned)
        return RoundLaying.objects.create(
            plant=plant,
            job_id=handle.job_id if handle is not None else None,
            created_by=by,
            first_day=first_day,
            last_day=last_day,
            laid_at=now,
            was_stopped=plan.was_stopped,
            n_due=len(tasks),
            n_planned=n_planned,
            n_lockouts=plan.lockouts,
            walk_m=plan.walk_m,
            left_out=left_out,
        )


def told_by(handle: JobHandle | None, words: str) -> Callable[[float], bool]:
    """Writes the progress; False from the moment on at which somebody asked the job to stop."""
    stopped = False

    def tell(share: float) -> bool:
        nonlocal stopped
        if handle is not None and not stopped:
            try:
                handle.progress(round(share * 100), 100, words)
            except JobStopped:
                stopped = True
        return not stopped

    return tell


def write_drafts(
    desk: Desk, planned: Iterable[PlannedErrand], shifts: Sequence[Shift], begun: dict[int, list[Stop]], by: Any
) -> None:
    """Replace the drafts of these shifts. A shift without a stop keeps a draft only where one has to be taken back."""
    by_shift: dict[int, list[PlannedErrand]] = {}
    for row in planned:
        by_shift.setdefault(row.shift, []).append(row)
    published = set(Round.objects.published().filter(shift__in=shifts).values_list("shift_id", flat=True))
    Round.objects.drafts().filter(shift__in=shifts).delete()
    for shift in shifts:
        rows = sorted(by_shift.get(shift.pk, []), key=lambda row: row.starts_s)
        fixed = begun.get(shift.pk, [])
        if not rows and not fixed and shift.pk not in published:
            continue
        draft = Round(plant=desk.plant, shift=shift, created_by=by)
        draft._history_user = by
        draft.save()
        write_stops(draft, [*(copy_of(stop, stop.laid_tasks) for stop in fixed), *stops_of(desk, rows)], by)


def copy_of(stop: Stop, tasks: Sequence[Task] | None = None) -> Stop:
    fresh = Stop(
        conveyor_id=stop.conveyor_id,
        needs_lockout=stop.needs_lockout,
        starts_at=stop.starts_at,
        ends_at=stop.ends_at,
        walk_m=stop.walk_m,
        walk_s=stop.walk_s,
        lockout_s=stop.lockout_s,
        not_before=stop.not_before,
    )
    fresh.laid_tasks = stop.tasks_in_order if tasks is None else list(tasks)
    return fresh


def write_stops(row: Round, stops: Sequence[Stop], by: Any) -> None:
    """Give a round these stops and no others."""
    row.stops.all().delete()
    for position, stop in enumerate(stops):
        stop.round, stop.position, stop.created_by = row, position, by
        stop.task_order = [task.pk for task in stop.laid_tasks]
    Stop.objects.bulk_create(stops)
    through = Stop.tasks.through
    through.objects.bulk_create(
        [through(stop_id=stop.pk, task_id=task.pk) for stop in stops for task in stop.laid_tasks]
    )


# --- Moved by hand ----------------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class MovedStop:
    """One stop of a round while it is moved: the tasks and from when on it was wanted."""

    tasks: tuple[Task, ...]
    not_before: datetime | None


@transaction.atomic
def draft_of(shift: Shift, *, by: Any) -> Round:
    """The draft of a shift; made from what is published where there is none, empty where there is nothing."""
    known = Round.objects.drafts().filter(shift=shift).select_for_update().first()
    if known is not None:
        return Round.objects.with_stops().get(pk=known.pk)
    published = standing_round(shift)
    draft = Round(plant=shift.plant, shift=shift, created_by=by)
    draft._history_user = by
    draft.save()
    if published is not None:
        write_stops(draft, [copy_of(stop) for stop in published.stops.all()], by)
    return Round.objects.with_stops().get(pk=draft.pk)


def place_stop(
    *,
    stop: Stop,
    by: Any,
    shift: Shift | None = None,
    position: int | None = None,
    not_before: datetime | None = None,
    now: datetime | None = None,
) -> Stop:
    """Put a stop into a place of its own or another person's round; the times of both rounds follow.

    Parameters
    ----------
    stop : Stop
        As it stands in the latest plan.
    shift : Shift, optional
        The other person's shift; left out: the stop stays with its person.
    position : int, optional
        Before which of the other stops, counted from 0; left out: by time (`not_before`), else the last.
    not_before : datetime, optional
        Work does not begin earlier than this.

    Raises
    ------
    Refused
        If the stop, or the place before which it is put, has begun, or the other person is away.
    """
    now = now or timezone.now()
    source = stop.round
    target_shift = shift or source.shift
    if source.superseded_at is not None:
        raise Refused(_("The plan was laid anew meanwhile. Load the page again."), code="gone")
    if is_fixed(stop, source.published_at is not None, now):
        raise Refused(_("%(tag)s has begun and stays where it is.") % {"tag": stop.conveyor.tag}, code="begun")
    if target_shift.plant_id != source.plant_id:
        raise Refused(_("That shift is of another plant."), code="plant")
    refuse_target(target_shift, now)
    with transaction.atomic():
        draft = draft_of(source.shift, by=by)
        moved = same_stop(stop, draft)
        slip = MovedStop(tuple(moved.tasks_in_order), not_before)
        rest = [each for each in draft.stops.all() if each.pk != moved.pk]
        if target_shift.pk == source.shift_id:
            stops = write_moved(draft, slip, rest, position, now, by)
        else:
            target = draft_of(target_shift, by=by)
            stops = write_moved(target, slip, list(target.stops.all()), position, now, by)
            write_moved(draft, None, rest, None, now, by)
        return next(each for each in stops if slip.tasks[0] in each.laid_tasks)


def same_stop(stop: Stop, draft: Round) -> Stop:
    """The stop of a draft that has the checks of one in the plan that it was made from.

    Positions do not tell it: a stop whose checks could not be done leaves a gap in a published round.

    Raises
    ------
    Refused
        If the draft has no such stop: it was laid anew since.
    """
    wanted = {task.pk for task in stop.tasks.all()}
    for each in draft.stops.all():
        if {task.pk for task in each.tasks.all()} == wanted:
            return each
    raise Refused(_("The plan was laid anew meanwhile. Load the page again."), code="gone")


def refuse_target(shift: Shift, now: datetime) -> None:
    """Nothing is given to somebody who is away, nor put into a shift that is over."""
    if shift.away_from is not None and shift.away_from <= max(now, shift.starts_at):
        raise Refused(_("%(who)s is away.") % {"who": shift.person}, code="away")
    if shift.ends_at <= now:
        raise Refused(_("That shift is over."), code="over")


def write_moved(
    draft: Round, slip: MovedStop | None, others: Sequence[Stop], position: int | None, now: datetime, by: Any
) -> list[Stop]:
    """Time a round anew with a stop put in; answers its stops."""
    fixed = [each for each in others if is_fixed(each, is_published_too(each), now)]
    free = [each for each in others if each not in fixed]
    slips = [MovedStop(tuple(each.tasks_in_order), each.not_before) for each in free]
    if slip is not None:
        at = len(free)
        if position is not None:
            at = max(position - len(fixed), 0)
        elif slip.not_before is not None:
            wanted = slip.not_before
            at = sum(1 for each in free if each.starts_at + (each.ends_at - each.starts_at) / 2 < wanted)
        slips.insert(at, slip)
    stops = [*(copy_of(each) for each in fixed), *timed_stops(draft, slips, fixed, now)]
    write_stops(draft, stops, by)
    Round.objects.filter(pk=draft.pk).update(version=draft.version + 1)
    return stops


def timed_stops(draft: Round, slips: Sequence[MovedStop], fixed: Sequence[Stop], now: datetime) -> list[Stop]:
    """Stops of one shift in the given order, each as early as it may begin."""
    shift, plant = draft.shift, draft.plant
    today = now.astimezone(plant.zone).date()
    goes: list[list[Task]] = []
    sizes: list[int] = []
    wanted: dict[int, datetime] = {}
    for slip in slips:
        those = in_goes(slip.tasks, today, shift.day)
        if slip.not_before is not None:
            wanted[len(goes)] = slip.not_before
        goes += those
        sizes.append(len(those))
    # A plan made for a time that has passed is timed as it was: only what lies ahead must begin after now.
    free = free_from(plant, [shift], {shift.pk: list(fixed)}, now)
    desk = desk_for(plant, [shift], goes, now=now, free_from=free)
    if not desk.problem.shifts:
        raise Refused(_("%(who)s has no time left on this day.") % {"who": shift.person}, code="no_time")
    person = desk.problem.shifts[0]
    seconds = {key: desk.seconds(moment) for key, moment in wanted.items()}
    planned, _layout = split_by_breaks(desk.problem, person, list(range(len(goes))), seconds)
    rows = {row.errand: row for row in planned}
    stops: list[Stop] = []
    key = 0
    for slip, size in zip(slips, sizes, strict=True):
        # In two parts where the break lies between them.
        parts = stops_of(desk, [rows[n] for n in range(key, key + size)])
        parts[0].not_before = slip.not_before
        stops += parts
        key += size
    return stops


def nudge_stop(*, stop: Stop, by: Any, later: bool, now: datetime | None = None) -> Stop:
    """Move a stop a quarter of an hour in time, or past its neighbour where that stands in the way."""
    now = now or timezone.now()
    step = timedelta(minutes=STEP_MINUTES)
    stops = list(stop.round.stops.all())
    at = next(n for n, each in enumerate(stops) if each.pk == stop.pk)
    if later:
        following = stops[at + 1] if at + 1 < len(stops) else None
        if following is not None and following.starts_at - stop.ends_at < step:
            return place_stop(stop=stop, by=by, position=at + 1, now=now)
        return place_stop(stop=stop, by=by, position=at, not_before=stop.starts_at + step, now=now)
    before = stops[at - 1] if at > 0 else None
    earliest = max((before.ends_at if before else stop.round.shift.starts_at) + timedelta(seconds=stop.walk_s), now)
    if stop.starts_at - earliest >= timedelta(minutes=1):
        return place_stop(stop=stop, by=by, position=at, not_before=max(stop.starts_at - step, earliest), now=now)
    if before is None or is_fixed(before, is_published_too(before), now):
        raise Refused(_("%(tag)s cannot be earlier.") % {"tag": stop.conveyor.tag}, code="earliest")
    return place_stop(stop=stop, by=by, position=at - 1, now=now)


@transaction.atomic
def take_out_stop(*, stop: Stop, by: Any, now: datetime | None = None) -> Round:
    """Take a stop off the rounds; its checks stay open."""
    now = now or timezone.now()
    if is_fixed(stop, stop.round.published_at is not None, now):
        raise Refused(_("%(tag)s has begun and stays where it is.") % {"tag": stop.conveyor.tag}, code="begun")
    draft = draft_of(stop.round.shift, by=by)
    taken = same_stop(stop, draft)
    write_moved(draft, None, [each for each in draft.stops.all() if each.pk != taken.pk], None, now, by)
    return draft


@transaction.atomic
def give_back_task(*, task: Task, tried_at: datetime, by: Any) -> int:
    """Take a check that could not be done off the rounds that held it then, for the planner to lay anew.

    Nobody's times move: the round is under way. A stop that is left with no check goes. A round that was laid or
    published after the try stands: somebody decided on it since.

    Returns
    -------
    int
        From how many rounds it was taken.
    """
    rows = Stop.objects.filter(round__superseded_at__isnull=True, round__shift__ends_at__gt=tried_at, tasks=task)
    known = [
        stop
        for stop in rows.select_related("round__plant", "round__shift")
        if (stop.round.published_at or stop.round.created_at) <= tried_at
    ]
    return take_off(known, [task], by=by, reason=_("%(task)s could not be done") % {"task": task})


@transaction.atomic
def leave_rounds(tasks: Iterable[Task], *, by: Any = None) -> int:
    """Take closed checks off the rounds on which they were not done: nobody is sent for work that is done.

    A round keeps what was done on it, by its person on their day or once the stop's time had come.

    Returns
    -------
    int
        From how many rounds something was taken.
    """
    closed = {task.pk: (task, task.closed_at) for task in tasks if task.closed_at is not None}
    rows = Stop.objects.filter(round__superseded_at__isnull=True, tasks__in=closed)
    if not rows.exists():
        return 0
    n = 0
    for stop in rows.select_related("round__plant", "round__shift").distinct().prefetch_related("tasks"):
        here = [closed[row.pk] for row in stop.tasks.all() if row.pk in closed]
        gone = [task for task, at in here if stop.round.shift.ends_at > at and not stop.was_done_here(task)]
        if gone:
            n += take_off([stop], gone, by=by, reason=_("%(task)s is closed") % {"task": gone[0]})
    return n


def take_off(stops: Iterable[Stop], tasks: Sequence[Task], *, by: Any, reason: str) -> int:
    """Take checks off stops; a stop left with none goes, and hands its isolation on where the next one relied on it.

    Returns
    -------
    int
        How many rounds these were.
    """
    keys = {task.pk for task in tasks}
    rounds: dict[int, Round] = {}
    for stop in stops:
        # The stop before may have gone a moment ago, and handed its isolation on to this one.
        for each in Stop.objects.filter(pk=stop.pk).only("lockout_s", "starts_at"):
            stop.lockout_s, stop.starts_at = each.lockout_s, each.starts_at
        rounds[stop.round_id] = stop.round
        stop.tasks.remove(*tasks)
        stop.task_order = [pk for pk in stop.task_order if pk not in keys]
        if stop.tasks.exists():
            stop.save(update_fields=["task_order"])
            continue
        following = Stop.objects.filter(round=stop.round_id, position__gt=stop.position).order_by("position").first()
        stop.delete()
        relies = following is not None and following.conveyor_id == stop.conveyor_id and following.needs_lockout
        if following is not None and relies and stop.lockout_s and not following.lockout_s:
            following.lockout_s = stop.lockout_s
            following.starts_at = max(stop.starts_at, following.starts_at - timedelta(seconds=stop.lockout_s))
            following.save(update_fields=["lockout_s", "starts_at"])
    for row in rounds.values():
        row.version += 1
        row._history_user = by
        row._change_reason = reason[:100]
        row.save(update_fields=["version"])
    return len(rounds)


# --- Two people swap --------------------------------------------------------------------------------------------------
@transaction.atomic
def swap_rounds(*, shift: Shift, other: Shift, by: Any, now: datetime | None = None) -> tuple[Round, Round]:
    """Give two people each other's rounds of a day; the times follow, what has begun stays with whoever began it.

    Both become drafts: publishing says what stands against it (a skill, a tool, a window).

    Raises
    ------
    Refused
        If the shifts are of different plants or days, are one and the same, are over, or somebody is away.
    """
    now = now or timezone.now()
    if shift.pk == other.pk or (shift.plant_id, shift.day) != (other.plant_id, other.day):
        raise Refused(_("Choose another person's shift of the same day."), code="other_day")
    for each in (shift, other):
        refuse_target(each, now)
    drafts = draft_of(shift, by=by), draft_of(other, by=by)
    if not any(each.stops.all() for each in drafts):
        raise Refused(_("Neither of them has a stop yet: there is nothing to swap."), code="nothing")
    parts = [parted(each, now) for each in drafts]
    for draft, (fixed, _own), (_fixed, free) in zip(drafts, parts, parts[::-1], strict=True):
        # A time that the planner chose by hand was chosen for the other person's day.
        slips = [MovedStop(tuple(each.tasks_in_order), None) for each in free]
        write_stops(draft, [*(copy_of(each) for each in fixed), *timed_stops(draft, slips, fixed, now)], by)
        Round.objects.filter(pk=draft.pk).update(version=draft.version + 1)
    first, second = (Round.objects.with_stops().get(pk=each.pk) for each in drafts)
    return first, second


# --- What is wrong with it, publishing --------------------------------------------------------------------------------


@transaction.atomic
def publish_rounds(*, plant: Plant, day: date, by: Any, now: datetime | None = None) -> list[Round]:
    """Put the drafts of a day on the phones in place of what was there. Twice changes nothing.

    Raises
    ------
    Refused
        If a draft breaks a rule, or a check is planned twice; the sentence says which.
    """
    now = now or timezone.now()
    Round.objects.filter(plant=plant, shift__day=day, superseded_at__isnull=True).select_for_update().count()
    drafts = [each for each in standing_rounds(plant, day) if each.published_at is None]
    # What is on the phones already is no better for holding back what is right; the board shows it.
    faults = [
        each
        for each in faults_of(plant, standing_rounds(plant, day), now=now)
        if each.round.published_at is None or each.rule is BrokenRule.TWICE
    ]
    if faults:
        words = ngettext(
            "Not published, %(n)s thing stands against it: %(first)s",
            "Not published, %(n)s things stand against it, first of all: %(first)s",
            len(faults),
        )
        raise Refused(words % {"n": len(faults), "first": fault_words(faults[0])}, code="faults")
    for draft in drafts:
        for old in Round.objects.published().filter(shift=draft.shift):
            old.superseded_at = now
            old._history_user = by
            old.save(update_fields=["superseded_at"])
        draft.published_at, draft.published_by = now, by
        draft._history_user = by
        draft.save(update_fields=["published_at", "published_by"])
    tell_people(plant, day, drafts)
    return drafts


# --- A fitting of the same people -------------------------------------------------------------------------------------


def tell_of_clashes(fitting: Fitting, *, by: Any) -> int:
    """Tell the planners, and whoever walks it, that a published round and a fitting want the same person at once."""
    found = [each for each in clashes_of(fitting) if each.round.published_at is not None]
    notices = []
    for each in found:
        shift = each.round.shift
        board = f"{reverse('round-list')}?day={shift.day.isoformat()}"
        words = _("%(place)s: %(words)s Lay that day again, or plan the fitting otherwise.")
        told = {*people_in(fitting.plant, PLANNER), shift.person_id} - {getattr(by, "pk", None)}
        notices += [
            Notice(
                person_id=person,
                plant=fitting.plant,
                key=f"fitting-{fitting.pk}-{fitting.version}-round-{each.round.pk}",
                text=(words % {"place": fitting, "words": clash_words_at_fitting(each)})[:300],
                url=each.round.get_absolute_url() if person == shift.person_id else board,
            )
            for person in sorted(told)
        ]
    Notice.objects.bulk_create(notices, ignore_conflicts=True)
    return len(notices)


def tell_people(plant: Plant, day: date, rounds: Iterable[Round]) -> None:
    words = _("Your round of %(day)s is published.") % {"day": date_format(day, "j M")}
    Notice.objects.bulk_create(
        [
            Notice(
                person_id=each.shift.person_id,
                plant=plant,
                key=f"round:{each.pk}",
                text=words,
                url=reverse("round-detail", args=[each.pk]),
            )
            for each in rounds
        ],
        ignore_conflicts=True,
    )
