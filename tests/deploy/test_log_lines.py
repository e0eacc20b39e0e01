"""What stands in the log: who could not sign in, and no alarm for what a person mistyped."""

from __future__ import annotations

import io
import logging

import pytest
from django.conf import settings
from django.test import Client
from django.urls import reverse

from deploy.log_lines import AnswerFilter

SECRET = "correct-horse-battery"


@pytest.fixture
def lines():
    """What the terminal shows."""
    assert settings.LOGGING["handlers"]["console"]["filters"] == ["answers"]
    stream = io.StringIO()
    handler = logging.StreamHandler(stream)
    handler.setFormatter(logging.Formatter(settings.LOGGING["formatters"]["line"]["format"]))
    handler.addFilter(AnswerFilter())
    root = logging.getLogger()
    level = root.level
    root.addHandler(handler)
    root.setLevel(logging.INFO)
    yield lambda: stream.getvalue()
    root.removeHandler(handler)
    root.setLevel(level)


def test_a_failed_sign_in_can_be_read(lines, pat, settings):
    settings.AXES_ENABLED = True
    Client().post(reverse("sign-in"), {"username": "PAT", "password": SECRET}, REMOTE_ADDR="10.1.2.3")
    assert "WARNING plant.sign_in: sign-in failed: pat from 10.1.2.3" in lines()
    assert SECRET not in lines()
    assert "****" not in lines()


def test_a_password_in_the_wrong_box_is_not_written_out(lines, pat):
    Client().post(reverse("sign-in"), {"username": SECRET, "password": "pat"}, REMOTE_ADDR="10.1.2.3")
    assert "sign-in failed: a name that nobody has from 10.1.2.3" in lines()
    assert SECRET not in lines()


def test_a_sign_in_can_be_read(lines, pat):
    pat.set_password(SECRET)
    pat.save()
    Client().post(reverse("sign-in"), {"username": "pat", "password": SECRET}, REMOTE_ADDR="10.1.2.3")
    assert "INFO plant.sign_in: signed in: pat from 10.1.2.3" in lines()


def test_a_mistyped_form_is_no_alarm(lines, pat, alder):
    client = Client()
    client.force_login(pat)
    assert client.post(reverse("area-create"), {"code": ""}).status_code == 422
    assert "/areas/new/" not in lines()


def test_who_wants_to_know_of_mistyped_forms_may(lines, pat, alder):
    logging.getLogger().setLevel(logging.DEBUG)
    client = Client()
    client.force_login(pat)
    client.post(reverse("area-create"), {"code": ""})
    assert "DEBUG django.request: Unprocessable" in lines()


@pytest.mark.parametrize("address", ["/people/", "/nowhere/"])
def test_a_page_that_is_not_for_somebody_is_one_line(lines, tess, alder, address):
    client = Client()
    client.force_login(tess)
    assert client.get(address).status_code in (403, 404)
    told = [line for line in lines().splitlines() if "signed in" not in line]
    assert len(told) == 1, told
    assert "INFO django.request: " in told[0]
    assert address in told[0]


def test_a_strange_host_is_one_line(lines, db):
    assert Client().get("/", HTTP_HOST="elsewhere.example").status_code == 400
    assert "Traceback" not in lines()
    assert "elsewhere.example" in lines()


def test_a_fault_of_the_site_keeps_its_traceback(lines, pat, monkeypatch):
    client = Client(raise_request_exception=False)
    client.force_login(pat)

    def broken(*args):
        raise ValueError("broken on purpose")

    monkeypatch.setattr("plant.context_processors.nearly_full", broken)
    assert client.get("/").status_code == 500
    assert "ERROR django.request: Internal Server Error: /" in lines()
    assert "ValueError: broken on purpose" in lines()
