"""The fit-up sheet of a job: kept as read, refused where it cannot be, never over somebody else's measures."""

from __future__ import annotations

import uuid

import pytest
from django.utils import timezone

from installs.calc.fit_up_lines import Verdict
from installs.calc.fit_up_rules import FitUpRule
from installs.models import FitUp, ModelSheet
from installs.selectors.fit_up import figures_for, judge, measures_of, result_of
from installs.services.fit_up import save_fit_up
from plant.calc.units import UnitSystem
from plant.errors import ChangedMeanwhile, Refused
from plant.words.refusals import field_words
from tests import make

pytestmark = pytest.mark.django_db


@pytest.fixture
def job(belt_a1):
    model = make.device_model(
        belt_a1.plant, extension_most_mm=150.0, roller_drop_mm=120.0, belt_lift_least_mm=6.0, belt_lift_most_mm=25.0
    )
    return make.fitting(belt_a1, model)


def test_measures_are_kept_and_judged(job, tess):
    row = save_fit_up(fitting=job, by=tess, version=0, bracket_spacing_mm=1640.0, frame_length_mm=1505.0)
    assert (row.version, row.created_by) == (1, tess)
    result = result_of(job)
    assert result.line("extension_drive_mm").wanted == 61
    assert result.line("extension_drive_mm").verdict is Verdict.OPEN


def test_no_sheet_no_result(job):
    assert result_of(job) is None


def test_what_the_first_one_saved_the_second_has_to_see(job, tess, pat):
    save_fit_up(fitting=job, by=tess, version=0, bracket_spacing_mm=1640.0)
    with pytest.raises(ChangedMeanwhile) as clash:
        save_fit_up(fitting=job, by=pat, version=0, bracket_spacing_mm=1650.0)
    assert clash.value.current.bracket_spacing_mm == 1640
    row = save_fit_up(fitting=job, by=pat, version=1, bracket_spacing_mm=1650.0)
    assert (row.version, row.history.count(), FitUp.objects.count()) == (2, 2, 1)
    with pytest.raises(ChangedMeanwhile):
        save_fit_up(fitting=job, by=tess, version=1, bracket_spacing_mm=1660.0)


def test_the_same_form_twice_makes_one_sheet(job, tess):
    key = uuid.uuid4()
    rows = {
        save_fit_up(fitting=job, by=tess, version=0, client_key=key, bracket_spacing_mm=1640.0).pk for _each in range(2)
    }
    assert len(rows) == 1


@pytest.mark.parametrize(
    ("values", "field", "words"),
    [
        ({"bracket_spacing_mm": 1200.0, "frame_length_mm": 1215.0}, "frame_length_mm", "= 15 mm: the frame is longer"),
        (
            {"bracket_spacing_mm": 1640.0, "frame_length_mm": 1205.0},
            "frame_length_mm",
            "Above the model's largest extension of 150 mm",
        ),
        ({"extension_drive_mm": 160.0}, "extension_drive_mm", "160 mm is above the model's largest extension"),
        ({"wanted_lift_mm": 30.0}, "wanted_lift_mm", "5 mm above the model's largest lift of 25 mm"),
        ({"sensor_clear_mm": 1190.0, "belt_width_mm": 1196.0}, "sensor_clear_mm", "wider than the space between"),
        ({"bracket_spacing_mm": -5.0}, "bracket_spacing_mm", "-5 mm is no length; give one from 0 up"),
        ({"gap_off_mm": float("inf")}, "gap_off_mm", "inf is no length"),
    ],
)
def test_what_cannot_be_is_refused_with_its_arithmetic(job, tess, values, field, words):
    with pytest.raises(Refused) as refusal:
        save_fit_up(fitting=job, by=tess, version=0, **values)
    assert words in refusal.value.fields[field]
    assert not FitUp.objects.exists()


def test_a_later_number_is_held_against_those_kept_before(job, tess):
    save_fit_up(fitting=job, by=tess, version=0, bracket_spacing_mm=1200.0)
    with pytest.raises(Refused, match="longer than the space"):
        save_fit_up(fitting=job, by=tess, version=1, frame_length_mm=1215.0)


def test_refusals_speak_the_persons_units(job, tess):
    tess.unit_system = "us"
    with pytest.raises(Refused, match="59 1/4 in frame − 47 1/4 in spacing = 12 in"):
        save_fit_up(fitting=job, by=tess, version=0, bracket_spacing_mm=1200.15, frame_length_mm=1504.95)


def test_a_length_that_is_none_is_refused_in_the_persons_units(job, tess):
    with pytest.raises(Refused) as refusal:
        save_fit_up(fitting=job, by=tess, version=0, frame_length_mm=0.0)
    assert field_words(refusal.value, UnitSystem.US)["frame_length_mm"] == (
        "0 in is too short; give a length above 0 in, or leave it out."
    )
    with pytest.raises(Refused) as refusal:
        save_fit_up(fitting=job, by=tess, version=0, gap_off_mm=float("inf"))
    assert "inf is no length" in field_words(refusal.value, UnitSystem.US)["gap_off_mm"]


def test_an_accepted_job_keeps_its_fit_up(job, tess):
    job.accepted_at = timezone.now()
    job.save()
    with pytest.raises(Refused, match="its fit-up stays as it was"):
        save_fit_up(fitting=job, by=tess, version=0, bracket_spacing_mm=1640.0)


def test_a_job_given_up_takes_no_measures(job, tess):
    job.given_up_at, job.given_up_reason = timezone.now(), "belt was taken out"
    job.save()
    with pytest.raises(Refused, match="given up"):
        save_fit_up(fitting=job, by=tess, version=0, bracket_spacing_mm=1640.0)


def test_a_job_keeps_the_version_of_the_sheet_that_it_is_fitted_to(job):
    assert figures_for(job).extension_most_mm == 150
    job.sheet = ModelSheet.objects.create(
        device_model=job.device_model, number=1, content={"extension_most_mm": 90.0, "fasteners": []}
    )
    assert figures_for(job).extension_most_mm == 90
    assert figures_for(job).roller_drop_mm is None


def test_the_book_knows_the_belts_width(job, tess):
    row = save_fit_up(fitting=job, by=tess, version=0, belt_width_mm=1150.0)
    (warning,) = judge(job, measures_of(row)).warnings
    assert (warning.rule, warning.values["nominal_mm"]) == (FitUpRule.BELT_WIDTH_DIFFERS, 1200)
