"""Taking a file back on its pages: what would go is shown, a reason is asked, and what came of it is said."""

from __future__ import annotations

import pytest
from django.utils import timezone
from django.utils.formats import date_format

from plant.models import ImportBatch, Incident, Job, Notice
from plant.services.incidents import correct_incident
from tests.plant.views.test_imports import choices_of, do_all_jobs, files_of_the_test, upload  # noqa: F401

TEXT = "tag,when,severity\nA-1,2026-03-01 10:00,drift\nA-1,2026-03-02 10:00,drift\nA-1,2026-03-03 10:00,drift\n"


@pytest.fixture
def written(client, pat, belt_a1):
    client.force_login(pat)
    page = client.get(upload(client, TEXT).url)
    url = page.wsgi_request.path
    client.post(f"{url}choices/", {**choices_of(page), "act": "write"})
    do_all_jobs()
    return url


def words_of(answer):
    return " ".join(answer.content.decode().split())


def test_from_the_link_to_what_came_of_it(client, alder, written, erin):
    correct_incident(
        row=Incident.objects.earliest("happened_at"), by=erin, reason="It was contact.", severity="contact"
    )
    assert f'href="{written}take-back/"' in words_of(client.get(written))
    page = words_of(client.get(f"{written}take-back/"))
    assert "<b>2</b> rows would be withdrawn" in page
    assert "corrected by erin (“It was contact.”)" in page
    assert "Take 2 rows back" in page
    assert Incident.objects.current().count() == 3, "a look changes nothing"
    answer = client.post(f"{written}take-back/", {"reason": ""})
    assert answer.status_code == 422
    assert Job.objects.filter(kind="import-undo").count() == 0
    assert client.post(f"{written}take-back/", {"reason": "the wrong year"}).url == written
    running = words_of(client.get(written))
    assert "The file is being taken back." in running
    do_all_jobs()
    page = words_of(client.get(written))
    today = date_format(timezone.localdate(timezone=alder.zone))
    assert f"pat took it back on {today} (the wrong year): 2 rows went. 1 row stays" in page
    assert "take-back" not in page
    told = Notice.objects.latest("pk").text
    assert told == "Import of log.csv was taken back: 2 rows went, 1 stays."
    answer = client.get(f"{written}take-back/", follow=True)
    assert "took this file back already" in words_of(answer)


def test_stopped_half_way_it_goes_on(client, written):
    client.post(f"{written}take-back/", {"reason": "the wrong year"})
    Job.objects.filter(kind="import-undo").update(state="stopped")
    assert "Go on taking it back" in words_of(client.get(written))
    client.post(f"{written}go-on/")
    do_all_jobs()
    assert ImportBatch.objects.get().state == ImportBatch.State.TAKEN_BACK
    assert Incident.objects.current().count() == 0


def test_an_import_that_was_stopped_offers_to_take_back_what_was_written(client, written):
    Job.objects.filter(kind="import").update(state="stopped")
    ImportBatch.objects.update(state="running", rows_done=2)
    assert "Take back what was written" in words_of(client.get(written))


@pytest.mark.parametrize("name", ["tess", "mona"])
def test_who_may_not_import_may_not_take_back(client, request, written, name):
    client.force_login(request.getfixturevalue(name))
    assert client.post(f"{written}take-back/", {"reason": "x"}).status_code == 403
    assert Incident.objects.current().count() == 3


def test_another_plant_s_file_is_not_found(client, written, otto):
    client.force_login(otto)
    assert client.get(f"{written}take-back/").status_code == 404
    assert client.post(f"{written}take-back/", {"reason": "x"}).status_code == 404
