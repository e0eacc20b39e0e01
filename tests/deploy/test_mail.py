"""Mails that leave the site are counted: sent, or refused with what the server said."""

from __future__ import annotations

import smtplib

import pytest
from django.core.mail import EmailMessage, get_connection

from plant.models import Tally


def counted():
    return {each.outcome: (each.n, each.last_words) for each in Tally.objects.filter(what="mail")}


def test_a_mail_that_is_written_as_a_file_is_counted(db, settings, tmp_path):
    settings.EMAIL_FILE_PATH = tmp_path
    with get_connection("deploy.mail.FileBackend") as connection:
        for _twice in range(2):
            EmailMessage("Late", "Two checks", to=["pat@alder.example"], connection=connection).send()
    assert counted() == {"sent": (2, "")}
    assert "Two checks" in next(tmp_path.iterdir()).read_text()


class Refusing:
    """A mail server that takes nothing: at the door, or the letter."""

    def __init__(self, *args, **kwargs):
        pass

    def sendmail(self, *args, **kwargs):
        raise smtplib.SMTPRecipientsRefused({"pat@alder.example": (550, b"no such user")})

    def quit(self):
        pass


@pytest.mark.parametrize("at_the_door", [True, False])
def test_a_refusal_is_counted_once_with_its_words(db, monkeypatch, at_the_door):
    def door(*args, **kwargs):
        raise smtplib.SMTPConnectError(421, b"too busy")

    monkeypatch.setattr("smtplib.SMTP", door if at_the_door else Refusing)
    connection = get_connection("deploy.mail.SmtpBackend", host="mail.alder.example")
    with pytest.raises(smtplib.SMTPException):
        EmailMessage("Late", "Two checks", to=["pat@alder.example"], connection=connection).send()
    n, words = counted()["refused"]
    assert n == 1
    assert ("421" if at_the_door else "550") in words
    assert "sent" not in counted()


def test_opening_alone_is_counted_too(db, monkeypatch):
    def door(*args, **kwargs):
        raise ConnectionRefusedError("nobody listens")

    monkeypatch.setattr("smtplib.SMTP", door)
    with pytest.raises(ConnectionRefusedError), get_connection("deploy.mail.SmtpBackend", host="mail.alder.example"):
        pass
    assert counted()["refused"] == (1, "ConnectionRefusedError: nobody listens")


def test_a_mail_goes_though_it_cannot_be_counted(db, settings, tmp_path, monkeypatch, caplog):
    settings.EMAIL_FILE_PATH = tmp_path
    monkeypatch.setattr("deploy.mail.tally", lambda *args, **kwargs: 1 / 0)
    mail = EmailMessage("Late", "Two checks", to=["pat@alder.example"])
    assert get_connection("deploy.mail.FileBackend").send_messages([mail]) == 1
    assert "could not be counted" in caplog.text
