"""A job at a belt in words: its steps, what comes next, and what the record says of isolation."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from installs.models import Fitting, HoldPoint, Isolation, TrialRun
from installs.selectors.commissioning import offsets_of, time_doubts_of
from installs.selectors.job_steps import ActRule, NextStep, Step, StepKind
from installs.selectors.torque import FastenerRow, open_fasteners, passed_over
from installs.words.commissioning import CommissioningRule, adjustment_words, commissioning_words, time_doubt_words
from installs.words.torque import fastener_names, passed_words
from plant.calc.reasons import Reason
from plant.calc.units import UnitSystem
from plant.words.moments import moment_words

Point = HoldPoint.Point


ACT_WORDS = {
    ActRule.ISOLATION: gettext_lazy("Record the isolation"),
    ActRule.POINT: gettext_lazy("Confirm: %(point)s"),
    ActRule.TORQUES: gettext_lazy("Sign the torques off"),
    ActRule.ADJUSTMENT: gettext_lazy("Record the adjustment"),
    ActRule.ISOLATION_TO_ADJUST: gettext_lazy("Record the isolation for an adjustment"),
    ActRule.RUN: gettext_lazy("Record the trial run, %(load)s"),
    ActRule.LONGER_RUN: gettext_lazy("Record a longer trial run, %(load)s"),
    ActRule.READING: gettext_lazy("Add the missing reading to the run, %(load)s"),
    ActRule.ACCEPTANCE: gettext_lazy("Accept"),
    ActRule.HAND_OVER: gettext_lazy("Hand over"),
    ActRule.FURTHER_RUN: gettext_lazy("Record a further trial run"),
    ActRule.FURTHER_ISOLATION: gettext_lazy("Record an isolation for an adjustment"),
    ActRule.ACCEPTANCE_WITH_REASON: gettext_lazy("Accept with a reason"),
}


def act_words(act: NextStep) -> str:
    """What can be done, as the button says it."""
    known = {"point": Point(act.point).label if act.point else "", "load": load_words(act.is_loaded)}
    return str(ACT_WORDS[act.rule]) % known


def load_words(is_loaded: bool) -> str:
    return _("loaded") if is_loaded else _("empty")


STEP_WORDS = {
    StepKind.FIT_UP: gettext_lazy("Fit-up sheet"),
    StepKind.TORQUES: gettext_lazy("Torque sign-off"),
    StepKind.ADJUSTMENT: gettext_lazy("Adjustment"),
    StepKind.RUNS_OPEN: gettext_lazy("Trial runs, empty and loaded"),
    StepKind.ACCEPTANCE: gettext_lazy("Acceptance"),
    StepKind.HAND_OVER: gettext_lazy("Hand-over"),
}


# --- Steps ------------------------------------------------------------------------------------------------------------
def step_label(step: Step) -> str:
    """What a line of the job is called."""
    if step.kind is StepKind.POINT:
        return str(Point(step.key).label).capitalize()
    if step.kind is StepKind.RUN:
        return run_label(step.is_loaded)
    if step.kind is StepKind.RUN_AWAITED:
        return _("Trial run, %s") % load_words(step.is_loaded)
    return str(STEP_WORDS[step.kind])


def step_words(step: Step, system: UnitSystem) -> tuple[str, ...]:
    """What stands below a line of the job: first what was measured, then what people wrote."""
    if step.kind is StepKind.POINT:
        return point_words(step.row, step.isolation) if step.row is not None else ()
    if step.kind is StepKind.FIT_UP:
        return () if step.state == "done" else (_("Nothing is measured yet."),)
    if step.kind is StepKind.TORQUES:
        return torque_words(step.torques)
    if step.kind is StepKind.RUN:
        return (*worst_offset_words(step.row, step.target_mm, system), *run_words(step.row))
    if step.isolation is not None and step.isolation.adjustment is not None:
        note = step.isolation.adjustment_note
        return (adjustment_words(step.isolation.adjustment, system), *([note] if note else []))
    if step.fitting is None:
        return ()
    return accepted_words(step.fitting) if step.kind is StepKind.ACCEPTANCE else handed_over_words(step.fitting)


def point_words(row: HoldPoint, isolation: Isolation | None) -> tuple[str, ...]:
    """What stands below a hold point: why it was passed over, its note, and at the lockout points and people."""
    told = []
    if row.passed_over_reason:
        told.append(_("Passed over: %s") % row.passed_over_reason)
    if row.note:
        told.append(row.note)
    if row.point == Point.LOCKOUT and isolation is not None:
        told.append(isolation.points)
        told.append(_("People with a lock: %s") % people_words(isolation))
    return tuple(told)


def torque_words(torques: Sequence[FastenerRow]) -> tuple[str, ...]:
    """How many fasteners are signed off, for which the guards wait, and which were passed over."""
    wanted = sum(len(row.signed) for row in torques)
    if not wanted:
        return (_("The model names no fastener."),)
    words = [
        _("%(n)s of %(wanted)s fasteners signed off.") % {"n": sum(row.n_signed for row in torques), "wanted": wanted}
    ]
    left = open_fasteners(torques)
    if left:
        words.append(_("The guards wait for: %s.") % fastener_names(left))
    return (*words, *(f"{passed_words(each)}." for each in passed_over(torques)))


def run_label(is_loaded: bool) -> str:
    return _("Trial run, loaded") if is_loaded else _("Trial run, empty")


def worst_offset_words(run: TrialRun, target_mm: float, system: UnitSystem) -> tuple[str, ...]:
    """The worst offset of a run against what is wanted; nothing where none was read."""
    worst = max(offsets_of(run), key=lambda row: abs(row.offset_mm), default=None)
    if worst is None:
        return ()
    known = {
        "worst_mm": abs(worst.offset_mm),
        "station_m": worst.chainage_m,
        "target_mm": target_mm,
        "watched_min": run.minutes,
    }
    return (commissioning_words(Reason(CommissioningRule.WORST_OFFSET, known), system),)


def run_words(run: TrialRun) -> tuple[str, ...]:
    """What speaks against the times of a run, and its note."""
    return (*time_words(run), *([run.note] if run.note else []))


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


def accepted_words(fitting: Fitting) -> tuple[str, ...]:
    return (_("Accepted with a reason: %s") % fitting.accepted_reason,) if fitting.accepted_reason else ()


def handed_over_words(fitting: Fitting) -> tuple[str, ...]:
    told = [_("To %s.") % fitting.handed_over_to]
    if fitting.open_points:
        told.append(_("Open points: %s") % fitting.open_points)
    return tuple(told)


# --- Isolation --------------------------------------------------------------------------------------------------------
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
