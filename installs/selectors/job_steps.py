"""A fitting as people see it: its steps with who and when, the next act, what is recorded of isolation."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
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
    left_open,
    offsets_of,
    target_of,
    time_doubts_of,
)
from installs.selectors.torque import FastenerRow, open_fasteners, passed_over, torque_rows
from installs.words.commissioning import adjustment_words, time_doubt_words
from installs.words.torque import fastener_names, passed_words
from plant.calc.wording import figure
from plant.words.moments import moment_words

Point = HoldPoint.Point


@dataclass(frozen=True)
class Act:
    """What can be done next: the name of its page, the hold point where it is one, and the words on the button.

    `pk`: the row that the page is about where that is not the fitting; `why`: what is missing, a sentence in SI units;
    `is_loaded`: of a trial run, how the belt is to run.
    """

    name: str
    words: str
    point: str = ""
    pk: int | None = None
    why: str = ""
    is_loaded: bool = False


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
        return Act("fitting-hand-over", _("Hand over"))
    wanted = next_point(cycle, done_in(points, cycle))
    if wanted == Point.LOCKOUT:
        return Act("fitting-isolation", _("Record the isolation"))
    if wanted in (Point.GUARDS, None) and open_fasteners(torques):
        return Act("torque", _("Sign the torques off"))
    if wanted is not None:
        isolation = isolations.get(cycle)
        if wanted == Point.CLEAR and cycle > 1 and isolation is not None and isolation.adjustment_mm is None:
            return Act("fitting-adjustment", _("Record the adjustment"))
        return Act("fitting-point", _("Confirm: %s") % Point(wanted).label, wanted)
    if acceptance.is_met:
        return Act("fitting-acceptance", _("Accept"))
    return act_after_runs(acceptance, {run.is_loaded: run for run in runs if run.cycle == cycle})


def load_words(is_loaded: bool) -> str:
    return _("loaded") if is_loaded else _("empty")


def is_loaded_next(fitting: Fitting) -> bool:
    """Whether the next run of a job is a loaded one: no run, and no longer run, is asked for empty any more."""
    asked = (Remedy.RUN, Remedy.LONGER_RUN)
    return not any(line.key.startswith("empty") and line.remedy in asked for line in acceptance_of(fitting).lines)


def act_after_runs(acceptance: Acceptance, last: Mapping[bool, TrialRun]) -> Act:
    """What the runs of this cycle leave to do: empty first, and an adjustment only where one is asked for."""
    adjustment = Act("fitting-isolation", _("Record the isolation for an adjustment"))
    for is_loaded in (False, True):
        load = load_words(is_loaded)
        short = {
            line.remedy: line
            for line in acceptance.lines
            if line.verdict == "act" and line.key.startswith("loaded" if is_loaded else "empty")
        }
        if Remedy.RUN in short:
            return Act("fitting-trial-run", _("Record the trial run, %s") % load, is_loaded=is_loaded)
        if Remedy.ADJUSTMENT in short:
            return adjustment
        if Remedy.LONGER_RUN in short:
            why = " ".join(short[each].words for each in (Remedy.LONGER_RUN, Remedy.READING) if each in short)
            words = _("Record a longer trial run, %s") % load
            return Act("fitting-trial-run", words, why=why, is_loaded=is_loaded)
        if Remedy.READING in short:
            words = _("Add the missing reading to the run, %s") % load
            return Act("trial-run-readings", words, pk=last[is_loaded].pk, why=short[Remedy.READING].words)
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
        Act("fitting-trial-run", _("Record a further trial run")),
        Act("fitting-isolation", _("Record an isolation for an adjustment")),
        Act("fitting-acceptance", _("Accept with a reason")),
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
    told = []
    if row.passed_over_reason:
        told.append(_("Passed over: %s") % row.passed_over_reason)
    if row.note:
        told.append(row.note)
    if point == Point.LOCKOUT and isolation is not None:
        told.append(isolation.points)
        told.append(_("People with a lock: %s") % people_words(isolation))
    return Step(
        point,
        label,
        "passed_over" if row.passed_over_reason else "done",
        str(row.confirmed_by),
        row.confirmed_at,
        tuple(told),
        row=row,
    )


def fit_up_step(fitting: Fitting) -> Step:
    """The measures: no hold point, but part of the job."""
    is_measured = getattr(fitting, "fit_up", None) is not None
    words = () if is_measured else (_("Nothing is measured yet."),)
    return Step("fit-up", _("Fit-up sheet"), "done" if is_measured else "open", words=words, url_name="fit-up")


def torque_step(torques: Sequence[FastenerRow], following: Act | None) -> Step:
    """The torques, which the guards wait for: every fastener signed off, or passed over with a reason."""
    wanted = sum(len(row.signed) for row in torques)
    if not wanted:
        return Step("torque", _("Torque sign-off"), "open", words=(_("The model names no fastener."),))
    left, passed = open_fasteners(torques), passed_over(torques)
    n_signed = sum(row.n_signed for row in torques)
    words = [_("%(n)s of %(wanted)s fasteners signed off.") % {"n": n_signed, "wanted": wanted}]
    if left:
        words.append(_("The guards wait for: %s.") % fastener_names(left))
    state = "done" if not passed else "passed_over"
    if left:
        state = "next" if following is not None and following.name == "torque" else "open"
    words += [f"{passed_words(each)}." for each in passed]
    return Step("torque", _("Torque sign-off"), state, words=tuple(words), url_name="torque")


def open_work(fitting: Fitting) -> list[str]:
    """Measures and torques that are still open, as sentences: said at acceptance, offered as open points."""
    return left_open(fitting)


def adjustment_step(isolation: Isolation | None, following: Act | None, is_current: bool) -> Step:
    awaited = is_current and following is not None and following.name == "fitting-adjustment"
    if isolation is None or isolation.adjustment is None:
        return Step("adjustment", _("Adjustment"), "next" if awaited else "open")
    note = (isolation.adjustment_note,) if isolation.adjustment_note else ()
    return Step("adjustment", _("Adjustment"), "done", words=note, measured=(adjustment_words(isolation.adjustment),))


def run_step(run: TrialRun, target_mm: float) -> Step:
    worst = max(offsets_of(run), key=lambda row: abs(row.offset_mm), default=None)
    told = []
    if worst is not None:
        told.append(
            _("Worst offset %(mm)s mm at %(at)s m, wanted at most %(target)s mm; watched for %(min)s min.")
            % {
                "mm": figure(abs(worst.offset_mm)),
                "at": figure(worst.chainage_m),
                "target": figure(target_mm),
                "min": figure(run.minutes),
            }
        )
    label = _("Trial run, loaded") if run.is_loaded else _("Trial run, empty")
    words = [*time_words(run), *([run.note] if run.note else [])]
    state = "passed_over" if run.time_doubts else "done"
    return Step("run", label, state, str(run.created_by), run.started_at, tuple(words), tuple(told), run)


def time_words(run: TrialRun) -> list[str]:
    """What speaks against the times of a run, and why they stand all the same."""
    words = [time_doubt_words(each) for each in time_doubts_of(run)]
    return [*words, _("Confirmed: %s") % run.time_reason] if run.time_reason else words


def doubted_runs(runs: Iterable[TrialRun]) -> list[tuple[str, str]]:
    """The runs whose times are in doubt: which one, and what speaks against them with the reason."""
    return [
        (
            _("%(load)s run of %(when)s, %(who)s")
            % {
                "load": _("Loaded") if run.is_loaded else _("Empty"),
                "when": moment_words(run.started_at),
                "who": run.created_by,
            },
            " ".join(time_words(run)),
        )
        for run in runs
        if run.time_doubts
    ]


def closing_steps(fitting: Fitting, following: Act | None) -> list[Step]:
    name = following.name if following else ""
    accepted = Step("acceptance", _("Acceptance"), "next" if name == "fitting-acceptance" else "open")
    if fitting.accepted_at is not None:
        words = (_("Accepted with a reason: %s") % fitting.accepted_reason,) if fitting.accepted_reason else ()
        state = "passed_over" if fitting.accepted_reason else "done"
        accepted = Step("acceptance", _("Acceptance"), state, str(fitting.accepted_by), fitting.accepted_at, words)
    handed = Step("hand-over", _("Hand-over"), "next" if name == "fitting-hand-over" else "open")
    if fitting.handed_over_at is not None:
        told = [_("To %s.") % fitting.handed_over_to]
        if fitting.open_points:
            told.append(_("Open points: %s") % fitting.open_points)
        handed = Step(
            "hand-over", _("Hand-over"), "done", str(fitting.handed_over_by), fitting.handed_over_at, tuple(told)
        )
    return [accepted, handed]


def people_of_isolation(isolation: Isolation) -> list[str]:
    """Who had a lock on; the others last, as they were typed."""
    names = [str(person) for person in isolation.people.all()]
    return [*names, *([isolation.other_people] if isolation.other_people else [])]


def people_words(isolation: Isolation) -> str:
    return ", ".join(people_of_isolation(isolation))


def words_of_isolation(isolation: Isolation | None) -> str:
    """What the record says of isolation: a statement about the record, never about the belt."""
    if isolation is None:
        return _("No isolation is recorded for this job.")
    known = {
        "cycle": isolation.cycle,
        "who": isolation.isolated_by,
        "when": moment_words(isolation.isolated_at),
        "people": people_words(isolation),
    }
    if isolation.released_at is None:
        return (
            _("Recorded as isolated by %(who)s since %(when)s (cycle %(cycle)s). Locks as recorded: %(people)s.")
            % known
        )
    known |= {"back": moment_words(isolation.released_at), "by": isolation.released_by}
    return _("The locks of cycle %(cycle)s are recorded as handed back since %(back)s, entered by %(by)s.") % known
