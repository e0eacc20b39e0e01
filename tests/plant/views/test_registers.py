"""Pages of areas, conveyors, parts, outage windows, belt changes, plant settings and people."""

import csv
import datetime as dt
import io
import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from openpyxl import load_workbook

from plant.models import Area, BeltChange, Conveyor, ConveyorPart, Membership, OutageWindow, Person
from plant.services.outages import plan_outage
from tests import make

pytestmark = pytest.mark.django_db

LISTS = ["conveyor-list", "area-list", "outage-list", "belt-change-list"]
# Page of one row -> who may open it and who may not, in the row's plant.
ROW_PAGES = {
    "area-detail": ("tess", None),
    "area-update": ("erin", "tess"),
    "conveyor-detail": ("tess", None),
    "conveyor-update": ("erin", "tess"),
    "part-create": ("pat", "mona"),
    "part-update": ("erin", "tess"),
    "part-remove": ("erin", "tess"),
    "outage-detail": ("tess", None),
    "outage-update": ("pat", "erin"),
    "outage-cancel": ("pat", "erin"),
    "belt-change-detail": ("mona", None),
    "belt-change-update": ("erin", "mona"),
}
PLANT_PAGES = {
    "conveyor-create": ("erin", "tess"),
    "area-create": ("erin", "tess"),
    "outage-create": ("pat", "erin"),
    "belt-change-create": ("erin", "tess"),
    "plant-settings": ("pat", "mona"),
    "people-list": ("pat", "erin"),
    "person-create": ("pat", "erin"),
    "role-give": ("pat", "tess"),
}


@pytest.fixture
def cast(tess, pat, erin, mona, otto, stranger):
    return {each.username: each for each in (tess, pat, erin, mona, otto, stranger)}


def rows_on(belt):
    return {
        "area": belt.area,
        "conveyor": belt,
        "part": make.drift_switch(belt, 30),
        "outage": OutageWindow.objects.create(
            conveyor=belt,
            starts_at=dt.datetime(2999, 1, 1, 6, tzinfo=dt.UTC),
            ends_at=dt.datetime(2999, 1, 1, 9, tzinfo=dt.UTC),
        ),
        "belt-change": BeltChange.objects.create(
            conveyor=belt, kind="splice", description="new", changed_at=dt.datetime(2026, 1, 1, tzinfo=dt.UTC)
        ),
    }


def row_url(name, rows):
    row = rows["conveyor"] if name == "part-create" else rows[name.rsplit("-", 1)[0]]
    return reverse(name, args=[row.pk])


@pytest.mark.parametrize("name", ROW_PAGES)
def test_who_may_open_the_page_of_a_row(client, cast, belt_a1, name):
    url = row_url(name, rows_on(belt_a1))
    may, may_not = ROW_PAGES[name]
    client.force_login(cast[may])
    assert client.get(url).status_code == 200
    if may_not:
        client.force_login(cast[may_not])
        assert client.get(url).status_code == 403
    client.force_login(cast["otto"])  # a planner elsewhere: there is no such page for him
    assert client.get(url).status_code == 404
    client.force_login(cast["stranger"])
    assert client.get(url).status_code in (403, 404)
    client.logout()
    assert client.get(url).status_code == 302


@pytest.mark.parametrize("name", PLANT_PAGES)
def test_who_may_open_a_page_of_the_plant(client, cast, alder, name):
    may, may_not = PLANT_PAGES[name]
    client.force_login(cast[may])
    assert client.get(reverse(name)).status_code == 200
    client.force_login(cast[may_not])
    assert client.get(reverse(name)).status_code == 403
    client.force_login(cast["stranger"])
    assert client.get(reverse(name)).status_code == 403


@pytest.mark.parametrize("name", LISTS)
def test_a_list_shows_the_own_plant_only_and_costs_the_same_however_long(
    client, cast, belt_a1, belt_z9, django_assert_num_queries, name
):
    rows_on(belt_a1), rows_on(belt_z9)
    client.force_login(cast["tess"])
    page = client.get(reverse(name))
    assert page.status_code == 200
    assert "Z-9" not in page.content.decode()
    before = counted(client, name)
    for n in range(8):
        belt = make.conveyor(belt_a1.plant, tag=f"B-{n}")
        make.area(belt_a1.plant, f"X{n}", "More")
        rows_on(belt)
    with django_assert_num_queries(before):
        client.get(reverse(name))
    client.force_login(cast["stranger"])
    assert client.get(reverse(name)).status_code == 403


def counted(client, name):
    with CaptureQueriesContext(connection) as queries:
        client.get(reverse(name))
    return len(queries)


def test_the_list_as_csv_holds_si_numbers_and_no_formulas(client, belt_a1, erin):
    erin.unit_system = "us"
    erin.save()
    make.conveyor(belt_a1.plant, tag="A-2", name="=HYPERLINK(1)", lift_m=-4.0)
    client.force_login(erin)
    answer = client.get(reverse("conveyor-list"), {"format": "csv"})
    lines = list(csv.DictReader(io.StringIO(b"".join(answer.streaming_content).decode())))
    assert [line["Tag"] for line in lines] == ["A-1", "A-2"]
    assert lines[0]["Width [mm]"] == "1200.0"
    assert lines[1]["Name"] == "'=HYPERLINK(1)"
    assert lines[1]["Lift [m]"] == "-4.0"
    assert lines[0]["Area"] == "A Crushing"
    page = client.get(reverse("conveyor-list")).content.decode()
    assert "Width [in]" in page
    assert "47 1/4" in page


def test_the_list_as_workbook_holds_text_as_text(client, belt_a1, erin):
    make.conveyor(belt_a1.plant, tag="A-2", name="=1+1")
    client.force_login(erin)
    book = load_workbook(io.BytesIO(client.get(reverse("conveyor-list"), {"format": "xlsx"}).content))
    sheet = book.active
    heads = [cell.value for cell in sheet[1]]
    last = dict(zip(heads, sheet[3], strict=True))
    assert last["Name"].data_type == "s"
    assert last["Centres [m]"].value == 200


@pytest.mark.parametrize("name", [*LISTS, "incident-list", "run-record-list", "meter-reading-list"])
def test_every_list_answers_as_file_and_sorts_by_each_column_that_offers_it(client, belt_a1, pat, name):
    rows_on(belt_a1)
    moment = dt.datetime(2026, 1, 1, tzinfo=dt.UTC)
    make.incident(belt_a1, moment, offset_mm=90.0)
    make.run_record(belt_a1, moment, moment + dt.timedelta(days=1), 20)
    belt_a1.meter_readings.create(read_at=moment, reading_h=4000)
    client.force_login(pat)
    table = client.get(reverse(name)).context["table"]
    sorts = [column.order_by_alias for column in table.columns if column.orderable]
    assert sorts
    for alias in sorts:
        assert client.get(reverse(name), {"sort": alias}).status_code == 200
    lines = list(
        csv.reader(io.StringIO(b"".join(client.get(reverse(name), {"format": "csv"}).streaming_content).decode()))
    )
    sheet = load_workbook(io.BytesIO(client.get(reverse(name), {"format": "xlsx"}).content)).active
    assert [cell.value for cell in sheet[1]] == lines[0]
    assert len(lines) == sheet.max_row == 2
    assert not [text for text in lines[1] if "<" in text]


def test_filters_narrow_the_list_and_retired_belts_are_asked_for(client, belt_a1, erin):
    make.conveyor(belt_a1.plant, tag="B-2", criticality="high")
    make.conveyor(belt_a1.plant, tag="C-3", retired_on=dt.date(2026, 1, 1))
    client.force_login(erin)

    def tags(**query):
        answer = client.get(reverse("conveyor-list"), {**query, "format": "csv"})
        return [line["Tag"] for line in csv.DictReader(io.StringIO(b"".join(answer.streaming_content).decode()))]

    assert tags() == ["A-1", "B-2"]
    assert tags(text="b2") == ["B-2"]
    assert tags(criticality="high") == ["B-2"]
    assert tags(state="retired") == ["C-3"]
    assert tags(state="all") == ["A-1", "B-2", "C-3"]


# --- forms ------------------------------------------------------------------------------------------------------------
def conveyor_form(belt, **values):
    return {
        "client_key": str(uuid.uuid4()),
        "tag": belt.tag,
        "name": belt.name,
        "area": belt.area_id,
        "belt_width_mm": "1200",
        "speed_m_s": "2.5",
        "length_m": "200",
        "lift_m": "10",
        "duty": "ordinary",
        "criticality": "medium",
        "version": belt.version,
        **values,
    }


def test_a_conveyor_entered_twice_with_one_key_is_one_row(client, belt_a1, erin):
    client.force_login(erin)
    sent = conveyor_form(belt_a1, tag="D-4", belt_width_mm="43 1/4 in", lift_m="-3.5")
    first = client.post(reverse("conveyor-create"), sent)
    again = client.post(reverse("conveyor-create"), sent)
    made = Conveyor.objects.get(tag="D-4")
    assert first.url == again.url == made.get_absolute_url()
    assert made.belt_width_mm == pytest.approx(43.25 * 25.4)
    assert made.lift_m == -3.5


@pytest.mark.parametrize(
    ("name", "model", "values"),
    [
        ("area-create", Area, {"code": "B", "name": "Screening", "walking_order": 2}),
        ("part-create", ConveyorPart, {"kind": "guard", "chainage_m": "6"}),
        (
            "belt-change-create",
            BeltChange,
            {"changed_at": "2026-01-05T09:00", "kind": "splice", "description": "new", "cuts_comparison": "on"},
        ),
        (
            "outage-create",
            OutageWindow,
            {"starts_at": "2026-12-03T06:00", "ends_at": "2026-12-03T12:00"},
        ),
    ],
)
def test_a_form_sent_twice_makes_one_row(client, belt_a1, pat, name, model, values):
    client.force_login(pat)
    url = reverse(name, args=[belt_a1.pk] if name == "part-create" else [])
    before = model.objects.count()
    sent = {**values, "client_key": str(uuid.uuid4()), "conveyor": belt_a1.pk}
    first, second = client.post(url, sent), client.post(url, sent)
    assert first.status_code == second.status_code == 302
    assert first.url == second.url
    assert model.objects.count() == before + 1


def test_a_known_tag_comes_back_with_the_typed_text_and_the_reason(client, belt_a1, erin):
    client.force_login(erin)
    answer = client.post(reverse("conveyor-create"), conveyor_form(belt_a1, tag="a 1", name="my words"))
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "is in the book already as A-1" in page
    assert "my words" in page
    assert 'id="errors"' in page


def test_the_second_editor_keeps_their_text_and_sees_the_first_ones(client, belt_a1, erin, pat):
    url = reverse("conveyor-update", args=[belt_a1.pk])
    client.force_login(pat)
    client.post(url, conveyor_form(belt_a1, name="Feed of the crusher", duty="wet_abrasive", belt_width_mm="1000"))
    client.force_login(erin)
    answer = client.post(url, conveyor_form(belt_a1, name="Main feed"))
    assert answer.status_code == 409
    page = answer.content.decode()
    assert 'value="Main feed"' in page
    assert "Feed of the crusher" in page
    assert "wet or abrasive" in page
    assert "Changed by pat" in page
    assert Conveyor.objects.get(pk=belt_a1.pk).name == "Feed of the crusher"
    # Having seen it, the same form with the fresh version is taken.
    again = client.post(url, conveyor_form(belt_a1, name="Main feed", version=2))
    assert again.status_code == 302
    assert Conveyor.objects.get(pk=belt_a1.pk).name == "Main feed"


def test_an_untouched_form_in_us_units_changes_nothing(client, belt_a1, erin):
    Conveyor.objects.filter(pk=belt_a1.pk).update(length_m=123.4567, edge_clearance_mm=91.3)
    erin.unit_system = "us"
    erin.save()
    client.force_login(erin)
    url = reverse("conveyor-update", args=[belt_a1.pk])
    form = client.get(url).context["form"]
    sent = {name: form[name].value() for name in form.fields}
    sent = {name: ("" if value is None else value) for name, value in sent.items() if value is not False}
    assert client.post(url, sent).status_code == 302
    belt = Conveyor.objects.get(pk=belt_a1.pk)
    assert (belt.length_m, belt.edge_clearance_mm, belt.belt_width_mm) == (123.4567, 91.3, 1200.0)


def test_a_form_in_us_units_shows_the_readers_units_and_takes_a_typed_one(client, belt_a1, erin):
    erin.unit_system = "us"
    erin.save(update_fields=["unit_system"])
    belt_a1.belt_width_mm, belt_a1.edge_clearance_mm = 4000.0, 0.01
    belt_a1.save(update_fields=["belt_width_mm", "edge_clearance_mm"])
    client.force_login(erin)
    address = reverse("conveyor-update", args=[belt_a1.pk])
    form = client.get(address).context["form"]
    # 4000 mm / 25.4 mm = 157.480 in (NIST SP 811), which is 3999.992 mm; shown as 157.48.
    assert form["belt_width_mm"].value() == "157.48"
    assert form["edge_clearance_mm"].value() == "0.01 mm"
    boxes = {name: form[name].value() for name in form.fields if form[name].value() not in (None, False)}
    belt_a1.refresh_from_db()
    before = (belt_a1.belt_width_mm, belt_a1.speed_m_s, belt_a1.edge_clearance_mm)
    assert client.post(address, boxes | {"length_m": "656 ft"}).status_code == 302
    belt_a1.refresh_from_db()
    assert (belt_a1.belt_width_mm, belt_a1.speed_m_s, belt_a1.edge_clearance_mm) == before
    assert belt_a1.length_m == pytest.approx(199.9488)


def test_parts_are_added_changed_and_removed_from_the_conveyor(client, belt_a1, erin):
    client.force_login(erin)
    url = reverse("part-create", args=[belt_a1.pk])
    sent = {"kind": "loading_point", "strand": "", "chainage_m": "6", "client_key": str(uuid.uuid4())}
    refused = client.post(url, sent)
    assert "sits on one strand: say which" in refused.content.decode()
    assert client.post(url, {**sent, "strand": "carry"}).status_code == 302
    part = ConveyorPart.objects.get()
    assert part.created_by == erin
    change = reverse("part-update", args=[part.pk])
    client.post(change, {**sent, "strand": "carry", "chainage_m": "7", "version": 1})
    remove = reverse("part-remove", args=[part.pk])
    clash = client.post(remove, {"version": 1, "removed_on": "2026-01-05"})
    assert clash.status_code == 409
    assert client.post(remove, {"version": 2, "removed_on": "2026-01-05", "reason": "gone"}).status_code == 302
    part.refresh_from_db()
    assert (part.chainage_m, part.removed_on) == (7.0, dt.date(2026, 1, 5))


def test_a_window_is_planned_in_the_plants_clock_and_taken_out_again(client, belt_a1, pat):
    client.force_login(pat)
    sent = {
        "conveyor": belt_a1.pk,
        "starts_at": "2026-12-03T06:00",
        "ends_at": "2026-12-03T12:00",
        "reason": "splice",
        "client_key": str(uuid.uuid4()),
    }
    client.post(reverse("outage-create"), sent)
    client.post(reverse("outage-create"), sent)
    window = OutageWindow.objects.get()
    assert window.starts_at == dt.datetime(2026, 12, 3, 5, tzinfo=dt.UTC)  # Berlin is an hour ahead in winter
    detail = client.get(window.get_absolute_url()).content.decode()
    assert "never a permit" in detail
    assert "Lock out and get your permit" in detail
    cancel = reverse("outage-cancel", args=[window.pk])
    assert client.post(cancel, {"version": 1, "why": ""}).status_code == 422
    assert client.post(cancel, {"version": 1, "why": "no crew"}).url == belt_a1.get_absolute_url()
    assert not OutageWindow.objects.exists()


def test_a_belt_of_another_plant_cannot_be_chosen(client, belt_a1, belt_z9, pat):
    client.force_login(pat)
    sent = {"conveyor": belt_z9.pk, "starts_at": "2026-12-03T06:00", "ends_at": "2026-12-03T12:00"}
    assert client.post(reverse("outage-create"), sent).status_code == 422
    assert (
        f'value="{belt_a1.pk}" selected'
        in client.get(reverse("outage-create"), {"conveyor": belt_a1.pk}).content.decode()
    )
    assert " selected" not in client.get(reverse("outage-create"), {"conveyor": belt_z9.pk}).content.decode().replace(
        'value="" selected', ""
    )


def test_windows_that_are_over_are_asked_for(client, belt_a1, pat):
    plan_outage(
        conveyor=belt_a1,
        by=pat,
        starts_at=dt.datetime(2020, 1, 1, tzinfo=dt.UTC),
        ends_at=dt.datetime(2020, 1, 2, tzinfo=dt.UTC),
    )
    client.force_login(pat)
    assert "No window ahead" in client.get(reverse("outage-list")).content.decode()
    assert "2020-01-01" in client.get(reverse("outage-list"), {"past": "all"}).content.decode()


def test_a_belt_change_is_recorded_and_changed(client, belt_a1, erin):
    client.force_login(erin)
    sent = {
        "conveyor": belt_a1.pk,
        "changed_at": "2026-01-05T09:00",
        "kind": "splice",
        "chainage_m": "41",
        "description": "splice renewed",
        "cuts_comparison": "on",
        "client_key": str(uuid.uuid4()),
    }
    client.post(reverse("belt-change-create"), sent)
    row = BeltChange.objects.get()
    client.post(reverse("belt-change-update", args=[row.pk]), {**sent, "description": "splice 2", "version": 1})
    page = client.get(row.get_absolute_url()).content.decode()
    assert "<del>splice renewed</del>" in page
    assert "<b>splice 2</b>" in page


def test_an_area_is_added_and_listed_with_its_belts(client, belt_a1, erin):
    client.force_login(erin)
    client.post(reverse("area-create"), {"code": "B", "name": "Screening", "walking_order": 2})
    assert Area.objects.get(code="B").plant == belt_a1.plant
    assert "Screening" in client.get(reverse("area-list")).content.decode()
    assert "A-1" in client.get(belt_a1.area.get_absolute_url()).content.decode()


# --- plant and people -------------------------------------------------------------------------------------------------
def test_the_plant_is_changed_by_two_who_meet(client, alder, pat, erin):
    client.force_login(pat)
    form = client.get(reverse("plant-settings")).context["form"]
    sent = {name: form[name].value() for name in form.fields}
    sent = {name: ("" if value is None else value) for name, value in sent.items()}
    assert client.post(reverse("plant-settings"), {**sent, "lockout_procedure": "Isolation, rev. 3"}).status_code == 302
    client.force_login(erin)
    clash = client.post(reverse("plant-settings"), {**sent, "lockout_procedure": "Locking, rev. 1"})
    assert clash.status_code == 409
    assert "Isolation, rev. 3" in clash.content.decode()
    assert "Locking, rev. 1" in clash.content.decode()
    alder.refresh_from_db()
    assert alder.lockout_procedure == "Isolation, rev. 3"


def test_the_settings_offer_only_what_has_an_effect(client, alder, pat):
    alder.time_zone = "CET"
    alder.save(update_fields=["time_zone"])
    client.force_login(pat)
    form = client.get(reverse("plant-settings")).context["form"]
    zones = dict(form.fields["time_zone"].choices)
    assert {"CET", "UTC", "Europe/Berlin"} <= set(zones)
    assert not {"Factory", "localtime", "Zulu"} & set(zones)
    assert "ton" not in form.fields


def test_a_person_is_added_once_and_the_first_password_is_shown_once(client, alder, pat):
    client.force_login(pat)
    sent = {"username": "tom", "email": "", "role": "technician", "client_key": str(uuid.uuid4())}
    client.post(reverse("person-create"), sent)
    client.post(reverse("person-create"), sent)
    assert Person.objects.filter(username="tom").count() == 1
    page = client.get(reverse("people-list"))
    password = page.context["fresh"]["password"]
    assert password in page.content.decode()
    assert password not in client.get(reverse("people-list")).content.decode()
    assert client.login(username="tom", password=password)


def test_roles_are_given_and_taken_in_the_own_plant_only(client, alder, other, pat, otto, tess):
    client.force_login(pat)
    unknown = client.post(reverse("role-give"), {"username": "nobody", "role": "planner"})
    assert "Nobody signs in as nobody" in unknown.content.decode()
    client.post(reverse("role-give"), {"username": "otto", "role": "manager"})
    given = Membership.objects.get(person=otto, plant=alder)
    at_other = Membership.objects.get(person=otto, plant=other)
    assert client.post(reverse("role-take", args=[at_other.pk])).status_code == 404
    asked = client.get(reverse("role-take", args=[given.pk]))
    assert "no longer be visible" in asked.content.decode()
    assert Membership.objects.filter(pk=given.pk).exists()
    assert client.post(reverse("role-take", args=[given.pk])).status_code == 302
    assert not Membership.objects.filter(pk=given.pk).exists()
    own = Membership.objects.get(person=pat)
    assert "last planner" in client.post(reverse("role-take", args=[own.pk])).content.decode()
    assert Membership.objects.filter(pk=own.pk).exists()
