"""Files that leave the site: text that a spreadsheet would take for a formula is harmless in every one of them."""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
from pathlib import Path

import pytest
from django.urls import get_resolver, reverse
from openpyxl import load_workbook

from inspections.models import Action
from installs.models import PartChange
from plant.views.lists import RegisterList
from reports.services.months import draft_month, publish_month
from tests import make

ROOT = Path(__file__).resolve().parents[1]
BAD = '=HYPERLINK("http://example.invalid","x")'
MARKS = ("=", "+", "-", "@", "\t", "\r")
SIGNED_NUMBER = re.compile(r"[+-]\d+([.,]\d+)?")


def is_harmful(text):
    return isinstance(text, str) and text.startswith(MARKS) and len(text) > 1 and not SIGNED_NUMBER.fullmatch(text)


@pytest.fixture
def report(alder, erin, pat, time_machine):
    """A plant in which every text that people type begins like a formula."""
    time_machine.move_to(dt.datetime(2026, 11, 2, 9, tzinfo=dt.UTC), tick=False)
    belt = make.conveyor(alder, tag="=S-1", name=BAD)
    belt.area.name, belt.area.code = BAD, "=A"
    belt.area.save()
    for n in range(3):
        make.incident(belt, dt.datetime(2026, 10, 5 + n, tzinfo=dt.UTC), note=BAD, consequence=BAD, minutes_lost=5)
    make.run_record(belt, dt.datetime(2026, 9, 1, tzinfo=dt.UTC), dt.datetime(2026, 11, 1, tzinfo=dt.UTC), 900.0)
    standing = make.installation(belt, "@20")
    make.task(standing, make.check_kind(), dt.date(2026, 10, 5))
    Action.objects.create(plant=alder, installation=standing, title=BAD, owner=pat, due_on=dt.date(2026, 10, 1))
    PartChange.objects.create(
        installation=standing,
        part=PartChange.Part.PIVOT,
        changed_at=dt.datetime(2026, 9, 9, tzinfo=dt.UTC),
        why=PartChange.Why.WORN,
        note=BAD,
    )
    draft = draft_month(plant=alder, month=dt.date(2026, 10, 1), by=erin)
    return publish_month(draft, by=erin, version=draft.version)


def lists():
    """Addresses of every list without a row in its address."""
    for pattern in get_resolver().url_patterns:
        for each in getattr(pattern, "url_patterns", [pattern]):
            view = getattr(each.callback, "view_class", None)
            # A view with a get of its own shows nothing there: it takes a file and goes on to the list.
            is_shown = view and issubclass(view, RegisterList) and view.get is RegisterList.get
            if is_shown and "<" not in str(each.pattern):
                yield f"/{each.pattern}"


def rows_of(answer):
    content = b"".join(answer) if answer.streaming else answer.content
    if "csv" in answer["Content-Type"]:
        return list(csv.reader(io.StringIO(content.decode().lstrip("\ufeff"))))
    book = load_workbook(io.BytesIO(content))
    assert not [cell for sheet in book for line in sheet.iter_rows() for cell in line if cell.data_type == "f"]
    return [[cell.value for cell in line] for sheet in book for line in sheet.iter_rows()]


def test_no_file_holds_a_formula(client, report, erin, pat):
    files = [f"{url}?format={kind}" for url in lists() for kind in ("csv", "xlsx")]
    standing = report.plant.installations.get()
    files += [f"{reverse('life')}?format=csv", reverse("month-xlsx", args=[report.pk])]
    files.append(reverse("effect-data", args=[standing.pk]))
    assert len(files) > 20
    guarded = set()
    for person in (erin, pat):
        client.force_login(person)
        for url in files:
            answer = client.get(url)
            if answer.status_code == 403:
                continue
            assert answer.status_code == 200, url
            cells = [cell for row in rows_of(answer) for cell in row]
            assert [cell for cell in cells if is_harmful(cell)] == [], url
            if any(str(cell).startswith(("'=", "'@")) for cell in cells):
                guarded.add(url)
    assert len(guarded) >= 10  # most of them do show what people typed


def test_whoever_writes_a_file_guards_its_cells():
    """A module that writes CSV or a workbook names the guard; a blank import file holds words of the product only."""
    writers = [
        path
        for app in ("plant", "installs", "inspections", "reports", "deploy")
        for path in (ROOT / app).rglob("*.py")
        if re.search(r"csv\.writer\(|Workbook\(", path.read_text())
    ]
    assert writers
    bare = [path.relative_to(ROOT).as_posix() for path in writers if "guarded(" not in path.read_text()]
    assert bare == ["plant/views/imports.py"]
