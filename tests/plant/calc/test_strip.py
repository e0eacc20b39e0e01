import re
from itertools import pairwise

import numpy as np
import pytest

from plant.calc.strip import lay_small_strip, lay_strip
from plant.calc.strip_shapes import Scale, StripBar, StripDevice, StripPart, StripStretch, StripTick, axis_step, spread
from plant.calc.strip_tall import lay_tall_strip
from tests.growth import growth


def first_x(shape):
    return float(re.match(r"M([-\d.]+)", shape.d)[1])


def of_kind(strip, kind):
    return [shape for shape in strip.shapes if shape.kind.split()[0] == kind]


def test_the_scale_runs_from_pulley_to_pulley_and_keeps_what_lies_beyond_at_its_end():
    scale = Scale(900)
    assert (scale.x(0), scale.x(900), scale.x(450)) == (40, 1280, 660)
    assert (scale.x(-5), scale.x(1000)) == (40, 1280)
    with pytest.raises(ValueError, match="length_m is 0 m; give a length above 0 m"):
        Scale(0)


@pytest.mark.parametrize(
    ("length", "step"), [(900, 100), (20, 2), (1000, 100), (1001, 200), (0.5, 0.05), (2953, 500), (10, 1)]
)
def test_the_axis_has_round_steps_and_at_most_ten_of_them(length, step):
    assert axis_step(length) == pytest.approx(step)


@pytest.mark.parametrize("seed", range(20))
def test_spread_places_keep_their_order_their_distance_and_their_middle(seed):
    rng = np.random.default_rng(seed)
    places = sorted(rng.choice([100.0, 101.0, 200.0, 400.0], size=30))
    moved = spread(places, 3.0, 0.0, 1000.0)
    assert len(moved) == 30
    assert all(b - a >= 3.0 - 1e-9 for a, b in pairwise(moved))
    assert np.mean(moved) == pytest.approx(np.mean(places))


def test_spread_stays_between_the_ends_even_where_there_is_no_room():
    moved = spread([0.0] * 50, 3.0, 0.0, 30.0)
    assert min(moved) >= -1e-9
    assert max(moved) <= 30 + 1e-9
    assert spread([], 3.0, 0, 1) == ()
    with pytest.raises(ValueError, match="do not rise"):
        spread([2, 1], 1, 0, 10)


def test_incidents_are_ticks_outside_the_loop_on_their_strand_one_each():
    strip = lay_strip(
        900,
        ticks=[StripTick("return", 560.0, f"incident {n}") for n in range(23)]
        + [StripTick("carry", 38.0, "above"), StripTick("", 10.0, "strand unknown")],
    )
    ticks = of_kind(strip, "tick")
    assert len(ticks) == 24
    assert strip.n_left_out == 1
    belt = of_kind(strip, "belt")[0].d
    y_carry, y_return = (float(each) for each in re.findall(r"(?:M|A\S+ \S+ 0 0 1 )[\d.]+ ([\d.]+)H", belt))
    for tick in ticks:
        top, bottom = re.match(r"M[\d.]+ ([\d.]+)V([\d.]+)", tick.d).groups()
        if tick.name == "above":
            assert max(float(top), float(bottom)) < y_carry
        else:
            assert min(float(top), float(bottom)) > y_return
    xs = [first_x(tick) for tick in ticks if tick.name != "above"]
    assert len(set(xs)) == 23
    assert np.mean(xs) == pytest.approx(Scale(900).x(560), abs=0.1)


def test_a_wedge_narrows_towards_the_outside_of_the_loop():
    strip = lay_strip(200, devices=[StripDevice(1, "return", 100, "1", "a"), StripDevice(2, "carry", 100, "2", "b")])
    for device in of_kind(strip, "device"):
        numbers = [float(n) for n in re.findall(r"[\d.]+", device.d)]
        wide, narrow = numbers[2] - numbers[0], numbers[3] - numbers[5]
        assert wide > narrow
        y_wide, y_narrow = numbers[1], numbers[4]
        assert (y_wide < y_narrow) == (device.name == "a")


def test_grades_reach_the_wedge_and_its_number():
    strip = lay_strip(200, devices=[StripDevice(1, "return", 100, "11", "device 11, act", tone="act", url="/x/")])
    device = of_kind(strip, "device")[0]
    assert (device.kind, device.url, device.name) == ("device act", "/x/", "device 11, act")
    assert [each.kind for each in strip.words if each.text == "11"] == ["number act"]


def test_words_never_cover_each_other():
    devices = [StripDevice(n, "return", 2.0 + 3.0 * n, f"{100 + n}", "") for n in range(9)]
    devices += [StripDevice(n, "carry", 190 + 1.0 * n, f"{100 + n}", "") for n in range(9)]
    gaps = [
        StripStretch("return", 10 * n, 10 * n + 8, "", f"no device reaches {n}: 3 of 9 incidents") for n in range(4)
    ]
    parts = [StripPart("loading_point", 2.0 * n, "", "carry") for n in range(5)]
    strip = lay_strip(200, devices=devices, gaps=gaps, parts=parts)
    boxes = []
    for each in strip.words:
        width = 7 * len(each.text)
        left = each.x - {"start": 0, "middle": width / 2, "end": width}[each.anchor]
        boxes.append((left, left + width, each.y - 11, each.y + 2, each.text))
    for i, a in enumerate(boxes):
        for b in boxes[i + 1 :]:
            assert a[1] <= b[0] or b[1] <= a[0] or a[3] <= b[2] or b[3] <= a[2], (a, b)
    assert all(box[3] <= strip.height and box[0] >= 0 and box[1] <= strip.width for box in boxes)


def test_a_gap_is_drawn_on_its_strand_with_its_words():
    strip = lay_strip(
        900,
        gaps=[
            StripStretch("return", 310, 710, "r", "no device reaches 310 to 710 m: 23 of 38 incidents"),
            StripStretch("carry", 0, 100, "c", "no device reaches 0 to 100 m: 2 of 4 incidents"),
        ],
    )
    below, above = of_kind(strip, "gap")
    assert first_x(below) == pytest.approx(467.1, abs=0.05)  # 40 + 310 / 900 * 1240, worked by hand
    y_words = {each.text[:25]: each.y for each in strip.words if each.kind == "gap"}
    assert y_words["no device reaches 310 to 7"[:25]] > 200
    assert y_words["no device reaches 0 to 100"[:25]] < 30
    assert above.name == "c"


def test_strong_words_of_a_gap_at_the_end_stay_on_the_strip():
    words = "no device reaches 0 to 10 m: 5 of 18 incidents"
    for low, high in ((0, 10), (190, 200)):
        strip = lay_strip(200, gaps=[StripStretch("return", low, high, "gap", words)])
        (told,) = [each for each in strip.words if each.kind == "gap"]
        # 9 units a letter: DejaVu Sans Bold at 14 px, from its advance widths.
        assert told.x - len(words) * 9 / 2 >= 0
        assert told.x + len(words) * 9 / 2 <= strip.width


def test_the_axis_counts_in_the_readers_unit():
    texts = [each.text for each in lay_strip(304.8, unit_m=0.3048, unit="ft").words if each.kind == "axis"]
    assert texts[0] == "0 ft"
    assert texts[-1] == "1,000"


def test_a_reversing_belt_travels_both_ways():
    assert len(of_kind(lay_strip(100), "travel")) == 2
    assert len(of_kind(lay_strip(100, reversing=True), "travel")) == 4


def test_every_kind_of_part_is_drawn_with_its_name():
    kinds = [
        "head_pulley", "tail_pulley", "drive_pulley", "snub_pulley", "bend_pulley", "take_up", "loading_point",
        "scraper", "drift_switch", "belt_scale", "guard",
    ]  # fmt: skip
    strip = lay_strip(100, parts=[StripPart(kind, 10.0 * n, kind) for n, kind in enumerate(kinds)])
    assert sorted(shape.name for shape in of_kind(strip, "part")) == sorted(kinds)


def test_a_long_belt_with_much_on_it_is_laid_out_in_step_with_what_stands_on_it():
    def lay(times):
        lay_strip(
            900,
            ticks=[StripTick("return", float(n % 900), "") for n in range(500 * times)],
            parts=[StripPart("drift_switch", float(n), "") for n in range(0, 900, 30)],
            devices=[StripDevice(n, "return", 60.0 * n, str(n), "") for n in range(15)],
        )

    assert growth(lay, 1, 8) < 16


def test_the_small_strip_has_shapes_and_no_words():
    strip = lay_small_strip(
        100,
        ticks=[StripTick("return", 20, ""), StripTick("", 1, "")],
        devices=[StripDevice(1, "carry", 50, "1", "")],
        zones=[StripStretch("carry", 50, 100, "")],
        gaps=[StripStretch("return", 0, 50, "")],
    )
    assert strip.words == ()
    assert sorted({shape.kind for shape in strip.shapes}) == ["belt", "device ink", "gap", "tick", "zone"]
    assert strip.n_left_out == 1


def crowded(lay):
    return lay(
        900,
        devices=[StripDevice(n, "return", 100 + 3.0 * n, f"{100 + n}", "", tone="act", word="act") for n in range(5)]
        + [StripDevice(9, "carry", 104, "9", "", word="watch")],
        gaps=[
            StripStretch("return", 100 * n, 100 * n + 90, f"gap {n}", f"no device reaches {n}: 3 of 9")
            for n in range(8)
        ],
        ticks=[StripTick("return", 400, f"tick {n}") for n in range(30)] + [StripTick("carry", 5, "on carry")],
        parts=[StripPart("loading_point", 8, "hopper", "carry"), StripPart("take_up", 700, "weight")],
    )


def test_the_tall_strip_shows_the_same_things_as_the_wide_one():
    wide, tall = crowded(lay_strip), crowded(lay_tall_strip)
    assert sorted(shape.name for shape in wide.shapes) == sorted(shape.name for shape in tall.shapes)
    assert sorted(shape.kind for shape in wide.shapes) == sorted(shape.kind for shape in tall.shapes)


def test_the_tall_strip_has_its_tail_on_top_and_its_return_strand_right():
    tall = lay_tall_strip(100, ticks=[StripTick("return", 0, "tail"), StripTick("carry", 100, "head")])
    tail, head = (re.match(r"M([\d.]+) ([\d.]+)H", each.d).groups() for each in reversed(of_kind(tall, "tick")))
    assert float(tail[1]) == 64
    assert float(head[1]) == 644
    assert float(tail[0]) > 200 > 106 > float(head[0])


def test_words_of_the_tall_strip_stay_inside_it_and_off_each_other():
    tall = crowded(lay_tall_strip)
    boxes = []
    for each in tall.words:
        width = (8.8 if each.kind == "gap" else 7.6) * len(each.text)  # bold at 15 px, as measured on the page
        left = each.x - {"start": 0, "middle": width / 2, "end": width}[each.anchor]
        boxes.append((left, left + width, each.y - 12, each.y + 3, each.text))
    assert all(box[0] >= 0 and box[1] <= 360 and box[3] <= tall.height for box in boxes)
    numbers = [box for box, each in zip(boxes, tall.words, strict=True) if each.kind.split()[0] in ("number", "gap")]
    for i, a in enumerate(numbers):
        for b in numbers[i + 1 :]:
            assert a[1] <= b[0] or b[1] <= a[0] or a[3] <= b[2] or b[3] <= a[2], (a, b)


def test_a_share_of_two_digits_fits_beside_the_tall_strip():
    gap = StripStretch("return", 0, 20, "stretch", "no device reaches 0 to 20 m: 6 of 20 incidents")
    lines = [each.text for each in lay_tall_strip(180, gaps=[gap]).words if each.kind == "gap"]
    assert " ".join(lines) == gap.words
    assert max(8.8 * len(line) for line in lines) <= 360 - 254


@pytest.mark.parametrize("lay", [lay_strip, lay_tall_strip])
def test_the_densest_stretch_is_the_highest_bar_and_lies_behind_the_ticks(lay):
    bars = [
        StripBar("return", 0, 50, 0.5, "half"),
        StripBar("return", 50, 100, 1.0, "full"),
        StripBar("carry", 0, 50, 0),
    ]
    strip = lay(100, ticks=[StripTick("return", 60, "one")], bars=bars)
    drawn = of_kind(strip, "density")
    assert [shape.name for shape in drawn] == ["half", "full"]

    def size(shape):
        numbers = [float(each) for each in re.findall(r"-?[\d.]+", shape.d)]
        return abs(numbers[3] - numbers[1]) * abs(numbers[2] - numbers[0])

    assert size(drawn[1]) == pytest.approx(2 * size(drawn[0]), rel=0.01)
    kinds = [shape.kind for shape in strip.shapes]
    assert kinds.index("density") < kinds.index("tick")
