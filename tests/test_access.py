"""Who may see and do what, address by address, and that nothing of one plant shows up in another."""

from __future__ import annotations

import io
import json
import re
import zipfile
from collections import defaultdict
from collections.abc import Iterator
from typing import Any

import pytest
from django import forms
from django.db import transaction
from django.db.models import F, Model
from django.test import Client

from plant.models import Incident, Membership, Notice, Person, Plant
from plant.permissions import KEEPER, RIGHTS, ROLES
from plant.services.kept import make_all_kept
from tests import make, two_plants
from tests.two_plants import MARK, address_of, addresses, furnish, staff, written_once

# Per address: who gets a page and with which answer, who may send something and what an empty form is answered.
# t technician, p planner, e reliability engineer, m manager; "-" where nobody may because the method is not offered.
# Last what a keeper of the site without a role in the plant gets, and is answered to an empty form: the site's own
# pages, what is open to whoever signed in, and 403 for the book.
# Everyone else is told 403. 302 leads on, 404 has nothing to act on, 405 is not offered, 409 and 422 ask for more.
TABLE = """
today tpem 200 tpem 200 200 200
find tpem 200 tpem 200 200 200
plant-choose tpem 200 tpem 404 200 404
notices tpem 200 tpem 200 200 200
notices-read - 405 tpem 302 405 302
understood tpem 200 tpem 200 200 200
photo tpem 200 tpem 200 403 403
kept-standing tpem 200 tpem 200 404 404
account tpem 200 tpem 200 200 200
password tpem 200 tpem 200 200 200
incident-list tpem 200 - 405 403 403
incident-create tpe 200 tpe 422 403 403
incident-detail tpem 200 tpem 200 403 403
incident-correct tpe 200 tpe 422 403 403
incident-withdraw tpe 200 tpe 200 403 403
hours-detail tpem 200 tpem 200 403 403
run-record-create pe 200 pe 422 403 403
meter-reading-create pe 200 pe 422 403 403
switch-events tpem 200 tpem 200 403 403
run-record-list tpem 200 - 405 403 403
run-record-correct pe 200 pe 422 403 403
meter-reading-list tpem 200 - 405 403 403
meter-reading-correct pe 200 pe 422 403 403
area-list tpem 200 - 405 403 403
area-create pe 200 pe 422 403 403
area-detail tpem 200 tpem 200 403 403
area-update pe 200 pe 422 403 403
conveyor-list tpem 200 - 405 403 403
conveyor-create pe 200 pe 422 403 403
conveyor-detail tpem 200 tpem 200 403 403
conveyor-update pe 200 pe 422 403 403
part-create pe 200 pe 422 403 403
part-update pe 200 pe 422 403 403
part-remove pe 200 pe 422 403 403
outage-list tpem 200 - 405 403 403
outage-create p 200 p 422 403 403
outage-detail tpem 200 tpem 200 403 403
outage-update p 200 p 422 403 403
outage-cancel p 200 p 422 403 403
belt-change-list tpem 200 - 405 403 403
belt-change-create pe 200 pe 422 403 403
belt-change-detail tpem 200 tpem 200 403 403
belt-change-update pe 200 pe 422 403 403
plant-settings pe 200 pe 422 403 403
plant-export pm 200 pm 302 403 403
plant-export-progress pm 200 pm 200 403 403
plant-export-file pm 404 pm 404 403 403
people-list p 200 p 200 403 403
person-create p 200 p 422 403 403
role-give p 200 p 422 403 403
person-sign-in p 200 p 200 403 403
person-first-password - 405 p 302 405 403
person-switch - 405 p 302 405 403
person-sign-out - 405 p 302 405 403
role-take p 200 p 302 403 403
import-list pe 200 pe 422 403 403
import-create pe 302 pe 422 403 403
import-blank pe 200 pe 200 403 403
own-word-list pe 200 - 405 403 403
own-word-forget pe 200 pe 302 403 403
import-detail pe 200 pe 200 403 403
import-choose - 405 pe 422 405 403
import-start - 405 pe 302 405 403
import-forget - 405 pe 302 405 403
import-stop - 405 pe 302 405 403
import-progress pe 200 pe 200 403 403
import-refused pe 200 pe 200 403 403
import-take-back pe 302 pe 302 403 403
import-open-again - 405 pe 302 405 403
import-go-on - 405 pe 302 405 403
import-rows - 405 pe 302 405 403
import-row - 405 pe 302 405 403
device-model-list tpem 200 - 405 403 403
device-model-create e 200 e 422 403 403
device-model-detail tpem 200 tpem 200 403 403
device-model-update e 200 e 422 403 403
fastener-create e 200 e 422 403 403
fastener-update e 200 e 422 403 403
model-part-create e 200 e 422 403 403
model-part-update e 200 e 422 403 403
placement pe 200 pe 405 403 403
placement-conveyor pe 200 pe 200 403 403
logged-station-create pe 200 pe 422 403 403
logged-station-update pe 200 pe 422 403 403
cause-override-create e 200 e 422 403 403
cause-override-update e 200 e 422 403 403
device-list tpem 200 - 405 403 403
device-create pe 200 pe 422 403 403
device-detail tpem 200 tpem 200 403 403
device-update pe 200 pe 422 403 403
device-scrap pe 200 pe 422 403 403
device-code tpem 200 tpem 200 403 403
installation-list tpem 200 - 405 403 403
installation-create pe 200 pe 422 403 403
installation-detail tpem 200 tpem 200 403 403
installation-update pe 200 pe 422 403 403
installation-remove pe 200 pe 422 403 403
installation-move pe 200 pe 422 403 403
installation-sheet e 200 e 422 403 403
installation-dossier tpem 200 tpem 200 403 403
part-change-create tpe 200 tpe 422 403 403
out-of-service-create tpe 200 tpe 422 403 403
out-of-service-back tpe 200 tpe 422 403 403
out-of-service-update tpe 200 tpe 422 403 403
part-change-correct tpe 200 tpe 422 403 403
label-sheet tpem 200 tpem 200 403 403
device-label tpem 200 tpem 200 403 403
label tpem 302 tpem 302 404 404
fitting-list tpem 200 - 405 403 403
fitting-create pe 200 pe 422 403 403
fitting-detail tpem 200 tpem 200 403 403
fitting-update pe 200 pe 422 403 403
fitting-give-up pe 200 pe 422 403 403
fitting-needs-list tpem 200 tpem 200 403 403
fitting-needs tpe 200 tpe 302 403 403
fitting-need-create pe 200 pe 422 403 403
fitting-isolation tpe 200 tpe 422 403 403
fitting-point tpe 200 tpe 422 403 403
fitting-adjustment tpe 404 tpe 404 403 403
fitting-trial-run tpe 200 tpe 422 403 403
fitting-acceptance tpe 200 tpe 422 403 403
fitting-hand-over tpe 200 tpe 422 403 403
hold-point-correct tpe 200 tpe 422 403 403
trial-run-withdraw tpe 200 tpe 422 403 403
trial-run-readings tpe 200 tpe 422 403 403
fitting-station tpem 200 tpem 200 403 403
survey-list tpem 200 - 405 403 403
survey-create tpe 200 tpe 422 403 403
survey-detail tpem 200 tpem 200 403 403
survey-update tpe 200 tpe 422 403 403
survey-close tpe 200 tpe 422 403 403
survey-reopen tpe 200 tpe 422 403 403
fit-up tpem 200 tpe 302 403 403
fit-up-live - 405 tpem 200 403 403
fit-up-sheet tpem 200 tpem 200 403 403
torque tpem 200 tpem 422 403 403
torque-withdraw tpe 200 tpe 422 403 403
torque-pass-over tpe 200 tpe 422 403 403
passed-fastener-withdraw tpe 200 tpe 422 403 403
instrument-list tpem 200 - 405 403 403
instrument-create pe 200 pe 422 403 403
instrument-detail tpem 200 tpem 200 403 403
instrument-update pe 200 pe 422 403 403
instrument-calibrate pe 200 pe 422 403 403
task-list tpem 200 - 405 403 403
task-detail tpem 200 tpem 200 403 403
task-put-off pe 200 pe 422 403 403
task-withdraw pe 200 pe 422 403 403
task-create pe 200 pe 422 403 403
check-kind-list tpem 200 - 405 403 403
check-kind-create pe 200 pe 422 403 403
check-kind-detail tpem 200 tpem 200 403 403
check-kind-update pe 200 pe 422 403 403
reading-field-create pe 200 pe 422 403 403
reading-field-update pe 200 pe 422 403 403
check-plan-list tpem 200 - 405 403 403
check-plan-create pe 200 pe 422 403 403
check-plan-detail tpem 200 tpem 200 403 403
check-plan-update pe 200 pe 422 403 403
check-plan-suspend pe 200 pe 422 403 403
check-plan-create-own pe 200 pe 422 403 403
visit-create tpe 200 tpe 422 403 403
task-could-not-do tpe 200 tpe 422 403 403
twice-closed tpem 200 tpe 200 403 403
round-who tpem 200 - 405 200 405
round-pack tpe 200 - 405 403 405
round-photos - 405 tpem 404 405 404
round-entries - 405 tpem 422 405 422
round-aside - 405 tpem 422 405 422
set-aside tpem 200 tpe 422 403 403
visit-detail tpem 200 tpem 200 403 403
visit-correct tpe 200 tpe 422 403 403
reading-list tpem 200 - 405 403 403
backlog tpem 200 tpem 200 403 403
opportunity tpem 200 tpem 200 403 403
opportunity-put-on - 405 p 302 405 403
round-list pe 200 pe 200 403 403
round-lay - 405 p 302 405 403
round-progress pe 200 pe 200 403 403
plan-year tpem 404 tpem 404 403 403
round-stop - 405 p 302 405 403
round-publish - 405 p 302 405 403
round-detail tpe 200 tpe 200 403 403
round-sheet tpe 200 tpe 200 403 403
round-sheets pe 200 pe 200 403 403
round-calendar tpe 200 tpe 200 403 403
round-calendar-renew - 405 tpe 302 405 403
round-stop-move - 405 p 409 405 403
round-stop-out - 405 p 409 405 403
shift-create p 200 p 422 403 403
shift-update p 200 p 422 403 403
shift-away p 200 p 422 403 403
shift-back - 405 p 302 405 403
shift-swap p 200 p 422 403 403
shift-skills p 302 p 302 403 403
technician-profile-update p 200 p 422 403 403
action-list tpem 200 - 405 403 403
action-detail tpem 200 tpem 200 403 403
action-update tpe 200 tpe 422 403 403
action-give - 405 tpe 302 405 403
action-done tpe 200 tpe 422 403 403
action-create tpe 200 tpe 422 403 403
life tpem 200 tpem 200 403 403
month-list tpem 200 tpem 200 403 403
month-create e 200 e 200 403 403
month-subscribe - 405 tpem 302 405 403
month-detail tpem 200 tpem 200 403 403
month-update e 200 e 422 403 403
month-publish em 200 em 200 403 403
month-pdf tpem 200 tpem 200 403 403
month-xlsx tpem 200 tpem 200 403 403
month-rows tpem 200 tpem 200 403 403
effect-list tpem 200 - 405 403 403
effect-list-method tpem 200 tpem 200 403 403
effect-reference tpem 200 tpem 200 403 403
period-comparison tpem 200 tpem 200 403 403
effect-detail tpem 200 tpem 200 403 403
effect-data tpem 200 tpem 200 403 403
effect-method tpem 200 tpem 200 403 403
study-note-correct e 200 e 422 403 403
study-note-create e 200 e 422 403 403
study-note-withdraw e 200 e 200 403 403
study-window-create e 200 e 422 403 403
study-window-withdraw e 200 e 200 403 403
site - 403 - 403 200 200
failed-job-retry - 405 - 403 405 302
failed-job-discard - 403 - 403 200 302
name-list - 403 - 403 200 200
name-remove - 403 - 403 404 404
keeper-list - 403 - 403 200 200
keeper-give - 403 - 403 200 422
keeper-take - 403 - 403 200 302
"""
# Without a sign-in: these answer anybody, and hold nothing of a plant (the feed asks for its own secret key).
OPEN = {
    "health-live",
    "health-ready",
    "metrics",
    "sign-in",
    "sign-out",
    "first-sign-in",
    "round-phone",
    "round-worker",
    "calendar-feed",
    "month-mail-end",
    "round-words",
}
LETTERS = dict(zip("tpem", ROLES, strict=True))
# Names by which pages are asked for a row in the query, with the row that stands for it.
ASKED_BY_NAME = {
    "area": "area",
    "belt": "conveyor",
    "conveyor": "conveyor",
    "check_kind": "check_kind",
    "check": "check_kind",
    "device": "device",
    "device_model": "device_model",
    "model": "device_model",
    "fitting": "fitting",
    "installation": "installation",
    "instrument": "instrument",
    "kind": "check_kind",
    "outage_window": "outage",
    "round": "round",
    "shift": "shift",
    "survey": "survey",
    "task": "task",
    "tasks": "task",
    "visit": "visit",
}


def two_furnished() -> dict[str, Any]:
    """Ours and theirs, with their people, their rows, and what pages read of kept results."""
    ours, theirs = make.plant(name="Alder Pit"), make.plant(name=f"Other {MARK} Works")
    our_people, their_people = staff(ours, "al"), staff(theirs, MARK)
    known = {
        "ours": ours,
        "theirs": theirs,
        "our_people": our_people,
        "their_people": their_people,
        "our_rows": furnish(ours, "Al", our_people),
        "their_rows": furnish(theirs, MARK, their_people),
    }
    # What a page makes and keeps by itself is taken back with its answer.
    make_all_kept([ours, theirs])
    return known


@pytest.fixture(scope="module")
def plants_once(django_db_setup, django_db_blocker):
    with written_once(django_db_blocker, two_furnished) as known:
        yield known


@pytest.fixture
def plants(plants_once, db):
    return plants_once()


@pytest.fixture
def contexts(monkeypatch):
    """What each page was to be made of. None is made: that every page can be is for the tests that show it."""
    known: list[dict[str, Any]] = []

    def note(template: Any, context: dict[str, Any] | None = None, request: Any = None) -> str:
        known.append(context or {})
        return ""

    monkeypatch.setattr("django.template.backends.django.Template.render", note)
    monkeypatch.setattr("plant.files.pdf.typst.compile", lambda *_args, **_kwargs: b"%PDF")
    return known


@pytest.fixture
def without_pages(contexts, monkeypatch):
    """Answers without their bodies: who may is decided before a panel, a template or a PDF is made."""
    monkeypatch.setattr("plant.panels._panels", defaultdict(list))


def signed_in(person: Person, plant: Plant | None = None) -> Client:
    client = Client()
    client.force_login(person)
    if plant is not None:
        client.post("/plants/choose/", {"plant": plant.pk})
    return client


def ask(client: Client, method: str, address: str, data: Any = None) -> Any:
    """The answer; whatever was written on the way is taken back."""
    with transaction.atomic():
        answer = getattr(client, method)(address, data)
        answer.bytes = b"".join(answer.streaming_content) if answer.streaming else answer.content
        transaction.set_rollback(True)
    return answer


def table() -> dict[str, tuple[str, int, str, int, int, int]]:
    rows = (line.split() for line in TABLE.split("\n") if line)
    return {
        name: (see, int(page), do, int(answer), int(shown), int(sent))
        for name, see, page, do, answer, shown, sent in rows
    }


def by_rights(view: Any) -> tuple[set[str], set[int]]:
    """Who may open an address that the table does not name yet, and what they may get: told by the rights of roles."""
    answers = {200, 302, 404, 405, 409, 422}
    return {letter for letter, role in LETTERS.items() if view.right == "member" or view.right in RIGHTS[role]}, answers


def test_every_address_is_in_the_table():
    assert {name for name, *_rest in addresses()} == set(table()) | OPEN


@pytest.mark.parametrize("method", ["get", "post"])
def test_each_role_gets_what_the_table_says(plants, without_pages, method):
    clients = {letter: signed_in(plants["our_people"][role]) for letter, role in LETTERS.items()}
    known, wrong = table(), []
    for name, route, arguments, view in addresses():
        if name in OPEN:
            continue
        who, wanted = by_rights(view)
        if name in known:
            see, page, do, empty_form, *_of_keeper = known[name]
            who, wanted = (set(see), {page}) if method == "get" else (set(do), {empty_form})
        address = address_of(name, route, arguments, plants["our_rows"])
        for letter, client in clients.items():
            got = ask(client, method, address).status_code
            allowed = wanted if letter in who else {403, 405} if who == {"-"} else {403}
            if got not in allowed:
                wrong.append(f"{method} {name} by {LETTERS[letter]}: {got}, not {sorted(allowed)}")
    assert wrong == []


@pytest.mark.parametrize("method", ["get", "post"])
def test_a_keeper_without_a_role_gets_what_the_table_says(plants, without_pages, method):
    """The pages of the site, and of no plant's book any."""
    client, known, got = signed_in(plants["our_people"]["keeper"]), table(), {}
    for name, route, arguments, _view in addresses():
        if name in known:
            answer = ask(client, method, address_of(name, route, arguments, plants["our_rows"]))
            got[name] = (answer.status_code, known[name][4 if method == "get" else 5])
    assert {name: pair for name, pair in got.items() if pair[0] != pair[1]} == {}


def test_no_page_shows_a_keeper_without_a_role_anything_of_a_plant(plants):
    client, leaks = signed_in(plants["their_people"]["keeper"]), []
    # Their own names bear the plant's mark; what a plant is called, a keeper may know.
    Person.objects.filter(is_keeper=True).update(username=F("id"), email="")
    Plant.objects.filter(pk=plants["theirs"].pk).update(name="Other Works")
    for name, route, arguments, _view in addresses():
        if name in OPEN:
            continue
        shown = text_of(ask(client, "get", address_of(name, route, arguments, plants["their_rows"])))
        leaks += [f"{name}: {shown[max(0, at - 60) : at + 60]}" for at in places_of(MARK, shown)]
    assert leaks == []


@pytest.mark.parametrize("method", ["get", "post"])
def test_a_stranger_to_the_plant_reaches_no_row_of_it(plants, without_pages, method):
    """Neither with every role in another plant, nor without a plant, nor without a sign-in."""
    neighbour = signed_in(plants["their_people"]["everyone"])
    stranger, nobody = signed_in(make.person("stranger")), Client()
    wrong = []
    for name, route, arguments, view in addresses():
        address = address_of(name, route, arguments, plants["our_rows"])
        if name not in OPEN:
            answer = ask(nobody, method, address)
            is_led_away = answer.status_code == 302 and answer["Location"].startswith(("/sign-in/", "/first-sign-in/"))
            if not is_led_away and answer.status_code != 401:
                wrong.append(f"{method} {name} without a sign-in: {answer.status_code}")
            got = ask(stranger, method, address).status_code
            if view.right != "member" and got not in (403, 404, 405, 422):
                wrong.append(f"{method} {name} without a plant: {got}")
        if arguments and name not in {"calendar-feed", "import-blank", "kept-standing"}:  # these name no row
            got = ask(neighbour, method, address).status_code
            # Of which site a job or a keeper is, nobody else is told either.
            if got not in ((403, 405) if view.right == KEEPER else (404, 405)):
                wrong.append(f"{method} {name} by somebody of another plant: {got}")
    assert wrong == []


def test_no_page_shows_anything_of_another_plant(plants):
    """Every page, list, file and PDF of our plant, also when the query names rows of theirs."""
    client = signed_in(plants["our_people"]["everyone"])
    theirs = {name: plants["their_rows"][row].pk for name, row in ASKED_BY_NAME.items()}
    leaks = []
    for name, route, arguments, _view in addresses():
        address = address_of(name, route, arguments, plants["our_rows"])
        for query in ({}, {"format": "csv"}, {"format": "xlsx"}, {**theirs, "q": MARK.lower(), "search": MARK.lower()}):
            if query.get("format") and not name.endswith("list") and name not in {"life", "backlog"}:
                continue
            shown = text_of(ask(client, "get", address, query))
            leaks += [f"{name} {query}: {shown[max(0, at - 60) : at + 60]}" for at in places_of(MARK, shown)]
    assert leaks == []


def places_of(mark: str, text: str) -> list[int]:
    """Where a mark stands in a text. Tokens of forms are drawn at random: three letters come up in one now and then."""
    tokens = [range(*each.span()) for each in re.finditer(r"\b[A-Za-z0-9]{64}\b", text)]
    found = (each.start() for each in re.finditer(mark, text))
    return [at for at in found if not any(at in token for token in tokens)]


def test_a_mark_is_found_everywhere_but_in_a_token():
    token = f"{'a' * 30}{MARK}{'b' * 31}"
    assert places_of(MARK, f'<input value="{token}">') == []
    leak = f'<input value="{token}"> {MARK}-7 of Other {MARK} Works'
    assert [leak[at:] for at in places_of(MARK, leak)] == [f"{MARK}-7 of Other {MARK} Works", f"{MARK} Works"]


def text_of(answer: Any) -> str:
    """What can be read in an answer: a page, a table, a workbook or a PDF."""
    kind = answer.headers.get("Content-Type", "")
    if kind == "application/pdf" and answer.bytes:
        from pypdf import PdfReader

        return " ".join(page.extract_text() for page in PdfReader(io.BytesIO(answer.bytes)).pages)
    if "spreadsheetml" in kind:
        with zipfile.ZipFile(io.BytesIO(answer.bytes)) as book:
            return " ".join(book.read(each).decode() for each in book.namelist())
    return answer.bytes.decode(errors="replace")


def plant_of(row: Model) -> Plant | None:
    """The plant that a row belongs to; None for a check kind that is built in."""
    if isinstance(row, Plant):
        return row
    if hasattr(row, "plant"):
        return row.plant
    return next(getattr(row, name).plant for name in ("conveyor", "installation", "visit") if hasattr(row, name))


def forms_within(value: Any) -> Iterator[forms.BaseForm]:
    """The forms of what a page is made of, those of its panels, filters and lists among them."""
    if isinstance(value, dict):
        for each in value.values():
            yield from forms_within(each)
    elif isinstance(value, list | tuple):
        for each in value:
            yield from forms_within(each)
    elif isinstance(value, forms.BaseFormSet):
        yield from value.forms
    else:
        yield from (each for each in (value, getattr(value, "form", None)) if isinstance(each, forms.BaseForm))


def strangers_in(form: forms.BaseForm, plant: Plant) -> list[str]:
    """Rows of other plants that a person could choose in a form."""
    found = []
    for name, field in form.fields.items():
        if not isinstance(field, forms.ModelChoiceField):
            continue
        for row in field.queryset:
            if isinstance(row, Person):
                is_ours = Membership.objects.filter(person=row, plant=plant).exists()
            else:
                is_ours = plant_of(row) in (plant, None)
            if not is_ours:
                found.append(f"{type(form).__name__}.{name}: {row!r}")
    return found


@pytest.mark.parametrize("method", ["get", "post"])
def test_no_form_offers_a_row_of_another_plant(plants, contexts, method):
    """Somebody of both plants, with ours chosen: forms over a row of theirs offer theirs alone, all others ours."""
    both = plants["our_people"]["everyone"]
    for role in Membership.objects.filter(person=both).values_list("role", flat=True):
        Membership.objects.create(person=both, plant=plants["theirs"], role_id=role)
    client = signed_in(both, plants["ours"])
    wrong, n_fields = [], 0
    for name, route, arguments, _view in addresses():
        if name in OPEN:  # one of them signs out
            continue
        of_row = "pk" in arguments
        for side in ("our", "their") if of_row else ("our",):
            contexts.clear()
            ask(client, method, address_of(name, route, arguments, plants[f"{side}_rows"]))
            for form in forms_within(contexts):
                n_fields += sum(isinstance(field, forms.ModelChoiceField) for field in form.fields.values())
                wrong += [f"{name}, {each}" for each in strangers_in(form, plants[f"{side}s"])]
    assert n_fields > 60
    assert sorted(set(wrong)) == []


def test_a_row_of_another_file_is_not_reached_through_ours(plants):
    ours, theirs = plants["our_rows"], plants["their_rows"]
    client = signed_in(plants["our_people"]["everyone"])
    address = f"/imports/{ours['import_batch'].pk}/rows/{theirs['rejected_row'].pk}/"
    assert client.post(address, {"act": "drop"}).status_code == 404
    theirs["rejected_row"].refresh_from_db()
    assert theirs["rejected_row"].state == "open"


def test_a_phone_sends_nothing_to_another_plant(plants):
    client = signed_in(plants["our_people"]["technician"])
    theirs = plants["their_rows"]["installation"]
    entry = {
        "key": two_plants.fresh_key(),
        "made_at": "2026-11-20T10:00:00+00:00",
        "sent_at": "2026-11-20T10:00:00+00:00",
        "fields": {"task": [str(plants["their_rows"]["task"].pk)]},
        "person": plants["our_people"]["technician"].pk,
        "installation": theirs.pk,
    }
    answer = client.post("/round/api/entries/", json.dumps(entry), content_type="application/json")
    assert answer.status_code == 404
    answer = client.post("/round/api/photos/", {"installation": theirs.pk, "key": two_plants.fresh_key()})
    assert answer.status_code == 404
    pack = client.get("/round/api/pack/")
    assert pack.status_code == 200
    assert MARK not in pack.content.decode()


def test_checks_of_another_plant_are_not_put_on_a_round(plants):
    client = signed_in(plants["our_people"]["planner"])
    stop = plants["our_rows"]["stop"]
    data = {"shift": plants["our_rows"]["shift"].pk, "tasks": [plants["their_rows"]["task"].pk]}
    client.post("/opportunity/put-on/", data)
    assert set(stop.tasks.all()) == {plants["our_rows"]["task"]}
    assert plants["their_rows"]["task"].stops.count() == 1


def test_notices_are_read_and_shown_to_their_own_person_only(plants):
    ours = plants["our_people"]["everyone"]
    signed_in(ours).post("/notices/read/")
    unread = Notice.objects.filter(read_at__isnull=True).values_list("person", flat=True)
    assert set(unread) == {plants["their_people"]["everyone"].pk}


def test_who_left_the_plant_has_no_feed_any_more(plants):
    """The feed asks for no sign-in: its key must not outlive the membership."""
    row = plants["our_rows"]["technician"]
    address = f"/calendar/{row.calendar_key}.ics"
    assert Client().get(address).status_code == 200
    Membership.objects.filter(person=row.person).delete()
    assert Client().get(address).status_code == 404


@pytest.mark.parametrize("address", ["/keeper/", "/keeper/login/", "/admin/"])
def test_nothing_writes_round_the_services(plants, address):
    """The framework's own pages would write rows without history: there are none, for a keeper neither."""
    assert signed_in(plants["our_people"]["keeper"]).get(address).status_code == 404


def test_a_person_who_is_switched_off_is_let_in_nowhere(plants):
    person = plants["our_people"]["planner"]
    client = signed_in(person)
    Person.objects.filter(pk=person.pk).update(is_active=False)
    answer = client.get("/incidents/")
    assert answer.status_code == 302
    assert Incident.objects.count() == 2
