"""What is not allowed for in a comparison, in words."""

from __future__ import annotations

import pytest

from plant.calc.reasons import Reason
from reports.calc.reference_model import ReferenceRule, too_few_stretches
from reports.words.reference_groups import BESIDE_WORDS, BesidePlace, reference_words


@pytest.mark.parametrize(
    ("n", "words"),
    [
        (0, "No stretch without a device could serve as reference and 10 are needed: "),
        (1, "Only one stretch without a device could serve as reference and 10 are needed: "),
        (2, "Only 2 stretches without a device could serve as reference and 10 are needed: "),
    ],
)
def test_too_few_reference_stretches_are_counted_in_words_that_fit(n, words):
    (reason,) = too_few_stretches(n).reasons
    rest = "the count is taken as it is, not drawn towards what such stretches usually bring."
    assert reference_words(reason) == words + rest


def test_how_uneven_stretches_are_is_said_with_two_digits():
    said = reference_words(Reason(ReferenceRule.UNEVEN, {"dispersion": 1.6949}))
    assert said == "counts of the stretches vary 1.69 times as much as chance; errors are widened by that"


def test_every_place_beside_the_zone_has_words():
    assert set(BESIDE_WORDS) == set(BesidePlace)
