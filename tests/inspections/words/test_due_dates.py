"""Why a check is due on its day, in words."""

from datetime import date
from itertools import chain, product

import pytest

from inspections.calc.due_dates import DueRule, Shortening, next_due, next_fixed, recent_daily_hours
from inspections.calc.fixed_dates import NTH, WEEKDAYS, FixedDates, FixedRule
from inspections.words.due_dates import TEXTS, due_words
from plant.calc.reasons import Reason

DONE = date(2026, 1, 5)
WINTER = frozenset({1, 2})


def test_every_rule_has_a_text():
    words = {f"due.by_{name}" for name in ("duty", "season", "long_day")}
    words |= {f"fixed.nth_{nth}" for nth in NTH} | {f"fixed.weekday_{day}" for day in WEEKDAYS}
    assert set(TEXTS) == {*chain(DueRule, FixedRule), *words}


@pytest.mark.parametrize(
    ("due", "words"),
    [
        (next_due(DONE, interval_days=30), "30 days after 5 Jan 2026"),
        (next_due(DONE, interval_hours=500, daily_hours=10), "500 h after 5 Jan 2026 at 10.0 h a day"),
        (
            next_due(DONE, interval_hours=100, hours_since=110, as_of=date(2026, 1, 20), reached_on=date(2026, 1, 17)),
            "100 h reached on 17 Jan 2026",
        ),
        (
            next_due(DONE, interval_hours=100, hours_since=110.256, as_of=date(2026, 1, 20)),
            "100 h reached by 20 Jan 2026, 110.26 h by then",
        ),
        (
            next_due(DONE, interval_days=30, interval_hours=500),
            "30 days after 5 Jan 2026; the belt's daily running hours are unknown",
        ),
        (
            next_due(DONE, interval_hours=500, daily_hours=0.05),
            "cannot be dated: at 0.05 h a day 500 h are not reached in twenty years, and there is no interval in days",
        ),
        (
            next_due(DONE, interval_days=90, shortening=Shortening(duty=0.5)),
            "90 days after 5 Jan 2026, shortened to 50% by wet or abrasive duty",
        ),
        (
            next_due(date(2026, 2, 10), interval_days=90, shortening=Shortening(season_months=WINTER, season=0.5)),
            "90 days after 10 Feb 2026, shortened: 18 days at 50% by season",
        ),
        (
            next_due(
                date(2026, 2, 10),
                interval_days=90,
                shortening=Shortening(season_months=WINTER, season=0.5, long_day=0.8),
            ),
            "90 days after 10 Feb 2026, shortened: 44 days at 80% by long running days, 18 days at 50% by season",
        ),
    ],
)
def test_why_it_is_due_then(due, words):
    assert due_words(due.reason) == words


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        (FixedDates(1, date(2026, 1, 15)), "fixed date: day 15 of every month"),
        (FixedDates(2, date(2026, 1, 31)), "fixed date: day 31 (or the last) of every 2 months"),
        (FixedDates(1, date(2026, 1, 1), "-1"), "fixed date: the last day of every month"),
        (FixedDates(3, date(2026, 1, 1), "-1FR"), "fixed date: the last Friday of every 3 months"),
    ],
)
def test_fixed_dates(rule, words):
    assert due_words(next_fixed(rule, kept=None, not_before=DONE).reason) == words


def test_every_weekday_of_a_month_has_its_words():
    for nth, day in product(NTH, WEEKDAYS):
        assert "fixed." not in due_words(FixedDates(1, DONE, nth + day).reason)


def test_what_a_forecast_of_hours_lacks():
    assert due_words(recent_daily_hours([10.0, 9.0]).reasons[0]) == "running hours of 2 days are known; 7 are needed"
    assert due_words(recent_daily_hours([0.0] * 9).reasons[0]) == "the belt stood still on all 9 known days"


def test_what_moves_a_date():
    due = Reason(DueRule.AFTER_DAYS, {"days": 30, "last_done_on": date(2026, 1, 5)})
    since = Reason(DueRule.ASKED_SINCE, {"due": due, "on": date(2026, 2, 10)})
    assert due_words(since) == "30 days after 5 Jan 2026; asked for since 10 Feb 2026"
    estimated = Reason(DueRule.ESTIMATED, {"due": due, "n": 3})
    assert due_words(estimated) == "30 days after 5 Jan 2026 (3 days of unknown hours estimated)"
    worn = Reason(DueRule.WEAR, {"day": date(2026, 6, 1), "plan": date(2026, 12, 10)})
    assert due_words(worn) == "wear: a sensor roller may be at its limit on 1 Jun 2026; by plan on 10 Dec 2026"
