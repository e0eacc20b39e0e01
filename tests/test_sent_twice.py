"""A form sent twice by the same person: what records something is asked about once, what changes a row just stands."""

from __future__ import annotations

import datetime as dt
import uuid

import pytest
from django.apps import apps
from django.db import connection
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from plant.models import Area, Incident, SentForm
from plant.services.sent_forms import SAME_FOR, digest_of
from plant.views.records import RecordPage
from tests.page_forms import forms_in
from tests.test_true_forms import Walk, book, furnished_once, said  # noqa: F401
from tests.true_forms import TRUE
from tests.two_plants import addresses

VIEWS = {name: getattr(view, "view_class", None) for name, _route, _arguments, view in addresses()}
PAGES = {
    name: view for name, view in VIEWS.items() if name in TRUE and view is not None and issubclass(view, RecordPage)
}
RECORDING = sorted({name for name, view in PAGES.items() if view.asks_again} | {"visit-create"})
CHANGING = sorted(name for name, view in PAGES.items() if not view.asks_again)
APPS = ("plant", "installs", "inspections", "reports")
NO_ROWS = {"SentForm", "Job", "KeptResult", "WriteCounter", "Notice"}


def rows_of_the_book():
    models = [each for name in APPS for each in apps.get_app_config(name).get_models()]
    kept = [each for each in models if each.__name__ not in NO_ROWS and not each.__name__.startswith("Historical")]
    counts = (f"SELECT '{each.__name__}', count(*) FROM {each._meta.db_table}" for each in kept)
    with connection.cursor() as cursor:
        cursor.execute(" UNION ALL ".join(counts))
        return dict(cursor.fetchall())


def filled(book, name):  # noqa: F811
    walk, example = Walk(book), TRUE[name]
    if example.before is not None:
        book.known.update(example.before(book) or {})
    client = walk.signed_in(example.by)
    data, _moments = walk.filled_in(client, name, example)
    return client, walk.address(name), data, example


def rewound(data):
    for each in data.values():
        for one in each if isinstance(each, list | tuple) else [each]:
            if hasattr(one, "seek"):
                one.seek(0)
    return data


def test_what_records_something_asks():
    named = {"incident-create", "meter-reading-create", "part-change-create", "action-create", "visit-create"}
    assert named <= set(RECORDING)


@pytest.mark.parametrize("name", RECORDING)
def test_the_same_from_another_page_is_asked_about_once(book, name):  # noqa: F811
    client, address, data, example = filled(book, name)
    assert client.post(address, data).status_code == example.answer
    before = rows_of_the_book()
    answer = client.post(address, {**rewound(data), "client_key": str(uuid.uuid4())})
    assert answer.status_code == 409
    page = answer.content.decode()
    assert "You recorded the same" in page
    assert "Open what stands there" in page
    rows = rows_of_the_book()
    assert {model: n - before[model] for model, n in rows.items() if n != before[model] and model != "Photo"} == {}
    # Who says that it is another one sends it once more, as the page stands.
    form = next(each for each in forms_in(page, address) if "again" in each.names and each.method == "post")
    assert "again" in form.sent
    again = client.post(address, {**rewound(data), **form.filled({})})
    assert "You recorded the same" not in again.content.decode()


@pytest.mark.parametrize("name", CHANGING)
def test_what_was_sent_twice_stands_as_sent(book, name):  # noqa: F811
    """A double click without scripts: two equal requests, one after the other."""
    client, address, data, example = filled(book, name)
    first = client.post(address, data)
    assert first.status_code == example.answer
    before = rows_of_the_book()
    second = client.post(address, rewound(data))
    if second.status_code not in (302, 404):  # 404: what was there to be changed is over, and its page with it
        pytest.fail(f"{second.status_code}: {said(second.context)}")
    assert rows_of_the_book() == before


# --- the rule itself --------------------------------------------------------------------------------------------------
@pytest.fixture
def sent(client, pat, belt_a1):
    client.force_login(pat)
    address = reverse("incident-create")
    form = next(each for each in forms_in(client.get(address).content.decode(), address) if "severity" in each.names)
    data = form.filled({"conveyor": belt_a1.pk, "strand": "return", "chainage_m": "44"})

    def send(**values):
        return client.post(address, {**data, "client_key": str(uuid.uuid4()), **values})

    assert send().status_code == 302
    return send


def test_a_form_with_the_same_key_is_one_row_without_a_question(sent):
    key = str(uuid.uuid4())
    assert [sent(note="twice", client_key=key).status_code for _time in range(2)] == [302, 302]
    assert Incident.objects.filter(note="twice").count() == 1


def test_other_content_another_person_or_a_later_time_is_not_asked_about(sent, client, erin, time_machine):
    assert sent().status_code == 409
    assert sent(note="another").status_code == 302
    client.force_login(erin)
    assert sent().status_code == 302
    time_machine.move_to(timezone.now() + SAME_FOR + dt.timedelta(minutes=1))
    assert sent().status_code == 302


def test_what_was_refused_is_not_what_was_recorded(sent):
    assert sent(severity="nothing").status_code == 422
    assert SentForm.objects.count() == 1
    assert SentForm.objects.get().url


@pytest.mark.parametrize(("seconds", "words"), [(40, "40 s ago"), (150, "2 minutes ago")])
def test_the_question_says_how_long_ago(sent, time_machine, seconds, words):
    time_machine.move_to(SentForm.objects.get().sent_at + dt.timedelta(seconds=seconds), tick=False)
    assert f"You recorded the same {words}." in sent().content.decode()


def test_somebody_else_s_change_is_still_one(client, alder, pat, erin):
    area = Area.objects.create(plant=alder, code="K", name="Kiln", created_by=pat)
    address = reverse("area-update", args=[area.pk])
    client.force_login(pat)
    form = next(each for each in forms_in(client.get(address).content.decode(), address) if "name" in each.names)
    data = form.filled({"name": "Kiln, north"})
    assert client.post(address, data).status_code == 302
    twice = client.post(address, data, follow=True)
    assert "It stands as you sent it." in twice.content.decode()
    other = Client()
    other.force_login(pat)
    other_words = other.post(address, {**data, "name": "Kiln, south"}).content.decode()
    assert "Somebody else changed this record meanwhile" in other_words
    area.refresh_from_db()
    assert other.post(address, {**data, "name": "Kiln, south", "version": area.version}).status_code == 302
    # What was sent first is not what stands now.
    assert client.post(address, data).status_code == 409
    area.refresh_from_db()
    assert area.name == "Kiln, south"


def test_the_checksum_takes_no_notice_of_keys_and_tells_files_apart():
    values = {"note": ["a"], "client_key": ["1"], "csrfmiddlewaretoken": ["x"]}
    assert digest_of("/x/", values, []) == digest_of("/x/", {**values, "client_key": ["2"]}, [])
    assert digest_of("/x/", values, []) != digest_of("/y/", values, [])
    assert digest_of("/x/", values, []) != digest_of("/x/", {**values, "note": ["b"]}, [])
    assert digest_of("/x/", values, [("photo", "a.jpg", 3)]) != digest_of("/x/", values, [("photo", "a.jpg", 4)])
