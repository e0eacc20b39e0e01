"""Commissioning arithmetic: order of hold points, length of runs, acceptance, answers to adjustments.

Limits of 15 and 30 minutes, three revolutions, 5 % of the width and at most 75 mm are common practice, no source.
"""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from installs.calc.adjustments import (
    Adjustment,
    AdjustmentRule,
    AnswerRule,
    Balance,
    GapChange,
    OffsetRule,
    converge,
    judge_adjustment,
    what_was_moved,
)
from installs.calc.commissioning import (
    FIRST_CYCLE,
    AcceptanceRule,
    BeltSide,
    LineRemedy,
    Load,
    SideRule,
    judge_acceptance,
    next_point,
    permitted_offset_mm,
    points_of,
)
from installs.calc.run_times import Spell, TimeRule, doubts_about_time
from installs.calc.trial_runs import Offset, Run, SideOfDevice, least_run_s, sides_of_device, station_sides, worst_of
from plant.calc.reasons import Reason

ASKED = {"cycle": 1, "target_mm": 50.0, "device_m": 55.0, "strand": "return", "revolution_s": 88.0}


def run(cycle=1, loaded=False, minutes=60.0, down=10.0, up=12.0, **values):
    return Run(cycle, loaded, minutes, (Offset(30.0, down), Offset(80.0, up)), **values)


def test_the_points_come_in_the_order_of_the_work():
    done: list[str] = []
    while (point := next_point(1, done)) is not None:
        done.append(point)
    assert tuple(done) == FIRST_CYCLE
    assert points_of(3) == ("lockout", "clear", "guards", "people", "locks")
    # One that was withdrawn comes back although later ones are there.
    assert next_point(1, ["lockout", "restraint", "clear"]) == "parts"
    with pytest.raises(ValueError, match="counted from 1"):
        points_of(0)


def test_three_revolutions_of_a_belt_of_110_m_at_2_5_m_s_take_264_s():
    # 2 x 110 m / 2.5 m/s = 88 s, by hand.
    assert least_run_s(110, 2.5) == pytest.approx(3 * 88)
    with pytest.raises(ValueError, match="give 1 or more"):
        least_run_s(110, 2.5, 0)


@pytest.mark.parametrize(("width", "most"), [(650, 32.5), (1200, 60), (1500, 75), (2000, 75)])
def test_run_off_is_a_share_of_the_width_with_a_ceiling(width, most):
    assert permitted_offset_mm(width) == pytest.approx(most)


def test_run_off_follows_the_plant_s_own_values():
    assert permitted_offset_mm(1000, share_pct=3, most_mm=25) == 25
    with pytest.raises(ValueError, match="belt_width_mm"):
        permitted_offset_mm(0)


def test_downstream_follows_the_strand():
    assert sides_of_device([10, 55, 90], 55, "return") == ((90,), (10,))
    assert sides_of_device([10, 55, 90], 55, "carry") == ((10,), (90,))


@pytest.mark.parametrize(
    ("strand", "station", "told"),
    [
        ("return", 80, [(-1, "upstream")]),
        ("return", 30, [(-1, "downstream")]),
        ("carry", 80, [(1, "downstream")]),
        ("carry", 30, [(1, "upstream")]),
        ("carry", 55, [(1, "at_device")]),
    ],
)
def test_a_station_lies_upstream_or_downstream_by_the_travel_of_its_strand(strand, station, told):
    # Carry travels to the head (rising chainage), return to the tail: elementary, ISO 5048 names the strands.
    assert [(each.travel, each.side) for each in station_sides(station, 55, strand)] == told


def test_on_a_reversing_belt_each_side_is_upstream_once():
    for strand in ("carry", "return"):
        assert [each.side for each in station_sides(80, 55, strand, reversing=True)] == ["downstream", "upstream"]
        assert [each.side for each in station_sides(30, 55, strand, reversing=True)] == ["upstream", "downstream"]


def one_sided(*stations, **values):
    return Run(1, False, 60, tuple(Offset(each, 1.0) for each in stations), **values)


@pytest.mark.parametrize(
    ("strand", "station", "side", "place"),
    [
        ("return", 30.0, SideOfDevice.UPSTREAM, SideRule.ABOVE),
        ("return", 80.0, SideOfDevice.DOWNSTREAM, SideRule.BELOW),
        ("carry", 80.0, SideOfDevice.UPSTREAM, SideRule.BELOW),
    ],
)
def test_a_missing_reading_is_named_with_where_it_is_to_be_taken(strand, station, side, place):
    found = judge_acceptance([one_sided(station), run(loaded=True)], **{**ASKED, "strand": strand})
    (line,) = [each for each in found.lines if each.verdict != "sound"]
    assert (line.key, line.remedy) == ("empty-stations", LineRemedy.READING)
    where = Reason(SideRule.ONE_WAY, {"side": side, "place": Reason(place, {"device_m": 55.0})})
    assert line.why == Reason(AcceptanceRule.SIDE_LACKING, {"load": Load.EMPTY, "where": where})


@pytest.mark.parametrize("strand", ["carry", "return"])
def test_on_a_reversing_belt_a_missing_reading_is_named_for_both_ways(strand):
    asked = {**ASKED, "strand": strand, "reversing": True}
    found = judge_acceptance([one_sided(80.0), run(loaded=True)], **asked)
    (line,) = [each for each in found.lines if each.verdict != "sound"]
    assert line.why.values["where"] == Reason(
        SideRule.BOTH_WAYS,
        {
            "place": Reason(SideRule.BELOW, {"device_m": 55.0}),
            "to_head": SideOfDevice.UPSTREAM,
            "to_tail": SideOfDevice.DOWNSTREAM,
        },
    )


def test_a_run_whose_stations_all_lie_at_the_device_lacks_both_sides():
    found = judge_acceptance([one_sided(55.0), run(loaded=True)], **ASKED)
    (line,) = [each for each in found.lines if each.verdict != "sound"]
    assert line.why.rule is AcceptanceRule.SIDES_LACKING
    sides = [line.why.values[name].values["side"] for name in ("where", "other")]
    assert sides == [SideOfDevice.UPSTREAM, SideOfDevice.DOWNSTREAM]


def test_each_line_that_is_not_met_says_what_it_asks_for():
    asked = {
        line.key: line.remedy
        for line in judge_acceptance(
            [
                run(minutes=5, down=70.0, touches_structure=True, is_noisy=True, frame_position="drive"),
                Run(1, True, 60, ()),
            ],
            **ASKED,
        ).lines
    }
    assert asked == {
        "empty-minutes": LineRemedy.LONGER_RUN,
        "empty-offset": LineRemedy.ADJUSTMENT,
        "empty-contact": LineRemedy.ADJUSTMENT,
        "empty-frame": LineRemedy.ADJUSTMENT,
        "empty-noise": LineRemedy.ADJUSTMENT,
        "loaded-minutes": None,
        "loaded-offset": LineRemedy.READING,
    }
    assert {line.remedy for line in judge_acceptance([], **ASKED).lines} == {LineRemedy.RUN}


def test_both_runs_within_the_target_meet_it():
    found = judge_acceptance([run(), run(loaded=True)], **ASKED)
    assert found.is_met
    assert {line.verdict for line in found.lines} == {"sound"}


def test_a_run_too_short_does_not_count_and_says_what_is_wanted():
    found = judge_acceptance([run(minutes=14.9), run(loaded=True)], **ASKED)
    assert not found.is_met
    why = found.lines[0].why
    assert (why.rule, why.values["watched_min"], why.values["least_min"]) == (AcceptanceRule.WATCHED, 14.9, 15.0)


def test_a_slow_long_belt_needs_three_revolutions_though_the_minutes_are_up():
    # 3 x 600 s are 30 min: 20 min empty are too few.
    found = judge_acceptance([run(minutes=20)], **{**ASKED, "revolution_s": 600.0})
    assert found.lines[0].verdict == "act"
    assert (found.lines[0].why.values["least_min"], found.lines[0].why.values["turns"]) == (30.0, 2.0)


LOCKS = dt.datetime(2026, 11, 20, 16, 37, 45, tzinfo=dt.UTC)


def minutes(n):
    return dt.timedelta(minutes=n)


def found_in(begins_at, watched_min, now, *others, **values):
    doubts = doubts_about_time(begins_at, watched_min, locks_at=LOCKS, now=now, others=others, **values)
    return [(each.rule, each.apart_s) for each in doubts]


def test_a_run_longer_than_the_time_since_the_locks_is_doubted_with_what_has_passed():
    now = LOCKS + dt.timedelta(seconds=75)
    told = found_in(now - minutes(31), 31, now, is_start_given=False)
    assert told == [(TimeRule.SINCE_LOCKS, 75)]
    assert found_in(now - minutes(2), 2, now, is_start_given=False) == []  # to the minute


def test_a_run_entered_later_than_it_happened_is_not_doubted():
    assert found_in(LOCKS + minutes(2), 31, LOCKS + minutes(600)) == []
    # The box shows minutes: 16:37 for locks of 16:37:45.
    assert found_in(LOCKS.replace(second=0), 31, LOCKS + minutes(31)) == []


def test_a_start_before_the_locks_and_an_end_after_now_are_doubted():
    now = LOCKS + minutes(40)
    assert found_in(LOCKS - minutes(29), 31, now) == [(TimeRule.BEFORE_LOCKS, 29 * 60)]
    assert found_in(now - minutes(10), 31, now) == [(TimeRule.NOT_OVER, 10 * 60)]
    assert [rule for rule, _apart in found_in(LOCKS - minutes(5), 60, now)] == ["before_locks", "not_over"]


@pytest.mark.parametrize(
    ("begins", "watched", "apart_min"), [(0, 16, 16), (10, 16, 6), (16, 16, None), (15, 16, None), (-1, 40, 16)]
)
def test_a_belt_makes_one_run_at_a_time(begins, watched, apart_min):
    other = Spell(LOCKS, LOCKS + minutes(16), False)
    told = found_in(LOCKS + minutes(begins), watched, LOCKS + minutes(200), other)
    assert told == ([] if apart_min is None else [(TimeRule.OVERLAP, apart_min * 60)])


@given(st.integers(-100, 100), st.integers(2, 90), st.integers(-100, 100), st.integers(2, 90))
def test_two_runs_overlap_alike_whichever_is_entered_last(one, for_one, other, for_other):
    def shared(begins, watched, of_begins, of_watched):
        spell = Spell(LOCKS + minutes(of_begins), LOCKS + minutes(of_begins + of_watched), False)
        doubts = doubts_about_time(
            LOCKS + minutes(begins), watched, locks_at=LOCKS - minutes(500), now=LOCKS + minutes(500), others=[spell]
        )
        return [each.apart_s for each in doubts]

    assert shared(one, for_one, other, for_other) == shared(other, for_other, one, for_one)


def test_minutes_of_nothing_are_refused():
    with pytest.raises(ValueError, match="give a time above 0 min"):
        found_in(LOCKS, 0, LOCKS + minutes(5))


def test_a_doubted_time_is_never_said_to_be_watched_and_needs_no_second_reason():
    runs = [run(), run(loaded=True, minutes=31, is_time_doubted=True)]
    found = judge_acceptance(runs, **ASKED)
    line = next(each for each in found.lines if each.key == "loaded-minutes")
    assert (line.verdict, line.is_explained, found.is_met) == ("watch", True, True)
    assert (line.why.rule, line.why.values["watched_min"]) == (AcceptanceRule.TIME_DOUBTED, 31)
    short = judge_acceptance([run(), run(loaded=True, minutes=5, is_time_doubted=True)], **ASKED)
    assert (short.is_met, short.lines[-2].verdict) == (False, "act")


def test_one_station_beyond_the_target_is_named_with_its_side():
    found = judge_acceptance([run(down=-52.0), run(loaded=True)], **ASKED)
    assert not found.is_met
    (line,) = [each for each in found.lines if each.verdict == "act"]
    assert line.why == Reason(
        AcceptanceRule.STATION_BEYOND,
        {
            "load": Load.EMPTY,
            "worst_mm": 52.0,
            "station_m": 30.0,
            "side": BeltSide.OFF,
            "target_mm": 50.0,
            "n_beyond": 1,
            "n_stations": 2,
        },
    )
    both = judge_acceptance([run(down=52.0, up=60.0), run(loaded=True)], **ASKED).lines[1].why
    assert (both.rule, both.values["n_beyond"], both.values["side"]) == (
        AcceptanceRule.STATIONS_BEYOND, 2, BeltSide.DRIVE,
    )  # fmt: skip


def test_the_least_time_is_written_as_on_the_page_beside_it():
    """305 m at 2 m/s: three revolutions take 15.25 min, which the page writes as 15.3."""
    found = judge_acceptance([run(minutes=20), run(loaded=True, minutes=40)], **{**ASKED, "revolution_s": 305.0})
    assert (found.lines[0].why.values["least_min"], found.lines[0].why.values["least_turns"]) == (15.3, 3)


def test_at_the_target_is_met_and_just_beyond_is_not():
    assert judge_acceptance([run(down=50.0), run(loaded=True)], **ASKED).is_met
    assert not judge_acceptance([run(down=50.1), run(loaded=True)], **ASKED).is_met


def test_what_was_run_before_the_last_adjustment_tells_nothing():
    found = judge_acceptance([run(), run(loaded=True)], **{**ASKED, "cycle": 2})
    assert [line.key for line in found.lines] == ["empty-run", "loaded-run"]


def test_the_last_run_of_a_kind_decides():
    runs = [run(down=70.0), run(down=20.0), run(loaded=True)]
    assert judge_acceptance(runs, **ASKED).is_met
    assert not judge_acceptance([runs[1], runs[0], runs[2]], **ASKED).is_met


def test_stations_on_one_side_only_and_contact_are_said():
    one_sided = Run(1, False, 60, (Offset(30.0, 1.0),), touches_structure=True, frame_position="hunting")
    found = judge_acceptance([one_sided, run(loaded=True)], **ASKED)
    keys = {line.key: line.verdict for line in found.lines}
    assert keys["empty-stations"] == "act"
    assert keys["empty-contact"] == "act"
    assert keys["empty-frame"] == "watch"


@pytest.mark.parametrize(
    ("drive", "off", "balance", "change"),
    [
        (6, 6, Balance.KEPT, 0),
        (2, 3, Balance.WITHIN_READING, 1),
        (6, 3, Balance.CHANGED, -3),
        (-4, -6, Balance.CHANGED, -2),
        (0, 3, Balance.CHANGED, 3),
        (0, 0, Balance.NOT_MOVED, 0),
        (6, None, Balance.NOT_KNOWN, None),
    ],
)
def test_what_an_adjustment_does_to_the_sum_of_the_gaps(drive, off, balance, change):
    """In by a, out by b: one gap loses a, the other gains b."""
    moved = Adjustment(drive, off)
    assert (judge_adjustment(moved), moved.sum_change_mm) == (balance, change)
    assert moved.is_move is bool(drive or off)


def test_what_was_moved_is_told_for_each_side_with_what_it_does():
    assert what_was_moved(Adjustment(6, 3)) == Reason(
        Balance.CHANGED,
        {
            "drive": Reason(AdjustmentRule.DRIVE_IN, {"moved_mm": 6}),
            "off": Reason(AdjustmentRule.OFF_OUT, {"moved_mm": 3}),
            "change_mm": 3,
            "way": GapChange.NARROWER,
        },
    )
    wider = what_was_moved(Adjustment(0, 4))
    assert (wider.values["drive"].rule, wider.values["way"]) == (AdjustmentRule.DRIVE_STAYED, GapChange.WIDER)
    assert "off" not in what_was_moved(Adjustment(-2)).values
    assert what_was_moved(Adjustment(0, 0)) == Reason(Balance.NOT_MOVED)


@given(st.floats(-40, 40), st.floats(-40, 40))
def test_swapping_the_sides_mirrors_the_verdict(drive, off):
    assert judge_adjustment(Adjustment(drive, off)) is judge_adjustment(Adjustment(-off, -drive))


def test_the_belt_that_comes_back_answered_the_right_way_also_past_the_centre():
    runs = [run(1, True, down=60.0), run(2, True, down=20.0), run(3, True, down=-15.0)]
    found = converge(runs, {1: None, 2: Adjustment(6.0, 6.0), 3: Adjustment(4.0, 4.0)}, device_m=55, strand="return")
    assert [move.answer for move in found.moves] == ["right", "right"]
    assert not found.must_stop
    assert found.advice.values == {
        "before": Reason(OffsetRule.DRIVE, {"offset_mm": 20.0}),
        "after": Reason(OffsetRule.OFF, {"offset_mm": 15.0}),
        "station_m": 30.0,
    }
    assert [each.worst.offset_mm for each in found.cycles] == [60.0, 20.0, -15.0]


def test_two_moves_with_a_wrong_answer_mean_stop():
    runs = [run(1, down=30.0), run(2, down=42.0), run(3, down=55.0)]
    once = converge(runs[:2], {2: Adjustment(5.0, 5.0)}, device_m=55, strand="return")
    assert not once.must_stop
    assert once.advice.rule is AnswerRule.WRONG
    assert once.advice.values["after"] == Reason(OffsetRule.DRIVE, {"offset_mm": 42.0})
    twice = converge(runs, {2: Adjustment(5.0, 5.0), 3: Adjustment(5.0, 5.0)}, device_m=55, strand="return")
    assert twice.must_stop
    assert twice.advice == Reason(AnswerRule.STOP, {"n_wrong": 2})


def test_a_change_within_the_reading_error_is_no_answer():
    found = converge([run(1, down=30.0), run(2, down=33.0)], {2: Adjustment(5.0, 5.0)}, device_m=55, strand="return")
    assert (found.moves[0].answer, found.advice.rule) == ("none", AnswerRule.NONE)


def test_a_move_on_the_off_side_alone_is_a_move():
    found = converge([run(1, down=30.0), run(2, down=42.0)], {2: Adjustment(0.0, 5.0)}, device_m=55, strand="return")
    assert [move.answer for move in found.moves] == ["wrong"]


def test_empty_is_never_compared_with_loaded():
    found = converge(
        [run(1, False, down=30.0), run(2, True, down=50.0)], {2: Adjustment(5.0, 5.0)}, device_m=55, strand="return"
    )
    assert found.moves == ()
    assert found.advice == Reason(AnswerRule.NOTHING_COMPARED)


@given(
    st.lists(st.floats(-80, 80), min_size=2, max_size=5),
    st.lists(st.floats(1, 10), min_size=4, max_size=4),
)
def test_mirroring_the_belt_mirrors_offsets_and_keeps_every_answer(offsets, moved):
    def told(sign):
        runs = [run(n, True, down=sign * each, up=0.0) for n, each in enumerate(offsets, start=1)]
        moves = {n: Adjustment(sign * moved[n - 2], sign * moved[n - 2]) for n in range(2, len(offsets) + 1)}
        return converge(runs, moves, device_m=55, strand="return")

    one, other = told(1), told(-1)
    assert [move.answer for move in one.moves] == [move.answer for move in other.moves]
    assert one.must_stop == other.must_stop
    assert [move.before_mm for move in one.moves] == [-move.before_mm for move in other.moves]


def test_the_worst_offset_is_the_furthest_from_the_centre():
    assert worst_of([Offset(1, 3.0), Offset(2, -8.0)]) == Offset(2, -8.0)
    assert worst_of([]) is None
