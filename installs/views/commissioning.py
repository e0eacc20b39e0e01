"""The page of a job, and one page for each act at the belt."""

from __future__ import annotations

import uuid
from typing import Any

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.html import escape
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from installs.calc.trial_runs import lacking_sides, least_run_s
from installs.charts.offset_bars import offset_bars
from installs.forms import commissioning as forms
from installs.models import BeltOffset, Fitting, HoldPoint, TrialRun
from installs.selectors.belt_offsets import stations_around
from installs.selectors.commissioning import (
    acceptance_of,
    as_run,
    current_runs,
    left_open,
    offsets_of,
    open_isolation,
    target_of,
)
from installs.selectors.fittings import readiness_of
from installs.selectors.job_steps import NextStep, is_loaded_next, job_of, lacking_reasons
from installs.selectors.torque import passed_over, torque_rows
from installs.services.acceptance import accept_fitting, hand_over_fitting
from installs.services.commissioning import confirm_point, correct_point, record_adjustment, record_isolation
from installs.services.trial_runs import add_readings, record_trial_run, withdraw_trial_run
from installs.words.commissioning import offered_people, offered_points, sides_legend
from installs.words.job_steps import doubted_runs, people_of_isolation
from installs.words.torque import open_work_words, passed_words
from plant.calc.reasons import NotAccepted
from plant.calc.typed_quantities import Unclear, parse_quantity
from plant.calc.units import QuantityKind, UnitSystem
from plant.panels import panels_for
from plant.permissions import PlantRequest, get_visible, has_right, right
from plant.services.photos import keep_photo
from plant.views.records import RecordChange
from plant.words.typing import echo, ways_offered, why_not_read

Point = HoldPoint.Point


@right("installs.view_fitting")
def fitting_detail(request: PlantRequest, pk: int) -> HttpResponse:
    """The job as a list of steps; the act that the record waits for stands first and large."""
    rows = Fitting.objects.with_place().select_related("accepted_by", "handed_over_by", "installation", "sheet")
    rows = rows.prefetch_related("crew", "needs", "device_model__fasteners")
    fitting = get_visible(request, rows, "installs.view_fitting", pk=pk)
    job = job_of(fitting)
    may_do = has_right(request.user, "installs.do_fitting", fitting.plant)
    page = act_page(request, fitting, job.next) if job.next is not None and job.next.name in ACTS and may_do else None
    belt = fitting.conveyor
    lines = readiness_of(fitting) if fitting.begun_at is None and fitting.given_up_at is None else []
    return render(
        request,
        "installs/fitting_detail.html",
        {
            "title": _("Fitting on %s") % belt.tag,
            "fitting": fitting,
            "row": fitting,
            "job": job,
            "bars": offset_bars(job),
            "lines": lines,
            "panels": panels_for("fitting-crew", request, fitting),
            "n_missing": sum(1 for line in lines if line.is_missing),
            "act": page.get_context_data() if page is not None else None,
            "may_do": may_do,
            "least_run_min": least_run_s(belt.length_m, belt.speed_m_s) / 60,
            "revolution_min": least_run_s(belt.length_m, belt.speed_m_s, 1) / 60,
        },
    )


def act_page(request: PlantRequest, fitting: Fitting, act: NextStep) -> FittingAct:
    """The page of an act, made ready to show its form inside the page of the job."""
    page = ACTS[act.name]()
    kwargs = {"pk": act.pk or fitting.pk, **({"point": act.point} if act.point else {})}
    page.setup(request, **kwargs)
    page.row = fitting
    page.set_up_entry(act.pk)
    return page


class FittingAct(RecordChange):
    """One act of a job: a form, one service call, back to the job."""

    right = "installs.do_fitting"
    template_name = "installs/fitting_act.html"
    act_template = "installs/_act_fields.html"
    url_name = ""
    queryset = Fitting.objects.with_place().prefetch_related("crew")

    def url(self) -> str:
        return reverse(self.url_name, args=[self.row.pk])

    def initial(self) -> dict[str, Any]:
        return {"version": self.row.version}

    def form_kwargs(self) -> dict[str, Any]:
        return {
            "person": self.request.user,
            "plant": self.row.plant,
            "initial": self.initial(),
            "fitting": self.row,
        }

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(
            fitting=self.row,
            conveyor=self.row.conveyor,
            act_template=self.act_template,
            act_url=self.url(),
            caution=self.caution(),
            **kwargs,
        )

    def caution(self) -> Any:
        return ""

    def set_up_entry(self, pk: int | None) -> None:
        """Inside the page of the job: the entry that the act is about, for an act on one."""

    def next_url(self, row: Any) -> str:
        return self.row.get_absolute_url()

    def kept_photo(self, form: Any) -> Any:
        file = form.cleaned_data.get("photo")
        if not file:
            return None
        return keep_photo(
            plant=self.row.plant, file=file, by=self.request.user, client_key=uuid.uuid5(form.key, "photo")
        )


class IsolationAct(FittingAct):
    url_name = "fitting-isolation"
    form_class = forms.IsolationForm
    title = gettext_lazy("Record the isolation")
    button = gettext_lazy("Record the isolation")
    done_words = gettext_lazy("The isolation is recorded with your name and the time.")

    def caution(self) -> str:
        return _("Stored energy that can build up again is looked at until the work ends.")

    def act(self, form: forms.IsolationForm) -> Any:
        return record_isolation(fitting=self.row, by=self.request.user, client_key=form.key, **form.values())


class PointAct(FittingAct):
    url_name = "fitting-point"
    act_template = "installs/_point_fields.html"
    form_class = forms.PointForm
    done_words = gettext_lazy("Recorded with your name and the time.")

    @property
    def point(self) -> HoldPoint.Point:
        try:
            return Point(self.kwargs["point"])
        except ValueError as error:
            raise Http404 from error

    def url(self) -> str:
        return reverse(self.url_name, args=[self.row.pk, self.point.value])

    def get_title(self) -> str:
        return str(self.point.label).capitalize()

    def caution(self) -> Any:
        return forms.CAUTIONS.get(self.point, "")

    def form_kwargs(self) -> dict[str, Any]:
        isolation = open_isolation(self.row)
        return {
            **super().form_kwargs(),
            "point": self.point,
            "locks": offered_people(people_of_isolation(isolation), forms.MOST_NAMES) if isolation else "",
            "is_passed_over": "pass_over" in self.request.POST,
        }

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        known = {
            "point": self.point,  # instead of the word in the address
            "question": forms.QUESTIONS[self.point],
            "needs": list(self.row.needs.all()) if self.point == Point.PARTS else [],
        }
        return super().get_context_data(**{**kwargs, **known})

    def act(self, form: forms.PointForm) -> Any:
        read = form.cleaned_data
        return confirm_point(
            fitting=self.row,
            point=self.point,
            by=self.request.user,
            note=read["note"],
            passed_over_reason=read["passed_over_reason"],
            handed_back_by=read.get("handed_back_by", ""),
            photo=self.kept_photo(form),
            confirmed_at=read["confirmed_at"],
            client_key=form.key,
        )


class AdjustmentAct(FittingAct):
    url_name = "fitting-adjustment"
    act_template = "installs/_adjustment_fields.html"
    form_class = forms.AdjustmentForm
    title = gettext_lazy("Record the adjustment")
    button = gettext_lazy("Record the adjustment")
    done_words = gettext_lazy("The adjustment is recorded.")

    def isolation(self) -> Any:
        isolation = open_isolation(self.row)
        if isolation is None or isolation.cycle == 1:
            raise Http404
        return isolation

    def initial(self) -> dict[str, Any]:
        return {"version": self.isolation().version}

    def caution(self) -> str:
        return _("In on one side and out on the other by the same amount keeps the sum of the gaps.")

    def act(self, form: forms.AdjustmentForm) -> Any:
        return record_adjustment(self.isolation(), by=self.request.user, **form.values())


class TrialRunAct(FittingAct):
    url_name = "fitting-trial-run"
    act_template = "installs/_trial_run_fields.html"
    form_class = forms.TrialRunForm
    title = gettext_lazy("Record a trial run")
    button = gettext_lazy("Record the trial run")
    done_words = gettext_lazy("The trial run is recorded.")

    def initial(self) -> dict[str, Any]:
        return {"load": "loaded" if is_loaded_next(self.row) else "empty"}

    def form_kwargs(self) -> dict[str, Any]:
        return {**super().form_kwargs(), "stations": stations_for(self.row, self.request.user)}

    def caution(self) -> str:
        return _("Look from the walkway, guards on. Nobody adjusts at a moving belt.")

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        belt = self.row.conveyor
        return super().get_context_data(
            least_run_min=least_run_s(belt.length_m, belt.speed_m_s) / 60,
            target_mm=target_of(self.row),
            sides=legend_of(self.row, self.request.user),
            **kwargs,
        )

    def act(self, form: forms.TrialRunForm) -> Any:
        photos = [
            keep_photo(
                plant=self.row.plant,
                file=file,
                by=self.request.user,
                client_key=uuid.uuid5(form.key, f"photo {number}"),
            )
            for number, file in enumerate(form.cleaned_data.get("new_photos") or [])
        ]
        return record_trial_run(
            fitting=self.row, by=self.request.user, photos=photos, client_key=form.key, **form.values()
        )


def legend_of(fitting: Fitting, person: Any) -> str:
    """Which chainages lie upstream and which downstream of the job's device."""
    system = UnitSystem(person.unit_system)
    return sides_legend(fitting.chainage_m, fitting.strand, system, reversing=fitting.conveyor.is_reversing)


@right("installs.view_fitting")
def station_side(request: PlantRequest, pk: int) -> HttpResponse:
    """The echo below a station's box: what was understood, and on which side of the device it lies."""
    fitting = get_visible(request, Fitting.objects.with_place(), "installs.view_fitting", pk=pk)
    text = request.GET.get(request.GET.get("field", "text"), "")
    if not text.strip():
        return HttpResponse("")
    try:
        read = parse_quantity(text, QuantityKind.DISTANCE_M, UnitSystem(request.user.unit_system))
    except Unclear as unclear:
        return render(
            request, "plant/_understood.html", {"words": why_not_read(unclear), "ways": ways_offered(unclear)}
        )
    except NotAccepted as problem:
        return HttpResponse(escape(why_not_read(problem)))
    return HttpResponse(escape(f"{echo(read)}: {forms.station_words(fitting, read.value)}"))


def stations_for(fitting: Fitting, person: Any) -> list[float]:
    """Stations of the runs before, with those of the survey, else with those proposed around the place.

    What was left out in one run is offered again in the next: the same places are compared.
    """
    used = {row.chainage_m for run in current_runs(fitting) for row in offsets_of(run)}
    wanted: list[float] = []
    if fitting.survey is not None:
        rows = BeltOffset.objects.current().filter(survey=fitting.survey).order_by("chainage_m")
        wanted = list(dict.fromkeys(rows.values_list("chainage_m", flat=True)))
    wanted = wanted or proposed_stations(fitting, person)
    others = [each for each in wanted if each not in used]
    return sorted([*used, *others][: forms.ROWS])


def proposed_stations(fitting: Fitting, person: Any) -> list[float]:
    reach = fitting.stated.get("effect_length_m") or fitting.plant.effect_length_m
    system = UnitSystem(person.unit_system)
    return list(stations_around(fitting.conveyor, fitting.strand, fitting.chainage_m, reach, system=system))


class AcceptanceAct(FittingAct):
    url_name = "fitting-acceptance"
    act_template = "installs/_acceptance_fields.html"
    form_class = forms.AcceptanceForm
    title = gettext_lazy("Accept")
    button = gettext_lazy("Accept with my name")
    done_words = gettext_lazy("Accepted. The hand-over is left.")

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(
            acceptance=acceptance_of(self.row),
            open_work=open_work_words(left_open(self.row)),
            doubted_runs=doubted_runs(current_runs(self.row)),
            **kwargs,
        )

    def act(self, form: forms.AcceptanceForm) -> Any:
        read = form.cleaned_data
        return accept_fitting(fitting=self.row, by=self.request.user, version=read["version"], reason=read["reason"])


class HandOverAct(FittingAct):
    url_name = "fitting-hand-over"
    act_template = "installs/_hand_over_fields.html"
    form_class = forms.HandOverForm
    title = gettext_lazy("Hand over")
    button = gettext_lazy("Hand over with my name")
    done_words = gettext_lazy("The device is in service. Its first checks are planned and the comparison begins.")

    def initial(self) -> dict[str, Any]:
        """What was left open is offered as an open point, so that it is handed over and not forgotten."""
        points = offered_points(open_work_words(left_open(self.row)), forms.MOST_POINTS)
        return {**super().initial(), "open_points": points}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        passed = [passed_words(each) for each in passed_over(torque_rows(self.row))]
        return super().get_context_data(passed_fasteners=passed, **kwargs)

    def act(self, form: forms.HandOverForm) -> Any:
        read = form.cleaned_data
        return hand_over_fitting(
            fitting=self.row,
            by=self.request.user,
            version=read["version"],
            handed_over_to=read["handed_over_to"],
            open_points=read["open_points"],
        )


class EntryAct(FittingAct):
    """An act on one entry of a job."""

    entries: Any = None

    def get_row(self) -> Any:
        self.entry = get_visible(self.request, self.entries.all(), self.right, pk=self.kwargs["pk"])
        return self.queryset.get(pk=self.entry.fitting_id)

    def set_up_entry(self, pk: int | None) -> None:
        self.entry = self.entries.get(pk=pk)

    def url(self) -> str:
        return reverse(self.url_name, args=[self.entry.pk])


class PointCorrection(EntryAct):
    url_name = "hold-point-correct"
    entries = HoldPoint.objects.select_related("fitting__plant", "confirmed_by")
    form_class = forms.PointCorrectionForm
    button = gettext_lazy("Write the correction")
    done_words = gettext_lazy("Corrected. The entry as it was stays in the record.")

    def get_title(self) -> str:
        return _("Correct: %s") % self.entry.get_point_display()

    def initial(self) -> dict[str, Any]:
        return {"note": self.entry.note, "passed_over_reason": self.entry.passed_over_reason}

    def act(self, form: forms.PointCorrectionForm) -> Any:
        read = form.cleaned_data
        photo = self.kept_photo(form)
        values = {"note": read["note"], "passed_over_reason": read["passed_over_reason"]}
        if photo is not None:
            values["photo"] = photo
        return correct_point(
            self.entry,
            by=self.request.user,
            reason=read["correction_reason"],
            withdraw=read["withdraw"],
            client_key=form.key,
            **({} if read["withdraw"] else values),
        )


class RunWithdrawal(EntryAct):
    url_name = "trial-run-withdraw"
    entries = TrialRun.objects.select_related("fitting__plant")
    form_class = forms.RunWithdrawalForm
    title = gettext_lazy("Withdraw the trial run")
    button = gettext_lazy("Withdraw it")
    done_words = gettext_lazy("It no longer counts; it stays in the record.")

    def act(self, form: forms.RunWithdrawalForm) -> Any:
        return withdraw_trial_run(
            self.entry, by=self.request.user, reason=form.cleaned_data["correction_reason"], client_key=form.key
        )


class RunReadings(EntryAct):
    """What was not read, or not written down, in a run that was good otherwise."""

    url_name = "trial-run-readings"
    act_template = "installs/_readings_fields.html"
    entries = TrialRun.objects.select_related("fitting__plant")
    form_class = forms.RunReadingsForm
    button = gettext_lazy("Add to the run")
    done_words = gettext_lazy("Added to the trial run.")

    def get_title(self) -> str:
        return _("Add a reading to the run, loaded") if self.entry.is_loaded else _("Add a reading to the run, empty")

    def form_kwargs(self) -> dict[str, Any]:
        return {**super().form_kwargs(), "stations": self.stations()}

    def stations(self) -> list[float]:
        """Stations of the sides that lack a reading; none is named where both have one."""
        run = as_run(self.entry)
        ways = lacking_sides(run, self.row.chainage_m)
        at = self.row.chainage_m
        person = self.request.user
        known = [*stations_for(self.row, person), *proposed_stations(self.row, person)]
        offered = [[each for each in known if (each - at) * way > 0] for way in ways]
        return sorted(min(each, key=lambda station: abs(station - at)) for each in offered if each)

    def caution(self) -> str:
        return _("Look from the walkway, guards on. Nobody adjusts at a moving belt.")

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(
            sides=legend_of(self.row, self.request.user),
            lacking=lacking_reasons(self.row, self.entry),
            known=[row.chainage_m for row in offsets_of(self.entry)],
            **kwargs,
        )

    def act(self, form: forms.RunReadingsForm) -> Any:
        return add_readings(
            self.entry,
            by=self.request.user,
            offsets=form.offsets(),
            taken_at=form.cleaned_data["taken_at"],
            client_key=form.key,
        )


ACTS: dict[str, type[FittingAct]] = {
    page.url_name: page
    for page in (IsolationAct, PointAct, AdjustmentAct, TrialRunAct, RunReadings, AcceptanceAct, HandOverAct)
}
