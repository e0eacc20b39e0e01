"""What stands in front of every page."""

from __future__ import annotations

import pytest
from django.core.files.base import ContentFile

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
