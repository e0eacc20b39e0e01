"""Whatever comes to the phone's addresses is answered with a code and a sentence; nothing there makes the site fail.

Entries are true ones with some of their parts taken out or put in place of by what a broken phone, an old page or
somebody with a script may send.
"""

from __future__ import annotations

import copy
import json
import uuid
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inspections.models import Visit
from plant.models import Photo
from tests import make
from tests.true_forms import picture

quick = settings(
    max_examples=120,
    derandomize=True,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
# Numbers that Python would not write, and nesting that it would not walk, put into the text of the body.
RAW = {
    "<digits>": "9" * 5000,
    "<minus digits>": "-" + "9" * 5000,
    "<huge>": "1e999",
    "<deep>": "[" * 50_000 + "]" * 50_000,
    "<deep object>": '{"a":' * 5_000 + "1" + "}" * 5_000,
    "<not a number>": "NaN",
    "<infinite>": "-Infinity",
}
TEXTS = [
    "", " ", "x", "\x00", "\ud800", "\udfff\ud800", "١٢", "-1", "9" * 18, "9" * 30, "9" * 5000, "1e999", "nan", "on",
    "0001-01-01", "9999-12-31", "2026-13-45", "0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59.999-12:00",
    "2026-11-25T06:00", "2026-11-25T06:00:00Z", "visit", "action", "us", "x" * 5000, "75,1", "4' 3\"", "../x", "{}",
]  # fmt: skip
odd_values = st.one_of(
    st.sampled_from(TEXTS),
    st.sampled_from([None, True, False, 0, -1, 1.5, 10**18, 10**30, [], {}, [[]], [["a", "b"]], {"a": 1}, ["a", 1]]),
    st.sampled_from(sorted(RAW)),
    st.recursive(st.none() | st.booleans() | st.integers() | st.text(max_size=5), lambda inner: st.lists(inner)),
)


def places_in(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Where something stands in an entry, the whole of it first."""
    found = [path]
    parts = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for name, part in parts:
        found += places_in(part, (*path, name))
    return found


@st.composite
def mutated(draw: Any, entry: Any) -> Any:
    """A true entry with one to three parts taken out, put in place of, or put in beside."""
    made = copy.deepcopy(entry)
    for _n in range(draw(st.integers(1, 3))):
        path = draw(st.sampled_from(places_in(made)))
        if not path:
            if draw(st.booleans()):
                continue
            return draw(odd_values)
        *way, last = path
        holder = made
        for name in way:
            holder = holder[name]
        act = draw(st.sampled_from(["replace", "replace", "replace", "drop", "beside", "twice"]))
        if act == "drop":
            del holder[last]
        elif act == "beside" and isinstance(holder, dict):
            holder[draw(st.sampled_from(TEXTS[2:12]))] = draw(odd_values)
        elif act == "twice":
            holder[last] = [holder[last], draw(odd_values)]
        else:
            holder[last] = draw(odd_values)
    return made


def body_of(entry: Any) -> str:
    text = json.dumps(entry)
    for mark, raw in RAW.items():
        text = text.replace(json.dumps(mark), raw)
    return text


@pytest.fixture
def place(belt_a1):
    return make.installation(belt_a1)


@pytest.fixture
def wear(place):
    return make.task(place, make.check_kind("sensor-wear"), make.today())


@pytest.fixture
def phone(tess):
    client = Client(raise_request_exception=False)
    client.force_login(tess)
    return client


@pytest.fixture
def visit_entry(place, wear, tess):
    now = timezone.now().isoformat()
    return {
        "key": str(uuid.uuid4()),
        "kind": "visit",
        "person": tess.pk,
        "installation": place.pk,
        "made_at": now,
        "sent_at": now,
        "system": "metric",
        "photos": [str(uuid.uuid4())],
        "fields": {
            "task": [str(wear.pk)],
            "visited_at": now,
            "lockout_confirmed": "on",
            "lockout_at": now,
            "note": "both turn freely",
            "permit_reference": "P 7",
            "action_title": "Renew the bushes",
            "action_due_on": make.today().isoformat(),
            "action_owner": str(tess.pk),
            f"t{wear.pk}-drive_diameter-as_found": "75,1",
            f"t{wear.pk}-off_diameter-as_found": "75",
            f"t{wear.pk}-drive_diameter-as_found-sure": "on",
            f"t{wear.pk}-drive_state-as_found": "round",
            f"t{wear.pk}-reason": "",
        },
    }


@pytest.fixture
def action_entry(visit_entry, tess):
    fields = {"action_title": "Renew the bushes", "action_due_on": make.today().isoformat(), "action_owner": ""}
    return {**visit_entry, "kind": "action", "fields": fields, "photos": []}


@pytest.fixture
def set_aside(visit_entry):
    same = {name: visit_entry[name] for name in ("key", "kind", "person", "installation", "made_at")}
    content = json.dumps({"fields": visit_entry["fields"]})
    return {**same, "answer": "500", "tries": 5, "n_photos": 1, "content": content}


def fault_in(answer: Any) -> str:
    """What is wrong with an answer; empty where a phone knows what to do with it."""
    if answer.status_code >= 500:
        return f"answers {answer.status_code}"
    try:
        words = answer.json()
    except ValueError:
        return f"answers {answer.status_code} without JSON"
    if answer.status_code != 200 and not (words.get("code") and words.get("message", "").endswith((".", "?"))):
        return f"answers {answer.status_code} without a code and a sentence: {words}"
    return ""


def sent(phone: Client, address: str, body: Any, **more: Any) -> Any:
    """The answer; whatever was written on the way is taken back."""
    with transaction.atomic():
        answer = phone.post(reverse(address), body, **more)
        transaction.set_rollback(True)
    return answer


def test_the_entries_themselves_are_true(phone, visit_entry, action_entry):
    """Else the mutations would only try what is refused at the door."""
    for entry in ({**visit_entry, "photos": []}, action_entry):
        assert sent(phone, "round-entries", body_of(entry), content_type="application/json").status_code == 200


@pytest.mark.parametrize("kind", ["visit", "action"])
def test_no_entry_makes_the_site_fail(phone, visit_entry, action_entry, kind):
    entry = {"visit": visit_entry, "action": action_entry}[kind]

    @quick
    @given(mutated(entry))
    def check(made):
        answer = sent(phone, "round-entries", body_of(made), content_type="application/json")
        assert not (fault := fault_in(answer)), fault

    check()
    assert not Visit.objects.exists()


def test_nothing_set_aside_makes_the_site_fail(phone, set_aside, pat):
    assert sent(phone, "round-aside", body_of(set_aside), content_type="application/json").status_code == 200

    @quick
    @given(mutated(set_aside))
    def check(made):
        with transaction.atomic():
            answer = phone.post(reverse("round-aside"), body_of(made), content_type="application/json")
            assert not (fault := fault_in(answer)), fault
            if answer.status_code == 200:
                assert phone.get(answer.json()["url"]).status_code == 200
            transaction.set_rollback(True)

    check()


@pytest.mark.parametrize(
    "body", ["", "{", "[]", "null", '"x"', "\ufeff{}", "{'a': 1}", b"\xff\xfe", b"\x80", "[" * 99_999]
)
def test_what_is_no_entry_at_all_is_refused(phone, body):
    answer = sent(phone, "round-entries", body, content_type="application/json")
    assert (answer.status_code, answer.json()["code"]) == (422, "refused")
    assert "Show it to a planner" in answer.json()["message"]


def test_the_refusal_names_the_part(phone, visit_entry):
    for part, value in (("made_at", "9999-12-31T23:59:59Z"), ("fields, note", ["\ud800"]), ("photos", 5), ("key", "x")):
        name, _comma, box = part.partition(", ")
        made = {**visit_entry, name: {**visit_entry["fields"], box: value} if box else value}
        answer = sent(phone, "round-entries", body_of(made), content_type="application/json")
        assert answer.status_code == 422
        assert f"({part})" in answer.json()["message"]


def test_no_photo_makes_the_site_fail(phone, place):
    image = picture().read()
    texts = st.sampled_from([text for text in TEXTS if "\ud800" not in text])

    @quick
    @given(
        st.fixed_dictionaries(
            {},
            optional={
                "key": texts | st.just(str(uuid.uuid4())),
                "installation": texts | st.just(str(place.pk)),
                "bytes": texts | st.just(str(len(image))),
                "sha256": texts,
                "file": st.sampled_from([b"", b"GIF89a", image, image[:99], b"\x89PNG\r\n\x1a\n" + b"\x00" * 50]),
            },
        ),
        st.sampled_from(["photo.jpg", "", "../../x", "x" * 300, "a\tb", "ünï.png"]),
    )
    def check(data, name):
        if "file" in data:
            data = {**data, "file": SimpleUploadedFile(name or "x", data["file"], content_type="image/jpeg")}
        answer = sent(phone, "round-photos", data)
        assert not (fault := fault_in(answer)), fault

    check()
    assert not Photo.objects.exists()


def test_who_and_pack_answer_whatever_stands_in_the_address(phone, wear):
    for name in ("round-who", "round-pack"):
        for words in ("", "?day=9999-12-31", "?x=%ED%A0%80", f"?a={'9' * 5000}"):
            assert fault_in(phone.get(reverse(name) + words)) == ""
