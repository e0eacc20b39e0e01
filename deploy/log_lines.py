"""What the terminal shows of answers that are no fault of the site."""

from __future__ import annotations

import logging

# A form that was mistyped, or a record that somebody else changed first: its page says so to the person.
FOR_THE_PERSON = {409, 422}
ABOUT_REQUESTS = ("django.request", "django.security")


class AnswerFilter(logging.Filter):
    """Takes answers from 400 to 499 for what they are: one line, no traceback, and mistyped forms for DEBUG only.

    A form whose token is stale stays a warning: it may be a forged one.
    """

    def filter(self, record: logging.LogRecord) -> bool:
        status = getattr(record, "status_code", None) or 0
        if not record.name.startswith(ABOUT_REQUESTS) or not 400 <= status < 500:
            return True
        record.exc_info = record.exc_text = None
        if record.name != "django.security.csrf":
            record.levelno = logging.DEBUG if status in FOR_THE_PERSON else logging.INFO
            record.levelname = logging.getLevelName(record.levelno)
        return record.levelno >= logging.getLogger().level
