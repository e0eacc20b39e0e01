"""Kept results: counted writes, made anew by a job, read by any process."""

from __future__ import annotations

import datetime as dt
import json

import pytest
from django.db import transaction
from django.urls import reverse
from django.utils import timezone

from plant.calc.retention import KeptFor
from plant.models import Conveyor, Job, KeptResult, RunRecord, WriteCounter
from plant.selectors.kept import code_mark, fresh_values, standing_of, topic_of_key
from plant.services import jobs, kept
from plant.services.clearing import clear_old
from plant.services.kept import (
    OneOfMany,
    Topic,
    at_hand,
    do_keep,
    keep_up,
    make_all_kept,
    make_kept,
    register_topic,
    stale_parts,
)
from tests import make

NAME, WHOLE = "tags", "whole"
DAY = dt.timedelta(days=1)


def tags_of(plant, now):
    tags_of.made += 1
    return sorted(Conveyor.objects.of_plant(plant).values_list("tag", flat=True))


def topic_of(make_it):
    return Topic(
        NAME,
        ["plant.Conveyor"],
        [WHOLE],
        lambda plant, now: {WHOLE: lambda: make_it(plant, now)},
        json.dumps,
        json.loads,
    )


@pytest.fixture(autouse=True)
def topic(monkeypatch):
    """A topic of the tests only: the tags of a plant's belts."""
    tags_of.made = 0
    monkeypatch.setattr(kept, "_topics", {})
    monkeypatch.setattr(kept, "_read_by", {model: list(names) for model, names in kept._read_by.items()})
    register_topic(topic_of(tags_of))


@pytest.fixture
def with_worker(monkeypatch):
    """A worker is told of jobs; these are the ones that it was told of."""
    told: list[int] = []
    monkeypatch.setattr(jobs, "_nudge", told.append)
    return told


def stamp(plant):
    return WriteCounter.objects.get(plant=plant, topic=NAME).stamp


def test_a_result_is_made_once_and_read_from_then_on(alder, belt_a1):
    assert at_hand(alder, NAME, WHOLE).value == ["A-1"]
    assert at_hand(alder, NAME, WHOLE).value == ["A-1"]
    assert tags_of.made == 1


def test_without_a_worker_a_page_shows_what_was_just_written(alder, belt_a1):
    at_hand(alder, NAME, WHOLE)
    make.conveyor(alder, tag="A-2")
    found = at_hand(alder, NAME, WHOLE)
    assert (found.value, found.is_fresh) == (["A-1", "A-2"], True)


def test_with_a_worker_nobody_waits_and_the_worker_is_asked_once(
    alder, belt_a1, with_worker, django_capture_on_commit_callbacks
):
    first = at_hand(alder, NAME, WHOLE)
    make.conveyor(alder, tag="A-2")
    with django_capture_on_commit_callbacks(execute=True):
        shown = [at_hand(alder, NAME, WHOLE) for _n in range(3)]
    assert [(each.value, each.is_fresh, each.as_of) for each in shown] == [(["A-1"], False, first.as_of)] * 3
    job = Job.objects.get(kind=kept.KEEP)
    assert with_worker == [job.pk]
    assert jobs.do_job(job.pk)
    assert Job.objects.get().result == {"made": 1}
    assert at_hand(alder, NAME, WHOLE).value == ["A-1", "A-2"]
    assert at_hand(alder, NAME, WHOLE).is_fresh
    assert tags_of.made == 2


def test_the_first_result_of_a_plant_is_made_at_once_with_a_worker_too(alder, belt_a1, with_worker):
    assert at_hand(alder, NAME, WHOLE).value == ["A-1"]
    assert not Job.objects.exists()


def test_a_job_that_comes_late_makes_nothing_again(alder, belt_a1, with_worker):
    at_hand(alder, NAME, WHOLE)
    job = jobs.ask_for_job(kept.KEEP, args={"topic": NAME}, plant=alder)
    jobs.do_job(job.pk)
    job.refresh_from_db()
    assert job.result == {"made": 0}
    assert tags_of.made == 1


def test_a_write_while_the_result_is_made_makes_it_stale_at_once(alder, belt_a1, monkeypatch):
    def written_meanwhile(plant, now):
        found = tags_of(plant, now)
        make.conveyor(plant, tag="A-2")
        return found

    register_topic(topic_of(written_meanwhile))
    make_kept(alder, NAME)
    assert not standing_of(alder, NAME, WHOLE, timezone.now()).is_fresh


def test_a_write_that_is_taken_back_leaves_the_result_fresh(alder, belt_a1):
    at_hand(alder, NAME, WHOLE)
    before = stamp(alder)
    with transaction.atomic():
        make.conveyor(alder, tag="A-2")
        assert stamp(alder) == before + 1  # in the same transaction as the row
        transaction.set_rollback(True)
    assert stamp(alder) == before
    assert at_hand(alder, NAME, WHOLE).value == ["A-1"]
    assert tags_of.made == 1


def test_every_way_of_writing_counts(alder, belt_a1):
    at_hand(alder, NAME, WHOLE)

    def moved(write):
        before = stamp(alder)
        write()
        return stamp(alder) - before

    assert moved(lambda: belt_a1.save(update_fields=["name"])) == 1
    assert moved(lambda: Conveyor.objects.filter(pk=belt_a1.pk).update(name="crusher")) == 1
    assert moved(lambda: Conveyor.objects.bulk_update([belt_a1], ["name"])) == 1
    assert moved(lambda: Conveyor.objects.bulk_create([belt_a1], ignore_conflicts=True)) == 1
    assert moved(lambda: Conveyor.objects.filter(tag="nowhere").update(name="x")) == 0
    assert moved(lambda: Conveyor.objects.bulk_create([])) == 0
    assert moved(belt_a1.delete) == 1


def test_an_update_that_takes_a_row_out_of_its_own_choice_counts(alder, belt_a1):
    at_hand(alder, NAME, WHOLE)
    before = stamp(alder)
    Conveyor.objects.filter(tag="A-1").update(tag="A-9")
    assert stamp(alder) == before + 1


def test_another_plants_writes_do_not_count(alder, other, belt_a1):
    at_hand(alder, NAME, WHOLE)
    make.conveyor(other, tag="Z-1")
    assert standing_of(alder, NAME, WHOLE, timezone.now()).is_fresh


def test_a_result_holds_for_its_day_by_the_plants_clock(alder, belt_a1, time_machine):
    time_machine.move_to(dt.datetime(2026, 11, 20, 22, 30, tzinfo=dt.UTC), tick=False)
    at_hand(alder, NAME, WHOLE)
    assert standing_of(alder, NAME, WHOLE, timezone.now()).is_fresh
    time_machine.move_to(dt.datetime(2026, 11, 20, 23, 5, tzinfo=dt.UTC), tick=False)  # past midnight in Berlin
    assert not standing_of(alder, NAME, WHOLE, timezone.now()).is_fresh


def test_what_another_state_of_the_product_made_is_not_read(alder, belt_a1, with_worker):
    at_hand(alder, NAME, WHOLE)
    KeptResult.objects.update(code="of before", value='["wrong"]')
    assert at_hand(alder, NAME, WHOLE).value == ["A-1"]
    assert KeptResult.objects.get().code == code_mark()


def test_the_timetable_asks_for_what_does_not_hold_and_lets_slow_ones_rest(alder, other, belt_a1, with_worker):
    assert keep_up() == 2  # neither plant has one yet
    assert keep_up() == 2
    assert Job.objects.count() == 2  # and yet one job each
    for job in Job.objects.all():
        jobs.do_job(job.pk)
    assert keep_up() == 0
    make.conveyor(alder, tag="A-2")
    now = timezone.now()
    KeptResult.objects.filter(plant=alder).update(took_s=5.0, made_at=now - dt.timedelta(seconds=20))
    assert keep_up(now=now) == 0
    assert keep_up(now=now + dt.timedelta(seconds=31)) == 1


def test_a_night_clears_the_jobs_that_made_results(alder, belt_a1, with_worker):
    keep_up()
    for job in Job.objects.all():
        jobs.do_job(job.pk)
    assert clear_old()[KeptFor.RESULTS] == 0
    assert clear_old(now=timezone.now() + dt.timedelta(days=2))[KeptFor.RESULTS] == 1


def test_a_job_without_its_topic_ends_well(alder):
    job = jobs.ask_for_job(kept.KEEP, args={"topic": "of yesterday"}, plant=alder)
    assert do_keep(jobs.take_job(job.pk), job.args) == {"made": 0}


def test_all_that_is_missing_is_made_at_once(alder, other, belt_a1):
    said = []
    assert make_all_kept([alder, other], said.append) == 2
    assert make_all_kept([alder, other]) == 0
    assert len(said) == 2


def test_the_page_is_told_to_load_again_once_the_result_is_there(alder, belt_a1, erin, client, with_worker):
    client.force_login(erin)
    address = reverse("kept-standing", args=[NAME, WHOLE])
    at_hand(alder, NAME, WHOLE)
    make.conveyor(alder, tag="A-2")
    answer = client.get(address)
    assert "being computed anew" in answer.text
    assert "HX-Refresh" not in answer
    jobs.do_job(Job.objects.get().pk)
    assert client.get(address)["HX-Refresh"] == "true"
    for nothing in (["nothing", WHOLE], [NAME, "nothing"]):
        assert client.get(reverse("kept-standing", args=nothing)).status_code == 404


def test_a_page_makes_its_own_part_and_the_worker_all(alder, belt_a1):
    gathered = []

    def parts_of(plant, now):
        gathered.append(tags_of(plant, now))
        return {"first": lambda: gathered[-1][0], "number": lambda: len(gathered[-1])}

    register_topic(Topic(NAME, ["plant.Conveyor"], ["first", "number"], parts_of, json.dumps, json.loads))
    assert at_hand(alder, NAME, "number").value == 1
    assert set(KeptResult.objects.values_list("part", flat=True)) == {"number"}
    make.conveyor(alder, tag="A-0")
    job = jobs.ask_for_job(kept.KEEP, args={"topic": NAME}, plant=alder)
    jobs.do_job(job.pk)
    assert len(gathered) == 2
    assert (at_hand(alder, NAME, "first").value, at_hand(alder, NAME, "number").value) == ("A-0", 2)
    assert len(gathered) == 2


def test_days_in_kept_sentences_are_the_plants(alder, belt_a1):
    register_topic(topic_of(lambda plant, now: str(timezone.get_current_timezone())))
    with timezone.override("UTC"):
        assert at_hand(alder, NAME, WHOLE).value == "Europe/Berlin"


def test_what_cannot_be_kept_is_shown_all_the_same_and_logged(alder, belt_a1, caplog):
    register_topic(topic_of(lambda plant, now: {1, 2}))
    assert at_hand(alder, NAME, WHOLE).value == {1, 2}
    assert not KeptResult.objects.exists()
    assert "cannot be kept" in caplog.text


# --- one of many things -----------------------------------------------------------------------------------------------
LENGTHS = "lengths"


def lengths_of(plant, now, key):
    return {WHOLE: lambda: Conveyor.objects.get(pk=key).length_m}


@pytest.fixture
def lengths(alder, belt_a1):
    """A result for each belt of a plant, and two belts with theirs."""
    keys = OneOfMany(
        keys_of=lambda plant: list(Conveyor.objects.of_plant(plant).order_by("pk").values_list("pk", flat=True)),
        key_of=lambda row: row.pk if isinstance(row, Conveyor) else row.conveyor_id,
    )
    register_topic(
        Topic(LENGTHS, ["plant.Conveyor", "plant.RunRecord"], [WHOLE], lengths_of, json.dumps, json.loads, keys)
    )
    belts = [belt_a1, make.conveyor(alder, tag="A-2", length_m=70.0)]
    make_all_kept([alder])
    return {topic_of_key(LENGTHS, each.pk): each for each in belts}


def holding(lengths):
    return set(fresh_values(lengths, WHOLE, json.loads))


def test_each_of_many_is_kept_by_itself(lengths):
    assert fresh_values(lengths, WHOLE, json.loads) == {name: each.length_m for name, each in lengths.items()}


def test_a_row_of_one_makes_only_that_one_stale(alder, lengths):
    first, second = lengths
    now = timezone.now()
    make.run_record(lengths[first], now - 2 * DAY, now - DAY, 12.0)
    assert holding(lengths) == {second}
    lengths[second].save(update_fields=["name"])
    assert holding(lengths) == set()
    assert make_all_kept([alder]) == 2 + 1  # the tags of the plant as well
    RunRecord.objects.bulk_create(
        [RunRecord(conveyor=lengths[second], starts_at=now - 4 * DAY, ends_at=now - 3 * DAY, running_h=5.0)]
    )
    assert holding(lengths) == {first}


def test_where_only_the_data_base_knows_which_rows_all_of_the_plant_are_stale(alder, other, lengths):
    make.conveyor(other, tag="Z-1")
    make_all_kept([other])
    Conveyor.objects.filter(tag="A-2").update(name="crusher")
    assert holding(lengths) == set()
    assert stale_parts(other, LENGTHS, timezone.now()) == {}


def test_one_job_makes_those_of_many_that_do_not_hold(alder, lengths, with_worker):
    name = next(iter(lengths))
    lengths[name].length_m = 95.0
    lengths[name].save()
    assert keep_up(now=timezone.now() + dt.timedelta(minutes=1)) == 2  # these and the tags, each by one job
    for job in Job.objects.all():
        jobs.do_job(job.pk)
    assert [job.result for job in Job.objects.order_by("pk")] == [{"made": 1}, {"made": 1}]
    assert fresh_values([name], WHOLE, json.loads) == {name: 95.0}


def test_one_of_many_is_of_no_day(lengths, time_machine):
    time_machine.move_to(timezone.now() + 3 * DAY, tick=False)
    assert holding(lengths) == set(lengths)


def test_looking_at_many_is_one_query(alder, lengths, django_assert_num_queries):
    with django_assert_num_queries(2):  # the keys, and how all of them stand
        assert stale_parts(alder, LENGTHS, timezone.now()) == {}
    with django_assert_num_queries(1):
        holding(lengths)


@pytest.mark.django_db(transaction=True)
def test_a_row_that_is_written_by_itself_counts():
    """Outside of any transaction: PostgreSQL locks no row there, so the counter brings its own."""
    plant = make.plant(name="Alder Pit")
    at_hand(plant, NAME, WHOLE)
    before = stamp(plant)
    make.conveyor(plant, tag="A-7")
    assert stamp(plant) == before + 1
