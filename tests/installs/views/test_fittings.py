"""Planning fittings: the list, a plan from a survey, what is missing, clashes, parts at hand, giving up, Today."""

from __future__ import annotations

import datetime as dt
import re
import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from installs.files.needs_sheet import needs_pdf
from installs.models import Fitting, Instrument, ModelPart, Survey
from installs.selectors.fittings import jobs_ahead, readiness_of
from installs.selectors.job_steps import job_of
from installs.services.device_models import change_fastener, keep_sheet
from installs.services.fittings import change_fitting, give_up_fitting, plan_fitting
from installs.words.fittings import readiness_words
from installs.words.job_steps import step_words
from plant.calc.units import UnitSystem
from plant.errors import Refused
from plant.models import OutageWindow
from plant.selectors.history import lines_of
from plant.words.history import lines_told
from tests import make

pytestmark = pytest.mark.django_db


def text(answer):
    return re.sub(r"\s+", " ", answer.content.decode())


@pytest.fixture
def soon():
    return (timezone.now() + dt.timedelta(days=2)).replace(hour=10, minute=0, second=0, microsecond=0)


@pytest.fixture
def window(belt_a1, soon):
    return OutageWindow.objects.create(conveyor=belt_a1, starts_at=soon, ends_at=soon + dt.timedelta(hours=6))


@pytest.fixture
def device(belt_a1):
    device = make.device(belt_a1.plant, "70")
    ModelPart.objects.create(device_model=device.device_model, kind="part", name="clamp", count=4)
    ModelPart.objects.create(device_model=device.device_model, kind="lifting", name="chain hoist")
    return device


@pytest.fixture
def survey(belt_a1, erin, device):
    return Survey.objects.create(
        plant=belt_a1.plant,
        conveyor=belt_a1,
        strand="return",
        chainage_m=95.0,
        device_model=device.device_model,
        surveyed_at=timezone.now(),
        surveyed_by=erin,
        closed_at=timezone.now(),
        result="fits",
    )


def plan(belt, device, by, **values):
    values = {"chainage_m": 100.0, **values}
    return plan_fitting(conveyor=belt, device_model=device.device_model, device=device, by=by, **values)


def missing(fitting):
    return {line.about: readiness_words(line, UnitSystem.METRIC) for line in readiness_of(fitting) if line.is_missing}


def test_a_plan_copies_what_the_model_needs(belt_a1, device, pat):
    job = plan(belt_a1, device, pat)
    assert [(need.kind, need.name, need.needed, need.at_hand) for need in job.needs.all()] == [
        ("lifting", "chain hoist", 1, 0),
        ("part", "clamp", 4, 0),
    ]


def test_a_place_is_planned_once(belt_a1, device, alder, pat, window):
    job = plan(belt_a1, device, pat, outage_window=window)
    other = make.device(alder, "71")
    for chainage_m in (100.0, 100.03, 99.96):
        with pytest.raises(Refused, match=r"A fitting is planned for this place already: A-1, .* 100 m") as refused:
            plan(belt_a1, other, pat, chainage_m=chainage_m)
        assert (refused.value.code, refused.value.stands_at) == ("place_planned", job.get_absolute_url())
    beside = plan(belt_a1, other, pat, chainage_m=101.0)
    with pytest.raises(Refused, match="planned for this place already"):
        change_fitting(beside, by=pat, version=beside.version, chainage_m=100.0)
    # What stands there may be changed in place, and what is given up stands in nobody's way.
    change_fitting(job, by=pat, version=job.version, chainage_m=100.0, note="with the short arms")
    job.refresh_from_db()
    give_up_fitting(job, by=pat, version=job.version, reason="a brace stands in the way")
    assert plan(belt_a1, make.device(alder, "72"), pat).pk


def test_the_page_leads_to_the_plan_that_stands(client, belt_a1, device, alder, pat, window):
    job = plan(belt_a1, device, pat, outage_window=window)
    pat.unit_system = "us"
    pat.save()
    client.force_login(pat)
    other = make.device(alder, "71")
    data = {
        "conveyor": belt_a1.pk, "strand": "return", "chainage_m": "100 m", "device_model": other.device_model_id,
        "device": other.pk, "duration_h": "4", "client_key": str(uuid.uuid4()),
    }  # fmt: skip
    answer = client.post(reverse("fitting-create"), data)
    page = " ".join(answer.content.decode().split())
    assert answer.status_code == 422
    assert "planned for this place already: A-1, return strand, 328.1 ft" in page
    assert f'<a href="{job.get_absolute_url()}">Open what stands there</a>' in page
    assert Fitting.objects.count() == 1


def test_what_is_missing_is_said_line_by_line(belt_a1, device, pat):
    told = missing(plan(belt_a1, device, pat))
    assert set(told) == {"survey", "needs", "window", "crew", "permit", "instrument"}
    assert told["window"] == "No outage window is chosen."
    assert told["crew"] == "Nobody is named for the job."


def test_nothing_is_missing_where_all_is_in_the_book(belt_a1, device, pat, tess, window, survey, alder):
    Instrument.objects.create(
        plant=alder,
        number="W-07",
        range_least_nm=20,
        range_most_nm=200,
        calibration_due_on=window.starts_at.date() + dt.timedelta(days=30),
    )
    job = plan(
        belt_a1, device, pat, outage_window=window, crew=[tess], permit_reference="P-1", survey=survey, duration_h=4
    )
    assert job.planned_at == window.starts_at
    job.needs.update(at_hand=9)
    assert missing(job) == {}


def test_a_wrench_out_of_date_or_too_small_is_missing(belt_a1, device, pat, alder, soon):
    wrench = Instrument.objects.create(
        plant=alder, number="W-07", range_most_nm=200, calibration_due_on=soon.date() - dt.timedelta(days=1)
    )
    job = plan(belt_a1, device, pat, planned_at=soon)
    assert "No torque wrench is in calibration" in missing(job)["instrument"]
    wrench.calibration_due_on, wrench.range_most_nm = soon.date(), 100
    wrench.save()
    assert "covers 75 to 130" in missing(job)["instrument"]


def test_a_window_too_short_is_said(belt_a1, device, pat, window):
    job = plan(belt_a1, device, pat, outage_window=window, duration_h=8)
    assert "leaves 6 h from the planned start, the job takes 8 h" in missing(job)["window"]


def test_two_jobs_on_a_belt_at_the_same_time_clash_in_words(belt_a1, device, alder, pat, window):
    job = plan(belt_a1, device, pat, outage_window=window, duration_h=3)
    other = make.device(alder, "71")
    later = plan_fitting(
        conveyor=belt_a1,
        device_model=other.device_model,
        device=other,
        chainage_m=150.0,
        by=pat,
        outage_window=window,
        planned_at=window.starts_at + dt.timedelta(hours=2),
        duration_h=3,
    )
    assert "Another job is planned on this belt at the same time: A-1, return strand, 150 m" in missing(job)["window"]
    change_fitting(later, by=pat, version=later.version, planned_at=window.starts_at + dt.timedelta(hours=3))
    assert "window" not in missing(job)


def test_a_person_planned_twice_clashes_in_words(belt_a1, device, alder, pat, tess, soon):
    job = plan(belt_a1, device, pat, planned_at=soon, crew=[tess])
    other = make.device(alder, "71")
    plan_fitting(
        conveyor=make.conveyor(alder, "A-2"),
        device_model=other.device_model,
        device=other,
        chainage_m=50.0,
        by=pat,
        planned_at=soon + dt.timedelta(hours=1),
        crew=[tess],
    )
    assert "tess is planned at the same time for A-2" in missing(job)["crew"]


def test_a_device_or_place_that_is_taken_is_said(belt_a1, device, pat):
    make.installation(belt_a1, device=device, chainage_m=50.0)
    make.installation(belt_a1, "20", chainage_m=100.0)
    told = missing(plan(belt_a1, device, pat))
    assert "still stands on A-1, return strand, at 50 m" in told["device"]
    assert told["place"] == "Device 20 still stands in this place."


@pytest.mark.parametrize("days", [3, 4])
def test_three_days_ahead_are_shown_and_no_more(belt_a1, device, pat, alder, days):
    start = timezone.now().astimezone(alder.zone).replace(hour=12) + dt.timedelta(days=days)
    plan(belt_a1, device, pat, planned_at=start)
    ahead = jobs_ahead(alder, timezone.now())
    assert len(ahead) == (1 if days == 3 else 0)
    assert all(each.missing for each in ahead)


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"chainage_m": 500.0}, "is not on A-1"),
        ({"crew": "otto"}, "does not belong to this plant"),
        ({"planned_at": "late"}, "lies outside the window"),
        ({"device_model": "other"}, "the job is planned for a T-9"),
    ],
)
def test_plans_that_cannot_be_are_refused(belt_a1, device, pat, otto, alder, window, soon, values, words):
    values = dict(values)
    if "crew" in values:
        values["crew"] = [otto]
    if "planned_at" in values:
        values |= {"outage_window": window, "planned_at": soon + dt.timedelta(hours=7)}
    if "device_model" in values:
        values["device_model"] = make.device_model(alder, "T-9")
    known = {"device_model": device.device_model, "chainage_m": 100.0}
    with pytest.raises(Refused, match=words):
        plan_fitting(conveyor=belt_a1, device=device, by=pat, **{**known, **values})


def test_a_job_names_its_survey_in_the_units_of_the_reader(client, belt_a1, device, pat, survey):
    job = plan(belt_a1, device, pat, survey=survey)
    pat.unit_system = "us"
    pat.save()
    client.force_login(pat)
    page = text(client.get(job.get_absolute_url()))
    assert f'<a href="{survey.get_absolute_url()}">A-1, return strand, 311.7 ft</a>' in page  # 95 m / 0.3048
    assert "95 m" not in page


def test_a_plan_from_a_survey_takes_its_place(client, pat, survey):
    client.force_login(pat)
    page = client.get(f"{reverse('fitting-create')}?survey={survey.pk}")
    form = page.context["form"]
    assert form["chainage_m"].value() == "95"
    assert form["survey"].value() == survey.pk
    assert form["device_model"].value() == survey.device_model_id


def test_planning_through_the_page_says_what_clashes(client, pat, tess, belt_a1, device, window):
    client.force_login(pat)
    data = {
        "client_key": str(uuid.uuid4()),
        "conveyor": belt_a1.pk,
        "strand": "return",
        "chainage_m": "100",
        "device_model": device.device_model_id,
        "device": device.pk,
        "outage_window": window.pk,
        "duration_h": "8",
        "crew": [tess.pk],
    }
    for _ in range(2):
        answer = client.post(reverse("fitting-create"), data, follow=True)
    assert "the job takes 8 h" in text(answer)
    job = Fitting.objects.get()
    assert list(job.crew.all()) == [tess]
    assert job.planned_at == window.starts_at
    data |= {"version": job.version, "duration_h": "4", "permit_reference": "P-77", "planned_at": ""}
    assert client.post(reverse("fitting-update", args=[job.pk]), data).status_code == 302
    job.refresh_from_db()
    assert (job.duration_h, job.permit_reference) == (4, "P-77")


def test_parts_are_counted_by_the_technician(client, tess, pat, belt_a1, device):
    job = plan(belt_a1, device, pat)
    client.force_login(tess)
    page = reverse("fitting-needs", args=[job.pk])
    assert client.get(page).status_code == 200
    data = {f"need_{need.pk}": "4" for need in job.needs.all()}
    assert client.post(page, data).status_code == 302
    assert {need.at_hand for need in job.needs.all()} == {4}


def test_a_begun_job_reads_the_sheet_that_it_is_fitted_to(pat, erin, belt_a1, device):
    """Wrench, steps and the list on paper: a later version of the sheet changes nothing."""
    make.torque_wrench(belt_a1.plant)
    job = plan(belt_a1, device, pat)
    job.sheet = keep_sheet(device.device_model, by=erin)
    job.save()
    pivot = device.device_model.fasteners.get(place="pivot")
    change_fastener(pivot, by=erin, version=pivot.version, torque_nm=320.0, count=2)
    job = Fitting.objects.get(pk=job.pk)
    assert not next(line for line in readiness_of(job) if line.about == "instrument").is_missing
    assert "0 of 5 fasteners" in str([step_words(step, UnitSystem.METRIC) for step in job_of(job).steps])
    assert needs_pdf(job, system=UnitSystem.METRIC, paper="a4").startswith(b"%PDF")
    newer = plan(belt_a1, make.device(belt_a1.plant, "71"), pat, chainage_m=120.0)
    assert next(line for line in readiness_of(newer) if line.about == "instrument").is_missing


def test_giving_up_says_why(client, pat, belt_a1, device):
    job = plan(belt_a1, device, pat)
    client.force_login(pat)
    page = reverse("fitting-give-up", args=[job.pk])
    assert client.post(page, {"version": job.version, "reason": ""}).status_code == 422
    assert client.post(page, {"version": job.version, "reason": "brace in the way"}).status_code == 302
    assert "brace in the way" in text(client.get(job.get_absolute_url()))
    assert "brace" not in text(client.get(reverse("fitting-list")))


@pytest.mark.parametrize("state", ["", "planned", "begun", "over", "all"])
@pytest.mark.parametrize("kind", ["", "csv", "xlsx"])
def test_the_list_answers_each_state_as_page_and_file(client, pat, belt_a1, device, state, kind):
    plan(belt_a1, device, pat)
    client.force_login(pat)
    answer = client.get(reverse("fitting-list"), {"state": state, "format": kind})
    assert answer.status_code == 200


def test_the_list_asks_as_many_queries_for_one_job_as_for_three(client, pat, tess, alder, belt_a1, device):
    client.force_login(pat)
    plan(belt_a1, device, pat, crew=[tess])
    counts = []
    for number in range(2):
        client.get(reverse("fitting-list"))
        with CaptureQueriesContext(
            connection,
        ) as queries:
            client.get(reverse("fitting-list"))
        counts.append(len(queries))
        for extra in range(2):
            other = make.device(alder, f"8{number}{extra}")
            plan_fitting(
                conveyor=belt_a1,
                device_model=other.device_model,
                device=other,
                chainage_m=20.0 + 10 * number + extra,
                by=pat,
                crew=[tess],
            )
    assert counts[0] == counts[1]


def test_today_tells_the_planner_what_lacks_and_the_technician_what_to_do(client, pat, tess, belt_a1, device, soon):
    plan(belt_a1, device, pat, planned_at=soon, crew=[tess])
    client.force_login(pat)
    told = text(client.get(reverse("today")))
    assert "1 fitting in the next three days, 1 lacks something" in told
    assert "No permit reference is written down." in told
    client.force_login(tess)
    assert "1 device to fit" in text(client.get(reverse("today")))


def test_who_came_and_who_left_the_crew_stands_in_the_history(client, pat, tess, alder, belt_a1, device):
    tom = make.person("tom", alder, "technician")
    job = plan(belt_a1, device, pat, crew=[tess])
    change_fitting(job, by=pat, version=job.version, crew=[tess, tom])
    job = Fitting.objects.get()
    change_fitting(job, by=pat, version=job.version, crew=[tom])
    client.force_login(pat)
    page = text(client.get(job.get_absolute_url()))
    assert "tess, tom" in page
    lines = [
        (change.before, change.after)
        for line in lines_told(lines_of(job), UnitSystem.METRIC)
        for change in line.changes
    ]
    assert lines == [("tess, tom", "tom"), ("tess", "tess, tom")]


def test_the_page_of_a_window_lists_the_fittings_planned_into_it(client, pat, tess, belt_a1, device, window):
    client.force_login(pat)
    assert "No fitting is planned into this window" in text(client.get(window.get_absolute_url()))
    job = plan(belt_a1, device, pat, crew=[tess], outage_window=window)
    page = text(client.get(window.get_absolute_url()))
    assert "1 fitting is planned into this window" in page
    assert job.get_absolute_url() in page
    assert "No permit reference is written down." in page
    give_up_fitting(job, by=pat, version=job.version, reason="brace in the way")
    assert "No fitting is planned into this window" in text(client.get(window.get_absolute_url()))
