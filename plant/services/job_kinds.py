"""Which function does which kind of job. Apps register theirs in jobs.py; the worker looks them up by name."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.utils import timezone
from django.utils.functional import Promise

from plant.models import Job


class JobStopped(Exception):
    """A person asked to stop; what was done so far stays."""


class JobLost(Exception):
    """Another worker took the job over, because this one was silent for too long."""


@dataclass
class JobHandle:
    """What a running job uses to say how far it is and to learn that it should stop."""

    job_id: int
    holder: str

    def progress(self, done: int, total: int, words: str = "") -> None:
        """Write a heartbeat and the progress. Raises JobStopped or JobLost; call it between rows or chunks."""
        held = Job.objects.filter(pk=self.job_id, holder=self.holder, state=Job.State.RUNNING)
        if not held.update(heartbeat_at=timezone.now(), done_units=done, total_units=total, words=words[:200]):
            raise JobLost
        if held.filter(stop_requested=True).exists():
            raise JobStopped

    def still_mine(self) -> bool:
        """True while this worker holds the job; ask inside the transaction that writes."""
        return bool(
            Job.objects.filter(pk=self.job_id, holder=self.holder, state=Job.State.RUNNING).update(
                heartbeat_at=timezone.now()
            )
        )


StrOrPromise = str | Promise
JobFunction = Callable[[JobHandle, dict[str, Any]], "dict[str, Any] | None"]
_functions: dict[str, JobFunction] = {}
_words: dict[str, StrOrPromise] = {}


def job_kind(name: str, words: StrOrPromise = "") -> Callable[[JobFunction], JobFunction]:
    """Register the function of a kind of job. It must be safe to run again from the start or from where it was.

    `words` is what the keeper of the site reads of it.
    """

    def add(function: JobFunction) -> JobFunction:
        _functions[name] = function
        _words[name] = words or name
        return function

    return add


def kind_words(name: str) -> str:
    """What a kind of job is called; one that no code does any more is called by its name."""
    return str(_words.get(name, name))


JobEnding = Callable[[Job], None]
_endings: dict[str, JobEnding] = {}


def when_job_ends(kind: str) -> Callable[[JobEnding], JobEnding]:
    """Register what is done when a job of a kind is over, however it ended: done, stopped, failed or given up."""

    def add(function: JobEnding) -> JobEnding:
        _endings[kind] = function
        return function

    return add


def ending_of(kind: str) -> JobEnding | None:
    return _endings.get(kind)


def function_of(kind: str) -> JobFunction:
    try:
        return _functions[kind]
    except KeyError:
        raise LookupError(
            f"No function is registered for jobs of kind {kind!r}; known: {sorted(_functions)}."
        ) from None
