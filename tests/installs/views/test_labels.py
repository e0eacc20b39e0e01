"""Labels, the address that they open, and the dossier on paper."""

from __future__ import annotations

import datetime as dt
import io

import pytest
from django.urls import reverse
from pypdf import PdfReader

from installs.files.labels import label_address, label_image
from installs.models import BeltOffset, FitUp, PartChange, TorqueSignOff
from plant.calc.reasons import Reason
from tests import make


def text_of(answer):
    return "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(answer.content)).pages)


@pytest.fixture
def fitted(alder):
    return make.installation(make.conveyor(alder), access="walkway #2 *east* $x$")


def test_a_label_opens_the_place_else_the_device(client, tess, alder, fitted):
    client.force_login(tess)
    address = reverse("label", args=[fitted.device.label_code.lower()])
    assert client.get(address).url == fitted.get_absolute_url()
    spare = make.device(alder, "7")
    assert client.get(reverse("label", args=[spare.label_code])).url == spare.get_absolute_url()


def test_a_label_asks_for_sign_in_first_and_shows_nothing_of_another_plant(client, otto, fitted):
    address = reverse("label", args=[fitted.device.label_code])
    answer = client.get(address)
    assert answer.status_code == 302
    assert answer.url.endswith(f"?next={address}")
    client.force_login(otto)
    assert client.get(address).status_code == 404
    assert client.get(reverse("device-label", args=[fitted.device.pk])).status_code == 404
    assert client.get(reverse("installation-dossier", args=[fitted.pk])).status_code == 404


def test_sheets_carry_every_device_and_single_labels_one(client, tess, alder, fitted):
    spare = make.device(alder, "7")
    client.force_login(tess)
    both = text_of(client.get(reverse("label-sheet")))
    assert fitted.device.label_code in both
    assert spare.label_code in both
    one = text_of(client.get(reverse("device-label", args=[spare.pk]) + "?paper=us-letter"))
    assert spare.label_code in one
    assert fitted.device.label_code not in one
    assert label_image(spare).count(b"<svg") == 1
    assert label_address(spare).endswith(f"/d/{spare.label_code}/")


def test_labels_stand_as_people_count(client, tess, alder):
    codes = {number: make.device(alder, number).label_code for number in ("10", "2", "1")}
    client.force_login(tess)
    words = text_of(client.get(reverse("label-sheet")))
    assert words.index(codes["1"]) < words.index(codes["2"]) < words.index(codes["10"])


@pytest.mark.parametrize(("paper", "width"), [("a4", 595), ("us-letter", 612)])
def test_the_dossier_tells_the_place_and_its_timeline(client, tess, fitted, paper, width):
    client.force_login(tess)
    answer = client.get(reverse("installation-dossier", args=[fitted.pk]) + f"?paper={paper}")
    assert answer["Content-Type"] == "application/pdf"
    assert round(float(PdfReader(io.BytesIO(answer.content)).pages[0].mediabox.width)) == width
    words = text_of(answer)
    for said in ("A-1 device 1", "walkway #2 *east* $x$", "In service", "does not make the belt safe", "Timeline"):
        assert said in words


def test_the_dossier_holds_measures_with_verdicts_torques_and_part_changes(client, tess, fitted, alder):
    fitting = make.fitting(
        fitted.conveyor, fitted.device.device_model, installation=fitted, device=fitted.device,
        begun_at=fitted.installed_at, accepted_at=fitted.installed_at, accepted_by=tess,
        handed_over_at=fitted.installed_at, handed_over_by=tess, handed_over_to="shift B", permit_reference="P-118",
    )  # fmt: skip
    measures = {"bracket_spacing_mm": 1640.0, "frame_length_mm": 1505.0, "extension_drive_mm": 61.0}
    FitUp.objects.create(fitting=fitting, extension_off_mm=70.0, **measures)
    TorqueSignOff.objects.create(
        fitting=fitting, fastener=fitting.device_model.fasteners.get(place="clamp"), number=2, torque_nm=76.0,
        target_nm=75.0, instrument=make.torque_wrench(alder), signed_by=tess, signed_at=fitted.installed_at,
    )  # fmt: skip
    PartChange.objects.create(
        installation=fitted, part="pivot", why="seized", changed_at=fitted.installed_at, note="dry *bearing*"
    )
    BeltOffset.objects.create(
        plant=alder, conveyor=fitted.conveyor, strand="return", chainage_m=80.0, offset_mm=-31.0, is_loaded=True,
        taken_at=fitted.installed_at, occasion="acceptance", installation=fitted,
    )  # fmt: skip
    client.force_login(tess)
    words = " ".join(text_of(client.get(reverse("installation-dossier", args=[fitted.pk]))).split())
    for said in (
        "Bracket spacing 1640 mm", "Extension, drive side 61 mm 61 mm ± 3 mm within", "70 mm 61 mm ± 3 mm outside",
        "Extension: in by 4.5 mm on the off side", "clamp 1 75 N·m ± 10 % – not signed off",
        "clamp 2 75 N·m ± 10 % 76 N·m", "1 of 5 fasteners are signed off.", "W-07", "P-118", "tess to shift B",
        "pivot both sides seized", "dry *bearing*", "80 m loaded 31 mm off side",
    ):  # fmt: skip
        assert said in words, said
    assert len(words) > 1000


def test_every_table_of_the_dossier_stays_on_the_page(client, tess, fitted):
    task = make.task(
        fitted, make.check_kind(), dt.date(2026, 2, 1), closed_at=fitted.installed_at, outcome="done", grade="watch",
        grade_because=Reason("finding.together", {"parts": (Reason("grading.pivot_free"),) * 6}).kept(),
    )  # fmt: skip
    client.force_login(tess)
    answer = client.get(reverse("installation-dossier", args=[fitted.pk]))
    right = []

    def note(text, user_matrix, text_matrix, _font, _size):
        if text.strip():
            right.append(text_matrix[4] * user_matrix[0] + user_matrix[4])

    for page in PdfReader(io.BytesIO(answer.content)).pages:
        page.extract_text(visitor_text=note)
    assert task.get_grade_display() in text_of(answer)
    assert 400 < max(right) < 595 - 51  # the right margin is 18 mm
