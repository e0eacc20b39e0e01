"""A job as its record stands: its steps with who and when, and the act that it waits for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.utils.translation import gettext as _

from installs.calc.commissioning import Acceptance, Convergence, Remedy, next_point, points_of
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
from installs.words.commissioning import adjustment_words
from installs.words.job_steps import (
    ActRule,
    accepted_words,
    act_words,
    handed_over_words,
    load_words,
    point_words,
    run_label,
    run_words,
    torque_words,
    words_of_isolation,
    worst_offset_words,
)

Point = HoldPoint.Point


@dataclass(frozen=True)
class Act:
    """What can be done next: the name of its page, what it is, and the hold point where it is one.

    `pk`: the row that the page is about where that is not the fitting; `why`: what is missing, a sentence in SI units;
    `is_loaded`: of a trial run, how the belt is to run.
    """

    name: str
    rule: ActRule
    point: str = ""
    pk: int | None = None
    why: str = ""
    is_loaded: bool = False

    @property
    def words(self) -> str:
        """As the button says it."""
        return act_words(self.rule, self.point, is_loaded=self.is_loaded)


@dataclass(frozen=True)
class Step:
    """One line of the job: "done", "passed_over", "next" or "open", with who and when."""

    key: str
    label: str
    state: str
    who: str = ""
    when: Any = None
    words: tuple[str, ...] = ()
    # Sentences of the site with quantities in SI, which a page shows in the reader's units.
    measured: tuple[str, ...] = ()
    row: Any = None
    url_name: str = ""


@dataclass(frozen=True)
class Cycle:
    """One isolation with what was done under it and the runs after it."""

    number: int
    isolation: Isolation | None
    steps: tuple[Step, ...]


@dataclass(frozen=True)
class Job:
    """All that the page of a fitting shows of the work."""

    fitting: Fitting
    cycles: tuple[Cycle, ...]
    closing: tuple[Step, ...]
    next: Act | None
    others: tuple[Act, ...]
    runs: tuple[TrialRun, ...]
    acceptance: Acceptance
    convergence: Convergence
    target_mm: float
    isolation_words: str
    is_isolated: bool
    withdrawn: tuple[HoldPoint, ...] = field(default=())

    @property
    def steps(self) -> list[Step]:
        return [*(step for cycle in self.cycles for step in cycle.steps), *self.closing]

    @property
    def n_done(self) -> int:
        return sum(1 for step in self.steps if step.state in ("done", "passed_over"))


def job_of(fitting: Fitting) -> Job:
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
    return Job(
        fitting=fitting,
        cycles=cycles,
        closing=tuple(closing_steps(fitting, following)),
        next=following,
        others=tuple(other_acts(fitting, following, cycle, points)),
        runs=tuple(runs),
        acceptance=acceptance,
        convergence=convergence_of(fitting, runs),
        target_mm=target_of(fitting),
        isolation_words=words_of_isolation(newest),
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
) -> Act | None:
    """The one act that the record waits for."""
    if fitting.given_up_at is not None or fitting.handed_over_at is not None:
        return None
    if fitting.accepted_at is not None:
        return Act("fitting-hand-over", ActRule.HAND_OVER)
    wanted = next_point(cycle, done_in(points, cycle))
    if wanted == Point.LOCKOUT:
        return Act("fitting-isolation", ActRule.ISOLATION)
    if wanted in (Point.GUARDS, None) and open_fasteners(torques):
        return Act("torque", ActRule.TORQUES)
    if wanted is not None:
        isolation = isolations.get(cycle)
        if wanted == Point.CLEAR and cycle > 1 and isolation is not None and isolation.adjustment_mm is None:
            return Act("fitting-adjustment", ActRule.ADJUSTMENT)
        return Act("fitting-point", ActRule.POINT, wanted)
    if acceptance.is_met:
        return Act("fitting-acceptance", ActRule.ACCEPTANCE)
    return act_after_runs(acceptance, {run.is_loaded: run for run in runs if run.cycle == cycle})


def is_loaded_next(fitting: Fitting) -> bool:
    """Whether the next run of a job is a loaded one: no run, and no longer run, is asked for empty any more."""
    asked = (Remedy.RUN, Remedy.LONGER_RUN)
    return not any(line.key.startswith("empty") and line.remedy in asked for line in acceptance_of(fitting).lines)


def act_after_runs(acceptance: Acceptance, last: Mapping[bool, TrialRun]) -> Act:
    """What the runs of this cycle leave to do: empty first, and an adjustment only where one is asked for."""
    adjustment = Act("fitting-isolation", ActRule.ISOLATION_TO_ADJUST)
    for is_loaded in (False, True):
        short = {
            line.remedy: line
            for line in acceptance.lines
            if line.verdict == "act" and line.key.startswith("loaded" if is_loaded else "empty")
        }
        if Remedy.RUN in short:
            return Act("fitting-trial-run", ActRule.RUN, is_loaded=is_loaded)
        if Remedy.ADJUSTMENT in short:
            return adjustment
        if Remedy.LONGER_RUN in short:
            why = " ".join(short[each].words for each in (Remedy.LONGER_RUN, Remedy.READING) if each in short)
            return Act("fitting-trial-run", ActRule.LONGER_RUN, why=why, is_loaded=is_loaded)
        if Remedy.READING in short:
            pk, why = last[is_loaded].pk, short[Remedy.READING].words
            return Act("trial-run-readings", ActRule.READING, pk=pk, why=why, is_loaded=is_loaded)
    return adjustment


def lacking_words(fitting: Fitting, run: TrialRun) -> list[str]:
    """Which reading a run lacks; nothing for a run that another one of its kind followed."""
    alike = [each for each in current_runs(fitting) if (each.cycle, each.is_loaded) == (run.cycle, run.is_loaded)]
    if not alike or alike[-1].pk != run.pk:
        return []
    kind = "loaded" if run.is_loaded else "empty"
    return [
        line.words
        for line in acceptance_of(fitting).lines
        if line.key.startswith(kind) and line.remedy is Remedy.READING
    ]


def other_acts(fitting: Fitting, following: Act | None, cycle: int, points: Any) -> list[Act]:
    """What else may be done now, besides the next act."""
    if following is None or fitting.accepted_at is not None:
        return []
    if next_point(cycle, done_in(points, cycle)) is not None:
        return []
    acts = [
        Act("fitting-trial-run", ActRule.FURTHER_RUN),
        Act("fitting-isolation", ActRule.FURTHER_ISOLATION),
        Act("fitting-acceptance", ActRule.ACCEPTANCE_WITH_REASON),
    ]
    return [act for act in acts if act.name != following.name]


def steps_of(
    fitting: Fitting,
    number: int,
    points: Any,
    isolations: Any,
    runs: list[TrialRun],
    following: Act | None,
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
        steps.append(Step("run", _("Trial run, %s") % load_words(following.is_loaded), "next"))
    elif number == cycle and not mine and fitting.given_up_at is None:
        steps.append(Step("run", _("Trial runs, empty and loaded"), "open"))
    return steps


def point_step(
    point: str, row: HoldPoint | None, isolation: Isolation | None, following: Act | None, is_current: bool
) -> Step:
    label = str(Point(point).label).capitalize()
    if row is None:
        awaited = following is not None and (
            following.point == point or (point == Point.LOCKOUT and following.name == "fitting-isolation")
        )
        return Step(point, label, "next" if awaited and is_current else "open")
    return Step(
        point,
        label,
        "passed_over" if row.passed_over_reason else "done",
        str(row.confirmed_by),
        row.confirmed_at,
        point_words(row, isolation),
        row=row,
    )


def fit_up_step(fitting: Fitting) -> Step:
    """The measures: no hold point, but part of the job."""
    is_measured = getattr(fitting, "fit_up", None) is not None
    words = () if is_measured else (_("Nothing is measured yet."),)
    return Step("fit-up", _("Fit-up sheet"), "done" if is_measured else "open", words=words, url_name="fit-up")


def torque_step(torques: Sequence[FastenerRow], following: Act | None) -> Step:
    """The torques, which the guards wait for: every fastener signed off, or passed over with a reason."""
    if not any(row.signed for row in torques):
        return Step("torque", _("Torque sign-off"), "open", words=torque_words(torques))
    state = "done" if not passed_over(torques) else "passed_over"
    if open_fasteners(torques):
        state = "next" if following is not None and following.name == "torque" else "open"
    return Step("torque", _("Torque sign-off"), state, words=torque_words(torques), url_name="torque")


def adjustment_step(isolation: Isolation | None, following: Act | None, is_current: bool) -> Step:
    awaited = is_current and following is not None and following.name == "fitting-adjustment"
    if isolation is None or isolation.adjustment is None:
        return Step("adjustment", _("Adjustment"), "next" if awaited else "open")
    note = (isolation.adjustment_note,) if isolation.adjustment_note else ()
    return Step("adjustment", _("Adjustment"), "done", words=note, measured=(adjustment_words(isolation.adjustment),))


def run_step(run: TrialRun, target_mm: float) -> Step:
    return Step(
        "run",
        run_label(run.is_loaded),
        "passed_over" if run.time_doubts else "done",
        str(run.created_by),
        run.started_at,
        run_words(run),
        worst_offset_words(run, target_mm),
        run,
    )


def closing_steps(fitting: Fitting, following: Act | None) -> list[Step]:
    name = following.name if following else ""
    accepted = Step("acceptance", _("Acceptance"), "next" if name == "fitting-acceptance" else "open")
    if fitting.accepted_at is not None:
        state, words = "passed_over" if fitting.accepted_reason else "done", accepted_words(fitting)
        accepted = Step("acceptance", _("Acceptance"), state, str(fitting.accepted_by), fitting.accepted_at, words)
    handed = Step("hand-over", _("Hand-over"), "next" if name == "fitting-hand-over" else "open")
    if fitting.handed_over_at is not None:
        who, words = str(fitting.handed_over_by), handed_over_words(fitting)
        handed = Step("hand-over", _("Hand-over"), "done", who, fitting.handed_over_at, words)
    return [accepted, handed]
