"""What each line of the log bears beside its words: the request and the job that it is about.

No models and no settings: the log is set up before there are any.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

_request: ContextVar[str] = ContextVar("request", default="")
_job: ContextVar[str] = ContextVar("job", default="")


def fresh_id() -> str:
    """A name for one request; twelve signs can be read aloud, and two of a year are never the same but by a wonder."""
    return uuid.uuid4().hex[:12]


def request_at_hand() -> str:
    """The request that is being answered, or that asked for the job at hand; empty for what runs by itself."""
    return _request.get()


def job_at_hand() -> str:
    return _job.get()


@contextmanager
def marked(*, request: str = "", job: int | str = "") -> Iterator[None]:
    """Let the lines that are logged within bear these marks."""
    before = (_request.set(request), _job.set(str(job)))
    try:
        yield
    finally:
        _request.reset(before[0])
        _job.reset(before[1])
