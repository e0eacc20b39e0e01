"""Pages of check kinds and check plans."""

from __future__ import annotations

import datetime as dt
import uuid

import pytest
import time_machine
from django.urls import reverse

from inspections.models import CheckKind, CheckPlan, ReadingField, Task
from inspections.services.check_plans import add_reading_field, create_check_kind
from plant.errors import Refused
from tests import make

NOON = dt.datetime(2026, 3, 2, 12, tzinfo=dt.UTC)


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(NOON, tick=False):
        yield


@pytest.fixture
def scraper_check(alder, pat):
    return create_check_kind(plant=alder, by=pat, name="Scraper gap", minutes=10)


def test_planner_adds_a_kind_with_three_readings_and_limits_in_inches(client, pat):
    pat.unit_system = "us"
    pat.save()
    client.force_login(pat)
    answer = client.post(reverse("check-kind-create"), {"name": "Scraper gap", "minutes": 10, "needs_lockout": "on"})
    kind = CheckKind.objects.get(code="scraper-gap")
    assert answer.url == kind.get_absolute_url()
    url = reverse("reading-field-create", args=[kind.pk])
    assert client.get(url).status_code == 200
    for given in (
        {"label": "Gap", "form": "number", "quantity": "mm", "watch_above": "1/2", "act_above": "1 in", "position": 1},
        {"label": "Blade whole", "form": "yes_no", "yes_grade": "sound", "no_grade": "act", "position": 2},
        {"label": "Build-up", "form": "choice", "answers": "none = sound\nthin = watch\n\nthick = act", "position": 3},
    ):
        assert client.post(url, given).status_code == 302
    gap, blade, build_up = kind.fields.all()
    assert (gap.watch_above, gap.act_above, gap.choices) == (12.7, 25.4, [])
    assert blade.choices == [
        {"value": "yes", "label": "yes", "grade": "sound"},
        {"value": "no", "label": "no", "grade": "act"},
    ]
    assert [(each["value"], each["grade"]) for each in build_up.choices] == [
        ("none", "sound"),
        ("thin", "watch"),
        ("thick", "act"),
    ]
    page = client.get(kind.get_absolute_url()).content.decode()
    assert "0.5 in" in page  # limits are read as readings are, in thousandths
    assert "thin: " in page


def test_reading_is_changed_and_its_history_told(client, pat, scraper_check):
    field = add_reading_field(
        kind=scraper_check, by=pat, label="Gap", form="number", quantity="mm", watch_above=10.0, act_above=20.0
    )
    client.force_login(pat)
    url = reverse("reading-field-update", args=[field.pk])
    form = client.get(url).context["form"]
    assert form["watch_above"].value() == "10"
    given = {name: "" if form[name].value() is None else form[name].value() for name in form.fields}
    assert client.post(url, {**given, "watch_above": "12"}).status_code == 302
    field.refresh_from_db()
    assert (field.watch_above, field.version, field.code) == (12.0, 2, "gap")
    assert field.history.count() == 2


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"form": "number", "watch_above": "20 mm", "act_above": "10 mm"}, "lies below"),
        ({"form": "number", "watch_above": "a lot"}, "a lot"),
        ({"form": "choice", "answers": "only = sound"}, "at least two"),
        ({"form": "choice", "answers": "a = sound\nb"}, "has no grade"),
        ({"form": "choice", "answers": "a = sound\nb = broken"}, "has no grade"),
    ],
)
def test_limits_and_answers_that_contradict_are_refused(client, pat, scraper_check, given, words):
    client.force_login(pat)
    answer = client.post(
        reverse("reading-field-create", args=[scraper_check.pk]),
        {"label": "X", "quantity": "mm", "position": 1, **given},
    )
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert ReadingField.objects.count() == 0


def test_built_in_kinds_are_shown_and_never_changed(client, pat):
    kind = make.check_kind()
    client.force_login(pat)
    page = client.get(kind.get_absolute_url()).content.decode()
    assert "cannot be changed" in page
    assert reverse("check-kind-update", args=[kind.pk]) not in page
    answer = client.post(reverse("check-kind-update", args=[kind.pk]), {"name": "Mine", "minutes": 1, "version": 1})
    assert answer.status_code == 422
    assert "is built in" in answer.content.decode()
    with pytest.raises(Refused, match="is built in"):
        add_reading_field(kind=kind, by=pat, label="Mine", form="number")


def test_name_of_a_kind_is_taken_once(alder, pat, scraper_check):
    for name in ("Scraper gap", "Sensor wear"):
        with pytest.raises(Refused, match="already"):
            create_check_kind(plant=alder, by=pat, name=name)


def test_plan_is_written_once_per_model_and_makes_its_tasks(client, pat, belt_a1):
    installation = make.installation(belt_a1, "4")
    client.force_login(pat)
    given = {
        "check_kind": make.check_kind().pk,
        "device_model": installation.device.device_model_id,
        "interval_days": 90,
        "interval_h": "1500",
        "opens_days_before": 7,
        "closes_days_after": 7,
    }
    url = reverse("check-plan-create")
    answer = client.post(url, given)
    plan = CheckPlan.objects.get()
    assert answer.url == plan.get_absolute_url()
    assert Task.objects.open().count() == 1
    answer = client.post(url, {**given, "client_key": uuid.uuid4(), "again": "on"})
    assert answer.status_code == 422
    assert "already" in answer.content.decode()
    answer = client.post(
        url, {**given, "check_kind": make.check_kind("pivot-freedom").pk, "interval_days": "", "interval_h": ""}
    )
    assert answer.status_code == 422
    assert "Give an interval in days, in running hours, or both." in answer.content.decode()


def test_override_begins_with_the_models_plan(client, pat, belt_a1):
    installation = make.installation(belt_a1, "4")
    plan = make.check_plan(installation.device.device_model, make.check_kind(), interval_days=90, interval_h=1500)
    client.force_login(pat)
    url = reverse("check-plan-create-own", args=[installation.pk])
    form = client.get(url, {"kind": plan.check_kind_id}).context["form"]
    assert (form["interval_days"].value(), form["interval_h"].value()) == (90, "1500")
    given = {"check_kind": plan.check_kind_id, "interval_days": 30, "opens_days_before": 3, "closes_days_after": 3}
    assert client.post(url, given).status_code == 302
    own = CheckPlan.objects.get(installation=installation)
    assert Task.objects.open().get().check_plan == own


def test_plan_is_suspended_and_taken_up_again_from_its_page(client, pat, belt_a1):
    installation = make.installation(belt_a1, "4")
    plan = make.check_plan(installation.device.device_model, make.check_kind())
    client.force_login(pat)
    url = reverse("check-plan-suspend", args=[plan.pk])
    assert client.post(url, {"version": 1, "reason": "belt stands"}).status_code == 302
    plan.refresh_from_db()
    assert plan.is_suspended
    page = client.get(plan.get_absolute_url()).content.decode()
    assert "Suspended: no checks are asked for." in page
    assert "belt stands" in page
    assert client.post(url, {"version": 2, "reason": "runs again"}).status_code == 302
    plan.refresh_from_db()
    assert not plan.is_suspended
    assert Task.objects.open().count() == 1


def test_change_of_a_plan_moves_open_tasks(client, pat, belt_a1):
    installation = make.installation(belt_a1, "4")
    plan = make.check_plan(
        installation.device.device_model, make.check_kind(), created_at=dt.datetime(2025, 1, 1, tzinfo=dt.UTC)
    )
    task = make.task(installation, plan.check_kind, dt.date(2026, 4, 5), check_plan=plan)
    client.force_login(pat)
    given = {"interval_days": 120, "opens_days_before": 7, "closes_days_after": 7, "version": 1}
    assert client.post(reverse("check-plan-update", args=[plan.pk]), given).status_code == 302
    task.refresh_from_db()
    assert task.due_on == dt.date(2026, 5, 5)
    answer = client.post(reverse("check-plan-update", args=[plan.pk]), given | {"interval_days": 150})
    assert answer.status_code == 409


PLANNERS = ["check-kind-create", "check-plan-create"]


@pytest.mark.parametrize("name", PLANNERS)
def test_writing_is_for_planners_and_engineers(client, tess, mona, pat, erin, name):
    for person, status in ((tess, 403), (mona, 403), (pat, 200), (erin, 200)):
        client.force_login(person)
        assert client.get(reverse(name)).status_code == status


def test_other_plants_see_nothing(client, otto, tess, scraper_check, belt_a1, pat):
    installation = make.installation(belt_a1, "4")
    plan = make.check_plan(installation.device.device_model, scraper_check)
    field = add_reading_field(kind=scraper_check, by=pat, label="Gap", form="number")
    rows = [
        ("check-kind-detail", scraper_check.pk),
        ("check-kind-update", scraper_check.pk),
        ("reading-field-create", scraper_check.pk),
        ("reading-field-update", field.pk),
        ("check-plan-detail", plan.pk),
        ("check-plan-update", plan.pk),
        ("check-plan-suspend", plan.pk),
        ("check-plan-create-own", installation.pk),
        ("task-create", installation.pk),
    ]
    client.force_login(otto)
    assert [client.get(reverse(name, args=[pk])).status_code for name, pk in rows] == [404] * len(rows)
    assert "Scraper gap" not in client.get(reverse("check-kind-list")).content.decode()
    client.force_login(tess)
    assert [client.get(reverse(name, args=[pk])).status_code for name, pk in rows] == [
        *(200, 403, 403, 403),
        *(200, 403, 403, 403, 403),
    ]


def test_lists_cost_the_same_with_many_rows(client, pat, alder, django_assert_max_num_queries):
    for n in range(20):
        make.check_plan(make.device_model(alder, name=f"M-{n}"), make.check_kind())
        create_check_kind(plant=alder, by=pat, name=f"Kind {n}")
    client.force_login(pat)
    for name in ("check-plan-list", "check-kind-list"):
        with django_assert_max_num_queries(18):
            assert client.get(reverse(name)).status_code == 200
