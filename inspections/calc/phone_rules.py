"""Numbers and named rules of all grades, for the page that grades while a reading is typed."""

from __future__ import annotations

from typing import Any

from inspections.calc.grading import (
    ACT_SHARE,
    CHOICE_RULES,
    DIFFERENCE_SHARE,
    OFFSET_WATCH_SHARE,
    WATCH_SHARE,
    Grade,
    GradeRule,
)
from inspections.calc.plausible import GROWTH_ALLOWANCE_MM, KINDS, LIKE_BEFORE, MOST_SIGMA, OF_LENGTHS, SLIPS
from installs.calc.fasteners import LOOSE_SHARE, SLACK, TOLERANCE_PCT, TOOL_DEVIATION_PCT


def grading_rules() -> dict[str, Any]:
    """Names and numbers of all rules as plain JSON, for the page that grades while a reading is typed.

    Returns
    -------
    dict
        Grades from best to worst; for each kind its start values and the grade of each named rule.
    """
    return {
        "grades": [str(grade) for grade in Grade],
        "slack": SLACK,
        **_wear_rules(),
        **_pivot_rules(),
        **_fastener_rules(),
        **_limit_rules(),
        "choice": {"rules": {rule: str(grade) for grade, rule in CHOICE_RULES.items()}},
        "implausible": _implausible_rules(),
    }


def _wear_rules() -> dict[str, Any]:
    """Rollers of a sensor: one by itself, and the two of a pair."""
    return {
        "sensor_wear": {
            "watch_share": WATCH_SHARE,
            "act_share": ACT_SHARE,
            "share": "max(0, (new_mm - diameter_mm) / (new_mm - limit_mm))",
            "rules": {
                GradeRule.ROLLER_SEIZED: "act",
                GradeRule.ROLLER_FLAT_SPOT: "act",
                GradeRule.WEAR_AT_LIMIT: "act",
                GradeRule.WEAR_ACT: "act",
                GradeRule.WEAR_WATCH: "watch",
                GradeRule.WEAR_SOUND: "sound",
            },
        },
        "sensor_pair": {
            "difference_share": DIFFERENCE_SHARE,
            "share": "abs(drive_mm - off_mm) / (new_mm - limit_mm)",
            "rules": {GradeRule.PAIR_ONE_SIDED: "watch", GradeRule.PAIR_EVEN: "sound"},
        },
    }


def _pivot_rules() -> dict[str, Any]:
    """How freely the frame swings."""
    return {
        "pivot": {
            "share": "breakaway_n / limit_n",
            "above_limit": "one grade worse",
            "rules": {
                GradeRule.PIVOT_FREE: "sound",
                GradeRule.PIVOT_STIFF: "watch",
                GradeRule.PIVOT_SEIZED: "act",
                GradeRule.PIVOT_FORCE: None,
                GradeRule.PIVOT_FORCE_WITHIN: None,
            },
        },
    }


def _fastener_rules() -> dict[str, Any]:
    """Fasteners: the torque found, and the mark across head and plate."""
    return {
        "torque": {
            "tolerance_pct": TOLERANCE_PCT,
            "tool_deviation_pct": TOOL_DEVIATION_PCT,
            "loose_share": LOOSE_SHARE,
            "share": "as_found_nm / target_nm",
            "rules": {
                GradeRule.TORQUE_LOOSE: "act",
                GradeRule.TORQUE_MAYBE_LOOSE: "watch",
                GradeRule.TORQUE_OUTSIDE: "watch",
                GradeRule.TORQUE_WITHIN: "sound",
            },
        },
        "witness_mark": {"rules": {GradeRule.MARK_IN_LINE: "sound", GradeRule.MARK_ROTATED: "act"}},
    }


def _limit_rules() -> dict[str, Any]:
    """Readings held against two limits: those of a plant's own kinds, and where the belt runs."""
    return {
        "limits": {
            "rules": {
                GradeRule.LIMITS_ACT_LOW: "act",
                GradeRule.LIMITS_ACT_HIGH: "act",
                GradeRule.LIMITS_WATCH_LOW: "watch",
                GradeRule.LIMITS_WATCH_HIGH: "watch",
                GradeRule.LIMITS_WITHIN: "sound",
                GradeRule.LIMITS_NONE: None,
            },
        },
        "offset": {
            "watch_share": OFFSET_WATCH_SHARE,
            "share": "abs(offset_mm) / permitted_mm",
            "rules": {
                GradeRule.OFFSET_BEYOND: "act",
                GradeRule.OFFSET_WATCH: "watch",
                GradeRule.OFFSET_WITHIN: "sound",
            },
        },
    }


def _implausible_rules() -> dict[str, Any]:
    """What is asked about before it is kept."""
    return {
        "growth_allowance_mm": GROWTH_ALLOWANCE_MM,
        "like_before": LIKE_BEFORE,
        "most_sigma": MOST_SIGMA,
        "slips": [{"factor": factor, "rule": rule, "of_lengths": rule in OF_LENGTHS} for factor, rule in SLIPS.items()],
        "kinds": KINDS,
    }
