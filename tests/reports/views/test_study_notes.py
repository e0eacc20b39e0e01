"""Notes on a comparison: who writes, who reads, that nothing is lost, and where else they are told."""

from __future__ import annotations

import csv
import datetime as dt
import io
import uuid

import pytest
from django.urls import reverse
from django.utils import timezone

from plant.errors import Refused
from reports.models import StudyNote
from reports.selectors.months import Month, changes, month_data
from reports.selectors.rates import compare_belts
from reports.selectors.studies import book_of
from reports.services.study_notes import correct_note, write_note
from reports.words.months import change_told
from tests import make

WORDS = "The restraint strap was still in until May."


@pytest.fixture
def at(belt_a1):
    make.drift_switch(belt_a1, 60.0)
    return make.installation(belt_a1, "20", installed_at=timezone.now() - dt.timedelta(days=90))


def page_of(client, at):
    return " ".join(client.get(reverse("effect-detail", args=[at.pk])).content.decode().split())


def test_the_engineer_writes_and_everyone_of_the_plant_reads(client, at, erin, pat, otto):
    url = reverse("study-note-create", args=[at.pk])
    for person, status in ((pat, 403), (otto, 403), (erin, 200)):
        client.force_login(person)
        assert client.get(url).status_code == status
    answer = client.post(url, {"text": WORDS, "client_key": str(uuid.uuid4())}, follow=True)
    assert answer.redirect_chain[-1][0] == reverse("effect-detail", args=[at.pk]) + "#notes"
    client.force_login(pat)
    page = page_of(client, at)
    assert "1 note stays with this comparison" in page
    assert WORDS in page
    assert "erin" in page
    assert url not in page
    assert WORDS in client.get(at.get_absolute_url()).content.decode()


def test_an_empty_note_is_refused_in_words(client, at, erin):
    client.force_login(erin)
    answer = client.post(reverse("study-note-create", args=[at.pk]), {"text": "  "})
    assert answer.status_code == 422
    with pytest.raises(Refused, match="The note is empty"):
        write_note(installation=at, by=erin, text="  ")


def test_the_same_form_twice_makes_one_note(at, erin):
    key = uuid.uuid4()
    both = [write_note(installation=at, by=erin, text=WORDS, client_key=key) for _time in range(2)]
    assert both[0] == both[1]
    assert StudyNote.objects.count() == 1


def test_what_is_put_right_or_taken_back_stays_readable(client, at, erin):
    first = write_note(installation=at, by=erin, text=WORDS)
    client.force_login(erin)
    url = reverse("study-note-correct", args=[first.pk])
    assert client.get(url).context["form"]["text"].value() == WORDS
    assert client.post(url, {"text": "Until June.", "reason": ""}).status_code == 422
    assert client.post(url, {"text": "Until June.", "reason": "asked again"}).status_code == 302
    page = page_of(client, at)
    assert "Until June." in page
    assert f"<del>{WORDS}</del>" in page
    with pytest.raises(Refused, match="corrected before"):
        correct_note(row=first, by=erin, text="Until July.", reason="late")
    second = StudyNote.objects.current().get()
    assert client.post(reverse("study-note-withdraw", args=[second.pk]), {"reason": "not so"}).status_code == 302
    page = page_of(client, at)
    assert "No note on this comparison yet" in page
    assert "taken back: not so" in page
    assert StudyNote.objects.count() == 3


def test_the_note_goes_into_the_file_and_into_its_month(client, at, alder, erin):
    write_note(installation=at, by=erin, text=WORDS)
    client.force_login(erin)
    answer = client.get(reverse("effect-data", args=[at.pk]))
    rows = list(csv.DictReader(io.StringIO(answer.content.decode())))
    assert [(row["item"], row["words"]) for row in rows if row["part"] == "note"] == [(str(erin), WORDS)]
    now = timezone.now()
    month = Month(timezone.localdate(now, timezone=alder.zone).replace(day=1), alder.zone)
    book = book_of(alder, now)

    def told(of):
        now, before = (month_data(alder, each, book.belts) for each in (of, of.earlier(1)))
        year = compare_belts(book.belts, of.earlier(12).window, of.window, book.reference)
        return [change_told(each) for each in changes(now, before, year, book, alder)]

    url = reverse("effect-detail", args=[at.pk])
    assert any(WORDS in each["words"] and each["url"] == url for each in told(month))
    assert not any(WORDS in each["words"] for each in told(month.earlier(1)))
