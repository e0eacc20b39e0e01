"""The running-hours ledger against hand-worked cases, a minute-by-minute reckoning, and its own laws."""

import doctest
import json
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant.calc import running_hours
from plant.calc.calendar import local_day_bounds, local_month_bounds, months_between
from plant.calc.meter_readings import Meter, MeterRule, meter_spans
from plant.calc.reasons import Reason
from plant.calc.running_hours import Exposure, build_ledger
from plant.calc.running_spans import METER_SOURCE, Span
from tests.growth import growth
from tests.reference.running_hours import RATE_OVER_COVERED_H, RATE_OVER_WINDOW_H

CASES = {
    case["id"]: case
    for case in json.loads(
        (Path(__file__).parents[2] / "reference" / "running_hours.json").read_text(encoding="utf-8")
    )["cases"]
}
EVENTS = {"last of old meter": "last_of_old", "first of new meter": "first_of_new"}
T0 = datetime(2026, 6, 1, tzinfo=UTC)


def utc(text):
    return datetime.fromisoformat(text)


def at(hours):
    return T0 + timedelta(hours=hours)


def span(a, b, running_h=0.0, kind="total", source="log"):
    return Span(at(a), at(b), running_h, kind, source)


def meter_of(case):
    readings = [
        Meter(utc(t), reading, EVENTS[event[0]] if event else "normal") for t, reading, *event in case["readings"]
    ]
    return meter_spans(readings, case.get("modulus"))


def test_examples():
    assert doctest.testmod(running_hours).failed == 0


# --- the seven cases ------------------------------------------------------------------------------------------------


def test_there_are_seven_cases():
    assert sorted(CASES) == ["M1", "M2", "M3", "M4", "M5", "M6", "M7"]


@pytest.mark.parametrize("name", ["M1", "M2", "M3", "M4"])
def test_hours_of_a_meter(name):
    case = CASES[name]
    result = meter_of(case)
    first, last = utc(case["readings"][0][0]), utc(case["readings"][-1][0])
    exposure = build_ledger(result.spans).hours(first, last)
    assert exposure.running_h == pytest.approx(case["hours"], abs=1e-6)
    assert exposure.elapsed_h == case["elapsed_h"]
    assert exposure.coverage == pytest.approx(1)
    assert exposure.meter_h == pytest.approx(case["elapsed_h"])
    assert [f.read_at for f in result.flagged] == [utc(t) for t in case.get("flagged", [])]


def test_m1_a_window_inside_a_span():
    case = CASES["M1"]
    exposure = build_ledger(meter_of(case).spans).hours(*map(utc, case["window"]))
    assert exposure.running_h == pytest.approx(case["window_hours"], abs=1e-6)


def test_m4_a_mistyped_reading_is_set_aside_and_its_likely_value_shown():
    result = meter_of(CASES["M4"])
    assert [s.running_h for s in result.spans] == [300, 520]
    (flag,) = result.flagged
    assert flag.reading_h == 3560
    assert flag.reason == Reason(
        MeterRule.FASTER_WITH_ROLLOVER, {"first_h": 5300, "second_h": 3560, "ran_h": 8260, "clock_h": 672}
    )
    assert flag.likely_h == 5560  # one digit; even running would put the reading near 5547


def test_m5_more_hours_than_the_clock_has():
    case = CASES["M5"]
    result = meter_of(case)
    assert [f.read_at for f in result.flagged] == [utc(t) for t in case["flagged"]]
    assert result.flagged[0].reason == Reason(
        MeterRule.FASTER_THAN_CLOCK, {"first_h": 100, "second_h": 1000, "ran_h": 900, "clock_h": 720}
    )
    assert result.spans == ()
    assert build_ledger(result.spans).hours(T0, at(720)) == Exposure(0, 0, 720, 0)


def test_m6_overlapping_exports_and_a_spell_without_data():
    case = CASES["M6"]
    spans = [Span(utc(a), utc(b), 0, "running", "export") for a, b in case["running_intervals"]]
    spans += [Span(utc(a), utc(b), 0, "no_data", "export") for a, b in case["no_data"]]
    exposure = build_ledger(spans).hours(*map(utc, case["window"]))
    assert exposure.running_h == pytest.approx(case["hours"], abs=1e-9)
    assert exposure.covered_h == pytest.approx(case["covered_h"], abs=1e-9)
    assert exposure.coverage == pytest.approx(case["coverage"], abs=1e-6)
    assert 2 / exposure.running_h * 1000 == pytest.approx(RATE_OVER_COVERED_H, abs=0.005)
    assert 2 / exposure.elapsed_h * 1000 == pytest.approx(RATE_OVER_WINDOW_H, abs=0.005)
    # Without the word that data are missing, the same hour is known idle time.
    assert build_ledger(spans[:3]).hours(*map(utc, case["window"])).coverage == 1


def test_m7_a_local_day_of_23_hours():
    case = CASES["M7"]
    start, end = local_day_bounds(date.fromisoformat(case["local_day"]), ZoneInfo(case["zone"]))
    zone = ZoneInfo(case["zone"])
    # Given as local times of one zone, whose plain difference would be 24 h.
    whole_day = Span(start.astimezone(zone), end.astimezone(zone), 0, "running", "signal")
    assert whole_day.elapsed_h == case["hours"]
    assert build_ledger([whole_day]).hours(start, end).running_h == case["hours"]


# --- ranks, coverage, windows ---------------------------------------------------------------------------------------


def test_the_signal_before_the_log_before_the_meter():
    spans = [
        span(0, 100, 10, source=METER_SOURCE),
        span(20, 60, 20),
        span(30, 40, kind="running", source="signal"),
        span(42, 50, kind="running", source="signal"),
    ]
    exposure = build_ledger(spans).hours(at(0), at(100))
    # Meter 0-20 and 60-100 at 0.1; log 20-30 and 50-60 at 0.5; signal 30-50, idle from 40 to 42.
    assert exposure.running_h == pytest.approx(60 * 0.1 + 20 * 0.5 + 18)
    assert (exposure.signal_h, exposure.log_h, exposure.meter_h) == pytest.approx((20, 20, 60))
    assert exposure.coverage == pytest.approx(1)


def test_no_data_takes_coverage_from_every_source():
    spans = [span(0, 100, 50), span(10, 30, kind="running", source="signal"), span(20, 40, kind="no_data")]
    exposure = build_ledger(spans).hours(at(0), at(100))
    assert exposure.covered_h == pytest.approx(80)
    assert exposure.running_h == pytest.approx(10 + 70 * 0.5)


def test_idle_time_is_known_up_to_a_length():
    spans = [span(0, 10, kind="running", source="a"), span(514, 520, kind="running", source="a")]
    assert build_ledger(spans).hours(at(0), at(520)).coverage == 1
    assert build_ledger(spans, longest_idle_h=503).hours(at(0), at(520)).covered_h == pytest.approx(16)
    other = [spans[0], span(514, 520, kind="running", source="b")]
    assert build_ledger(other).hours(at(0), at(520)).covered_h == pytest.approx(16)


def test_an_interval_inside_another_makes_no_idle_time():
    spans = [span(0, 100, kind="running", source="a"), span(10, 20, kind="running", source="a")]
    spans.append(span(150, 160, kind="running", source="a"))
    exposure = build_ledger(spans).hours(at(0), at(160))
    assert (exposure.running_h, exposure.covered_h) == pytest.approx((110, 160))
    # The belt stood still for 50 h, not for the 130 h since the inner interval ended.
    assert build_ledger(spans, longest_idle_h=60).hours(at(0), at(160)).covered_h == pytest.approx(160)


def test_of_two_logs_the_shorter_span_is_believed():
    exposure = build_ledger([span(0, 100, 50), span(20, 30, 10)]).hours(at(0), at(100))
    assert exposure.running_h == pytest.approx(90 * 0.5 + 10)


def test_more_hours_than_the_clock_are_set_aside():
    impossible = span(0, 24, 30)
    ledger = build_ledger([impossible, span(24, 48, 24.5)])
    assert ledger.set_aside == (impossible,)
    assert ledger.hours(at(0), at(48)).running_h == pytest.approx(24)
    assert build_ledger([impossible]).hours(at(0), at(24)).covered_h == 0


def test_by_month_in_the_plant_s_zone():
    berlin = ZoneInfo("Europe/Berlin")
    bounds = [
        local_month_bounds(m.year, m.month, berlin) for m in months_between(date(2026, 3, 1), date(2026, 5, 1), berlin)
    ]
    ledger = build_ledger([Span(bounds[0][0], bounds[1][1], 0, "running", "signal")])
    assert [e.running_h for e in ledger.by_month(bounds)] == pytest.approx([743, 720])
    assert ledger.by_month([]) == []


def test_which_incidents_have_exposure():
    ledger = build_ledger([span(0, 10, 5), span(20, 30, 5)])
    assert ledger.covers([at(-1), at(0), at(9), at(10), at(20), at(30), at(31)]).tolist() == [
        False, True, True, False, True, False, False,
    ]  # fmt: skip
    assert build_ledger([]).covers([at(0)]).tolist() == [False]


def test_gaps_for_the_chart():
    ledger = build_ledger([span(0, 10, 5), span(10, 12, kind="no_data"), span(20, 30, 5)])
    assert ledger.gaps(at(-5), at(40)) == ((at(-5), at(0)), (at(10), at(20)), (at(30), at(40)))
    assert ledger.gaps(at(2), at(8)) == ledger.gaps(at(15), at(15)) == ()
    assert build_ledger([]).gaps(at(0), at(1)) == ((at(0), at(1)),)


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: span(1, 1), "not after its start"),
        (lambda: span(0, 1, -1), "running_h is -1 h"),
        (lambda: span(0, 1, float("nan")), "running_h is nan h"),
        (lambda: span(0, 1, kind="idle"), "kind is “idle”; give running, total or no_data"),
        (lambda: Span(datetime(2026, 1, 1), at(0)), "has no zone"),  # noqa: DTZ001
        (lambda: Meter(datetime(2026, 1, 1), 1), "has no zone"),  # noqa: DTZ001
        (lambda: Meter(T0, -1), "reading_h is -1 h"),
        (lambda: Meter(T0, 1, "new"), "event is “new”"),
        (lambda: build_ledger([], longest_idle_h=-1), "longest_idle_h is -1 h"),
        (lambda: build_ledger([]).hours(at(1), at(0)), "before its start"),
        (lambda: build_ledger([]).hours(datetime(2026, 1, 1), at(0)), "has no zone"),  # noqa: DTZ001
        (lambda: build_ledger([]).hours_many([at(0)], []), "1 starts and 0 ends"),
    ],
)
def test_refusals(make, message):
    with pytest.raises(ValueError, match=message):
        make()


# --- laws -----------------------------------------------------------------------------------------------------------

some_spans = st.lists(
    st.builds(
        lambda start, length, share, kind, source: span(start, start + length, share * length, kind, source),
        st.integers(0, 60),
        st.integers(1, 40),
        st.sampled_from([0, 0.25, 0.5, 1]),
        st.sampled_from(["running", "running", "total", "total", "no_data"]),
        st.sampled_from(["signal", "log", METER_SOURCE]),
    ),
    max_size=12,
)
hours = st.integers(-5, 110)


def hour_by_hour(spans, longest_idle_h):
    """Share of running and whether known, for each whole hour from 0 to 100, by plain looking."""
    told = []
    for hour in range(100):
        here = [s for s in spans if s.start <= at(hour) < s.end]
        totals = [s for s in here if s.kind == "total"]
        logs = [s for s in totals if s.source != METER_SOURCE] or totals
        idle = False
        for source in {s.source for s in spans}:
            runs = [s for s in spans if s.kind == "running" and s.source == source]
            before = max((s.end for s in runs if s.end <= at(hour)), default=None)
            after = min((s.start for s in runs if s.start > at(hour)), default=None)
            inside = any(s.start <= at(hour) < s.end for s in runs)
            idle |= bool(not inside and before and after and after - before <= timedelta(hours=longest_idle_h))
        if any(s.kind == "no_data" for s in here):
            told.append((0.0, False))
        elif any(s.kind == "running" for s in here):
            told.append((1.0, True))
        elif idle:
            told.append((0.0, True))
        elif logs:
            shortest = min(logs, key=lambda s: (s.elapsed_h, -s.start.timestamp(), s.running_h))
            told.append((shortest.running_h / shortest.elapsed_h, True))
        else:
            told.append((0.0, False))
    return told


@settings(max_examples=150)
@given(some_spans, st.sampled_from([0, 5, 504]))
def test_it_agrees_with_looking_at_every_hour(spans, longest_idle_h):
    ledger = build_ledger(spans, longest_idle_h=longest_idle_h)
    many = ledger.hours_many([at(h) for h in range(100)], [at(h + 1) for h in range(100)])
    told = np.array(hour_by_hour(spans, longest_idle_h))
    assert many.covered_h == pytest.approx(told[:, 1], abs=1e-9)
    assert ledger.covers([at(h) for h in range(100)]).tolist() == [bool(known) for known in told[:, 1]]
    assert many.running_h == pytest.approx(told[:, 0], abs=1e-9)


@given(some_spans, st.randoms(use_true_random=False), hours, hours)
def test_order_and_repetition_change_nothing(spans, random, a, b):
    low, high = sorted((a, b))
    once = build_ledger(spans).hours(at(low), at(high))
    again = spans + spans[: len(spans) // 2 + 1]
    random.shuffle(again)
    assert build_ledger(again).hours(at(low), at(high)) == once


@given(some_spans, hours, hours, hours)
def test_windows_add_up(spans, a, b, c):
    a, b, c = sorted((a, b, c))
    ledger = build_ledger(spans)
    first, second, whole = ledger.hours(at(a), at(b)), ledger.hours(at(b), at(c)), ledger.hours(at(a), at(c))
    for name in ("running_h", "covered_h", "elapsed_h", "signal_h", "log_h", "meter_h"):
        assert getattr(first, name) + getattr(second, name) == pytest.approx(getattr(whole, name), abs=1e-6)
    assert 0 <= whole.running_h <= whole.covered_h <= whole.elapsed_h
    assert 0 <= whole.coverage <= 1
    open_h = sum((y - x).total_seconds() for x, y in ledger.gaps(at(a), at(c))) / 3600
    assert whole.covered_h + open_h == pytest.approx(whole.elapsed_h, abs=1e-6)


def test_fifty_thousand_spans_and_four_hundred_windows():
    rng = np.random.default_rng(20260603)
    lengths = rng.integers(5, 60, 100_000)
    edges = np.cumsum(lengths)
    spans = [
        Span(T0 + timedelta(minutes=int(edges[i])), T0 + timedelta(minutes=int(edges[i + 1])), 0, "running", "signal")
        for i in range(0, 99_999, 2)
    ]
    ledger = build_ledger(spans)
    windows = [(at(24 * day), at(24 * (day + 3))) for day in range(400)]
    told = [ledger.hours(*window) for window in windows]
    assert len(spans) == 50_000
    assert ledger.hours(T0, at(10**6)).running_h == pytest.approx(lengths[1::2].sum() / 60)
    assert ledger.by_month(windows) == told
    assert growth(lambda n: build_ledger(spans[:n]), 6_000, 48_000) < 16
