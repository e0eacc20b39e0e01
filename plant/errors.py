"""What a person can put right comes as one of these; views and API show them in one shape."""

from __future__ import annotations

from collections.abc import Mapping
from copy import copy
from typing import Any, Self

from plant.calc.reasons import Reason


class Refused(Exception):
    """An act that was not done, with a sentence for the person and, where they are known, the fields at fault.

    Where it comes of a rule, `reason` says which, `reasons` which each field breaks, and `texts` is the topic's table:
    `plant.words.refusals` makes such a refusal (`refused`) and says it in the person's units (`refusal_words`,
    `field_words`); `message` and `fields` are then its sentences in SI units, for a log or a terminal.
    """

    reason: Reason | None = None
    reasons: Mapping[str, Reason] = {}
    texts: Mapping[str, Any] = {}
    # The page of what stands in the way, where there is one: the form leads there.
    stands_at: str = ""

    def __init__(self, message: str, *, code: str = "refused", fields: Mapping[str, str] | None = None) -> None:
        super().__init__(message)
        self.message = message
        self.code = code
        self.fields = dict(fields or {})

    def renamed(self, names: Mapping[str, str]) -> Self:
        """The same refusal with its fields under the names that the asking form has for them."""
        other = copy(self)
        other.fields = {names.get(name, name): words for name, words in self.fields.items()}
        other.reasons = {names.get(name, name): reason for name, reason in self.reasons.items()}
        return other


class ChangedMeanwhile(Refused):
    """Somebody else changed the record after this person opened it. Nothing was written."""

    def __init__(self, message: str, *, current: object) -> None:
        super().__init__(message, code="changed_meanwhile")
        self.current = current
