"""What stands in front of every page."""

from __future__ import annotations

from urllib.parse import urlencode

import pytest
from django.core.files.base import ContentFile
from django.test import Client

from plant.models import Photo


def test_an_address_with_a_null_character_is_refused_in_words(client, pat):
    client.force_login(pat)
    answer = client.get("/find/?q=%00")
    assert answer.status_code == 400
    assert "cannot be read" in answer.content.decode()


def test_any_other_sign_is_looked_for(client, pat):
    client.force_login(pat)
    assert client.get("/find/", {"q": "%00 ²é'\"<>"}).status_code == 200


@pytest.mark.parametrize("method", ["TRACE", "PUT", "DELETE", "PATCH", "OPTIONS", "SPELL"])
def test_a_page_is_asked_for_and_sent_to_and_nothing_else(client, pat, method):
    client.force_login(pat)
    for address in ("/", "/sign-in/", "/round/api/who/", "/conveyors/", "/static/plant/driftbook.css", "/nowhere/"):
        answer = client.generic(method, address)
        assert answer.status_code == 405, address
        assert answer["Allow"] == "GET, HEAD, POST"


def test_no_page_of_a_signed_in_person_stays_in_the_browser(client, pat, tess, belt_a1, tmp_path, settings):
    settings.MEDIA_ROOT = tmp_path
    photo = Photo(plant=belt_a1.plant, image_format="PNG", sha256="0" * 64)
    photo.file.save("x.png", ContentFile(b"picture"))
    photo.file.close()
    client.force_login(pat)
    pages = ("/", "/conveyors/", "/conveyors/?format=csv", "/people/", "/nowhere/", "/round/", f"/photos/{photo.pk}/")
    for address in pages:
        answer = client.get(address)
        assert "no-store" in answer["Cache-Control"], address
        if answer.streaming:
            assert answer.getvalue(), "read to its end, it closes its file and leaves the test's connection alone"
    client.force_login(tess)
    assert "no-store" in client.get("/people/")["Cache-Control"]


def test_static_files_stay_in_the_browser(client, pat, settings):
    settings.WHITENOISE_USE_FINDERS = True
    client.force_login(pat)
    answer = client.get("/static/plant/driftbook.css")
    assert answer.status_code == 200
    assert "no-store" not in answer.headers.get("Cache-Control", "")
    answer.close()


def test_pages_that_were_left_are_not_kept_by_the_page_s_own_script(client, pat):
    client.force_login(pat)
    assert '"historyCacheSize": 0' in client.get("/").content.decode()


def address_of_a_picture(plant, folder, settings):
    settings.MEDIA_ROOT = folder
    photo = Photo(plant=plant, image_format="PNG", sha256="0" * 64)
    photo.file.save("x.png", ContentFile(b"picture"))
    photo.file.close()
    return f"/photos/{photo.pk}/"


@pytest.mark.parametrize(
    "headers",
    [
        {"Sec-Fetch-Mode": "no-cors", "Sec-Fetch-Dest": "image"},
        {"Sec-Fetch-Mode": "cors", "Sec-Fetch-Dest": "empty"},
        {"Accept": "image/avif,image/webp,image/png,image/svg+xml,image/*;q=0.8,*/*;q=0.5"},
        {"Accept": "*/*"},
    ],
)
def test_a_part_of_a_page_is_not_led_to_the_sign_in(client, pat, belt_a1, tmp_path, settings, headers):
    address = address_of_a_picture(belt_a1.plant, tmp_path, settings)
    answer = client.get(address, headers=headers)
    assert answer.status_code == 401
    assert answer.content.decode() == "Sign in first."


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"Sec-Fetch-Mode": "navigate", "Sec-Fetch-Dest": "document"},
        {"Accept": "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"},
    ],
)
def test_a_page_is_led_to_the_sign_in(client, pat, belt_a1, headers):
    answer = client.get(belt_a1.get_absolute_url(), headers=headers)
    assert answer.status_code == 302
    assert answer["Location"] == f"/sign-in/?next={belt_a1.get_absolute_url()}"


def test_a_picture_asked_for_after_the_sign_in_ended_leaves_the_token_of_the_form_alone(
    belt_a1, pat, tmp_path, settings
):
    """The picture of the page before comes while the sign-in is already on the screen."""
    browser = Client(enforce_csrf_checks=True)
    browser.get("/sign-in/")
    laid = browser.cookies["csrftoken"].value
    picture = address_of_a_picture(belt_a1.plant, tmp_path, settings)
    # It was asked for before the sign-in had been answered: without the cookie.
    answer = Client().get(picture, headers={"Sec-Fetch-Mode": "no-cors"}, follow=True)
    assert answer.status_code == 401
    browser.cookies.update(answer.cookies)
    assert browser.cookies["csrftoken"].value == laid


def test_a_part_asked_for_by_script_leads_the_whole_page_to_the_sign_in(client, pat, belt_a1):
    here = f"{belt_a1.get_absolute_url()}?page=2"
    answer = client.get(
        "/site/", headers={"HX-Request": "true", "HX-Current-URL": f"http://testserver{here}", "Sec-Fetch-Mode": "cors"}
    )
    assert answer.status_code == 401
    assert answer["HX-Redirect"] == f"/sign-in/?{urlencode({'next': here})}"
