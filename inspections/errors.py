"""Refusals of this app that carry more than a sentence."""

from __future__ import annotations

from collections.abc import Mapping

from plant.calc.reasons import Reason
from plant.errors import Refused


class NotClosedOut(Refused):
    """A visit that was not closed out yet. Nothing was written.

    `fields` names what is at fault; `questions` say what is odd about readings, by key of the reading
    (task:code:stage), asked once; `suggested_action` is what a finding calls for.
    """

    def __init__(
        self,
        message: str,
        *,
        fields: Mapping[str, str] | None = None,
        questions: Mapping[str, Reason] | None = None,
        suggested_action: str = "",
    ) -> None:
        super().__init__(message, code="not_closed_out", fields=fields)
        self.questions = dict(questions or {})
        self.suggested_action = suggested_action
