"""What each kind of check says: limits beside a box, and what a finding calls for."""

from itertools import chain

import pytest

from inspections.check_rules.base import ShownLimit, Suggestion
from inspections.models import CheckKind
from inspections.words.check_rules import TEXTS, limit_words, suggested_action
from plant.calc.reasons import Reason
from plant.calc.units import UnitSystem

METRIC, US = UnitSystem.METRIC, UnitSystem.US


def test_every_rule_has_a_text():
    assert set(TEXTS) == set(chain(ShownLimit, Suggestion))


@pytest.mark.parametrize(
    ("reason", "metric", "us"),
    [
        (
            Reason(ShownLimit.ROLLER, {"new_mm": 76.0, "limit_mm": None}),
            "new 76 mm, limit not stated",
            "new 2.992 in, limit not stated",
        ),
        (Reason(ShownLimit.FORCE, {"limit_n": 80.0}), "limit 80 N", "limit 18 lbf"),
        (
            Reason(ShownLimit.TORQUE, {"target_nm": 100.0, "tolerance_pct": 10.0}),
            "target 100 N·m, within 10 %",
            "target 73.8 lbf·ft, within 10 %",
        ),
        (
            Reason(ShownLimit.NO_TARGET, {"target_nm": None, "tolerance_pct": 10.0}),
            "target not stated",
            "target not stated",
        ),
        (
            Reason(ShownLimit.OFFSET, {"permitted_mm": 60.0}),
            "permitted 60 mm; drive side plus, off side minus",
            "permitted 2.362 in; drive side plus, off side minus",
        ),
        (None, "", ""),
    ],
)
def test_limits_beside_a_box(reason, metric, us):
    assert (limit_words(reason, METRIC), limit_words(reason, US)) == (metric, us)


def test_from_its_third_time_a_finding_calls_for_a_study_of_its_cause():
    kind = CheckKind(rule=CheckKind.Rule.LIMITS, name="Frame")
    assert [suggested_action(kind, n) for n in (0, 1, 2)] == [
        "Put right: Frame",
        "Put right: Frame",
        "Study the cause: Frame says act 3 times running",
    ]
