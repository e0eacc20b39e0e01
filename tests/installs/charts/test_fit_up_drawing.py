"""The drawing of a fit-up: to scale, inside its frame whatever is typed, the same in words."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from installs.calc.fit_up import judge_fit_up
from installs.calc.fit_up_measures import Measures, ModelFigures
from installs.charts.fit_up_drawing import FURTHEST_MM, WIDTH, draw_fit_up
from plant.calc.units import UnitSystem
from tests.installs.calc.test_fit_up import RP2, sheets


def drawn(measures, model=RP2, system=UnitSystem.METRIC):
    given = Measures(**measures)
    return draw_fit_up(given, model, judge_fit_up(given, model), system=system)


FULL = {
    "bracket_spacing_mm": 1640.0, "frame_length_mm": 1505.0, "extension_drive_mm": 66.0, "extension_off_mm": 56.0,
    "belt_width_mm": 1196.0, "sensor_clear_mm": 1234.0, "gap_drive_mm": 9.0, "gap_off_mm": 29.0,
    "belt_mark_drive_mm": 850.0, "belt_mark_off_mm": 850.0, "bracket_height_drive_mm": 983.0,
    "bracket_height_off_mm": 990.0,
}  # fmt: skip


def test_lengths_are_to_one_scale():
    drawing = drawn(FULL)
    per_mm = drawing.units_per_mm
    frame = next(bar for bar in drawing.bars if bar.part == "frame")
    assert frame.width == pytest.approx(1505 * per_mm)
    extensions = [bar.width for bar in drawing.bars if bar.part == "extension"]
    assert extensions == pytest.approx([66 * per_mm, 56 * per_mm])
    belt = next(stroke for stroke in drawing.strokes if stroke.part == "belt")
    assert belt.x2 - belt.x1 == pytest.approx(1196 * per_mm)
    sensors = [bar for bar in drawing.bars if bar.part == "sensor"]
    assert sensors[1].x - (sensors[0].x + sensors[0].width) == pytest.approx(1234 * per_mm)
    # The gaps come out of the drawing as they were measured.
    assert belt.x1 - (sensors[0].x + sensors[0].width) == pytest.approx(9 * per_mm)
    assert sensors[1].x - belt.x2 == pytest.approx(29 * per_mm)
    posts = [bar for bar in drawing.bars if bar.part == "post"]
    assert posts[1].x - (posts[0].x + posts[0].width) == pytest.approx(1640 * per_mm)
    # The higher bracket of the off side stands higher by what it was measured.
    assert posts[2].y - posts[3].y == pytest.approx(7 * per_mm)


def test_the_pivot_follows_the_extensions():
    assert drawn(FULL).pivot[0] == pytest.approx(WIDTH / 2 + 5 * drawn(FULL).units_per_mm)


def test_skew_turns_the_brackets():
    square = FULL | {"squareness_way": "parallel", "square_drive_mm": 3000.0, "square_off_mm": 3020.0}
    drawing = drawn(square)
    posts = [bar for bar in drawing.bars if bar.part == "post"]
    assert posts[0].y - posts[1].y == pytest.approx(20 * drawing.units_per_mm)
    assert "skew 0.70°" in drawing.words


def test_nothing_measured_is_drawn_dashed():
    drawing = drawn({})
    assert not any(bar.is_known for bar in drawing.bars)
    assert "frame not measured" in drawing.words


def test_the_words_and_labels_speak_the_readers_units():
    drawing = drawn({"bracket_spacing_mm": 1308.1}, system=UnitSystem.US)
    assert any(label.text == "spacing 51 1/2 in" for label in drawing.labels)
    assert "bracket spacing 51 1/2 in" in drawing.words


def test_heights_beyond_all_measure_are_cut_off_and_said_so():
    drawing = drawn(FULL | {"bracket_height_off_mm": 9000.0})
    assert f"Heights beyond {FURTHEST_MM:g} mm are cut off." in drawing.words
    assert drawing.height < 800


def inside(drawing):
    points = [(bar.x, bar.y) for bar in drawing.bars]
    points += [(bar.x + bar.width, bar.y + bar.height) for bar in drawing.bars]
    points += [(stroke.x1, stroke.y1) for stroke in drawing.strokes]
    points += [(stroke.x2, stroke.y2) for stroke in drawing.strokes]
    points += [(label.x, label.y) for label in drawing.labels]
    return all(-1e-6 <= x <= drawing.width + 1e-6 and -1e-6 <= y <= drawing.height + 1e-6 for x, y in points)


@given(sheets(), st.sampled_from([RP2, ModelFigures()]))
def test_nothing_lies_outside_the_drawing(sheet, model):
    told, rest = sheet
    assert inside(drawn({name: float(value * 127 / 5) for name, value in told.items()} | rest, model))


@pytest.mark.parametrize(
    "measures",
    [
        {"bracket_spacing_mm": 5.0, "belt_width_mm": 2000.0, "sensor_clear_mm": 2100.0},
        {"bracket_spacing_mm": 90000.0, "frame_length_mm": 10.0},
        {"bracket_spacing_mm": 1200.0, "frame_length_mm": 4000.0, "centre_drive_mm": 500.0, "centre_off_mm": 0.0},
        {"bracket_spacing_mm": 1200.0, "extension_drive_mm": 4000.0, "extension_off_mm": 0.0},
        {"belt_width_mm": 1200.0, "belt_lies_to": "off", "belt_off_by_mm": 900.0},
        {"gap_drive_mm": 3000.0, "gap_off_mm": 0.0},
    ],
)
def test_extremes_stay_inside(measures):
    assert inside(drawn(measures))
