"""Fit-up of a tracking device: what was measured, what is wanted, how far apart they may lie, and what to move.

1. **Extension.** The frame sits between two brackets. Spacing less frame less end play, shared equally, is the
   extension of each side. Unequal extension puts the pivot off the centre line by half the difference.
2. **Squareness.** Three ways: the same line along both stringers; one point on the centre line; diagonals between two
   parallel bracket pairs. Skew is positive where the off-side bracket lies further from the reference.
3. **Centring.** Frame to bracket on both sides; the frame moves by half the difference.
4. **Height.** Belt underside, lift and the drop from bracket to roller top give the height of each bracket.
5. **Sensors.** Clear distance less belt width is the sum of both gaps wherever the belt lies. A rule that looks at each
   gap alone would call a well-set device wrong, so the sum decides and each gap is judged for where the belt lies.

The model's own figure comes first; where it gives none, the start value is common practice without a source and the
line says so. What the arithmetic needs and nobody stated is "not stated". A number that cannot be is refused with the
arithmetic that says so. On a limit is inside it. All lengths in mm, angles in degrees.
"""

from __future__ import annotations

from installs.calc.fit_up_frame import FrameLines
from installs.calc.fit_up_height import HeightLines
from installs.calc.fit_up_lines import FitUpResult
from installs.calc.fit_up_measures import Measures, ModelFigures
from installs.calc.fit_up_sensors import SensorLines
from installs.calc.fit_up_square import SquareLines


def judge_fit_up(measures: Measures, model: ModelFigures, *, nominal_belt_width_mm: float | None = None) -> FitUpResult:
    """Every line of the fit-up sheet: measured, wanted, tolerance, verdict, and the arithmetic.

    Parameters
    ----------
    measures : Measures
        What was measured so far.
    model : ModelFigures
        What the device model states.
    nominal_belt_width_mm : float, optional
        The belt's width in the book, for a warning where the tape disagrees [mm].

    Returns
    -------
    FitUpResult
        Lines in the order of the work; warnings. Both say why by the rules of `FitUpRule`.

    References
    ----------
    Elementary geometry. Start values where the model states none: common practice, no source.

    Examples
    --------
    >>> result = judge_fit_up(Measures(bracket_spacing_mm=1640, frame_length_mm=1505), ModelFigures())
    >>> line = result.line("extension_drive_mm")
    >>> line.wanted, str(line.why[0].rule), line.why[0].values["play_mm"]
    (61.0, 'fit_up.each_side', 13.0)
    """
    frame, square = FrameLines(measures, model), SquareLines(measures, model)
    height, sensors = HeightLines(measures, model), SensorLines(measures, model)
    return FitUpResult(
        (*frame.lines(), *square.lines(), *height.lines(), *sensors.lines()),
        (*square.warnings(), *sensors.warnings(nominal_belt_width_mm)),
    )
