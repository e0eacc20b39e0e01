"""Mails are sent once: what an answer of a mail server says, and by what a mail is known that is sent again.

A server that takes a mail and is lost before it says so has it, and the site cannot know: it sends it again under the
same Message-ID (RFC 5322, 3.6.4), by which servers and mail programs take the two for one (RFC 1047).
"""

from __future__ import annotations

import smtplib
from urllib.parse import urlsplit

from django.conf import settings


def is_refused_for_good(error: Exception) -> bool:
    """Whether the server will never take this mail: a 5yz about its recipient or its content (RFC 5321, 4.2.1).

    Anything else (nobody answers, it hung up, it is busy, it knows not the site) says nothing of the mail: that one
    waits until the server is back, however long.
    """
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        return all(code >= 500 for code, _words in error.recipients.values())
    return isinstance(error, smtplib.SMTPDataError) and error.smtp_code >= 500


def message_id(*parts: object) -> str:
    """The same for the same mail, however often it is sent."""
    return f"<{'.'.join(map(str, parts))}@{urlsplit(settings.SITE_ADDRESS).hostname or 'driftbook.invalid'}>"
