"""Rounds are laid around what has begun, moved by hand with their times, published whole, laid again for the rest."""

from __future__ import annotations

import datetime as dt
import time

import pytest
from django.db import transaction
from django.utils import timezone

from inspections.calc.round_check import BrokenRule
from inspections.models import CheckKind, Round, RoundLaying, Stop, Task, TechnicianProfile
from inspections.selectors.fitting_clashes import clashes_of
from inspections.selectors.round_board import board_of
from inspections.selectors.round_faults import faults_of
from inspections.selectors.round_problems import fittings_of, minutes_of_kinds
from inspections.selectors.rounds import LAY_ROUNDS, standing_rounds
from inspections.services.rounds import (
    MovedStop,
    ask_for_rounds,
    draft_of,
    lay,
    nudge_stop,
    place_stop,
    publish_rounds,
    swap_rounds,
    take_out_stop,
    tell_of_clashes,
    write_moved,
)
from inspections.services.shifts import mark_away
from inspections.services.stops import could_not_do
from inspections.services.tasks import close_by_rule, withdraw_task
from inspections.services.visits import StopReport, close_out_visit
from inspections.words.rounds import fault_words
from plant.errors import Refused
from plant.models import Job, Notice
from plant.services import jobs as job_services
from tests import make

DAY = dt.date(2026, 12, 3)
EARLY = dt.datetime(2026, 12, 3, 5, tzinfo=dt.UTC)  # 06:00 in Berlin, as the shift begins
NOW = dt.datetime(2026, 12, 2, 12, tzinfo=dt.UTC)


def at(hour, minute=0):
    """Berlin time of the day."""
    return dt.datetime(2026, 12, 3, hour - 1, minute, tzinfo=dt.UTC)


@pytest.fixture
def look(alder):
    """A check from the walkway, whatever the belt does, of half an hour."""
    return CheckKind.objects.create(plant=alder, code="look", name="Look", needs_lockout=False, minutes=30)


@pytest.fixture
def places(alder):
    """Two belts with two devices each."""
    belts = [make.conveyor(alder, tag="A-1"), make.conveyor(alder, tag="A-2")]
    return [make.installation(belt, f"{n}{m}", chainage_m=50.0 * m) for n, belt in enumerate(belts, 1) for m in (1, 2)]


@pytest.fixture
def tim(alder):
    return make.person("tim", alder, "technician")


@pytest.fixture
def two_shifts(alder, tess, tim):
    rest = {"break_starts_at": at(10), "break_minutes": 30}
    return [make.shift(who, alder, EARLY, **rest) for who in (tess, tim)]


def due(place, kind, days=0):
    return make.task(place, kind, DAY + dt.timedelta(days=days))


def laid(plant, by, **values):
    with timezone.override(plant.zone):
        known = {"first_day": DAY, "last_day": DAY, "iterations": 100, "now": NOW}
        return lay(plant=plant, by=by, **{**known, **values})


def stops_by_person():
    return {
        str(each.shift.person): [(stop.conveyor.tag, stop.starts_at, stop.ends_at) for stop in each.stops.all()]
        for each in Round.objects.with_stops().filter(superseded_at__isnull=True)
    }


def planned_tasks():
    return set(Stop.objects.filter(round__superseded_at__isnull=True).values_list("tasks", flat=True))


def test_due_checks_are_laid_one_stop_a_belt(alder, pat, look, places, two_shifts):
    tasks = [due(place, look) for place in places]
    laying = laid(alder, pat)
    assert (laying.n_due, laying.n_planned, laying.left_out) == (4, 4, [])
    assert planned_tasks() == {task.pk for task in tasks}
    assert sorted(len(stop.tasks.all()) for stop in Stop.objects.all()) == [2, 2]
    assert Round.objects.get(stops__isnull=False, stops__position=0).published_at is None
    assert faults_of(alder, standing_rounds(alder, DAY), now=NOW) == []


def test_laying_again_leaves_one_draft_with_the_same_checks(alder, pat, look, places, two_shifts):
    tasks = [due(place, look) for place in places]
    laid(alder, pat)
    laid(alder, pat)
    assert Round.objects.drafts().count() == 1
    assert planned_tasks() == {task.pk for task in tasks}
    assert Stop.objects.count() == 2


def test_a_stopped_belt_waits_for_its_outage_window_and_is_isolated_once(alder, pat, places, two_shifts):
    kind = make.check_kind()
    for place in places[:2]:
        due(place, kind)
    make.outage(places[0].conveyor, at(8), 2)
    laid(alder, pat)
    stop = Stop.objects.get()
    assert stop.needs_lockout
    assert (stop.starts_at, stop.lockout_s) == (at(8), alder.lockout_minutes * 60)
    # Isolation, twice the kind's minutes, and 50 m of way between the two at 1 m/s and a detour.
    assert stop.ends_at == at(8) + dt.timedelta(minutes=15 + 2 * kind.minutes, seconds=65)


def test_what_did_not_fit_says_why_and_what_would_do(alder, pat, places, two_shifts):
    task = due(places[0], make.check_kind())
    laying = laid(alder, pat)
    (left,) = laying.left_out
    assert left["tasks"] == [task.pk]
    assert left["reason"] == "needs a stopped belt, and no outage window is planned on these days"
    # 15 min of isolation and 20 min of work from the first moment at which somebody is there.
    assert left["change"].startswith("fits with an outage window of 35 min, Thu 3 Dec 06:0")


def test_a_tool_that_nobody_carries_is_named(alder, pat, look, places, two_shifts):
    look.tools_needed = "Thermal camera"
    look.save()
    due(places[0], look)
    (left,) = laid(alder, pat).left_out
    assert left["reason"] == "nobody at work has the tool: thermal camera"
    assert "if tess has: thermal camera" in left["change"]
    TechnicianProfile.objects.create(plant=alder, person=two_shifts[1].person, tools="thermal camera, lamp")
    assert laid(alder, pat).left_out == []
    assert list(stops_by_person()) == ["tim"]


def test_a_running_check_stays_out_of_the_outage_window(alder, pat, look, places, two_shifts):
    look.needs_running_belt = True
    look.save()
    due(places[0], look)
    make.outage(places[0].conveyor, at(5), 4)
    laid(alder, pat)
    assert Stop.objects.get().starts_at >= at(9)


def test_a_check_of_another_day_s_round_is_not_laid_twice(alder, pat, tess, look, places, two_shifts):
    task = due(places[0], look)
    laid(alder, pat)
    make.shift(tess, alder, EARLY + dt.timedelta(days=1))
    laying = laid(alder, pat, first_day=DAY + dt.timedelta(days=1), last_day=DAY + dt.timedelta(days=1))
    assert laying.n_due == 0
    assert planned_tasks() == {task.pk, None} - {None}


def test_publishing_puts_drafts_on_the_phones_and_tells_each_person_once(alder, pat, look, places, two_shifts):
    due(places[0], look)
    laid(alder, pat)
    first = publish_rounds(plant=alder, day=DAY, by=pat, now=NOW)
    assert publish_rounds(plant=alder, day=DAY, by=pat, now=NOW) == []
    assert Round.objects.published().get() == first[0]
    assert Notice.objects.get(key__startswith="round:").text == "Your round of 3 Dec is published."


def test_a_draft_replaces_what_is_published_only_when_it_is_published(alder, pat, look, places, two_shifts):
    due(places[0], look)
    laid(alder, pat)
    publish_rounds(plant=alder, day=DAY, by=pat, now=NOW)
    due(places[1], look)
    laid(alder, pat)
    assert Round.objects.published().get().stops.get().tasks.count() == 1
    publish_rounds(plant=alder, day=DAY, by=pat, now=NOW)
    assert Round.objects.published().get().stops.get().tasks.count() == 2
    assert Round.objects.filter(superseded_at__isnull=False).count() == 1


def test_a_round_that_breaks_a_rule_is_not_published(alder, pat, places, two_shifts):
    due(places[0], make.check_kind())
    window = make.outage(places[0].conveyor, at(8), 2)
    laid(alder, pat)
    window.delete()
    words = "A-1 at 08:00 needs a stopped belt and lies outside its outage windows"
    with timezone.override(alder.zone), pytest.raises(Refused, match=words):
        publish_rounds(plant=alder, day=DAY, by=pat, now=NOW)
    assert not Round.objects.published().exists()


# --- Moving ----
def stops():
    return list(Stop.objects.filter(round__superseded_at__isnull=True).order_by("round__shift", "position"))


def moved(alder, **values):
    with timezone.override(alder.zone):
        return place_stop(now=NOW, **values)


def test_a_stop_moves_to_another_person_and_the_times_follow(alder, pat, look, places, two_shifts):
    for place in places:
        due(place, look)
    laid(alder, pat)
    first, second = stops()
    source = first.round.shift
    target = next(each for each in two_shifts if each.pk != source.pk)
    done = moved(alder, stop=first, by=pat, shift=target)
    assert done.round.shift == target
    assert done.starts_at < at(6, 10)
    (left,) = Stop.objects.filter(round__shift=source)
    assert left.conveyor == second.conveyor
    assert left.starts_at < second.starts_at  # it closes up
    assert faults_of(alder, standing_rounds(alder, DAY), now=NOW) == []


def test_an_arrow_moves_a_quarter_of_an_hour_or_past_the_neighbour(alder, pat, look, places, two_shifts):
    for place in places:
        due(place, look)
    laid(alder, pat)
    first, second = stops()
    with timezone.override(alder.zone):
        later = nudge_stop(stop=second, by=pat, later=True, now=NOW)
        assert later.starts_at == second.starts_at + dt.timedelta(minutes=15)
        back = nudge_stop(stop=later, by=pat, later=False, now=NOW)
        assert back.starts_at == second.starts_at
        swapped = nudge_stop(stop=Stop.objects.get(pk=back.pk), by=pat, later=False, now=NOW)
        assert swapped.position == 0
        assert stops()[1].conveyor == first.conveyor
        with pytest.raises(Refused, match="cannot be earlier"):
            nudge_stop(stop=swapped, by=pat, later=False, now=NOW)


def test_what_is_put_back_stands_where_it_stood(alder, pat, look, places, two_shifts):
    for place in places:
        due(place, look)
    laid(alder, pat)
    before = stops_by_person()
    first = stops()[0]
    source = first.round.shift
    target = next(each for each in two_shifts if each.pk != source.pk)
    done = moved(alder, stop=first, by=pat, shift=target)
    moved(alder, stop=Stop.objects.get(pk=done.pk), by=pat, shift=source, position=first.position)
    assert {who: rows for who, rows in stops_by_person().items() if rows} == before


def test_a_stop_moved_out_of_its_window_is_placed_and_blamed(alder, pat, places, two_shifts):
    due(places[0], make.check_kind())
    make.outage(places[0].conveyor, at(8), 2)
    laid(alder, pat)
    moved(alder, stop=stops()[0], by=pat, not_before=at(12), position=0)
    (fault,) = faults_of(alder, standing_rounds(alder, DAY), now=NOW)
    assert (fault.rule, fault.stop) == (BrokenRule.NO_WINDOW, stops()[0])
    with timezone.override(alder.zone):
        assert fault_words(fault) == "A-1 at 12:00 needs a stopped belt and lies outside its outage windows."


def test_moving_a_published_stop_makes_a_draft_and_leaves_the_phone_alone(alder, pat, look, places, two_shifts):
    due(places[0], look)
    laid(alder, pat)
    publish_rounds(plant=alder, day=DAY, by=pat, now=NOW)
    stop = stops()[0]
    source = stop.round.shift
    target = next(each for each in two_shifts if each.pk != source.pk)
    moved(alder, stop=stop, by=pat, shift=target)
    assert Round.objects.published().get().stops.count() == 1
    assert {each.shift_id: each.stops.count() for each in Round.objects.drafts()} == {source.pk: 0, target.pk: 1}


def test_a_stop_that_has_begun_is_not_moved(alder, pat, look, places, two_shifts):
    tasks = [due(place, look) for place in places[:2]]
    laid(alder, pat)
    Task.objects.filter(pk=tasks[0].pk).update(closed_at=at(7), outcome="done")
    with pytest.raises(Refused, match="A-1 has begun"):
        place_stop(stop=stops()[0], by=pat, shift=two_shifts[1], now=at(7))


def test_a_stop_is_taken_out_and_its_checks_stay_open(alder, pat, look, places, two_shifts):
    task = due(places[0], look)
    laid(alder, pat)
    take_out_stop(stop=stops()[0], by=pat, now=NOW)
    task.refresh_from_db()
    assert task.closed_at is None
    assert stops() == []


# --- Laid again when somebody is away ----
def test_the_rest_is_laid_again_without_moving_what_has_begun(alder, pat, look, places, two_shifts):
    tasks = [due(place, look) for place in places]
    laid(alder, pat)
    publish_rounds(plant=alder, day=DAY, by=pat, now=NOW)
    first = stops()[0]
    ill, other = first.round.shift, next(each for each in two_shifts if each.pk != first.round.shift_id)
    Task.objects.filter(pk=first.tasks.first().pk).update(closed_at=at(6, 40), outcome="done")
    mark_away(ill, by=pat, from_at=at(7, 20))
    laid(alder, pat, now=at(7, 20))
    rows = stops_by_person()
    drafts = {each.shift_id: each for each in Round.objects.with_stops().drafts()}
    kept = drafts[ill.pk].stops.all()[0]
    assert (kept.starts_at, kept.ends_at, kept.conveyor) == (first.starts_at, first.ends_at, first.conveyor)
    assert len(drafts[ill.pk].stops.all()) == 1
    assert all(stop.starts_at >= at(7, 20) for stop in drafts[other.pk].stops.all())
    known = {task.pk for each in drafts.values() for stop in each.stops.all() for task in stop.tasks.all()}
    assert known == {task.pk for task in tasks}
    assert rows


def test_a_person_who_is_away_all_day_gets_nothing(alder, pat, look, places, two_shifts):
    mark_away(two_shifts[0], by=pat, from_at=EARLY - dt.timedelta(hours=2))
    for place in places:
        due(place, look)
    laid(alder, pat)
    assert list(stops_by_person()) == ["tim"]
    with pytest.raises(Refused, match="tess is away"):
        place_stop(stop=stops()[0], by=pat, shift=two_shifts[0], now=NOW)


# --- What could not be done goes back ----
def test_what_could_not_be_done_leaves_the_round_and_nobody_s_times_move(alder, pat, tess, look, places, two_shifts):
    tasks = [due(place, look) for place in places]
    laid(alder, pat)
    publish_rounds(plant=alder, day=DAY, by=pat, now=NOW)
    before = {stop.pk: (stop.starts_at, stop.ends_at) for stop in stops()}
    Round.objects.update(published_at=NOW)
    row = Round.objects.published().get(stops__tasks=tasks[0])
    could_not_do(task=tasks[0], by=tess, reason="no_access", note="scaffold", tried_at=at(7))
    assert planned_tasks() == {task.pk for task in tasks[1:]}
    assert {stop.pk: (stop.starts_at, stop.ends_at) for stop in stops()} == before
    assert all(tasks[0].pk not in stop.task_order for stop in stops())
    row.refresh_from_db()
    assert (row.version, row.history.first().history_change_reason) == (2, f"{tasks[0]} could not be done"[:100])
    could_not_do(task=tasks[1], by=tess, reason="no_access", tried_at=at(7))  # the other device of that stop
    assert len(stops()) == len(before) - 1
    # It is open, and laying again plans it anew.
    with timezone.override(alder.zone):
        lay(plant=alder, first_day=DAY, last_day=DAY, by=pat, iterations=100, now=at(8))
    assert {task.pk for task in tasks[:2]} <= planned_tasks()


def test_after_a_stop_fell_away_the_planner_moves_the_one_that_was_meant(alder, pat, tess, tim, look, places):
    """The first stop of a published round goes with its check; the last one keeps its number and is still found."""
    shift = make.shift(tess, alder, EARLY)
    tasks = [due(place, look) for place in (places[0], places[2], make.installation(make.conveyor(alder, "A-3"), "3"))]
    laid(alder, pat)
    publish_rounds(plant=alder, day=DAY, by=pat, now=NOW)
    gone, *left = [stop.tasks.get() for stop in stops()]
    could_not_do(task=gone, by=tess, reason="no_access", tried_at=at(7))
    for act in (take_out_stop, nudge_later):
        with transaction.atomic():
            act(stop=next(stop for stop in stops() if stop.tasks.get() == left[-1]), by=pat, now=NOW)
            assert planned_in_draft(shift) == ({left[0].pk} if act is take_out_stop else {each.pk for each in left})
            transaction.set_rollback(True)
    assert {gone, *left} == set(tasks)


def nudge_later(**values):
    with timezone.override("Europe/Berlin"):
        before = values["stop"].starts_at
        assert nudge_stop(**values, later=True).starts_at == before + dt.timedelta(minutes=15)


def planned_in_draft(shift):
    return set(Stop.objects.filter(round__shift=shift, round__published_at=None).values_list("tasks", flat=True))


def test_a_plan_made_after_the_try_stands(alder, pat, tess, look, places, two_shifts):
    """A phone sent it hours later; the planner had put the check on somebody's round since."""
    task = due(places[0], look)
    laid(alder, pat)
    Round.objects.update(created_at=at(9))
    could_not_do(task=task, by=tess, reason="belt_running", tried_at=at(7))
    assert planned_tasks() == {task.pk}


# --- Two people swap ----
def whose(*, published=False):
    rows = Round.objects.with_stops().filter(superseded_at__isnull=True, published_at__isnull=not published)
    return {
        str(row.shift.person): [task.pk for stop in row.stops.all() for task in stop.tasks_in_order] for row in rows
    }


def test_two_people_swap_their_rounds_and_the_phones_follow_when_it_is_published(alder, pat, look, places, two_shifts):
    tasks = [due(place, look) for place in places]
    laid(alder, pat)
    late = two_shifts[1]
    place_stop(stop=stops()[0], by=pat, shift=late, now=NOW)
    publish_rounds(plant=alder, day=DAY, by=pat, now=NOW)
    before = whose(published=True)
    assert before["tim"]
    late.starts_at = at(7)  # tim's day begins an hour later
    late.save(update_fields=["starts_at"])
    swap_rounds(shift=two_shifts[0], other=late, by=pat, now=NOW)
    assert whose() == {"tess": before["tim"], "tim": before["tess"]}
    assert whose(published=True) == before
    assert all(
        stop.starts_at >= at(7) for stop in stops() if stop.round.shift_id == late.pk and not stop.round.published_at
    )
    publish_rounds(plant=alder, day=DAY, by=pat, now=NOW)
    assert whose(published=True) == {"tess": before["tim"], "tim": before["tess"]}
    assert planned_tasks() == {task.pk for task in tasks}


def test_swapping_leaves_what_has_begun_with_whoever_began_it(alder, pat, look, places, two_shifts):
    for place in places:
        due(place, look)
    laid(alder, pat)
    publish_rounds(plant=alder, day=DAY, by=pat, now=NOW)
    first = stops()[0]
    owner = first.round.shift
    other = next(each for each in two_shifts if each.pk != owner.pk)
    begun = first.tasks_in_order[0]
    Task.objects.filter(pk=begun.pk).update(closed_at=at(6, 40), outcome="done")
    before = whose(published=True)
    swap_rounds(shift=owner, other=other, by=pat, now=at(7))
    kept = [task.pk for task in first.tasks_in_order]
    after = whose()
    assert begun.pk in after[str(owner.person)]
    assert after[str(owner.person)][: len(kept)] == kept
    assert sorted(after[str(owner.person)] + after[str(other.person)]) == sorted(
        pk for those in before.values() for pk in those
    )
    draft = Round.objects.with_stops().drafts().get(shift=owner)
    assert (draft.stops.all()[0].starts_at, draft.stops.all()[0].ends_at) == (first.starts_at, first.ends_at)


def test_nobody_swaps_with_somebody_who_is_away_or_with_themselves(alder, pat, look, places, two_shifts):
    due(places[0], look)
    laid(alder, pat)
    with pytest.raises(Refused, match="another person's shift"):
        swap_rounds(shift=two_shifts[0], other=two_shifts[0], by=pat, now=NOW)
    mark_away(two_shifts[1], by=pat, from_at=EARLY)
    two_shifts[1].refresh_from_db()
    with pytest.raises(Refused, match="tim is away"):
        swap_rounds(shift=two_shifts[0], other=two_shifts[1], by=pat, now=NOW)


# --- The job ----
@pytest.fixture
def today_shift(alder, tess):
    now = timezone.now()
    return make.shift(tess, alder, now + dt.timedelta(minutes=30))


def test_the_job_lays_and_may_run_twice(alder, pat, look, places, today_shift):
    make.task(places[0], look, today_shift.day)
    asked = ask_for_rounds(plant=alder, first_day=today_shift.day, last_day=today_shift.day, by=pat, search_s=0.2)
    again = ask_for_rounds(plant=alder, first_day=today_shift.day, last_day=today_shift.day, by=pat)
    assert (asked.kind, again.pk) == (LAY_ROUNDS, asked.pk)
    assert job_services.do_job(asked.pk)
    asked.refresh_from_db()
    assert asked.state == Job.State.DONE, asked.error
    assert asked.result["planned"] == 1
    assert RoundLaying.objects.get().job == asked


def test_a_stopped_job_keeps_the_best_plan_so_far(alder, pat, look, places, today_shift, monkeypatch):
    from plant.services.job_kinds import JobHandle, JobStopped

    make.task(places[0], look, today_shift.day)
    job = ask_for_rounds(plant=alder, first_day=today_shift.day, last_day=today_shift.day, by=pat, search_s=1200)

    def stop(self, done, total, words=""):
        raise JobStopped

    monkeypatch.setattr(JobHandle, "progress", stop)
    began = time.monotonic()
    assert job_services.do_job(job.pk)
    assert time.monotonic() - began < 600  # it did not search on to the end
    job.refresh_from_db()
    laying = RoundLaying.objects.get()
    assert (job.state, laying.was_stopped) == (Job.State.DONE, True)
    assert laying.n_planned == 1


@pytest.mark.parametrize(("first", "last"), [(-1, 0), (1, 0), (0, 14)])
def test_days_out_of_order_are_refused(alder, pat, two_shifts, first, last):
    with pytest.raises(Refused, match="Give a first day from today"):
        ask_for_rounds(
            plant=alder,
            first_day=DAY + dt.timedelta(days=first),
            last_day=DAY + dt.timedelta(days=last),
            by=pat,
            now=at(7),
        )


def test_days_without_a_shift_are_refused(alder, pat):
    with pytest.raises(Refused, match="Nobody works on these days yet"):
        ask_for_rounds(plant=alder, first_day=DAY, last_day=DAY, by=pat, now=NOW)


# --- Minutes learned ----
def test_minutes_are_learned_from_visits_that_followed_each_other(alder, tess, look, places):
    from inspections.models import Visit

    def visit(place, moment):
        made = Visit.objects.create(plant=alder, installation=place, visited_at=moment, visited_by=tess)
        task = due(place, look)
        Task.objects.filter(pk=task.pk).update(visit=made, closed_at=moment, outcome="done")

    for day in range(4):
        begin = EARLY - dt.timedelta(days=10 + day)
        visit(places[0], begin)
        visit(places[1], begin + dt.timedelta(minutes=12, seconds=50))  # 50 m of way at 1 m/s lie between them
    assert minutes_of_kinds(alder, NOW)[look.pk] == 30  # four are too few
    visit(places[0], EARLY - dt.timedelta(days=3))
    visit(places[1], EARLY - dt.timedelta(days=3) + dt.timedelta(minutes=12, seconds=50))
    assert minutes_of_kinds(alder, NOW)[look.pk] == pytest.approx(12)


# --- Work that is done -----------------------------------------------------------------------------------------------
def close(task, by, at_moment):
    return close_out_visit(StopReport(
        installation=task.installation, by=by, visited_at=at_moment, lockout_confirmed=True,
        entries={task.pk: {"drive_diameter": {"as_found": 75.0}, "off_diameter": {"as_found": 75.0}}},
    ))  # fmt: skip


@pytest.fixture
def locked(alder, pat, places, two_shifts, time_machine):
    """Sensor wear at two devices of one belt, laid and published for tomorrow."""
    time_machine.move_to(NOW)
    tasks = [due(place, make.check_kind()) for place in places[:2]]
    make.outage(places[0].conveyor, at(8), 3)
    laid(alder, pat)
    publish_rounds(plant=alder, day=DAY, by=pat, now=NOW)
    assert planned_tasks() == {task.pk for task in tasks}
    return tasks


def test_work_that_is_done_leaves_tomorrows_board_and_its_lockouts(alder, pat, tess, locked):
    first, second = locked
    close(first, tess, NOW)
    board = board_of(alder, DAY, NOW)
    assert (planned_tasks(), board.n_planned, board.n_lockouts, board.n_locked_checks) == ({second.pk}, 1, 1, 1)
    close(second, tess, NOW)
    board = board_of(alder, DAY, NOW)
    assert (planned_tasks(), board.n_planned, board.n_lockouts, board.n_locked_checks) == (set(), 0, 0, 0)
    assert Round.objects.published().get().history.first().history_change_reason.endswith("is closed")


def test_what_was_done_before_its_round_is_not_kept_as_begun_when_the_day_is_laid_again(alder, pat, tess, locked):
    first, second = locked
    close(first, tess, NOW)
    # As a book stands that was written before checks left their rounds.
    stop = Stop.objects.get()
    stop.tasks.add(first)
    stop.task_order = [first.pk, second.pk]
    stop.save()
    laid(alder, pat)
    assert set(Round.objects.drafts().get().stops.values_list("tasks", flat=True)) == {second.pk}


def test_a_check_withdrawn_leaves_its_round(alder, pat, locked):
    first, second = locked
    withdraw_task(task=first, by=pat, reason="roller stock is empty", now=NOW)
    assert planned_tasks() == {second.pk}


def test_a_round_keeps_what_was_done_on_it(alder, pat, tess, tim, locked, time_machine):
    first, second = locked
    who = Round.objects.published().get(stops__isnull=False).shift.person
    time_machine.move_to(at(7))
    close(first, who, at(7))  # ahead of the stop's time, by its own person on its day
    assert planned_tasks() == {first.pk, second.pk}
    other = tim if who == tess else tess
    close(second, other, at(7))  # by somebody else before the stop's time: nobody has to go there any more
    assert planned_tasks() == {first.pk}


def test_the_isolation_stays_with_the_stop_that_relied_on_it(alder, pat, tess, locked):
    first, second = locked
    stop = Stop.objects.get()
    stop.tasks.set([first])
    stop.task_order = [first.pk]
    stop.save()
    half = stop.starts_at + (stop.ends_at - stop.starts_at) / 2
    later = Stop.objects.create(
        round=stop.round, position=stop.position + 1, conveyor=stop.conveyor, needs_lockout=True, lockout_s=0,
        starts_at=half, ends_at=stop.ends_at, task_order=[second.pk],
    )  # fmt: skip
    later.tasks.add(second)
    close(first, tess, NOW)
    later.refresh_from_db()
    assert later.lockout_s == alder.lockout_minutes * 60
    assert later.starts_at == max(stop.starts_at, half - dt.timedelta(seconds=later.lockout_s))


def test_the_isolation_goes_on_past_a_stop_that_leaves_in_the_same_step(alder, pat, places, locked):
    """Two stops go at once; the third relied on the isolation of the first by way of the second."""
    first, second = locked
    third = due(places[0], make.check_kind("pivot-freedom"))
    stop = Stop.objects.get()
    stop.tasks.set([first])
    stop.task_order = [first.pk]
    stop.save()
    minute = dt.timedelta(minutes=1)
    for n, task in ((1, second), (2, third)):
        more = Stop.objects.create(
            round=stop.round, position=stop.position + n, conveyor=stop.conveyor, needs_lockout=True, lockout_s=0,
            starts_at=stop.starts_at + 10 * n * minute, ends_at=stop.starts_at + (10 * n + 9) * minute,
            task_order=[task.pk],
        )  # fmt: skip
        more.tasks.add(task)
    close_by_rule([first, second], reason="the devices were removed", at=NOW)
    left = Stop.objects.get()
    assert (left.task_order, left.lockout_s) == ([third.pk], alder.lockout_minutes * 60)


# --- A fitting of the same people ------------------------------------------------------------------------------------
@pytest.fixture
def job(alder, places, tess):
    """A fitting from 06:00 to 11:00 on the same day; it takes the break of 10:00 in."""
    row = make.fitting(places[3].conveyor, planned_at=at(6), duration_h=5)
    row.crew.add(tess)
    return row


def test_nobody_is_laid_into_the_time_of_a_fitting(alder, pat, tess, look, places, two_shifts, job):
    shift = two_shifts[0]
    two_shifts[1].delete()
    task = due(places[0], look)
    laid(alder, pat)
    stop = Stop.objects.get()
    assert (stop.round.shift, stop.starts_at >= at(11)) == (shift, True)
    assert faults_of(alder, standing_rounds(alder, DAY), now=NOW) == []
    job.duration_h = 8
    job.save()
    laying = laid(alder, pat)
    assert (laying.n_planned, laying.left_out[0]["tasks"]) == (0, [task.pk])


def test_a_published_round_that_clashes_with_a_fitting_says_so(alder, pat, tess, look, places, two_shifts):
    two_shifts[1].delete()
    due(places[0], look)
    laid(alder, pat)
    publish_rounds(plant=alder, day=DAY, by=pat, now=NOW)
    job = make.fitting(places[3].conveyor, planned_at=at(6), duration_h=5)
    job.crew.add(tess)
    stop = Stop.objects.get()
    board = board_of(alder, DAY, NOW)
    assert board.faults == []
    with timezone.override(alder.zone):
        said = [fault_words(each) for each in board.published_faults]
    assert said == [
        f"A-1 at {stop.starts_at.astimezone(alder.zone):%H:%M} clashes with the fitting at A-2 return 100 m, "
        "Thu 3 Dec 06:00-11:00, to which tess is planned."
    ]
    (lane,) = board.lanes
    assert [each.job for each in lane.fittings] == [job]
    assert lane.available_s == 3 * 3600  # of eight hours; the break lies in the fitting
    (clash,) = clashes_of(job)
    assert clash.stops == (stop,)
    assert tell_of_clashes(job, by=pat) == 1  # the one who walks it; the planner who planned it sees it at once
    assert Notice.objects.get(key__startswith="fitting").person == tess
    tell_of_clashes(job, by=pat)
    assert Notice.objects.filter(key__startswith="fitting").count() == 1


def test_a_fitting_at_another_plant_of_the_same_person_is_told_to_nobody_here(alder, tess, two_shifts):
    job = make.fitting(make.conveyor(make.plant(name="Birch Pit"), tag="B-1"), planned_at=at(6), duration_h=5)
    job.crew.add(tess)
    assert fittings_of(two_shifts) == {each.pk: [] for each in two_shifts}


def test_a_fitting_that_is_given_up_or_accepted_takes_nobodys_time(alder, tess, two_shifts, job):
    assert fittings_of(two_shifts) == {two_shifts[0].pk: [job], two_shifts[1].pk: []}
    job.given_up_at = NOW
    job.save()
    assert fittings_of(two_shifts)[two_shifts[0].pk] == []
    job.given_up_at, job.accepted_at = None, NOW
    job.save()
    assert fittings_of(two_shifts)[two_shifts[0].pk] == []
    assert clashes_of(job) == []


def test_what_is_on_the_phones_does_not_hold_back_other_rounds(alder, pat, tess, tim, look, places, two_shifts):
    due(places[0], look)
    laid(alder, pat)
    publish_rounds(plant=alder, day=DAY, by=pat, now=NOW)
    taken = Round.objects.published().get(stops__isnull=False).shift
    job = make.fitting(places[3].conveyor, planned_at=at(6), duration_h=8)
    job.crew.add(taken.person)
    free = next(each for each in two_shifts if each != taken)
    due(places[2], look)
    place_task = Task.objects.get(installation=places[2])
    draft = draft_of(free, by=pat)
    write_moved(draft, MovedStop((place_task,), None), [], None, NOW, pat)
    assert [each.shift for each in publish_rounds(plant=alder, day=DAY, by=pat, now=NOW)] == [free]
