"""What a job waits for, and what its steps say."""

from __future__ import annotations

import pytest

from installs.calc.commissioning import AcceptanceRule, SideRule
from installs.models import BeltOffset
from installs.selectors.job_steps import is_loaded_next, job_of
from installs.selectors.torque import open_fasteners, torque_rows
from installs.services.torque import pass_over_fasteners
from installs.services.trial_runs import add_readings
from installs.words.commissioning import commissioning_words
from installs.words.job_steps import act_words, step_label, step_words
from plant.calc.reasons import Reason
from plant.calc.units import UnitSystem
from tests.installs.jobs import at, fit, following, fresh, run, sign_all, up_to_the_guards

pytestmark = pytest.mark.django_db


def test_the_steps_show_who_passed_a_fastener_over_when_and_why(unsigned, tess):
    job = unsigned
    up_to_the_guards(job, tess)
    step = next(each for each in job_of(fresh(job)).steps if each.key == "torque")
    assert (step.state, step_words(step, UnitSystem.METRIC)[-1]) == (
        "next",
        "The guards wait for: clamp 1, clamp 2, clamp 3, clamp 4, pivot 1.",
    )
    keys = [each.key for each in job_of(fresh(job)).steps]
    assert keys.index("clear") < keys.index("torque") < keys.index("guards")
    sign_all(job, tess, 5, but=1)
    pass_over_fasteners(
        fitting=job, fasteners=open_fasteners(torque_rows(job)), reason="socket is missing", by=tess, now=at(7)
    )
    step = next(each for each in job_of(fresh(job)).steps if each.key == "torque")
    assert (step.state, step_words(step, UnitSystem.METRIC)) == (
        "passed_over",
        (
            "4 of 5 fasteners signed off.",
            "pivot 1 passed over: socket is missing (tess, 20 Nov 2026, 09:07).",
        ),
    )
    assert following(job).point == "guards"


def test_a_good_run_without_a_reading_upstream_asks_for_that_reading_and_not_for_an_adjustment(job, tess):
    fit(job, tess)
    row = run(job, tess, 20, offsets=[(40.0, 12.0)])  # return strand, device at 100 m: downstream only
    act = following(job)
    assert (act.name, act.pk, act_words(act)) == (
        "trial-run-readings", row.pk, "Add the missing reading to the run, empty",
    )  # fmt: skip
    told = "No station was measured empty upstream of the device, which on this strand is above 100 m."
    assert commissioning_words(act.why, UnitSystem.METRIC) == told
    add_readings(row, by=tess, offsets=[(160.0, -8.0)], taken_at=at(65), now=at(66))
    assert act_words(following(job)) == "Record the trial run, loaded"
    added = BeltOffset.objects.get(chainage_m=160.0)
    assert (added.trial_run, added.is_loaded, added.taken_at, added.offset_mm) == (row, False, at(65), -8.0)
    assert added.occasion == BeltOffset.Occasion.TRIAL_RUN


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({}, "Record the trial run, loaded"),
        ({"offsets": [(40.0, 70.0), (160.0, 0.0)]}, "Record the isolation for an adjustment"),
        ({"offsets": [(40.0, 70.0)]}, "Record the isolation for an adjustment"),
        ({"touches_structure": True}, "Record the isolation for an adjustment"),
        ({"minutes": 5.0}, "Record a longer trial run, empty"),
        ({"minutes": 5.0, "offsets": [(40.0, 3.0)]}, "Record a longer trial run, empty"),
        ({"is_noisy": True}, "Record the trial run, loaded"),
    ],
)
def test_what_follows_an_empty_run_is_what_it_leaves_to_do(job, tess, values, words):
    fit(job, tess)
    run(job, tess, 20, **values)
    assert act_words(following(job)) == words
    if following(job).name == "fitting-trial-run":
        assert following(job).is_loaded is is_loaded_next(fresh(job)) is words.endswith("loaded")
        waiting = next(each for each in job_of(fresh(job)).steps if each.key == "run" and each.state == "next")
        assert step_label(waiting).split(", ")[1] == words.split(", ")[1]


def test_a_short_run_with_one_side_says_both_at_once(job, tess):
    fit(job, tess)
    run(job, tess, 20, minutes=5.0, offsets=[(40.0, 3.0)])
    minutes, station = following(job).why
    assert (minutes.rule, minutes.values["least_min"]) == (AcceptanceRule.WATCHED, 15.0)
    assert station.values["where"].values["place"] == Reason(SideRule.ABOVE, {"device_m": 100.0})


def test_the_loaded_run_is_asked_for_its_reading_too(job, tess):
    fit(job, tess)
    run(job, tess, 20)
    row = run(job, tess, 70, is_loaded=True, offsets=[(160.0, 3.0)])
    assert (following(job).pk, act_words(following(job))) == (row.pk, "Add the missing reading to the run, loaded")
