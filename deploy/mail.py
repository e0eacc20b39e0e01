"""The two ways in which mails leave the site, counted as they go: sent, or refused with what the server said."""

from __future__ import annotations

import logging
import smtplib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from django.core.mail.backends import filebased, smtp
from django.core.mail.backends.base import BaseEmailBackend
from django.core.mail.message import EmailMessage

from plant.models import Tally
from plant.services.health import tally

log = logging.getLogger(__name__)

MOST_LOST = 3


def count(outcome: str, words: str = "", n: int = 1) -> None:
    """A mail matters more than its count."""
    try:
        tally(Tally.What.MAIL, outcome, words=words, n=n)
    except Exception:
        log.warning("a mail was %s, but could not be counted", outcome, exc_info=True)


@contextmanager
def counted_where_refused() -> Iterator[None]:
    """Opening the connection stands within sending: a refusal is counted once."""
    try:
        yield
    except Exception as error:
        if not getattr(error, "is_counted", False):
            error.is_counted = True  # type: ignore[attr-defined]
            count("refused", f"{type(error).__name__}: {error}")
        raise


class Counted(BaseEmailBackend):
    """What both ways share, before the one that sends."""

    def send_messages(self, email_messages: Sequence[EmailMessage]) -> int:
        with counted_where_refused():
            n = super().send_messages(email_messages) or 0
        if n:
            count("sent", n=n)
        return n


class ServerAway(OSError):
    """Not tried any more in this run."""


class SmtpBackend(Counted, smtp.EmailBackend):
    """After a connection that was lost the next mail gets a new one; after some, the rest of the run waits."""

    n_lost = 0

    def open(self) -> Any:
        with counted_where_refused():
            return super().open()

    def send_messages(self, email_messages: Sequence[EmailMessage]) -> int:
        if self.n_lost >= MOST_LOST:
            raise ServerAway(f"the mail server was lost {MOST_LOST} times in a row; the mail waits for the next run")
        try:
            n = super().send_messages(email_messages)
        except (smtplib.SMTPRecipientsRefused, smtplib.SMTPResponseException):
            self.n_lost = 0  # it answered
            raise
        except OSError:
            self.n_lost += 1
            self.drop()
            raise
        self.n_lost = 0
        return n

    def drop(self) -> None:
        lost, self.connection = self.connection, None
        if lost is not None:
            lost.close()


class FileBackend(Counted, filebased.EmailBackend):
    pass
