"""Figures of this app. Today that is the strip, a conveyor unrolled with what stands on it and what happened there.

Places that apps above may fill
-------------------------------
`"strip"`: a function `(request, subject: StripSubject) -> dict[conveyor pk, StripLayer]`. It is asked once for all
conveyors of a page, so its queries do not grow with their number; it draws nothing itself. A layer adds

* `devices`, `zones`, `gaps`: shapes of `plant.calc.strip`, whose names are read out and shown on hover;
* `grades`: device key -> (tone, words) for devices that another layer added; the worst tone wins, all words are kept;
* `sentences`: whole sentences that belong to the belt's first paragraph ("23 of 38 incidents lie where ...");
* `rows`: lines of the table that says the same as the drawing.

`subject.incidents` holds the incidents of the window that is drawn, so that no layer asks for them again.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from django.urls import reverse
from django.utils import timezone
from django.utils.formats import number_format
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from plant.calc.chainage import format_chainage
from plant.calc.density import Density, DensityBin, density
from plant.calc.running_hours import Exposure
from plant.calc.strip import (
    Strip,
    StripBar,
    StripDevice,
    StripPart,
    StripStretch,
    StripTick,
    lay_small_strip,
    lay_strip,
    lay_tall_strip,
)
from plant.calc.units import QuantityKind, UnitSystem, format_quantity
from plant.models import Conveyor, ConveyorPart, Strand
from plant.panels import panels_for
from plant.selectors.incidents import IncidentPlace, incident_places, year_until
from plant.selectors.running_hours import hours_of
from plant.words.incidents import when_words

TONES = ("ink", "sound", "watch", "act")  # from saying nothing to worst


@dataclass(frozen=True)
class StripSubject:
    """The conveyors that are drawn, the window, and its incidents by conveyor."""

    conveyors: tuple[Conveyor, ...]
    since: dt.datetime
    until: dt.datetime
    incidents: Mapping[int, tuple[IncidentPlace, ...]]
    system: UnitSystem = UnitSystem.METRIC


@dataclass(frozen=True)
class StripRow:
    """One line of the table: where, what, more about it, and the page behind it."""

    strand: str
    chainage_m: float | None
    place: str
    what: str
    detail: str = ""
    url: str = ""


@dataclass(frozen=True)
class StripLayer:
    """What one app adds to the strip of one conveyor."""

    devices: tuple[StripDevice, ...] = ()
    zones: tuple[StripStretch, ...] = ()
    gaps: tuple[StripStretch, ...] = ()
    grades: Mapping[int, tuple[str, str]] = field(default_factory=dict)
    sentences: tuple[str, ...] = ()
    rows: tuple[StripRow, ...] = ()


@dataclass(frozen=True)
class StripFigure:
    """A laid-out strip with its name, its sentences and the table behind it."""

    drawing: Strip
    label: str
    tall: Strip | None = None  # for narrow screens
    sentences: tuple[str, ...] = ()
    rows: tuple[StripRow, ...] = ()
    n_incidents: int = 0
    n_not_drawn: int = 0
    # What the grey bars are: the densest stretch, per how many hours, and how much of the hours is known.
    density_words: str = ""


def place_words(strand: str, chainage_m: float | None, system: UnitSystem) -> str:
    """A place as people say it: "return, 60 m"."""
    words = {Strand.CARRY: _("carry"), Strand.RETURN: _("return")}
    where = words.get(strand, strand) or _("both strands")
    return f"{where}, {format_chainage(chainage_m, system)}" if chainage_m is not None else where


def strip_subject(request: Any, conveyors: Iterable[Conveyor], *, now: dt.datetime | None = None) -> StripSubject:
    """What layers are asked about: the last twelve months of these conveyors."""
    belts = tuple(conveyors)
    since, until = year_until(now or timezone.now())
    return StripSubject(
        conveyors=belts,
        since=since,
        until=until,
        incidents=incident_places(belts, since, until),
        system=UnitSystem(request.user.unit_system),
    )


def layers_of(request: Any, subject: StripSubject) -> dict[int, StripLayer]:
    """Everything that apps above add, one layer a conveyor, with the grades set on their devices."""
    found = panels_for("strip", request, subject)
    merged = {}
    for belt in subject.conveyors:
        layers = [each[belt.pk] for each in found if belt.pk in each]
        grades: dict[int, list[tuple[str, str]]] = {}
        for layer in layers:
            for key, grade in layer.grades.items():
                grades.setdefault(key, []).append(grade)
        merged[belt.pk] = StripLayer(
            devices=tuple(graded(each, grades.get(each.key, ())) for layer in layers for each in layer.devices),
            zones=tuple(each for layer in layers for each in layer.zones),
            gaps=tuple(each for layer in layers for each in layer.gaps),
            sentences=tuple(each for layer in layers for each in layer.sentences),
            rows=tuple(each for layer in layers for each in layer.rows),
        )
    return merged


def graded(device: StripDevice, grades: Iterable[tuple[str, str]]) -> StripDevice:
    known = list(grades)
    if not known:
        return device
    tone = max((each for each, _words in known), key=TONES.index)
    # Colour alone would say nothing to many: the word stands beside the number.
    word = {"watch": _("watch"), "act": _("act")}.get(tone, "")
    return replace(
        device, tone=tone, word=word, name=", ".join([device.name, *(words for _tone, words in known if words)])
    )


def incident_ticks(places: Iterable[IncidentPlace], system: UnitSystem) -> list[StripTick]:
    """Incidents whose strand and place are known."""
    return [
        StripTick(
            strand=each.strand,
            chainage_m=each.chainage_m,
            name=f"{when_words(each.happened_at, each.time_is_known)}: {each.severity}, "
            f"{place_words(each.strand, each.chainage_m, system)}",
            url=reverse("incident-detail", args=[each.pk]),
        )
        for each in places
        if each.chainage_m is not None and each.strand in Strand.values
    ]


def part_words(part: ConveyorPart, system: UnitSystem) -> str:
    return f"{part}, {place_words(part.strand, part.chainage_m, system)}"


def strip_of(
    request: Any,
    conveyor: Conveyor,
    parts: Iterable[ConveyorPart] | None = None,
    *,
    now: dt.datetime | None = None,
    extra: StripLayer | None = None,
) -> StripFigure:
    """The large strip of one conveyor, with the parts that are on it unless others are given.

    `extra` is what this page alone adds, such as a device on trial.
    """
    subject = strip_subject(request, [conveyor], now=now)
    system, places = subject.system, subject.incidents[conveyor.pk]
    layer = layers_of(request, subject)[conveyor.pk]
    if extra is not None:
        layer = replace(
            layer,
            devices=layer.devices + extra.devices,
            zones=layer.zones + extra.zones,
            gaps=layer.gaps + extra.gaps,
            rows=layer.rows + extra.rows,
        )
    ticks = incident_ticks(places, system)
    exposure = hours_of([conveyor], since=subject.since)[conveyor.pk].ledger.hours(subject.since, subject.until)
    profile = density_of(conveyor, places, exposure.running_h)
    known_parts = list(conveyor.parts.filter(removed_on__isnull=True) if parts is None else parts)
    given: dict[str, Any] = {
        "parts": [StripPart(each.kind, each.chainage_m, part_words(each, system), each.strand) for each in known_parts],
        "ticks": ticks,
        "devices": layer.devices,
        "zones": layer.zones,
        "gaps": layer.gaps,
        "bars": [
            StripBar(each.strand, each.low_m, each.high_m, profile.share(each), density_name(each, profile, system))
            for each in profile.bins
        ],
        "reversing": conveyor.is_reversing,
        "words": {
            "tail": _("tail"),
            "head": _("head"),
            "loading": _("loading"),
            "strands": _("carry strand above, return strand below"),
        },
        "unit_m": 0.3048 if system == UnitSystem.US else 1.0,
        "unit": "ft" if system == UnitSystem.US else "m",
    }
    rows = [
        StripRow(
            each.strand,
            each.chainage_m,
            place_words(each.strand, each.chainage_m, system),
            capfirst(str(each)),
            each.note,
        )
        for each in known_parts
    ]
    rows += [
        StripRow(
            each.strand,
            each.chainage_m,
            place_words(each.strand, each.chainage_m, system)
            if each.strand or each.chainage_m is not None
            else _("place not known"),
            _("Incident"),
            f"{when_words(each.happened_at, each.time_is_known, day='Y-m-d', with_time='Y-m-d H:i')}, {each.severity}",
            reverse("incident-detail", args=[each.pk]),
        )
        for each in places
    ]
    rows += [
        StripRow(
            each.strand, each.low_m, stretch_place(each, system), _("Density"), density_told(each, profile, system)
        )
        for each in profile.bins
        if each.n
    ]
    rows += layer.rows
    return StripFigure(
        drawing=lay_strip(conveyor.length_m, **given),
        tall=lay_tall_strip(conveyor.length_m, **given),
        label=_("Strip of %s: carry strand and return strand from tail to head") % conveyor.tag,
        sentences=layer.sentences,
        rows=tuple(sorted(rows, key=row_order)),
        n_incidents=len(places),
        n_not_drawn=len(places) - len(ticks),
        density_words=density_sentence(profile, exposure, system) if ticks else "",
    )


# --- How densely incidents lie ----------------------------------------------------------------------------------------
def density_of(conveyor: Conveyor, places: Iterable[IncidentPlace], hours: float) -> Density:
    """Incidents whose strand and place are known, along the belt."""
    on: dict[str, list[float]] = {strand: [] for strand in Strand.values}
    for each in places:
        if each.chainage_m is not None and each.strand in on:
            on[each.strand].append(each.chainage_m)
    return density(on, conveyor.length_m, hours)


def stretch_place(one: DensityBin, system: UnitSystem) -> str:
    """A stretch as people say it: "return, 500 to 550 m"."""
    low = format_quantity(one.low_m, QuantityKind.DISTANCE_M, system, with_unit=False)
    high = format_quantity(one.high_m, QuantityKind.DISTANCE_M, system)
    return _("%(strand)s, %(low)s to %(high)s") % {
        "strand": place_words(one.strand, None, system),
        "low": low,
        "high": high,
    }


def rounded(value: float | None, digits: int = 0) -> str:
    """A number as people read it; `number_format` alone would cut it off."""
    return number_format(round(value or 0.0, digits), digits, force_grouping=True)


def density_told(one: DensityBin, profile: Density, system: UnitSystem) -> str:
    """Count and rate with its interval: "6 incidents, 1.2 (0.4 to 2.5) in 1000 running hours and 50 m"."""
    count = ngettext("%(n)s incident", "%(n)s incidents", one.n) % {"n": one.n}
    if one.rate.per_1000_h is None:
        return count
    return _("%(count)s, %(rate)s (%(low)s to %(high)s) in 1000 running hours and %(per)s") % {
        "count": count,
        "rate": rounded(one.rate.per_1000_h, 2),
        "low": rounded(one.rate.low, 2),
        "high": rounded(one.rate.high, 2),
        "per": format_quantity(profile.per_m, QuantityKind.DISTANCE_M, system),
    }


def density_name(one: DensityBin, profile: Density, system: UnitSystem) -> str:
    return f"{stretch_place(one, system)}: {density_told(one, profile, system)}"


def density_sentence(profile: Density, exposure: Exposure, system: UnitSystem) -> str:
    """What the grey bars say, with the hours that they are per."""
    top = profile.highest
    if top is None:
        return _("No running hours of these twelve months are known: how densely incidents lie cannot be told.")
    return _(
        "Grey behind the ticks: how densely they lie. Densest: %(place)s, %(told)s. Running hours of twelve months: "
        "%(hours)s, known for %(share)s %% of the time."
    ) % {
        "place": stretch_place(top, system),
        "told": density_told(top, profile, system),
        "hours": f"{rounded(profile.hours)} h",
        "share": rounded(100 * exposure.coverage),
    }


def row_order(row: StripRow) -> tuple[str, float]:
    return (row.strand or "~", row.chainage_m if row.chainage_m is not None else float("inf"))


def small_strips(
    request: Any, conveyors: Iterable[Conveyor], *, now: dt.datetime | None = None
) -> dict[int, StripFigure]:
    """Small strips for the rows of a table, by conveyor; the number of queries does not depend on how many."""
    subject = strip_subject(request, conveyors, now=now)
    layers = layers_of(request, subject)
    figures = {}
    for belt in subject.conveyors:
        layer, places = layers[belt.pk], subject.incidents[belt.pk]
        ticks = incident_ticks(places, subject.system)
        figures[belt.pk] = StripFigure(
            drawing=lay_small_strip(
                belt.length_m, ticks=ticks, devices=layer.devices, zones=layer.zones, gaps=layer.gaps
            ),
            label=small_label(belt, len(layer.devices), len(places)),
            n_incidents=len(places),
            n_not_drawn=len(places) - len(ticks),
        )
    return figures


def small_label(belt: Conveyor, n_devices: int, n_incidents: int) -> str:
    devices = ngettext("%(n)s device", "%(n)s devices", n_devices) % {"n": n_devices}
    incidents = ngettext("%(n)s incident in twelve months", "%(n)s incidents in twelve months", n_incidents)
    return f"{belt.tag}: {devices}, {incidents % {'n': n_incidents}}"
