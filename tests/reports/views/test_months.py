"""Pages of the month: who may, what is shown, every figure down to its rows, files."""

from __future__ import annotations

import datetime as dt
import io

import pytest
from django.core import mail
from django.urls import reverse
from django.utils import timezone
from openpyxl import load_workbook
from pypdf import PdfReader

from inspections.models import Action
from reports.models import MonthlyReport, Subscription
from reports.services.decision_mails import send_decisions
from reports.services.months import draft_month, end_token, publish_month, subscribe
from tests import make

OCTOBER = dt.date(2026, 10, 1)


@pytest.fixture
def draft(alder, belt_a1, erin, time_machine):
    time_machine.move_to(dt.datetime(2026, 11, 2, 9, tzinfo=dt.UTC), tick=False)
    start, end = (dt.datetime(2026, month, 1, tzinfo=dt.UTC) for month in (9, 11))
    make.run_record(belt_a1, start, end, 1000.0)
    make.incident(belt_a1, dt.datetime(2026, 10, 5, 12, tzinfo=dt.UTC), minutes_lost=30, severity="trip")
    return draft_month(plant=alder, month=OCTOBER, by=erin)


@pytest.fixture
def report(draft, erin):
    return publish_month(draft, by=erin, version=draft.version)


def pages(report):
    names = ("month-detail", "month-pdf", "month-xlsx")
    return [reverse(name, args=[report.pk]) for name in names] + [reverse("month-rows", args=[report.pk, "incidents"])]


def test_everyone_of_the_plant_reads_the_month_and_nobody_else(client, report, tess, otto):
    client.force_login(otto)
    assert {client.get(url).status_code for url in pages(report)} == {404}
    client.force_login(tess)
    assert {client.get(url).status_code for url in pages(report)} == {200}
    assert client.get(reverse("month-list")).status_code == 200


@pytest.mark.parametrize(
    ("name", "who"), [("month-update", "mona"), ("month-publish", "tess"), ("month-publish", "pat")]
)
def test_without_the_right_no_act(client, request, draft, name, who):
    client.force_login(request.getfixturevalue(who))
    assert client.post(reverse(name, args=[draft.pk]), {"version": 1}).status_code == 403


def test_a_draft_says_so_and_a_manager_publishes_it(client, draft, mona):
    client.force_login(mona)
    page = client.get(draft.get_absolute_url()).content.decode()
    assert "Draft of edition 1" in page
    url = reverse("month-publish", args=[draft.pk])
    assert "never" not in client.get(url).content.decode()
    answer = client.post(url, {"version": 1})
    assert answer.url == draft.get_absolute_url()
    assert "It never changes" in client.get(draft.get_absolute_url()).content.decode()
    assert client.post(url, {"version": 2}).status_code == 422


def test_when_a_decision_was_due_reads_as_the_site_writes_days(client, draft, alder, belt_a1, mona, time_machine):
    time_machine.move_to(dt.datetime(2026, 10, 1, 9, tzinfo=dt.UTC), tick=False)
    place = make.installation(belt_a1, "20")
    Action.objects.create(plant=alder, installation=place, title="Free the pivot", due_on=dt.date(2026, 10, 4))
    time_machine.move_to(dt.datetime(2026, 11, 2, 9, tzinfo=dt.UTC), tick=False)
    client.force_login(mona)
    pdf = PdfReader(io.BytesIO(client.get(reverse("month-pdf", args=[draft.pk])).content))
    told = [client.get(url).content.decode() for url in (draft.get_absolute_url(), "/")]
    told += [" ".join(page.extract_text() for page in pdf.pages)]
    assert send_decisions(timezone.now()) == 1
    told += [mail.outbox[0].body, mail.outbox[0].alternatives[0][0]]
    for text in (" ".join(each.split()) for each in told):
        assert "Free the pivot" in text
        assert "due 4 Oct 2026" in text
        assert "2026-10-04" not in text


def test_each_figure_with_rows_links_to_them_and_they_to_the_live_row(client, report, mona):
    client.force_login(mona)
    page = client.get(report.get_absolute_url()).content.decode()
    url = reverse("month-rows", args=[report.pk, "incidents"])
    assert url in page
    rows = client.get(url).content.decode()
    assert "A-1" in rows
    assert "/incidents/" in rows
    assert client.get(reverse("month-rows", args=[report.pk, "nothing"])).status_code == 404


def test_files_hold_the_figures(client, report, mona):
    client.force_login(mona)
    for paper, width in (("a4", 595), ("us-letter", 612)):
        answer = client.get(reverse("month-pdf", args=[report.pk]), {"paper": paper})
        pdf = PdfReader(io.BytesIO(answer.content))
        assert round(pdf.pages[0].mediabox.width) == width
        text = " ".join(page.extract_text() for page in pdf.pages)
        assert "30 min" in text
        assert "edition 1" in text
    book = load_workbook(io.BytesIO(client.get(reverse("month-xlsx", args=[report.pk])).content))
    assert book["incidents"].max_row == 2
    assert book["figures"]["A2"].value == "Incidents per 1000 running hours"


def test_an_engineer_comments_and_a_clash_keeps_both(client, draft, erin):
    client.force_login(erin)
    url = reverse("month-update", args=[draft.pk])
    assert client.post(url, {"comment": "wet", "version": 1}).status_code == 302
    assert client.post(url, {"comment": "dry", "version": 1}).status_code == 409
    assert MonthlyReport.objects.get(pk=draft.pk).comment == "wet"


def test_a_new_edition_needs_a_reason_and_shows_what_changed(client, report, erin, belt_a1):
    client.force_login(erin)
    url = reverse("month-create")
    asked = {"month": "2026-10", "reason": "", "client_key": "5b1f8a52-7a8c-4c38-9a68-3f1df0f9a001"}
    assert client.post(url, asked).status_code == 422
    make.incident(belt_a1, dt.datetime(2026, 10, 9, tzinfo=dt.UTC))
    answer = client.post(url, {**asked, "reason": "late log"})
    page = client.get(answer.url).content.decode()
    assert "Why edition 2: late log" in page
    assert "1 rows more" in page


def test_e_mail_of_the_month_is_one_button(client, report, mona):
    mona.email = "mona@example.org"
    mona.save()
    client.force_login(mona)
    client.post(reverse("month-subscribe"), {"wants": "yes"})
    assert "Stop the e-mail" in client.get(reverse("month-list")).content.decode()
    client.post(reverse("month-subscribe"), {"wants": "no"})
    assert "Send it to me" in client.get(reverse("month-list")).content.decode()


def test_manager_finds_the_month_on_the_start_page(client, report, mona):
    client.force_login(mona)
    assert report.get_absolute_url() in client.get("/").content.decode()


def test_the_link_in_the_mail_ends_it_without_signing_in_and_only_by_its_form(client, report, mona):
    mona.email = "mona@example.org"
    mona.save()
    subscribe(plant=report.plant, person=mona, wants=True)
    url = reverse("month-mail-end", args=[end_token(report.plant, mona)])
    page = client.get(url)  # mail programs open links by themselves
    assert (page.status_code, "Send it no longer" in page.content.decode()) == (200, True)
    assert Subscription.objects.count() == 1
    strict = client.__class__(enforce_csrf_checks=True)  # a mail program has no cookie
    assert strict.post(url, {"List-Unsubscribe": "One-Click"}).status_code == 200
    assert Subscription.objects.count() == 0
    assert "no longer" in client.get(url).content.decode()
    assert client.get(reverse("month-mail-end", args=["made-up"])).status_code == 404


def test_an_edition_of_before_reads_as_it_was_printed(client, report, belt_a1, mona):
    """Its content has none of the newer sentences, and its one ratio was of plain counts: no newer words beside it."""
    make.installation(belt_a1, "20", installed_at=dt.datetime(2026, 9, 5, tzinfo=dt.UTC))
    content = {name: value for name, value in report.content.items() if name not in NEWER} | {"changes": []}
    content["groups"] = [
        {"kind": "fleet", "name": "all", "field": "", "n": 4, "counts": [], "ratio": "0.43 (0.28-0.64)"}
    ]
    MonthlyReport.objects.filter(pk=report.pk).update(content=content)
    client.force_login(mona)
    page = " ".join(client.get(report.get_absolute_url()).content.decode().split())
    assert "Nothing changed beyond chance, and no rule" in page
    assert "One ratio for all" in page
    assert "Chance high counts before an installation are not taken out of it" in page
    assert "Middle of the devices" not in page
    answer = client.get(reverse("month-pdf", args=[report.pk]))
    text = " ".join(" ".join(each.extract_text() for each in PdfReader(io.BytesIO(answer.content)).pages).split())
    assert "Nothing beyond chance; no rule was changed" in text
    assert "0.43 (0.28-0.64)" in text
    assert "Chance high counts before an installation are not taken out of it" in text


NEWER = {"no_changes", "counted", "groups_note"}


def test_an_edition_of_today_says_what_is_pooled_and_what_did_not_change(client, draft, belt_a1, erin, mona):
    make.drift_switch(belt_a1, 80.0)
    for n, number in enumerate(("20", "21")):
        make.installation(
            belt_a1, number, chainage_m=100.0 + 60 * n, installed_at=dt.datetime(2026, 9, 5, tzinfo=dt.UTC)
        )
    made = publish_month(draft, by=erin, version=draft.version)
    assert set(made.content) >= NEWER
    client.force_login(mona)
    page = " ".join(client.get(made.get_absolute_url()).content.decode().split())
    for words in ("Middle of the devices", "Plain counts, one ratio", "Comparisons (can be judged)"):
        assert words in page
    assert "2 comparisons of 2 devices" in page
    answer = client.get(reverse("month-pdf", args=[made.pk]))
    text = " ".join(" ".join(each.extract_text() for each in PdfReader(io.BytesIO(answer.content)).pages).split())
    assert "Middle of the devices" in text
    assert "2 comparisons of 2 devices" in text
