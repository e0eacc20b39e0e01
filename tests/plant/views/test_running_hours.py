"""Pages over running hours: a row that was entered twice is taken out and stays visible."""

from __future__ import annotations

import datetime as dt
import re
import uuid

import pytest
from django.urls import reverse

from plant.models import MeterReading, RunRecord
from plant.selectors.running_hours import ledger_of
from tests import make

pytestmark = pytest.mark.django_db

MIDNIGHT = dt.datetime(2026, 11, 1, tzinfo=dt.UTC)
DAY = dt.timedelta(days=1)


def form_of(address, client, **values):
    """What the page sends when it is opened and only these values are typed."""
    page = client.get(address).content.decode()
    boxes = re.findall(r'<input[^>]*name="(\w+)"[^>]*value="([^"]*)"', page)
    shown = {name: value for name, value in boxes if name not in ("csrfmiddlewaretoken", "plant", "q")}
    chosen = re.findall(r'<select[^>]*name="(\w+)".*?<option value="([^"]*)" selected', page, flags=re.DOTALL)
    return {**shown, **dict(chosen), "client_key": str(uuid.uuid4()), **values}


def test_a_span_is_withdrawn_with_its_reason_and_no_hours_come_of_it(client, pat, belt_a1):
    row = make.run_record(belt_a1, MIDNIGHT, MIDNIGHT + DAY, 20.0)
    address = reverse("run-record-correct", args=[row.pk])
    client.force_login(pat)
    client.post(address, form_of(address, client, withdraw="on", correction_reason="entered twice"))
    fresh = RunRecord.objects.get(corrects=row)
    assert (fresh.is_withdrawn, fresh.correction_reason) == (True, "entered twice")
    assert ledger_of(belt_a1).hours(MIDNIGHT, MIDNIGHT + DAY).running_h == 0
    assert ledger_of(belt_a1).hours(MIDNIGHT, MIDNIGHT + DAY).coverage == 0


def test_a_correction_without_the_box_counts(client, pat, belt_a1):
    row = make.run_record(belt_a1, MIDNIGHT, MIDNIGHT + DAY, 20.0)
    address = reverse("run-record-correct", args=[row.pk])
    client.force_login(pat)
    client.post(address, form_of(address, client, running_h="18", correction_reason="misread"))
    assert not RunRecord.objects.get(corrects=row).is_withdrawn
    assert ledger_of(belt_a1).hours(MIDNIGHT, MIDNIGHT + DAY).running_h == pytest.approx(18)


def test_a_meter_reading_is_withdrawn(client, pat, belt_a1):
    row = MeterReading.objects.create(conveyor=belt_a1, read_at=MIDNIGHT, reading_h=1200.0)
    address = reverse("meter-reading-correct", args=[row.pk])
    client.force_login(pat)
    client.post(address, form_of(address, client, withdraw="on", correction_reason="of another belt"))
    assert not MeterReading.objects.current().exists()


def test_seconds_of_a_span_outlive_a_correction_of_its_hours(client, pat, belt_a1):
    start, end = MIDNIGHT + dt.timedelta(seconds=41), MIDNIGHT + DAY + dt.timedelta(seconds=41)
    row = make.run_record(belt_a1, start, end, 20.0)
    address = reverse("run-record-correct", args=[row.pk])
    client.force_login(pat)
    client.post(address, form_of(address, client, running_h="19", correction_reason="misread"))
    fresh = RunRecord.objects.get(corrects=row)
    assert (fresh.starts_at, fresh.ends_at, fresh.running_h) == (start, end, 19.0)


def test_each_cell_of_the_page_carries_its_head_for_narrow_screens(client, tess, belt_a1):
    make.run_record(belt_a1, MIDNIGHT, MIDNIGHT + DAY, 20.0)
    MeterReading.objects.create(conveyor=belt_a1, read_at=MIDNIGHT, reading_h=1200.0)
    MeterReading.objects.create(conveyor=belt_a1, read_at=MIDNIGHT + DAY, reading_h=9200.0)
    client.force_login(tess)
    page = client.get(reverse("hours-detail", args=[belt_a1.pk])).content.decode()
    tables = re.findall(r'<table class="register">.*?</table>', page, flags=re.DOTALL)
    assert len(tables) == page.count("<table") == 4
    for table in tables:
        cells = re.findall(r"<td[^>]*>(?!\s*</td>)", table)
        assert cells
        assert all("data-label=" in cell for cell in cells)
