"""What an adjustment does to the sum of the sensor gaps, and how the belt answers it.

Offsets are in millimetres, positive towards the drive side.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from installs.calc.trial_runs import Offset, Run, sides_of_device, worst_of
from plant.calc.reasons import Reason, Value

EQUAL_WITHIN_MM = 1.0  # two readings of a tape (1/32 in each) may differ by this much
ANSWER_MM = 3.0  # a belt that moved by less has not answered: reading error of an offset, common practice
WRONG_MOVES_TO_STOP = 2  # common practice


@dataclass(frozen=True)
class Adjustment:
    """What was moved in one cycle, as it was read on both sides [mm].

    `in_drive_mm`: in on the drive side, negative where it was moved out. `out_off_mm`: out on the off side, negative
    where it was moved in; None where nobody kept it.
    """

    in_drive_mm: float
    out_off_mm: float | None = None

    @property
    def is_move(self) -> bool:
        """Whether anything was moved on either side."""
        return bool(self.in_drive_mm or self.out_off_mm)

    @property
    def sum_change_mm(self) -> float | None:
        """By how much the sum of the sensor gaps became wider; negative: narrower [mm]."""
        return None if self.out_off_mm is None else self.out_off_mm - self.in_drive_mm


class Balance(StrEnum):
    """What an adjustment does to the sum of the sensor gaps."""

    NOT_MOVED = "not_moved"
    KEPT = "kept"
    WITHIN_READING = "within_reading"
    CHANGED = "changed"
    NOT_KNOWN = "not_known"


class AdjustmentRule(StrEnum):
    """What was moved on one side, and what only one side tells."""

    DRIVE_IN = "adjustment.drive_in"
    DRIVE_OUT = "adjustment.drive_out"
    DRIVE_STAYED = "adjustment.drive_stayed"
    OFF_IN = "adjustment.off_in"
    OFF_OUT = "adjustment.off_out"
    OFF_STAYED = "adjustment.off_stayed"


class GapChange(StrEnum):
    """Which way the sum of the sensor gaps went."""

    WIDER = "wider"
    NARROWER = "narrower"


class OffsetRule(StrEnum):
    """An offset with its sign: positive towards the drive side."""

    DRIVE = "offset.drive"
    OFF = "offset.off"


class AnswerRule(StrEnum):
    """What the moves of a job and the belt's answers to them come to."""

    STOP = "answer.stop"
    NOTHING_COMPARED = "answer.nothing_compared"
    RIGHT = "answer.right"
    WRONG = "answer.wrong"
    NONE = "answer.none"


@dataclass(frozen=True)
class Move:
    """One adjustment and how the belt answered: at the station that lay worst before, before and after [mm]."""

    cycle: int
    adjustment: Adjustment
    chainage_m: float
    before_mm: float
    after_mm: float
    answer: Literal["right", "wrong", "none"]


@dataclass(frozen=True)
class CycleWorst:
    """The worst offset after a cycle, of its loaded run where there is one; None where nothing was measured."""

    cycle: int
    adjustment: Adjustment | None
    is_loaded: bool
    worst: Offset | None


@dataclass(frozen=True)
class Convergence:
    """Worst offset by cycle, the moves with their answers, and whether adjusting must stop."""

    cycles: tuple[CycleWorst, ...]
    moves: tuple[Move, ...]
    must_stop: bool
    advice: Reason


def judge_adjustment(adjustment: Adjustment) -> Balance:
    """In on one side and out on the other by the same amount keeps the sum of the sensor gaps.

    Parameters
    ----------
    adjustment : Adjustment
        As it was read on both sides [mm].

    Returns
    -------
    Balance
        KEPT where both are equal; WITHIN_READING where they differ by at most 1 mm, as two readings of a tape may;
        CHANGED beyond that, by `adjustment.sum_change_mm`.

    Examples
    --------
    >>> [judge_adjustment(Adjustment(6, off)).value for off in (6, 7, 3)]
    ['kept', 'within_reading', 'changed']
    """
    change = adjustment.sum_change_mm
    if change is None:
        return Balance.NOT_KNOWN if adjustment.is_move else Balance.NOT_MOVED
    if not adjustment.is_move:
        return Balance.NOT_MOVED
    if change == 0:
        return Balance.KEPT
    return Balance.WITHIN_READING if abs(change) <= EQUAL_WITHIN_MM else Balance.CHANGED


def what_was_moved(adjustment: Adjustment) -> Reason:
    """What was moved on each side, and what that does to the sum of the sensor gaps.

    Parameters
    ----------
    adjustment : Adjustment
        As it was read on both sides [mm].

    Returns
    -------
    Reason
        Its rule is the balance; `drive` and `off` say what was moved there.

    Examples
    --------
    >>> what_was_moved(Adjustment(6, 3)).values["change_mm"]
    3
    """
    balance, change = judge_adjustment(adjustment), adjustment.sum_change_mm
    if balance is Balance.NOT_MOVED:
        return Reason(balance)
    drive_mm, off_mm = adjustment.in_drive_mm, adjustment.out_off_mm
    rules = (AdjustmentRule.DRIVE_IN, AdjustmentRule.DRIVE_OUT, AdjustmentRule.DRIVE_STAYED)
    drive = _moved(drive_mm, *rules)
    if off_mm is None or change is None:
        return Reason(balance, {"drive": drive})
    off = _moved(-off_mm, AdjustmentRule.OFF_IN, AdjustmentRule.OFF_OUT, AdjustmentRule.OFF_STAYED)
    way = GapChange.WIDER if change > 0 else GapChange.NARROWER
    return Reason(balance, {"drive": drive, "off": off, "change_mm": abs(change), "way": way})


def _moved(inwards_mm: float, came_in: AdjustmentRule, went_out: AdjustmentRule, stayed: AdjustmentRule) -> Reason:
    if not inwards_mm:
        return Reason(stayed)
    return Reason(came_in if inwards_mm > 0 else went_out, {"moved_mm": abs(inwards_mm)})


def converge(
    runs: Sequence[Run], adjustments: Mapping[int, Adjustment | None], *, device_m: float, strand: str
) -> Convergence:
    """Worst offset by cycle, and whether the belt answers the adjustments the right way.

    A move is meant to bring the belt back towards its centre line. The belt has answered the wrong way when, at the
    station that lay furthest off before, it lies further to the same side afterwards by more than the reading error.
    Where it crossed the centre line it has answered the right way, however far. Runs of the same kind are compared,
    loaded ones first; stations downstream of the device first, because that is where it steers.

    Parameters
    ----------
    runs : sequence of Run
        All trial runs of the job in their order; of each kind the last after a cycle counts.
    adjustments : mapping of int to Adjustment or None
        What was moved in each cycle; None: nothing is recorded. A move on one side alone is a move.
    device_m : float
        Chainage of the device [m].
    strand : {"carry", "return"}
        Strand of the device.

    Returns
    -------
    Convergence
        `must_stop` after two moves with a wrong answer: the device is mirrored, the direction is reversed, or the
        cause lies elsewhere.
    """
    last: dict[tuple[int, bool], Run] = {(run.cycle, run.is_loaded): run for run in runs}
    numbers = sorted({cycle for cycle, _loaded in last} | set(adjustments))
    cycles = []
    for cycle in numbers:
        run = last.get((cycle, True)) or last.get((cycle, False))
        cycles.append(
            CycleWorst(
                cycle, adjustments.get(cycle), bool(run and run.is_loaded), worst_of(run.offsets) if run else None
            )
        )
    moves = []
    for cycle in numbers:
        moved = adjustments.get(cycle)
        move = _answer(last, numbers, cycle, moved, device_m, strand) if moved and moved.is_move else None
        if move is not None:
            moves.append(move)
    n_wrong = sum(1 for move in moves if move.answer == "wrong")
    must_stop = n_wrong >= WRONG_MOVES_TO_STOP
    return Convergence(tuple(cycles), tuple(moves), must_stop, _advice(moves, n_wrong, must_stop))


def _answer(
    last: Mapping[tuple[int, bool], Run],
    numbers: Sequence[int],
    cycle: int,
    moved: Adjustment,
    device_m: float,
    strand: str,
) -> Move | None:
    """The move of one cycle, compared with the nearest earlier run of the same kind; None where none can be."""
    for loaded in (True, False):
        after = last.get((cycle, loaded))
        before = next((last[n, loaded] for n in reversed(numbers) if n < cycle and (n, loaded) in last), None)
        if after is None or before is None:
            continue
        then = {each.chainage_m: each.offset_mm for each in before.offsets}
        now = {each.chainage_m: each.offset_mm for each in after.offsets}
        shared = [each for each in then if each in now]
        _upstream, steered = sides_of_device(shared, device_m, strand)
        where = steered or tuple(shared)
        if not where:
            continue
        at = max(where, key=lambda station: abs(then[station]))
        change = now[at] - then[at]
        answer: Literal["right", "wrong", "none"] = "none"
        if abs(change) > ANSWER_MM:
            answer = "wrong" if then[at] * change > 0 else "right"
        return Move(cycle, moved, at, then[at], now[at], answer)
    return None


def _advice(moves: Sequence[Move], n_wrong: int, must_stop: bool) -> Reason:
    if must_stop:
        return Reason(AnswerRule.STOP, {"n_wrong": n_wrong})
    if not moves:
        return Reason(AnswerRule.NOTHING_COMPARED)
    move = moves[-1]
    before, after = _offset(move.before_mm), _offset(move.after_mm)
    known: dict[str, Value | Reason] = {"before": before, "after": after, "station_m": move.chainage_m}
    if move.answer == "none":
        return Reason(AnswerRule.NONE, {**known, "error_mm": ANSWER_MM})
    return Reason(AnswerRule.WRONG if move.answer == "wrong" else AnswerRule.RIGHT, known)


def _offset(offset_mm: float) -> Reason:
    return Reason(OffsetRule.DRIVE if offset_mm >= 0 else OffsetRule.OFF, {"offset_mm": abs(offset_mm)})
