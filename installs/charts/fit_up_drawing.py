"""The fit-up drawn to scale: frame and brackets from above, belt and sensors seen along travel.

1. One scale serves both views and both directions; the belt's centre line runs through both. Drive side is left.
2. What is not measured is drawn where it would be wanted, dashed; what not even that is known of is left out.
3. Depth of parts along the belt (posts, frame) and the belt's thickness are a sign of what they are, not their size.
4. Each label has a row of its own third of the width; where a long number would cover another, the middle one takes a
   row to itself.
5. Heights further than `FURTHEST_MM` from the belt are cut off there, and the drawing says so.

Units of the drawing: `WIDTH` across; mm and degrees go in, drawing units come out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from django.utils.translation import gettext as _

from installs.calc.fit_up_geometry import SquareMethod, run_out, skew_deg
from installs.calc.fit_up_lines import FitUpResult
from installs.calc.fit_up_measures import Measures, ModelFigures
from installs.words.fit_up_drawing import DrawingWords
from plant.calc.units import UnitSystem

WIDTH = 360.0
MARGIN = 20.0
ROW = 19.0
# A letter is about this wide in the widest of the fonts that a browser may take.
LETTER = 8.2
FURTHEST_MM = 400.0
# A belt and frame of a usual size, where nothing is measured yet; only the dashed drawing of an empty sheet shows it.
USUAL_WIDTH_MM = 1200.0

Part = Literal["post", "frame", "extension", "belt", "sensor", "roller", "rail"]


@dataclass(frozen=True)
class Bar:
    """A rectangle; `is_known` is False where it stands for something that nobody measured yet."""

    part: Part
    x: float
    y: float
    width: float
    height: float
    is_known: bool = True


@dataclass(frozen=True)
class Stroke:
    """A straight line; a measure has ticks at both ends."""

    part: Literal["centre", "measure", "mark", "roller", "belt"]
    x1: float
    y1: float
    x2: float
    y2: float
    is_known: bool = True


@dataclass(frozen=True)
class Label:
    """A text with its anchor."""

    x: float
    y: float
    text: str
    anchor: Literal["start", "middle", "end"]
    is_strong: bool = False


@dataclass(frozen=True)
class Drawing:
    """Shapes in drawing units, in the order of painting, and the same in words."""

    width: float
    height: float
    units_per_mm: float
    bars: tuple[Bar, ...]
    strokes: tuple[Stroke, ...]
    labels: tuple[Label, ...]
    pivot: tuple[float, float] | None
    words: str


def draw_fit_up(
    measures: Measures, model: ModelFigures, result: FitUpResult, *, system: UnitSystem = UnitSystem.METRIC
) -> Drawing:
    """Draw a fit-up to scale.

    Parameters
    ----------
    measures : Measures
        What was measured so far [mm].
    model : ModelFigures
        What the device model states [mm].
    result : FitUpResult
        The same sheet judged, for what is wanted where nothing is measured.
    system : UnitSystem, optional
        Units of the labels.

    Returns
    -------
    Drawing
        No coordinate lies outside 0 to width and 0 to height.
    """
    pen = _Pen(measures, model, result, UnitSystem(system))
    pen.from_above()
    pen.along_travel()
    return pen.done()


class _Pen:
    """Collects shapes from top to bottom; x is measured from the centre line in mm."""

    def __init__(self, m: Measures, model: ModelFigures, result: FitUpResult, system: UnitSystem) -> None:
        self.m, self.model, self.result = m, model, result
        self.words = DrawingWords(m, system)
        self.bars: list[Bar] = []
        self.strokes: list[Stroke] = []
        self.labels: list[Label] = []
        self.said: list[str] = []
        self.pivot: tuple[float, float] | None = None
        self.is_cut = False
        self.y = 0.0
        self.belt = m.belt_width_mm or (m.sensor_clear_mm and max(1.0, m.sensor_clear_mm - self.wanted_sum))
        self.spacing = m.bracket_spacing_mm or self.spacing_wanted()
        across = [self.spacing, 2 * max(abs(end) for end in self.tips()), m.sensor_clear_mm or 0]
        if self.belt:
            across.append(self.belt + 2 * abs(self.off_centre))
        self.scale = (WIDTH - 2 * MARGIN) / max(across)

    # -- what is drawn where nothing was measured

    @property
    def wanted_sum(self) -> float:
        return self.result.line("sensor_sum_mm").wanted or 0.0

    def spacing_wanted(self) -> float:
        return (
            max(self.m.frame_length_mm or 0, (self.m.sensor_clear_mm or 0) * 1.15, (self.belt or 0) * 1.25)
            or USUAL_WIDTH_MM
        )

    @property
    def off_centre(self) -> float:
        """How far the belt lies towards the drive side [mm]."""
        m = self.m
        if m.belt_off_by_mm is not None and m.belt_lies_to:
            return m.belt_off_by_mm if m.belt_lies_to == "drive" else -m.belt_off_by_mm
        if m.gap_drive_mm is not None and m.gap_off_mm is not None and m.belt_off_by_mm is None:
            return (m.gap_off_mm - m.gap_drive_mm) / 2
        return 0.0

    def x(self, at_mm: float) -> float:
        return min(WIDTH, max(0.0, WIDTH / 2 + at_mm * self.scale))

    def row(self, left: str = "", middle: str = "", right: str = "", *, is_strong: bool = False) -> None:
        beside = max(len(left), len(right))
        if middle and beside and (beside + len(middle) / 2) * LETTER + 12 > WIDTH / 2:
            self.row(middle=middle, is_strong=is_strong)
            middle = ""
        self.y += ROW
        for x, text, anchor in ((4.0, left, "start"), (WIDTH / 2, middle, "middle"), (WIDTH - 4, right, "end")):
            if text:
                self.labels.append(Label(x, self.y - 5, text, anchor, is_strong))  # type: ignore[arg-type]

    def measure(self, from_mm: float, to_mm: float, *, is_known: bool = True) -> None:
        self.y += 8
        self.strokes.append(Stroke("measure", self.x(from_mm), self.y - 3, self.x(to_mm), self.y - 3, is_known))

    # -- from above

    def from_above(self) -> None:
        m, half = self.m, self.spacing / 2
        top = self.y
        self.row(_("Drive side"), _("From above"), _("Off side"), is_strong=True)
        self.row(middle=self.words.spacing())
        self.measure(-half, half, is_known=m.bracket_spacing_mm is not None)
        lead = self.lead()
        reach = abs(lead) * self.scale / 2
        middle = self.y + 34 + reach
        for side, sign in (("drive", -1), ("off", 1)):
            # The off-side bracket that lies further along the belt is drawn further up, as travel goes up.
            at = middle - sign * lead * self.scale / 2
            x = self.x(-half) - 8 if side == "drive" else self.x(half)
            self.bars.append(Bar("post", x, at - 22, 8, 44, m.bracket_spacing_mm is not None))
        self.frame(middle)
        self.y = middle + 30 + reach
        drive, off = (self.result.line(f"extension_{side}_mm") for side in ("drive", "off"))
        skew = self.words.skew(self.skew())
        self.row(self.words.found(drive), self.words.frame(), self.words.found(off))
        self.row(_("extension"), skew, _("extension"))
        self.strokes.append(Stroke("centre", WIDTH / 2, top + 2 * ROW + 8, WIDTH / 2, middle + 30 + reach))
        self.said.append(self.words.from_above(drive, off, skew))
        self.y += 10

    def lead(self) -> float:
        """How much further along the belt the off-side bracket lies [mm]."""
        found = self.result.line("square_mm").measured
        return 0.0 if found is None else max(-self.spacing, min(self.spacing, found))

    def skew(self) -> float | None:
        """Skew [deg]; None where it is not known."""
        m, found = self.m, self.result.line("square_mm").measured
        if found is None or not m.bracket_spacing_mm or m.square_drive_mm is None or m.square_off_mm is None:
            return None
        out = run_out(
            SquareMethod(m.squareness_way), m.square_drive_mm, m.square_off_mm, m.bracket_spacing_mm,
            reference_distance_mm=m.reference_distance_mm or None,
        )  # fmt: skip
        return skew_deg(out, m.bracket_spacing_mm)

    def extensions(self) -> list[float]:
        """Of the drive side and of the off side: as measured, else as wanted [mm]."""
        return [
            line.measured if line.measured is not None else max(0.0, line.wanted or 0.0)
            for line in (self.result.line("extension_drive_mm"), self.result.line("extension_off_mm"))
        ]

    def tips(self) -> tuple[float, float]:
        """How far frame and extensions reach towards both sides, the off side positive [mm]."""
        length, extensions = self.m.frame_length_mm or self.spacing * 0.9, self.extensions()
        shift = self.frame_shift(extensions)
        return shift - length / 2 - extensions[0], shift + length / 2 + extensions[1]

    def frame(self, middle: float) -> None:
        m = self.m
        length = m.frame_length_mm or self.spacing * 0.9
        is_known = m.frame_length_mm is not None
        extensions = self.extensions()
        shift = self.frame_shift(extensions)
        ends = shift - length / 2, shift + length / 2
        for end, sign, extension, line in (
            (ends[0], -1, extensions[0], "extension_drive_mm"),
            (ends[1], 1, extensions[1], "extension_off_mm"),
        ):
            if extension:
                x = self.x(min(end, end + sign * extension))
                width = self.x(max(end, end + sign * extension)) - x
                known = self.result.line(line).measured is not None
                self.bars.append(Bar("extension", x, middle - 5, width, 10, known))
        self.bars.append(Bar("frame", self.x(ends[0]), middle - 10, self.x(ends[1]) - self.x(ends[0]), 20, is_known))
        self.pivot = self.x(shift), middle

    def frame_shift(self, extensions: list[float]) -> float:
        """How far the middle of the frame lies towards the off side [mm]."""
        m = self.m
        if m.centre_drive_mm is not None and m.centre_off_mm is not None:
            return (m.centre_drive_mm - m.centre_off_mm) / 2
        return (extensions[0] - extensions[1]) / 2

    # -- along travel

    def along_travel(self) -> None:
        m, top = self.m, self.y
        self.row(middle=_("Seen along belt travel"), is_strong=True)
        self.row(middle=self.words.clear())
        belt = self.belt or self.spacing / 1.25
        clear = m.sensor_clear_mm or belt + self.wanted_sum
        self.measure(-clear / 2, clear / 2, is_known=m.sensor_clear_mm is not None)
        rises = [self.rise(side) for side in ("drive", "off")]
        highest = max(0.0, *(rise.post for rise in rises), *(rise.roller for rise in rises))
        lowest = min(0.0, *(rise.post for rise in rises), *(rise.roller for rise in rises))
        # The underside of the belt, held flat, is the level from which all heights are drawn.
        level = self.y + 26 + highest * self.scale
        self.section(level, belt, clear, rises)
        self.y = level + max(16.0, 10 - lowest * self.scale)
        self.strokes.append(Stroke("centre", WIDTH / 2, top + 2 * ROW + 8, WIDTH / 2, self.y))
        drive, off = self.result.line("gap_drive_mm"), self.result.line("gap_off_mm")
        place = self.words.place(self.off_centre)
        lifts = [self.words.lift(rise.lift if rise.is_known else None) for rise in rises]
        self.row(self.words.found(drive), self.words.belt(), self.words.found(off))
        self.row(_("gap"), place, _("gap"))
        self.row(lifts[0], "", lifts[1])
        self.said.append(self.words.along_travel(drive, off, place, lifts))
        if self.is_cut:
            self.row(middle=self.words.cut_off(FURTHEST_MM))
            self.said.append(self.words.cut_off(FURTHEST_MM))
        self.y += 6

    def rise(self, side: str) -> _Rise:
        """Bracket and roller of one side above the belt's underside [mm]."""
        mark, height = getattr(self.m, f"belt_mark_{side}_mm"), getattr(self.m, f"bracket_height_{side}_mm")
        drop = self.model.roller_drop_mm
        wanted = self.m.wanted_lift_mm if self.m.wanted_lift_mm is not None else 0.0
        is_known = mark is not None and height is not None and drop is not None
        lift = height - mark - drop if is_known else wanted
        post = lift + (drop or 0.0)
        cut = [min(FURTHEST_MM, max(-FURTHEST_MM, value)) for value in (post, lift)]
        self.is_cut = self.is_cut or cut != [post, lift]
        return _Rise(post=cut[0], roller=cut[1], lift=lift, is_known=is_known)

    def section(self, level: float, belt: float, clear: float, rises: list[_Rise]) -> None:
        m, half = self.m, self.spacing / 2
        ends = [self.x(-half), self.x(half)]
        for x, rise in ((ends[0] - 8, rises[0]), (ends[1], rises[1])):
            self.bars.append(Bar("post", x, level - rise.post * self.scale - 8, 8, 16, rise.is_known))
        tops = [level - rise.roller * self.scale for rise in rises]
        are_known = all(rise.is_known for rise in rises)
        self.strokes.append(Stroke("roller", ends[0], tops[0] + 4, ends[1], tops[1] + 4, are_known))
        self.strokes.append(Stroke("mark", ends[0], level, ends[1], level))
        # The roller's face holds the belt wherever it stands above the belt's own level.
        left, right = -belt / 2 - self.off_centre, belt / 2 - self.off_centre
        at = [min(level, tops[0] + (tops[1] - tops[0]) * (each + half) / self.spacing) for each in (left, right)]
        self.strokes.append(
            Stroke("belt", self.x(left), at[0] - 2, self.x(right), at[1] - 2, m.belt_width_mm is not None)
        )
        for edge, x, y in ((-clear / 2, -5.0, at[0]), (clear / 2, 0.0, at[1])):
            self.bars.append(Bar("sensor", self.x(edge) + x, y - 17, 5, 24, m.sensor_clear_mm is not None))

    def done(self) -> Drawing:
        return Drawing(
            WIDTH, round(self.y, 1), self.scale, tuple(self.bars), tuple(self.strokes), tuple(self.labels), self.pivot,
            " ".join(self.said),
        )  # fmt: skip


@dataclass(frozen=True)
class _Rise:
    """One side above the belt's underside [mm]; `lift` as it is, `post` and `roller` cut to what is drawn."""

    post: float
    roller: float
    lift: float
    is_known: bool
