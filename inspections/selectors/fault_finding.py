"""What the book holds of a device that does not steer, gathered for `calc/suspects.py`."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.utils import timezone

from inspections.calc.grading import Grade
from inspections.calc.suspects import Evidence, GivenAnswer, Sign, Suspect, suspects
from inspections.check_rules.kinds import rule_of
from inspections.models import CheckKind, Reading, Task
from inspections.selectors.wear import DIAMETERS, LEAST_COVERAGE, changes_of, readings_of, sensor_limits, since_new
from installs.calc.closeness import closeness_lines
from installs.calc.effect_zones import overlaps
from installs.calc.placement_rules import PlacementRules
from installs.models import CauseTest, HoldPoint, Installation, PartChange, TrialRun
from installs.selectors.fit_up import result_of
from installs.selectors.installations import zones_of
from installs.selectors.placement import SURVEY_REACH_M, belt_studies
from plant.calc.reasons import reason_kept
from plant.selectors.running_hours import ledger_of


@dataclass(frozen=True)
class Suspicion:
    """All suspects of one device, and checks of the plant's own kinds that found something when last done."""

    installation: Installation
    suspects: tuple[Suspect, ...]
    also_found: tuple[Task, ...]

    @property
    def pointing(self) -> list[Suspect]:
        return [each for each in self.suspects if each.sign is Sign.POINTS]

    @property
    def first_look(self) -> Suspect | None:
        """Where to look first: what something points to, else what nobody has looked at."""
        undecided = [each for each in self.suspects if each.sign is Sign.OPEN]
        return next(iter([*self.pointing, *undecided]), None)


def suspects_at(installation: Installation) -> Suspicion:
    """Ask every suspect of one device."""
    graded = last_graded(installation)
    own = [task for task in graded if rule_of(task.check_kind).has_own_fields and task.grade != Grade.SOUND.value]
    evidence = Evidence(
        pivot=pivot_of(installation),
        torque=next(
            (answer_of(task) for task in graded if task.check_kind.rule == CheckKind.Rule.FASTENER_TORQUE), None
        ),
        **worn(installation),
        **place_of(installation),
        **fitted(installation),
    )
    return Suspicion(installation, suspects(evidence), tuple(own))


def day_of(moment: datetime) -> date:
    return timezone.localtime(moment).date()


def last_graded(installation: Installation) -> list[Task]:
    """The last graded task of each kind of check."""
    rows = Task.objects.done().filter(installation=installation).exclude(grade="").select_related("check_kind")
    last: dict[int, Task] = {}
    for task in rows.order_by("-closed_at", "-pk"):
        last.setdefault(task.check_kind_id, task)
    return list(last.values())


def answer_of(task: Task) -> GivenAnswer:
    assert task.closed_at is not None  # only a check that is done has a grade
    because = reason_kept(task.grade_because) if task.grade_because else None
    return GivenAnswer(task.grade, day_of(task.closed_at), because=because)


def pivot_of(installation: Installation) -> GivenAnswer | None:
    """How the pivot moved when it was last tried, since its last change."""
    changes = PartChange.objects.current().filter(installation=installation, part=PartChange.Part.PIVOT)
    changed_at = changes.order_by("-changed_at").values_list("changed_at", flat=True).first()
    rows = Reading.objects.current().filter(visit__installation=installation, code="pivot").select_related("visit")
    if changed_at is not None:
        rows = rows.filter(visit__visited_at__gt=changed_at)
    # Of one visit the answer as left, which sorts behind the one as found, holds from then on.
    last = rows.order_by("visit__visited_at", "stage", "pk").last()
    return None if last is None else GivenAnswer(last.answer, day_of(last.visit.visited_at))


def worn(installation: Installation) -> dict[str, Any]:
    """Wear and what is left of both sensor rollers at their last reading, and the running hours since the newer one."""
    new_mm, limit_mm = sensor_limits(installation)
    readings, changes = readings_of([installation]), changes_of([installation])
    found: dict[str, Any] = {}
    newest: datetime | None = None
    read_at: datetime | None = None
    for side in DIAMETERS.values():
        key = (installation.pk, side)
        since, _words, diameters = since_new(installation, readings[key], changes[key])
        if not diameters:
            continue
        at, diameter_mm = max(diameters)
        if new_mm is not None:
            found[f"worn_{side}_mm"] = new_mm - diameter_mm
        if limit_mm is not None:
            found[f"left_{side}_mm"] = diameter_mm - limit_mm
        newest, read_at = max(newest or since, since), max(read_at or at, at)
    if newest is None or read_at is None:
        return found
    found["wear_on"] = day_of(read_at)
    if newest < read_at:
        known = ledger_of(installation.conveyor).hours(newest, read_at)
        if known.coverage >= LEAST_COVERAGE:
            found["hours_since_new"] = known.running_h / known.coverage
    return found


def place_of(installation: Installation) -> dict[str, Any]:
    """What stands near, which devices share the zone, and what the survey of the place found of build-up."""
    belt = installation.conveyor
    case = belt_studies([belt], timezone.now())[belt.pk].case
    mine = zones_of(installation)
    others = Installation.objects.in_service().on_strand(belt, installation.strand).exclude(pk=installation.pk)
    shared = [
        other.device.number
        for other in others.select_related("plant", "conveyor", "device__device_model", "sheet")
        if any(overlaps((own, theirs)) for own in mine for theirs in zones_of(other))
    ]
    near = (installation.chainage_m - SURVEY_REACH_M, installation.chainage_m + SURVEY_REACH_M)
    test = (
        CauseTest.objects.filter(
            cause=CauseTest.Cause.SEIZED_ROLLS,
            survey__conveyor=belt,
            survey__strand=installation.strand,
            survey__chainage_m__range=near,
        )
        .exclude(found=CauseTest.Found.NOT_TESTED)
        .select_related("survey")
        .order_by("survey__surveyed_at")
        .last()
    )
    answers = {CauseTest.Found.FOUND: "found", CauseTest.Found.CURED: "not_found", CauseTest.Found.NO_SIGN: "not_found"}
    stated = installation.stated
    return {
        "strand": installation.strand,
        "strand_wanted": stated.get("strand") or "",
        "is_reversing": belt.is_reversing,
        "suits_reversing": bool(stated.get("suits_reversing", True)),
        "close_by": closeness_lines(case, installation.strand, installation.chainage_m, PlacementRules()),
        "overlapping": tuple(shared),
        "carry_back": test
        and GivenAnswer(answers[CauseTest.Found(test.found)], day_of(test.survey.surveyed_at), test.note),
    }


def fitted(installation: Installation) -> dict[str, Any]:
    """What the fitting of the device left behind; nothing where it is not in the book."""
    fitting = getattr(installation, "fitting", None)
    if fitting is None:
        return {}
    found: dict[str, Any] = {}
    point = HoldPoint.objects.current().filter(fitting=fitting, point=HoldPoint.Point.RESTRAINT).last()
    if point is not None:
        value = "passed over" if point.passed_over_reason else "confirmed"
        found["restraint"] = GivenAnswer(value, day_of(point.confirmed_at), point.passed_over_reason or point.note)
    run = TrialRun.objects.current().filter(fitting=fitting).order_by("started_at", "pk").last()
    if run is not None:
        on = day_of(run.started_at)
        found["touched"] = GivenAnswer("touches" if run.touches_structure else "clear", on, run.note)
        found["frame"] = GivenAnswer(run.frame_position, on) if run.frame_position else None
    result = result_of(fitting)
    if result is not None:
        found["fit_up"] = {line.key: line for line in result.lines}
    return found
