"""Every form of the site is filled in truly and saved by a person who may, and the book shows it.

On the way each box for a day or a moment is tried with the ends of the calendar, which no form takes.
"""

from __future__ import annotations

import json
from typing import Any
from unittest import mock

import pytest
from django.db import connection, transaction
from django.test import Client
from django.urls import Resolver404, resolve

from tests import make
from tests.page_forms import PageForm, forms_in
from tests.true_forms import EVERYONE, NOBODY, TRUE, Book, TrueForm
from tests.two_plants import address_of, addresses, furnish, staff, written_once

ADDRESSES = {name: (route, arguments) for name, route, arguments, _view in addresses()}
# The blank site's own page: it closes once somebody is in the book.
ELSEWHERE = {"first-sign-in"}
# The ends of the calendar, as boxes for days and for moments send them.
ENDS = {"date": ("0001-01-01", "9999-12-31"), "datetime-local": ("0001-01-01T00:00", "9999-12-31T23:59")}
# Addresses of files: no form stands in them, and a PDF takes its time.
FILES = (".pdf", ".xlsx", ".csv", ".txt", ".svg", ".js", ".ics", "photos/<key:pk>/", "dossier/", "label/", "labels/")


def furnished():
    plant = make.plant(name="Birch Pit")
    people = staff(plant, "al")
    return plant, people, furnish(plant, "Al", people)


@pytest.fixture(scope="module")
def furnished_once(django_db_setup, django_db_blocker):
    with written_once(django_db_blocker, furnished) as rows:
        yield rows


@pytest.fixture
def book(furnished_once, db):
    return Book(*furnished_once())


def name_of(address: str) -> str:
    try:
        return str(resolve(address.split("?")[0]).url_name)
    except Resolver404:
        return f"{address}, which leads nowhere"


class Walk:
    """Goes from form to form; each page is looked at once for the forms that stand on it."""

    def __init__(self, book: Book) -> None:
        self.book = book
        self.rows = book.known
        self.forms: set[str] = set()
        self.seen: set[str] = set()
        self.failed: list[str] = []

    def address(self, name: str) -> str:
        route, arguments = ADDRESSES[name]
        return address_of(name, route, arguments, self.book.known)

    def signed_in(self, who: str) -> Client:
        client = Client(raise_request_exception=False)
        if who != NOBODY:
            client.force_login(self.book.people[who])
        return client

    def forms_at(self, client: Client, address: str) -> list[PageForm]:
        answer = client.get(address)
        self.seen.add(name_of(address))
        if answer.status_code >= 500:
            self.failed.append(f"{address} answers {answer.status_code}")
        if answer.status_code == 405:
            self.forms.add(name_of(address))
        if answer.status_code != 200 or "text/html" not in answer.headers["Content-Type"]:
            return []
        found = [each for each in forms_in(answer.content.decode(), address) if each.method == "post"]
        self.forms |= {name_of(each.action) for each in found}
        for each in found:
            if each.has_files and not hasattr(resolve(each.action.split("?")[0]).func, "too_large"):
                self.failed.append(f"{each.action} is sent files from {address}, but takes no more than text: @takes")
        return found

    def filled_in(self, client: Client, name: str, example: TrueForm) -> tuple[dict[str, Any], dict[str, str]]:
        """What goes out: the boxes of the page as they stand, with what the person types; and the boxes for moments."""
        typed = example.typed(self.book)
        if example.page is None:
            return typed, {}
        page, goal = self.address(example.page or name), self.address(name)
        there = [each for each in self.forms_at(client, page) if each.action.split("?")[0] == goal]
        if not there:
            raise LookupError(f"{page} answers {client.get(page).status_code} and has no form for {goal}")
        return there[0].filled(typed), there[0].moments

    def fault_of(self, name: str, example: TrueForm) -> str:
        """What is wrong with saving one form; empty where the book shows what was typed."""
        self.book.known = {**self.rows}
        if example.before is not None:
            self.book.known.update(example.before(self.book) or {})
        client = self.signed_in(example.by)
        (data, moments), address = self.filled_in(client, name, example), self.address(name)
        # A form refuses them before any data base is asked; so one is enough for this.
        for box, kind in moments.items() if connection.vendor == "sqlite" else ():
            for end in ENDS[kind]:
                if fault := self.fault_of_moment(client, address, {**data, box: end}, example):
                    return f"with {box} at {end} {fault}"
        if example.is_json:
            answer = client.post(address, json.dumps(data), content_type="application/json")
        else:
            answer = client.post(address, data)
        if answer.status_code != example.answer:
            return f"answers {answer.status_code}, not {example.answer}; {said(answer.context)}"
        if not example.shows(self.book):
            return "is answered as saved, but the book does not show it"
        after = answer.get("Location", "")
        if after and name_of(after) not in self.seen:
            self.forms_at(client, after)
        return ""

    def fault_of_moment(self, client: Client, address: str, data: dict[str, Any], example: TrueForm) -> str:
        """What is wrong with the answer to a moment out of bounds; empty where it is refused with the bounds."""
        shown: list[Any] = []

        def note(_template: Any, context: Any = None, request: Any = None) -> str:
            shown.append(context)
            return ""

        with transaction.atomic(), mock.patch("django.template.backends.django.Template.render", note):
            answer = client.post(address, data)
            is_saved = answer.status_code == example.answer and bool(example.shows(self.book))
            transaction.set_rollback(True)
        for each in data.values():
            if hasattr(each, "seek"):
                each.seek(0)
        if answer.status_code >= 500 or is_saved:
            return f"is answered {answer.status_code}" + (" and saved" if is_saved else "")
        words = said(shown)
        if answer.status_code == 422 and "1 Jan 1850" not in words:
            return f"is refused without the bounds: {words}"
        return ""


def said(contexts: Any) -> str:
    """What forms of a page say is wrong with them."""
    for context in contexts or ():
        form = context.get("form") if hasattr(context, "get") else None
        if form is not None and getattr(form, "errors", None):
            return json.dumps(form.errors.get_json_data(), ensure_ascii=False)
    return "no form says why"


def test_what_is_typed_truly_is_in_the_book(book, django_capture_on_commit_callbacks):
    """Each form of `TRUE`; then the pages that no example led to are searched for forms that have none."""
    gone = sorted(set(TRUE) - set(ADDRESSES))
    assert not gone, f"these examples in TRUE of tests/true_forms.py have no address any more: {', '.join(gone)}"
    walk, faults = Walk(book), []
    for name, example in TRUE.items():
        with transaction.atomic():
            try:
                with django_capture_on_commit_callbacks(execute=True):
                    fault = walk.fault_of(name, example)
            except Exception as problem:  # the next form is still to be tried
                fault = f"{type(problem).__name__}: {problem}"
            transaction.set_rollback(True)
        if fault:
            faults.append(f"{name} {fault}")
    book.known = walk.rows
    everyone = walk.signed_in(EVERYONE)
    for name, (route, _arguments) in ADDRESSES.items():
        if name not in walk.seen and not route.endswith(FILES):
            walk.forms_at(everyone, walk.address(name))
    lacking = sorted(walk.forms - set(TRUE) - ELSEWHERE)
    if lacking:
        faults.append(f"write a true example of these forms into TRUE in tests/true_forms.py: {', '.join(lacking)}")
    assert not faults + walk.failed, "\n".join(faults + walk.failed)


def test_a_form_without_an_example_is_noticed(book):
    walk = Walk(book)
    walk.forms_at(walk.signed_in(EVERYONE), "/account/")
    walk.forms_at(walk.signed_in(EVERYONE), "/rounds/publish/")
    assert {"account", "sign-out", "round-publish"} <= walk.forms
