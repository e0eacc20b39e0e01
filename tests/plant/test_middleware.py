"""What stands in front of every page."""

from __future__ import annotations


def test_an_address_with_a_null_character_is_refused_in_words(client, pat):
    client.force_login(pat)
    answer = client.get("/find/?q=%00")
    assert answer.status_code == 400
    assert "cannot be read" in answer.content.decode()


def test_any_other_sign_is_looked_for(client, pat):
    client.force_login(pat)
    assert client.get("/find/", {"q": "%00 ²é'\"<>"}).status_code == 200
