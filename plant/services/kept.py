"""Keep results: count the writes that each topic reads, make results anew after them, hand them to pages.

A write raises the counters of all topics that read its model, in its own transaction. Whoever makes a result reads
the counter first and the rows after it: what is written in between raises the counter, and the result is made again.
"""

from __future__ import annotations

import datetime as dt
import logging
import time
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.apps import apps
from django.core.exceptions import ObjectDoesNotExist
from django.db import OperationalError, connection, transaction
from django.db.models import Model
from django.db.models.signals import post_delete, post_save
from django.utils import timezone

from plant.models import Job, KeptResult, Plant, WriteCounter
from plant.models.base import plant_id_of
from plant.selectors.kept import (
    KEY_MARK,
    Kept,
    KeptStanding,
    code_mark,
    kept_of,
    standing_of,
    standings_of,
    topic_of_key,
)
from plant.services.job_kinds import JobHandle
from plant.services.jobs import ask_for_job, has_worker
from plant.signals import rows_written

log = logging.getLogger(__name__)

KEEP = "keep"  # the kind of job
# By itself a result is made again only after so many times as long as it took: a tenth of a core at most.
REST = 10.0


@dataclass(frozen=True)
class OneOfMany:
    """The things of a plant that each have a result of their own: their keys, and to which of them a row belongs."""

    keys_of: Callable[[Plant], Iterable[int]]
    key_of: Callable[[Any], int]


@dataclass(frozen=True)
class Topic:
    """Results that are made from the same rows of a plant.

    Attributes
    ----------
    reads : sequence of str
        Every model whose rows they are made from, as "app.Model"; a write to any raises the topic's counter.
    parts : sequence of str, or callable
        Their names, or what says which a plant has; each is a row of its own, so that a page reads no more than it
        shows. None where every part is made when somebody asks for it (`keep_one`).
    make : callable
        What makes each part of a plant at a moment, from the rows alone; what they share is gathered once.
    write, read : callable
        A part as text and back.
    each : OneOfMany, optional
        Where a plant has one of it for each of many things, such as belts: each is a topic by itself then
        (`topic_of_key`), which goes stale alone, and `make` is given its key as well.
    make_asked : callable, optional
        What makes a part by its name, of a plant at a moment, where `make` has no maker of it. It may be one that is
        not among the parts, because somebody looks at it; the night clears that away.
    """

    name: str
    reads: Sequence[str]
    parts: Sequence[str] | Callable[[Plant], Sequence[str]]
    make: Callable[..., Mapping[str, Callable[[], Any]]]
    write: Callable[[Any], str]
    read: Callable[[str], Any]
    each: OneOfMany | None = None
    make_asked: Callable[[Plant, dt.datetime, str], Any] | None = None


_topics: dict[str, Topic] = {}
_read_by: dict[type[Model], list[str]] = {}


def register_topic(topic: Topic) -> None:
    """Let writes to these models raise the topic's counter. To be called when all apps are loaded."""
    _topics[topic.name] = topic
    for label in topic.reads:
        model = apps.get_model(label)
        if topic.name not in _read_by.setdefault(model, []):
            _read_by[model].append(topic.name)
        post_save.connect(raise_for_row, sender=model, dispatch_uid=f"kept.save.{label}")
        post_delete.connect(raise_for_row, sender=model, dispatch_uid=f"kept.delete.{label}")
        rows_written.connect(raise_for_rows, sender=model, dispatch_uid=f"kept.rows.{label}")


def topic_names() -> list[str]:
    return list(_topics)


def topics_on_demand() -> list[str]:
    """Topics whose parts are made when somebody asks; the job that makes one is of the same name."""
    return [name for name, topic in _topics.items() if not topic.parts]


def topic_at(name: str) -> Topic:
    """The topic of that name, or that one of many things is of."""
    return _topics[name.partition(KEY_MARK)[0]]


def names_of(name: str, plant: Plant) -> list[str]:
    """The topic itself, or that of each of the things that a plant has."""
    each = topic_at(name).each
    if each is None or KEY_MARK in name:
        return [name]
    return [topic_of_key(name, key) for key in each.keys_of(plant)]


def parts_of(name: str, plant: Plant) -> Sequence[str]:
    """The parts of a topic that a plant has, whoever looks at them."""
    parts = topic_at(name).parts
    return parts(plant) if callable(parts) else parts


def topics_asked_for() -> list[str]:
    """Topics that have parts besides which are made when somebody asks for them."""
    return [name for name, topic in _topics.items() if topic.make_asked is not None]


def models_read(name: str) -> list[type[Model]]:
    return [apps.get_model(label) for label in topic_at(name).reads]


# --- counting writes --------------------------------------------------------------------------------------------------
def raise_for_row(sender: type[Model], instance: Model, created: bool = False, **kwargs: Any) -> None:
    try:
        plant_id = plant_id_of(instance)
    except ObjectDoesNotExist:
        return  # it is deleted along with its parent, which counts
    raise_counters(sender, [plant_id], [instance])


def raise_for_rows(
    sender: type[Model], plants: Iterable[int | None], rows: Sequence[Model] | None, **kwargs: Any
) -> None:
    raise_counters(sender, plants, rows)


def raise_counters(model: type[Model], plants: Iterable[int | None], rows: Sequence[Model] | None) -> None:
    """One write more for each topic that reads the model. A topic without a counter has no result yet.

    A row without a plant belongs to all of them, such as a kind of check that came with the product. It comes with
    each row that is written, so it is one statement by hand: to put it together anew took twenty times as long.
    """
    those, (which, topics) = set(plants), topics_of(model, rows)
    table = connection.ops.quote_name(WriteCounter._meta.db_table)
    of_these = "" if None in those else f"WHERE plant_id IN ({placeholders(those)})"
    values: list[int | str | None] = [] if None in those else [*those]
    statement = f"UPDATE {table} SET stamp = stamp + 1 WHERE ({which})"
    if connection.features.has_select_for_update:
        # All of a plant at once and in one order: two transactions that write to several models never wait for each
        # other in a circle.
        held = f"SELECT id FROM {table} {of_these} ORDER BY plant_id, topic FOR UPDATE"
        statement = f"WITH held AS ({held}) {statement} AND id = ANY(ARRAY(SELECT id FROM held))"
        values = [*values, *topics]
    else:
        statement += of_these.replace("WHERE", " AND")
        values = [*topics, *values]
    with connection.cursor() as cursor:
        cursor.execute(statement, values)


def topics_of(model: type[Model], rows: Sequence[Model] | None) -> tuple[str, list[str]]:
    """Which topics these rows belong to, as a condition and its values.

    Of one for each of many things those that the rows name; all of them where nobody knows which rows were written.
    """
    named: set[str] = set()
    patterns: list[str] = []
    for topic in (_topics[name] for name in _read_by[model] if name in _topics):
        if topic.each is None:
            named.add(topic.name)
        elif rows is None:
            patterns.append(f"{topic.name}{KEY_MARK}%")
        else:
            named |= {topic_of_key(topic.name, topic.each.key_of(row)) for row in rows}
    values = [*sorted(named), *patterns]
    conditions = [f"topic IN ({placeholders(named)})"] * bool(named) + ["topic LIKE %s"] * len(patterns)
    return " OR ".join(conditions) or "1 = 0", values


def placeholders(values: Collection[object]) -> str:
    return ", ".join(["%s"] * len(values))


# --- making results ---------------------------------------------------------------------------------------------------
def at_hand(plant: Plant, name: str, part: str, now: dt.datetime | None = None) -> Kept:
    """A result for a page, without a wait where one is kept.

    One that is fresh is read. One that the book has gone past is read as well, and a worker is asked to make it anew:
    the page says of when it is. Where none is kept, or no worker could make it, it is made while the page waits: then
    it is the plant's first, or everything runs in one process, as in tests.
    """
    now = now or timezone.now()
    kept = kept_of(plant, name, part, now, topic_at(name).read)
    if kept is not None and (kept.is_fresh or has_worker()):
        if not kept.is_fresh:
            ask_for_kept(plant, name, part)
        return kept
    return make_kept(plant, name, [part], now)[part]


def make_kept(
    plant: Plant, name: str, parts: Iterable[str] | None = None, now: dt.datetime | None = None
) -> dict[str, Kept]:
    """Make parts of a topic (else all) from the rows and keep each in the place of the one before."""
    now = now or timezone.now()
    topic = topic_at(name)
    counter = counter_of(plant, name)
    # The stamp is read before any row: what is written from here on raises it.
    found = {}
    # A worker has no person's zone: days in sentences are the plant's, as they are on its pages.
    with timezone.override(plant.zone):
        began = time.monotonic()
        makers = topic.make(plant, now) if topic.each is None else topic.make(plant, now, int(name.split(KEY_MARK)[1]))
        shared_s = time.monotonic() - began
        for part in parts_of(name, plant) if parts is None else parts:
            began = time.monotonic()
            value = makers[part]() if part in makers else asked_for(topic, plant, now, part)
            put(counter, part, now, value, shared_s + time.monotonic() - began)
            found[part] = Kept(name, part, value, now, is_fresh=True)
    return found


def asked_for(topic: Topic, plant: Plant, now: dt.datetime, part: str) -> Any:
    if topic.make_asked is None:
        raise KeyError(f"{topic.name} has no part {part}")
    return topic.make_asked(plant, now, part)


def keep_one(plant: Plant, name: str, part: str, now: dt.datetime, make: Callable[[], Any]) -> Kept:
    """Make and keep a part that the topic does not know by itself, such as what one person asked for."""
    counter = counter_of(plant, name)
    with timezone.override(plant.zone):
        began = time.monotonic()
        value = make()
        put(counter, part, now, value, time.monotonic() - began)
    return Kept(name, part, value, now, is_fresh=True)


def counter_of(plant: Plant, name: str) -> WriteCounter:
    counter, _made = WriteCounter.objects.get_or_create(plant=plant, topic=name)
    return counter


def put(counter: WriteCounter, part: str, now: dt.datetime, value: Any, took_s: float) -> None:
    """Keep a value as it was made from the rows of before that counter moves on, in the place of the one before."""
    text = text_of(topic_at(counter.topic), value)
    if text is not None:
        KeptResult.objects.update_or_create(
            plant_id=counter.plant_id,
            topic=counter.topic,
            part=part,
            defaults={
                "stamp": counter.stamp,
                "code": code_mark(),
                "as_of": now,
                "made_at": timezone.now(),
                "took_s": took_s,
                "value": text,
            },
        )


def text_of(topic: Topic, value: Any) -> str | None:
    """A result as text; None where something stands in it that cannot be kept: slow then, but never a page less."""
    try:
        return topic.write(value)
    except TypeError:
        log.exception("%s cannot be kept and is computed each time", topic.name)
        return None


def stale_parts(plant: Plant, name: str, now: dt.datetime, *, rested: float = 0.0) -> dict[str, list[str]]:
    """Parts that are not there or do not hold, by topic; of the latter those that rested so many times their making."""
    names = names_of(name, plant)
    standings = standings_of(plant, names, now)

    def is_stale(each: KeptStanding | None) -> bool:
        return each is None or (not each.is_fresh and each.is_rested(now, rested))

    found = {each: [part for part in parts_of(name, plant) if is_stale(standings.get((each, part)))] for each in names}
    return {each: parts for each, parts in found.items() if parts}


def make_all_kept(plants: Iterable[Plant], say: Callable[[str], None] = lambda _words: None) -> int:
    """Make every result that is not there or does not hold; how many were made."""
    made = 0
    for plant in plants:
        for name in _topics:
            stale = stale_parts(plant, name, timezone.now())
            if stale:
                say(f"  {plant}: {name}")
            made += sum(len(make_kept(plant, each, parts)) for each, parts in stale.items())
    return made


def ask_for_kept(plant: Plant, name: str, part: str = "") -> None:
    """Ask a worker for a topic, once: nobody waits for it, so a book that is busy is asked again later.

    A part that the plant does not have by itself is asked for alone.
    """
    is_alone = part not in ("", *parts_of(name, plant))
    args = {"topic": name, **({"part": part} if is_alone else {})}
    which = {"args__topic": name, **({"args__part": part} if is_alone else {"args__part__isnull": True})}
    try:
        with transaction.atomic():
            if not Job.objects.unfinished().filter(kind=KEEP, plant=plant, **which).exists():
                ask_for_job(KEEP, args=args, plant=plant)
    except OperationalError:
        log.info("%s of %s: the book is busy, the timetable asks for it later", name, plant)


def do_keep(handle: JobHandle, args: dict[str, Any]) -> dict[str, Any]:
    """The job: make what does not hold of a topic."""
    plant = Job.objects.select_related("plant").get(pk=handle.job_id).plant
    name = args["topic"]
    if plant is None or name not in _topics:
        return {"made": 0}
    if "part" in args:
        standing = standing_of(plant, name, args["part"], timezone.now())
        stale = {name: [args["part"]]} if standing is None or not standing.is_fresh else {}
    else:
        stale = stale_parts(plant, name, timezone.now())
    made = 0
    for n, (each, parts) in enumerate(stale.items()):
        handle.progress(n, len(stale))
        made += len(make_kept(plant, each, parts))
    return {"made": made}


def keep_up(*, now: dt.datetime | None = None) -> int:
    """Ask for each topic that no longer holds, every few seconds by the timetable; how many were asked for.

    Many writes in a row make one job, and a result that takes long is not made over and over while they go on.
    """
    now = now or timezone.now()
    asked = 0
    for plant in Plant.objects.all():
        for name in _topics:
            if stale_parts(plant, name, now, rested=REST):
                ask_for_kept(plant, name)
                asked += 1
    return asked
