"""Labels, the address that they open, and the dossier on paper."""

from __future__ import annotations

import io

import pytest
from django.urls import reverse
from pypdf import PdfReader

from installs.labels import label_address, label_image
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


@pytest.mark.parametrize(("paper", "width"), [("a4", 595), ("us-letter", 612)])
def test_the_dossier_tells_the_place_and_its_timeline(client, tess, fitted, paper, width):
    client.force_login(tess)
    answer = client.get(reverse("installation-dossier", args=[fitted.pk]) + f"?paper={paper}")
    assert answer["Content-Type"] == "application/pdf"
    assert round(float(PdfReader(io.BytesIO(answer.content)).pages[0].mediabox.width)) == width
    words = text_of(answer)
    for said in ("A-1 device 1", "walkway #2 *east* $x$", "In service", "does not make the belt safe", "Timeline"):
        assert said in words
