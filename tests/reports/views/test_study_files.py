"""Files of a comparison: what a colleague needs to check it, and who may have them."""

from __future__ import annotations

import csv
import datetime as dt
import io

import pytest
from django.conf import settings
from django.urls import reverse
from django.utils import timezone
from scipy import stats

from reports.selectors.months import code_version
from tests import make

DAY = dt.timedelta(days=1)


@pytest.fixture
def at(alder):
    belt, now = make.conveyor(alder, tag="S-12"), timezone.now()
    make.run_record(belt, now - 900 * DAY, now, 12.0 * 900)
    make.drift_switch(belt, 60.0)
    at = make.installation(belt, "20", installed_at=now - 300 * DAY)
    for i in range(20):
        make.incident(belt, at.installed_at - (10 + 15 * i) * DAY)
    for i in range(3):
        make.incident(belt, at.installed_at + (30 + 40 * i) * DAY)
    return at


def test_the_interval_follows_from_the_file_alone(client, at, mona):
    client.force_login(mona)
    answer = client.get(reverse("effect-data", args=[at.pk]))
    assert answer["Content-Type"] == "text/csv"
    rows = list(csv.DictReader(io.StringIO(answer.content.decode())))
    before, after = (next(row for row in rows if row["item"] == name) for name in ("before", "after"))
    plain = next(row for row in rows if row["item"] == "plain, exact")
    n0, n1 = int(before["incidents"]), int(after["incidents"])
    assert (n0, n1) == (20, 3)
    # Reference: scipy's Clopper-Pearson interval, turned to a ratio as the method says.
    share = stats.binomtest(n1, n0 + n1).proportion_ci(0.95, method="exact")
    scale = float(before["running_h"]) / float(after["running_h"])
    assert float(plain["low"]) == pytest.approx(share.low / (1 - share.low) * scale, abs=2e-6)
    assert float(plain["high"]) == pytest.approx(share.high / (1 - share.high) * scale, abs=2e-6)
    assert any(row["part"] == "left out" and "settling-in" in row["words"] for row in rows)
    assert rows[-1]["item"] == code_version()
    assert code_version().startswith(f"{settings.VERSION} calc "), "the version of the site, not a made-up one"


def test_a_day_without_a_time_stands_in_the_file_with_the_time_within_which_it_was(client, at, mona, alder):
    zone = alder.zone

    def midnight(moment):
        return dt.datetime.combine(moment.astimezone(zone).date(), dt.time(), tzinfo=zone)

    whole, cut = midnight(at.installed_at - 33 * DAY), midnight(at.installed_at)
    for each in (whole, cut):
        make.incident(at.conveyor, each, time_is_known=False, created_at=each + 3 * DAY)
    client.force_login(mona)
    rows = list(csv.DictReader(io.StringIO(client.get(reverse("effect-data", args=[at.pk])).content.decode())))
    before = next(row for row in rows if row["item"] == "before")
    assert before["incidents"] == "21"
    assert before["words"].endswith(", 1 on a day that the window cuts, at no known time")
    [row] = [row for row in rows if row["part"] == "incident" and row["until"]]
    moments = [dt.datetime.fromisoformat(row[name]) for name in ("from", "until")]
    assert moments[0] == whole
    assert moments[1].astimezone(zone).date() == whole.date() + DAY
    page = " ".join(client.get(reverse("effect-detail", args=[at.pk])).content.decode().split())
    assert "with no time of day in the book, so counted on neither side: 1 before, 0 after." in page


def test_the_method_names_the_plants_numbers_and_the_code(client, at, mona, alder):
    alder.margin_low = 0.7
    alder.save(update_fields=["margin_low"])
    client.force_login(mona)
    for url in (reverse("effect-method", args=[at.pk]), reverse("effect-list-method")):
        answer = client.get(url)
        assert answer["Content-Type"].startswith("text/plain")
        text = answer.content.decode()
        assert "margin 0.7 to 1.25" in text
        assert "lie between 0.7 and 1.25" in text
        assert code_version() in text
        assert "Clopper-Pearson" in text


def test_other_plants_get_nothing(client, at, otto):
    client.force_login(otto)
    for name in ("effect-data", "effect-method"):
        assert client.get(reverse(name, args=[at.pk])).status_code == 404


def test_both_pages_link_the_files_and_the_list_has_the_other_answers(client, at, mona):
    client.force_login(mona)
    page = client.get(reverse("effect-detail", args=[at.pk])).content.decode()
    assert reverse("effect-data", args=[at.pk]) in page
    assert reverse("effect-method", args=[at.pk]) in page
    assert reverse("effect-list-method") in client.get(reverse("effect-list")).content.decode()
    answer = client.get(reverse("effect-list"), {"format": "csv"})
    head, row = list(csv.reader(io.StringIO(b"".join(answer.streaming_content).decode())))[:2]
    for words in ("Shrunk ratio", "Compared ratio", "Left out"):
        assert words in head
    assert "settling-in" in row[head.index("Left out")]
