"""The page of lives: how long parts last by model and duty, what spares they will need, when a change in time pays."""

from __future__ import annotations

import csv
import io
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from plant.calc.import_rows import guarded
from plant.permissions import PlantRequest, right
from reports.calc.life import AgeReplacement, age_replacement
from reports.charts.life import life_plot
from reports.forms.life import LifeForm
from reports.selectors.part_lives import ROLLERS, LifeGroup, life_groups
from reports.words.part_lives import how_words, lives_words, total_words, why_words


def advice_of(group: LifeGroup, asked: dict[str, Any]) -> AgeReplacement | str:
    """When to change by age, or why nothing is said."""
    fit = group.fit
    if fit.shape is None or fit.scale_h is None:
        return _("too few failures to tell")
    if not fit.wears_out:
        return _("wear-out is not shown: nothing speaks for changing by age")
    if not asked.get("cost_planned") or not asked.get("cost_failure"):
        return _("give both costs above")
    return age_replacement(fit.shape, fit.scale_h, asked["cost_planned"], asked["cost_failure"])


@right("reports.view_studywindow")
def life(request: PlantRequest) -> HttpResponse:
    form = LifeForm({"part": ROLLERS, **request.GET.dict()} if request.GET else None, person=request.user)
    asked = form.cleaned_data if form.is_bound and form.is_valid() else {}
    part = asked.get("part") or ROLLERS
    groups = life_groups(request.plant, part, timezone.now())
    if request.GET.get("format") == "csv":
        return as_csv(groups)
    return render(
        request,
        "reports/life.html",
        {
            "title": _("How long parts last"),
            "form": form,
            "part": part,
            "groups": [(each, advice_of(each, asked), life_plot(each.fit)) for each in groups],
            "lives_words": lives_words(
                n=sum(len(each.lives) for each in groups),
                failed=sum(each.is_failure for group in groups for each in group.lives),
            ),
            "n_unknown": sum(each.n_unknown for each in groups),
            "left_out": [(group, each) for group in groups for each in group.left_out],
            "spares_words": spares_words(groups),
        },
        status=422 if form.errors else 200,
    )


def spares_words(groups: list[LifeGroup]) -> str:
    """Spares of all groups whose number is known, and how many groups it is not known of."""
    known = [each.spares.expected for each in groups if each.spares.expected is not None]
    n_unknown = len(groups) - len(known)
    parts = []
    if known:
        parts.append(total_words(sum(known)))
        told = [each.spares for each in groups if each.spares.expected is not None]
        n_left_out = sum(each.n_unknown_speed for each in told)
        if n_left_out:
            left_out = ngettext(
                "That is without %(n)s of the %(all)s part in service: its running hours, or its belt's of late, are "
                "not known.",
                "That is without %(n)s of the %(all)s parts in service: their running hours, or their belts' of late, "
                "are not known.",
                sum(each.n_in_service for each in told),
            )
            parts.append(left_out % {"n": n_left_out, "all": sum(each.n_in_service for each in told)})
    if n_unknown:
        unknown = ngettext(
            "For %(n)s of %(all)s group it is not known.", "For %(n)s of %(all)s groups it is not known.", len(groups)
        )
        parts.append(unknown % {"n": n_unknown, "all": len(groups)})
    return " ".join(parts)


def as_csv(groups: list[LifeGroup]) -> HttpResponse:
    """Every life as a row, for a colleague who checks the fit in a tool of their own."""
    buffer = io.StringIO()
    writer = csv.writer(buffer)
    head = ["model", "duty", "belt", "device", "part", "side", "began", "ended", "hours", "failed", "how", "left out"]
    writer.writerow(head)
    for group in groups:
        why = {id(each.life): why_words(each) for each in group.left_out}
        for each in group.lives:
            at = each.installation
            row: list[Any] = [group.model, group.duty, at.conveyor.tag, at.device.number, each.part, each.side]
            row += [each.began_at.isoformat(), each.ended_at.isoformat()]
            row += [round(each.hours, 1) if each.hours is not None else "", "yes" if each.is_failure else "no"]
            row += [how_words(each), why.get(id(each), "")]
            writer.writerow([guarded(cell) if isinstance(cell, str) else cell for cell in row])
    answer = HttpResponse(buffer.getvalue(), content_type="text/csv")
    answer["Content-Disposition"] = 'attachment; filename="lives.csv"'
    return answer
