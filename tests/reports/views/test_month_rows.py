"""Every figure of a month down to the rows that it was made of, and what became of those since."""

from __future__ import annotations

import datetime as dt
import io
import re
import statistics
from urllib.parse import urljoin

import pytest
from django.urls import reverse
from openpyxl import load_workbook

from inspections.models import Action
from installs.models import OutOfService
from plant.models import Incident
from plant.services.incidents import correct_incident, withdraw_incident
from reports.models import MonthlyReport
from reports.services.months import draft_month, publish_month
from reports.words.month_rows import since_words
from tests import make

OCTOBER = dt.date(2026, 10, 1)


def at(month, day, hour=12, year=2026):
    return dt.datetime(year, month, day, hour, tzinfo=dt.UTC)


@pytest.fixture
def plant(alder, belt_a1, tess, time_machine):
    """Two belts with gaps in their hours, incidents of three months and of last year, checks, actions, a device."""
    time_machine.move_to(at(11, 2, 9), tick=False)
    belt_b = make.conveyor(alder, tag="=B+2")  # a tag that a spreadsheet would take for a formula
    for belt in (belt_a1, belt_b):
        make.run_record(belt, at(9, 1, 0, 2025), at(10, 20, 0), 6000.0)  # nothing is known from the 20th on
    for day, values in (
        (2, {"minutes_lost": 30, "severity": "trip"}),
        (3, {"severity": "trip"}),
        (4, {"severity": "spill", "spilled_t": 1.5, "minutes_lost": 12.5}),
        (5, {"severity": "spill"}),
        (25, {"minutes_lost": 7, "severity": "trip"}),
    ):
        make.incident(belt_a1, at(10, day), **values)
    make.incident(belt_b, at(10, 6))
    make.incident(belt_a1, at(9, 6), minutes_lost=11)
    for day in (1, 2, 3):
        make.incident(belt_a1, at(10, day, 12, 2025), minutes_lost=5 * day)
    standing = make.installation(belt_a1, "20", installed_at=at(1, 5))
    OutOfService.objects.create(installation=standing, begins_at=at(10, 21, 0), ends_at=at(10, 24, 0), reason="guard")
    for kind, values in (
        ("sensor-wear", {"closed_at": at(10, 6), "outcome": "done", "grade": "sound"}),
        ("pivot-freedom", {}),
    ):
        dates = {"opens_on": dt.date(2026, 10, 1), "closes_on": dt.date(2026, 10, 10)}
        make.task(standing, make.check_kind(kind), dt.date(2026, 10, 5), **dates, **values)
    for title, raised, done in (
        ("Grease", at(10, 1), at(10, 9)),
        ("Align", at(10, 2), at(10, 4)),
        ("Seal", at(9, 9), None),
    ):
        Action.objects.create(
            plant=alder, installation=standing, title=title, owner=tess, due_on=OCTOBER, created_at=raised, done_at=done
        )
    alder.cost_of_stop_hour, alder.cost_of_spilled_tonne, alder.currency = 600.0, 40.0, "EUR"
    alder.save()
    return alder


@pytest.fixture
def report(plant, erin):
    draft = draft_month(plant=plant, month=OCTOBER, by=erin)
    return publish_month(draft, by=erin, version=draft.version)


def column(page, head):
    """Cells of a column of the page's table, as stored."""
    place = page.heads.index(head)
    return [cells[place] for _url, cells, _since in page.rows]


def total(page, head):
    return sum(each or 0.0 for each in column(page, head))


def computed(key, page):
    """The figure made anew from its rows, by its own definition."""
    if key == "incidents":
        return column(page, "in the rate").count("yes")
    if key == "stop_minutes":
        return total(page, "minutes lost")
    if key == "spilled":
        return total(page, "spilled [t]")
    if key == "schedule_compliance":
        kept = column(page, "in its window")
        return kept.count("yes") / len(kept) if kept else None
    if key == "overdue":
        return float(len(page.rows))
    if key == "days_to_close":
        took = [each for each in column(page, "days to close") if each is not None]
        return statistics.median(took) if took else None
    if key == "availability":
        known = total(page, "days in place") - total(page, "days not known")
        return 1 - total(page, "days lost") / known if known else None
    return total(page, "cost")


def test_a_row_without_a_time_of_day_shows_its_day_and_counts_all_the_same(client, plant, belt_a1, erin, mona):
    make.incident(belt_a1, at(10, 7, 22), time_is_known=False, minutes_lost=9.0)  # 00:00 of the 8th in Berlin
    make.incident(belt_a1, at(10, 31, 23), time_is_known=False)  # 00:00 of 1 November
    draft = draft_month(plant=plant, month=OCTOBER, by=erin)
    report = publish_month(draft, by=erin, version=draft.version)
    client.force_login(mona)
    page = client.get(reverse("month-rows", args=[report.pk, "incidents"])).context["page"]
    whens = [cells[0] for _url, cells, _since in page.rows]
    assert "2026-10-08" in whens
    assert not any("11-01" in each for each in whens)
    assert sum("T" in each for each in whens) == len(whens) - 1


def test_each_figure_of_each_month_is_what_its_rows_make(client, report, mona):
    client.force_login(mona)
    shown = client.get(report.get_absolute_url())
    hrefs = {re.sub("&amp;", "&", each) for each in re.findall(r'href="([^"]+)"', shown.content.decode())}
    n_compared = 0
    for figure in report.content["figures"]:
        for suffix, value_name, note_name in (
            ("", "value", "note"),
            ("-before", "before_value", "before_note"),
            ("-year-ago", "year_ago_value", "year_ago_note"),
        ):
            url = reverse("month-rows", args=[report.pk, f"{figure['key']}{suffix}"])
            assert url in hrefs, f"{figure['key']}{suffix} has no link"
            page = client.get(url).context["page"]
            expected = figure[value_name]
            if figure["key"] == "incidents":
                expected = int(figure[note_name].split(" in ")[0])
            found = computed(figure["key"], page)
            assert found == (expected if expected is None else pytest.approx(expected, abs=2e-3)), url
            n_compared += expected not in (None, 0)
    assert n_compared >= 13  # the plant above fills most of them


def test_every_link_of_the_month_opens_and_counts_are_those_of_their_rows(client, report, mona):
    client.force_login(mona)
    address = report.get_absolute_url()
    text = client.get(address).content.decode()
    counted = 0
    for href, words in re.findall(r'<a [^>]*href="([^"]+)"[^>]*>([^<]*)</a>', text):
        url = urljoin(address, href.replace("&amp;", "&"))
        if not url.startswith("/") or "sign-out" in url:
            continue
        answer = client.get(url)
        assert answer.status_code == 200, url
        if "/rows/" in url and words.strip().isdecimal() and "overdue" not in url:
            page = answer.context["page"]
            counted += 1
            n = column(page, "in the rate").count("yes") if "in the rate" in page.heads else len(page.rows)
            assert n == int(words), url
    assert counted >= 8


def test_bars_of_the_drawing_open_the_incidents_of_their_month(client, report, mona):
    client.force_login(mona)
    bars = client.get(report.get_absolute_url()).context["drawing"].bars
    for bar, month in zip(bars, report.content["trend"], strict=True):
        page = client.get(reverse("month-rows", args=[report.pk, "trend"]), {"month": bar.month}).context["page"]
        assert column(page, "in the rate").count("yes") == month["n"]
    assert sum(each["n"] for each in report.content["trend"]) == 9


def test_incidents_out_of_the_rate_are_rows_all_the_same_and_say_why(client, report, mona):
    client.force_login(mona)
    page = client.get(reverse("month-rows", args=[report.pk, "incidents"])).context["page"]
    assert (len(page.rows), column(page, "in the rate").count("no: hours not known")) == (6, 1)
    note = next(each["note"] for each in report.content["figures"] if each["key"] == "incidents")
    assert note.startswith("5 in ")
    assert note.endswith("1 more are not in the rate")


# --- since publication ------------------------------------------------------------------------------------------------
def rows_page(client, report, key="incidents"):
    return client.get(reverse("month-rows", args=[report.pk, key]))


def test_costs_that_nobody_gave_come_to_no_sum(client, plant, erin, mona):
    plant.cost_of_stop_hour = plant.cost_of_spilled_tonne = None
    plant.save()
    draft = draft_month(plant=plant, month=OCTOBER, by=erin)
    client.force_login(mona)
    answer = client.get(reverse("month-rows", args=[draft.pk, "cost"]))
    page = answer.context["page"]
    assert column(page, "cost") == [None, None]
    assert not page.sums
    assert "Together" not in answer.text
    assert "not stated: nobody gave the cost of an hour that a belt stands, a spilled tonne" in answer.text


def test_a_column_of_which_no_row_knows_anything_has_no_sum(client, report, mona):
    """Nobody knows the usual tonnage of these belts: what was not conveyed is not known, and not 0 t."""
    client.force_login(mona)
    page = rows_page(client, report, "stop_minutes").context["page"]
    sums = dict(zip(page.heads, page.sums, strict=True))
    assert column(page, "not conveyed [t]") == [None] * len(page.rows)
    assert (sums["not conveyed [t]"], sums["minutes lost"]) == (None, 49.5)


def test_the_sum_of_a_column_is_rounded_and_not_cut_off(client, plant, belt_a1, erin, mona):
    """In binary fractions 0.7 + 0.1 falls short of 0.8."""
    for day, tonnes in ((8, 0.7), (9, 0.1)):
        make.incident(belt_a1, at(9, day), severity="spill", spilled_t=tonnes)
    draft = draft_month(plant=plant, month=dt.date(2026, 9, 1), by=erin)
    client.force_login(mona)
    answer = rows_page(client, draft, "spilled")
    foot = answer.content.decode().split("<tfoot>")[1].split("</tfoot>")[0]
    assert "<b>0.8</b>" in foot


def test_nothing_happened_since(client, report, mona):
    client.force_login(mona)
    for key in report.rows:
        answer = rows_page(client, report, key)
        assert (answer.context["page"].n_changed, answer.context["page"].fresh) == (0, []), key
        assert "Every row reads the same today." in answer.content.decode()


def test_a_corrected_row_stays_as_it_was_and_is_marked_with_a_link_to_the_one_that_counts(client, report, erin, mona):
    first = Incident.objects.get(happened_at=at(10, 2))
    again = correct_incident(row=first, by=erin, reason="was the scale", minutes_lost=40)
    latest = correct_incident(row=again, by=erin, reason="no, longer", minutes_lost=90)
    client.force_login(mona)
    answer = rows_page(client, report)
    text = answer.content.decode()
    _url, cells, since = answer.context["page"].rows[0]
    assert cells[5] == 30
    assert since_words(since, answer.context["page"]) == "corrected since: minutes lost now 90"
    assert since.url == latest.get_absolute_url()
    assert f'href="{first.get_absolute_url()}"' in text
    assert "1 row reads otherwise today and is marked." in text
    assert answer.context["page"].n_changed == 1


def test_withdrawn_rows_and_rows_that_came_later_are_told(client, report, erin, mona, belt_a1):
    withdrawn = withdraw_incident(
        row=Incident.objects.get(happened_at=at(10, 3)), by=erin, reason="a test of the switch"
    )
    late = make.incident(belt_a1, at(10, 8))
    moved = correct_incident(
        row=Incident.objects.get(happened_at=at(10, 4)), by=erin, reason="wrong month", happened_at=at(9, 4)
    )
    client.force_login(mona)
    page = rows_page(client, report).context["page"]
    told = {since_words(since, page): since.url for _url, _cells, since in page.rows if not since.is_as_kept}
    assert told == {
        "withdrawn since": withdrawn.get_absolute_url(),
        "corrected since; no longer a row of this figure": moved.get_absolute_url(),
    }
    assert [url for url, _cells in page.fresh] == [late.get_absolute_url()]
    assert "no figure of this edition counts it" in rows_page(client, report).content.decode()


def test_a_new_edition_holds_the_new_rows_and_the_old_one_its_own(client, report, erin, mona):
    correct_incident(row=Incident.objects.get(happened_at=at(10, 2)), by=erin, reason="scale", minutes_lost=90)
    draft = draft_month(plant=report.plant, month=OCTOBER, by=erin, reason="minutes corrected")
    second = publish_month(draft, by=erin, version=draft.version)
    client.force_login(mona)
    old, new = rows_page(client, report).context["page"], rows_page(client, second).context["page"]
    assert (total(old, "minutes lost"), total(new, "minutes lost")) == (49.5, 109.5)
    assert (old.n_changed, new.n_changed) == (1, 0)
    assert "Minutes lost: was 50 min, now 110 min" in client.get(second.get_absolute_url()).content.decode()


def test_an_edition_of_an_earlier_version_without_kinds_opens_as_text(client, report, mona):
    bare = {
        key: {name: table[name] for name in ("heads", "rows", "links")}
        for key, table in report.rows.items()
        if key in ("incidents", "overdue", "cost")
    }
    MonthlyReport.objects.filter(pk=report.pk).update(rows=bare)
    client.force_login(mona)
    assert client.get(report.get_absolute_url()).status_code == 200
    assert rows_page(client, report).status_code == 200
    assert client.get(reverse("month-xlsx", args=[report.pk])).status_code == 200


# --- spreadsheet ------------------------------------------------------------------------------------------------------
def test_the_spreadsheet_has_typed_rows_definitions_and_no_formula(client, report, mona):
    client.force_login(mona)
    book = load_workbook(io.BytesIO(client.get(reverse("month-xlsx", args=[report.pk])).content))
    assert book.sheetnames[:3] == ["about", "figures", "definitions"]
    assert set(book.sheetnames[3:]) == {each["key"] for each in report.content["figures"]} | {
        "trend",
        "belts",
        "verdicts",
    }
    sheet = book["incidents"]
    heads = [cell.value for cell in sheet[1]]
    assert heads[:3] == ["of", "when [Europe/Berlin]", "belt"]
    first = [cell.value for cell in sheet[2]]
    assert (first[0], first[1].isoformat()) == ("this month", "2026-10-02T14:00:00")  # 12:00 UTC, in summer time
    assert first[heads.index("minutes lost")] == 30
    assert isinstance(first[heads.index("minutes lost")], int | float)
    assert sheet["B2"].number_format == "yyyy-mm-dd hh:mm"
    assert {row[0].value for row in sheet.iter_rows(min_row=2)} == {"this month", "month before", "a year ago"}
    done = [cell.value for cell in book["schedule_compliance"]["G"]]
    assert done[1].date() == dt.date(2026, 10, 6)
    definitions = {row[0].value: row[2].value for row in book["definitions"].iter_rows(min_row=2)}
    assert all(definitions[each["name"]] == each["definition"] for each in report.content["figures"])
    values = {row[0].value: row[2].value for row in book["figures"].iter_rows(min_row=2)}
    assert values["Minutes lost"] == 49.5
    every = [cell for sheet in book for row in sheet.iter_rows() for cell in row]
    assert "f" not in {cell.data_type for cell in every}
    tags = {cell.value for cell in book["belts"]["A"]}
    assert "'=B+2" in tags  # as text, and harmless when the sheet is saved as CSV
