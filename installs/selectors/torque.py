"""Fasteners of a job: target and tolerance of each, the sign-off that counts, what is open."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from installs.calc.fasteners import (
    TOOL_DEVIATION_PCT,
    AsLeft,
    TorqueTarget,
    doubts_about_tool,
    judge_as_left,
    permissible_deviation_pct,
    torque_target,
)
from installs.models import Fastener, Fitting, Instrument, PassedFastener, TorqueSignOff
from plant.calc.reasons import Reason


@dataclass(frozen=True)
class SignedOff:
    """A sign-off with its verdict."""

    row: TorqueSignOff
    judged: AsLeft


@dataclass(frozen=True)
class FastenerRow:
    """One group of like fasteners: target, tolerance, and for each of them the sign-off that counts, or None.

    `passed`: for each of them why it was passed over, where it was and is not signed off.
    """

    fastener: Fastener
    target: TorqueTarget
    tolerance_pct: float
    signed: tuple[SignedOff | None, ...]
    passed: tuple[PassedFastener | None, ...] = ()

    @property
    def n_signed(self) -> int:
        return sum(each is not None for each in self.signed)

    @property
    def is_done(self) -> bool:
        return self.n_signed == len(self.signed)

    @property
    def open_numbers(self) -> tuple[int, ...]:
        """Which of them are neither signed off nor passed over."""
        pairs = zip(self.signed, self.passed, strict=True)
        return tuple(n for n, (signed, passed) in enumerate(pairs, start=1) if signed is None and passed is None)


def stated_by(fitting: Fitting, fastener: Fastener) -> Mapping[str, Any]:
    """What the model states of a fastener: in the version of its sheet that the job is fitted to, else as it stands."""
    if fitting.sheet:
        for each in fitting.sheet.content.get("fasteners", ()):
            if each.get("place") == fastener.place:
                stated: Mapping[str, Any] = each
                return stated
    return vars(fastener)


def target_for(fitting: Fitting, fastener: Fastener) -> TorqueTarget:
    """The torque to tighten to: the model's own figure, else an estimate, else not stated."""
    stated = stated_by(fitting, fastener)
    return torque_target(
        stated.get("torque_nm"),
        stated.get("thread") or "",
        stated.get("strength_class") or "",
        nut_factor=stated.get("nut_factor"),
        preload_fraction=stated.get("preload_fraction"),
    )


def tolerance_for(fitting: Fitting, fastener: Fastener) -> float:
    return float(stated_by(fitting, fastener).get("tolerance_pct") or fastener.tolerance_pct)


def judged(row: TorqueSignOff, tolerance_pct: float) -> AsLeft:
    """The torque as left against its target, with the deviation of its tool."""
    tool = deviation_of(row.instrument)
    return judge_as_left(row.torque_nm, row.target_nm, tolerance_pct=tolerance_pct, tool_deviation_pct=tool)


def deviation_of(instrument: Instrument | None) -> float:
    """Permissible deviation of a torque tool [%]: as certified, else by its range, else the start value."""
    if instrument is None:
        return TOOL_DEVIATION_PCT
    if instrument.deviation_pct:
        return instrument.deviation_pct
    if instrument.range_most_nm:
        return permissible_deviation_pct(instrument.range_most_nm)
    return TOOL_DEVIATION_PCT


def count_for(fitting: Fitting, fastener: Fastener) -> int:
    return int(stated_by(fitting, fastener).get("count") or fastener.count)


def fasteners_of(fitting: Fitting) -> list[Fastener]:
    """Fasteners of the model that stood on the sheet which the job is fitted to."""
    rows = list(fitting.device_model.fasteners.all())
    if fitting.sheet is None:
        return rows
    return [each for each in rows if each.created_at <= fitting.sheet.created_at]


def torque_rows(fitting: Fitting) -> list[FastenerRow]:
    """Every fastener of the sheet that the job is fitted to, with the sign-off that counts or why it was passed over.

    That is the last one of those that are not withdrawn. A group that the model got after the job began is left out.
    """
    latest: dict[tuple[int, int], TorqueSignOff] = {}
    signed = fitting.torques.current().select_related("instrument", "signed_by")
    for row in signed.order_by("signed_at", "pk"):
        latest[row.fastener_id, row.number] = row
    passed: dict[tuple[int, int], PassedFastener] = {}
    for one in fitting.passed_fasteners.current().select_related("passed_by", "fastener").order_by("passed_at", "pk"):
        passed[one.fastener_id, one.number] = one
    rows = []
    for fastener in fasteners_of(fitting):
        tolerance = tolerance_for(fitting, fastener)
        numbers = range(1, count_for(fitting, fastener) + 1)
        found = [latest.get((fastener.pk, number)) for number in numbers]
        told = tuple(None if row is None else SignedOff(row, judged(row, tolerance)) for row in found)
        left = tuple(
            None if row is not None else passed.get((fastener.pk, number))
            for number, row in zip(numbers, found, strict=True)
        )
        rows.append(FastenerRow(fastener, target_for(fitting, fastener), tolerance, told, left))
    return rows


def open_fasteners(rows: Iterable[FastenerRow]) -> list[tuple[Fastener, int]]:
    """The fasteners that are neither signed off nor passed over."""
    return [(row.fastener, number) for row in rows for number in row.open_numbers]


def settled_fasteners(rows: Iterable[FastenerRow]) -> list[tuple[Fastener, int]]:
    """The fasteners that are signed off or passed over."""
    return [
        (row.fastener, number)
        for row in rows
        for number in range(1, len(row.signed) + 1)
        if number not in row.open_numbers
    ]


def passed_over(rows: Iterable[FastenerRow]) -> list[PassedFastener]:
    """The fasteners that are passed over with a reason and not signed off."""
    return [one for row in rows for one in row.passed if one is not None]


def doubts_about(instrument: Instrument, torque_nm: float, on: dt.date) -> tuple[Reason, ...]:
    """Why an instrument may not sign this torque off on a day of its plant."""
    return doubts_about_tool(
        torque_nm,
        on=on,
        calibration_due_on=instrument.calibration_due_on,
        retired_on=instrument.retired_on,
        range_least_nm=instrument.range_least_nm,
        range_most_nm=instrument.range_most_nm,
    )
