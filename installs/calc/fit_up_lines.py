"""The lines of the fit-up sheet: what was measured, what is wanted, how they stand. All lengths in mm."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from installs.calc.fit_up_geometry import SLACK_MM
from installs.calc.fit_up_measures import Measures, ModelFigures
from plant.calc.reasons import Reason


class Verdict(StrEnum):
    """How a line of the sheet stands."""

    WITHIN = "within"
    OUTSIDE = "outside"
    REFUSED = "refused"
    OPEN = "open"
    NOT_STATED = "not_stated"


class WantedSource(StrEnum):
    """Where the wanted value comes from."""

    MODEL = "model"
    PRACTICE = "practice"
    CHOSEN = "chosen"
    ARITHMETIC = "arithmetic"
    NONE = "none"


@dataclass(frozen=True)
class FitUpLine:
    """One line of the sheet.

    `measured`, `wanted`, `low` and `high` in mm; None where not known.
    `why` holds the arithmetic, `to_do` what to move; empty and None where there is nothing to say.
    `is_start_value`: what stands as measured was chosen by nobody, it is what the work begins from.
    """

    key: str
    section: str
    measured: float | None
    wanted: float | None
    low: float | None
    high: float | None
    verdict: Verdict
    source: WantedSource = WantedSource.NONE
    why: tuple[Reason, ...] = ()
    to_do: Reason | None = None
    is_start_value: bool = False


@dataclass(frozen=True)
class FitUpResult:
    """The sheet worked out: its lines in order, and warnings about how it was measured."""

    lines: tuple[FitUpLine, ...]
    warnings: tuple[Reason, ...]

    def line(self, key: str) -> FitUpLine:
        """The line of one key; KeyError where there is none."""
        for each in self.lines:
            if each.key == key:
                return each
        raise KeyError(key)

    @property
    def refused(self) -> tuple[FitUpLine, ...]:
        """Lines with numbers that cannot be."""
        return tuple(each for each in self.lines if each.verdict is Verdict.REFUSED)

    @property
    def to_do(self) -> tuple[Reason, ...]:
        """What to move, in the order of the sheet, each once."""
        return tuple(dict.fromkeys(each.to_do for each in self.lines if each.to_do is not None))

    def count(self, verdict: Verdict) -> int:
        """How many lines stand so."""
        return sum(each.verdict is verdict for each in self.lines)

    @property
    def is_begun(self) -> bool:
        """At least one line is measured."""
        return any(each.measured is not None and not each.is_start_value for each in self.lines)

    @property
    def is_done(self) -> bool:
        """Every line is measured and within."""
        return all(each.verdict is Verdict.WITHIN for each in self.lines)


@dataclass(frozen=True)
class Sheet:
    """One sheet being judged: what was measured, and what the model states."""

    m: Measures
    model: ModelFigures


def judged(
    key: str,
    section: str,
    measured: float | None,
    wanted: float | None,
    low: float | None,
    high: float | None,
    source: WantedSource,
    *why: Reason,
    to_do: Reason | None = None,
    is_start_value: bool = False,
) -> FitUpLine:
    """A line that stands by its limits; on a limit is inside it.

    Parameters
    ----------
    key, section : str
        Names of the line and of its section.
    measured, wanted, low, high : float or None
        None where not known [mm].
    source : WantedSource
        Where the wanted value comes from.
    *why : Reason
        The arithmetic.
    to_do : Reason, optional
        What to move.
    is_start_value : bool, optional
        What stands as measured was chosen by nobody.

    Returns
    -------
    FitUpLine
        Open where nothing is measured, else within or outside.
    """
    if measured is None:
        verdict = Verdict.OPEN
    elif (low is not None and measured < low - SLACK_MM) or (high is not None and measured > high + SLACK_MM):
        verdict = Verdict.OUTSIDE
    else:
        verdict = Verdict.WITHIN
    return FitUpLine(key, section, measured, wanted, low, high, verdict, source, why, to_do, is_start_value)
