"""Where a device could go: what is known of belts, and their places ranked, with a fixed number of queries.

Incidents and running hours are those of the last twelve months. A device that stands out of service does not free its
place: it is put right there, not replaced beside.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import cast

from django.utils import timezone

from installs.calc.belt_cases import BeltCase, Fixture, Logged, OpenCause, Override, SeenIncident, Steered
from installs.calc.candidates import Candidate, candidates, rank
from installs.calc.clearance import PlacementLimits
from installs.calc.effect_zones import StrandCoverage, strand_coverage
from installs.calc.open_causes import CauseRule
from installs.models import CauseOverride, CauseTest, DeviceModel, Installation, LoggedStation, Survey
from installs.selectors.installations import zones_of
from plant.calc.reasons import Reason, Values
from plant.calc.running_hours import Exposure
from plant.models import BeltChange, Conveyor, ConveyorPart, Incident, Plant, Strand
from plant.selectors.incidents import year_until
from plant.selectors.running_hours import ledgers_of

Kind = ConveyorPart.Kind
FIXTURE_KINDS: dict[str, str] = {
    Kind.HEAD_PULLEY: "pulley",
    Kind.TAIL_PULLEY: "pulley",
    Kind.DRIVE_PULLEY: "pulley",
    Kind.SNUB_PULLEY: "pulley",
    Kind.BEND_PULLEY: "pulley",
    Kind.TAKE_UP: "pulley",
    Kind.LOADING_POINT: "loading",
    Kind.SCRAPER: "scraper",
    Kind.BELT_SCALE: "scale",
}
# A survey speaks for the place where it was made; farther off somebody has to measure anew. Own rule.
SURVEY_REACH_M = 2.0


@dataclass(frozen=True)
class BeltStudy:
    """One belt with what is known of it, and the period that is looked at."""

    conveyor: Conveyor
    case: BeltCase
    exposure: Exposure
    since: dt.datetime
    until: dt.datetime
    n_without_strand: int

    def coverage(self) -> dict[str, StrandCoverage]:
        """How much of each strand is reached."""
        found = {}
        for strand in Strand.values:
            positions = [
                float("nan") if each.chainage_m is None else each.chainage_m
                for each in self.case.incidents
                if each.strand == strand
            ]
            found[strand] = strand_coverage(positions, self.case.zones_on(strand), self.case.length_m)
        return found


def limits_of(model: DeviceModel) -> PlacementLimits:
    """What a model's sheet states of the places that it fits."""
    return PlacementLimits(
        name=model.name,
        strand=model.strand,
        suits_reversing=model.suits_reversing,
        belt_width_least_mm=model.belt_width_least_mm,
        belt_width_most_mm=model.belt_width_most_mm,
        speed_least_m_s=model.speed_least_m_s,
        speed_most_m_s=model.speed_most_m_s,
        trough_angle_deg=model.trough_angle_deg,
        clearance_below_mm=model.clearance_below_mm,
        clearance_beside_mm=model.clearance_beside_mm,
        clearance_along_mm=model.clearance_along_mm,
        effect_length_m=model.effect_length_m,
        effect_length_least_m=model.effect_length_least_m,
        effect_length_most_m=model.effect_length_most_m,
    )


def belt_studies(belts: Iterable[Conveyor], now: dt.datetime) -> dict[int, BeltStudy]:
    """What is known of each belt; the number of queries does not depend on how many there are."""
    known = list(belts)
    since, until = year_until(now)
    incidents: dict[int, list[SeenIncident]] = defaultdict(list)
    rows = Incident.objects.current().filter(conveyor__in=known).between(since, until).order_by("happened_at", "pk")
    words = {value: "" if value == Incident.Cause.UNKNOWN else str(label) for value, label in Incident.Cause.choices}
    for at, strand, chainage_m, cause in rows.values_list("conveyor_id", "strand", "chainage_m", "suspected_cause"):
        incidents[at].append(SeenIncident(strand, chainage_m, words[cause]))
    steered: dict[int, list[Steered]] = defaultdict(list)
    standing = Installation.objects.in_place_at(now).filter(conveyor__in=known)
    for each in standing.select_related("plant", "conveyor", "device__device_model", "sheet").order_by("chainage_m"):
        steered[each.conveyor_id] += [
            Steered(f"device {each.device.number}", each.strand, zone) for zone in zones_of(each)
        ]
    fixtures: dict[int, list[Fixture]] = defaultdict(list)
    detectors: dict[int, list[float]] = defaultdict(list)
    for part in ConveyorPart.objects.filter(conveyor__in=known, removed_on__isnull=True):
        if part.kind == Kind.DRIFT_SWITCH:
            detectors[part.conveyor_id].append(part.chainage_m)
        elif part.kind in FIXTURE_KINDS:
            name = str(part).strip()
            fixtures[part.conveyor_id].append(Fixture(FIXTURE_KINDS[part.kind], part.chainage_m, name, part.strand))
    causes = open_causes_of(known)
    logged, overrides = logged_at(known, now), overrides_of(known, now)
    ledgers = ledgers_of(known)
    studies = {}
    for belt in known:
        exposure = ledgers[belt.pk].hours(since, until)
        case = BeltCase(
            length_m=belt.length_m,
            belt_width_mm=belt.belt_width_mm,
            speed_m_s=belt.speed_m_s,
            is_reversing=belt.is_reversing,
            hours=exposure.running_h,
            incidents=tuple(incidents[belt.pk]),
            steered=tuple(steered[belt.pk]),
            fixtures=tuple(fixtures[belt.pk]),
            detectors_m=tuple(detectors[belt.pk]),
            open_causes=causes[belt.pk],
            logged=logged[belt.pk],
            overrides=overrides[belt.pk],
        )
        n_nowhere = sum(each.strand not in Strand.values for each in incidents[belt.pk])
        studies[belt.pk] = BeltStudy(belt, case, exposure, since, until, n_nowhere)
    return studies


def day_at(belts: Sequence[Conveyor], now: dt.datetime) -> dt.date:
    return timezone.localdate(now, timezone=belts[0].plant.zone) if belts else now.date()


def logged_at(belts: Sequence[Conveyor], now: dt.datetime) -> dict[int, tuple[Logged, ...]]:
    """Stations at which people log now."""
    found: dict[int, list[Logged]] = defaultdict(list)
    for row in LoggedStation.objects.filter(conveyor__in=belts).logged_on(day_at(belts, now)):
        found[row.conveyor_id].append(Logged(row.strand, row.chainage_m))
    return {belt.pk: tuple(found[belt.pk]) for belt in belts}


def overrides_of(belts: Sequence[Conveyor], now: dt.datetime) -> dict[int, tuple[Override, ...]]:
    """Reasons of engineers that hold now, the newest first."""
    found: dict[int, list[Override]] = defaultdict(list)
    zones = {belt.pk: belt.plant.zone for belt in belts}
    rows = CauseOverride.objects.filter(conveyor__in=belts).select_related("created_by")
    rows = rows.exclude(ended_on__lte=day_at(belts, now)).order_by("-created_at", "-pk")
    for row in rows:
        who, on = str(row.created_by), timezone.localtime(row.created_at, zones[row.conveyor_id]).date()
        said = Reason(CauseRule.SAID_BY, {"who": who, "on": on})
        found[row.conveyor_id].append(Override(row.strand, row.low_m, row.high_m, row.reason, said))
    return {belt.pk: tuple(found[belt.pk]) for belt in belts}


def open_causes_of(belts: Sequence[Conveyor]) -> dict[int, tuple[OpenCause, ...]]:
    """Causes that the last survey of a place found and that nobody has cured since.

    A later test of the same cause at the same place decides, whatever it found. Where the survey was closed with a
    reason to fit all the same, the reason goes along.
    """
    rows = (
        CauseTest.objects.filter(survey__conveyor__in=belts)
        .exclude(found=CauseTest.Found.NOT_TESTED)
        .select_related("survey")
        .order_by("survey__surveyed_at", "pk")
    )
    last: dict[tuple[int, str, str, float], CauseTest] = {}
    for test in rows:
        at = test.survey
        # Surveys a step apart are of the same place: the chainage is rounded to the reach of a survey.
        last[at.conveyor_id, test.cause, at.strand, round(at.chainage_m / SURVEY_REACH_M)] = test
    found: dict[int, list[OpenCause]] = defaultdict(list)
    zones = {belt.pk: belt.plant.zone for belt in belts}
    for test in last.values():
        if test.found != CauseTest.Found.FOUND:
            continue
        at = test.survey
        low = at.wander_from_m if at.wander_from_m is not None else at.chainage_m
        high = at.wander_to_m if at.wander_to_m is not None else at.chainage_m
        known: Values = {
            "cause": test.get_cause_display(),
            "on": timezone.localtime(at.surveyed_at, zones[at.conveyor_id]).date(),
        }
        cause = Reason(CauseRule.FOUND_AT_SURVEY, known)
        found[at.conveyor_id].append(
            OpenCause(cause, at.strand, min(low, high), max(low, high), at.override_reason.strip())
        )
    return {belt.pk: tuple(found[belt.pk]) for belt in belts}


def models_of(plant: Plant) -> list[DeviceModel]:
    """Models that the plant keeps sheets of."""
    return list(DeviceModel.objects.of_plant(plant))


def belts_in_use(plant: Plant) -> list[Conveyor]:
    return list(Conveyor.objects.of_plant(plant).filter(retired_on__isnull=True).select_related("area", "plant"))


@dataclass(frozen=True)
class RankedPlace:
    """A place of the ranking with its belt."""

    place: int
    study: BeltStudy
    candidate: Candidate


def places_of(study: BeltStudy, models: Sequence[DeviceModel], *, most: int = 3) -> tuple[Candidate, ...]:
    """Places for the next device on one belt, the best first."""
    belt = study.conveyor
    limits = [limits_of(each) for each in models]
    return candidates(belt.pk, study.case, limits, effect_length_m=belt.plant.effect_length_m, most=most)


def ranked_places(plant: Plant, now: dt.datetime, *, most: int = 3) -> list[RankedPlace]:
    """Places for the next device over the whole plant, the best first; `most` of each strand of each belt."""
    studies = belt_studies(belts_in_use(plant), now)
    models = models_of(plant)
    found = rank(each for study in studies.values() for each in places_of(study, models, most=most))
    return [RankedPlace(n, studies[cast(int, each.belt)], each) for n, each in enumerate(found, start=1)]


def measured_at(conveyor: Conveyor, strand: str, chainage_m: float) -> Survey | None:
    """The last survey of this place, if there was one."""
    near = (chainage_m - SURVEY_REACH_M, chainage_m + SURVEY_REACH_M)
    rows = Survey.objects.filter(conveyor=conveyor, strand=strand, chainage_m__range=near)
    return rows.order_by("-surveyed_at").first()


def changes_in_reach(conveyor: Conveyor, since: dt.datetime, low_m: float, high_m: float) -> list[BeltChange]:
    """What the book says of this stretch and of the whole belt since then; newest first."""
    rows = BeltChange.objects.filter(conveyor=conveyor, changed_at__gte=since).order_by("-changed_at")
    return [each for each in rows if each.chainage_m is None or low_m <= each.chainage_m <= high_m]
