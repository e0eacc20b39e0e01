"""Windows that an engineer sets: reasons, refusals, and that nothing is lost."""

from __future__ import annotations

import datetime as dt
import uuid

import pytest

from plant.errors import Refused
from reports.models import StudyWindow
from reports.selectors.studies import chosen_windows
from reports.services.study_windows import go_back_to_rule, set_window
from tests import make

INSTALLED = dt.datetime(2026, 1, 5, 8, tzinfo=dt.UTC)


@pytest.fixture
def at(belt_a1):
    return make.installation(belt_a1, "20", installed_at=INSTALLED)


def test_a_later_window_takes_the_place_of_the_earlier_one_and_both_stay(at, erin):
    key = uuid.uuid4()
    first = set_window(installation=at, by=erin, reason="dry summer", before_months=18, client_key=key)
    assert set_window(installation=at, by=erin, reason="dry summer", before_months=18, client_key=key) == first
    second = set_window(installation=at, by=erin, reason="two summers", before_months=24)
    assert list(StudyWindow.objects.current()) == [second]
    assert StudyWindow.objects.with_corrections().count() == 2
    assert second.corrects == first
    go_back_to_rule(window=second, by=erin, reason="rule after all")
    assert not StudyWindow.objects.current().exists()
    assert StudyWindow.objects.count() == 3


def test_a_window_set_as_at_an_earlier_day_counts_from_then_on(at, erin):
    row = set_window(installation=at, by=erin, reason="fixed before anyone counted", set_at=INSTALLED)
    second = dt.timedelta(seconds=1)
    assert chosen_windows([at], at=INSTALLED - second) == {}
    assert chosen_windows([at], at=INSTALLED + second) == {at.pk: row}


@pytest.mark.parametrize(
    ("values", "words", "field"),
    [
        ({"reason": " "}, "Say why", "reason"),
        ({"after_from": dt.date(2026, 1, 4)}, "4 Jan 2026 lies before the installation on 5 Jan 2026", "after_from"),
        ({"after_until": dt.date(2999, 1, 1)}, "is in the future", "after_until"),
        (
            {"after_from": dt.date(2026, 3, 1), "after_until": dt.date(2026, 2, 1)},
            "would end on 1 Feb 2026, not after it starts on 1 Mar 2026",
            "after_until",
        ),
        ({"before_months": 0}, "greater than or equal to 1", "before_months"),
        ({"before_months": 61}, "less than or equal to 60", "before_months"),
    ],
)
def test_what_cannot_be_is_refused(at, erin, values, words, field):
    with pytest.raises(Refused, match=words) as refusal:
        set_window(installation=at, by=erin, **{"reason": "because", **values})
    assert field in refusal.value.fields
    assert not StudyWindow.objects.exists()
