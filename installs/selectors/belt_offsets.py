"""Belt offsets by occasion, the stations to measure at, and how much of it a plant permits."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.utils import timezone

from installs.calc.belt_offsets import OffsetSummary, propose_stations, summarise
from installs.calc.commissioning import permitted_offset_mm
from installs.models import BeltOffset, Installation
from plant.calc.units import QuantityKind, UnitSystem, factor_of, shown_in
from plant.models import Conveyor

DAYS_A_MONTH = 30.44
Occasion = BeltOffset.Occasion
TONES = {Occasion.SURVEY.value: "before", Occasion.ACCEPTANCE.value: "accepted"}
ORDER = {"before": 0, "accepted": 1, "later": 2}


@dataclass(frozen=True)
class OffsetOccasion:
    """The readings of one occasion under both loads, by station.

    `months` since the installation for a follow-up of one; `of_installation`: they are told beside others of it.
    """

    occasion: str
    day: dt.date
    by_place: dict[tuple[float, bool], float]
    months: int | None = None
    of_installation: bool = False

    @property
    def tone(self) -> str:
        """Before the device, when it was accepted, or later."""
        return TONES.get(self.occasion, "later")

    def summary(self) -> OffsetSummary | None:
        return summarise(self.by_place.values())


@dataclass(frozen=True)
class OffsetChange:
    """How far the belt lay off at the first and at the last occasion, at the places measured both times."""

    first: OffsetOccasion
    last: OffsetOccasion
    n_places: int
    before: OffsetSummary | None
    after: OffsetSummary | None

    @property
    def is_known(self) -> bool:
        return self.first is not self.last and self.before is not None and self.after is not None


def occasions_of(rows: Iterable[BeltOffset], installation: Installation | None = None) -> list[OffsetOccasion]:
    """Rows by occasion in the order of time; follow-ups count whole months since the installation."""
    found: dict[tuple[str, dt.date | None], OffsetOccasion] = {}
    for row in sorted(rows, key=lambda each: each.taken_at):
        day = timezone.localtime(row.taken_at).date()
        # The runs of an acceptance may lie on two days and are one occasion.
        key = (row.occasion, None if row.occasion == Occasion.ACCEPTANCE else day)
        if key not in found:
            months = None
            if row.occasion == Occasion.FOLLOW_UP and installation is not None:
                since = timezone.localtime(installation.installed_at).date()
                months = max(round((day - since).days / DAYS_A_MONTH), 0)
            found[key] = OffsetOccasion(row.occasion, day, {}, months, of_installation=installation is not None)
        found[key].by_place[row.chainage_m, row.is_loaded] = row.offset_mm
    return sorted(found.values(), key=lambda each: (each.day, ORDER[each.tone]))


def change_of(occasions: Sequence[OffsetOccasion]) -> OffsetChange | None:
    """From the first occasion to the last; None where nothing was measured."""
    if not occasions:
        return None
    first, last = occasions[0], occasions[-1]
    shared = sorted(set(first.by_place) & set(last.by_place))
    return OffsetChange(
        first,
        last,
        len(shared),
        summarise(first.by_place[place] for place in shared),
        summarise(last.by_place[place] for place in shared),
    )


def stations_around(
    conveyor: Conveyor,
    strand: str,
    chainage_m: float,
    effect_length_m: float,
    *,
    system: UnitSystem = UnitSystem.METRIC,
) -> tuple[float, ...]:
    """Stations to measure at around a place [m], at whole metres or feet; a belt may have been shortened since."""
    return propose_stations(
        strand,
        min(chainage_m, conveyor.length_m),
        effect_length_m,
        conveyor.length_m,
        reversing=conveyor.is_reversing,
        step_m=float(factor_of(QuantityKind.DISTANCE_M, shown_in(QuantityKind.DISTANCE_M, system).unit.pint_name)),
    )


def stations_of(installation: Installation) -> tuple[float, ...]:
    """Stations to measure at again: those of its survey, else of its acceptance, else proposed ones [m]."""
    return stations_of_each([installation])[installation.pk]


def stations_of_each(installations: Iterable[Installation]) -> dict[int, tuple[float, ...]]:
    """The stations of several devices, by pk; one query."""
    places = {each.pk: each for each in installations}
    known: dict[tuple[int, str], set[float]] = defaultdict(set)
    rows = BeltOffset.objects.current().of_installations(places)
    for own, planned, occasion, chainage_m in rows.values_list(
        "installation", "survey__fittings__installation", "occasion", "chainage_m"
    ).order_by():
        for pk in {own, planned} & places.keys():
            known[pk, occasion].add(chainage_m)

    def stations(each: Installation) -> tuple[float, ...]:
        for occasion in (BeltOffset.Occasion.SURVEY, BeltOffset.Occasion.ACCEPTANCE):
            if (each.pk, occasion.value) in known:
                return tuple(sorted(known[each.pk, occasion.value]))
        return stations_around(each.conveyor, each.strand, each.chainage_m, each.effect_length_m)

    return {pk: stations(each) for pk, each in places.items()}


def permitted_on(conveyor: Conveyor) -> float:
    """Permitted run-off of a belt by the plant's settings [mm]."""
    plant = conveyor.plant
    return permitted_offset_mm(conveyor.belt_width_mm, share_pct=plant.runoff_share_pct, most_mm=plant.runoff_most_mm)
