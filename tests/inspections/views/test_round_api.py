"""What a phone and the site say to each other: the pack, entries, photos, and each fault in words."""

import datetime as dt
import hashlib
import io
import json
import uuid

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from PIL import Image

from inspections.check_rules.wanted import Typed
from inspections.models import Action, CouldNotDo, Reading, Round, Shift, Stop, Task, TwiceClosed, Visit
from inspections.services.visits import StopReport, close_out_visit
from plant.models import Notice, Photo
from tests import make


@pytest.fixture
def place(belt_a1):
    return make.installation(belt_a1)


@pytest.fixture
def wear(place):
    return make.task(place, make.check_kind("sensor-wear"), make.today())


@pytest.fixture
def pivot(place):
    return make.task(place, make.check_kind("pivot-freedom"), make.today())


def entry(place, by, tasks, fields=None, **values):
    now = timezone.now()
    known = {
        "key": str(uuid.uuid4()),
        "person": by.pk,
        "installation": place.pk,
        "made_at": now.isoformat(),
        "sent_at": now.isoformat(),
        "system": "metric",
        "photos": [],
    }
    given = {
        "task": [str(task.pk) for task in tasks],
        "visited_at": values.get("made_at", known["made_at"]),
        "lockout_confirmed": "on",
        **(fields or {}),
    }
    return {**known, "fields": given, **values}


def worn(wear, drive="74", off="75"):
    return {f"t{wear.pk}-drive_diameter-as_found": drive, f"t{wear.pk}-off_diameter-as_found": off}


def send(client, given):
    return client.post(reverse("round-entries"), json.dumps(given), content_type="application/json")


def picture():
    buffer = io.BytesIO()
    Image.new("RGB", (30, 20), "grey").save(buffer, format="JPEG")
    return buffer.getvalue()


def send_photo(client, place, key, content, **told):
    known = {"bytes": len(content), "sha256": hashlib.sha256(content).hexdigest()}
    file = SimpleUploadedFile("photo.jpg", told.pop("arrived", content), content_type="image/jpeg")
    data = {"key": str(key), "installation": place.pk, "file": file, **known, **told}
    return client.post(reverse("round-photos"), data)


def test_each_address_says_who_may(client, place, wear, tess, mona, otto):
    for name in ("round-who", "round-pack"):
        answer = client.get(reverse(name))
        assert (answer.status_code, answer.json()["code"]) == (401, "sign_in")
    assert send(client, entry(place, tess, [wear])).status_code == 401
    client.force_login(mona)
    assert client.get(reverse("round-who")).json()["person"]["name"] == "mona"
    assert client.get(reverse("round-pack")).status_code == 403
    assert send(client, entry(place, mona, [wear])).status_code == 403
    client.force_login(otto)
    assert send(client, entry(place, otto, [wear])).status_code == 404
    assert send_photo(client, place, uuid.uuid4(), picture()).status_code == 404
    assert Visit.objects.count() == Photo.objects.count() == 0


def test_the_page_and_its_worker_need_no_sign_in_and_hold_nothing_of_a_plant(client, place, wear, tess):
    page = client.get(reverse("round-phone"))
    assert page.status_code == 200
    assert b"A-1" not in page.content
    assert "script-src 'self'" in page["Content-Security-Policy"]
    worker = client.get(reverse("round-worker"))
    assert worker["Service-Worker-Allowed"] == "/"
    assert worker["Content-Type"].startswith("text/javascript")
    assert worker.content.decode().startswith("const VERSION = ")
    assert "/static/inspections/round/store.js" in worker.content.decode()


def test_the_workers_version_follows_the_files(client, tess, monkeypatch, tmp_path):
    from inspections.views import round_phone

    before = client.get(reverse("round-worker")).content.splitlines()[0]
    assert client.get(reverse("round-worker")).content.splitlines()[0] == before
    other = tmp_path / "round.js"
    other.write_text("// another text")
    found = round_phone.found_file
    monkeypatch.setattr(round_phone, "found_file", lambda n: other if n.endswith("round/round.js") else found(n))
    assert client.get(reverse("round-worker")).content.splitlines()[0] != before


def test_the_pack_holds_what_the_round_needs(client, place, wear, pivot, tess):
    client.force_login(tess)
    pack = client.get(reverse("round-pack")).json()
    assert pack["person"]["name"] == "tess"
    assert not pack["has_round"]
    [leg] = pack["legs"]
    assert (leg["tag"], leg["needs_lockout"]) == ("A-1", True)
    assert "Stored energy on A-1" in leg["care"]
    [stop] = leg["stops"]
    assert stop["label_code"] == place.device.label_code
    assert {check["kind"] for check in stop["checks"]} == {"Sensor wear", "Pivot freedom"}
    first = stop["checks"][0]["readings"][0]
    assert first["limits"] == {"new_mm": 76.0, "limit_mm": 68.0}
    assert "limit 68 mm" in first["limit_words"]
    assert pack["labels"][place.device.label_code]["tag"] == "A-1"
    assert pack["rules"]["grading"]
    assert pack["reasons"][0] == ["belt_running", "belt running"]


def test_the_published_round_comes_first_and_nothing_twice(client, place, wear, pivot, tess, pat, alder):
    belt = make.conveyor(alder, tag="A-0")
    early = make.task(make.installation(belt, "9"), make.check_kind("pivot-freedom"), make.today())
    now = timezone.now()
    shift = Shift.objects.create(
        plant=alder,
        person=tess,
        day=timezone.localdate(now, alder.zone),
        starts_at=now,
        ends_at=now + dt.timedelta(hours=8),
    )
    laid = Round.objects.create(plant=alder, shift=shift, published_at=now, published_by=pat)
    stop = Stop.objects.create(
        round=laid, position=1, conveyor=place.conveyor, needs_lockout=True, starts_at=now, ends_at=now, walk_m=120
    )
    stop.tasks.add(pivot)
    client.force_login(tess)
    pack = client.get(reverse("round-pack")).json()
    legs = pack["legs"]
    assert pack["has_round"]  # so the phone counts what waits as the start page does
    assert [(leg["tag"], leg["is_of_round"]) for leg in legs] == [("A-1", True), ("A-0", False), ("A-1", False)]
    assert "120 m to walk" in legs[0]["words"]
    named = [check["task"] for leg in legs for stop in leg["stops"] for check in stop["checks"]]
    assert named == [pivot.pk, early.pk, wear.pk]
    for system, way in (("metric", "120 m"), ("us", "393.7 ft")):
        tess.unit_system = system
        tess.save(update_fields=["unit_system"])
        assert f"{way} to walk there." in client.get(reverse("round-pack")).content.decode()


def test_an_entry_becomes_a_visit_once(client, place, wear, tess):
    client.force_login(tess)
    given = entry(place, tess, [wear], worn(wear, off="2 15/16 in"))
    first = send(client, given)
    assert first.status_code == 200, first.json()
    assert send(client, given).json()["visit"] == first.json()["visit"]
    visit = Visit.objects.get()
    assert visit.visited_by == tess
    assert first.json()["n_readings"] == Reading.objects.count() == 2
    assert Reading.objects.get(code="off_diameter").typed == "2 15/16 in"
    wear.refresh_from_db()
    assert wear.grade == "sound"


def test_numbers_are_read_in_the_units_in_which_they_were_typed(client, place, wear, tess):
    client.force_login(tess)
    assert send(client, entry(place, tess, [wear], worn(wear, "2.9", "2.95"), system="us")).status_code == 200
    tess.refresh_from_db()
    assert tess.unit_system == "metric"
    assert Reading.objects.get(code="drive_diameter").value == pytest.approx(73.66)


def test_what_somebody_else_wrote_is_not_taken_under_my_name(client, place, wear, tess, pat):
    client.force_login(pat)
    answer = send(client, entry(place, tess, [wear], worn(wear)))
    assert (answer.status_code, answer.json()["code"]) == (409, "other_person")
    assert not Visit.objects.exists()


def test_a_refusal_names_the_fields(client, place, wear, tess):
    client.force_login(tess)
    answer = send(client, entry(place, tess, [wear], worn(wear, drive="7o")))
    assert (answer.status_code, answer.json()["code"]) == (422, "refused")
    assert f"t{wear.pk}-drive_diameter-as_found" in answer.json()["fields"]
    answer = send(client, entry(place, tess, [wear], worn(wear, drive="68")))
    assert answer.json()["suggested_action"] == "Replace both sensor rollers"
    assert send(client, {"key": "?"}).json()["code"] == "refused"
    assert not Visit.objects.exists()


def test_could_not_do_is_kept_with_the_phones_time_even_when_closed_meanwhile(client, place, wear, tess, pat):
    client.force_login(tess)
    then = (timezone.now() - dt.timedelta(hours=3)).isoformat()
    fields = {f"t{wear.pk}-reason": "no_access", f"t{wear.pk}-remark": "scaffold"}
    late = entry(place, tess, [wear], fields, made_at=then)
    client.force_login(pat)
    assert send(client, entry(place, pat, [wear], worn(wear))).status_code == 200
    client.force_login(tess)
    answer = send(client, late)
    assert answer.status_code == 200, answer.json()
    row = CouldNotDo.objects.get()
    assert row.tried_at.isoformat() == then
    assert send(client, late).status_code == 200
    assert CouldNotDo.objects.count() == 1


def test_two_people_closed_the_same_check_and_one_says_which_counts(client, place, wear, tess, pat):
    client.force_login(pat)
    assert send(client, entry(place, pat, [wear], worn(wear, "70", "75"))).status_code == 200
    client.force_login(tess)
    answer = send(client, entry(place, tess, [wear], worn(wear, "74", "75")))
    assert answer.status_code == 200
    assert "closed by pat already" in answer.json()["twice"][0]["message"]
    row = TwiceClosed.objects.get()
    assert (row.first.visited_by, row.second.visited_by) == (pat, tess)
    assert Notice.objects.filter(key=f"twice-closed-{row.pk}").count() == 2
    assert Reading.objects.current().filter(task=wear).count() == 4
    for visit in (row.first, row.second):
        assert "again by tess" in client.get(visit.get_absolute_url()).content.decode()
    page = client.get(row.get_absolute_url())
    assert page.status_code == 200
    done = client.post(row.get_absolute_url(), {"version": row.version, "counts": "second"})
    assert done.status_code == 302
    wear.refresh_from_db()
    assert (wear.visit, wear.closed_by, wear.grade) == (row.second, tess, "sound")
    assert set(Reading.objects.current().filter(task=wear).values_list("visit_id", flat=True)) == {row.second_id}
    assert Reading.objects.filter(visit=row.first, is_withdrawn=False).count() == 2  # still in the book
    again = client.post(row.get_absolute_url(), {"version": row.version, "counts": "first"})
    assert again.status_code == 422
    assert "decided before" in again.content.decode()


def test_both_may_count_and_the_worse_grade_stands(client, place, wear, tess, pat, mona):
    client.force_login(pat)
    send(client, entry(place, pat, [wear], worn(wear, "74", "75")))
    client.force_login(tess)
    send(client, entry(place, tess, [wear], worn(wear, "71", "75")))
    row = TwiceClosed.objects.get()
    client.force_login(mona)
    assert client.get(row.get_absolute_url()).status_code == 200
    assert client.post(row.get_absolute_url(), {"version": row.version, "counts": "both"}).status_code == 403
    client.force_login(pat)
    assert client.post(row.get_absolute_url(), {"version": row.version, "counts": "both"}).status_code == 302
    wear.refresh_from_db()
    assert (wear.visit, wear.grade) == (row.first, "watch")
    assert Reading.objects.current().filter(task=wear).count() == 4


DAY = dt.timedelta(days=1)


@pytest.mark.parametrize("off", [DAY, -DAY])
def test_a_clock_that_is_a_day_wrong_is_set_right_and_both_times_are_shown(client, place, wear, pivot, tess, off):
    client.force_login(tess)
    now = timezone.now()
    visits = []
    for task, hours, fields in ((wear, 3, worn(wear)), (pivot, 2, {f"t{pivot.pk}-pivot-as_found": "free"})):
        made = (now + off - dt.timedelta(hours=hours)).isoformat()
        sent = (timezone.now() + off).isoformat()
        answer = send(client, entry(place, tess, [task], fields, made_at=made, sent_at=sent))
        assert answer.status_code == 200, answer.json()
        visits.append(Visit.objects.get(pk=answer.json()["visit"]))
    for visit, hours in zip(visits, (3, 2), strict=True):
        assert abs(visit.visited_at - (now - dt.timedelta(hours=hours))) < dt.timedelta(seconds=20)
        assert visit.phone_at == now + off - dt.timedelta(hours=hours)
        assert abs(visit.clock_off - off) < dt.timedelta(seconds=20)
    assert visits[0].visited_at < visits[1].visited_at
    assert "clock was wrong" in client.get(visits[0].get_absolute_url()).content.decode()


def test_a_time_ahead_by_a_clock_set_right_since_is_marked_not_lost(client, place, wear, tess):
    client.force_login(tess)
    ahead = (timezone.now() + DAY).isoformat()
    answer = send(client, entry(place, tess, [wear], worn(wear), made_at=ahead))
    assert answer.status_code == 200, answer.json()
    visit = Visit.objects.get()
    assert visit.was_ahead
    assert abs(visit.visited_at - visit.created_at) < dt.timedelta(seconds=20)
    assert "had not come yet" in client.get(visit.get_absolute_url()).content.decode()


def test_a_visit_kept_for_hours_shows_when_it_arrived(client, place, wear, tess):
    client.force_login(tess)
    made = timezone.now() - dt.timedelta(hours=8)
    send(client, entry(place, tess, [wear], worn(wear), made_at=made.isoformat()))
    visit = Visit.objects.get()
    assert (visit.visited_at, visit.clock_off, visit.came_late) == (made, None, True)
    assert "Kept on a phone at" in client.get(visit.get_absolute_url()).content.decode()


def test_half_a_photo_is_sent_again_and_the_entry_waits_for_it(client, place, wear, tess):
    client.force_login(tess)
    key, content = uuid.uuid4(), picture()
    given = entry(place, tess, [wear], worn(wear), photos=[str(key)])
    answer = send(client, given)
    assert (answer.status_code, answer.json()["code"], answer.json()["photos"]) == (409, "photo_missing", [str(key)])
    half = send_photo(client, place, key, content, arrived=content[: len(content) // 2])
    assert (half.status_code, half.json()["code"]) == (400, "half")
    changed = content[:-4] + b"abcd"
    assert send_photo(client, place, key, content, arrived=changed).json()["code"] == "half"
    assert not Photo.objects.exists()
    assert send_photo(client, place, key, content).status_code == 200
    assert send_photo(client, place, key, content).status_code == 200
    assert send(client, given).status_code == 200
    assert [photo.client_key for photo in Visit.objects.get().photos.all()] == [key]


def test_what_is_no_picture_is_refused_in_words(client, place, tess):
    client.force_login(tess)
    answer = send_photo(client, place, uuid.uuid4(), b"not a picture")
    assert (answer.status_code, answer.json()["code"]) == (422, "refused")
    assert "not a picture" in answer.json()["message"]


def test_which_counts_follows_a_correction_and_offsets_leave_the_belts_rows(client, place, tess, pat):
    from inspections.models import CheckKind
    from inspections.selectors.readings_wanted import wanted_of
    from inspections.services.visits import correct_visit
    from installs.models import BeltOffset

    kind = CheckKind.objects.filter(rule=CheckKind.Rule.OFFSETS, plant=None).first()
    task = make.task(place, kind, make.today())
    code = wanted_of([task], place)[task.pk][0].code
    for person, value in ((pat, "30"), (tess, "-12")):
        client.force_login(person)
        answer = send(client, entry(place, person, [task], {f"t{task.pk}-{code}-as_found": value}))
        assert answer.status_code == 200, answer.json()
    row = TwiceClosed.objects.get()
    later = correct_visit(visit=row.second, by=tess, reason="misread", entries={task.pk: {code: {"as_found": -15.0}}})
    assert BeltOffset.objects.current().count() == 2
    assert client.post(row.get_absolute_url(), {"version": row.version, "counts": "second"}).status_code == 302
    task.refresh_from_db()
    assert task.visit == later
    assert [each.value for each in Reading.objects.current().filter(task=task)] == [-15.0]
    assert [each.offset_mm for each in BeltOffset.objects.current()] == [-15.0]


def test_the_pack_costs_few_queries_a_stop(client, place, wear, tess, alder, django_assert_max_num_queries):
    client.force_login(tess)
    for n in range(2, 12):
        belt = make.conveyor(alder, tag=f"B-{n}")
        make.task(make.installation(belt, str(n)), make.check_kind("sensor-wear"), make.today())
    with django_assert_max_num_queries(30 + 11 * 7):
        assert len(client.get(reverse("round-pack")).json()["legs"]) == 11


def test_the_pack_names_methods_and_wrenches_and_a_torque_takes_them(client, place, tess):
    torque = make.task(place, make.check_kind("fastener-torque"), make.today())
    wrench = make.torque_wrench(place.plant, calibration_due_on=make.today() - dt.timedelta(days=1))
    client.force_login(tess)
    pack = client.get(reverse("round-pack")).json()
    assert [value for value, _label in pack["methods"]] == ["first_movement", "mark_and_retighten"]
    (tool,) = pack["tools"]
    assert (tool["id"], tool["deviation_pct"]) == (wrench.pk, 4.0)
    assert tool["doubt"].startswith("out of calibration since")
    fields = {f"t{torque.pk}-clamp_1-as_found": "75", f"t{torque.pk}-clamp_1_mark-as_found": "in_line"}
    told = {f"t{torque.pk}-method": "first_movement", f"t{torque.pk}-instrument": str(wrench.pk)}
    answer = send(client, entry(place, tess, [torque], {**fields, **told}))
    assert answer.status_code == 422
    assert "say why this one was used all the same" in answer.json()["fields"][f"t{torque.pk}-tool_reason"][0]
    told[f"t{torque.pk}-tool_reason"] = "the other one is at the laboratory"
    assert send(client, entry(place, tess, [torque], {**fields, **told})).status_code == 200
    row = Reading.objects.get(code="clamp_1")
    assert (row.method, row.instrument) == ("first_movement", wrench)
    assert "1 day before" in row.doubt
    assert row.doubt.endswith("Used all the same: the other one is at the laboratory")


def test_each_fastener_may_name_a_wrench_of_its_own(client, place, tess):
    torque = make.task(place, make.check_kind("fastener-torque"), make.today())
    large, small = make.torque_wrench(place.plant), make.torque_wrench(place.plant, "W-2", deviation_pct=2.0)
    client.force_login(tess)
    name = f"t{torque.pk}"
    fields = {f"{name}-clamp_1-as_found": "75", f"{name}-clamp_2-as_found": "75", f"{name}-method": "first_movement"}
    told = {f"{name}-instrument": str(large.pk), f"{name}-clamp_2-instrument": str(small.pk)}
    assert send(client, entry(place, tess, [torque], {**fields, **told})).status_code == 200
    assert dict(Reading.objects.values_list("code", "instrument")) == {"clamp_1": large.pk, "clamp_2": small.pk}
    assert Reading.objects.get(code="clamp_2").deviation_pct == 2.0


def test_a_stop_also_offers_what_nobody_asked_for(client, place, wear, tess):
    """Open but not due, and kinds with no check open; a kind for which the model names nothing to read is left out."""
    later = make.task(place, make.check_kind("pivot-freedom"), make.today() + dt.timedelta(days=40))
    client.force_login(tess)
    stop = client.get(reverse("round-pack")).json()["legs"][0]["stops"][0]
    more = {check["kind"]: (check["task"], check["due"]) for check in stop["more"]}
    torque = make.check_kind("fastener-torque")
    assert more["Pivot freedom"][0] == later.pk
    assert more["Pivot freedom"][1].startswith("due ")
    assert more["Fastener torque"] == (-torque.pk, "not planned")
    assert "Sensor wear" not in more
    assert all(check["readings"] for check in stop["more"])


def test_a_check_of_ones_own_choice_is_written_when_it_was_done_and_once(client, place, wear, tess):
    kind = make.check_kind("pivot-freedom")
    client.force_login(tess)
    given = entry(place, tess, [wear], {**worn(wear), f"t-{kind.pk}-pivot-as_found": "free"})
    given["fields"]["task"].append(f"-{kind.pk}")
    first = send(client, given)
    assert first.status_code == 200
    assert send(client, given).json() == first.json()
    task = Task.objects.get(check_kind=kind)
    assert (task.origin, task.grade, task.outcome, task.closed_by) == ("by_hand", "sound", "done", tess)
    assert "done while there by tess" in task.why
    assert Visit.objects.get().readings.count() == 3


def test_a_refused_choice_leaves_no_open_check_and_names_its_own_fields(client, place, tess):
    kind = make.check_kind("pivot-freedom")
    client.force_login(tess)
    given = entry(place, tess, [], {"task": [f"-{kind.pk}"], f"t-{kind.pk}-breakaway-as_found": "40"})
    answer = send(client, given)
    assert answer.status_code == 422
    assert list(answer.json()["fields"]) == [f"t-{kind.pk}-pivot-as_found"]
    assert Task.objects.count() == 0


def test_a_choice_closes_what_is_open_of_its_kind(client, place, tess):
    kind = make.check_kind("pivot-freedom")
    planned = make.task(place, kind, make.today() + dt.timedelta(days=20))
    client.force_login(tess)
    fields = {"task": [f"-{kind.pk}"], f"t-{kind.pk}-pivot-as_found": "stiff"}
    assert send(client, entry(place, tess, [], fields)).status_code == 200
    planned.refresh_from_db()
    assert (planned.grade, Task.objects.done().count()) == ("watch", 1)


def test_an_action_is_raised_by_hand_once(client, place, tess, pat, otto):
    client.force_login(tess)
    due = (make.today() + dt.timedelta(days=7)).isoformat()
    key = uuid.uuid4()
    send_photo(client, place, key, picture())
    fields = {"action_title": "Guard is loose", "action_due_on": due, "action_owner": str(pat.pk)}
    given = entry(place, tess, [], fields, kind="action", photos=[str(key)])
    answer = send(client, given).json()
    assert send(client, given).json()["action"] == answer["action"]
    action = Action.objects.get()
    assert (action.title, action.owner, action.created_by, action.visit) == ("Guard is loose", pat, tess, None)
    assert action.photos.count() == 1
    refused = send(client, entry(place, tess, [], {**fields, "action_title": ""}, kind="action"))
    assert (refused.status_code, list(refused.json()["fields"])) == (422, ["action_title"])
    client.force_login(otto)
    assert send(client, entry(place, otto, [], fields, kind="action")).status_code == 404
    assert Action.objects.count() == 1


def test_an_action_raised_where_nothing_could_be_done_is_kept_with_the_note(client, place, wear, tess):
    client.force_login(tess)
    due = make.today().isoformat()
    fields = {f"t{wear.pk}-reason": "no_access", "note": "scaffold", "action_title": "Move it", "action_due_on": due}
    assert send(client, entry(place, tess, [wear], fields)).json()["visit"] is None
    assert CouldNotDo.objects.get().note == "scaffold"
    assert Action.objects.get().title == "Move it"


def test_earlier_readings_and_the_day_of_the_limit_stand_beside_the_box(client, place, tess):
    now = timezone.now()
    kind = make.check_kind("sensor-wear")
    for days, drive in ((60, 75.5), (40, 74.9), (20, 74.2)):
        done = make.task(place, kind, make.today())
        close_out_visit(StopReport(
            installation=place, by=tess, visited_at=now - dt.timedelta(days=days), lockout_confirmed=True,
            entries={done.pk: {"drive_diameter": {"as_found": drive}, "off_diameter": {"as_found": 75.8}}},
        ))  # fmt: skip
        Task.objects.open().delete()
    make.task(place, kind, make.today())
    client.force_login(tess)
    check = client.get(reverse("round-pack")).json()["legs"][0]["stops"][0]["checks"][0]
    drive = check["readings"][0]
    days = {ago: (now - dt.timedelta(days=ago)).astimezone(place.plant.zone) for ago in (60, 40, 20)}
    on = {ago: date_format(day, "j M Y") for ago, day in days.items()}
    assert drive["last"] == f"74.2 mm on {on[20]}"
    assert drive["earlier"] == f"74.9 mm on {on[40]}, 75.5 mm on {on[60]}"
    assert drive["set"] == ""


@pytest.fixture
def loosened(place, tess):
    """A clamp found looser each time and set each time: what was set hides it, what was found tells it."""
    now = timezone.now()
    kind = make.check_kind("fastener-torque")
    for days, found in ((300, 64.0), (200, 53.0), (100, 42.0)):
        done = make.task(place, kind, make.today())
        read = {
            "as_found": Typed(found, method="first_movement"),
            "as_left": Typed(75.0, method="first_movement"),
        }
        close_out_visit(StopReport(
            installation=place, by=tess, visited_at=now - dt.timedelta(days=days), lockout_confirmed=True,
            entries={done.pk: {"clamp_1": read}}, no_action_reason="set again",
        ))  # fmt: skip
        Task.objects.open().delete()
    make.task(place, kind, make.today())
    return {
        ago: date_format((now - dt.timedelta(days=ago)).astimezone(place.plant.zone), "j M Y")
        for ago in (300, 200, 100)
    }


def test_what_was_found_stands_at_the_torque_and_what_was_set_beside_it_and_named_so(client, place, tess, loosened):
    client.force_login(tess)
    check = client.get(reverse("round-pack")).json()["legs"][0]["stops"][0]["checks"][0]
    clamp = next(each for each in check["readings"] if each["code"] == "clamp_1")
    assert clamp["last"] == f"found 42 N·m, first movement when tightening on, on {loosened[100]}"
    assert clamp["earlier"] == f"53 N·m on {loosened[200]}, 64 N·m on {loosened[300]}"
    assert clamp["set"] == f"set to 75 N·m on {loosened[100]}"
    answer = client.get(reverse("visit-create", args=[place.pk]))
    page = " ".join(answer.content.decode().split())
    assert f"last found 42 N·m, first movement when tightening on, on {loosened[100]}" in page
    assert f"before: 53 N·m on {loosened[200]}, 64 N·m on {loosened[300]}" in page
    assert f"set to 75 N·m on {loosened[100]}" in page


def test_a_roller_that_was_changed_says_what_was_found_and_what_was_fitted(client, place, tess, wear):
    new = {"drive_diameter": {"as_found": 69.0, "as_left": 76.0}}
    visited_at = timezone.now() - dt.timedelta(days=3)
    close_out_visit(StopReport(
        installation=place, by=tess, visited_at=visited_at, lockout_confirmed=True, entries={wear.pk: new},
        no_action_reason="changed there and then",
    ))  # fmt: skip
    Task.objects.open().delete()
    make.task(place, make.check_kind("sensor-wear"), make.today())
    client.force_login(tess)
    check = client.get(reverse("round-pack")).json()["legs"][0]["stops"][0]["checks"][0]
    drive = check["readings"][0]
    on = date_format(visited_at.astimezone(place.plant.zone), "j M Y")
    assert (drive["last"], drive["set"]) == (f"found 69 mm on {on}", f"left at 76 mm on {on}")
    assert drive["plausible"]["previous"] == 76.0


def test_words_of_the_scripts_come_as_a_script_of_their_own(client, tess):
    answer = client.get(reverse("round-words"))
    assert answer["Content-Type"].startswith("text/javascript")
    assert b"django.gettext" in answer.content
    assert reverse("round-words") in client.get(reverse("round-worker")).content.decode()
    assert f'src="{reverse("round-words")}"' in client.get(reverse("round-phone")).content.decode()


def test_a_torque_that_a_phone_kept_before_methods_were_asked_for_is_taken(client, place, tess):
    torque = make.task(place, make.check_kind("fastener-torque"), make.today())
    client.force_login(tess)
    answer = send(client, entry(place, tess, [torque], {f"t{torque.pk}-clamp_1-as_found": "75"}))
    assert answer.status_code == 200
    assert Reading.objects.get().method == ""
