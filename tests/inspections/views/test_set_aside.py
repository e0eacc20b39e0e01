"""What a phone sets aside: its text is on the site, the planners know, and it is settled by them or by arriving."""

import json
import uuid

import pytest
from django.urls import reverse
from django.utils import timezone

from inspections.models import SetAside, Visit
from inspections.services import set_aside
from plant.models import Membership, Notice
from plant.services import records
from tests import make


@pytest.fixture
def place(belt_a1):
    return make.installation(belt_a1)


@pytest.fixture
def wear(place):
    return make.task(place, make.check_kind("sensor-wear"), make.today())


@pytest.fixture
def typed(wear):
    return {
        "task": [str(wear.pk)],
        "visited_at": timezone.now().isoformat(),
        "lockout_confirmed": "on",
        "note": "scraper hangs",
        f"t{wear.pk}-drive_diameter-as_found": "74.2",
        f"t{wear.pk}-off_diameter-as_found": "75",
    }


@pytest.fixture
def told(place, tess, typed):
    return {
        "key": str(uuid.uuid4()),
        "kind": "visit",
        "person": tess.pk,
        "installation": place.pk,
        "made_at": timezone.now().isoformat(),
        "answer": "500",
        "tries": 5,
        "n_photos": 2,
        "content": json.dumps({"kind": "visit", "system": "metric", "fields": typed, "photos": []}),
    }


def send(client, given, address="round-aside"):
    return client.post(reverse(address), json.dumps(given), content_type="application/json")


def test_its_text_is_kept_and_the_planners_are_told(client, told, tess, pat, erin):
    client.force_login(tess)
    answer = send(client, told)
    row = SetAside.objects.get()
    assert (answer.status_code, answer.json()) == (200, {"set_aside": row.pk, "url": row.get_absolute_url()})
    assert (row.content, row.answer, row.tries, row.n_photos, row.created_by) == (told["content"], "500", 5, 2, tess)
    notice = Notice.objects.get()
    assert (notice.person, notice.url) == (pat, row.get_absolute_url())
    assert notice.text.startswith("Visit of tess at A-1")
    assert not Visit.objects.exists()


def test_a_plant_without_a_planner_tells_the_engineer(client, told, tess, pat, erin):
    Membership.objects.filter(person=pat).delete()
    client.force_login(tess)
    send(client, told)
    assert Notice.objects.get().person == erin


def test_the_page_shows_what_was_typed_and_who_settles_it(client, told, tess, pat):
    client.force_login(tess)
    address = send(client, told).json()["url"]
    client.force_login(pat)
    assert address in client.get("/").content.decode()
    page = client.get(address).content.decode()
    for words in ("The site failed on it 5 times (answer 500)", "2 photos stay on the phone", "scraper hangs"):
        assert words in page
    assert "Sensor wear, drive diameter, as found</td>" in page
    assert ">74.2</td>" in page
    assert "Units of the phone</td>" in page
    assert ">yes</td>" in page
    row = SetAside.objects.get()
    assert client.post(address, {"version": row.version, "settled_note": " "}).status_code == 422
    assert client.post(address, {"version": row.version, "settled_note": "entered by hand"}).status_code == 302
    row.refresh_from_db()
    assert (row.settled_by, row.settled_note) == (pat, "entered by hand")
    assert address not in client.get("/").content.decode()
    assert "entered by hand" in client.get(address).content.decode()


UNREADABLE = ["", "[]", "null", '{"fields": 5}', '{"fields": {"t1-x": {"a": 1}}}', "[" * 50_000]
HALVES = ['{"fields": {"note": "\\ud800", "t1-\\udfff-as_found": ["\\ud800"]}, "system": "\\ud800"}']


@pytest.mark.parametrize("content", UNREADABLE + HALVES)
def test_text_that_cannot_be_read_is_shown_whole(client, told, tess, content):
    client.force_login(tess)
    address = send(client, {**told, "content": content}).json()["url"]
    page = client.get(address)
    assert page.status_code == 200
    assert content[:100].replace('"', "&quot;") in page.content.decode()


def test_sent_and_failed_once_more_it_waits_again_with_its_newer_text(client, told, tess, pat):
    client.force_login(tess)
    send(client, told)
    row = SetAside.objects.get()
    client.force_login(pat)
    client.post(row.get_absolute_url(), {"version": row.version, "settled_note": "not needed"})
    client.force_login(tess)
    send(client, {**told, "content": "{}"})
    row.refresh_from_db()
    assert (row.content, row.settled_at, row.settled_by, row.settled_note) == ("{}", None, None, "")
    assert list(row.history.values_list("settled_note", flat=True)) == ["", "not needed", ""]
    assert Notice.objects.count() == 1


def test_it_is_settled_by_arriving(client, told, typed, tess, pat):
    client.force_login(tess)
    send(client, told)
    same = {name: told[name] for name in ("key", "kind", "person", "installation", "made_at")}
    entry = {**same, "sent_at": timezone.now().isoformat(), "system": "metric", "photos": [], "fields": typed}
    assert send(client, entry, "round-entries").status_code == 200
    row = SetAside.objects.get()
    assert (row.settled_by, row.settled_note) == (tess, "Sent again from the phone; it is in the book.")


def test_nobody_writes_over_another_persons(client, told, tess, pat, erin):
    client.force_login(tess)
    send(client, told)
    client.force_login(pat)
    assert send(client, told).json()["code"] == "other_person"
    answer = send(client, {**told, "person": pat.pk, "content": "{}"})
    assert (answer.status_code, answer.json()["code"]) == (422, "refused")
    assert SetAside.objects.get().content == told["content"]


@pytest.fixture
def entry(told, typed):
    same = {name: told[name] for name in ("key", "kind", "person", "installation", "made_at")}
    return {**same, "sent_at": timezone.now().isoformat(), "system": "metric", "photos": [], "fields": typed}


def meanwhile(monkeypatch, name, act):
    """Let somebody else do something between the reading of the row and its writing by that function, once."""
    real, left = getattr(set_aside, name), [act]

    def write(row, **values):
        if left:
            left.pop()()
        return real(row, **values)

    monkeypatch.setattr(set_aside, name, write)


@pytest.fixture
def settled_by_pat(pat):
    def settle():
        row = SetAside.objects.get()
        records.change_record(
            row, by=pat, version=row.version, settled_note="by hand", settled_by=pat, settled_at=timezone.now()
        )

    return settle


def test_who_settles_it_while_it_arrives_is_first_and_the_phone_hears_that_it_is_kept(
    client, told, entry, tess, pat, monkeypatch, settled_by_pat
):
    client.force_login(tess)
    send(client, told)
    meanwhile(monkeypatch, "settle", settled_by_pat)
    answer = send(client, entry, "round-entries")
    assert (answer.status_code, answer.json()["visit"]) == (200, Visit.objects.get().pk)
    row = SetAside.objects.get()
    assert (row.settled_by, row.settled_note) == (pat, "by hand")
    assert send(client, entry, "round-entries").json()["visit"] == Visit.objects.get().pk


def test_what_is_told_anew_while_it_arrives_is_settled_all_the_same(client, told, entry, tess, monkeypatch):
    """The same phone in another tab: its text changed the row, and still the entry is in the book."""
    client.force_login(tess)
    send(client, told)

    def told_anew():
        row = SetAside.objects.get()
        records.change_record(row, by=tess, version=row.version, tries=6)

    meanwhile(monkeypatch, "settle", told_anew)
    assert send(client, entry, "round-entries").status_code == 200
    row = SetAside.objects.get()
    assert (row.tries, row.settled_by) == (6, tess)


def test_set_aside_again_while_somebody_settles_it_waits_again(client, told, tess, pat, monkeypatch, settled_by_pat):
    client.force_login(tess)
    send(client, told)
    meanwhile(monkeypatch, "change_record", settled_by_pat)
    assert send(client, {**told, "content": "{}"}).status_code == 200
    row = SetAside.objects.get()
    assert (row.content, row.settled_by) == ("{}", None)


def test_what_is_in_the_book_already_waits_for_nobody(client, told, entry, tess, pat):
    """The site kept the visit and failed over its answer: no planner is asked to enter it a second time."""
    client.force_login(tess)
    send(client, entry, "round-entries")
    for _again in range(2):
        assert send(client, told).status_code == 200
        row = SetAside.objects.get()
        assert (row.settled_by, row.settled_note) == (tess, "Sent again from the phone; it is in the book.")
    assert not Notice.objects.filter(key__startswith="set-aside").exists()
