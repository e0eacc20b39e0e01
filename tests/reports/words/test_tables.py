"""Every rule of a topic has one text, and each text can be written from values of the names that it asks for."""

from __future__ import annotations

import re

import pytest

from plant.calc.rates import RateRule
from plant.calc.reasons import Reason
from plant.calc.units import UnitSystem
from plant.words.reasons import sentence
from reports.calc.bad_spells import SpellRule
from reports.calc.empirical_bayes import IndexRule
from reports.calc.life import LifeRule
from reports.calc.offsets import OffsetChangeRule
from reports.calc.pooled import PoolRule
from reports.calc.reference_model import ReferenceRule
from reports.calc.study_windows import WindowRule
from reports.calc.verdicts import VerdictRule
from reports.selectors.belts import Happened
from reports.selectors.offset_studies import NoOffsetAnswer, NotMeasured
from reports.selectors.periods import Compared
from reports.words import (
    belts,
    offset_studies,
    part_lives,
    periods,
    pooled_effects,
    reference_groups,
    study_windows,
    verdicts,
)

TABLES = {
    "belts": (belts.TEXTS, {}, set(Happened)),
    "periods": (periods.TEXTS, {}, set(Compared)),
    "study_windows": (study_windows.TEXTS, {}, set(WindowRule)),
    "reference_groups": (
        reference_groups.TEXTS,
        reference_groups.WRITERS,
        {*ReferenceRule, *IndexRule, *SpellRule},
    ),
    "offset_studies": (offset_studies.TEXTS, {}, {*OffsetChangeRule, *NotMeasured, *NoOffsetAnswer}),
    "part_lives": (part_lives.TEXTS, part_lives.WRITERS, set(LifeRule)),
    "pooled_effects": (pooled_effects.TEXTS, {}, set(PoolRule)),
    "verdicts": (verdicts.TEXTS, verdicts.WRITERS, {*VerdictRule, *RateRule}),
}


@pytest.mark.parametrize("topic", TABLES)
def test_every_rule_has_a_text(topic):
    texts, _writers, rules = TABLES[topic]
    assert set(texts) == rules


@pytest.mark.parametrize("system", UnitSystem)
@pytest.mark.parametrize("topic", TABLES)
def test_every_text_can_be_written(topic, system):
    texts, writers, _rules = TABLES[topic]
    for rule, text in texts.items():
        asked = re.findall(r"%\((\w+)\)([sd])", str(text))
        values = {name.removesuffix("_number"): 7 if kind == "d" else 2.5 for name, kind in asked}
        said = sentence(Reason(rule, values), texts, system, writers=writers)
        assert said
        assert "%(" not in said


@pytest.mark.parametrize("topic", TABLES)
def test_no_writer_is_left_over(topic):
    texts, writers, _rules = TABLES[topic]
    asked = {name for text in texts.values() for name in re.findall(r"%\((\w+)\)s", str(text))}
    assert set(writers) <= asked
