"""Belt offset as a second answer of a comparison: by station and occasion, with "not measured" said."""

from __future__ import annotations

import csv
import datetime as dt
import io

import numpy as np
import pytest
from django.urls import reverse
from django.utils import timezone
from scipy import stats

from installs.models import BeltOffset
from reports.calc.offsets import OffsetAnswer
from reports.selectors.offset_studies import NotMeasured, offset_study_of
from reports.words.offset_studies import lacking_words, occasion_words
from tests import make

STATIONS = (50.0, 65.0, 80.0, 95.0, 110.0, 125.0)
BEFORE = (42.0, -38.0, 55.0, -61.0, 30.0, 48.0)
THEN = (20.0, -25.0, 18.0, 13.0, -12.0, 15.0)
DAY = dt.timedelta(days=1)


@pytest.fixture
def at(belt_a1):
    make.drift_switch(belt_a1, 60.0)
    return make.installation(belt_a1, "20", installed_at=timezone.now() - 130 * DAY)


def measure(at, occasion, days, values, *, is_loaded=False, stations=STATIONS):
    for chainage_m, offset_mm in zip(stations, values, strict=True):
        BeltOffset.objects.create(
            plant=at.plant,
            conveyor=at.conveyor,
            strand=at.strand,
            chainage_m=chainage_m,
            offset_mm=offset_mm,
            is_loaded=is_loaded,
            taken_at=at.installed_at + days * DAY,
            occasion=occasion,
            installation=at,
        )


def study(at):
    return offset_study_of([at], timezone.now())


def page_of(client, url):
    return " ".join(client.get(url).content.decode().split())


def test_each_occasion_is_paired_by_station_as_scipy_does(at):
    measure(at, "survey", -20, BEFORE)
    measure(at, "survey", -20, [1.5 * each for each in BEFORE], is_loaded=True)
    measure(at, "acceptance", 1, BEFORE)
    measure(at, "follow_up", 92, THEN)
    measure(at, "follow_up", 92, THEN, is_loaded=True)
    found = study(at)
    labels = {occasion_words(each): each for each in found.occasions}
    assert list(labels) == ["at acceptance", "after 1 month", "after 3 months", "after 6 months"]
    accepted = labels["at acceptance"].changes
    assert [each.is_loaded for each in accepted] == [False]
    assert accepted[0].change_mm == 0.0
    empty, loaded = labels["after 3 months"].changes
    # Reference: scipy.stats.ttest_rel and NumPy's median on the sizes.
    reference = stats.ttest_rel(np.abs(THEN), np.abs(BEFORE)).confidence_interval(0.95)
    assert (empty.low_mm, empty.high_mm) == pytest.approx((reference.low, reference.high), rel=1e-12)
    assert empty.answer == OffsetAnswer.NEARER
    assert empty.median_before_mm == pytest.approx(np.median(np.abs(BEFORE)))
    assert (empty.largest_before_mm, empty.largest_after_mm) == (61.0, 25.0)
    assert loaded.largest_before_mm == pytest.approx(91.5)
    assert labels["after 1 month"].lacking is NotMeasured.NOT_MEASURED
    assert labels["after 6 months"].lacking is NotMeasured.NOT_YET


def test_a_corrected_reading_counts_once_and_another_strand_not(at):
    measure(at, "survey", -20, BEFORE)
    measure(at, "follow_up", 30, THEN)
    wrong = BeltOffset.objects.get(occasion="follow_up", chainage_m=50.0)
    kept = {name: getattr(wrong, name) for name in ("plant", "conveyor", "strand", "chainage_m", "taken_at")}
    kept |= {"occasion": "follow_up", "installation": at, "is_loaded": False}
    BeltOffset.objects.create(**kept, offset_mm=5.0, corrects=wrong, correction_reason="misread")
    BeltOffset.objects.create(**{**kept, "strand": "carry"}, offset_mm=500.0)
    change = study(at).latest.changes[0]
    assert change.n_stations == 6
    assert change.mean_after_mm == pytest.approx(np.mean([5.0, *np.abs(THEN[1:])]))


@pytest.mark.parametrize(
    ("taken", "words"),
    [
        ((), "Not measured: no belt offset is in the book"),
        ((("follow_up", 30, STATIONS),), "Not measured before the installation"),
        ((("survey", -9, STATIONS),), "Measured before the installation only"),
        ((("survey", -9, STATIONS), ("follow_up", 30, [s + 7 for s in STATIONS])), "No station was measured both"),
    ],
)
def test_what_is_missing_is_said(at, taken, words):
    for occasion, days, stations in taken:
        measure(at, occasion, days, THEN, stations=stations)
    assert lacking_words(study(at).missing).startswith(words)


def test_what_was_measured_at_the_acceptance_counts_though_the_device_was_handed_over_after_it(at):
    """A fitting is handed over hours after its last loaded run: "not measured since" stood above that run's offsets."""
    measure(at, "survey", -20, BEFORE)
    measure(at, "acceptance", -0.1, THEN)
    found = study(at)
    assert found.missing is None
    accepted = found.occasions[0]
    assert (accepted.months, accepted.changes[0].n_stations) == (0, 6)
    assert found.latest == accepted


def test_a_removed_device_says_why_nothing_more_comes(at):
    at.removed_at = at.installed_at + 40 * DAY
    measure(at, "survey", -9, BEFORE)
    assert [each.lacking for each in study(at).occasions][2:] == [NotMeasured.REMOVED_BEFORE] * 2


def test_page_dossier_and_file_tell_it_beside_the_verdict(client, at, mona):
    measure(at, "survey", -20, BEFORE)
    measure(at, "follow_up", 92, THEN)
    client.force_login(mona)
    page = page_of(client, reverse("effect-detail", args=[at.pk]))
    sentence = "Empty after 3 months: median 45 mm before, 16.5 mm then, largest 61 mm before, 25 mm then at 6 stations"
    assert sentence in page
    assert "the belt lies nearer to its line" in page
    assert "does not decide it" in page
    assert sentence in page_of(client, at.get_absolute_url())
    rows = list(csv.DictReader(io.StringIO(client.get(reverse("effect-data", args=[at.pk])).content.decode())))
    assert sum(row["part"] == "offset reading" for row in rows) == 12
    change = next(row for row in rows if row["item"] == "after 3 months, empty [mm]")
    assert float(change["high"]) < 0


def test_a_comparison_without_measurements_says_so(client, at, mona):
    client.force_login(mona)
    for url in (reverse("effect-detail", args=[at.pk]), at.get_absolute_url()):
        assert "Not measured: no belt offset is in the book for this comparison" in page_of(client, url)
