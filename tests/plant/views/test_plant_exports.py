"""The page on which everything of a plant is asked for."""

from __future__ import annotations

import io
import zipfile

import pytest
from django.urls import reverse

from plant.models import PlantExport
from plant.services.jobs import do_job
from plant.services.plant_exports import export_path

PAGE = "/plant/export/"


@pytest.fixture(autouse=True)
def apart(tmp_path, settings):
    settings.DATA_DIR = tmp_path


def asked(client, person):
    client.force_login(person)
    assert client.post(PAGE).status_code == 302
    return PlantExport.objects.get()


def test_a_manager_asks_follows_and_fetches(client, alder, mona):
    client.force_login(mona)
    first = client.get(PAGE).content.decode()
    assert "Write the file" in first
    assert "takes it away after 7 days" in " ".join(first.split())
    assert "Nobody has asked for it yet." in first
    export = asked(client, mona)
    page = client.get(PAGE).content.decode()
    assert "Waiting for a worker" in page
    assert "Write the file" not in page
    progress = client.get(f"{PAGE}progress/")
    assert "HX-Refresh" not in progress
    assert client.get(reverse("plant-export-file", args=[export.pk])).status_code == 404
    do_job(export.job_id)
    assert client.get(f"{PAGE}progress/")["HX-Refresh"] == "true"
    page = client.get(PAGE).content.decode()
    assert f"{PAGE}{export.pk}/file/" in page
    assert "mona" in page
    answer = client.get(reverse("plant-export-file", args=[export.pk]))
    assert answer["Content-Type"] == "application/zip"
    assert 'filename="alder-pit-' in answer["Content-Disposition"]
    with zipfile.ZipFile(io.BytesIO(b"".join(answer.streaming_content))) as archive:
        assert archive.testzip() is None


def test_the_file_is_for_planner_and_manager_of_that_plant_only(client, alder, pat, tess, erin, otto, other, stranger):
    export = asked(client, pat)
    do_job(export.job_id)
    address = reverse("plant-export-file", args=[export.pk])
    for person, answer in ((tess, 403), (erin, 403), (otto, 404), (stranger, 403)):
        client.force_login(person)
        assert client.get(address).status_code == answer, person
        assert client.get(PAGE).status_code == (200 if person == otto else 403), person


def test_a_file_that_is_gone_is_not_there(client, alder, pat):
    export = asked(client, pat)
    do_job(export.job_id)
    export_path(export).unlink()
    assert client.get(reverse("plant-export-file", args=[export.pk])).status_code == 404


def test_the_way_there_is_on_the_account_page(client, alder, pat, tess):
    client.force_login(pat)
    assert f'href="{PAGE}"' in client.get("/account/").content.decode()
    client.force_login(tess)
    assert f'href="{PAGE}"' not in client.get("/account/").content.decode()
