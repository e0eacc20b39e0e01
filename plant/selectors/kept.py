"""Kept results: what is there, and whether it still holds. Who writes them is `plant.services.kept`."""

from __future__ import annotations

import contextlib
import datetime as dt
import hashlib
from collections.abc import Callable, Collection
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db.models import F, OuterRef, Subquery

from plant.calc.codec import CannotRead
from plant.models import KeptResult, Plant, WriteCounter
from plant.models.kept import KeptResultQuerySet

APPS = ("plant", "installs", "inspections", "reports")
KEY_MARK = "/"  # between the name of a topic and the key of one of many things
LAYERS = ("calc", "models", "selectors", "words", "check_rules")


@dataclass(frozen=True)
class Kept:
    """A result of a plant, the moment that it was computed for, and whether the book still says the same."""

    topic: str
    part: str
    value: Any
    as_of: dt.datetime
    is_fresh: bool


@lru_cache(maxsize=1)
def code_mark() -> str:
    """A digest of all code that results come from: what another state of the product computed is not read."""
    digest = hashlib.sha256()
    for app in APPS:
        for layer in LAYERS:
            for path in sorted((Path(settings.BASE_DIR) / app / layer).glob("*.py")):
                digest.update(path.name.encode() + path.read_bytes())
    return digest.hexdigest()


@dataclass(frozen=True)
class KeptStanding:
    """How a kept result stands, without the result."""

    topic: str
    part: str
    as_of: dt.datetime
    made_at: dt.datetime
    took_s: float
    is_fresh: bool

    def is_rested(self, now: dt.datetime, times: float) -> bool:
        """Whether it was made so many times as long ago as the making took."""
        return now - self.made_at >= dt.timedelta(seconds=times * self.took_s)


def day_of(plant: Plant, moment: dt.datetime) -> dt.date:
    return moment.astimezone(plant.zone).date()


def topic_of_key(name: str, key: int) -> str:
    """The topic of one of many things of a plant, such as a belt: each has its own counter, and goes stale alone."""
    return f"{name}{KEY_MARK}{key}"


def counted(rows: KeptResultQuerySet) -> KeptResultQuerySet:
    """Rows that this state of the product wrote, with their counters as they stand (`counted`)."""
    counter = WriteCounter.objects.filter(plant=OuterRef("plant"), topic=OuterRef("topic")).values("stamp")
    return rows.filter(code=code_mark()).annotate(counted=Subquery(counter))


def rows_of(plant: Plant, topic: str, part: str) -> KeptResultQuerySet:
    return counted(KeptResult.objects.of_part(plant, topic, part))


def holds(row: Any, plant: Plant, now: dt.datetime) -> bool:
    """A result holds for the day that it was computed for, too: hours go on without any row being written.

    One of many things is of no day: only what the book says of it goes into it.
    """
    is_of_day = KEY_MARK not in row.topic
    return row.stamp == row.counted and (not is_of_day or day_of(plant, row.as_of) == day_of(plant, now))


def standings_of(plant: Plant, topics: Collection[str], now: dt.datetime) -> dict[tuple[str, str], KeptStanding]:
    """How each part of several topics stands that is kept and that this state of the product can read; one query."""
    found = counted(KeptResult.objects.filter(plant=plant, topic__in=topics)).defer("value")
    return {
        (row.topic, row.part): KeptStanding(
            row.topic, row.part, row.as_of, row.made_at, row.took_s, holds(row, plant, now)
        )
        for row in found
    }


def standing_of(plant: Plant, topic: str, part: str, now: dt.datetime) -> KeptStanding | None:
    """How a part stands; None where nothing is kept that this state of the product can read."""
    return standings_of(plant, [topic], now).get((topic, part))


def kept_of(plant: Plant, topic: str, part: str, now: dt.datetime, read: Callable[[str], Any]) -> Kept | None:
    """What is kept of a part, fresh or not; None where nothing is that this state of the product can read."""
    row = rows_of(plant, topic, part).first()
    if row is None:
        return None
    try:
        return Kept(topic, part, read(row.value), row.as_of, holds(row, plant, now))
    except CannotRead:
        return None  # a row that it names is gone; so the counter has moved, too


def fresh_of(plant: Plant, topic: str, part: str, now: dt.datetime, read: Callable[[str], Any]) -> Kept | None:
    """What is kept of a part, where it holds; nothing is unpacked where it does not."""
    standing = standing_of(plant, topic, part, now)
    return kept_of(plant, topic, part, now, read) if standing is not None and standing.is_fresh else None


def fresh_values(topics: Collection[str], part: str, read: Callable[[str], Any]) -> dict[str, Any]:
    """What is kept of one part of each of many things, where it holds, by topic; one query."""
    rows = counted(KeptResult.objects.filter(topic__in=topics, part=part)).filter(stamp=F("counted"))
    found = {}
    for topic, text in rows.values_list("topic", "value"):
        with contextlib.suppress(CannotRead):
            found[topic] = read(text)
    return found
