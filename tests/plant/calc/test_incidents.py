"""Drift-switch events to incidents against hand-worked cases; chatter and rhythm against simulation and SciPy."""

import doctest
import json
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from plant.calc import incidents
from plant.calc.chainage import revolution_time_s
from plant.calc.incidents import (
    FoldRule,
    JoiningRules,
    OddKind,
    RawSwitchEvent,
    find_chatter,
    find_incidents,
    fold_by_revolution,
    fold_in_runs,
    rayleigh_p,
)
from plant.calc.reasons import Reason
from tests.reference.incidents import CRITICAL_STRENGTH, SPLICE_REVOLUTION_S

FILE = json.loads((Path(__file__).parents[2] / "reference" / "switch_events.json").read_text(encoding="utf-8"))
CASES = {case["id"]: case for case in FILE["cases"]}
VARIANTS = [(case["id"], variant) for case in FILE["cases"] for variant in case.get("variants", [])]
EIGHT = datetime(2026, 6, 3, 8, tzinfo=UTC)


def utc(text):
    return datetime.fromisoformat(text)


def events_of(case):
    return [RawSwitchEvent(e["conveyor"], utc(e["utc"]), e["state"] == "on", e["side"]) for e in case["events"]]


def running_of(case):
    return {case["events"][0]["conveyor"]: [(utc(a), utc(b)) for a, b in case["running"]]}


def find(case, **changed):
    parameters = {name: FILE["parameters"][name] for name in ("hold_s", "gap_s")}
    return find_incidents(events_of(case), running_of(case), JoiningRules(**parameters | changed))


def contact(start_s, end_s, *, conveyor="A", side="left", strand="", switch=""):
    on, off = (EIGHT + timedelta(seconds=s) for s in (start_s, end_s))
    return [
        RawSwitchEvent(conveyor, on, True, side, strand, switch),
        RawSwitchEvent(conveyor, off, False, side, strand, switch),
    ]


def test_examples():
    assert doctest.testmod(incidents).failed == 0


# --- the three cases and their variants -----------------------------------------------------------------------------


def test_the_start_values_are_those_of_the_cases():
    assert sorted(CASES) == ["S1", "S2", "S3"]
    rules = JoiningRules()
    assert (rules.hold_s, rules.gap_s) == (FILE["parameters"]["hold_s"], FILE["parameters"]["gap_s"])


@pytest.mark.parametrize("name", CASES)
def test_incidents_of_a_case(name):
    found = find(CASES[name])
    told = sorted(found.incidents, key=lambda i: (i.side, i.start))
    expected = CASES[name]["expected"]
    assert [(i.side, i.start, i.end, i.contact_s, i.open_at_end) for i in told] == [
        (e["side"], utc(e["start"]), utc(e["end"]), e["contact_s"], e.get("open_at_end", False)) for e in expected
    ]
    assert [i.contacts for i in told] == [e.get("contacts", i.contacts) for i, e in zip(told, expected, strict=True)]
    assert [f"{o.what.replace('_', ' ')} {o.at:%H:%M:%S}" for o in found.reported] == CASES[name].get("reported", [])


@pytest.mark.parametrize(("name", "variant"), VARIANTS, ids=lambda v: str(v))
def test_variants_with_other_rules(name, variant):
    rules = {key: variant[key] for key in ("hold_s", "gap_s") if key in variant}
    found = find(CASES[name], **rules)
    assert len(found.incidents) == variant["incidents"]
    if "first_contacts" in variant:
        first = found.incidents[0]
        assert (first.contacts, first.contact_s) == (variant["first_contacts"], variant["first_contact_s"])


@pytest.mark.parametrize("name", CASES)
@given(random=st.randoms(use_true_random=False))
def test_order_and_repetition_change_nothing(name, random):
    case = CASES[name]
    events = events_of(case) * 2
    random.shuffle(events)
    parameters = JoiningRules(FILE["parameters"]["hold_s"], FILE["parameters"]["gap_s"])
    assert find_incidents(events, running_of(case), parameters) == find(case)


# --- the rule in detail ---------------------------------------------------------------------------------------------


def test_joined_to_the_latest_end_and_not_to_the_last_contact():
    # A short contact at one switch inside a long one at another, then one 400 s after the long one.
    events = contact(0, 1000, switch="1") + contact(10, 20, switch="2") + contact(1400, 1410, switch="2")
    (incident,) = find_incidents(events, {}).incidents
    assert (incident.contacts, incident.contact_s, incident.switches) == (3, 1010, ("1", "2"))


def test_strands_sides_and_conveyors_are_kept_apart():
    events = contact(0, 10) + contact(5, 15, side="right") + contact(5, 15, strand="return")
    events += contact(5, 15, conveyor="B")
    assert len(find_incidents(events, {}).incidents) == 4


def test_a_belt_that_never_ran_has_no_incidents_and_one_of_unknown_running_is_not_cut():
    assert find_incidents(contact(0, 10), {"A": []}).incidents == ()
    assert len(find_incidents(contact(0, 10), {"B": []}).incidents) == 1


def test_a_contact_across_a_stop_counts_on_both_sides_of_it():
    running = {
        "A": [(EIGHT, EIGHT + timedelta(seconds=100)), (EIGHT + timedelta(seconds=900), EIGHT + timedelta(hours=1))]
    }
    first, second = find_incidents(contact(90, 910), running).incidents
    assert (first.contact_s, second.contact_s) == (10, 10)
    (joined,) = find_incidents(contact(90, 910), running, JoiningRules(gap_s=801)).incidents
    assert (joined.contacts, joined.contact_s) == (2, 20)


def test_running_intervals_that_overlap_cut_nothing_out():
    running = {
        "A": [(EIGHT, EIGHT + timedelta(seconds=50)), (EIGHT + timedelta(seconds=40), EIGHT + timedelta(hours=1))]
    }
    (incident,) = find_incidents(contact(30, 60), running).incidents
    assert (incident.contacts, incident.contact_s) == (1, 30)


def test_a_contact_never_closed_without_known_running_is_an_instant():
    (incident,) = find_incidents([RawSwitchEvent("A", EIGHT, True)], {}).incidents
    assert (incident.start, incident.end, incident.open_at_end) == (EIGHT, EIGHT, True)
    # Begun while the belt stood still, it counts for nothing.
    later = {"A": [(EIGHT + timedelta(hours=1), EIGHT + timedelta(hours=2))]}
    found = find_incidents([RawSwitchEvent("A", EIGHT, True)], later)
    assert (found.incidents, [o.what for o in found.reported]) == ((), [OddKind.NEVER_OFF])


def test_on_and_off_at_one_instant():
    now = [RawSwitchEvent("A", EIGHT, True), RawSwitchEvent("A", EIGHT, False)]
    assert find_incidents(now, {}).incidents == ()
    (incident,) = find_incidents(now, {}, JoiningRules(hold_s=0)).incidents
    assert incident.contact_s == 0
    # What was on goes off and on again: two contacts that touch.
    bounce = [*contact(-5, 5), RawSwitchEvent("A", EIGHT, False, "left"), RawSwitchEvent("A", EIGHT, True, "left")]
    (incident,) = find_incidents(bounce, {}).incidents
    assert (incident.contacts, incident.contact_s) == (2, 10)


@given(
    st.lists(st.tuples(st.integers(0, 20_000), st.integers(0, 300), st.sampled_from("12")), max_size=25),
    st.integers(0, 10),
    st.integers(1, 2000),
)
def test_incidents_are_apart_by_the_gap_and_hold_all_contacts(told, hold_s, gap_s):
    events = [e for start, length, switch in told for e in contact(start, start + length, switch=switch)]
    found = find_incidents(events, {}, JoiningRules(hold_s, gap_s)).incidents
    for before, after in pairwise(found):
        assert (after.start - before.end).total_seconds() >= gap_s
    for incident in found:
        assert hold_s <= incident.contact_s <= (incident.end - incident.start).total_seconds()
    wider = find_incidents(events, {}, JoiningRules(hold_s, gap_s + 100)).incidents
    assert len(wider) <= len(found)
    assert sum(i.contacts for i in wider) == sum(i.contacts for i in found)
    assert sum(i.contact_s for i in wider) == pytest.approx(sum(i.contact_s for i in found))


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: JoiningRules(hold_s=-1), "hold_s is -1 s"),
        (lambda: JoiningRules(gap_s=float("nan")), "gap_s is nan s"),
        (lambda: RawSwitchEvent("A", datetime(2026, 6, 3), True), "has no zone"),  # noqa: DTZ001
        (lambda: find_incidents([], {"A": [(datetime(2026, 6, 3), EIGHT)]}), "has no zone"),  # noqa: DTZ001
        (lambda: find_chatter([], per_minute=1), "per_minute is 1"),
        (lambda: find_chatter([], per_day=0), "per_day is 0"),
        (lambda: fold_by_revolution([], 0), "revolution_s is 0 s"),
        (lambda: fold_by_revolution([datetime(2026, 6, 3)], 216), "has no zone"),  # noqa: DTZ001
        (lambda: rayleigh_p(0, 0.5), "n is 0"),
        (lambda: rayleigh_p(5, 1.5), "strength is 1.5"),
    ],
)
def test_refusals(make, message):
    with pytest.raises(ValueError, match=message):
        make()


# --- chatter --------------------------------------------------------------------------------------------------------


def on_at(*seconds):
    return [RawSwitchEvent("A", EIGHT + timedelta(seconds=s), True, "left", "", "1") for s in seconds]


def test_three_in_a_minute_are_a_burst():
    (day,) = find_chatter(on_at(0, 20, 59.9, 300, 600, 610, 620, 630))
    assert (day.n_on, day.n_bursts, day.is_defect) == (8, 2, False)
    assert find_chatter(on_at(0, 20, 60, 300)) == ()
    assert len(find_chatter(on_at(0, 20, 60), per_minute=2)) == 1


def test_more_than_fifty_in_a_day_are_a_defect():
    fifty = on_at(*(600 * k for k in range(50)))
    assert find_chatter(fifty) == ()
    (day,) = find_chatter(fifty + on_at(599) + fifty)
    assert (day.day, day.n_on, day.is_defect) == (date(2026, 6, 3), 51, True)


def test_days_are_those_of_the_plant():
    # 52 times in 52 min round 22:00Z, which is midnight in Berlin: no day has more than 50.
    times = on_at(*(14 * 3600 + 60 * k for k in range(-26, 26)))
    assert [d.is_defect for d in find_chatter(times)] == [True]
    assert find_chatter(times, tz=ZoneInfo("Europe/Berlin")) == ()


def test_going_off_is_not_counted():
    assert find_chatter([RawSwitchEvent("A", EIGHT + timedelta(seconds=s), False) for s in range(60)]) == ()


# --- rhythm ---------------------------------------------------------------------------------------------------------


def passages(rng, *, seen, jitter_s, others_per_h, run_h, speed_error=0.0):
    """Times on in one run: a splice seen in a share of its passages, and contacts that come as they like."""
    k = np.arange(int(run_h * 3600 / SPLICE_REVOLUTION_S))
    k = k[rng.random(len(k)) < seen]
    splice = rng.uniform(0, SPLICE_REVOLUTION_S) + k * SPLICE_REVOLUTION_S * (1 + speed_error)
    others = rng.uniform(0, run_h * 3600, rng.poisson(others_per_h * run_h))
    return np.sort(np.concatenate([splice + rng.normal(0, jitter_s, len(k)), others]))


def episodes(rng, *, per_h, run_h):
    """Times on without any rhythm, each episode of one to six contacts a few seconds apart."""
    starts = rng.uniform(0, run_h * 3600, rng.poisson(per_h * run_h))
    return np.sort(
        np.concatenate([np.zeros(0), *(s + np.cumsum(rng.uniform(1, 15, rng.integers(1, 7))) for s in starts)])
    )


def share_flagged(make, n_runs, seed, **options):
    rng = np.random.default_rng(seed)
    return np.mean([fold_by_revolution(make(rng, **options), SPLICE_REVOLUTION_S).flagged for _ in range(n_runs)])


@pytest.mark.parametrize("n", CRITICAL_STRENGTH)
def test_rayleigh_against_simulated_critical_values(n):
    at_5, at_1 = CRITICAL_STRENGTH[n]
    assert rayleigh_p(n, at_5) == pytest.approx(0.05, abs=0.0015)
    assert rayleigh_p(n, at_1) == pytest.approx(0.01, abs=0.0006)


def test_rayleigh_for_many_directions_against_scipy():
    # For large n, 2 n r^2 follows chi-squared with 2 degrees of freedom.
    for p in (0.2, 0.05, 0.01):
        strength = np.sqrt(stats.chi2.isf(p, 2) / (2 * 20_000))
        assert rayleigh_p(20_000, strength) == pytest.approx(p, rel=1e-3)
    assert rayleigh_p(50, 0) == pytest.approx(1)


def test_strength_and_phase_against_scipy():
    times = np.sort(np.random.default_rng(5).uniform(0, 1e5, 300))
    times = times[np.diff(times, prepend=-1e9) > 120]
    fold = fold_by_revolution(times, SPLICE_REVOLUTION_S)
    kept = incidents._thinned(times, SPLICE_REVOLUTION_S / 2)
    angles = 2 * np.pi * (kept - kept[0]) / SPLICE_REVOLUTION_S
    assert fold.n == len(kept)
    assert fold.strength == pytest.approx(1 - stats.circvar(angles))
    assert fold.phase == pytest.approx(stats.circmean(angles) / (2 * np.pi))


def test_the_revolution_of_the_simulated_belt():
    assert revolution_time_s(340, 3.15) == pytest.approx(SPLICE_REVOLUTION_S, abs=0.01)


@pytest.mark.parametrize(
    "options",
    [
        {"seen": 0.6, "jitter_s": 3, "others_per_h": 2},
        {"seen": 0.8, "jitter_s": 5, "others_per_h": 3},
        {"seen": 0.6, "jitter_s": 3, "others_per_h": 2, "speed_error": 0.01},
    ],
)
def test_a_splice_is_found_in_95_of_100_runs(options):
    assert share_flagged(passages, 200, 20260603, run_h=2, **options) >= 0.95


@pytest.mark.parametrize("others_per_h", [5, 10, 30])
def test_contacts_without_rhythm_are_seldom_taken_for_a_splice(others_per_h):
    told = share_flagged(passages, 1500, 7, seen=0, jitter_s=1, others_per_h=others_per_h, run_h=3)
    # Nominal 0.01; three standard errors of 1500 runs above it.
    assert told <= 0.01 + 3 * np.sqrt(0.01 * 0.99 / 1500)


def test_episodes_of_several_contacts_are_seldom_taken_for_a_splice():
    told = share_flagged(episodes, 1500, 8, per_h=3, run_h=6)
    assert told <= 0.01 + 3 * np.sqrt(0.01 * 0.99 / 1500)


def test_too_few_contacts_are_no_rhythm():
    fold = fold_by_revolution([SPLICE_REVOLUTION_S * k for k in range(7)], SPLICE_REVOLUTION_S)
    assert (fold.p_value, fold.n, fold.flagged) == (None, 7, False)
    assert fold.reasons == (Reason(FoldRule.FEW_CONTACTS, {"contacts": 7, "fewest": 8}),)
    assert fold_by_revolution([], SPLICE_REVOLUTION_S).n == 0


def test_times_written_to_the_minute_tell_nothing_of_a_revolution():
    # Any contacts at all, written to the minute, would gather at one place of a revolution of 60 s.
    minutes = [EIGHT + timedelta(minutes=m) for m in (0, 3, 7, 12, 20, 31, 33, 50, 58)]
    fold = fold_by_revolution(minutes, 60)
    assert (fold.p_value, fold.flagged) == (None, False)
    assert fold.reasons == (Reason(FoldRule.COARSE_TIMES, {"stamp": 60.0, "revolution": 60, "finest": 3.0}),)
    # The same rhythm at another second of the minute is one.
    assert fold_by_revolution([m + timedelta(seconds=17) for m in minutes], 60).flagged


def test_datetimes_and_seconds_say_the_same():
    times = [EIGHT + timedelta(seconds=SPLICE_REVOLUTION_S * k + (k * 7) % 5) for k in range(12)]
    seconds = [(t - EIGHT).total_seconds() for t in times]
    told, again = fold_by_revolution(times, SPLICE_REVOLUTION_S), fold_by_revolution(seconds, SPLICE_REVOLUTION_S)
    assert told.p_value == pytest.approx(again.p_value, rel=1e-6)
    assert told.flagged


def test_a_rhythm_is_found_although_the_speed_is_a_little_off():
    rng = np.random.default_rng(5)
    start = datetime(2026, 6, 3, 6, 0, 3, tzinfo=UTC)
    seconds = 216.0 * 1.01 * np.arange(150) + rng.normal(0, 2.0, 150)
    times = [start + timedelta(seconds=float(second)) for second in seconds]
    assert fold_in_runs(times, 216.0).flagged


def test_looking_at_many_pieces_finds_no_rhythm_by_chance():
    rng = np.random.default_rng(6)
    start = datetime(2026, 6, 3, 6, 0, 3, tzinfo=UTC)
    flagged = 0
    for _ in range(200):
        seconds = np.sort(rng.uniform(0, 40 * 3600, 300))
        times = [start + timedelta(seconds=float(second)) for second in seconds]
        flagged += fold_in_runs(times, 216.0).flagged
    assert flagged <= 6
