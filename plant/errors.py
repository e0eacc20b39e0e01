"""What a person can put right comes as one of these; views and API show them in one shape."""

from __future__ import annotations

from collections.abc import Mapping


class Refused(Exception):
    """An act that was not done, with a sentence for the person and, where they are known, the fields at fault."""

    def __init__(self, message: str, *, code: str = "refused", fields: Mapping[str, str] | None = None) -> None:
        super().__init__(message)
        self.message = message
        self.code = code
        self.fields = dict(fields or {})


class ChangedMeanwhile(Refused):
    """Somebody else changed the record after this person opened it. Nothing was written."""

    def __init__(self, message: str, *, current: object) -> None:
        super().__init__(message, code="changed_meanwhile")
        self.current = current
