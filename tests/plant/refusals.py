"""What a calculation refused, in the words that people read."""

from __future__ import annotations

import re

from plant.calc.reasons import NotAccepted
from plant.words.imports import import_words


class refused_with:
    """The block is refused, and its sentence holds these words (a regular expression).

    It keeps the reason and not the error, whose frames would hold open whatever was being read.
    """

    def __init__(self, words):
        self.words, self.reason = words, None

    def __enter__(self):
        return self

    def __exit__(self, _kind, error, _trace):
        if error is None:
            raise AssertionError(f"not refused with {self.words!r}")
        if not isinstance(error, NotAccepted):
            return False
        self.reason = error.reason
        assert re.search(self.words, self.said), self.said
        assert self.said.endswith((".", "?")), self.said
        return True

    @property
    def said(self):
        return import_words(self.reason)
