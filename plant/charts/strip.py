"""The strip: a conveyor unrolled, with what stands on it and what happened there; large, tall and small.

What apps above add comes as layers (`plant.panels.strip_of` gathers them). A layer adds

* `devices`, `zones`, `gaps`: shapes of `plant.calc.strip`, whose names are read out and shown on hover;
* `grades`: device key -> (tone, words) for devices that another layer added; the worst tone wins, all words are kept;
* `sentences`: whole sentences that belong to the belt's first paragraph ("23 of 38 incidents lie where ...");
* `rows`: lines of the table that says the same as the drawing.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from django.urls import reverse
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from plant.calc.density import Density, density
from plant.calc.running_hours import Exposure
from plant.calc.strip import lay_small_strip, lay_strip
from plant.calc.strip_shapes import Strip, StripBar, StripDevice, StripPart, StripStretch, StripTick
from plant.calc.strip_tall import lay_tall_strip
from plant.calc.units import UnitSystem
from plant.models import Conveyor, ConveyorPart, Strand
from plant.selectors.incidents import IncidentPlace
from plant.words.incidents import when_words
from plant.words.places import place_words
from plant.words.strip import density_name, density_sentence, density_told, part_words, small_label, stretch_place

TONES = ("ink", "sound", "watch", "act")  # from saying nothing to worst


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


def row_order(row: StripRow) -> tuple[str, float]:
    return (row.strand or "~", row.chainage_m if row.chainage_m is not None else float("inf"))


def merged(layers: Sequence[StripLayer]) -> StripLayer:
    """What several apps add to one conveyor, in one layer, with the grades set on their devices."""
    grades: dict[int, list[tuple[str, str]]] = {}
    for layer in layers:
        for key, grade in layer.grades.items():
            grades.setdefault(key, []).append(grade)
    return StripLayer(
        devices=tuple(graded(each, grades.get(each.key, ())) for layer in layers for each in layer.devices),
        zones=tuple(each for layer in layers for each in layer.zones),
        gaps=tuple(each for layer in layers for each in layer.gaps),
        sentences=tuple(each for layer in layers for each in layer.sentences),
        rows=tuple(each for layer in layers for each in layer.rows),
    )


def density_of(conveyor: Conveyor, places: Iterable[IncidentPlace], hours: float) -> Density:
    """Incidents whose strand and place are known, along the belt."""
    on: dict[str, list[float]] = {strand: [] for strand in Strand.values}
    for each in places:
        if each.chainage_m is not None and each.strand in on:
            on[each.strand].append(each.chainage_m)
    return density(on, conveyor.length_m, hours)


def draw_strip(
    conveyor: Conveyor,
    *,
    parts: Sequence[ConveyorPart],
    places: Sequence[IncidentPlace],
    exposure: Exposure,
    layer: StripLayer,
    system: UnitSystem,
) -> StripFigure:
    """The large strip of one conveyor: its parts, its incidents in running hours, and what apps above add."""
    ticks = incident_ticks(places, system)
    profile = density_of(conveyor, places, exposure.running_h)
    given: dict[str, Any] = {
        "parts": [StripPart(each.kind, each.chainage_m, part_words(each, system), each.strand) for each in parts],
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
    rows = [*table_rows(parts, places, profile, system), *layer.rows]
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


def table_rows(
    parts: Sequence[ConveyorPart], places: Sequence[IncidentPlace], profile: Density, system: UnitSystem
) -> list[StripRow]:
    """What the strip shows, as rows of the table below it."""
    rows = [
        StripRow(
            each.strand,
            each.chainage_m,
            place_words(each.strand, each.chainage_m, system),
            capfirst(str(each)),
            each.note,
        )
        for each in parts
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
    return rows


def draw_small_strip(
    belt: Conveyor, *, places: Sequence[IncidentPlace], layer: StripLayer, system: UnitSystem
) -> StripFigure:
    """A small strip for the row of a table."""
    ticks = incident_ticks(places, system)
    return StripFigure(
        drawing=lay_small_strip(belt.length_m, ticks=ticks, devices=layer.devices, zones=layer.zones, gaps=layer.gaps),
        label=small_label(belt, len(layer.devices), len(places)),
        n_incidents=len(places),
        n_not_drawn=len(places) - len(ticks),
    )
