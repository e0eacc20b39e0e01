"""A reason in words: the person's units, the table's words, reasons within reasons; and what a row keeps of it."""

from __future__ import annotations

import json
from enum import StrEnum

import pytest

from plant.calc.reasons import Reason, Word, reason_kept
from plant.calc.units import UnitSystem
from plant.words.reasons import sentence, sentences


class Rule(StrEnum):
    BETWEEN = "between"
    OFF = "off"
    BOTH = "both"
    COUNT = "count"
    AFTER = "after"


class Side(StrEnum):
    DRIVE = "drive"


TEXTS = {
    Rule.BETWEEN: "%(found_nm)s lies between %(low_nm_number)s and %(high_nm)s.",
    Rule.OFF: "%(off_mm)s off on the %(side)s, wanted at most %(most_mm)s.",
    Rule.BOTH: "First: %(first)s Then: %(rest)s",
    Rule.COUNT: "%(n)d of them.",
    Rule.AFTER: "After %(ran_h)s, %(share_pct)s.",
    Side.DRIVE: "drive side",
}
BETWEEN = Reason(Rule.BETWEEN, {"found_nm": 75.0, "low_nm": 70.2, "high_nm": 79.2})
OFF = Reason(Rule.OFF, {"off_mm": 76.0, "most_mm": 60.0, "side": Side.DRIVE})


def test_values_stand_in_the_readers_units():
    assert sentence(BETWEEN, TEXTS, UnitSystem.METRIC) == "75 N·m lies between 70.2 and 79.2 N·m."
    assert sentence(BETWEEN, TEXTS, UnitSystem.US) == "55.3 lbf·ft lies between 51.8 and 58.4 lbf·ft."


def test_lengths_of_a_tape_are_sixteenths():
    assert sentence(OFF, TEXTS, UnitSystem.US, tape=True) == "3 in off on the drive side, wanted at most 2 3/8 in."
    assert sentence(OFF, TEXTS, UnitSystem.US) == "2.992 in off on the drive side, wanted at most 2.362 in."


@pytest.mark.parametrize("system", UnitSystem)
def test_hours_and_shares_are_the_same_for_everybody(system):
    assert sentence(Reason(Rule.AFTER, {"ran_h": 1234.567, "share_pct": 113.7}), TEXTS, system) == (
        "After 1234.57 h, 113.7 %."
    )


def test_reasons_stand_within_reasons():
    both = Reason(Rule.BOTH, {"first": OFF, "rest": (BETWEEN, Reason(Rule.COUNT, {"n": 2}))})
    assert sentence(both, TEXTS, UnitSystem.METRIC) == (
        "First: 76 mm off on the drive side, wanted at most 60 mm."
        " Then: 75 N·m lies between 70.2 and 79.2 N·m. 2 of them."
    )
    assert sentences([OFF, BETWEEN], TEXTS, UnitSystem.METRIC).startswith("76 mm off")


def test_a_reading_beyond_a_limit_has_the_digits_that_show_it():
    beyond = Reason("beyond", {"found_mm": 25.004, "limit_mm": 25.0})
    texts = {"beyond": "%(found_apart)s is above %(limit)s."}
    assert sentence(beyond, texts, UnitSystem.METRIC) == "25.004 mm is above 25 mm."
    assert sentence(beyond, texts, UnitSystem.US) == "0.984409 in is above 0.984 in."
    far = Reason("beyond", {"found": 39.9966, "limit": 25.0})
    assert sentence(far, texts, UnitSystem.US) == "40 is above 25."
    unknown = Reason("beyond", {"found_mm": None, "limit_mm": 25.0})
    assert sentence(unknown, texts, UnitSystem.METRIC) == "not stated is above 25 mm."


def test_one_rule_is_asked_of_several_kinds_of_quantity():
    texts = {"meant": "%(found)s of %(found_number)s"}
    for values, said in (
        ({"found_nm": 2.5}, "2.5 N·m of 2.5"),
        ({"found_mm": 3}, "3 mm of 3"),
        ({"found": 4.0}, "4 of 4"),
    ):
        assert sentence(Reason("meant", values), texts, UnitSystem.METRIC) == said


def test_what_is_not_known_says_so():
    nothing = Reason(Rule.BETWEEN, {"found_nm": None, "low_nm": None, "high_nm": 79.2})
    assert sentence(nothing, TEXTS, UnitSystem.METRIC) == "not stated lies between not stated and 79.2 N·m."


def test_what_a_person_typed_stays_as_it_is():
    assert sentence(Reason(Rule.OFF, {"off_mm": 1.0, "most_mm": 2.0, "side": "100 % of it"}), TEXTS, UnitSystem.US) == (
        "0.039 in off on the 100 % of it, wanted at most 0.079 in."
    )


@pytest.mark.parametrize("typed", ["drive", "count", "100 % of it"])
def test_what_reads_like_a_word_of_the_table_stays_as_it_was_typed(typed):
    """Somebody may call a fastener "drive": that is no side, neither at once nor when a row is read."""
    off = Reason(Rule.OFF, {"off_mm": 1.0, "most_mm": 2.0, "side": typed})
    back = reason_kept(json.loads(json.dumps(off.kept())))
    for each in (off, back):
        assert sentence(each, TEXTS, UnitSystem.METRIC) == f"1 mm off on the {typed}, wanted at most 2 mm."


@pytest.mark.parametrize("word", [Side.DRIVE, Word("drive")])
def test_a_word_of_the_table_is_said_also_when_a_row_is_read(word):
    off = Reason(Rule.OFF, {"off_mm": 1.0, "most_mm": 2.0, "side": word})
    assert off.kept()["values"]["side"] == {"word": "drive"}
    back = reason_kept(json.loads(json.dumps(off.kept())))
    assert back == off
    for each in (off, back):
        assert sentence(each, TEXTS, UnitSystem.METRIC) == "1 mm off on the drive side, wanted at most 2 mm."


def test_a_row_keeps_rule_and_values():
    both = Reason(Rule.BOTH, {"first": OFF, "rest": (BETWEEN, Reason(Rule.COUNT, {"n": 2}))})
    back = reason_kept(json.loads(json.dumps(both.kept())))
    assert back == both
    assert hash(back) == hash(both)
    assert sentence(back, TEXTS, UnitSystem.US) == sentence(both, TEXTS, UnitSystem.US)


def test_a_row_without_a_rule_is_no_reason():
    with pytest.raises(ValueError, match="names its rule"):
        reason_kept({"values": {}})


def test_a_text_that_names_a_value_that_is_not_there_fails():
    with pytest.raises(KeyError):
        sentence(Reason(Rule.COUNT), TEXTS, UnitSystem.METRIC)


def test_a_topic_may_write_a_value_its_own_way_also_within_a_reason():
    after = Reason(Rule.AFTER, {"ran_h": 1234.567, "share_pct": 113.7})
    ways = {"ran_h": lambda hours: f"{hours:.0f} h"}
    assert sentence(after, TEXTS, UnitSystem.US, writers=ways) == "After 1235 h, 113.7 %."
    both = Reason(Rule.BOTH, {"first": after, "rest": (after,)})
    assert sentence(both, TEXTS, UnitSystem.US, writers=ways).count("1235 h") == 2
    unknown = Reason(Rule.AFTER, {"ran_h": None, "share_pct": None})
    assert sentence(unknown, TEXTS, UnitSystem.US, writers=ways) == "After not stated, not stated."
