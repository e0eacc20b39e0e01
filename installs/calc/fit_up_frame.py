"""Frame, extension and end play of a fit-up: the frame sits between two brackets. All lengths in mm."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from installs.calc.fit_up_geometry import SLACK_MM, extension_each_side, frame_set_to, half_difference
from installs.calc.fit_up_lines import FitUpLine, Sheet, Verdict, WantedSource, judged
from installs.calc.fit_up_rules import FitSide, FitUpRule
from plant.calc.reasons import Reason

# Common practice, no source: start values where the model states nothing [mm].
END_PLAY_MM = 13.0
END_PLAY_LEAST_MM = 6.0
END_PLAY_MOST_MM = 19.0
EXTENSION_TOLERANCE_MM = 3.0

SECTION = "extension"


@dataclass(frozen=True)
class _EndPlay:
    """Wanted, least and most end play in total, and where the wanted one comes from."""

    wanted: float
    low: float
    high: float
    source: WantedSource


@dataclass(frozen=True)
class _Wanted:
    """Wanted extension of each side [mm], its arithmetic, and whether it can be."""

    each: float | None
    why: tuple[Reason, ...]
    is_refused: bool = False


@dataclass(frozen=True)
class FrameLines(Sheet):
    """Lines of the first section."""

    def lines(self) -> Iterator[FitUpLine]:
        """Frame, end play, both extensions, pivot, and end play as it came out."""
        play = self.end_play()
        yield self.frame_line()
        yield judged(
            "end_play_mm", SECTION, play.wanted, None, play.low, play.high, self.play_source,
            is_start_value=self.m.end_play_mm is None,
        )  # fmt: skip
        wanted = self.wanted_extension(play.wanted)
        for side in FitSide:
            yield self.extension_line(side, wanted)
        yield self.pivot_line()
        yield self.play_from_measures(play)
        yield judged(
            "end_play_left_mm", SECTION, self.m.end_play_left_mm, play.wanted, play.low, play.high, play.source,
            Reason(FitUpRule.PLAY_AFTER_TIGHTENING),
        )  # fmt: skip

    def end_play(self) -> _EndPlay:
        """As the model states it, else as common practice has it."""
        least, most = self.model.end_play_least_mm, self.model.end_play_most_mm
        stated = least is not None or most is not None
        if not stated:
            least, most = END_PLAY_LEAST_MM, END_PLAY_MOST_MM
        low = least if least is not None else min(END_PLAY_LEAST_MM, most if most is not None else END_PLAY_LEAST_MM)
        high = most if most is not None else max(END_PLAY_MOST_MM, low)
        if self.m.end_play_mm is not None:
            return _EndPlay(self.m.end_play_mm, low, high, WantedSource.CHOSEN)
        wanted = END_PLAY_MM if low <= END_PLAY_MM <= high else (low + high) / 2
        return _EndPlay(wanted, low, high, self.play_source)

    @property
    def play_source(self) -> WantedSource:
        """Where the limits of the end play come from."""
        stated = self.model.end_play_least_mm is not None or self.model.end_play_most_mm is not None
        return WantedSource.MODEL if stated else WantedSource.PRACTICE

    def frame_line(self) -> FitUpLine:
        """The frame against the space between the brackets and the lengths that the model comes in."""
        key, frame, spacing = "frame_length_mm", self.m.frame_length_mm, self.m.bracket_spacing_mm
        low, high = self.model.frame_length_least_mm, self.model.frame_length_most_mm
        if frame is not None and spacing is not None and frame > spacing + SLACK_MM:
            why = Reason(
                FitUpRule.FRAME_TOO_LONG, {"frame_mm": frame, "spacing_mm": spacing, "over_mm": frame - spacing}
            )
            return FitUpLine(key, SECTION, frame, None, low, high, Verdict.REFUSED, WantedSource.MODEL, (why,))
        if low is None and high is None:
            why = Reason(FitUpRule.FRAMES_NOT_STATED)
            return FitUpLine(key, SECTION, frame, None, None, None, Verdict.NOT_STATED, why=(why,))
        return judged(key, SECTION, frame, None, low, high, WantedSource.MODEL)

    def wanted_extension(self, play: float) -> _Wanted:
        """What each side is drawn out by, or what is missing for it."""
        spacing, frame = self.m.bracket_spacing_mm, self.m.frame_length_mm
        if spacing is None or frame is None:
            missing = FitUpRule.NEEDS_FRAME if spacing is not None else FitUpRule.NEEDS_SPACING
            if spacing is None and frame is None:
                missing = FitUpRule.NEEDS_SPACING_AND_FRAME
            return _Wanted(None, (Reason(missing),))
        wanted = extension_each_side(spacing, play, frame)
        known = {"spacing_mm": spacing, "play_mm": play, "frame_mm": frame, "each_mm": wanted}
        why, limit = Reason(FitUpRule.EACH_SIDE, known), self.model.extension_most_mm
        if wanted < -SLACK_MM:
            return _Wanted(wanted, (why, Reason(FitUpRule.EACH_SIDE_NEGATIVE)), is_refused=True)
        if limit is not None and wanted > limit + SLACK_MM:
            return _Wanted(wanted, (why, Reason(FitUpRule.EACH_SIDE_ABOVE, {"limit_mm": limit})), is_refused=True)
        return _Wanted(wanted, (why, Reason(FitUpRule.FRAME_SET_TO, {"over_all_mm": frame_set_to(frame, wanted)})))

    def extension_line(self, side: FitSide, wanted: _Wanted) -> FitUpLine:
        """The extension of one side."""
        key, limit = f"extension_{side}_mm", self.model.extension_most_mm
        measured = getattr(self.m, key)
        if measured is not None and limit is not None and measured > limit + SLACK_MM:
            beyond = Reason(FitUpRule.EXTENSION_ABOVE, {"extension_mm": measured, "limit_mm": limit})
            return FitUpLine(
                key, SECTION, measured, wanted.each, None, None, Verdict.REFUSED, WantedSource.ARITHMETIC, (beyond,)
            )
        if wanted.each is None:
            return FitUpLine(key, SECTION, measured, None, None, None, Verdict.OPEN, why=wanted.why)
        if wanted.is_refused:
            return FitUpLine(
                key, SECTION, measured, wanted.each, None, None, Verdict.REFUSED, WantedSource.ARITHMETIC, wanted.why
            )
        low, high = wanted.each - EXTENSION_TOLERANCE_MM, wanted.each + EXTENSION_TOLERANCE_MM
        return judged(key, SECTION, measured, wanted.each, low, high, WantedSource.ARITHMETIC, *wanted.why)

    def pivot_line(self) -> FitUpLine:
        """Half of what the two extensions differ by."""
        key, within = "pivot_mm", EXTENSION_TOLERANCE_MM / 2
        drive, off = self.m.extension_drive_mm, self.m.extension_off_mm
        if drive is None or off is None:
            why = Reason(FitUpRule.NEEDS_EXTENSIONS)
            return judged(key, SECTION, None, 0.0, -within, within, WantedSource.PRACTICE, why)
        # The longer extension pushes the frame, and with it the pivot, to the other side.
        shift = half_difference(off, drive)
        known = {"drive_mm": drive, "off_mm": off, "shift_mm": abs(shift)}
        side = FitSide.DRIVE if shift > 0 else FitSide.OFF
        why = Reason(FitUpRule.PIVOT_OFF, {**known, "side": side}) if shift else Reason(FitUpRule.PIVOT_ON, known)
        to_do = None
        if abs(shift) > within + SLACK_MM:
            to_do = Reason(FitUpRule.DO_EXTENSION, {"shift_mm": abs(shift), "longer": side.other, "shorter": side})
        return judged(key, SECTION, shift, 0.0, -within, within, WantedSource.PRACTICE, why, to_do=to_do)

    def play_from_measures(self, play: _EndPlay) -> FitUpLine:
        """What frame and both extensions leave of the spacing."""
        spacing, frame = self.m.bracket_spacing_mm, self.m.frame_length_mm
        drive, off = self.m.extension_drive_mm, self.m.extension_off_mm
        key, low, high = "play_measured_mm", play.low, play.high
        if spacing is None or frame is None or drive is None or off is None:
            why = Reason(FitUpRule.NEEDS_FOR_PLAY)
            return judged(key, SECTION, None, None, low, high, self.play_source, why)
        left = spacing - frame - drive - off
        why = Reason(
            FitUpRule.PLAY_LEFT,
            {"spacing_mm": spacing, "frame_mm": frame, "drive_mm": drive, "off_mm": off, "play_mm": left},
        )
        if left < -SLACK_MM:
            told = (why, Reason(FitUpRule.PLAY_NEGATIVE))
            return FitUpLine(key, SECTION, left, None, low, high, Verdict.REFUSED, self.play_source, told)
        to_do = None
        if left < low - SLACK_MM:
            to_do = Reason(FitUpRule.DO_PLAY_SMALL)
        elif left > high + SLACK_MM:
            to_do = Reason(FitUpRule.DO_PLAY_LARGE)
        return judged(key, SECTION, left, None, low, high, self.play_source, why, to_do=to_do)
