"""What an answer of a mail server says of the mail (RFC 5321: 4yz is for now, 5yz for good)."""

from __future__ import annotations

import smtplib

import pytest

from plant.services.mails import is_refused_for_good, message_id


@pytest.mark.parametrize(
    ("error", "is_for_good"),
    [
        (smtplib.SMTPRecipientsRefused({"a@b.example": (550, b"no such user")}), True),
        (smtplib.SMTPRecipientsRefused({"a@b.example": (451, b"later")}), False),
        (smtplib.SMTPDataError(554, b"no"), True),
        (smtplib.SMTPDataError(452, b"no room"), False),
        (smtplib.SMTPSenderRefused(530, b"sign in first", "site@b.example"), False),
        (smtplib.SMTPAuthenticationError(535, b"no"), False),
        (smtplib.SMTPConnectError(421, b"busy"), False),
        (smtplib.SMTPServerDisconnected("gone"), False),
        (ConnectionRefusedError("nobody listens"), False),
        (TimeoutError("timed out"), False),
    ],
)
def test_only_a_word_about_this_mail_counts_against_it(error, is_for_good):
    assert is_refused_for_good(error) is is_for_good


def test_a_mail_has_one_name_however_often_it_is_sent(settings):
    settings.SITE_ADDRESS = "https://driftbook.plant.example"
    assert message_id("daily", 1, 2, "2026-03-02") == "<daily.1.2.2026-03-02@driftbook.plant.example>"
