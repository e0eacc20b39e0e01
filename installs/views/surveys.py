"""Pages of surveys: list, opening, the walk with its measures, what it comes to, closing and reopening."""

from __future__ import annotations

import hashlib
import uuid
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import NoReverseMatch, reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from installs.calc.survey_lines import line_kept, missing_of
from installs.charts.belt_offsets import offset_charts
from installs.forms.surveys import SurveyCloseForm, SurveyForm, SurveyOpenForm, SurveyReopenForm
from installs.models import DeviceModel, Survey
from installs.selectors.belt_offsets import occasions_of, permitted_on
from installs.services import surveys as services
from installs.tables.surveys import MARKS, SurveyFilter, SurveyTable
from installs.words.belt_offsets import offset_words
from installs.words.fittings import job_words
from installs.words.surveys import ShownSurveyLine, shown_lines
from plant.calc.addresses import number_in
from plant.calc.units import UnitSystem
from plant.errors import Refused
from plant.models import Conveyor, Photo, Strand
from plant.permissions import PlantRequest, get_visible, right
from plant.services.photos import keep_photo
from plant.views.asked import row_asked
from plant.views.lists import RegisterList
from plant.views.records import RecordChange, RecordPage

LINE_MARKS = {"met": ("sound", gettext_lazy("met")), "condition": ("watch", gettext_lazy("condition")),
              "not_met": ("act", gettext_lazy("not met"))}  # fmt: skip


class SurveyList(RegisterList):
    right = "installs.view_survey"
    title = gettext_lazy("Surveys")
    lede = gettext_lazy("The check of a place before a device is fitted: it fits, with conditions, or not, and why.")
    empty_words = gettext_lazy("No place was surveyed yet. Open the first survey before a device is planned.")
    template_name = "installs/register_list.html"
    table_class = SurveyTable
    filter_class = SurveyFilter
    create_url_name, create_right = "survey-create", "installs.add_survey"
    create_label = gettext_lazy("Open a survey")

    def rows(self) -> Any:
        return Survey.objects.of_plant(self.request.plant).with_place()


class SurveyCreate(RecordPage):
    right = "installs.add_survey"
    template_name = "installs/survey_open.html"
    form_class = SurveyOpenForm
    title = gettext_lazy("Open a survey")
    button = gettext_lazy("Open the survey")

    def asked(self, name: str, rows: Any) -> Any:
        return row_asked(self.request.GET, name, rows.of_plant(self.request.plant))

    def initial(self) -> dict[str, Any]:
        asked = self.request.GET
        found: dict[str, Any] = {
            "conveyor": self.asked("conveyor", Conveyor.objects),
            "device_model": self.asked("model", DeviceModel.objects),
        }
        known = {name: row.pk for name, row in found.items() if row}
        if asked.get("strand") in Strand.values:
            known["strand"] = asked["strand"]
        chainage_m = number_in(asked.get("chainage"))
        return known if chainage_m is None else {**known, "chainage_m": chainage_m}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(
            conveyor=self.asked("conveyor", Conveyor.objects),
            lede=_("Name the place. The walk and the measures come next and can be saved again and again."),
            **kwargs,
        )

    def cancel_url(self) -> str:
        return reverse("survey-list")

    def act(self, form: SurveyOpenForm) -> Survey:
        return services.open_survey(by=self.request.user, client_key=form.cleaned_data["client_key"], **form.values())

    def next_url(self, row: Survey) -> str:
        return reverse("survey-update", args=[row.pk]) if row.closed_at is None else row.get_absolute_url()


class SurveyChange(RecordChange):
    right = "installs.change_survey"
    template_name = "installs/survey_form.html"
    form_class = SurveyForm
    queryset = Survey.objects.with_place()
    button = gettext_lazy("Save the survey")
    done_words = gettext_lazy("Saved. The survey stays open.")

    def get_title(self) -> str:
        return _("Survey of %(tag)s") % {"tag": self.row.conveyor.tag}

    def form_kwargs(self) -> dict[str, Any]:
        return {**super().form_kwargs(), "stations": station_rows(self.row, self.request.user)}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(survey=self.row, photos=self.row.photos.all(), **kwargs)

    def act(self, form: SurveyForm) -> Survey:
        photos = keep_photos(form, self.row, self.request.user)
        return services.change_survey(
            self.row,
            by=self.request.user,
            version=form.cleaned_data["version"],
            offsets=form.offsets(),
            causes=form.causes(),
            photos=photos,
            **form.values(),
        )


def station_rows(survey: Survey, person: Any) -> list[dict[str, Any]]:
    """Stations to measure at, with what was read there."""
    wanted = services.stations_to_measure(survey, system=UnitSystem(person.unit_system))
    known: dict[float, dict[str, Any]] = {at: {"at": at} for at in wanted}
    for row in services.current_offsets(survey):
        known[row.chainage_m]["loaded" if row.is_loaded else "empty"] = row.offset_mm
    return list(known.values())


def keep_photos(form: SurveyForm, survey: Survey, by: Any) -> list[Photo]:
    """Keep the pictures; the same picture sent twice to a survey is one."""
    kept = []
    for file in [*(form.cleaned_data.get("camera") or []), *(form.cleaned_data.get("new_photos") or [])]:
        key = uuid.uuid5(survey.client_key, hashlib.sha256(file.read()).hexdigest())
        file.seek(0)
        try:
            kept.append(keep_photo(plant=survey.plant, file=file, by=by, client_key=key))
        except Refused as refusal:
            raise Refused(refusal.message, code=refusal.code, fields={"new_photos": refusal.message}) from refusal
    return kept


@right("installs.view_survey")
def survey_detail(request: PlantRequest, pk: int) -> HttpResponse:
    """What the survey comes to, each line with the rule that says so."""
    survey = get_visible(request, Survey.objects.with_place(), "installs.view_survey", pk=pk)
    found = services.judged(survey) if survey.closed_at is None else None
    lines = found.lines if found else tuple(line_kept(each) for each in survey.reasons)
    system = UnitSystem(request.user.unit_system)
    occasions = occasions_of(services.current_offsets(survey))
    result = survey.result or (found.result.value if found else "")
    return render(
        request,
        "installs/survey_detail.html",
        {
            "title": _("Survey of %(place)s") % {"place": job_words(survey, system)},
            "row": survey,
            "result": result,
            "result_words": Survey.Result(result).label if result else "",
            "result_mark": MARKS[Survey.Result(result)] if result else "",
            "missing": missing_of(found.lines) if found else (),
            "groups": line_groups(shown_lines(lines, system)),
            "stations": station_lines(survey, system),
            "charts": offset_charts(occasions, permitted_on(survey.conveyor), system),
            "photos": survey.photos.all(),
            "fittings": survey.fittings.all(),
            "plan_url": plan_url(survey),
        },
    )


def line_groups(shown: list[ShownSurveyLine]) -> list[dict[str, Any]]:
    """Lines by how they stand, the worst first."""
    groups = []
    for verdict in ("not_met", "condition", "met"):
        mark, words = LINE_MARKS[verdict]
        lines = [each for each in shown if each.verdict == verdict]
        if lines:
            groups.append({"verdict": verdict, "mark": mark, "words": words, "lines": lines})
    return groups


def station_lines(survey: Survey, system: UnitSystem) -> list[dict[str, Any]]:
    lines: dict[float, dict[str, Any]] = {}
    for row in services.current_offsets(survey):
        line = lines.setdefault(row.chainage_m, {"at": row.chainage_m})
        line["loaded" if row.is_loaded else "empty"] = offset_words(row.offset_mm, system)
    return list(lines.values())


def plan_url(survey: Survey) -> str:
    """Where a fitting is planned from this survey; empty while it is open or does not fit."""
    if survey.result not in (Survey.Result.FITS, Survey.Result.CONDITIONS):
        return ""
    try:
        return f"{reverse('fitting-create')}?survey={survey.pk}"
    except NoReverseMatch:
        return ""


class SurveyClose(RecordChange):
    right = "installs.change_survey"
    template_name = "installs/survey_close.html"
    form_class = SurveyCloseForm
    queryset = Survey.objects.with_place()
    button = gettext_lazy("Close the survey")
    done_words = gettext_lazy("Closed. The result and its reasons stay as they are now.")

    def get_title(self) -> str:
        return _("Close the survey of %s") % self.row

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        found = services.judged(self.row)
        shown = shown_lines(found.lines, UnitSystem(self.request.user.unit_system))
        return super().get_context_data(
            survey=self.row,
            result_mark=MARKS[Survey.Result(found.result.value)],
            result_words=Survey.Result(found.result.value).label,
            groups=[each for each in line_groups(shown) if each["verdict"] != "met"],
            **kwargs,
        )

    def act(self, form: SurveyCloseForm) -> Survey:
        return services.close_survey(
            self.row, by=self.request.user, version=form.cleaned_data["version"], **form.values()
        )


class SurveyReopen(RecordChange):
    right = "installs.change_survey"
    form_class = SurveyReopenForm
    queryset = Survey.objects.with_place()
    button = gettext_lazy("Reopen the survey")
    done_words = gettext_lazy("Reopened. What it came to before stays in its history.")

    def get_title(self) -> str:
        return _("Reopen the survey of %s") % self.row

    def initial(self) -> dict[str, Any]:
        return {"version": self.row.version}

    def form_kwargs(self) -> dict[str, Any]:
        known = super().form_kwargs()
        known.pop("instance")
        return known

    def act(self, form: SurveyReopenForm) -> Survey:
        return services.reopen_survey(
            self.row, by=self.request.user, version=form.cleaned_data["version"], reason=form.cleaned_data["reason"]
        )
