"""Pages of comparisons and what this app puts on other pages: who may, what they say, how many queries."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format

from plant.models import BeltChange
from reports.models import StudyWindow
from reports.words.verdicts import beside_one
from tests import make

DAY = dt.timedelta(days=1)


@pytest.fixture
def belt(alder):
    return belt_of(alder, "S-12")


def belt_of(plant, tag):
    """It ran 12 h a day for 900 days and has four pairs of switches."""
    made = make.conveyor(plant, tag=tag)
    now = timezone.now()
    make.run_record(made, now - 900 * DAY, now, 12.0 * 900)
    for chainage_m in (2.0, 60.0, 120.0, 198.0):
        make.drift_switch(made, chainage_m)
    return made


@pytest.fixture
def at(belt):
    """Device 20, fitted 300 days ago: 29 incidents before, 3 after."""
    at = make.installation(belt, "20", installed_at=timezone.now() - 300 * DAY)
    for i in range(29):
        make.incident(belt, at.installed_at - (10 + 10 * i) * DAY)
    for i in range(3):
        make.incident(belt, at.installed_at + (30 + 40 * i) * DAY)
    return at


def page_of(client, url):
    answer = client.get(url)
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def test_everyone_of_the_plant_reads_and_nobody_else(client, at, mona, otto, stranger):
    own = reverse("effect-detail", args=[at.pk])
    for person, list_status, own_status in ((mona, 200, 200), (otto, 200, 404), (stranger, 403, 403)):
        client.force_login(person)
        assert client.get(reverse("effect-list")).status_code == list_status
        assert client.get(own).status_code == own_status
    client.force_login(otto)
    assert "S-12" not in page_of(client, reverse("effect-list"))


def test_only_the_engineer_sets_windows(client, at, pat, erin):
    url = reverse("study-window-create", args=[at.pk])
    client.force_login(pat)
    assert client.get(url).status_code == 403
    client.force_login(erin)
    assert client.get(url).status_code == 200


def test_the_page_opens_with_the_sentence_of_the_verdict(client, at, mona):
    client.force_login(mona)
    page = page_of(client, reverse("effect-detail", args=[at.pk]))
    assert re.search(
        r"S-12 return, device 20: 29 in 4,3[789]\d h before, 3 in 3,43\d h after\. "
        r"Ratio 0\.1\d \(0\.0\d-0\.\d\d\)\. Fewer incidents\.",
        page,
    )
    assert "settling-in: 14 days or 200 running hours, whichever comes first" in page
    assert "Too early to tell: fewer than 0.5 times the hours before" in page


@pytest.mark.parametrize(("system", "beyond"), [("metric", "15 m"), ("us", "49.2 ft")])
def test_how_far_a_possible_place_lies_is_in_the_persons_units(client, at, mona, system, beyond):
    mona.unit_system = system
    mona.save()
    client.force_login(mona)
    page = page_of(client, reverse("effect-detail", args=[at.pk]))
    assert f"possible: up to {beyond} beyond, or place not known" in page


def test_each_count_leads_to_exactly_its_rows(client, at, belt, mona):
    make.incident(belt, at.installed_at - 3 * DAY, chainage_m=150.0)
    make.incident(belt, at.installed_at - 3 * DAY, strand="carry")
    client.force_login(mona)
    study = client.get(reverse("effect-detail", args=[at.pk])).context["study"]
    for side in (study.before, study.after):
        assert client.get(side.url).context["table"].paginator.count == side.n
    for bar in client.get(reverse("effect-detail", args=[at.pk])).context["bars"]:
        assert len(client.get(bar.url).context["table"].rows) == bar.n


def test_the_dossier_carries_chart_and_table(client, at, mona):
    client.force_login(mona)
    answer = client.get(at.get_absolute_url())
    page = answer.content.decode()
    figure = json.loads(re.search(rf'<script id="effect-{at.pk}" type="application/json">(.*?)</script>', page)[1])
    assert {trace["name"] for trace in figure["data"]} == {"before", "settling", "after"}
    assert "reports/chart.js" in page
    assert "The table behind the drawing" in page
    nonce = re.search(r"'nonce-([^']+)'", answer["Content-Security-Policy"])[1]
    assert f'nonce="{nonce}"' in page


def test_an_engineer_sets_a_window_and_both_answers_are_there(client, at, erin):
    client.force_login(erin)
    url = reverse("study-window-create", args=[at.pk])
    assert client.post(url, {"before_months": "6", "reason": ""}).status_code == 422
    answer = client.post(url, {"before_months": "6", "reason": "rebuilt half a year before"}, follow=True)
    page = " ".join(answer.content.decode().split())
    assert answer.redirect_chain[-1][0] == reverse("effect-detail", args=[at.pk])
    assert "The windows were set by a person" in page
    assert "By the rule: S-12 return, device 20: 29 in" in page
    assert answer.context["study"].before.n == 18
    client.post(reverse("study-window-withdraw", args=[at.pk]), {"reason": "rule after all"})
    assert client.get(reverse("effect-detail", args=[at.pk])).context["study"].before.n == 29
    assert StudyWindow.objects.count() == 2


def test_of_two_windows_set_at_once_the_later_one_is_taken_back_first(client, at, erin):
    for months in (6, 3):
        StudyWindow.objects.create(installation=at, before_months=months, reason="at the same moment", created_by=erin)
    client.force_login(erin)
    url = reverse("study-window-withdraw", args=[at.pk])
    for _left in range(2):
        assert client.post(url, {"reason": "rule after all"}).status_code == 302
    assert not StudyWindow.objects.current().exists()
    assert client.get(url).status_code == 404


def test_the_list_counts_verdicts_and_chance(client, at, belt, mona):
    make.installation(belt, "22", chainage_m=55.0, installed_at=at.installed_at)  # no switch in its zone
    client.force_login(mona)
    page = page_of(client, reverse("effect-list"))
    assert "2 comparisons of 2 devices; 1 can be judged. Fewer incidents: 1; cannot be judged: 1." in page
    assert "How many verdicts of fewer or more chance alone would bring is not promised: too few stretches" in page
    assert page.count('class="forest"') == 1  # without an incident there is no ratio to draw


@pytest.mark.parametrize(
    ("query", "shown"),
    [
        ("?verdict=fewer", ["20"]),
        ("?verdict=more", []),
        ("?verdict=cannot_be_judged", ["22"]),
        ("?state=removed", []),
        ("?sort=-ratio", ["22", "20"]),
        ("?sort=ratio", ["20", "22"]),
        ("?sort=before", ["22", "20"]),
        ("?sort=verdict", ["20", "22"]),
        ("", ["20", "22"]),
    ],
)
def test_the_list_is_filtered_and_sorted(client, at, belt, mona, query, shown):
    make.installation(belt, "22", chainage_m=55.0, installed_at=at.installed_at)
    client.force_login(mona)
    rows = client.get(reverse("effect-list") + query).context["table"].rows
    assert [row.record.devices for row in rows] == shown


def test_each_cell_of_the_list_holds_one_piece_for_narrow_screens(client, at, mona):
    client.force_login(mona)
    page = page_of(client, reverse("effect-list"))
    row = page.split("<tbody")[1].split("</tr>")[0]
    for label in ("Installation", "Before, per 1000 h", "After, per 1000 h"):
        cell = re.search(rf'<td[^>]*data-label="{label}"[^>]*>(.*?)</td>', row)[1].strip()
        assert re.fullmatch(r"<div>.*</div>", cell)
        assert cell.count("<div>") == 1


def test_the_lists_files_hold_one_figure_a_column(client, at, mona):
    client.force_login(mona)
    text = b"".join(client.get(reverse("effect-list") + "?format=csv").streaming_content).decode()
    lines = list(csv.reader(io.StringIO(text)))
    row = dict(zip(lines[0], lines[1], strict=True))
    assert (row["Installation"], row["N before"], row["N after"]) == ("S-12 device 20", "29", "3")
    assert float(row["Ratio low"]) < float(row["Ratio (95 %)"]) < float(row["Ratio high"]) < 1
    assert "forest" not in "".join(lines[0]).lower()
    assert client.get(reverse("effect-list") + "?format=xlsx").status_code == 200


def test_the_list_takes_the_same_queries_for_one_row_and_for_many(client, at, alder, mona):
    client.force_login(mona)

    def queries():
        with CaptureQueriesContext(connection) as caught:
            assert client.get(reverse("effect-list")).status_code == 200
        return len(caught)

    queries()
    few = queries()
    for n in range(30, 40):
        more = make.conveyor(alder, tag=f"T-{n}")
        make.drift_switch(more, 60.0)
        make.installation(more, str(n), installed_at=at.installed_at)
    queries()  # without a worker the page makes the answers anew, once
    assert queries() == few


def test_the_engineers_start_page(client, at, belt, erin):
    client.force_login(erin)
    page = page_of(client, reverse("today"))
    assert "1 comparison of 1 device; all can be judged." in page
    assert "1 with fewer incidents" in page
    assert "No comparison with more incidents than before" in page
    assert "Belts that wander most" in page


def test_the_start_page_counts_what_is_in_place_and_leads_to_as_many(client, at, erin):
    other = make.conveyor(at.plant, tag="S-13")
    day = at.installed_at
    make.installation(other, "31", installed_at=day - 200 * DAY, removed_at=day, removal_reason="belt is rebuilt")
    client.force_login(erin)
    page = page_of(client, reverse("today"))
    assert "In place today: 1 comparison of 1 device; all can be judged. <a" in page
    asked = re.search(r'href="([^"]*verdict=fewer[^"]*)"', page)[1].replace("&amp;", "&")
    assert [row.record.devices for row in client.get(asked).context["table"].rows] == ["20"]
    assert "state=in_place" in asked
    assert len(client.get(reverse("effect-list")).context["table"].rows) == 2


def test_the_engineers_list_of_early_ones_holds_as_many_as_its_head_says(client, at, belt, erin):
    young = make.installation(belt, "30", chainage_m=198.0, installed_at=timezone.now() - 30 * DAY)
    changed_at = at.installed_at + 40 * DAY  # a new belt ends the comparison of device 20 after a few hours
    BeltChange.objects.create(conveyor=belt, kind="belt", description="new belt", changed_at=changed_at)
    client.force_login(erin)
    page = page_of(client, reverse("today"))
    assert "2 too early to tell; hours to go" in page
    listed = page.split("too early to tell; hours to go")[1].split("</ul>")[0]
    links = re.findall(r'href="([^"]*)"', listed)
    assert links == [reverse("effect-detail", args=[each.pk]) for each in (young, at)]  # the closed one comes last
    assert "and its window is closed" in listed


def test_the_managers_start_page_compares_quarters(client, at, belt, mona):
    make.incident(belt, timezone.now() - dt.timedelta(minutes=5), minutes_lost=42.0)
    client.force_login(mona)
    page = page_of(client, reverse("today"))
    assert "Are we getting better?" in page
    assert "This quarter so far" in page
    assert "42 min" in page
    assert re.search(r"1</a> of 1\s*<", page)
    assert "1 comparison of 1 device; all can be judged." in page
    assert re.search(r"1 decision\s*<", page)
    assert "unit costs are missing" in page


@pytest.mark.parametrize("role", ["erin", "mona"])
def test_start_pages_of_an_empty_plant(client, request, alder, role):
    client.force_login(request.getfixturevalue(role))
    assert client.get(reverse("today")).status_code == 200


def test_the_belts_page_says_its_rate(client, at, belt, mona):
    client.force_login(mona)
    page = page_of(client, belt.get_absolute_url())
    assert re.search(r"\d\.\d \(\d\.\d-\d\.\d\) incidents per 1000 running hours in the last 12 months", page)
    assert f'id="belt-{belt.pk}"' in page


def test_a_belt_without_hours_says_so(client, belt_a1, mona):
    client.force_login(mona)
    none = "No running hours are known for the last 12 months, so there is no rate."
    assert none in page_of(client, belt_a1.get_absolute_url())
    make.incident(belt_a1, timezone.now() - dt.timedelta(days=9))
    page = page_of(client, belt_a1.get_absolute_url())
    assert f"{none} 1 incident fell in that time." in page
    assert "further incident" not in page


# --- what stands with a verdict ---------------------------------------------------------------------------------------
def test_devices_judged_as_one_are_counted_as_devices_and_as_one_comparison(client, belt, at, mona, erin):
    make.installation(belt, "21", chainage_m=130.0, installed_at=at.installed_at + DAY)
    counted = "1 comparison of 2 devices; devices fitted together are judged as one; all can be judged."
    for person, name in ((mona, "effect-list"), (mona, "today"), (erin, "today")):
        client.force_login(person)
        assert counted in page_of(client, reverse(name))


def test_a_comparison_that_could_not_have_told_is_said_so_and_kept_out_of_chance_and_of_all(client, belt, at, mona):
    """Four before: with none after the interval would still hold 1. Two after are then no sign of anything."""
    quiet = make.conveyor(at.plant, tag="S-13")
    make.run_record(quiet, timezone.now() - 900 * DAY, timezone.now(), 12.0 * 900)
    make.drift_switch(quiet, 60.0)
    other = make.installation(quiet, "22", installed_at=at.installed_at)
    for day in (-200, -150, -90, -40, 60, 120):
        make.incident(quiet, other.installed_at + day * DAY)
    client.force_login(mona)
    page = page_of(client, reverse("effect-list"))
    assert "2 comparisons of 2 devices; all can be judged. Fewer incidents: 1; too few incidents to tell: 1." in page
    rows = client.get(reverse("effect-list"), {"verdict": "too_few"}).context["table"].rows
    assert [(row.record.devices, row.record.standing) for row in rows] == [("22", None)]
    own = page_of(client, reverse("effect-detail", args=[other.pk]))
    assert "4 incidents before would have been too few to say that they became fewer." in own


def test_windows_set_by_a_person_are_marked_with_the_day_in_list_and_file(client, at, erin):
    StudyWindow.objects.create(installation=at, before_months=6, reason="rebuilt", created_by=erin)
    client.force_login(erin)
    day = timezone.localdate(timezone=at.plant.zone)
    words = f"windows set by erin on {date_format(day, 'j M Y')}"
    row = page_of(client, reverse("effect-list")).split("<tbody")[1].split("</tbody>")[0]
    assert words in row
    assert words in page_of(client, reverse("effect-detail", args=[at.pk]))
    text = b"".join(client.get(reverse("effect-list") + "?format=csv").streaming_content).decode()
    line = next(csv.DictReader(io.StringIO(text)))
    assert line["Windows set on"].startswith(str(day))
    assert line["Windows set by"] == "erin"
    data = client.get(reverse("effect-data", args=[at.pk])).content.decode()
    assert "windows set by a person,erin," in data
    assert (
        f"Windows set by erin on {day}: rebuilt" in client.get(reverse("effect-method", args=[at.pk])).content.decode()
    )


@pytest.fixture
def seized(belt):
    """Fitted 360 days ago; two bad days while its pivot was free, ten since; found seized 100 days ago."""
    at = make.installation(belt, "45", chainage_m=120.0, installed_at=timezone.now() - 360 * DAY)
    for i in range(18):
        make.incident(belt, at.installed_at - (10 + 19 * i) * DAY, chainage_m=100.0)
    for day in (60, 120, *range(190, 350, 16)):
        make.incident(belt, at.installed_at + day * DAY, chainage_m=100.0)
    for day, grade in ((90, "sound"), (170, "watch"), (260, "act")):
        when = at.installed_at + day * DAY
        make.task(at, make.check_kind("pivot-freedom"), when.date(), closed_at=when, outcome="done", grade=grade)
    return at


def test_a_pivot_that_failed_leaves_two_answers_on_page_list_file_and_dossier(client, seized, erin):
    client.force_login(erin)
    answer = client.get(reverse("effect-detail", args=[seized.pk]))
    study = answer.context["study"]
    assert (study.after.n, study.sound.after.n) == (12, 2)
    zone = seized.plant.zone
    last, found = (date_format((seized.installed_at + day * DAY).astimezone(zone), "j M Y") for day in (170, 260))
    assert study.sound.windows.after.end == seized.installed_at + 170 * DAY
    said = (
        f"The pivot was found failed on {found}: 2 in 1,872 h until it was last found sound on {last}, "
        "10 in 2,280 h since. While sound: "
    )
    page = " ".join(answer.content.decode().split())
    assert said in page
    assert "While its parts were sound: 18 incidents in" in page
    assert f"pivot freedom: act on {found}" in page.replace("Pivot", "pivot")
    row = page_of(client, reverse("effect-list")).split("<tbody")[1].split("</tbody>")[0]
    assert said in row
    assert "act on" in row
    assert said in page_of(client, seized.get_absolute_url())
    text = b"".join(client.get(reverse("effect-list") + "?format=csv").streaming_content).decode()
    line = next(csv.DictReader(io.StringIO(text)))
    assert (line["N after"], line["Sound n after"], line["Sound hours after"]) == ("12", "2", "1872.0")
    assert line["Sound verdict"]
    assert "act on" in line["At act"]


def test_the_alarm_stands_on_the_page_of_its_device_and_the_start_page_says_how_many_by_chance(client, seized, erin):
    client.force_login(erin)
    page = page_of(client, reverse("effect-detail", args=[seized.pk]))
    assert re.search(r"rate watch: alarm; \d+ bad days in [\d,]+ h since \d+ \w+ \d{4}, at first 2 in 1,5\d\d h", page)
    start = page_of(client, reverse("today"))
    assert "1 alarm of the rate watch" in start
    assert re.search(r"1 of 1 comparison under watch; by chance alone about 0\.\d would have one now\.", start)
    assert "fade" not in start


def test_each_figure_of_the_watch_is_the_number_of_rows_behind_its_link(client, alder, erin):
    """A pair judged as one and fading, one device that is steady, and one that is still learnt: 2 of 3 are watched."""
    for tag, numbers, fitted, n in (
        ("L-02", ("45", "46"), 360, 12),
        ("L-03", ("47",), 360, 0),
        ("L-04", ("48",), 30, 0),
    ):
        on_belt = belt_of(alder, tag)
        for k, number in enumerate(numbers):
            at = make.installation(
                on_belt, number, chainage_m=120.0 + 20 * k, installed_at=timezone.now() - fitted * DAY
            )
        for i in range(18):
            make.incident(on_belt, at.installed_at - (10 + 19 * i) * DAY, chainage_m=100.0)
        for day in (60, 120, *range(190, 350, 16))[:n]:
            make.incident(on_belt, at.installed_at + day * DAY, chainage_m=100.0)
    client.force_login(erin)
    for address in ("today", "effect-list"):
        page = page_of(client, reverse(address))
        told = re.search(
            r"(\d+) of (\d+) comparisons under watch \((\d+) devices; devices fitted together are judged as one\); "
            r"by chance alone about ([\d.]+) would have one now\.",
            page,
        )
        assert told, page
        alarms, watched = (re.search(f'href="([^"]+watch={each})"', page)[1] for each in ("alarm", "watched"))
        rows = {each: list(client.get(each).context["table"].rows) for each in (alarms, watched)}
        devices = [one for row in rows[watched] for one in row.record.study.members]
        chances = [row.record.chance for row in rows[watched]]
        assert told.groups() == (
            str(len(rows[alarms])), str(len(rows[watched])), str(len(devices)), f"{sum(chances):.1f}"
        )  # fmt: skip
    assert (len(rows[alarms]), len(rows[watched]), len(devices)) == (1, 2, 3)
    text = b"".join(client.get(f"{watched}&format=csv").streaming_content).decode()
    in_file = [float(line["Chance of alarm"]) for line in csv.DictReader(io.StringIO(text))]
    assert in_file == pytest.approx(chances, abs=1e-4)


def test_a_part_that_failed_before_anybody_looked_has_no_answer_while_sound(client, seized, erin):
    seized.tasks.exclude(grade="act").delete()
    client.force_login(erin)
    page = page_of(client, reverse("effect-detail", args=[seized.pk]))
    assert "; what came while it was sound cannot be told apart." in page
    assert "While its parts were sound:" not in page


def test_a_limit_near_one_shows_on_which_side_it_lies():
    assert [beside_one(each) for each in (0.93, 0.9973, 1.0, 1.0004, 0.994999)] == [
        "0.93",
        "0.997",
        "1.00",
        "1.0004",
        "0.99",
    ]


def test_the_limit_that_decides_stands_with_the_verdict(client, belt, at, mona):
    """Ten further belts without a device tell what would have happened anyway."""
    for n in range(12):
        other = make.conveyor(at.plant, tag=f"R-{n}", length_m=50.0)
        make.run_record(other, timezone.now() - 900 * DAY, timezone.now(), 12.0 * 900)
        make.drift_switch(other, 25.0)
        for i in range(6 + n % 4):
            for start in (-290, 60):
                make.incident(other, at.installed_at + (start + 31 * i + n) * DAY, chainage_m=20.0)
    client.force_login(mona)
    answer = client.get(reverse("effect-detail", args=[at.pk]))
    study = answer.context["study"]
    limit = study.answers.shrunk.high_one_sided
    assert study.verdict == "fewer"
    assert study.answers.shrunk.low < limit < study.answers.shrunk.high
    words = f"at most {limit:.2f} (one-sided 95 %), trend and choice of the worst places allowed for"
    page = " ".join(answer.content.decode().split())
    assert f"Fewer incidents: {words}." in page
    assert (
        f"one-sided 95 %, which decides: at least {study.answers.shrunk.low_one_sided:.2f}, at most {limit:.2f}" in page
    )
    assert words in page_of(client, reverse("effect-list")).split("<tbody")[1].split("</tbody>")[0]
    text = b"".join(client.get(reverse("effect-list") + "?format=csv").streaming_content).decode()
    assert float(next(csv.DictReader(io.StringIO(text)))["Limit high"]) == pytest.approx(limit, abs=1e-4)
    assert page.count("at most 5 %") == 1  # the promise is made once
    listed = page_of(client, reverse("effect-list"))
    assert "with a likelihood of up to 5 % for the 1 comparison whose counts could have told one." in listed
