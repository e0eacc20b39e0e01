"""What is recorded of a commissioning: hold points, cycles, trial runs, and how they stand against the target."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from installs.calc.adjustments import Convergence, converge
from installs.calc.commissioning import Acceptance, judge_acceptance, permitted_offset_mm
from installs.calc.fit_up_lines import FitUpLine, Verdict
from installs.calc.run_times import Spell, TimeDoubt, TimeRule, doubts_about_time
from installs.calc.trial_runs import Offset, Run
from installs.models import BeltOffset, Fitting, HoldPoint, Isolation, TrialRun
from installs.selectors.fit_up import result_of
from installs.selectors.torque import FastenerRow, torque_rows
from plant.calc.chainage import revolution_time_s

Point = HoldPoint.Point
LONGEST_RUN = dt.timedelta(minutes=1440)  # as the column takes it


def current_points(fitting: Fitting) -> dict[tuple[int, str], HoldPoint]:
    """The hold points that count, by cycle and point."""
    rows = HoldPoint.objects.current().filter(fitting=fitting).select_related("confirmed_by", "photo")
    return {(row.cycle, row.point): row for row in rows}


def current_cycle(fitting: Fitting) -> int:
    """The cycle that the job is in; 1 before anything is recorded."""
    cycles = [
        *fitting.isolations.values_list("cycle", flat=True),
        *HoldPoint.objects.current().filter(fitting=fitting).values_list("cycle", flat=True),
    ]
    return max(cycles, default=1)


def done_in(points: Iterable[tuple[int, str]], cycle: int) -> list[str]:
    return [point for at, point in points if at == cycle]


def current_runs(fitting: Fitting) -> list[TrialRun]:
    """The trial runs that count, in the order in which they were made, with their offsets."""
    rows = TrialRun.objects.current().filter(fitting=fitting).select_related("created_by")
    rows = rows.prefetch_related("belt_offsets__corrected_by", "photos")
    # By cycle, which the hold points tell whatever was entered, then by their ends: the last one watched decides, also
    # where a start cannot be as it was entered.
    return sorted(rows, key=lambda run: (run.cycle, run.ends_at, run.pk))


def offsets_of(run: TrialRun) -> list[BeltOffset]:
    """The offsets of a run that count, from the tail on; those written again at acceptance are the same readings."""
    mine = [row for row in run.belt_offsets.all() if row.counts and row.occasion == BeltOffset.Occasion.TRIAL_RUN]
    return sorted(mine, key=lambda row: row.chainage_m)


def as_run(run: TrialRun) -> Run:
    return Run(
        cycle=run.cycle,
        is_loaded=run.is_loaded,
        minutes=run.minutes,
        offsets=tuple(Offset(row.chainage_m, row.offset_mm) for row in offsets_of(run)),
        touches_structure=run.touches_structure,
        is_noisy=run.is_noisy,
        frame_position=run.frame_position,
        is_time_doubted=bool(run.time_doubts),
    )


def target_of(fitting: Fitting) -> float:
    """The offset that is to be met: the job's own, else the plant's permitted run-off [mm]."""
    if fitting.target_offset_mm is not None:
        return fitting.target_offset_mm
    plant = fitting.plant
    return permitted_offset_mm(
        fitting.conveyor.belt_width_mm, share_pct=plant.runoff_share_pct, most_mm=plant.runoff_most_mm
    )


def acceptance_of(fitting: Fitting, runs: Sequence[TrialRun] | None = None) -> Acceptance:
    """How the trial runs after the last cycle stand against the target."""
    belt = fitting.conveyor
    return judge_acceptance(
        [as_run(run) for run in (current_runs(fitting) if runs is None else runs)],
        cycle=current_cycle(fitting),
        target_mm=target_of(fitting),
        device_m=fitting.chainage_m,
        strand=fitting.strand,
        revolution_s=revolution_time_s(belt.length_m, belt.speed_m_s),
        reversing=belt.is_reversing,
    )


def convergence_of(fitting: Fitting, runs: Sequence[TrialRun] | None = None) -> Convergence:
    """Worst offset by cycle and how the belt answered each adjustment."""
    return converge(
        [as_run(run) for run in (current_runs(fitting) if runs is None else runs)],
        {row.cycle: row.adjustment for row in fitting.isolations.all()},
        device_m=fitting.chainage_m,
        strand=fitting.strand,
    )


def open_isolation(fitting: Fitting) -> Isolation | None:
    """The isolation whose locks are not recorded as handed back."""
    return fitting.isolations.filter(released_at__isnull=True).order_by("-cycle").first()


def doubts_about_run(
    fitting: Fitting, cycle: int, started_at: dt.datetime | None, minutes: float, now: dt.datetime
) -> tuple[TimeDoubt, ...]:
    """Why a run of the job cannot have been watched as it is entered now; empty where it can."""
    begins_at = started_at or now - dt.timedelta(minutes=minutes)
    return doubts_about_time(
        begins_at,
        minutes,
        locks_at=current_points(fitting)[cycle, Point.LOCKS].confirmed_at,
        now=now,
        others=other_runs(fitting, begins_at, begins_at + dt.timedelta(minutes=minutes)),
        is_start_given=started_at is not None,
    )


def other_runs(fitting: Fitting, begins_at: dt.datetime, ends_at: dt.datetime) -> list[Spell]:
    """Trial runs of the same belt around these times, of this job and of others."""
    rows = TrialRun.objects.current().filter(fitting__conveyor=fitting.conveyor, started_at__lt=ends_at)
    rows = rows.filter(started_at__gt=begins_at - LONGEST_RUN).select_related("fitting__conveyor")
    return [
        Spell(row.started_at, row.ends_at, row.is_loaded, "" if row.fitting_id == fitting.pk else str(row.fitting))
        for row in rows.order_by("started_at", "pk")
    ]


def time_doubts_of(run: TrialRun) -> list[TimeDoubt]:
    """The doubts that were found when a run was entered."""
    return [read_doubt(each) for each in run.time_doubts]


def read_doubt(kept: Mapping[str, Any]) -> TimeDoubt:
    moment = dt.datetime.fromisoformat
    other = kept["other"]
    return TimeDoubt(
        TimeRule(kept["rule"]),
        kept["minutes"],
        moment(kept["begins_at"]),
        moment(kept["against"]),
        kept["apart_s"],
        other and Spell(moment(other["begins_at"]), moment(other["ends_at"]), other["is_loaded"], other["job"]),
    )


@dataclass(frozen=True)
class OpenWork:
    """What of the fit-up is not measured or not within its tolerance, and the torques of the job.

    What the model does not state of the fit-up is no open work: no line of it can be judged.
    """

    is_measured: bool = True
    not_measured: tuple[FitUpLine, ...] = ()
    outside: tuple[FitUpLine, ...] = ()
    torques: tuple[FastenerRow, ...] = ()


def left_open(fitting: Fitting) -> OpenWork:
    """What a job leaves open besides its trial runs."""
    result, torques = result_of(fitting), tuple(torque_rows(fitting))
    if result is None:
        return OpenWork(False, torques=torques)
    not_measured, outside = (
        tuple(line for line in result.lines if line.verdict is verdict) for verdict in (Verdict.OPEN, Verdict.OUTSIDE)
    )
    return OpenWork(True, not_measured, outside, torques)
