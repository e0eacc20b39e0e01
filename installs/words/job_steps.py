"""A job at a belt in words: its steps, what comes next, and what the record says of isolation."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from enum import StrEnum

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from installs.models import Fitting, HoldPoint, Isolation, TrialRun
from installs.selectors.commissioning import offsets_of, time_doubts_of
from installs.selectors.torque import FastenerRow, open_fasteners, passed_over
from installs.words.commissioning import time_doubt_words
from installs.words.torque import fastener_names, passed_words
from plant.calc.wording import figure
from plant.words.moments import moment_words

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


def act_words(rule: ActRule, point: str = "", *, is_loaded: bool = False) -> str:
    """What can be done, as the button says it."""
    return str(ACT_WORDS[rule]) % {"point": Point(point).label if point else "", "load": load_words(is_loaded)}


def load_words(is_loaded: bool) -> str:
    return _("loaded") if is_loaded else _("empty")


# --- Steps ------------------------------------------------------------------------------------------------------------
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


def worst_offset_words(run: TrialRun, target_mm: float) -> tuple[str, ...]:
    """The worst offset of a run against what is wanted, in SI; nothing where none was read."""
    worst = max(offsets_of(run), key=lambda row: abs(row.offset_mm), default=None)
    if worst is None:
        return ()
    return (
        _("Worst offset %(mm)s mm at %(at)s m, wanted at most %(target)s mm; watched for %(min)s min.")
        % {
            "mm": figure(abs(worst.offset_mm)),
            "at": figure(worst.chainage_m),
            "target": figure(target_mm),
            "min": figure(run.minutes),
        },
    )


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
