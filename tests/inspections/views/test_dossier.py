"""What checks add to the timeline and the printed dossier of an installation."""

from __future__ import annotations

import datetime as dt
import io

from django.urls import reverse
from pypdf import PdfReader

from inspections.models import Visit
from tests import make


def test_visits_stand_in_the_timeline_and_checks_in_the_dossier(client, tess, alder):
    at = make.installation(make.conveyor(alder))
    make.task(at, make.check_kind(), dt.date(2026, 3, 1))
    when = dt.datetime(2026, 2, 1, 9, tzinfo=dt.UTC)
    Visit.objects.create(plant=alder, installation=at, visited_at=when, visited_by=tess, note="belt wet")
    client.force_login(tess)
    page = client.get(at.get_absolute_url()).content.decode()
    assert "belt wet" in page.split("From survey to removal")[1]
    answer = client.get(reverse("installation-dossier", args=[at.pk]))
    words = "\n".join(each.extract_text() for each in PdfReader(io.BytesIO(answer.content)).pages)
    assert "belt wet" in words
    assert "2026-03-01" in words
