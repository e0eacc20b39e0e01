"""Real events through the import desk: 191 explosions in British coal mines, 1851-1962.

``tests/reference/coal.csv`` is the data set ``coal`` of the R package boot (decimal years), as carried by the Python
package pydataset 0.2.0; Jarrett, R. G. (1979), A note on the intervals between coal-mining disasters, Biometrika 66,
191-193, corrected Maguire, Pearson & Wynn (1952). Change of about 1890-91 with rates of about 3.1 and 0.9 a year:
Carlin, Gelfand & Smith (1992), Applied Statistics 41, 389-405 (from memory; the counts here agree).

The mines stand in as one belt, each explosion as an incident, every calendar hour as a running hour, the change as an
installation at the turn of 1890 to 1891. A decimal year y becomes the instant at the share (y - Y) of the length of its
calendar year Y; that keeps each event in its year, which is all that the counts need. Two explosions fell on one day
of 1875: equal rows that are two events, so the file is sent with each row as an event of its own.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
from pathlib import Path

import pytest
from scipy import stats
from statsmodels.stats.rates import test_poisson_2indep as statsmodels_two_rates

from plant.calc.rates import compare_rates
from plant.models import Incident, RunRecord
from plant.services import imports, jobs
from tests import make

REFERENCE = Path(__file__).resolve().parents[2] / "reference" / "coal.csv"
UTC = dt.UTC
CHANGE = dt.datetime(1891, 1, 1, tzinfo=UTC)
FIRST, LAST = 1851, 1962


def instant(decimal_year: float) -> dt.datetime:
    year = int(decimal_year)
    start, end = dt.datetime(year, 1, 1, tzinfo=UTC), dt.datetime(year + 1, 1, 1, tzinfo=UTC)
    return start + (decimal_year - year) * (end - start)


@pytest.fixture
def mines(db, tmp_path, settings):
    """The belt with its 191 incidents and 112 years of hours, all through the desk."""
    settings.MEDIA_ROOT = tmp_path
    plant = make.plant(name="Coal mines", time_zone="UTC")
    person = make.person("pat", plant, "planner")
    belt = make.conveyor(plant, tag="C-1", length_m=200.0)
    years = [float(row["date"]) for row in csv.DictReader(REFERENCE.read_text(encoding="ascii").splitlines())]
    events = "tag,when,strand,chainage [m],severity\n"
    events += "".join(f"C-1,{instant(year).isoformat(timespec='seconds')},return,80,damage\n" for year in years)
    spans = "tag,from,to\n" + "".join(f"C-1,{year}-01-01,{year + 1}-01-01\n" for year in range(FIRST, LAST + 1))
    batches = {}
    for subject, text, options in (("incidents", events, {"equal": "each"}), ("running_hours", spans, {})):
        data = text.encode()
        batch = imports.take_in_file(
            plant=plant,
            by=person,
            subject=subject,
            file=io.BytesIO(data),
            file_name=f"{subject}.csv",
            size=len(data),
            options=options,
        )
        jobs.do_job(imports.start_import(batch=batch, by=person).pk)
        batch.refresh_from_db()
        batches[subject] = batch
    device = make.installation(belt, installed_at=CHANGE, chainage_m=100.0)
    return belt, device, batches


def test_all_events_and_all_years_come_in(mines):
    belt, _device, batches = mines
    assert (batches["incidents"].n_written, batches["incidents"].n_refused) == (191, 0)
    assert (batches["running_hours"].n_written, batches["running_hours"].n_refused) == (112, 0)
    first = Incident.objects.order_by("happened_at").first()
    assert first.happened_at.year == 1851
    assert first.conveyor == belt
    # Hours of the calendar: 40 years with 10 leap days, and 72 years with 17 (1900 is none), 8760 h and 24 h each.
    assert sum(row.running_h for row in RunRecord.objects.filter(ends_at__lte=CHANGE)) == 40 * 8760 + 10 * 24
    assert sum(row.running_h for row in RunRecord.objects.filter(starts_at__gte=CHANGE)) == 72 * 8760 + 17 * 24


def test_counts_rates_and_ratio_agree_with_the_published_figures(mines):
    belt, device, _batches = mines
    before = Incident.objects.current().between(dt.datetime(FIRST, 1, 1, tzinfo=UTC), device.installed_at)
    after = Incident.objects.current().between(device.installed_at, dt.datetime(LAST + 1, 1, 1, tzinfo=UTC))
    n0, n1 = before.filter(conveyor=belt).count(), after.filter(conveyor=belt).count()
    assert (n0, n1) == (125, 66)
    hours = {
        name: sum(row.running_h for row in rows)
        for name, rows in {
            "before": RunRecord.objects.filter(conveyor=belt, ends_at__lte=device.installed_at),
            "after": RunRecord.objects.filter(conveyor=belt, starts_at__gte=device.installed_at),
        }.items()
    }
    assert n0 / hours["before"] * 8766 == pytest.approx(3.125, rel=2e-3)
    assert n1 / hours["after"] * 8766 == pytest.approx(0.9167, rel=2e-3)

    found = compare_rates(n0, hours["before"], n1, hours["after"])
    # With whole years as exposure the published ratio is 0.293333 (0.214308 to 0.398363); 17 leap days in 72 years
    # instead of 18 move it by 1e-4.
    assert found.ratio == pytest.approx(0.293333, rel=2e-4)
    assert (found.low, found.high) == pytest.approx((0.214308, 0.398363), rel=2e-4)

    # SciPy: Clopper-Pearson limits of the share after, as odds times the ratio of the hours.
    share = stats.binomtest(n1, n0 + n1).proportion_ci(0.95, method="exact")
    scale = hours["before"] / hours["after"]
    limits = [p / (1 - p) * scale for p in (share.low, share.high)]
    assert (found.low, found.high) == pytest.approx(limits, rel=1e-8)
    # statsmodels: the same conditional binomial test of a ratio of one.
    exact = statsmodels_two_rates(n1, hours["after"], n0, hours["before"], method="exact-cond")
    assert found.p_minlike == pytest.approx(exact.pvalue, rel=1e-6)
