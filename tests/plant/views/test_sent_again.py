"""A form whose token or sign-in was over keeps what was typed."""

from __future__ import annotations

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from plant.models import Area
from tests.page_forms import forms_in

HERE = {"HTTP_ORIGIN": "http://testserver"}
TYPED = {"code": "K", "name": 'Kiln\nand "cooler" <b>', "csrfmiddlewaretoken": "x" * 64}


@pytest.fixture
def strict(pat):
    client = Client(enforce_csrf_checks=True)
    client.force_login(pat)
    return client


def typed(client, address, **values):
    """What a person sends from the page as it stands."""
    forms = forms_in(client.get(address).content.decode(), address)
    return next(each for each in forms if each.action == address).filled(values)


def resend(client, answer, address):
    form = next(each for each in forms_in(answer.content.decode(), address) if each.action == address)
    return client.post(address, form.filled({}), **HERE)


def test_a_stale_token_keeps_the_text_and_the_next_press_saves_it(strict, alder):
    address = reverse("area-create")
    given = typed(strict, address, code="K", name="Kiln, north")
    answer = strict.post(address, {**given, "csrfmiddlewaretoken": "x" * 64}, **HERE)
    assert answer.status_code == 403
    page = answer.content.decode()
    assert "Nothing was saved yet" in page
    assert "CSRF" not in page
    assert "signed in as <b>pat</b>" in page
    assert not Area.objects.exists()
    assert resend(strict, answer, address).status_code == 302
    assert Area.objects.get().name == "Kiln, north"


def test_text_is_kept_to_the_letter(strict, alder):
    address = reverse("area-create")
    answer = strict.post(address, TYPED, **HERE)
    assert "<b>&quot;" not in answer.content.decode()
    form = next(each for each in forms_in(answer.content.decode(), address) if each.action == address)
    assert form.sent["name"] == [TYPED["name"]]


@pytest.mark.parametrize(
    "sent_from",
    [{}, {"HTTP_ORIGIN": "https://elsewhere.example"}, {"HTTP_ORIGIN": "null"}, {"HTTP_REFERER": "http://x.example/"}],
)
def test_a_form_of_another_site_is_not_offered_again(strict, alder, sent_from):
    answer = strict.post(reverse("area-create"), TYPED, **sent_from)
    assert answer.status_code == 403
    assert "did not come from a page of this site" in answer.content.decode()
    assert "Kiln" not in answer.content.decode()


def test_a_password_is_never_shown_again(pat):
    answer = Client(enforce_csrf_checks=True).post(
        reverse("sign-in"), {"username": "pat", "password": "once-only-secret"}, **HERE
    )
    assert answer.status_code == 403
    assert "once-only-secret" not in answer.content.decode()
    assert f'href="{reverse("sign-in")}"' in answer.content.decode()


def test_photos_have_to_be_chosen_again(strict, alder):
    photo = SimpleUploadedFile("belt.png", b"x", content_type="image/png")
    answer = strict.post(reverse("incident-create"), {"note": "torn edge", "photos": photo}, **HERE)
    page = answer.content.decode()
    assert "Choose again: belt.png" in page
    assert 'type="file" name="photos"' in page


def test_a_form_sent_after_the_sign_in_ended_is_kept(alder, pat):
    client, address = Client(enforce_csrf_checks=True), reverse("area-create")
    client.force_login(pat)
    given = typed(client, address, code="K", name="Kiln")
    client.cookies.pop("sessionid")
    answer = client.post(address, given, **HERE)
    assert answer.status_code == 401
    assert "Your sign-in has ended" in answer.content.decode()
    client.force_login(pat)  # on a page of its own
    assert resend(client, answer, address).status_code == 302
    assert Area.objects.get().name == "Kiln"


def test_nothing_typed_leads_to_the_sign_in(db, alder, pat):
    answer = Client().post(reverse("notices-read"))
    assert answer.status_code == 302
    assert answer["Location"].startswith(reverse("sign-in"))
