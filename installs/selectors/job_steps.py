"""A job as its record stands: its steps with who and when, and the act that it waits for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from installs.calc.adjustments import Convergence
from installs.calc.commissioning import Acceptance, LineRemedy, next_point, points_of
from installs.models import Fitting, HoldPoint, Isolation, TrialRun
from installs.selectors.commissioning import (
    acceptance_of,
    convergence_of,
    current_cycle,
    current_points,
    current_runs,
    done_in,
    target_of,
)
from installs.selectors.torque import FastenerRow, open_fasteners, passed_over, torque_rows
from plant.calc.reasons import Reason

Point = HoldPoint.Point


class ActRule(StrEnum):
    """What can be done at a job."""

    ISOLATION = "isolation"
    POINT = "point"
    TORQUES = "torques"
    ADJUSTMENT = "adjustment"
    ISOLATION_TO_ADJUST = "isolation_to_adjust"
    RUN = "run"
    LONGER_RUN = "longer_run"
    READING = "reading"
    ACCEPTANCE = "acceptance"
    HAND_OVER = "hand_over"
    FURTHER_RUN = "further_run"
    FURTHER_ISOLATION = "further_isolation"
    ACCEPTANCE_WITH_REASON = "acceptance_with_reason"


@dataclass(frozen=True)
class NextStep:
    """What can be done next: the name of its page, what it is, and the hold point where it is one.

    `pk`: the row that the page is about where that is not the fitting; `why`: what is missing; `is_loaded`: of a trial
    run, how the belt is to run.
    """

    name: str
    rule: ActRule
    point: str = ""
    pk: int | None = None
    why: tuple[Reason, ...] = ()
    is_loaded: bool = False


class StepKind(StrEnum):
    """What a line of the job is about."""

    POINT = "point"
    FIT_UP = "fit_up"
    TORQUES = "torques"
    ADJUSTMENT = "adjustment"
    RUN = "run"
    RUN_AWAITED = "run_awaited"
    RUNS_OPEN = "runs_open"
    ACCEPTANCE = "acceptance"
    HAND_OVER = "hand_over"


@dataclass(frozen=True)
class Step:
    """One line of the job: "done", "passed_over", "next" or "open", with who and when, and what its words need.

    `row`: the hold point or the trial run that was recorded. `is_loaded`: of a run that is awaited. `target_mm`: of a
    run, what its worst offset is held against.
    """

    kind: StepKind
    key: str
    state: str
    who: str = ""
    when: Any = None
    row: Any = None
    url_name: str = ""
    isolation: Isolation | None = None
    torques: Sequence[FastenerRow] = ()
    is_loaded: bool = False
    target_mm: float = 0.0
    fitting: Fitting | None = None


@dataclass(frozen=True)
class Cycle:
    """One isolation with what was done under it and the runs after it."""

    number: int
    isolation: Isolation | None
    steps: tuple[Step, ...]


@dataclass(frozen=True)
class FittingWork:
    """All that the page of a fitting shows of the work."""

    fitting: Fitting
    cycles: tuple[Cycle, ...]
    closing: tuple[Step, ...]
    next: NextStep | None
    others: tuple[NextStep, ...]
    runs: tuple[TrialRun, ...]
    acceptance: Acceptance
    convergence: Convergence
    target_mm: float
    isolation: Isolation | None
    is_isolated: bool
    withdrawn: tuple[HoldPoint, ...] = field(default=())

    @property
    def steps(self) -> list[Step]:
        return [*(step for cycle in self.cycles for step in cycle.steps), *self.closing]

    @property
    def n_done(self) -> int:
        return sum(1 for step in self.steps if step.state in ("done", "passed_over"))


def job_of(fitting: Fitting) -> FittingWork:
    """The job as its record stands."""
    points, cycle, runs = current_points(fitting), current_cycle(fitting), current_runs(fitting)
    isolations = {
        row.cycle: row
        for row in fitting.isolations.select_related("isolated_by", "released_by").prefetch_related("people")
    }
    acceptance, torques = acceptance_of(fitting, runs), torque_rows(fitting)
    following = next_act(fitting, points, cycle, isolations, runs, acceptance, torques)
    cycles = tuple(
        Cycle(
            number,
            isolations.get(number),
            tuple(steps_of(fitting, number, points, isolations, runs, following, cycle, torques)),
        )
        for number in range(1, cycle + 1)
    )
    newest = isolations.get(max(isolations)) if isolations else None
    wrong = HoldPoint.objects.filter(fitting=fitting).exclude(pk__in=[row.pk for row in points.values()])
    return FittingWork(
        fitting=fitting,
        cycles=cycles,
        closing=tuple(closing_steps(fitting, following)),
        next=following,
        others=tuple(other_acts(fitting, following, cycle, points)),
        runs=tuple(runs),
        acceptance=acceptance,
        convergence=convergence_of(fitting, runs),
        target_mm=target_of(fitting),
        isolation=newest,
        is_isolated=newest is not None and newest.released_at is None,
        withdrawn=tuple(wrong.select_related("confirmed_by", "corrected_by__created_by")),
    )


def next_act(
    fitting: Fitting,
    points: Any,
    cycle: int,
    isolations: Any,
    runs: list[TrialRun],
    acceptance: Acceptance,
    torques: Sequence[FastenerRow],
) -> NextStep | None:
    """The one act that the record waits for."""
    if fitting.given_up_at is not None or fitting.handed_over_at is not None:
        return None
    if fitting.accepted_at is not None:
        return NextStep("fitting-hand-over", ActRule.HAND_OVER)
    wanted = next_point(cycle, done_in(points, cycle))
    if wanted == Point.LOCKOUT:
        return NextStep("fitting-isolation", ActRule.ISOLATION)
    if wanted in (Point.GUARDS, None) and open_fasteners(torques):
        return NextStep("torque", ActRule.TORQUES)
    if wanted is not None:
        isolation = isolations.get(cycle)
        if wanted == Point.CLEAR and cycle > 1 and isolation is not None and isolation.adjustment_mm is None:
            return NextStep("fitting-adjustment", ActRule.ADJUSTMENT)
        return NextStep("fitting-point", ActRule.POINT, wanted)
    if acceptance.is_met:
        return NextStep("fitting-acceptance", ActRule.ACCEPTANCE)
    return act_after_runs(acceptance, {run.is_loaded: run for run in runs if run.cycle == cycle})


def is_loaded_next(fitting: Fitting) -> bool:
    """Whether the next run of a job is a loaded one: no run, and no longer run, is asked for empty any more."""
    asked = (LineRemedy.RUN, LineRemedy.LONGER_RUN)
    return not any(line.key.startswith("empty") and line.remedy in asked for line in acceptance_of(fitting).lines)


def act_after_runs(acceptance: Acceptance, last: Mapping[bool, TrialRun]) -> NextStep:
    """What the runs of this cycle leave to do: empty first, and an adjustment only where one is asked for."""
    adjustment = NextStep("fitting-isolation", ActRule.ISOLATION_TO_ADJUST)
    for is_loaded in (False, True):
        short = {
            line.remedy: line
            for line in acceptance.lines
            if line.verdict == "act" and line.key.startswith("loaded" if is_loaded else "empty")
        }
        if LineRemedy.RUN in short:
            return NextStep("fitting-trial-run", ActRule.RUN, is_loaded=is_loaded)
        if LineRemedy.ADJUSTMENT in short:
            return adjustment
        if LineRemedy.LONGER_RUN in short:
            why = tuple(short[each].why for each in (LineRemedy.LONGER_RUN, LineRemedy.READING) if each in short)
            return NextStep("fitting-trial-run", ActRule.LONGER_RUN, why=why, is_loaded=is_loaded)
        if LineRemedy.READING in short:
            pk, why = last[is_loaded].pk, (short[LineRemedy.READING].why,)
            return NextStep("trial-run-readings", ActRule.READING, pk=pk, why=why, is_loaded=is_loaded)
    return adjustment


def lacking_reasons(fitting: Fitting, run: TrialRun) -> list[Reason]:
    """Which reading a run lacks; nothing for a run that another one of its kind followed."""
    alike = [each for each in current_runs(fitting) if (each.cycle, each.is_loaded) == (run.cycle, run.is_loaded)]
    if not alike or alike[-1].pk != run.pk:
        return []
    kind = "loaded" if run.is_loaded else "empty"
    return [
        line.why
        for line in acceptance_of(fitting).lines
        if line.key.startswith(kind) and line.remedy is LineRemedy.READING
    ]


def other_acts(fitting: Fitting, following: NextStep | None, cycle: int, points: Any) -> list[NextStep]:
    """What else may be done now, besides the next act."""
    if following is None or fitting.accepted_at is not None:
        return []
    if next_point(cycle, done_in(points, cycle)) is not None:
        return []
    acts = [
        NextStep("fitting-trial-run", ActRule.FURTHER_RUN),
        NextStep("fitting-isolation", ActRule.FURTHER_ISOLATION),
        NextStep("fitting-acceptance", ActRule.ACCEPTANCE_WITH_REASON),
    ]
    return [act for act in acts if act.name != following.name]


def steps_of(
    fitting: Fitting,
    number: int,
    points: Any,
    isolations: Any,
    runs: list[TrialRun],
    following: NextStep | None,
    cycle: int,
    torques: Sequence[FastenerRow],
) -> list[Step]:
    steps = []
    for point in points_of(number):
        if number == 1 and point == Point.RESTRAINT:
            steps.append(fit_up_step(fitting))
        if number == 1 and point == Point.GUARDS:
            steps.append(torque_step(torques, following))
        if number > 1 and point == Point.CLEAR:
            steps.append(adjustment_step(isolations.get(number), following, number == cycle))
        steps.append(point_step(point, points.get((number, point)), isolations.get(number), following, number == cycle))
    mine = [run for run in runs if run.cycle == number]
    steps += [run_step(run, target_of(fitting)) for run in mine]
    if number == cycle and following is not None and following.name == "fitting-trial-run":
        steps.append(Step(StepKind.RUN_AWAITED, "run", "next", is_loaded=following.is_loaded))
    elif number == cycle and not mine and fitting.given_up_at is None:
        steps.append(Step(StepKind.RUNS_OPEN, "run", "open"))
    return steps


def point_step(
    point: str, row: HoldPoint | None, isolation: Isolation | None, following: NextStep | None, is_current: bool
) -> Step:
    if row is None:
        awaited = following is not None and (
            following.point == point or (point == Point.LOCKOUT and following.name == "fitting-isolation")
        )
        return Step(StepKind.POINT, point, "next" if awaited and is_current else "open")
    state = "passed_over" if row.passed_over_reason else "done"
    who, when = str(row.confirmed_by), row.confirmed_at
    return Step(StepKind.POINT, point, state, who, when, row, isolation=isolation)


def fit_up_step(fitting: Fitting) -> Step:
    """The measures: no hold point, but part of the job."""
    is_measured = getattr(fitting, "fit_up", None) is not None
    return Step(StepKind.FIT_UP, "fit-up", "done" if is_measured else "open", url_name="fit-up")


def torque_step(torques: Sequence[FastenerRow], following: NextStep | None) -> Step:
    """The torques, which the guards wait for: every fastener signed off, or passed over with a reason."""
    if not any(row.signed for row in torques):
        return Step(StepKind.TORQUES, "torque", "open", torques=torques)
    state = "done" if not passed_over(torques) else "passed_over"
    if open_fasteners(torques):
        state = "next" if following is not None and following.name == "torque" else "open"
    return Step(StepKind.TORQUES, "torque", state, url_name="torque", torques=torques)


def adjustment_step(isolation: Isolation | None, following: NextStep | None, is_current: bool) -> Step:
    awaited = is_current and following is not None and following.name == "fitting-adjustment"
    if isolation is None or isolation.adjustment is None:
        return Step(StepKind.ADJUSTMENT, "adjustment", "next" if awaited else "open")
    return Step(StepKind.ADJUSTMENT, "adjustment", "done", isolation=isolation)


def run_step(run: TrialRun, target_mm: float) -> Step:
    state = "passed_over" if run.time_doubts else "done"
    who = str(run.created_by)
    return Step(StepKind.RUN, "run", state, who, run.started_at, run, is_loaded=run.is_loaded, target_mm=target_mm)


def closing_steps(fitting: Fitting, following: NextStep | None) -> list[Step]:
    name = following.name if following else ""
    accepted = Step(StepKind.ACCEPTANCE, "acceptance", "next" if name == "fitting-acceptance" else "open")
    if fitting.accepted_at is not None:
        state, who = "passed_over" if fitting.accepted_reason else "done", str(fitting.accepted_by)
        accepted = Step(StepKind.ACCEPTANCE, "acceptance", state, who, fitting.accepted_at, fitting=fitting)
    handed = Step(StepKind.HAND_OVER, "hand-over", "next" if name == "fitting-hand-over" else "open")
    if fitting.handed_over_at is not None:
        who, when = str(fitting.handed_over_by), fitting.handed_over_at
        handed = Step(StepKind.HAND_OVER, "hand-over", "done", who, when, fitting=fitting)
    return [accepted, handed]
