"""What is said of the energy that a belt stores."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from plant.words.energies import energies_of


@pytest.mark.parametrize(
    ("energies", "lift_m", "words"),
    [
        ("", 0.0, "nothing is in the book yet: find out how the belt is tensioned and what can start it"),
        ("", 12.0, "incline, the belt can roll back; others are not in the book: find out how"),
        ("take-up weight.", 0.0, "take-up weight"),
    ],
)
def test_what_the_book_does_not_know_is_to_be_found_out(energies, lift_m, words):
    belt = SimpleNamespace(energies=energies, lift_m=lift_m, is_reversing=False)
    assert energies_of(belt).startswith(words)
