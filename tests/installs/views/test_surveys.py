"""Pages of surveys: who may, a walk from opening to closing, what is typed comes back, the number of queries."""

from __future__ import annotations

import datetime as dt
import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from installs.models import BeltOffset, Survey
from installs.services import surveys
from installs.services.belt_offsets import set_offset
from tests import make

pytestmark = pytest.mark.django_db


@pytest.fixture
def survey(belt_a1, tess):
    return surveys.open_survey(
        conveyor=belt_a1, strand="return", chainage_m=100, by=tess, device_model=make.device_model(belt_a1.plant)
    )


def filled(client, survey, **values):
    """What the page would send, with some boxes changed."""
    form = client.get(reverse("survey-update", args=[survey.pk])).context["form"]
    data = {name: form[name].value() for name in form.fields if name not in ("camera", "new_photos")}
    return {name: value if value is not None else "" for name, value in {**data, **values}.items()}


def test_who_may(client, survey, mona, otto, stranger, tess):
    pages = ("survey-detail", "survey-update", "survey-close", "survey-reopen")
    for person, statuses in ((tess, 4 * (200,)), (mona, (200, 403, 403, 403)), (otto, 4 * (404,))):
        client.force_login(person)
        got = tuple(client.get(reverse(name, args=[survey.pk])).status_code for name in pages)
        assert got == statuses, person
    client.force_login(mona)
    assert client.get(reverse("survey-create")).status_code == 403
    assert client.get(reverse("survey-list")).status_code == 200


def test_a_survey_begins_from_a_place_on_the_strip(client, belt_a1, tess):
    client.force_login(tess)
    asked = {"conveyor": belt_a1.pk, "strand": "carry", "chainage": "66.5"}
    form = client.get(reverse("survey-create"), asked).context["form"]
    assert (form["conveyor"].value(), form["strand"].value(), form["chainage_m"].value()) == (
        belt_a1.pk,
        "carry",
        "66.5",
    )
    odd = client.get(reverse("survey-create"), {"conveyor": "x", "chainage": "nan", "strand": "top"})
    assert odd.status_code == 200
    data = {"conveyor": belt_a1.pk, "strand": "carry", "chainage_m": "66.5", "surveyed_at": "2026-11-20T09:00"}
    data["client_key"] = form["client_key"].value()
    for _time in range(2):
        answer = client.post(reverse("survey-create"), data)
        assert answer.status_code == 302
    assert Survey.objects.get().chainage_m == 66.5


def test_the_walk_is_saved_and_comes_back(client, survey, tess):
    client.force_login(tess)
    url = reverse("survey-update", args=[survey.pk])
    data = filled(
        client, survey, clearance_below_mm="12 1/2 in", whole_range="yes", s0_empty="40", s0_empty_side="off",
        s1_loaded="0", cause_splice="no_sign", cause_splice_note="marked the edge",
    )  # fmt: skip
    assert client.post(url, data).status_code == 302
    survey.refresh_from_db()
    assert (survey.clearance_below_mm, survey.whole_range) == (317.5, "yes")
    first = surveys.stations_to_measure(survey)
    assert sorted(BeltOffset.objects.current().values_list("offset_mm", flat=True)) == [-40, 0]
    form = client.get(url).context["form"]
    assert (form["s0_empty"].value(), form["s0_empty_side"].value()) == ("40", "off")
    assert form["cause_splice_note"].value() == "marked the edge"
    assert len(first) == 2
    missing = [each["words"] for each in form.still_needed() if not each["is_there"]]
    assert "clearance below" not in missing
    assert "access" in missing


def test_an_offset_wants_its_side_and_its_station(client, survey, tess):
    client.force_login(tess)
    url = reverse("survey-update", args=[survey.pk])
    answer = client.post(url, filled(client, survey, s0_empty="40", s2_at="", s2_loaded="7", s2_loaded_side="off"))
    assert answer.status_code == 422
    assert set(answer.context["form"].errors) == {"s0_empty_side", "s2_at"}
    assert BeltOffset.objects.count() == 0


def test_a_station_that_is_emptied_counts_no_more(client, survey, tess):
    client.force_login(tess)
    url = reverse("survey-update", args=[survey.pk])
    client.post(url, filled(client, survey, s0_empty="40", s0_empty_side="off", s1_empty="5", s1_empty_side="drive"))
    survey.refresh_from_db()
    client.post(url, filled(client, survey, s0_at="", s0_empty="", s0_empty_side=""))
    assert list(BeltOffset.objects.current().values_list("offset_mm", flat=True)) == [5]


def test_a_second_person_keeps_what_they_typed(client, survey, tess):
    client.force_login(tess)
    data = filled(client, survey, access="ladder")
    surveys.change_survey(survey, by=tess, version=1, access="walkway")
    answer = client.post(reverse("survey-update", args=[survey.pk]), data)
    assert answer.status_code == 409
    page = answer.content.decode()
    assert "walkway" in page
    assert answer.context["form"]["access"].value() == "ladder"


def test_closing_and_reopening(client, survey, tess):
    client.force_login(tess)
    close = reverse("survey-close", args=[survey.pk])
    assert "fits with conditions" in client.get(close).content.decode()
    assert client.post(close, {"version": survey.version, "conditions": "summer stop only"}).status_code == 302
    survey.refresh_from_db()
    assert survey.result == "conditions"
    page = client.get(survey.get_absolute_url()).content.decode()
    assert "summer stop only" in page
    assert "Closed by tess" in page
    reopen = reverse("survey-reopen", args=[survey.pk])
    assert client.post(reopen, {"version": survey.version, "reason": ""}).status_code == 422
    assert client.post(reopen, {"version": survey.version, "reason": "one more look"}).status_code == 302
    survey.refresh_from_db()
    assert survey.closed_at is None


def test_what_decided_speaks_the_readers_units_after_closing_too(client, survey, tess):
    tess.unit_system = "us"
    tess.save()
    client.force_login(tess)
    surveys.change_survey(survey, by=tess, version=survey.version, clearance_below_mm=317.5)
    survey.refresh_from_db()
    for _state in ("open", "closed"):
        groups = client.get(survey.get_absolute_url()).context["groups"]
        shown = {line.rule: line for group in groups for line in group["lines"]}
        assert shown["below"].measured == "12 1/2 in"
        assert shown["chainage"].measured == "328.1 ft"
        if survey.closed_at is None:
            survey = surveys.close_survey(survey, by=tess, version=survey.version)


def test_the_list_asks_no_more_for_more_rows(client, survey, belt_a1, tess):
    client.force_login(tess)
    client.get(reverse("survey-list"))
    with CaptureQueriesContext(
        connection,
    ) as few:
        assert b"open" in client.get(reverse("survey-list")).content
    for at in (10, 20, 30):
        surveys.open_survey(conveyor=belt_a1, strand="return", chainage_m=at, by=tess)
    with CaptureQueriesContext(connection) as many:
        client.get(reverse("survey-list"))
    assert len(many) == len(few)
    answer = client.get(reverse("survey-list"), {"format": "csv"})
    assert b"A-1" in b"".join(answer.streaming_content)
    assert client.get(reverse("survey-list"), {"state": "fits"}).context["table"].paginator.count == 0


def test_the_dossier_tells_how_the_offset_changed(client, belt_a1, mona):
    at = make.installation(belt_a1, "20", installed_at=dt.datetime(2026, 1, 5, 8, tzinfo=dt.UTC))
    client.force_login(mona)
    assert "Belt offset, before and since" not in client.get(at.get_absolute_url()).content.decode()
    for days, occasion, size in ((-9, "survey", 60.0), (0, "acceptance", 20.0), (91, "follow_up", -15.0)):
        for station in (60.0, 80.0):
            set_offset(
                root=uuid.uuid5(uuid.NAMESPACE_OID, occasion), conveyor=belt_a1, strand="return", chainage_m=station,
                is_loaded=False, offset_mm=size, taken_at=at.installed_at + dt.timedelta(days=days),
                occasion=occasion, by=mona, installation=at,
            )  # fmt: skip
    page = client.get(at.get_absolute_url()).content.decode()
    assert "The belt lay 60 mm off its centre line on average before, 27 Dec 2025, and 15 mm after 3 months" in page
    assert "15 mm off side" in page
    assert page.count('<figure class="offsets">') == 1
