"""What stands in the log: who could not sign in, and no alarm for what a person mistyped."""

from __future__ import annotations

import datetime as dt
import io
import json
import logging

import pytest
from django.conf import settings
from django.test import Client
from django.urls import reverse

from deploy.log_lines import AnswerFilter, JsonFormatter, MarksFilter
from plant.services import job_kinds
from plant.services.jobs import ask_for_job, do_job
from plant.services.log_marks import marked

SECRET = "correct-horse-battery"


@pytest.fixture
def lines():
    """What the terminal shows."""
    assert settings.LOGGING["handlers"]["console"]["filters"] == ["answers", "marks"]
    stream = io.StringIO()
    handler = logging.StreamHandler(stream)
    handler.setFormatter(logging.Formatter(settings.LOGGING["formatters"]["line"]["format"]))
    handler.addFilter(AnswerFilter())
    handler.addFilter(MarksFilter())
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


def lines_of(told, mark):
    return [line for line in told.splitlines() if mark in line]


def test_each_request_has_a_name_in_its_answer_and_in_its_lines(lines, pat, settings):
    settings.AXES_ENABLED = True
    answer = Client().post(reverse("sign-in"), {"username": "pat", "password": SECRET}, REMOTE_ADDR="10.1.2.3")
    name = answer["X-Request-ID"]
    assert name != Client().get(reverse("sign-in"))["X-Request-ID"]
    [line] = lines_of(lines(), "sign-in failed")
    assert line.endswith(f" [request {name}]")
    logging.getLogger("plant").info("nothing is asked")
    assert lines_of(lines(), "nothing is asked")[0].endswith("nothing is asked")


def test_a_name_from_outside_is_taken_only_where_the_settings_say_so(settings, db):
    send = {"headers": {"X-Trace": "proxy-7f.3"}}
    assert Client().get("/sign-in/", **send)["X-Request-ID"] != "proxy-7f.3"
    settings.REQUEST_ID_HEADER = "X-Trace"
    assert Client().get("/sign-in/", **send)["X-Request-ID"] == "proxy-7f.3"
    for junk in ("", "a b", "x" * 65, 'a"}', "a\tb"):
        assert len(Client().get("/sign-in/", headers={"X-Trace": junk})["X-Request-ID"]) == 12


def test_a_person_can_name_the_request_that_failed(lines, pat, monkeypatch):
    client = Client(raise_request_exception=False)
    client.force_login(pat)
    monkeypatch.setattr("plant.context_processors.nearly_full", lambda free: 1 / 0)
    answer = client.get("/")
    name = answer["X-Request-ID"]
    assert f'<b class="tag">{name}</b>' in answer.content.decode()
    assert lines_of(lines(), "Internal Server Error")[0].endswith(f" [request {name}]")
    assert f"a page failed, reference {name}, GET /" in lines()


def test_lines_of_a_job_name_it_and_the_request_that_asked(lines, db, monkeypatch, django_capture_on_commit_callbacks):
    monkeypatch.setattr(job_kinds, "_functions", dict(job_kinds._functions))

    @job_kinds.job_kind("talks")
    def talks(handle, args):
        logging.getLogger("plant.talk").info("at work")
        raise ValueError("no such belt")

    with marked(request="asked-1"):
        job = ask_for_job("talks")
    do_job(job.pk)
    for words in ("plant.talk: at work", "(talks) failed"):
        assert lines_of(lines(), words)[0].endswith(f" [job {job.pk}, request asked-1]")
    by_itself = ask_for_job("talks")
    do_job(by_itself.pk)
    assert lines_of(lines(), "at work")[1].endswith(f" [job {by_itself.pk}]")


def test_a_job_that_a_job_asks_for_is_of_the_same_request(db, monkeypatch):
    monkeypatch.setattr(job_kinds, "_functions", dict(job_kinds._functions))
    asked = []
    job_kinds.job_kind("second")(lambda handle, args: None)
    job_kinds.job_kind("first")(lambda handle, args: asked.append(ask_for_job("second")))
    with marked(request="asked-2"):
        first = ask_for_job("first")
    do_job(first.pk)
    assert asked[0].request_id == "asked-2"


def test_a_line_may_be_one_json_object():
    stream = io.StringIO()
    handler = logging.StreamHandler(stream)
    handler.setFormatter(JsonFormatter())
    handler.addFilter(MarksFilter())
    log = logging.Logger("plant.test")
    log.addHandler(handler)
    with marked(request="abc", job=5):
        try:
            raise ValueError("no “such” belt\nin any line")
        except ValueError:
            log.exception("job %s failed", 5)
    log.warning("alone")
    failed, alone = (json.loads(line) for line in stream.getvalue().splitlines())
    told = [failed[name] for name in ("message", "level", "request", "job")]
    assert told == ["job 5 failed", "ERROR", "abc", "5"]
    assert "ValueError: no “such” belt\nin any line" in failed["traceback"]
    assert dt.datetime.fromisoformat(failed["at"]).utcoffset() == dt.timedelta(0)
    assert {"request", "job", "traceback"}.isdisjoint(alone)
