"""When the verdict changed, month by month, and that timeline and dossier tell it."""

from __future__ import annotations

import datetime as dt
import io
import itertools
from zoneinfo import ZoneInfo

import pytest
from django.urls import reverse
from pypdf import PdfReader

from reports.calc.verdicts import EffectVerdict
from reports.selectors.belts import belts_of
from reports.selectors.studies import study_of
from reports.selectors.verdict_history import month_ends, verdict_changes
from tests import make
from tests.reports.selectors.test_studies import DAY, INSTALLED, NOW, UTC, at, belt  # noqa: F401  (fixtures)


@pytest.fixture
def worked(at, time_machine):  # noqa: F811
    """29 incidents in the year before, six since: as clear as a count can be, but not from the first month on."""
    time_machine.move_to(NOW, tick=False)
    for n in range(29):
        make.incident(at.conveyor, INSTALLED - (10 + 12 * n) * DAY)
    for n in range(6):
        make.incident(at.conveyor, INSTALLED + (30 + 40 * n) * DAY)
    return at


def test_months_end_at_midnight_of_the_plant():
    berlin = ZoneInfo("Europe/Berlin")
    found = month_ends(dt.datetime(2026, 1, 31, 23, 30, tzinfo=UTC), dt.datetime(2026, 4, 2, tzinfo=UTC), berlin)
    # By then it was February in Berlin; in summer the day begins two hours before that of UTC.
    assert [each.astimezone(UTC).isoformat() for each in found] == [
        "2026-02-28T23:00:00+00:00",
        "2026-03-31T22:00:00+00:00",
    ]
    assert month_ends(NOW, NOW + DAY, berlin) == []


def test_the_last_change_is_the_verdict_that_stands(worked):
    found = verdict_changes(worked, belts_of([worked.conveyor])[worked.conveyor_id], NOW)
    assert found[0].was == EffectVerdict.TOO_EARLY
    assert found[-1].study.verdict == study_of(worked, NOW).verdict == EffectVerdict.FEWER
    for before, after in itertools.pairwise(found):
        assert before.at < after.at
        assert before.study.verdict == after.was != after.study.verdict
    # A change is told at the first month's end at which a comparison made then says so, and not a month sooner.
    ends = month_ends(worked.installed_at, NOW, worked.plant.zone)
    first = ends.index(found[0].at)
    assert study_of(worked, ends[first]).verdict == found[0].study.verdict
    assert all(study_of(worked, each).verdict == EffectVerdict.TOO_EARLY for each in ends[:first])


def test_a_device_that_is_gone_is_judged_up_to_its_removal(worked):
    worked.removed_at = INSTALLED + 20 * DAY
    worked.save()
    assert verdict_changes(worked, belts_of([worked.conveyor])[worked.conveyor_id], NOW) == []


def test_timeline_of_place_and_device_and_the_dossier_tell_the_verdict(client, worked, tess, erin):
    client.force_login(erin)
    for page in (worked.get_absolute_url(), worked.device.get_absolute_url()):
        text = client.get(page).text
        assert "Verdict now: fewer incidents" in text
        assert "before: too early to tell" in text
    answer = client.get(reverse("installation-dossier", args=[worked.pk]))
    words = " ".join(" ".join(page.extract_text() for page in PdfReader(io.BytesIO(answer.content)).pages).split())
    assert "Effect on incidents" in words
    assert "29 in 4,380 h before" in words
    assert "Verdict now: fewer incidents" in words
