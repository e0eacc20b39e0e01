"""The page on which any two periods of a device, a belt, an area or the plant are compared."""

from __future__ import annotations

import csv
import datetime as dt
import io
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _

from plant.calc.import_rows import guarded
from plant.files.tables import plain
from plant.permissions import PlantRequest, right
from reports.files.studies import exact, limits, rounded
from reports.forms.periods import PeriodsForm
from reports.panels import reference_on
from reports.selectors.months import code_version
from reports.selectors.periods import PeriodComparison, compare_periods, scope_of
from reports.words.belts import happened_words
from reports.words.periods import answer_words, scope_words, season_words

FIELDS = ("first_from", "first_until", "second_from", "second_until")


@right("reports.view_studywindow")
def period_comparison(request: PlantRequest) -> HttpResponse:
    """Two periods and what they say; as CSV with `format=csv`."""
    is_asked = any(request.GET.get(name) for name in FIELDS)
    known: dict[str, Any] = {"person": request.user, "plant": request.plant}
    form = PeriodsForm(request.GET, **known) if is_asked else PeriodsForm(initial=start_values(request), **known)
    found = None
    if is_asked and form.is_valid():
        scope = scope_of(request.plant, form.cleaned_data["of"])
        if scope is None or not scope.belts:
            form.add_error("of", _("There is no belt in it. Choose another area, belt or device."))
        else:
            reference = reference_on(request, request.plant).value
            found = compare_periods(scope, *form.windows(), timezone.now(), reference)
            if request.GET.get("format") == "csv":
                answer = HttpResponse(period_file(found, request.plant.zone), content_type="text/csv")
                answer["Content-Disposition"] = 'attachment; filename="two-periods.csv"'
                return answer
    query = request.GET.copy()
    query["format"] = "csv"
    context = {"title": _("Compare two periods"), "form": form, "found": found, "csv_query": query.urlencode()}
    return render(request, "reports/period_comparison.html", context, status=422 if form.errors else 200)


def start_values(request: PlantRequest) -> dict[str, Any]:
    """The last three months against the same days a year before, of what the page was asked for."""
    today = timezone.localdate(timezone=request.plant.zone)
    end = today - dt.timedelta(days=1)
    start = end - dt.timedelta(days=90)
    year = dt.timedelta(days=365)
    values: dict[str, Any] = {"of": request.GET.get("of", "plant"), "second_from": start, "second_until": end}
    return values | {"first_from": start - year, "first_until": end - year}


HEAD = ("part", "item", "from", "until", "incidents", "running_h", "coverage", "value", "ratio", "low", "high", "words")


def period_rows(found: PeriodComparison) -> list[dict[str, Any]]:
    """One line for each period, belt, answer, warning and happening."""
    rows: list[dict[str, Any]] = [{"part": "of", "item": scope_words(found.scope)}]
    for name, side in (("first", found.first), ("second", found.second)):
        left = f"left out: {side.n_unknown_hours} at unknown hours, {side.n_without_place} without a place"
        if side.n_without_time:
            left += f", {side.n_without_time} on a day that the period cuts, at no known time"
        rows.append(
            {
                "part": "period",
                "item": name,
                "from": side.window.start,
                "until": side.window.end,
                "incidents": side.n,
                "running_h": exact(side.hours),
                "coverage": rounded(side.coverage),
                "words": left,
            }
        )
    ratio = found.ratio
    told = answer_words(found)
    rows.append({"part": "answer", "item": "exact", **limits(ratio.ratio, ratio.low, ratio.high), "words": told})
    if found.widened is not None:
        low, high = found.widened.low, found.widened.high
        rows.append({"part": "answer", "item": "widened for bad spells", **limits(ratio.ratio, low, high)})
    if found.compared is not None:
        one = found.compared
        rows.append({"part": "answer", "item": "against untreated stretches", **limits(one.ratio, one.low, one.high)})
    rows.append({"part": "check", "item": "p central", "value": rounded(ratio.p_central)})
    rows.append({"part": "check", "item": "dispersion", "value": exact(found.spells.widening)})
    rows.append({"part": "check", "item": "days in like months", "value": rounded(found.seasons.alike)})
    if seasons := season_words(found):
        rows.append({"part": "warning", "words": seasons})
    if len(found.lines) > 1:
        for line in found.lines:
            for name, side in (("first", line.first), ("second", line.second)):
                item = f"{line.conveyor.tag}, {name}"
                hours = {"running_h": exact(side.hours), "coverage": rounded(side.coverage)}
                rows.append({"part": "belt", "item": item, "incidents": side.n, **hours})
    rows += [
        {"part": "meanwhile", "item": each.where, "from": each.at, "words": happened_words(each.what)}
        for each in found.happenings
    ]
    rows.append({"part": "code", "item": code_version()})
    return rows


def period_file(found: PeriodComparison, zone: dt.tzinfo) -> str:
    """CSV of the comparison."""
    buffer = io.StringIO()
    writer = csv.writer(buffer)
    writer.writerow(HEAD)
    for row in period_rows(found):
        cells = (plain(row.get(name), zone) for name in HEAD)
        writer.writerow([guarded(each) if isinstance(each, str) else each for each in cells])
    return buffer.getvalue()
