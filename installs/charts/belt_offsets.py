"""Figures of this app: belt offset along the belt, one line an occasion, drawn beside its table."""

from __future__ import annotations

import datetime as dt
import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.utils import timezone
from django.utils.translation import gettext as _

from installs.calc.belt_offsets import OffsetSummary, summarise
from installs.models import BeltOffset, Installation
from plant.calc.units import QuantityKind, UnitSystem, format_quantity

WIDTH, HEIGHT, LEFT, RIGHT, TOP, FOOT = 680, 220, 104, 150, 14, 30
LABEL = 16  # height of a line of words
DAYS_A_MONTH = 30.44
Occasion = BeltOffset.Occasion


@dataclass(frozen=True)
class OffsetPoint:
    """One reading: where it is drawn, and its words."""

    x: float
    y: float
    words: str


@dataclass(frozen=True)
class OffsetLine:
    """One occasion: how it is called, its points and where its label stands."""

    tone: str  # "before", "accepted" or "later"
    label: str
    label_y: float
    points: tuple[OffsetPoint, ...]

    @property
    def path(self) -> str:
        return " ".join(f"{point.x:.1f},{point.y:.1f}" for point in self.points)


@dataclass(frozen=True)
class OffsetChart:
    """Offsets along the belt under one load, drive side up, between the limits of the permitted run-off."""

    title: str
    lines: tuple[OffsetLine, ...]
    zero_y: float
    limits: tuple[tuple[float, str], ...]  # y and words
    stations: tuple[tuple[float, str], ...]  # x and words
    width: int = WIDTH
    height: int = HEIGHT
    left: int = LEFT
    right_edge: int = WIDTH - RIGHT


@dataclass(frozen=True)
class OffsetOccasion:
    """The readings of one occasion under both loads, by station."""

    label: str
    tone: str
    day: dt.date
    by_place: dict[tuple[float, bool], float]

    def summary(self) -> OffsetSummary | None:
        return summarise(self.by_place.values())


def occasions_of(rows: Iterable[BeltOffset], installation: Installation | None = None) -> list[OffsetOccasion]:
    """Rows by occasion in the order of time; follow-ups are named by whole months since the installation."""
    tones = {Occasion.SURVEY: "before", Occasion.ACCEPTANCE: "accepted"}
    found: dict[tuple[str, dt.date | None], OffsetOccasion] = {}
    for row in sorted(rows, key=lambda each: each.taken_at):
        day = timezone.localtime(row.taken_at).date()
        # The runs of an acceptance may lie on two days and are one occasion.
        key = (row.occasion, None if row.occasion == Occasion.ACCEPTANCE else day)
        if key not in found:
            words = occasion_words(row.occasion, day, installation)
            found[key] = OffsetOccasion(words, tones.get(row.occasion, "later"), day, {})
        found[key].by_place[row.chainage_m, row.is_loaded] = row.offset_mm
    order = {"before": 0, "accepted": 1, "later": 2}
    return sorted(found.values(), key=lambda each: (each.day, order[each.tone]))


def occasion_words(occasion: str, day: dt.date, installation: Installation | None) -> str:
    if occasion == Occasion.SURVEY:
        return _("before, %(day)s") % {"day": f"{day:%Y-%m-%d}"} if installation else f"{day:%Y-%m-%d}"
    if occasion == Occasion.FOLLOW_UP and installation is not None:
        since = timezone.localtime(installation.installed_at).date()
        months = max(round((day - since).days / DAYS_A_MONTH), 0)
        return _("after 1 month") if months == 1 else _("after %(n)s months") % {"n": months}
    return str(BeltOffset.Occasion(occasion).label)


def offset_words(offset_mm: float, system: UnitSystem) -> str:
    """60 mm drive side; 0 mm."""
    size = format_quantity(abs(offset_mm), QuantityKind.LENGTH_MM, system)
    if offset_mm == 0:
        return size
    return f"{size} {_('drive side') if offset_mm > 0 else _('off side')}"


def offset_charts(occasions: Sequence[OffsetOccasion], permitted_mm: float, system: UnitSystem) -> list[OffsetChart]:
    """One chart for the empty and one for the loaded belt; none where fewer than two stations were measured."""
    charts = []
    for is_loaded, title in ((False, _("Belt empty")), (True, _("Belt loaded"))):
        series = [
            (each, sorted((at, value) for (at, loaded), value in each.by_place.items() if loaded == is_loaded))
            for each in occasions
        ]
        series = [(each, points) for each, points in series if len(points) > 1]
        if series:
            charts.append(lay_offsets(title, series, permitted_mm, system))
    return charts


def lay_offsets(
    title: str,
    series: Sequence[tuple[OffsetOccasion, list[tuple[float, float]]]],
    permitted_mm: float,
    system: UnitSystem,
) -> OffsetChart:
    places = sorted({at for _each, points in series for at, _value in points})
    most = max([permitted_mm * 1.15, *(abs(value) for _each, points in series for _at, value in points)])
    length = places[-1] - places[0] or 1.0

    def x(at: float) -> float:
        return LEFT + 10 + (WIDTH - LEFT - RIGHT - 20) * (at - places[0]) / length

    def y(value: float) -> float:
        return TOP + (HEIGHT - TOP - FOOT) * (most - value) / (2 * most)

    def place(at: float) -> str:
        return format_quantity(at, QuantityKind.DISTANCE_M, system)

    ends = spread([y(points[-1][1]) for _each, points in series])
    lines = [
        OffsetLine(
            each.tone,
            each.label,
            label_y + 4,
            tuple(
                OffsetPoint(x(at), y(value), f"{each.label}, {place(at)}: {offset_words(value, system)}")
                for at, value in points
            ),
        )
        for (each, points), label_y in zip(series, ends, strict=True)
    ]
    limit = format_quantity(permitted_mm, QuantityKind.LENGTH_MM, system)
    limits = ((y(permitted_mm), _("drive %s") % limit), (y(-permitted_mm), _("off %s") % limit))
    # Words of the axis keep their distance; every station stands in the table.
    named: list[tuple[float, str]] = []
    for at in places:
        if not named or x(at) - named[-1][0] > 48:
            named.append((x(at), place(at)))
    return OffsetChart(title, tuple(lines), y(0), limits, tuple(named))


def spread(wanted: Sequence[float]) -> list[float]:
    """Heights of labels, moved apart where they would lie on each other."""
    order = sorted(range(len(wanted)), key=lambda n: wanted[n])
    heights = list(wanted)
    for before, after in itertools.pairwise(order):
        heights[after] = max(heights[after], heights[before] + LABEL)
    over = max(heights, default=0) - (HEIGHT - FOOT + 8)
    return [height - over for height in heights] if over > 0 else heights


def size_words(value_mm: float, system: UnitSystem) -> str:
    """A distance off the centre line in whole millimetres, or to the nearest 1/16 in."""
    return format_quantity(round(value_mm), QuantityKind.LENGTH_MM, system)


def summary_lines(occasions: Sequence[OffsetOccasion], system: UnitSystem) -> list[dict[str, str]]:
    """Mean and largest distance off the centre line at each occasion."""
    found = [(each, each.summary()) for each in occasions]
    return [
        {
            "label": each.label,
            "day": f"{each.day:%Y-%m-%d}",
            "n": str(known.n),
            "mean": size_words(known.mean_mm, system),
            "largest": size_words(known.largest_mm, system),
        }
        for each, known in found
        if known
    ]


def change_words(occasions: Sequence[OffsetOccasion], system: UnitSystem) -> str:
    """One sentence: how far the belt lay off before and last, at the stations measured both times."""
    if not occasions:
        return _("No belt offset was measured yet.")
    first, last = occasions[0], occasions[-1]
    shared = sorted(set(first.by_place) & set(last.by_place))
    before = summarise(first.by_place[place] for place in shared)
    after = summarise(last.by_place[place] for place in shared)
    if first is last or before is None or after is None:
        known = first.summary()
        mean = size_words(known.mean_mm, system) if known else ""
        return _("The belt lay %(mean)s off its centre line on average (%(when)s).") % {
            "mean": mean,
            "when": first.label,
        }
    return _(
        "The belt lay %(before)s off its centre line on average %(first)s, and %(after)s %(last)s "
        "(%(n)s readings at the same places)."
    ) % {
        "before": size_words(before.mean_mm, system),
        "first": first.label,
        "after": size_words(after.mean_mm, system),
        "last": last.label,
        "n": len(shared),
    }


def station_table(occasions: Sequence[OffsetOccasion], system: UnitSystem) -> list[dict[str, object]]:
    """A line for each station and load, with the offset at each occasion."""
    places = sorted({place for each in occasions for place in each.by_place}, key=lambda place: (place[1], place[0]))
    return [
        {
            "at": at,
            "load": _("loaded") if is_loaded else _("empty"),
            "cells": [
                (each.label, offset_words(each.by_place[at, is_loaded], system))
                if (at, is_loaded) in each.by_place
                else (each.label, "–")
                for each in occasions
            ],
        }
        for at, is_loaded in places
    ]
