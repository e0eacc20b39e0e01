"""The reasons of a verdict in words, and the rules of the verdict with a plant's numbers."""

from __future__ import annotations

import dataclasses

from plant.calc.rates import compare_rates
from reports.calc.bad_spells import SpellCheck
from reports.calc.empirical_bayes import EffectIndex
from reports.calc.verdicts import EffectVerdict, VerdictRules, judge
from reports.words.study_rules import verdict_rules
from reports.words.verdicts import VERDICT_WORDS, reasons_words

INDEX = EffectIndex(0.47, None, 0.47, 0.2, 1.05, 0.2, 20.0, 20.0, 9.0, 0.2296, 0.9224)
SPELLS = SpellCheck(44, 60, 18.0, 1e-6, 2.9, (20, 10))


def words(*counts, **changed):
    told = {"coverage_before": 1.0, "coverage_after": 1.0, "n_detectors": 1} | changed
    return reasons_words(judge(compare_rates(*counts), **told))


def test_every_verdict_has_words():
    assert set(VERDICT_WORDS) == set(EffectVerdict)


def test_what_stands_in_the_way_is_said_with_its_numbers():
    assert words(29, 4800, 6, 4700, n_detectors=0, coverage_before=0.79) == (
        "No switch and no logged station stands in the effect zone: incidents there may go unseen."
        " Running hours are known for 79 % of the period before; 80 % are needed."
    )
    assert words(0, 0, 6, 4700).endswith("There are no running hours before to compare with.")


def test_counts_alone_say_so():
    assert words(29, 4800, 6, 4700) == (
        "29 incidents in 4800 h before, 6 in 4700 h after. Ratio 0.21 (0.07 to 0.52). The whole 95 % interval lies "
        "below 1. These are counts alone: neither devices being put where it was worst nor what happened elsewhere "
        "meanwhile is allowed for."
    )


def test_the_limit_that_decides_is_said_with_the_verdict():
    said = words(24, 4400, 8, 4100, shrunk=INDEX)
    assert "what untreated stretches did: 0.47 (0.20 to 1.05). The whole 95 % interval lies below 1." in said
    assert said.endswith("the one-sided 95 % limit, which decides beside it, is 0.92: below 1.")
    near = dataclasses.replace(INDEX, high_one_sided=0.9973)
    assert words(24, 4400, 8, 4100, shrunk=near).endswith("is 0.997: below 1.")  # never "1.00: below 1"
    assert "0.47 (0.20 to 1.05); not for devices being put where it was worst." in words(
        24, 4400, 8, 4100, compared=INDEX
    )


def test_how_long_to_wait_is_said_in_whole_hours():
    assert words(14, 4900, 0, 95).endswith(
        "The 95 % interval includes 1. About 1382 h more, free of incidents, are needed before that means fewer. "
        "95 h after are fewer than the 2450 h that the rule asks for."
    )
    assert words(0, 4000, 0, 4000).endswith(
        "No incident on either side: nothing to compare. Without an incident on either side no running time can be "
        "stated. Without an incident before none can have become fewer."
    )
    assert words(1, 5000, 0, 5000).endswith(
        "Even with none in the 5000 h after, 1 incident before would have been too few to say that they became fewer."
    )


def test_bad_spells_are_said_with_what_they_make_of_the_interval():
    assert words(30, 9000, 14, 9000, spells=SPELLS).startswith(
        "30 incidents in 9000 h before, 14 in 9000 h after. Ratio 0.47 (0.23 to 0.91). Incidents come in bad spells "
        "(60 close pairs where chance brings 18.0; 20 and 10 bad days before and after), so the interval is widened by "
        "a dispersion of 2.9: 0.12 to 1.50. The exact interval leaves out 1, the one widened for bad spells does not."
    )


def test_rules_are_written_with_the_numbers_that_decide():
    told = verdict_rules(VerdictRules())
    assert len(told) == 6
    assert "one-sided 95 % limit" in told[1]
    promises = [each for each in told if "at most 5 %" in each]
    assert len(promises) == 1
    assert "fewer or more in at most 5 % of cases, both together" in promises[0]
    strict = VerdictRules(level=0.9, least_coverage=0.95, margin=(0.9, 1.1), least_after_share=1.0)
    text = " ".join(verdict_rules(strict))
    assert all(part in text for part in ("95 %", "90 %", "at most 10 %", "0.9 and 1.1", "1 times"))
