"""The fit-up sheet and torque on the page: who may, what bad numbers say, clashes, the live lines, paper."""

from __future__ import annotations

import datetime as dt
import io
from html import unescape

import pytest
from django.urls import reverse
from pypdf import PdfReader

from installs.models import FitUp, Instrument, TorqueSignOff
from installs.services.fit_up import save_fit_up
from installs.services.torque import sign_off_torque
from tests import make

pytestmark = pytest.mark.django_db


@pytest.fixture
def job(belt_a1):
    model = make.device_model(
        belt_a1.plant, extension_most_mm=150.0, roller_drop_mm=120.0, belt_lift_least_mm=6.0, belt_lift_most_mm=25.0
    )
    return make.fitting(belt_a1, model)


@pytest.fixture
def wrench(alder):
    return make.torque_wrench(alder, calibrated_on=dt.date(2026, 1, 5), calibration_due_on=dt.date(2199, 1, 5))


def page(job, name="fit-up"):
    return reverse(name, args=[job.pk])


def posted(client, job, **values):
    return client.post(page(job), {"version": "0", **values})


def test_who_may_see_and_who_may_save(client, job, tess, mona, otto):
    client.force_login(mona)
    answer = client.get(page(job))
    assert answer.status_code == 200
    assert "Save the sheet" not in answer.text
    assert posted(client, job, bracket_spacing_mm="1640").status_code == 403
    client.force_login(otto)
    assert [client.get(page(job, name)).status_code for name in ("fit-up", "torque", "fit-up-sheet")] == [404] * 3
    client.force_login(tess)
    assert posted(client, job, bracket_spacing_mm="1640").status_code == 302
    assert FitUp.objects.get().created_by == tess


def test_the_page_leads_with_safety_and_says_what_to_do(client, job, tess):
    save_fit_up(fitting=job, by=tess, version=0, bracket_spacing_mm=1640.0, frame_length_mm=1505.0,
                extension_drive_mm=66.0, extension_off_mm=56.0)  # fmt: skip
    client.force_login(tess)
    text = client.get(page(job)).text
    assert text.index("Lock out") < text.index("Bracket spacing")
    assert "in by 5 mm on the drive side, out by the same on the off side" in text
    assert "(1640 mm spacing − 13 mm end play − 1505 mm frame) / 2 = 61 mm each side." in text
    assert '<svg xmlns="http://www.w3.org/2000/svg"' in text
    assert "style=" not in text


# What a person may type by mistake: the box says what is wrong and nothing is kept.
@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"bracket_spacing_mm": "abc"}, "holds no number"),
        ({"bracket_spacing_mm": "51 1/0 in"}, "divides by zero"),
        ({"bracket_spacing_mm": "3 mm 4 in"}, "units are mixed"),
        ({"bracket_spacing_mm": "1,640 mm"}, "may mean 1640 or 1.640"),
        ({"bracket_spacing_mm": "5 kg"}, "is not a unit of length"),
        ({"gap_drive_mm": "-3/4"}, "it is negative"),
        ({"gap_drive_mm": "inf"}, "holds no number"),
        ({"gap_drive_mm": "nan mm"}, "holds no number"),
        ({"gap_drive_mm": "1e999"}, "not a known unit"),
        ({"bracket_spacing_mm": "0"}, "give a length above 0 mm"),
        ({"bracket_spacing_mm": "1200 mm", "frame_length_mm": "48 in"}, "the frame is longer than the space"),
        ({"bracket_spacing_mm": "1640", "frame_length_mm": "1300"}, "Above the model&#x27;s largest extension"),
        ({"wanted_lift_mm": "1 1/4 in"}, "above the model&#x27;s largest lift of 25 mm"),
        ({"squareness_way": "by_eye"}, "Select a valid choice"),
    ],
)
def test_bad_numbers_are_refused_in_words(client, job, tess, values, words):
    client.force_login(tess)
    answer = posted(client, job, **values)
    assert answer.status_code == 422
    assert words in answer.text
    assert not FitUp.objects.exists()
    # What was typed still stands in its box.
    for value in values.values():
        assert value in answer.text or value == "by_eye" or '"' in value


# Numbers that cannot be, each with the arithmetic that says so. The model of `job`: extension up to 150 mm, drop
# 120 mm, lift 6 to 25 mm.
PLACE = {"bracket_spacing_mm": "1640", "frame_length_mm": "1505"}
IMPOSSIBLE = {
    "frame longer than the space": (
        {"bracket_spacing_mm": "1500", "frame_length_mm": "1505"},
        "frame_length_mm",
        "1505 mm frame − 1500 mm spacing = 5 mm: the frame is longer than the space between the brackets.",
    ),
    "no room for the end play": (
        {"bracket_spacing_mm": "1510", "frame_length_mm": "1505"},
        "frame_length_mm",
        "(1510 mm spacing − 13 mm end play − 1505 mm frame) / 2 = -4 mm each side. Negative: the frame is too long",
    ),
    "an end play as long as the space": (
        PLACE | {"end_play_mm": "140"},
        "frame_length_mm",
        "(1640 mm spacing − 140 mm end play − 1505 mm frame) / 2 = -2.5 mm each side. Negative",
    ),
    "a frame that needs too long an extension": (
        {"bracket_spacing_mm": "1640", "frame_length_mm": "1300"},
        "frame_length_mm",
        "= 163.5 mm each side. Above the model's largest extension of 150 mm: too little engagement.",
    ),
    "an extension beyond the model's": (
        {"extension_drive_mm": "151"},
        "extension_drive_mm",
        "151 mm is above the model's largest extension of 150 mm: too little engagement.",
    ),
    "frame and extensions longer than the space": (
        PLACE | {"extension_drive_mm": "70", "extension_off_mm": "70"},
        "extension_off_mm",
        "1640 mm − 1505 mm − 70 mm − 70 mm = -5 mm. Negative: frame and extensions are longer than the space",
    ),
    "a lift above the model's": (
        {"wanted_lift_mm": "26"},
        "wanted_lift_mm",
        "26 mm is 1 mm above the model's largest lift of 25 mm.",
    ),
    "a bracket that lifts too high": (
        {"belt_mark_off_mm": "850", "bracket_height_off_mm": "996"},
        "bracket_height_off_mm",
        "Measured 996 mm: the belt is lifted by 26 mm. That is above the model's largest lift of 25 mm.",
    ),
    "a belt wider than the space between the sensors": (
        {"belt_width_mm": "1196", "sensor_clear_mm": "1190"},
        "sensor_clear_mm",
        "1190 mm clear − 1196 mm belt = -6 mm. Negative: the belt is wider than the space between the sensors",
    ),
    "a belt that lies inside the sensor": (
        {"belt_width_mm": "1196", "sensor_clear_mm": "1234", "belt_lies_to": "drive", "belt_off_by_mm": "20"},
        "belt_off_by_mm",
        "The belt lies 20 mm off, more than the centred gap of 19 mm: it would lie inside the sensor.",
    ),
    "a bracket further ahead than both lie apart": (
        PLACE | {"squareness_way": "parallel", "square_drive_mm": "1000", "square_off_mm": "3000"},
        "square_off_mm",
        "3000 mm − 1000 mm = 2000 mm, more than the spacing of 1640 mm; from there the brackets cannot lie",
    ),
    "a point from which the brackets cannot be so far apart": (
        PLACE | {"squareness_way": "centre_point", "square_drive_mm": "500", "square_off_mm": "500"},
        "square_off_mm",
        "(500 mm² + 500 mm²) / 2 is not more than (1640 mm / 2)²; from there the brackets cannot lie 1640 mm apart",
    ),
    "diagonals that are too short": (
        PLACE | {"squareness_way": "diagonals", "square_drive_mm": "1000", "square_off_mm": "1001"},
        "square_off_mm",
        "(1000 mm² + 1001 mm²) / 2 is not more than (1640 mm)²; from there the brackets cannot lie 1640 mm apart",
    ),
    "a point too near for the two distances": (
        PLACE | {"squareness_way": "centre_point", "reference_distance_mm": "100", "square_drive_mm": "900",
                 "square_off_mm": "1200"},
        "square_off_mm",
        "(1200 mm² − 900 mm²) / (2 × 100 mm) = 3150 mm, more than the spacing of 1640 mm",
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", IMPOSSIBLE)
def test_impossible_numbers_are_refused_with_their_arithmetic(client, job, tess, case):
    values, box, words = IMPOSSIBLE[case]
    client.force_login(tess)
    live = unescape(client.post(page(job, "fit-up-live"), values).text)
    assert words in live
    assert "not possible" in live
    answer = posted(client, job, **values)
    assert answer.status_code == 422
    assert any(words in each for each in answer.context["form"].errors[box])
    text = unescape(answer.text)
    assert words in text[text.index(f'id="id_{box}_error"') :]
    assert not FitUp.objects.exists()


def test_the_arithmetic_of_a_refusal_speaks_the_persons_units(client, job, tess):
    tess.unit_system = "us"
    tess.save()
    client.force_login(tess)
    text = unescape(posted(client, job, bracket_spacing_mm="59", frame_length_mm="59 1/4").text)
    assert "59 1/4 in frame − 59 in spacing = 1/4 in: the frame is longer" in text
    assert "mm frame" not in text


def test_a_chosen_figure_is_judged_and_a_start_value_is_not(client, job, tess):
    client.force_login(tess)
    sheet = client.post(page(job, "fit-up-live"), {}).context["sheet"]
    assert [sheet.lines[key].is_start_value for key in ("end_play_mm", "wanted_lift_mm")] == [True, True]
    chosen = {"end_play_mm": "25", "wanted_lift_mm": "13"}
    lines = client.post(page(job, "fit-up-live"), chosen).context["sheet"].lines
    assert (lines["end_play_mm"].is_start_value, lines["end_play_mm"].verdict) == (False, "outside")
    assert (lines["wanted_lift_mm"].is_start_value, lines["wanted_lift_mm"].verdict) == (False, "within")


def test_mixed_units_on_one_sheet_are_understood(client, job, tess):
    client.force_login(tess)
    posted(client, job, bracket_spacing_mm="64 9/16 in", frame_length_mm="1505", end_play_mm='1/2"')
    row = FitUp.objects.get()
    assert row.bracket_spacing_mm == pytest.approx(64.5625 * 25.4)
    assert (row.frame_length_mm, row.end_play_mm) == (1505, pytest.approx(12.7))


def test_an_untouched_sheet_keeps_its_exact_numbers(client, job, tess):
    tess.unit_system = "us"
    tess.save()
    save_fit_up(fitting=job, by=tess, version=0, bracket_spacing_mm=1640.0)
    client.force_login(tess)
    form = client.get(page(job)).context["form"]
    sent = {name: form[name].value() for name in form.fields if form[name].value() not in (None, "", False)}
    assert client.post(page(job), sent).status_code == 302
    assert FitUp.objects.get().bracket_spacing_mm == 1640


def test_boxes_show_the_fractions_of_a_tape(client, job, tess):
    tess.unit_system = "us"
    tess.save()
    save_fit_up(fitting=job, by=tess, version=0, bracket_spacing_mm=1640.0, frame_length_mm=1505.0, gap_drive_mm=12.7)
    client.force_login(tess)
    form = client.get(page(job)).context["form"]
    shown = [form[name].value() for name in ("bracket_spacing_mm", "frame_length_mm", "gap_drive_mm", "gap_off_mm")]
    assert shown == ["64 9/16", "59 1/4", "1/2", None]
    # One box changed: the others keep the number that is stored, not the fraction that is shown.
    sent = {name: form[name].value() for name in form.fields if form[name].value() not in (None, "", False)}
    assert client.post(page(job), sent | {"gap_off_mm": "3/4"}).status_code == 302
    row = FitUp.objects.get()
    assert (row.bracket_spacing_mm, row.frame_length_mm) == (1640, 1505)
    assert row.gap_off_mm == pytest.approx(0.75 * 25.4)


def test_the_second_person_meets_the_first_ones_numbers(client, job, tess, pat):
    save_fit_up(fitting=job, by=pat, version=0, bracket_spacing_mm=1640.0)
    client.force_login(tess)
    answer = posted(client, job, bracket_spacing_mm="1650")
    assert answer.status_code == 409
    assert "saved meanwhile" in answer.text
    assert "1650" in answer.text
    assert FitUp.objects.get().bracket_spacing_mm == 1640


def test_live_lines_and_drawing_follow_what_is_typed_and_keep_nothing(client, job, tess):
    client.force_login(tess)
    values = {"bracket_spacing_mm": "64 9/16 in", "frame_length_mm": "1505", "gap_drive_mm": "rubbish"}
    answer = client.post(page(job, "fit-up-live"), values)
    assert answer.status_code == 200
    assert 'id="line_extension_drive_mm" hx-swap-oob="true"' in answer.text
    assert "<svg" in answer.text
    assert "wanted <b>60.9 mm</b>" in answer.text
    assert not FitUp.objects.exists()
    assert client.get(page(job, "fit-up-live")).status_code == 405


def on_one_line(text):
    """A template stands one tag a line; a browser takes the breaks for gaps."""
    return " ".join(text.split())


def test_a_line_that_the_measures_lead_to_comes_in_and_goes_again(client, job, tess):
    client.force_login(tess)
    place = '<div class="line" id="line_tape_mm"'
    assert place + " hidden>" in on_one_line(client.get(page(job)).text)
    tape = {"belt_width_mm": "1196", "sensor_clear_mm": "1234", "gap_drive_mm": "19", "gap_off_mm": "19"}
    live = on_one_line(client.post(page(job, "fit-up-live"), tape).text)
    assert place + ' hx-swap-oob="true">' in live
    assert "Gaps 19 mm + 19 mm = 38 mm" in live
    without = on_one_line(client.post(page(job, "fit-up-live"), tape | {"gap_off_mm": ""}).text)
    assert place + ' hx-swap-oob="true" hidden>' in without


def test_live_lines_are_those_of_the_saved_sheet(client, job, tess):
    values = {"bracket_spacing_mm": 1640.0, "frame_length_mm": 1505.0, "extension_drive_mm": 66.0}
    client.force_login(tess)
    live = client.post(page(job, "fit-up-live"), values).context["sheet"].lines
    save_fit_up(fitting=job, by=tess, version=0, **values)
    assert client.get(page(job)).context["sheet"].lines == live


@pytest.mark.parametrize("asked", ["", "?blank=1", "?paper=us-letter"])
def test_the_sheet_on_paper(client, job, tess, asked):
    save_fit_up(fitting=job, by=tess, version=0, bracket_spacing_mm=1640.0, note="#set text(9pt) and *stars*")
    client.force_login(tess)
    answer = client.get(page(job, "fit-up-sheet") + asked)
    assert answer["Content-Type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF-")


@pytest.mark.parametrize("paper", ["a4", "us-letter"])
def test_a_blank_sheet_stays_on_two_pages(client, job, tess, paper):
    client.force_login(tess)
    answer = client.get(page(job, "fit-up-sheet") + f"?blank=1&paper={paper}")
    pages = PdfReader(io.BytesIO(answer.content)).pages
    assert len(pages) == 2
    assert "Measured by, date" in pages[1].extract_text()


def test_the_sheet_on_paper_before_anything_is_saved(client, job, mona):
    client.force_login(mona)
    assert client.get(page(job, "fit-up-sheet")).content.startswith(b"%PDF-")


def test_the_queries_of_a_page_do_not_grow_with_the_torques(client, job, tess, wrench, django_assert_max_num_queries):
    for number in range(1, 5):
        sign_off_torque(
            fitting=job, fastener=job.device_model.fasteners.get(place="clamp"), number=number, torque_nm=75.0,
            instrument=wrench, by=tess,
        )  # fmt: skip
    client.force_login(tess)
    client.get(page(job, "torque"))
    with django_assert_max_num_queries(25):
        client.get(page(job, "torque"))


def test_torque_is_signed_off_in_the_persons_units(client, job, tess, wrench):
    tess.unit_system = "us"
    tess.save()
    clamp = job.device_model.fasteners.get(place="clamp")
    client.force_login(tess)
    form = client.get(page(job, "torque")).context["form"]
    sent = {
        "client_key": str(form["client_key"].value()), "instrument": wrench.pk, "method": "tightening",
        f"torque_{clamp.pk}_1_nm": "55", f"torque_{clamp.pk}_2_nm": "75 N·m",
    }  # fmt: skip
    assert client.post(page(job, "torque"), sent).status_code == 302
    assert client.post(page(job, "torque"), sent).status_code == 302  # the same form sent twice
    rows = list(TorqueSignOff.objects.order_by("number"))
    assert [row.torque_nm for row in rows] == [pytest.approx(74.57, abs=0.01), 75]
    assert "2 of 5 fasteners are signed off." in client.get(page(job, "torque")).text


def test_a_wrench_out_of_date_is_refused_and_its_reason_stays_visible(client, job, tess, alder):
    late = make.torque_wrench(alder, calibration_due_on=dt.date(2026, 6, 1))
    clamp = job.device_model.fasteners.get(place="clamp")
    client.force_login(tess)
    key = str(client.get(page(job, "torque")).context["form"]["client_key"].value())
    sent = {"client_key": key, "instrument": late.pk, "method": "tightening", f"torque_{clamp.pk}_1_nm": "75"}
    answer = client.post(page(job, "torque"), sent)
    assert answer.status_code == 422
    assert "Its calibration ran out on 1 Jun 2026" in answer.text
    assert client.post(page(job, "torque"), sent | {"override_reason": "checked against W-09"}).status_code == 302
    for name in ("torque", "fit-up"):
        assert client.get(page(job, name)).status_code == 200
    assert "Tool in doubt: checked against W-09" in " ".join(client.get(page(job, "torque")).text.split())
    assert "checked against W-09" in client.get(reverse("instrument-detail", args=[late.pk])).text


def test_a_torque_outside_names_its_box_and_signs_nothing(client, job, tess, wrench):
    clamp = job.device_model.fasteners.get(place="clamp")
    client.force_login(tess)
    key = str(client.get(page(job, "torque")).context["form"]["client_key"].value())
    sent = {"client_key": key, "instrument": wrench.pk, "method": "tightening"}
    assert "Fill in at least one box" in client.post(page(job, "torque"), sent).text
    sent |= {f"torque_{clamp.pk}_1_nm": "75", f"torque_{clamp.pk}_2_nm": "40"}
    answer = client.post(page(job, "torque"), sent)
    assert f'id="id_torque_{clamp.pk}_2_nm_error"' in answer.text
    assert not TorqueSignOff.objects.exists()


def test_a_sign_off_is_withdrawn_with_a_reason(client, job, tess, mona, wrench):
    clamp = job.device_model.fasteners.get(place="clamp")
    row = sign_off_torque(fitting=job, fastener=clamp, number=1, torque_nm=75.0, instrument=wrench, by=tess)
    address = reverse("torque-withdraw", args=[row.pk])
    client.force_login(mona)
    assert client.get(address).status_code == 403
    client.force_login(tess)
    key = str(client.get(address).context["form"]["client_key"].value())
    assert client.post(address, {"client_key": key, "reason": "wrong bolt"}).status_code == 302
    assert "wrong bolt" in client.get(page(job, "torque")).text


def test_the_register_of_instruments(client, alder, pat, tess, other, wrench):
    make.torque_wrench(other, "W-99")
    make.torque_wrench(alder, "W-08", calibration_due_on=dt.date(2026, 6, 1))
    client.force_login(tess)
    text = client.get(reverse("instrument-list")).text
    assert "1 instrument in use is out of calibration." in text
    assert "out of date since 1 Jun 2026" in text
    assert "W-99" not in text
    assert client.get(reverse("instrument-create")).status_code == 403
    client.force_login(pat)
    sent = {"number": "W-12", "kind": "torque_wrench", "range_least_nm": "20", "range_most_nm": "100"}
    answer = client.post(reverse("instrument-create"), sent)
    assert answer.status_code == 302
    assert Instrument.objects.get(number="W-12").deviation_pct == 4
    answer = client.post(
        reverse("instrument-calibrate", args=[wrench.pk]),
        {"version": "1", "calibrated_on": "2026-02-02", "calibration_due_on": "2027-02-02", "certificate": "C-7"},
    )
    assert answer.status_code == 302
    assert "C-7" in client.get(answer.url).text
    for state in ("in_date", "out_of_date", "retired", "rubbish"):
        assert client.get(reverse("instrument-list"), {"state": state}).status_code in (200, 422)
    csv = client.get(reverse("instrument-list"), {"format": "csv"})
    assert b"W-12" in b"".join(csv.streaming_content)


def test_instruments_of_another_plant_are_not_there(client, wrench, otto):
    client.force_login(otto)
    for name in ("detail", "update", "calibrate"):
        assert client.get(reverse(f"instrument-{name}", args=[wrench.pk])).status_code == 404


def test_the_job_shows_drawing_lines_and_torques(client, job, tess, alder):
    late = make.torque_wrench(alder, calibration_due_on=dt.date(2026, 6, 1))
    client.force_login(tess)
    assert "No fit-up sheet was saved yet." in client.get(job.get_absolute_url()).text
    save_fit_up(fitting=job, by=tess, version=0, bracket_spacing_mm=1640.0, frame_length_mm=1505.0)
    sign_off_torque(
        fitting=job, fastener=job.device_model.fasteners.get(place="clamp"), number=1, torque_nm=75.0, by=tess,
        instrument=late, override_reason="checked against W-09",
    )  # fmt: skip
    text = client.get(job.get_absolute_url()).text
    assert f'id="fit-up-{job.pk}-title"' in text
    assert "61 mm" in text
    assert "1 of 4 signed off" in text
    assert "checked against W-09" in text
