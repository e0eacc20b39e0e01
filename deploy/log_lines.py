"""What lines of the log look like: which answers are no fault of the site, and what each line is about."""

from __future__ import annotations

import datetime as dt
import json
import logging

from plant.services.log_marks import job_at_hand, request_at_hand

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


class MarksFilter(logging.Filter):
    """Gives each line the request and the job that it is about; all of them pass."""

    def filter(self, record: logging.LogRecord) -> bool:
        request, job = request_at_hand(), job_at_hand()
        told = [f"{name} {mark}" for name, mark in (("job", job), ("request", request)) if mark]
        vars(record).update(request_id=request, job_id=job, marks=f" [{', '.join(told)}]" if told else "")
        return True


class JsonFormatter(logging.Formatter):
    """One JSON object a line, for whoever collects logs; times in UTC (RFC 3339)."""

    def format(self, record: logging.LogRecord) -> str:
        told = {
            "at": dt.datetime.fromtimestamp(record.created, dt.UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname,
            "logger": record.name,
            "message": record.getMessage(),
            "request": getattr(record, "request_id", ""),
            "job": getattr(record, "job_id", ""),
            "process": record.process,
            "status": getattr(record, "status_code", None),
            "traceback": self.formatException(record.exc_info) if record.exc_info else "",
        }
        return json.dumps({name: value for name, value in told.items() if value not in ("", None)}, ensure_ascii=False)
