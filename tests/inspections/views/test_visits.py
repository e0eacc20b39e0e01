"""The close-out page without its script: the server grades, asks back, keeps what was typed, counts once."""

import datetime as dt
import io
import re
import uuid

import pytest
from django.contrib.auth.models import Group
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from inspections.models import Action, CouldNotDo, Reading, Task, Visit
from inspections.services.visits import StopReport, close_out_visit
from plant.models import Membership
from tests import make
from tests.oddities import lines_of, oddities


@pytest.fixture
def place(belt_a1):
    return make.installation(belt_a1)


@pytest.fixture
def wear(place):
    return make.task(place, make.check_kind("sensor-wear"), make.today())


@pytest.fixture
def torque(place):
    return make.task(place, make.check_kind("fastener-torque"), make.today())


@pytest.fixture
def sent(wear):
    now = timezone.localtime().strftime("%Y-%m-%dT%H:%M")
    return {"client_key": str(uuid.uuid4()), "task": [wear.pk], "visited_at": now, "lockout_confirmed": "on"}


def box(task, code, stage="as_found"):
    return f"t{task.pk}-{code}-{stage}"


def url(place):
    return reverse("visit-create", args=[place.pk])


def photo():
    buffer = io.BytesIO()
    Image.new("RGB", (20, 20), "grey").save(buffer, format="JPEG")
    return SimpleUploadedFile("image.jpg", buffer.getvalue(), content_type="image/jpeg")


def test_who_may_and_who_may_not(client, place, wear, tess, mona, otto, stranger):
    for person, status in ((tess, 200), (mona, 403), (otto, 404), (stranger, 403)):
        client.force_login(person)
        assert client.get(url(place)).status_code == status


def test_the_page_leads_with_lockout_and_shows_what_is_asked(
    client, place, wear, torque, tess, django_assert_max_num_queries
):
    client.force_login(tess)
    with django_assert_max_num_queries(26):
        page = client.get(url(place)).content.decode()
    assert page.index("Lock out and get your permit") < page.index("Sensor wear")
    assert "new 76 mm, limit 68 mm" in page
    assert "target 130 N·m, within 10 %" in page
    assert page.count('name="task"') == 2
    assert re.search(r"<legend>\s*Drive side roller\s", page)
    assert re.search(r"<legend>\s*clamp 1, witness mark\s", page)
    assert oddities(lines_of(page)) == []


def test_sent_twice_makes_one_visit(client, place, wear, tess, sent):
    client.force_login(tess)
    sent |= {box(wear, "drive_diameter"): "75", box(wear, "off_diameter"): "2 31/32 in"}
    first = client.post(url(place), sent)
    second = client.post(url(place), sent)
    visit = Visit.objects.get()
    assert first.url == second.url == visit.get_absolute_url()
    row = Reading.objects.get(code="off_diameter")
    assert row.value == pytest.approx(75.40625)
    assert row.typed == "2 31/32 in"
    page = client.get(first.url).content.decode()
    assert "lockout confirmed by tess" in page
    assert "Permitted wear used: drive side 12.5 %" in page


def test_typed_text_is_kept_when_something_is_missing(client, place, wear, tess, sent):
    client.force_login(tess)
    del sent["lockout_confirmed"]
    answer = client.post(url(place), sent | {box(wear, "drive_diameter"): "7o", "note": "wet underfoot"})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert 'value="7o"' in page
    assert "wet underfoot" in page
    assert "was not understood as a length" in page
    assert f'href="#id_{box(wear, "drive_diameter")}"' in page


def test_an_act_is_answered_by_the_suggested_action(client, place, wear, tess, sent):
    client.force_login(tess)
    sent |= {box(wear, "drive_diameter"): "68", box(wear, "off_diameter"): "68", "action_due_on": "2026-12-24"}
    page = client.post(url(place), sent).content.decode()
    assert "raise an action, or say why none is needed" in page
    assert 'value="Replace both sensor rollers"' in page
    client.post(url(place), sent | {"action_title": "Replace both sensor rollers"})
    assert Action.objects.get().visit == Visit.objects.get()


def test_a_reason_beside_an_action_does_not_say_that_none_was_raised(client, place, wear, tess, sent):
    client.force_login(tess)
    sent |= {box(wear, "drive_diameter"): "68", box(wear, "off_diameter"): "68", "action_due_on": "2026-12-24"}
    sent |= {"action_title": "Replace both sensor rollers", "no_action_reason": "the other side was set there"}
    client.post(url(place), sent)
    visit = Visit.objects.get()
    assert (visit.actions.count(), visit.no_action_reason) == (1, "the other side was set there")
    page = client.get(visit.get_absolute_url()).content.decode()
    assert "no action was raised" not in page
    assert "<b>Reason given in place of an action:</b> the other side was set there" in page


def suggested_in(page):
    return re.search(r'name="action_suggested" value="([^"]*)"', page).group(1)


def test_a_suggested_title_that_nobody_touched_goes_where_a_reason_is_given(client, place, wear, tess, sent):
    client.force_login(tess)
    sent |= {box(wear, "drive_diameter"): "68", box(wear, "off_diameter"): "68", "action_due_on": "2026-12-24"}
    page = client.post(url(place), sent).content.decode()
    title = suggested_in(page)
    assert title == "Replace both sensor rollers"
    sent |= {"action_title": title, "action_suggested": title}
    client.post(url(place), sent | {"no_action_reason": "both were set yesterday"})
    assert Visit.objects.get().no_action_reason == "both were set yesterday"
    assert not Action.objects.exists()


def test_a_suggested_title_follows_what_is_found_and_a_typed_one_stays(client, place, wear, tess, sent):
    client.force_login(tess)
    sent |= {box(wear, "drive_diameter"): "68", box(wear, "off_diameter"): "68", "action_due_on": "2026-12-24"}
    was = {"action_title": "Free the pivot", "action_suggested": "Free the pivot"}
    # Something else stands in the way still, so that the page comes again.
    page = client.post(url(place), sent | was | {"visited_at": ""}).content.decode()
    assert suggested_in(page) == "Free the pivot"  # not graded yet
    page = client.post(url(place), sent | was | {"lockout_confirmed": ""}).content.decode()
    assert suggested_in(page) == "Replace both sensor rollers"
    assert 'value="Replace both sensor rollers"' in page
    typed = {"action_title": "Free the pivot first", "action_suggested": "Free the pivot"}
    page = client.post(url(place), sent | typed | {"lockout_confirmed": ""}).content.decode()
    assert 'value="Free the pivot first"' in page


def test_a_suggested_action_is_not_raised_where_nothing_calls_for_it_any_more(client, place, wear, tess, sent):
    client.force_login(tess)
    sent |= {box(wear, "drive_diameter"): "74", box(wear, "off_diameter"): "74", "action_due_on": "2026-12-24"}
    was = {"action_title": "Replace both sensor rollers", "action_suggested": "Replace both sensor rollers"}
    assert client.post(url(place), sent | was).status_code == 302
    assert not Action.objects.exists()


def test_a_question_is_asked_once_and_a_tick_answers_it(client, place, wear, tess, sent):
    client.force_login(tess)
    sent |= {box(wear, "drive_diameter"): "2.9", "no_action_reason": "measured wrong side"}
    page = client.post(url(place), sent).content.decode()
    assert "did you mean 73.66 mm?" in page
    assert "raise an action" not in page  # no advice before it is settled what was read
    assert "It is 2.9 mm" in page
    assert client.post(url(place), sent | {box(wear, "drive_diameter") + "-sure": "on"}).status_code == 302


def test_the_reading_that_is_chosen_takes_the_place_of_what_was_typed(client, place, wear, tess, sent):
    client.force_login(tess)
    name = box(wear, "drive_diameter")
    answer = client.post(url(place), sent | {name: "2.9"})
    assert 'value="2.9 in"' in answer.content.decode()
    assert client.post(url(place), sent | {name: "2.9", f"{name}-sure": "2.9 in"}).status_code == 302
    row = Reading.objects.get()
    assert (row.typed, row.value) == ("2.9 in", pytest.approx(73.66))


def test_a_choice_for_a_text_that_was_changed_since_counts_nothing(client, place, wear, tess, sent):
    client.force_login(tess)
    name = box(wear, "drive_diameter")
    answer = client.post(url(place), sent | {name: "2.8", f"{name}-sure": "2.9 in"})
    assert answer.status_code == 422
    assert "It is 2.8 in = 71.1 mm" in answer.content.decode()
    assert not Visit.objects.exists()


def test_a_text_that_may_mean_two_numbers_is_offered_as_both(client, place, wear, tess, sent):
    client.force_login(tess)
    name = box(wear, "drive_diameter")
    page = client.post(url(place), sent | {name: "73,125 mm"}).content.decode()
    assert "It is 73125 mm" in page
    assert client.post(url(place), sent | {name: "73,125 mm", f"{name}-sure": "73.125 mm"}).status_code == 302
    assert Reading.objects.get().value == 73.125


def test_photos_are_kept_even_when_the_visit_is_refused(client, place, wear, tess, sent, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    client.force_login(tess)
    page = client.post(url(place), sent | {"camera": photo()}).content.decode()
    assert "1 photo is kept already" in page
    kept = page.split('name="kept_photos" value="')[1].split('"')[0]
    client.post(url(place), sent | {"kept_photos": kept, box(wear, "drive_diameter"): "75", "photos": photo()})
    assert Visit.objects.get().photos.count() == 1  # the same picture again is the same photo


def test_could_not_do_stands_beside_what_was_done(client, place, wear, torque, tess, pat, sent):
    client.force_login(tess)
    sent |= {"task": [wear.pk, torque.pk], box(wear, "drive_diameter"): "75"}
    both = client.post(url(place), sent | {f"t{wear.pk}-reason": "no_access"})
    assert "either readings or the reason" in both.content.decode()
    assert not CouldNotDo.objects.exists()
    client.post(url(place), sent | {f"t{torque.pk}-reason": "no_tool", f"t{torque.pk}-remark": "wrench away"})
    assert CouldNotDo.objects.get().task == torque
    wear.refresh_from_db()
    torque.refresh_from_db()
    assert wear.closed_at is not None
    assert torque.closed_at is None
    assert pat.notices.count() == 1


def test_only_could_not_do_needs_no_visit(client, place, wear, tess, sent):
    client.force_login(tess)
    del sent["lockout_confirmed"]
    for _twice in range(2):
        answer = client.post(url(place), sent | {f"t{wear.pk}-reason": "belt_running"})
    assert answer.url == reverse("today")
    assert CouldNotDo.objects.count() == 1
    assert not Visit.objects.exists()


def test_a_check_that_somebody_closed_meanwhile_keeps_both(client, place, wear, tess, pat, sent):
    values = {"visited_at": timezone.now(), "lockout_confirmed": True}
    theirs = close_out_visit(
        StopReport(installation=place, by=pat, entries={wear.pk: {"drive_diameter": {"as_found": 75.0}}}, **values)
    )
    client.force_login(tess)
    answer = client.post(url(place), sent | {box(wear, "drive_diameter"): "74.5"})
    page = client.get(answer.url).content.decode()
    assert "had been closed already, by pat" in page
    assert Reading.objects.current().filter(task=wear).count() == 2
    wear.refresh_from_db()
    assert wear.visit == theirs


def test_a_visit_is_corrected_and_the_old_one_stays(client, place, wear, tess, otto, sent):
    client.force_login(tess)
    client.post(url(place), sent | {box(wear, "drive_diameter"): "71", box(wear, "off_diameter"): "75"})
    old = Visit.objects.get()
    path = reverse("visit-correct", args=[old.pk])
    page = client.get(path).content.decode()
    assert 'value="71"' in page
    change = {"client_key": str(uuid.uuid4()), box(wear, "drive_diameter"): "75", box(wear, "off_diameter"): "75"}
    assert client.post(path, change).status_code == 422  # no reason
    for _twice in range(2):
        answer = client.post(path, change | {"correction_reason": "read the wrong side"})
    fresh = Visit.objects.get(corrects=old)
    assert answer.url == fresh.get_absolute_url()
    wear.refresh_from_db()
    assert wear.grade == "sound"
    assert "These readings were corrected." in client.get(old.get_absolute_url()).content.decode()
    assert "read the wrong side" in client.get(fresh.get_absolute_url()).content.decode()
    client.force_login(otto)
    assert client.get(path).status_code == 404
    assert client.get(fresh.get_absolute_url()).status_code == 404


def test_readings_list_and_its_files(client, place, wear, torque, tess, mona, django_assert_max_num_queries):
    entries = {torque.pk: {f"clamp_{n}": {"as_found": 75.0, "as_left": 75.0} for n in (1, 2, 3, 4)}}
    close_out_visit(
        StopReport(installation=place, by=tess, entries=entries, visited_at=timezone.now(), lockout_confirmed=True)
    )
    client.force_login(mona)
    with django_assert_max_num_queries(20):
        page = client.get(reverse("reading-list")).content.decode()
    assert "8 rows" in page
    assert "4 rows" in client.get(reverse("reading-list"), {"stage": "as_left"}).content.decode()
    file = b"".join(client.get(reverse("reading-list"), {"format": "csv"}).streaming_content).decode()
    assert "A-1,1,Fastener torque,clamp 1,as_found,75.0,nm,sound" in file
    assert client.get(reverse("reading-list"), {"format": "xlsx"}).content[:2] == b"PK"


def test_the_page_of_its_own_for_what_could_not_be_done(client, wear, tess):
    client.force_login(tess)
    path = reverse("task-could-not-do", args=[wear.pk])
    assert client.get(path).status_code == 200
    assert client.post(path, {"reason": "not_safe", "note": "ice"}).status_code == 302
    assert CouldNotDo.objects.get().note == "ice"


def test_another_plant_of_the_person_is_read_in_its_own_clock(client, place, wear, tess):
    """The person chose a plant in New York; the device stands in Berlin, where it was 08:30."""
    far = make.plant(name="Far Works", time_zone="America/New_York")
    Membership.objects.create(person=tess, plant=far, role=Group.objects.get(name="technician"))
    client.force_login(tess)
    session = client.session
    session["plant"] = far.pk
    session.save()
    sent = {"task": [wear.pk], "visited_at": "2026-02-02T08:30", "lockout_confirmed": "on"}
    client.post(url(place), sent | {box(wear, "drive_diameter"): "75"})
    assert Visit.objects.get().visited_at == dt.datetime(2026, 2, 2, 7, 30, tzinfo=dt.UTC)


def test_a_finding_that_comes_back_is_named(client, place, tess):
    """Fasteners found loose at three visits running; a sound pivot in between says nothing."""
    kinds = make.check_kind("fastener-torque"), make.check_kind("pivot-freedom")
    for n in range(3):
        loose, free = (make.task(place, kind, make.today()) for kind in kinds)
        entries = {loose.pk: {"clamp_1": {"as_found": 50.0}}, free.pk: {"pivot": {"as_found": "free"}}}
        when = timezone.now() - dt.timedelta(days=90 - 30 * n)
        close_out_visit(
            StopReport(
                installation=place,
                by=tess,
                entries=entries,
                visited_at=when,
                lockout_confirmed=True,
                no_action_reason="-",
            )
        )
    make.task(place, kinds[0], make.today())
    client.force_login(tess)
    assert "at the last 3 times running" in client.get(url(place)).content.decode()
    page = client.get(place.get_absolute_url()).content.decode()
    assert "Fastener torque said act at the last 3 times running" in page
    assert "Pivot freedom said act" not in page


def test_a_person_with_us_units_reads_readings_and_reasons_in_inches(client, place, wear, tess, sent):
    tess.unit_system = "us"
    tess.save(update_fields=["unit_system"])
    client.force_login(tess)
    page = client.get(url(place)).content.decode()
    assert "new 2.992 in, limit 2.677 in" in page
    sent |= {box(wear, "drive_diameter"): "75 mm", box(wear, "off_diameter"): "2.9"}
    visit = client.post(url(place), sent, follow=True).content.decode()
    rows = client.get(reverse("reading-list")).content.decode()
    for shown in (visit, rows):
        assert "2.953 in is 12.5 % of the permitted wear (new 2.992, limit 2.677 in)." in shown
        assert "68 mm" not in shown
    file = b"".join(client.get(reverse("reading-list"), {"format": "csv"})).decode()
    assert "75 mm is 12.5 % of the permitted wear" in file


def test_torques_need_their_method_and_take_their_wrench(client, place, torque, tess, sent):
    wrench = make.torque_wrench(place.plant, deviation_pct=6.0)
    client.force_login(tess)
    given = sent | {"task": [torque.pk], box(torque, "clamp_1"): "75", f"t{torque.pk}-method": ""}
    answer = client.post(url(place), given)
    assert "readings by two methods do not compare" in answer.content.decode()
    given |= {f"t{torque.pk}-method": "mark_and_retighten", f"t{torque.pk}-instrument": wrench.pk}
    page = client.post(url(place), given, follow=True).content.decode()
    row = Reading.objects.get()
    assert (row.method, row.instrument) == ("mark_and_retighten", wrench)
    assert "marked, loosened, tightened to the mark" in page
    assert "permissible deviation 6 %" in page
    again = client.get(reverse("visit-correct", args=[row.visit_id])).context["form"]
    assert again.initial[f"t{torque.pk}-method"] == "mark_and_retighten"
    assert again.initial[f"t{torque.pk}-instrument"] == wrench.pk


def test_the_wrench_of_another_plant_is_none_of_this_one(client, place, torque, other, tess, sent):
    theirs = make.torque_wrench(other)
    client.force_login(tess)
    given = {"task": [torque.pk], box(torque, "clamp_1"): "75", f"t{torque.pk}-method": "first_movement"}
    answer = client.post(url(place), sent | given | {f"t{torque.pk}-instrument": theirs.pk})
    assert answer.status_code == 422
    assert not Visit.objects.exists()


def test_a_third_act_running_is_proposed_as_a_study_on_the_page(client, place, tess):
    kind = make.check_kind("pivot-freedom")
    for days in (60, 30):
        when = timezone.now() - dt.timedelta(days=days)
        task = make.task(place, kind, when.date())
        Task.objects.filter(pk=task.pk).update(closed_at=when, outcome="done", grade="act")
    make.task(place, kind, make.today())
    client.force_login(tess)
    (check,) = client.get(url(place)).context["rules"]["checks"]
    assert check["suggested"] == "Study the cause: Pivot freedom says act 3 times running"
