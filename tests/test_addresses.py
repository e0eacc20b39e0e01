"""Whatever stands in an address, its key or the words after its question mark, no page fails over it.

Which words a page reads is found by looking on while it is asked for, so a new page or filter is tried without a list.
Asked is somebody who holds all four roles and so gets every panel of a page.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any
from urllib.parse import quote, urlencode

import pytest
from django.db import connection
from django.http import QueryDict
from django.template.backends.django import Template
from django.test import Client
from django.urls import resolve, reverse

from tests import make
from tests.page_forms import forms_in
from tests.two_plants import address_of, addresses, furnish, staff, written_once

LONG = "9" * 5000
# Each by itself, because one word that is refused hides what another one does.
ALONE = [LONG, "9" * 30, "9999-12-31", "0001-01-01"]
# All words of a page at once.
TOGETHER = ["-1", "1e999", "2026-13-45", "٢٠", "x" * 20_000, "%ED%A0%80'\"<"]
KEYS = ["0", "9" * 18, "9" * 30, LONG, "-1", "%ED%A0%80"]
# What Python refuses by itself is tried on SQLite; on PostgreSQL what is left for the data base to judge: a number past
# its range, the last of days, a row before the first, a text past its column, half a character.
FOR_POSTGRESQL = {
    "alone": ["9" * 30],
    "together": ["9999-12-31", "-1", "x" * 20_000, "%ED%A0%80'\"<"],
    "keys": ["0", "9" * 18, "9" * 30],
}
# Read by one piece of code wherever they stand: tried on a few pages.
SHARED = {"page", "per_page", "sort", "format", "paper"}
ENDS_THE_VISIT = {"sign-out"}
# Names that a page reads out of whatever is sent are not seen by looking on.
ALSO = {"cause-override-create": {"low_m"}, "logged-station-create": {"chainage_m"}}


@pytest.fixture
def odd(db):
    """Odd words one at a time, odd words for all of a page at once, odd keys."""
    return FOR_POSTGRESQL if connection.vendor == "postgresql" else {"alone": ALONE, "together": TOGETHER, "keys": KEYS}


def furnished() -> tuple[Any, dict[str, Any]]:
    """Who visits, and the rows of a filled plant."""
    plant = make.plant(name="Birch Pit")
    people = staff(plant, "al")
    return people["everyone"], furnish(plant, "Al", people)


@pytest.fixture(scope="module")
def furnished_once(django_db_setup, django_db_blocker):
    with written_once(django_db_blocker, furnished) as rows:
        yield rows


@pytest.fixture
def visited(furnished_once, db, monkeypatch):
    """A filled plant, and who visits it. No PDF is made: what stands in an address is read before."""
    monkeypatch.setattr("plant.files.pdf.typst.compile", lambda *_args, **_kwargs: b"%PDF")
    person, rows = furnished_once()
    client = Client(raise_request_exception=False)
    client.force_login(person)
    return client, rows


def noting(read: Callable[..., Any], names: set[str]) -> Callable[..., Any]:
    def noted(query: QueryDict, name: str, *rest: Any, **more: Any) -> Any:
        names.add(str(name))
        return read(query, name, *rest, **more)

    return noted


@contextmanager
def looking_on(monkeypatch) -> Iterator[set[str]]:
    """The names that are asked for in an address meanwhile."""
    names: set[str] = set()
    with monkeypatch.context() as patch:
        for method in ("__getitem__", "__contains__", "get", "getlist"):
            patch.setattr(QueryDict, method, noting(getattr(QueryDict, method), names))
        yield names


def status(client: Client, address: str, query: str = "") -> int:
    answer = client.get(f"{address}?{query}" if query else address)
    read_to_its_end(answer)
    return answer.status_code


def read_to_its_end(answer: Any) -> None:
    for _piece in answer.streaming_content if answer.streaming else ():
        pass


def words_of(client: Client, address: str, monkeypatch: Any) -> tuple[dict[str, list[str]], set[str]]:
    """What the forms of a page would send, and every name that it reads; asked twice, as some read on only then."""
    with looking_on(monkeypatch) as names:
        answer = client.get(address)
        if answer.status_code != 200 or answer.streaming:
            read_to_its_end(answer)
            return {}, names
        is_page = "text/html" in answer.headers["Content-Type"]
        forms = forms_in(answer.content.decode(), address) if is_page else []
        usual = {name: value for each in forms if each.method == "get" for name, value in each.sent.items()}
        names.discard("csrfmiddlewaretoken")
        if names:
            status(client, address, urlencode({**dict.fromkeys(names, "1"), **usual, "page": "1"}, doseq=True))
    return {name: value for name, value in usual.items() if name in names}, names


def test_no_page_fails_over_a_word_in_its_address(visited, odd, monkeypatch):
    client, rows = visited
    failed, n_words, tried = [], 0, dict.fromkeys(SHARED, 0)

    def ask(address: str, query: str) -> None:
        if status(client, address, query) >= 500:
            failed.append(f"{address}?{query[:90]}")

    for name, route, arguments, _view in addresses():
        if name in ENDS_THE_VISIT:
            continue
        address = address_of(name, route, arguments, rows)
        usual, names = words_of(client, address, monkeypatch)
        names |= ALSO.get(name, set())
        for word in sorted(names):
            if word in SHARED:
                tried[word] += 1
                if tried[word] > 3:
                    continue
            n_words += 1
            for each in odd["alone"]:
                ask(address, urlencode({**usual, word: each}, doseq=True))
        if names - SHARED:
            for each in odd["together"]:
                ask(address, "&".join(f"{word}={each if '%' in each else quote(each)}" for word in sorted(names)))
    assert not failed, "\n".join(failed)
    assert n_words > 90


def test_no_page_fails_over_a_key_that_no_row_has(visited, odd, monkeypatch):
    """The page that says so knows nothing of whose address it is: it is drawn once for each key and answer."""
    client, rows = visited
    wrong, drawn = [], set()
    draw = Template.render

    def draw_once(template, context=None, request=None):
        kind = (template.template.name, key)
        if kind in drawn:
            return ""
        drawn.add(kind)
        return draw(template, context, request)

    monkeypatch.setattr(Template, "render", draw_once)
    for name, route, arguments, _view in addresses():
        if not {"pk", "row", "membership"} & set(arguments):
            continue
        known = resolve(address_of(name, route, arguments, rows)).kwargs
        shape = reverse(name, kwargs={key: word if isinstance(word, str) else 0 for key, word in known.items()})
        assert "/0/" in shape, shape
        for key in odd["keys"]:
            address = shape.replace("/0/", f"/{key}/")
            if (got := status(client, address)) not in (403, 404, 405):
                wrong.append(f"{address[:60]} answers {got}")
    assert not wrong, "\n".join(wrong)


def test_a_null_in_an_address_is_answered_with_a_sentence(visited):
    client, _rows = visited
    for address in ("/incidents/?q=%00", "/find/?q=a%00b", "/d/%00/"):
        answer = client.get(address)
        assert answer.status_code == 400
        assert "cannot be read" in answer.content.decode()


def test_an_address_does_not_choose_how_many_rows_a_page_has(belt_a1, at_noon, erin, client):
    for _ in range(60):
        make.incident(belt_a1, at_noon)
    client.force_login(erin)
    for asked in ("-1", "1", "1000000"):
        assert len(client.get("/incidents/", {"per_page": asked}).context["table"].page.object_list) == 50
    assert len(client.get("/incidents/", {"page": "2"}).context["table"].page.object_list) == 10
    assert client.get("/incidents/", {"page": "99"}).context["table"].page.number == 2
