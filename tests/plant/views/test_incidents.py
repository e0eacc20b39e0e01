"""Pages over incidents: who may, what they show, how many queries a list needs."""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
import uuid
from zoneinfo import ZoneInfo

import openpyxl
import pytest
from django.urls import reverse

from plant.models import Incident
from tests import make


def value_in(page, name):
    """What stands in the box of this name when the page opens."""
    box = re.search(rf'<input[^>]*name="{name}"[^>]*>', page)[0]
    return re.search(r'value="([^"]*)"', box)[1]


def posted(belt, **values):
    return {
        "conveyor": belt.pk,
        "happened_at": "2026-11-01T09:30",
        "strand": "return",
        "chainage_m": "80",
        "severity": "spill",
        "suspected_cause": "unknown",
        "source": "person",
        "client_key": str(uuid.uuid4()),
        **values,
    }


def test_a_technician_records_an_incident_in_the_plants_clock(client, tess, belt_a1):
    client.force_login(tess)
    form = posted(belt_a1)
    for _ in range(2):  # a form sent twice counts once
        answer = client.post(reverse("incident-create"), form)
    row = Incident.objects.get()
    assert answer.url == row.get_absolute_url()
    assert row.happened_at == dt.datetime(2026, 11, 1, 8, 30, tzinfo=dt.UTC)
    assert (row.chainage_m, row.created_by) == (80.0, tess)


def test_an_incident_of_which_only_the_day_is_known_is_shown_as_its_day(time_machine, client, tess, erin, belt_a1):
    time_machine.move_to(dt.datetime(2026, 11, 25, 10, tzinfo=dt.UTC))  # the belt's page shows twelve months
    client.force_login(tess)
    page = client.get(reverse("incident-create")).content.decode()
    assert page.index("id_happened_at") < page.index("id_only_day") < page.index("id_strand")
    client.post(reverse("incident-create"), posted(belt_a1, only_day="on"))
    row = Incident.objects.get()
    assert (row.happened_at, row.time_is_known) == (dt.datetime(2026, 10, 31, 23, tzinfo=dt.UTC), False)
    page = client.get(row.get_absolute_url()).content.decode()
    assert "1 Nov 2026, time not known" in page
    assert "00:00" not in page.split("<dl")[0]
    listed = client.get(reverse("incident-list")).content.decode().split("<tbody")[1]
    assert ">2026-11-01</a>" in listed
    strip = client.get(belt_a1.get_absolute_url()).content.decode()
    assert "2026-11-01, spill" in strip
    assert "1 Nov 2026: spill" in strip
    # Corrected without touching the time it stays a day; the box shows that it is one.
    client.force_login(erin)
    address = reverse("incident-correct", args=[row.pk])
    assert re.search(r'name="only_day"[^>]*checked', client.get(address).content.decode())
    form = posted(belt_a1, happened_at="2026-11-01T00:00", severity="trip", correction_reason="It stopped.")
    client.post(address, {**form, "only_day": "on"})
    latest = Incident.objects.current().get()
    assert (latest.severity, latest.time_is_known, latest.happened_at) == ("trip", False, row.happened_at)
    form |= {"happened_at": "2026-11-01T06:30", "client_key": str(uuid.uuid4()), "correction_reason": "By the log."}
    client.post(reverse("incident-correct", args=[latest.pk]), form)
    latest = Incident.objects.current().get()
    assert (latest.time_is_known, latest.happened_at) == (True, dt.datetime(2026, 11, 1, 5, 30, tzinfo=dt.UTC))


@pytest.mark.parametrize(
    ("sent", "kept"), [("true", True), ("false", False), ("unknown", None), ("", None), ("True", True), ("2", True)]
)
def test_whether_the_belt_was_loaded_is_yes_no_or_not_known(client, tess, belt_a1, sent, kept):
    client.force_login(tess)
    client.post(reverse("incident-create"), posted(belt_a1, was_loaded=sent))
    assert Incident.objects.get().was_loaded is kept


@pytest.mark.parametrize("sent", ["maybe", "loaded", "yes please", "0x"])
def test_another_word_for_loaded_is_not_taken_for_not_known(client, tess, belt_a1, sent):
    client.force_login(tess)
    answer = client.post(reverse("incident-create"), posted(belt_a1, was_loaded=sent))
    assert answer.status_code == 422
    assert f"“{sent}” says neither yes nor no. Choose yes, no, or unknown" in answer.content.decode()
    assert not Incident.objects.exists()


def test_a_day_that_a_filter_cuts_is_not_listed_before_its_edge(client, erin, belt_a1):
    """So that the list behind a figure shows what the figure counts."""
    day = dt.datetime(2026, 3, 1, tzinfo=ZoneInfo("Europe/Berlin"))
    row = make.incident(belt_a1, day, time_is_known=False)
    client.force_login(erin)

    def listed(**query):
        return [each.record.pk for each in client.get(reverse("incident-list"), query).context["table"].rows]

    assert listed(until="2026-03-02") == [row.pk]
    assert listed(until="2026-03-01 15:00") == []
    assert listed(**{"from": "2026-03-01 08:00"}) == []
    assert listed(**{"from": "2026-03-01"}) == [row.pk]
    Incident.objects.update(created_at=day + dt.timedelta(hours=14))
    assert listed(until="2026-03-01 15:00") == [row.pk]  # it was entered by then


def test_lengths_are_read_in_the_persons_units(client, tess, belt_a1):
    tess.unit_system = "us"
    tess.save()
    client.force_login(tess)
    client.post(reverse("incident-create"), posted(belt_a1, chainage_m="100 ft", offset_mm="2 5/8"))
    row = Incident.objects.get()
    assert row.chainage_m == pytest.approx(30.48)
    assert row.offset_mm == pytest.approx(66.675)


def test_a_mistake_keeps_the_text_and_names_the_field(client, tess, belt_a1):
    client.force_login(tess)
    answer = client.post(reverse("incident-create"), posted(belt_a1, chainage_m="over there", note="by the tower"))
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "over there" in page
    assert "by the tower" in page
    assert 'role="alert"' in page
    assert not Incident.objects.exists()


@pytest.mark.parametrize("name", ["incident-detail", "incident-correct", "incident-withdraw"])
def test_a_foreign_incident_is_not_there(client, tess, belt_z9, at_noon, name):
    row = make.incident(belt_z9, at_noon)
    client.force_login(tess)
    assert client.get(reverse(name, args=[row.pk])).status_code == 404


def test_a_manager_reads_but_does_not_write(client, mona, belt_a1, at_noon):
    row = make.incident(belt_a1, at_noon)
    client.force_login(mona)
    assert client.get(reverse("incident-detail", args=[row.pk])).status_code == 200
    for name, args in (("incident-create", []), ("incident-correct", [row.pk]), ("incident-withdraw", [row.pk])):
        assert client.get(reverse(name, args=args)).status_code == 403


def test_a_stranger_sees_nothing(client, stranger):
    client.force_login(stranger)
    assert client.get(reverse("incident-list")).status_code == 403
    client.logout()
    assert client.get(reverse("incident-list")).status_code == 302


def test_withdrawing_needs_a_reason_and_keeps_the_row(client, erin, belt_a1, at_noon):
    row = make.incident(belt_a1, at_noon)
    client.force_login(erin)
    address = reverse("incident-withdraw", args=[row.pk])
    assert client.post(address, {"correction_reason": ""}).status_code == 422
    client.post(address, {"correction_reason": "test of the switch", "client_key": str(uuid.uuid4())})
    assert not Incident.objects.current().exists()
    page = client.get(row.get_absolute_url()).content.decode()
    assert "test of the switch" in page


def test_the_list_filters_by_place_and_time(client, erin, belt_a1, at_noon):
    inside = make.incident(belt_a1, at_noon, chainage_m=60.0)
    make.incident(belt_a1, at_noon, chainage_m=160.0)
    make.incident(belt_a1, at_noon - dt.timedelta(days=90), chainage_m=60.0)
    client.force_login(erin)
    query = {"low_m": 50, "high_m": 100, "from": (at_noon - dt.timedelta(days=1)).isoformat(), "strand": "return"}
    page = client.get(reverse("incident-list"), query)
    assert [row.record.pk for row in page.context["table"].rows] == [inside.pk]


def test_the_place_is_asked_for_in_the_readers_units_and_links_name_theirs(client, erin, belt_a1, at_noon):
    inside = make.incident(belt_a1, at_noon, chainage_m=60.0)
    make.incident(belt_a1, at_noon, chainage_m=160.0)
    erin.unit_system = "us"
    erin.save(update_fields=["unit_system"])
    client.force_login(erin)
    # 60 m is 196.85 ft, 160 m is 524.9 ft: NIST SP 811, 1 ft = 0.3048 m.
    for query in ({"low_m": "196", "high_m": "198"}, {"low_m": "50 m", "high_m": "100 m"}):
        page = client.get(reverse("incident-list"), query)
        assert [row.record.pk for row in page.context["table"].rows] == [inside.pk]
    assert 'Chainage from <span class="soft">[ft]</span>' in " ".join(page.content.decode().split())


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ({"from": "yesterday"}, "Give a day or a moment such as 2026-01-31"),
        ({"low_m": "half way"}, "was not understood as a distance"),
    ],
)
def test_a_filter_that_was_not_understood_shows_no_row_and_makes_no_file(client, erin, belt_a1, at_noon, query, words):
    make.incident(belt_a1, at_noon)
    client.force_login(erin)
    for wanted in ({}, {"format": "csv"}, {"format": "xlsx"}):
        answer = client.get(reverse("incident-list"), query | wanted)
        page = answer.content.decode()
        assert answer.status_code == 422
        assert words in page
        assert "The filter was not understood, so no row is shown." in page
        assert len(answer.context["table"].rows) == 0


@pytest.mark.parametrize("n", [3, 60])
def test_the_list_needs_the_same_queries_for_any_number_of_rows(
    client, erin, belt_a1, at_noon, django_assert_max_num_queries, n
):
    for minutes in range(n):
        make.incident(belt_a1, at_noon - dt.timedelta(minutes=minutes))
    client.force_login(erin)
    with django_assert_max_num_queries(15):
        client.get(reverse("incident-list"))


def test_files_hold_the_rows_and_no_formula(client, erin, belt_a1, at_noon):
    make.incident(belt_a1, at_noon, chainage_m=60.5, severity="trip")
    belt_a1.tag = "=A-1"
    belt_a1.save()
    client.force_login(erin)
    text = b"".join(client.get(reverse("incident-list"), {"format": "csv"}).streaming_content).decode()
    head, row = list(csv.reader(io.StringIO(text)))
    assert row[head.index("Chainage [m]")] == "60.5"
    assert row[head.index("Conveyor")] == "'=A-1"
    assert row[head.index("When")].startswith("2026-11-20T13:00:00+01:00")
    sheet = openpyxl.load_workbook(io.BytesIO(client.get(reverse("incident-list"), {"format": "xlsx"}).content)).active
    cells = {sheet.cell(1, column).value: sheet.cell(2, column) for column in range(1, sheet.max_column + 1)}
    assert cells["Chainage [m]"].value == 60.5
    assert cells["Conveyor"].data_type == "s"


# 25 October 2026, 02:30 comes twice in Berlin: at 00:30 and at 01:30 UTC (end of summer time, Directive 2000/84/EC).
@pytest.mark.parametrize(
    "happened_at",
    [
        dt.datetime(2026, 11, 1, 8, 30, 41, tzinfo=dt.UTC),
        dt.datetime(2026, 10, 25, 0, 30, tzinfo=dt.UTC),
        dt.datetime(2026, 10, 25, 1, 30, tzinfo=dt.UTC),
    ],
)
def test_a_time_that_nobody_touched_outlives_a_correction(client, erin, belt_a1, happened_at):
    row = make.incident(belt_a1, happened_at)
    client.force_login(erin)
    address = reverse("incident-correct", args=[row.pk])
    shown = value_in(client.get(address).content.decode(), "happened_at")
    answer = client.post(address, posted(belt_a1, happened_at=shown, severity="trip", correction_reason="it stopped"))
    assert answer.status_code == 302
    fresh = Incident.objects.get(corrects=row)
    assert (fresh.happened_at, fresh.severity) == (happened_at, "trip")


def test_a_time_that_was_changed_is_taken(client, erin, belt_a1):
    row = make.incident(belt_a1, dt.datetime(2026, 11, 1, 8, 30, 41, tzinfo=dt.UTC))
    client.force_login(erin)
    form = posted(belt_a1, happened_at="2026-11-01T09:31", correction_reason="clock was slow")
    client.post(reverse("incident-correct", args=[row.pk]), form)
    assert Incident.objects.get(corrects=row).happened_at == dt.datetime(2026, 11, 1, 8, 31, tzinfo=dt.UTC)
