"""Readings of an hour meter: slips of the fingers, meters replaced, rollovers, and what cannot be right."""

import doctest
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from plant.calc import meter_readings
from plant.calc.meter_readings import Meter, MeterResult, MeterRule, meter_spans
from plant.calc.reasons import Reason
from plant.calc.running_hours import build_ledger

T0 = datetime(2026, 6, 1, tzinfo=UTC)


def at(hours):
    return T0 + timedelta(hours=hours)


def test_examples():
    assert doctest.testmod(meter_readings).failed == 0


def readings(*pairs):
    return [Meter(at(h), value, *event) for h, value, *event in pairs]


def test_a_reading_mistyped_upwards_does_not_spoil_those_after_it():
    # 1140 instead of 1104 is possible by the clock, but then nothing after it would be.
    result = meter_spans(readings((0, 1000), (200, 1140), (216, 1112), (240, 1120), (480, 1240), (720, 1360)))
    assert [f.reading_h for f in result.flagged] == [1140]
    assert result.flagged[0].likely_h == 1104  # two digits swapped; even running would put it at 1103.7
    assert sum(s.running_h for s in result.spans) == 360


def test_a_meter_replaced_without_a_word_keeps_both_its_lives():
    result = meter_spans(readings((0, 9000), (240, 9200), (480, 9400), (720, 50), (960, 250)))
    assert [(s.start, s.end, s.running_h) for s in result.spans] == [
        (at(0), at(240), 200),
        (at(240), at(480), 200),
        (at(720), at(960), 200),
    ]
    (flag,) = result.flagged
    assert flag.reading_h == 50
    assert flag.reason.rule == MeterRule.LEFT_OPEN
    assert flag.reason.values["why"] == Reason(MeterRule.BACKWARDS, {"first_h": 9400, "second_h": 50})
    assert build_ledger(result.spans).gaps(at(0), at(960)) == ((at(480), at(720)),)


def test_a_belt_that_never_stops_may_show_a_little_more_than_the_clock():
    result = meter_spans(readings((0, 100), (720, 820.5)))
    assert result.flagged == ()
    assert result.spans[0].running_h == 720


def test_readings_that_the_meter_cannot_show():
    result = meter_spans(readings((0, 100), (240, 12_000), (480, 300)), modulus_h=10_000)
    assert [f.reason for f in result.flagged] == [Reason(MeterRule.BEYOND_METER, {"read_h": 12000, "most_h": 10000})]
    assert [s.running_h for s in result.spans] == [200]


def test_two_readings_at_one_time():
    result = meter_spans(readings((0, 100), (240, 200), (240, 250), (480, 300)))
    assert [f.reason for f in result.flagged] == [Reason(MeterRule.AT_ONE_TIME, {"first_h": 200, "second_h": 250})]
    assert sum(s.running_h for s in result.spans) == 200


def test_no_readings_or_one():
    assert meter_spans([]) == meter_spans(readings((0, 5))) == MeterResult((), ())


def test_a_modulus_of_nothing_is_refused():
    with pytest.raises(ValueError, match="modulus_h is 0 h"):
        meter_spans([], modulus_h=0)


@given(
    st.lists(st.tuples(st.integers(1, 700), st.floats(0, 1)), min_size=2, max_size=30),
    st.integers(0, 99_999),
    st.randoms(use_true_random=False),
)
def test_a_true_meter_is_read_through_rollovers_in_any_order(steps, shown, random):
    hour, total, truth = 0, 0.0, [Meter(T0, shown / 10)]
    for elapsed, share in steps:
        hour += elapsed
        total += round(elapsed * share, 1)
        truth.append(Meter(at(hour), round((shown / 10 + total) % 10_000, 1)))
    result = meter_spans(truth, modulus_h=10_000)
    assert result.flagged == ()
    assert sum(s.running_h for s in result.spans) == pytest.approx(total, abs=1e-6)
    shuffled = truth * 2
    random.shuffle(shuffled)
    assert meter_spans(shuffled, modulus_h=10_000) == result
