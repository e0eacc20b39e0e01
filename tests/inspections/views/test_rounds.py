"""Who sees the board and who may lay; what the board says; a stop moved by what the keyboard and the mouse send."""

from __future__ import annotations

import datetime as dt

import pytest
from django.utils import timezone

from inspections.models import CheckKind, Round, RoundLaying, Shift, Stop, Task, TechnicianProfile
from inspections.services.rounds import lay, publish_rounds
from inspections.services.stops import could_not_do
from plant.models import Job
from tests import make
from tests.pages import in_one_line


@pytest.fixture
def look(alder):
    return CheckKind.objects.create(plant=alder, code="look", name="Look", needs_lockout=False, minutes=30)


@pytest.fixture
def tim(alder):
    return make.person("tim", alder, "technician")


@pytest.fixture
def tomorrow(alder):
    return timezone.localdate(timezone=alder.zone) + dt.timedelta(days=1)


@pytest.fixture
def shifts(alder, tess, tim, tomorrow):
    begin = dt.datetime(tomorrow.year, tomorrow.month, tomorrow.day, 6, tzinfo=alder.zone)
    return [make.shift(who, alder, begin) for who in (tess, tim)]


@pytest.fixture
def laid(alder, pat, look, shifts, tomorrow):
    """Two belts with a check each, on one draft."""
    for n, tag in enumerate(("A-1", "A-2"), 1):
        make.task(make.installation(make.conveyor(alder, tag=tag), str(n)), look, tomorrow)
    with timezone.override(alder.zone):
        return lay(plant=alder, first_day=tomorrow, last_day=tomorrow, by=pat, iterations=60)


def board(client, day):
    return client.get(f"/rounds/?day={day.isoformat()}")


def test_the_board_says_what_is_due_and_what_the_plan_takes(client, pat, laid, tomorrow):
    client.force_login(pat)
    text = board(client, tomorrow).content.decode()
    assert "2 checks may be done by this day. The plan takes 2." in text
    assert "Did not fit: 0" in text
    assert "1 draft: on no phone yet." in text
    assert 'data-tag="A-1"' in text
    assert "2 shifts" in text


def test_what_did_not_fit_stands_with_its_reason(client, pat, alder, look, shifts, tomorrow):
    task = make.task(make.installation(make.conveyor(alder, tag="A-9"), "9"), look, tomorrow)
    RoundLaying.objects.create(
        plant=alder,
        first_day=tomorrow,
        last_day=tomorrow,
        n_due=1,
        n_planned=0,
        left_out=[{"tasks": [task.pk], "reason": "the shifts are full", "change": "fits with one more"}],
    )
    client.force_login(pat)
    text = in_one_line(board(client, tomorrow).content.decode())
    assert "Did not fit: 1" in text
    assert '<b class="tag">A-9</b> device 9: look' in text
    assert "the shifts are full; fits with one more" in text


def test_an_empty_day_says_what_comes_first(client, pat, alder, tomorrow):
    client.force_login(pat)
    text = board(client, tomorrow).content.decode()
    assert "No shift is written for this day" in text
    assert "/shifts/create/" in text


def test_the_board_asks_the_same_number_of_questions_however_many_stops(
    client, pat, alder, look, laid, tomorrow, django_assert_max_num_queries
):
    client.force_login(pat)
    for n in range(3, 12):
        make.task(make.installation(make.conveyor(alder, tag=f"B-{n}"), str(n)), look, tomorrow)
    with timezone.override(alder.zone):
        lay(plant=alder, first_day=tomorrow, last_day=tomorrow, by=pat, iterations=30)
    with django_assert_max_num_queries(45):
        board(client, tomorrow)


@pytest.mark.parametrize(
    ("who", "status"), [("pat", 200), ("erin", 200), ("tess", 403), ("mona", 403), ("stranger", 403)]
)
def test_planner_and_engineer_see_the_board(client, request, alder, who, status):
    client.force_login(request.getfixturevalue(who))
    assert client.get("/rounds/").status_code == status


@pytest.mark.parametrize("who", ["tess", "erin", "mona", "stranger"])
def test_only_the_planner_lays_moves_and_publishes(client, request, laid, who):
    client.force_login(request.getfixturevalue(who))
    stop = Stop.objects.first()
    for address in (
        "/rounds/lay/",
        "/rounds/publish/",
        f"/rounds/stops/{stop.pk}/move/",
        f"/rounds/stops/{stop.pk}/out/",
    ):
        assert client.post(address).status_code == 403
    assert client.post("/shifts/create/").status_code == 403


def test_a_planner_of_another_plant_finds_nothing(client, otto, laid, shifts):
    client.force_login(otto)
    stop = Stop.objects.first()
    assert client.post(f"/rounds/stops/{stop.pk}/move/", {"step": "later"}).status_code == 404
    assert client.get(f"/rounds/{stop.round_id}/").status_code == 404
    assert client.get(f"/shifts/{shifts[0].pk}/change/").status_code == 404
    assert client.get(f"/shifts/{shifts[0].pk}/away/").status_code == 404


def test_a_technician_sees_the_own_published_round_only(client, pat, tess, tim, alder, laid, tomorrow):
    row = Round.objects.get()
    own, other = (tess, tim) if row.shift.person == tess else (tim, tess)
    client.force_login(own)
    assert client.get(f"/rounds/{row.pk}/").status_code == 404  # a draft is the planner's
    publish_rounds(plant=alder, day=tomorrow, by=pat)
    text = in_one_line(client.get(f"/rounds/{row.pk}/").content.decode())
    assert "2 stops between 06:00 and 14:00." in text
    assert "Lock out and get your permit" in text
    client.force_login(other)
    assert client.get(f"/rounds/{row.pk}/").status_code == 404


def test_laying_asks_for_a_job_and_shows_its_progress(client, pat, shifts, tomorrow):
    client.force_login(pat)
    values = {"first_day": tomorrow.isoformat(), "last_day": tomorrow.isoformat()}
    assert client.post("/rounds/lay/", values).url == f"/rounds/?day={tomorrow.isoformat()}"
    job = Job.objects.get(kind="lay_rounds")
    assert "Waiting for a worker" in board(client, tomorrow).content.decode()
    client.post("/rounds/stop/", {"day": tomorrow.isoformat()})
    job.refresh_from_db()
    assert job.state == Job.State.STOPPED
    assert client.get("/rounds/progress/")["HX-Refresh"] == "true"


def test_days_without_a_shift_are_refused_in_words(client, pat, tomorrow):
    client.force_login(pat)
    values = {"first_day": tomorrow.isoformat(), "last_day": tomorrow.isoformat()}
    text = client.post("/rounds/lay/", values, follow=True).content.decode()
    assert "write the shifts first" in text


def test_a_move_answers_the_board_and_what_is_spoken(client, pat, laid, shifts):
    client.force_login(pat)
    first = Stop.objects.order_by("position").first()
    target = next(each for each in shifts if each.pk != first.round.shift_id)
    answer = client.post(f"/rounds/stops/{first.pk}/move/", {"shift": target.pk}).json()
    assert answer["spoken"].startswith(f"{first.conveyor.tag}: {target.person}, 06:")
    assert f'data-stop="{answer["moved"]}"' in answer["html"]
    assert Stop.objects.get(pk=answer["moved"]).round.shift == target


def test_a_step_in_time_and_a_time_by_mouse(client, pat, laid, shifts, alder):
    client.force_login(pat)
    last = Stop.objects.order_by("position").last()
    moved = client.post(f"/rounds/stops/{last.pk}/move/", {"step": "later"}).json()["moved"]
    assert Stop.objects.get(pk=moved).starts_at == last.starts_at + dt.timedelta(minutes=15)
    at = last.round.shift.starts_at + dt.timedelta(hours=4)
    answer = client.post(f"/rounds/stops/{moved}/move/", {"not_before": at.isoformat(timespec="seconds")})
    assert Stop.objects.get(pk=answer.json()["moved"]).starts_at == at


def test_a_move_that_is_refused_says_why(client, pat, laid, shifts):
    client.force_login(pat)
    first = Stop.objects.order_by("position").first()
    answer = client.post(f"/rounds/stops/{first.pk}/move/", {"step": "earlier"})
    assert answer.status_code == 409
    assert answer.json()["spoken"] == f"{first.conveyor.tag} cannot be earlier."
    assert client.post(f"/rounds/stops/{first.pk}/move/", {"shift": "nonsense"}).status_code == 409


def test_a_stop_is_taken_off_the_rounds(client, pat, laid, tomorrow):
    client.force_login(pat)
    first = Stop.objects.order_by("position").first()
    answer = client.post(f"/rounds/stops/{first.pk}/out/").json()
    assert answer["moved"] is None
    assert Stop.objects.count() == 1


def test_publishing_from_the_board(client, pat, laid, tomorrow):
    client.force_login(pat)
    text = client.post("/rounds/publish/", {"day": tomorrow.isoformat()}, follow=True).content.decode()
    assert "Published: 1 round." in text
    assert Round.objects.published().count() == 1


def test_a_shift_is_written_changed_and_refused_across_another(client, pat, alder, tess, tomorrow):
    client.force_login(pat)
    day = tomorrow.isoformat()
    values = {"person": tess.pk, "starts_at": f"{day}T06:00", "ends_at": f"{day}T14:00", "break_minutes": 30}
    assert client.post("/shifts/create/", values).url == f"/rounds/?day={day}"
    shift = Shift.objects.get()
    assert (shift.day, shift.starts_at.astimezone(alder.zone).hour) == (tomorrow, 6)
    across = client.post("/shifts/create/", values | {"starts_at": f"{day}T13:00", "ends_at": f"{day}T20:00"})
    assert across.status_code == 422
    assert "tess has a shift at that time already." in across.content.decode()
    late_break = values | {"break_starts_at": f"{day}T13:45", "version": shift.version}
    assert "The break lies inside the shift" in client.post(f"/shifts/{shift.pk}/change/", late_break).content.decode()
    client.post(f"/shifts/{shift.pk}/change/", values | {"ends_at": f"{day}T15:00", "version": shift.version})
    shift.refresh_from_db()
    assert shift.ends_at.astimezone(alder.zone).hour == 15


def test_away_keeps_no_reason_and_lays_the_rest_again(client, pat, laid, shifts, tomorrow):
    client.force_login(pat)
    shift = shifts[0]
    page = client.get(f"/shifts/{shift.pk}/away/").content.decode()
    assert "reason" not in page.lower()
    values = {"from_at": f"{tomorrow.isoformat()}T06:00", "version": shift.version}
    assert client.post(f"/shifts/{shift.pk}/away/", values).status_code == 302
    shift.refresh_from_db()
    assert shift.away_from == shift.starts_at
    assert Job.objects.filter(kind="lay_rounds").count() == 1
    assert "away from 06:00" in board(client, tomorrow).content.decode()
    client.post(f"/shifts/{shift.pk}/back/")
    shift.refresh_from_db()
    assert shift.away_from is None


def test_what_could_not_be_done_stands_on_the_board_with_its_reason(client, pat, tess, laid, tomorrow):
    task = Task.objects.first()
    could_not_do(task=task, by=tess, reason="no_permit", note="permit office closed")
    client.force_login(pat)
    text = board(client, tomorrow).content.decode()
    assert "1 check came back" in text
    assert "no permit" in text
    assert "permit office closed" in text
    assert "on no round now" in text
    assert "never held against anybody" in text
    assert "tess" not in text.split('id="came-back"')[1].split("</ul>")[0]


def test_rounds_are_swapped_from_the_board(client, pat, laid, shifts, tomorrow):
    client.force_login(pat)
    before = {str(row.shift.person): row.stops.count() for row in Round.objects.drafts()}
    page = client.get(f"/shifts/{shifts[0].pk}/swap/")
    assert "What has begun stays with whoever began it" in page.content.decode()
    answer = client.post(f"/shifts/{shifts[0].pk}/swap/", {"other": shifts[1].pk}, follow=True)
    assert "Swapped as drafts" in answer.content.decode()
    after = {str(row.shift.person): row.stops.count() for row in Round.objects.drafts()}
    assert after.get("tess", 0) == before.get("tim", 0)
    assert after.get("tim", 0) == before.get("tess", 0)
    answer = client.post(f"/shifts/{shifts[0].pk}/swap/", {"other": shifts[0].pk})
    assert answer.status_code == 422


def test_skills_and_tools_of_a_person(client, pat, tess, shifts):
    client.force_login(pat)
    address = client.get(f"/shifts/{shifts[0].pk}/skills/").url
    profile = TechnicianProfile.objects.get()
    values = {"skills": "lifting", "tools": "torque wrench", "version": profile.version}
    assert client.post(address, values).status_code == 302
    profile.refresh_from_db()
    assert (profile.person, profile.skills, profile.tools) == (tess, "lifting", "torque wrench")


# --- Today, on paper, in a calendar ---
@pytest.fixture
def today_round(alder, pat, tess, look, time_machine):
    """Published for today: two belts; a third check is open and on nobody's round."""
    noon = dt.datetime(2026, 12, 3, 4, tzinfo=dt.UTC)
    time_machine.move_to(noon, tick=False)
    begin = dt.datetime(2026, 12, 3, 6, tzinfo=alder.zone)
    make.shift(tess, alder, begin, break_starts_at=begin + dt.timedelta(hours=4))
    for n, tag in enumerate(("A-1", "A-2"), 1):
        make.task(make.installation(make.conveyor(alder, tag=tag), str(n)), look, begin.date())
    with timezone.override(alder.zone):
        lay(plant=alder, first_day=begin.date(), last_day=begin.date(), by=pat, iterations=60)
        publish_rounds(plant=alder, day=begin.date(), by=pat)
    make.task(make.installation(make.conveyor(alder, tag="A-3"), "3"), look, begin.date())
    return Round.objects.get()


def test_today_shows_the_published_round_in_order(client, tess, today_round):
    client.force_login(tess)
    text = in_one_line(client.get("/").content.decode())
    first, second = (stop.conveyor.tag for stop in today_round.stops.order_by("position"))
    assert "Shift 06:00 to 14:00, as published" in text
    assert "2 checks wait at 2 devices" in text
    assert 0 < text.index(f">{first}<") < text.index(f">{second}<")
    assert "1 more check is open, not on your round" in text
    assert ">A-3<" not in text


def test_today_keeps_all_open_checks_where_no_round_is_published(client, alder, tess, look):
    client.force_login(tess)
    make.task(make.installation(make.conveyor(alder, tag="A-3"), "3"), look, timezone.localdate(timezone=alder.zone))
    text = client.get("/").content.decode()
    assert ">A-3<" in text
    assert "as published" not in text


def pages_of(answer):
    import io

    from pypdf import PdfReader

    assert answer["Content-Type"] == "application/pdf"
    return [page.extract_text() for page in PdfReader(io.BytesIO(b"".join(answer))).pages]


def test_the_sheet_leads_with_the_lockout_and_holds_each_stop(client, tess, pat, today_round):
    client.force_login(tess)
    (text,) = pages_of(client.get(f"/rounds/{today_round.pk}/sheet.pdf"))
    assert "Round of tess, Thursday 3 December 2026" in text
    assert text.index("Lock out and get your permit") < text.index("A-1, device 1")
    assert "A-2, device 2" in text
    assert "10:00-10:30" in text
    client.force_login(pat)
    assert len(pages_of(client.get("/rounds/sheets.pdf?day=2026-12-03&paper=us-letter"))) == 1
    assert client.get("/rounds/sheets.pdf?day=2026-12-09").status_code == 404


def test_the_calendar_reads_as_rfc_5545_and_tells_of_no_person(client, tess, alder, today_round):
    """Read back by the icalendar library; the times are those of the stops."""
    from icalendar import Calendar

    key = TechnicianProfile.objects.create(plant=alder, person=tess).calendar_key
    answer = client.get(f"/calendar/{key}.ics")
    assert answer["Content-Type"] == "text/calendar; charset=utf-8"
    calendar = Calendar.from_ical(answer.content)
    events = calendar.walk("VEVENT")
    stops = list(today_round.stops.order_by("position"))
    assert [event.decoded("dtstart") for event in events] == [stop.starts_at for stop in stops]
    assert [event.decoded("dtend") for event in events] == [stop.ends_at for stop in stops]
    assert all(event.get("uid") and event.get("dtstamp") for event in events)
    assert len({str(event["uid"]) for event in events}) == 2
    assert b"\r\n" in answer.content
    assert max(len(line) for line in answer.content.split(b"\r\n")) <= 75  # RFC 5545, 3.1: lines are folded
    assert b"tess" not in answer.content
    assert b"@alder" not in answer.content


def test_the_calendar_s_address_is_renewed_and_ends_with_the_membership(client, tess, alder, today_round):
    client.force_login(tess)
    assert "/calendar/" in client.get("/rounds/calendar/").content.decode()
    old = TechnicianProfile.objects.get().calendar_key
    client.post("/rounds/calendar/renew/")
    new = TechnicianProfile.objects.get().calendar_key
    client.logout()
    assert client.get(f"/calendar/{old}.ics").status_code == 404
    assert client.get(f"/calendar/{new}.ics").status_code == 200
    tess.memberships.all().delete()
    assert client.get(f"/calendar/{new}.ics").status_code == 404
    assert client.get("/calendar/none.ics").status_code == 404


@pytest.fixture
def walked(alder, pat, laid, tomorrow):
    """The round that is on somebody's phone for tomorrow."""
    with timezone.override(alder.zone):
        publish_rounds(plant=alder, day=tomorrow, by=pat)
    return Round.objects.published().get(stops__position=0)


def fitting_sent(walked, **values):
    shift, belt = walked.shift, walked.stops.first().conveyor
    model = make.device(belt.plant, "70").device_model
    return {
        "conveyor": belt.pk, "strand": "return", "chainage_m": "95", "device_model": model.pk, "duration_h": "4",
        "planned_at": timezone.localtime(shift.starts_at, belt.plant.zone).strftime("%Y-%m-%dT%H:%M"),
        "crew": [shift.person_id], **values,
    }  # fmt: skip


def test_a_fitting_over_a_published_round_says_so_at_once_and_wherever_it_is_looked_at(
    client, erin, pat, walked, tomorrow, django_capture_on_commit_callbacks
):
    client.force_login(erin)
    with django_capture_on_commit_callbacks(execute=True):
        answer = client.post("/fittings/new/", fitting_sent(walked), follow=True)
    page = answer.content.decode()
    who = walked.shift.person
    assert page.count(f"The published round of {who}, ") == 2  # said once, and standing on the fitting's page
    assert f'href="/rounds/?day={tomorrow.isoformat()}"' in page
    for person in (pat, who):
        text = person.notices.get(key__startswith="fitting").text
        assert "Lay that day again, or plan the fitting otherwise." in text
    client.force_login(pat)
    text = board(client, tomorrow).content.decode()
    assert "against what is on the phones" in text
    assert "clashes with the fitting at A-1 return 95 m" in text
    assert "no stop is laid into it" in text
    client.force_login(who)
    text = client.get(f"/rounds/{walked.pk}/").content.decode()
    assert f"{who} is planned to this fitting from " in text
    assert "These stops lie in that time; ask the planner: A-1 " in text


def test_a_fitting_beside_every_round_is_planned_without_a_word(client, erin, walked, tess, tim):
    free = tim if walked.shift.person == tess else tess
    client.force_login(erin)
    page = client.post("/fittings/new/", fitting_sent(walked, crew=[free.pk]), follow=True).content.decode()
    assert "published round" not in page
