"""The page of a job and its acts: who may, what is shown, hold points in order, a second sending, corrections."""

from __future__ import annotations

import io
import re
import uuid

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from installs.models import Fitting, HoldPoint, Isolation, PassedFastener, TrialRun
from installs.selectors.torque import open_fasteners, torque_rows
from installs.services.fittings import plan_fitting
from installs.services.torque import pass_over_fasteners
from tests import make

pytestmark = pytest.mark.django_db


@pytest.fixture
def unsigned(belt_a1, pat, tess):
    """A job of which no fastener is signed off or passed over yet."""
    belt_a1.energies = "gravity take-up"
    belt_a1.save()
    device = make.device(belt_a1.plant, "70")
    return plan_fitting(
        conveyor=belt_a1,
        device_model=device.device_model,
        device=device,
        chainage_m=100.0,
        strand="return",
        by=pat,
        crew=[tess],
    )


@pytest.fixture
def job(unsigned, pat):
    """A job whose torques hold nothing up."""
    left = open_fasteners(torque_rows(unsigned))
    pass_over_fasteners(fitting=unsigned, fasteners=left, reason="tightened by hand", by=pat)
    return unsigned


def url(name, job, *more):
    return reverse(f"fitting-{name}", args=[job.pk, *more])


def picture():
    buffer = io.BytesIO()
    Image.new("RGB", (30, 20), "brown").save(buffer, format="JPEG")
    return SimpleUploadedFile("pin.jpg", buffer.getvalue(), content_type="image/jpeg")


def send(client, address, **data):
    return client.post(address, {"client_key": str(uuid.uuid4()), **data})


def isolate(client, job, **data):
    return send(client, url("isolation", job), points="switch 4", tried_start="on", **data)


def point(client, job, name, **data):
    return send(client, url("point", job, name), confirm="", **data)


def first_cycle(client, job):
    isolate(client, job)
    point(client, job, "parts")
    point(client, job, "restraint", photo=picture())
    for name in ("clear", "guards", "people"):
        point(client, job, name)
    point(client, job, "locks", handed_back_by="tess")
    make.time_passes(job, 45)


def run_data(**data):
    rows = {"at_0_m": "40", "off_0_mm": "12", "side_0": "drive", "at_1_m": "160", "off_1_mm": "8", "side_1": "off"}
    return {"load": "empty", "minutes": "40", **rows, **data}


def text(answer):
    return re.sub(r"\s+", " ", answer.content.decode())


def test_another_plant_s_people_find_nothing(client, job, otto, stranger):
    pages = [
        url("detail", job),
        url("update", job),
        url("isolation", job),
        url("point", job, "parts"),
        url("trial-run", job),
        url("needs", job),
        url("give-up", job),
    ]
    other = make.person("theo", otto.memberships.get().plant, "technician")
    for person in (otto, other):
        client.force_login(person)
        assert {client.get(page).status_code for page in pages} <= {404, 403}
        assert client.get(pages[0]).status_code == 404
    client.force_login(stranger)
    assert client.get(pages[0]).status_code == 403


def test_a_technician_of_another_plant_cannot_confirm_a_point(client, job, other):
    client.force_login(make.person("theo", other, "technician"))
    assert isolate(client, job).status_code == 404
    assert point(client, job, "parts").status_code == 404
    assert HoldPoint.objects.count() == 0


def test_a_manager_reads_and_does_nothing(client, job, mona):
    client.force_login(mona)
    answer = client.get(url("detail", job))
    assert answer.status_code == 200
    assert "Your role reads this job" in text(answer)
    assert isolate(client, job).status_code == 403
    assert client.get(url("update", job)).status_code == 403


def test_a_technician_does_the_job_but_does_not_plan(client, job, tess):
    client.force_login(tess)
    assert client.get(url("detail", job)).status_code == 200
    assert client.get(url("isolation", job)).status_code == 200
    assert client.get(reverse("fitting-create")).status_code == 403
    assert client.get(url("update", job)).status_code == 403


def test_the_page_leads_with_care_and_names_the_energies(client, job, tess):
    client.force_login(tess)
    told = text(client.get(url("detail", job)))
    assert "Before you go to the belt" in told
    assert "gravity take-up" in told
    assert "No isolation is recorded for this job." in told
    assert "Next: Record the isolation" in told


def test_the_record_of_isolation_is_told_as_a_record(client, job, tess):
    client.force_login(tess)
    isolate(client, job, other_people="two riggers")
    told = text(client.get(url("detail", job)))
    assert "Recorded as isolated by tess since" in told
    assert "Locks as recorded: tess, two riggers." in told
    point(client, job, "parts")
    for words in ("is safe", "is isolated", "is clear", "safe to", "approved to start"):
        assert words not in told.lower()


def test_points_out_of_order_are_refused_on_the_page(client, job, tess):
    client.force_login(tess)
    isolate(client, job)
    answer = point(client, job, "guards")
    assert answer.status_code == 422
    assert "First comes “parts and fasteners complete”" in text(answer)
    assert client.get(url("point", job, "no-such-point")).status_code == 404


def test_the_restraint_without_photo_or_word_is_refused_and_blocks_the_run(client, job, tess):
    client.force_login(tess)
    isolate(client, job)
    point(client, job, "parts")
    answer = point(client, job, "restraint")
    assert answer.status_code == 422
    assert "Take a photo of the loose transport restraint" in text(answer)
    answer = send(client, url("trial-run", job), **run_data())
    assert answer.status_code == 422
    assert "No trial run before the transport restraint" in text(answer)
    assert point(client, job, "restraint", photo=picture()).status_code == 302
    assert HoldPoint.objects.get(point="restraint").photo is not None


def test_passing_over_needs_its_button_and_a_reason(client, job, tess):
    client.force_login(tess)
    isolate(client, job)
    page = url("point", job, "parts")
    assert send(client, page, pass_over="").status_code == 422
    assert send(client, page, confirm="", passed_over_reason="parts come at noon").status_code == 422
    assert send(client, page, pass_over="", passed_over_reason="parts come at noon").status_code == 302
    told = text(client.get(url("detail", job)))
    assert "Passed over: parts come at noon" in told
    assert "with a reason" in told


def test_a_half_done_job_is_resumed_by_another_person_at_its_step(client, job, tess, erin):
    client.force_login(tess)
    isolate(client, job)
    point(client, job, "parts")
    point(client, job, "restraint", photo=picture())
    client.force_login(erin)
    told = text(client.get(url("detail", job)))
    assert "Next: Confirm: clear of structure over the whole pivot range" in told
    assert "recorded, tess" in told
    assert point(client, job, "clear").status_code == 302
    assert HoldPoint.objects.get(point="clear").confirmed_by == erin


def test_a_form_sent_twice_counts_once(client, job, tess):
    client.force_login(tess)
    data = {"client_key": str(uuid.uuid4()), "points": "switch 4", "tried_start": "on"}
    for _ in range(2):
        assert client.post(url("isolation", job), data).status_code == 302
    assert (Isolation.objects.count(), HoldPoint.objects.count()) == (1, 1)


def test_a_run_keeps_offsets_with_their_side(client, job, tess):
    client.force_login(tess)
    first_cycle(client, job)
    assert send(client, url("trial-run", job), **run_data()).status_code == 302
    rows = {row.chainage_m: row.offset_mm for row in TrialRun.objects.get().belt_offsets.all()}
    assert rows == {40.0: 12.0, 160.0: -8.0}


def test_a_station_that_one_run_left_out_is_offered_again(client, job, tess):
    client.force_login(tess)
    first_cycle(client, job)
    address = url("trial-run", job)
    offered = client.get(address).context["form"]
    stations = [row["at"].value() for row in offered.rows() if row["is_named"]]
    assert len(stations) == 8
    data = run_data(at_0_m=str(stations[2]), at_1_m=str(stations[-1]))
    assert send(client, address, **data).status_code == 302
    again = client.get(address).context["form"]
    assert [row["at"].value() for row in again.rows() if row["is_named"]] == stations


def test_who_reads_feet_gets_stations_at_whole_feet(client, job, tess):
    client.force_login(tess)
    first_cycle(client, job)
    tess.unit_system = "us"
    tess.save()
    offered = client.get(url("trial-run", job)).context["form"]
    shown = [str(row["at"]).split('value="')[1].split('"')[0] for row in offered.rows() if row["is_named"]]
    assert len(shown) >= 5
    assert all(each.isdigit() for each in shown), shown


def test_a_station_read_in_metres_stays_itself_for_who_reads_feet(client, job, tess):
    """40 m and 160 m stand there as 131.2 and 524.9 ft, and are the same stations when nobody touched them."""
    client.force_login(tess)
    first_cycle(client, job)
    address = url("trial-run", job)
    send(client, address, **run_data())
    tess.unit_system = "us"
    tess.save()
    offered = client.get(address).context["form"]
    boxes = {row["at"].html_name: str(row["at"]).split('value="')[1].split('"')[0] for row in offered.rows()}
    assert {"131.2", "524.9"} <= set(boxes.values())
    name = next(name for name, shown in boxes.items() if shown == "524.9")
    number = name.split("_")[1]
    data = run_data(off_0_mm="", side_0="", off_1_mm="", side_1="", time_reason="both runs were written down later")
    data |= boxes | {f"off_{number}_mm": "1/2", f"side_{number}": "drive"}
    assert send(client, address, **data).status_code == 302
    rows = TrialRun.objects.order_by("pk").last().belt_offsets.values_list("chainage_m", "offset_mm")
    assert list(rows) == [(160.0, 12.7)]


def test_the_guards_lead_to_the_torques_and_a_fastener_is_passed_over_from_there(client, unsigned, tess, mona):
    job = unsigned
    client.force_login(tess)
    isolate(client, job)
    point(client, job, "parts")
    point(client, job, "restraint", photo=picture())
    point(client, job, "clear")
    told = text(client.get(job.get_absolute_url()))
    assert "Next: Sign the torques off" in told
    pass_over, torque = reverse("torque-pass-over", args=[job.pk]), reverse("torque", args=[job.pk])
    assert f'href="{torque}"' in told
    assert f'href="{pass_over}"' in told
    answer = point(client, job, "guards")
    assert answer.status_code == 422
    assert "Not signed off: clamp 1, clamp 2, clamp 3, clamp 4, pivot 1." in text(answer)
    assert send(client, pass_over).status_code == 422
    assert send(client, pass_over, fasteners=["rubbish"], reason="no socket").status_code == 422
    ticks = [key for key, _label in client.get(pass_over).context["form"].fields["fasteners"].choices]
    assert send(client, pass_over, fasteners=ticks, reason=" ").status_code == 422
    assert send(client, pass_over, fasteners=ticks, reason="no socket").status_code == 302
    assert PassedFastener.objects.filter(reason="no socket", passed_by=tess).count() == 5
    page = text(client.get(torque))
    assert "5 are passed over with a reason." in page
    assert f'href="{pass_over}"' not in page
    assert point(client, job, "guards").status_code == 302
    assert "Every fastener is signed off or passed over." in text(client.get(pass_over))
    one = PassedFastener.objects.first()
    taken_back = reverse("passed-fastener-withdraw", args=[one.pk])
    key = str(client.get(taken_back).context["form"]["client_key"].value())
    assert client.post(taken_back, {"client_key": key, "reason": "the socket came"}).status_code == 302
    assert "the socket came" in text(client.get(torque))
    client.force_login(mona)
    assert client.get(pass_over).status_code == 403
    assert "Your role reads this job" in text(client.get(job.get_absolute_url()))


def test_passing_over_sent_twice_is_answered_alike_and_a_second_person_is_told(client, unsigned, tess, erin):
    client.force_login(tess)
    page, torque = reverse("torque-pass-over", args=[unsigned.pk]), reverse("torque", args=[unsigned.pk])
    form = client.get(page).context["form"]
    ticks = [key for key, _label in form.fields["fasteners"].choices][:2]
    data = {"client_key": str(form["client_key"].value()), "fasteners": ticks, "reason": "no socket"}
    answers = [client.post(page, data) for _ in range(2)]
    assert [(each.status_code, each["Location"]) for each in answers] == [(302, unsigned.get_absolute_url())] * 2
    assert PassedFastener.objects.count() == 2
    client.force_login(erin)
    answer = send(client, page, fasteners=ticks[:1], reason="no wrench")
    assert answer.status_code == 422
    assert "clamp 1 passed over: no socket (tess, " in text(answer)
    assert "Leave it out here, or withdraw that first" in text(answer)
    assert client.get(torque).status_code == 200


def test_a_withdrawal_sent_twice_is_answered_alike_and_told_when_opened_again(client, job, tess):
    client.force_login(tess)
    page, torque = (
        reverse("passed-fastener-withdraw", args=[PassedFastener.objects.first().pk]),
        reverse("torque", args=[job.pk]),
    )
    data = {"client_key": str(client.get(page).context["form"]["client_key"].value()), "reason": "the socket came"}
    assert [client.post(page, data)["Location"] for _ in range(2)] == [torque] * 2
    assert "This entry was withdrawn already; it counts no more." in text(client.get(page, follow=True))
    assert PassedFastener.objects.filter(is_withdrawn=True).count() == 1


def test_an_accepted_job_offers_no_withdrawal_of_its_fasteners(client, job, tess):
    client.force_login(tess)
    page, torque = (
        reverse("passed-fastener-withdraw", args=[PassedFastener.objects.first().pk]),
        reverse("torque", args=[job.pk]),
    )
    assert page in text(client.get(torque))
    Fitting.objects.update(accepted_at=timezone.now(), accepted_by=tess)
    told = text(client.get(torque))
    assert page not in told
    assert "its fasteners stay as they were accepted" in told
    assert "sign the fastener off again, which counts instead" in text(client.get(page, follow=True))
    answer = client.post(page, {"client_key": str(uuid.uuid4()), "reason": "the socket came"})
    assert answer.status_code == 422
    assert "open point at the hand-over" in text(answer)


def test_readings_sent_twice_are_answered_alike(client, job, tess):
    client.force_login(tess)
    first_cycle(client, job)
    send(client, url("trial-run", job), **run_data(at_1_m="", off_1_mm="", side_1=""))
    address = reverse("trial-run-readings", args=[TrialRun.objects.get().pk])
    data = {"client_key": str(uuid.uuid4()), "at_0_m": "160", "off_0_mm": "8", "side_0": "off"}
    assert [client.post(address, data).status_code for _ in range(2)] == [302, 302]
    assert TrialRun.objects.get().belt_offsets.filter(chainage_m=160).count() == 1


def test_an_adjustment_sent_twice_is_answered_alike(client, job, tess):
    client.force_login(tess)
    first_cycle(client, job)
    send(client, url("trial-run", job), **run_data(off_0_mm="70"))
    isolate(client, job)
    moves = {"drive_mm": "6", "drive_way": "in", "off_mm": "6", "off_way": "out"}
    data = {"version": Isolation.objects.get(cycle=2).version, **moves}
    assert [client.post(url("adjustment", job), data).status_code for _ in range(2)] == [302, 302]


def test_more_open_points_than_the_box_takes_are_offered_shortened_and_taken(client, unsigned, tess, pat):
    client.force_login(tess)
    for number, each in enumerate(open_fasteners(torque_rows(unsigned)), start=1):
        reason = f"{number}: " + "the socket does not reach it behind the cross-beam of the frame; " * 4
        pass_over_fasteners(fitting=unsigned, fasteners=[each], reason=reason.strip(), by=pat)
    first_cycle(client, unsigned)
    for load in ("empty", "loaded"):
        make.time_passes(unsigned, 45)
        send(client, url("trial-run", unsigned), **run_data(load=load))
    send(client, url("acceptance", unsigned), version=Fitting.objects.get().version, reason="seen by the engineer")
    page = client.get(url("hand-over", unsigned))
    offered = page.context["form"]["open_points"].value()
    assert len(offered) <= Fitting._meta.get_field("open_points").max_length
    assert "Torque: 0 of 5 fasteners signed off. clamp 1 passed over: 1: the socket" in offered
    assert "3 further open points stand in the record of this job, at its fit-up sheet and its torques." in offered
    assert len(page.context["passed_fasteners"]) == 5
    version = Fitting.objects.get().version
    data = {"version": version, "handed_over_to": "shift B", "open_points": offered}
    assert send(client, url("hand-over", unsigned), **data).status_code == 302
    fitting = Fitting.objects.get()
    assert fitting.open_points == fitting.installation.note == offered


def test_more_people_with_locks_than_the_box_takes_are_offered_shortened_and_taken(client, job, tess, alder):
    client.force_login(tess)
    people = [make.person(f"rigger-of-the-night-shift-{number}", alder, "technician") for number in range(12)]
    isolate(client, job, people=[each.pk for each in people], other_people="two of the crane firm")
    for name in ("parts", "clear"):
        point(client, job, name)
        if name == "parts":
            point(client, job, "restraint", photo=picture())
    for name in ("guards", "people"):
        point(client, job, name)
    offered = client.get(url("point", job, "locks")).context["form"]["handed_back_by"].value()
    assert "more as named at the isolation" in offered
    assert point(client, job, "locks", handed_back_by=offered, note="x" * 290).status_code == 422
    answer = point(client, job, "locks", handed_back_by=offered, note="x" * 290)
    assert "Names and note together have" in text(answer)
    assert "up to 300 fit" in text(answer)
    assert point(client, job, "locks", handed_back_by=offered).status_code == 302
    assert offered in HoldPoint.objects.get(point="locks").note


def test_the_form_of_a_run_says_which_stations_lie_upstream(client, job, tess):
    client.force_login(tess)
    first_cycle(client, job)
    page = client.get(url("trial-run", job))
    told = text(page)
    assert "The return strand runs to the tail: above 100 m lies upstream of the device, below it downstream." in told
    rows = [(float(row["at"].value()), row["where"]) for row in page.context["form"].rows() if row["is_named"]]
    assert {where for at, where in rows if at > 100} == {"upstream"}
    assert {where for at, where in rows if at < 100} == {"downstream"}
    assert told.count(">upstream</span>") == sum(at > 100 for at, _where in rows)
    # The same inside the page of the job, and after a refusal.
    assert ">upstream</span>" in text(client.get(job.get_absolute_url()))
    assert ">upstream</span>" in text(send(client, url("trial-run", job), **run_data(minutes="")))


def test_on_a_reversing_belt_the_form_says_both_ways(client, job, tess):
    job.conveyor.is_reversing = True
    job.conveyor.save()
    client.force_login(tess)
    first_cycle(client, job)
    told = text(client.get(url("trial-run", job)))
    assert "The belt reverses. Above 100 m: downstream as it runs to the head, upstream as it runs to the tail." in told
    assert ">downstream as it runs to the head, upstream as it runs to the tail</span>" in told


def test_the_echo_below_a_station_says_its_side_while_it_is_typed(client, job, tess):
    client.force_login(tess)
    page = url("station", job)
    assert text(client.get(page, {"field": "at_0_m", "at_0_m": "130"})).endswith("130 m: upstream")
    assert text(client.get(page, {"field": "at_0_m", "at_0_m": "200 ft"})).endswith("61 m: downstream")
    assert text(client.get(page, {"field": "at_0_m", "at_0_m": ""})) == ""
    assert "not understood" in text(client.get(page, {"field": "at_0_m", "at_0_m": "<b>far</b>"})).lower()
    assert "<b>" not in text(client.get(page, {"field": "at_0_m", "at_0_m": "<b>far</b>"}))
    doubtful = text(client.get(page, {"field": "at_0_m", "at_0_m": "1,308"}))
    assert 'data-way="1308 m"' in doubtful
    assert 'data-way="1.308 m"' in doubtful
    assert f'hx-get="{page}?field=at_0_m"' in text(client.get(url("trial-run", job)))


def test_a_missing_reading_is_added_to_the_run_from_the_page_of_the_job(client, job, tess):
    client.force_login(tess)
    first_cycle(client, job)
    send(client, url("trial-run", job), **run_data(at_1_m="", off_1_mm="", side_1=""))
    run = TrialRun.objects.get()
    page = client.get(job.get_absolute_url())
    told = text(page)
    assert "Next: Add the missing reading to the run, empty" in told
    assert "No station was measured empty upstream of the device, which on this strand is above 100 m." in told
    assert "Record the isolation for an adjustment" not in told
    address = reverse("trial-run-readings", args=[run.pk])
    assert f'action="{address}"' in told
    offered = [row["at"].value() for row in page.context["act"]["form"].rows() if row["is_named"]]
    assert len(offered) == 1
    assert float(offered[0]) > 100
    answer = send(client, address, at_0_m="160", off_0_mm="", side_0="off")
    assert answer.status_code == 422
    assert send(client, address, at_0_m="160", off_0_mm="8", side_0="off").status_code == 302
    assert run.belt_offsets.get(chainage_m=160).offset_mm == -8
    assert "Next: Record the trial run, loaded" in text(client.get(job.get_absolute_url()))


def test_a_run_that_cannot_have_been_watched_is_asked_about_beside_start_and_minutes(client, job, tess):
    client.force_login(tess)
    first_cycle(client, job)
    address = url("trial-run", job)
    assert "why these times stand" not in text(client.get(address)).lower()
    answer = send(client, address, **run_data(minutes="61"))
    assert answer.status_code == 422
    told = text(answer)
    assert re.search(r"61 min, but only 45 min( \d+ s)? had passed since the locks came back at \d\d:\d\d", told)
    assert "Correct the start or the minutes, or say why they stand" in told
    boxes = re.findall(r'name="(minutes|started_at|time_reason|at_0_m)"', told)
    assert boxes == ["minutes", "started_at", "time_reason", "at_0_m"]
    assert TrialRun.objects.count() == 0
    reason = "watched since the afternoon; the locks were written down late"
    assert send(client, address, **run_data(minutes="61", time_reason=reason)).status_code == 302
    told = text(client.get(job.get_absolute_url()))
    assert "61 min, but only 45 min" in told
    assert f"Confirmed: {reason}" in told
    assert "Entered as watched empty for 61 min" in text(client.get(url("acceptance", job)))
    assert reason in text(client.get(url("acceptance", job)))


def test_an_offset_without_station_or_side_is_asked_for(client, job, tess):
    client.force_login(tess)
    first_cycle(client, job)
    answer = send(client, url("trial-run", job), **run_data(side_0="", at_1_m=""))
    assert answer.status_code == 422
    assert "Say to which side the belt lies." in text(answer)
    assert "Say at which chainage this offset was read." in text(answer)


def test_a_side_without_a_number_is_asked_for_and_not_dropped(client, job, tess):
    client.force_login(tess)
    first_cycle(client, job)
    answer = send(client, url("trial-run", job), **run_data(off_1_mm=""))
    assert answer.status_code == 422
    assert "Say by how much the belt lies to this side" in text(answer)


def test_inches_are_read_as_inches(client, job, tess):
    client.force_login(tess)
    first_cycle(client, job)
    send(client, url("trial-run", job), **run_data(off_0_mm="1 1/2 in"))
    assert TrialRun.objects.get().belt_offsets.get(chainage_m=40).offset_mm == pytest.approx(38.1)


def test_offsets_are_told_in_the_fractions_of_a_tape(client, job, tess):
    tess.unit_system = "us"
    tess.save()
    client.force_login(tess)
    first_cycle(client, job)
    assert send(client, url("trial-run", job), **run_data(off_0_mm="3", off_1_mm="1 1/2")).status_code == 302
    page = text(client.get(job.get_absolute_url()))
    assert "Worst offset 3 in at" in page
    assert "wanted at most 2 3/8 in" in page
    assert "2.362 in" not in page


def test_from_plan_to_hand_over_through_the_pages(client, job, tess):
    client.force_login(tess)
    first_cycle(client, job)
    send(client, url("trial-run", job), **run_data(off_0_mm="70"))
    told = text(client.get(url("detail", job)))
    assert "Record the isolation for an adjustment" in told
    isolate(client, job)
    isolation = Isolation.objects.get(cycle=2)
    answer = send(
        client,
        url("adjustment", job),
        version=isolation.version,
        drive_mm="6",
        drive_way="in",
        off_mm="3",
        off_way="out",
    )
    assert answer.status_code == 422
    assert "3 mm narrower" in text(answer)
    send(
        client,
        url("adjustment", job),
        version=isolation.version,
        drive_mm="6",
        drive_way="in",
        off_mm="6",
        off_way="out",
    )
    for name in ("clear", "guards", "people"):
        assert point(client, job, name).status_code == 302
    point(client, job, "locks", handed_back_by="tess")
    for load in ("empty", "loaded"):
        make.time_passes(job, 45)
        assert send(client, url("trial-run", job), **run_data(load=load)).status_code == 302
    told = text(client.get(url("detail", job)))
    assert "The belt answered the last move the right way" in told
    assert "Every line is met" in told
    assert "Torque: 0 of 5 fasteners signed off." in told
    assert "pivot 1 passed over: tightened by hand (pat, " in told
    version = Fitting.objects.get().version
    assert send(client, url("acceptance", job), version=version).status_code == 422
    reason = "measures and torques are on paper"
    assert send(client, url("acceptance", job), version=version, reason=reason).status_code == 302
    assert reason in text(client.get(url("detail", job)))
    page = client.get(url("hand-over", job))
    assert "0 of 5 fasteners" in page.context["form"]["open_points"].value()
    assert "Handed over without a torque sign-off:" in text(page)
    # One line each in the list; in the box that offers it what was passed over in one breath is said in one.
    assert text(page).count("passed over: tightened by hand (pat, ") == 5 + 1
    version = Fitting.objects.get().version
    assert send(client, url("hand-over", job), version=version, handed_over_to="shift B").status_code == 302
    fitting = Fitting.objects.get()
    assert fitting.installation is not None
    assert "Handed over on" in text(client.get(url("detail", job)))
    # Another one, not the one above sent twice.
    assert "This job was handed over" in text(isolate(client, job, client_key=uuid.uuid4(), again="on"))


def test_a_wrong_point_is_corrected_and_both_are_shown(client, job, tess):
    client.force_login(tess)
    isolate(client, job)
    n, *words = re.search(r"(\d+) (steps?) (is|are) recorded", text(client.get(url("detail", job)))).groups()
    assert words == (["step", "is"] if n == "1" else ["steps", "are"])
    point(client, job, "parts", note="all there")
    row = HoldPoint.objects.get(point="parts")
    page = reverse("hold-point-correct", args=[row.pk])
    assert client.get(page).status_code == 200
    answer = send(client, page, correction_reason="two clamps are missing", withdraw="on")
    assert answer.status_code == 302
    told = text(client.get(url("detail", job)))
    assert "Next: Confirm: parts and fasteners complete" in told
    assert "two clamps are missing" in told
    assert "all there" in told


def test_the_page_of_a_job_asks_few_queries(client, job, tess, django_assert_max_num_queries):
    client.force_login(tess)
    first_cycle(client, job)
    send(client, url("trial-run", job), **run_data())
    with django_assert_max_num_queries(75):
        client.get(url("detail", job))
