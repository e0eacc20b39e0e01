"""Two periods that somebody picks: counts, rows, warnings, cuts and the file."""

from __future__ import annotations

import csv
import datetime as dt
import io

import pytest
from django.urls import reverse
from django.utils import timezone
from scipy import stats

from plant.models import BeltChange
from reports.words.periods import month_words
from tests import make

DAY = dt.timedelta(days=1)
URL = "period-comparison"


@pytest.fixture
def at(alder):
    """Device 20 on S-12 in area B: 14 in reach in the first 100 days, 4 in the last 100; and a belt of another area."""
    now = timezone.now()
    for tag, place in (("S-12", 60.0), ("T-1", 80.0)):
        belt = make.conveyor(alder, tag=tag)
        make.run_record(belt, now - 900 * DAY, now, 12.0 * 900)
        make.drift_switch(belt, place)
    belt = alder.conveyors.get(tag="S-12")
    belt.area = make.area(alder, "B", "Screening")
    belt.save(update_fields=["area"])
    at = make.installation(belt, "20", installed_at=now - 250 * DAY)
    for i in range(14):
        make.incident(belt, now - (399 - 7 * i) * DAY)
    for i in range(4):
        make.incident(belt, now - (90 - 20 * i) * DAY)
    make.incident(belt, now - 350 * DAY, chainage_m=190.0)
    make.incident(alder.conveyors.get(tag="T-1"), now - 50 * DAY)
    BeltChange.objects.create(conveyor=belt, kind="belt", description="new belt", changed_at=now - 60 * DAY)
    return at


def asked(of, first=(401, 301), second=(100, 0)):
    today = make.today()
    days = {}
    for name, (start, end) in (("first", first), ("second", second)):
        days |= {f"{name}_from": today - start * DAY, f"{name}_until": today - end * DAY}
    return {"of": of, **days}


def page_of(answer):
    return " ".join(answer.content.decode().split())


@pytest.mark.parametrize(
    ("kind", "counts"), [("plant", (15, 5)), ("area", (15, 4)), ("conveyor", (15, 4)), ("installation", (14, 4))]
)
def test_each_scope_counts_its_own_and_leads_to_its_rows(client, at, mona, kind, counts):
    client.force_login(mona)
    pk = {"area": at.conveyor.area_id, "conveyor": at.conveyor_id, "installation": at.pk}.get(kind)
    answer = client.get(reverse(URL), asked(kind if pk is None else f"{kind}-{pk}"))
    assert answer.status_code == 200
    found = answer.context["found"]
    assert (found.first.n, found.second.n) == counts
    for side in (found.first, found.second):
        assert client.get(side.url).context["table"].paginator.count == side.n
    for line in found.lines:
        assert client.get(line.first.url).context["table"].paginator.count == line.first.n
    n_belts = 2 if kind == "plant" else 1
    assert found.first.hours == pytest.approx(12.0 * 101 * n_belts, abs=15 * n_belts)


def test_the_interval_is_scipys_and_stands_in_the_file(client, at, mona):
    client.force_login(mona)
    sent = asked(f"conveyor-{at.conveyor_id}")
    answer = client.get(reverse(URL), {**sent, "format": "csv"})
    rows = list(csv.DictReader(io.StringIO(answer.content.decode())))
    first, second = (next(row for row in rows if row["item"] == name) for name in ("first", "second"))
    n0, t0, n1, t1 = (float(row[name]) for row in (first, second) for name in ("incidents", "running_h"))
    share = stats.binomtest(int(n1), int(n0 + n1)).proportion_ci(0.95, method="exact")
    exact = next(row for row in rows if row["item"] == "exact")
    assert float(exact["low"]) == pytest.approx(share.low / (1 - share.low) * t0 / t1, abs=2e-6)
    assert float(exact["high"]) == pytest.approx(share.high / (1 - share.high) * t0 / t1, abs=2e-6)
    page = page_of(client.get(reverse(URL), sent))
    assert "fewer incidents in the second period" in page
    assert "format=csv" in page


def test_what_changed_meanwhile_is_listed_with_its_place(client, at, mona):
    client.force_login(mona)
    page = page_of(client.get(reverse(URL), asked(f"installation-{at.pk}")))
    assert "2 things changed in or between the periods" in page
    assert "device 20 fitted" in page
    assert "between them" in page
    assert "new belt" in page
    assert "in the second" in page
    quiet = page_of(client.get(reverse(URL), asked("plant", first=(700, 660), second=(600, 500))))
    assert "Nothing else in the book changed" in quiet


def test_unlike_months_are_warned_of_and_whole_years_are_not(client, at, mona):
    client.force_login(mona)
    assert "Seasons differ." in page_of(client.get(reverse(URL), asked("plant")))
    years = asked("plant", first=(729, 365), second=(364, 0))
    assert "Seasons differ." not in page_of(client.get(reverse(URL), years))


@pytest.mark.parametrize(
    ("first", "second", "words"),
    [
        ((100, 50), (60, 0), "The periods share days"),
        ((50, 100), (40, 0), "before it starts"),
        ((100, 50), (40, -3), "is in the future"),
    ],
)
def test_periods_that_cannot_be_compared_are_refused_in_words(client, at, mona, first, second, words):
    client.force_login(mona)
    answer = client.get(reverse(URL), asked("plant", first, second))
    assert answer.status_code == 422
    assert words in page_of(answer)


def test_the_page_opens_with_start_values_and_other_plants_are_no_choice(client, at, mona, otto):
    client.force_login(mona)
    answer = client.get(reverse(URL), {"of": f"installation-{at.pk}"})
    assert answer.status_code == 200
    assert answer.context["form"]["of"].value() == f"installation-{at.pk}"
    client.force_login(otto)
    assert client.get(reverse(URL), asked(f"installation-{at.pk}")).status_code == 422
    assert client.get(reverse(URL), {**asked("plant"), "of": "plant"}).status_code == 422  # no belt there yet


def test_the_later_period_may_come_first(client, at, mona):
    client.force_login(mona)
    one = client.get(reverse(URL), asked("plant")).context["found"]
    other = client.get(reverse(URL), asked("plant", first=(100, 0), second=(401, 301))).context["found"]
    assert other.ratio.low == pytest.approx(1 / one.ratio.high)
    assert other.ratio.high == pytest.approx(1 / one.ratio.low)


@pytest.mark.parametrize(
    ("months", "words"),
    [
        ((1, 2, 3, 11, 12), "November to March"),
        ((4,), "April"),
        ((2, 3, 8), "February to March, August"),
        (tuple(range(1, 13)), "January to December"),
        ((), ""),
    ],
)
def test_months_are_told_as_stretches(months, words):
    assert month_words(months) == words
