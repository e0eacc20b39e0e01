"""Check kinds with their readings, and check plans."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inspections.forms.check_plans import (
    TIMES,
    CheckKindChangeForm,
    CheckKindForm,
    CheckPlanForm,
    IntervalsForm,
    OwnCheckPlanForm,
    PlanForm,
    ReadingFieldForm,
    RiskForm,
    SuspendForm,
    WhatIfForm,
)
from inspections.models import CheckKind, CheckPlan, ReadingField
from inspections.selectors.plan_advice import USUAL_RISK, advice_of
from inspections.selectors.tasks import plans_of
from inspections.services.check_plans import (
    add_reading_field,
    change_check_kind,
    change_check_plan,
    change_reading_field,
    check_plan_values,
    create_check_kind,
    create_check_plan,
    new_plan,
    plan_with,
    resume_check_plan,
    suspend_check_plan,
)
from inspections.services.plan_years import YearAtHand, year_at_hand, year_of_part
from inspections.tables.check_plans import CheckKindTable, CheckPlanTable
from installs.models import Installation
from plant.errors import Refused
from plant.permissions import PlantRequest, get_visible, right
from plant.views.lists import RegisterList
from plant.views.records import RecordChange, RecordPage


# --- Kinds ------------------------------------------------------------------------------------------------------------
class CheckKindList(RegisterList):
    right = "inspections.view_checkkind"
    title = gettext_lazy("Check kinds")
    lede = gettext_lazy("What is checked and how it is graded: four built in, and what the plant adds.")
    table_class = CheckKindTable
    create_url_name, create_label = "check-kind-create", gettext_lazy("Add a check kind")
    create_right = "inspections.add_checkkind"

    def rows(self) -> Any:
        return CheckKind.objects.known_in(self.request.plant).order_by("pk")


@right("inspections.view_checkkind")
def check_kind_detail(request: PlantRequest, pk: int) -> HttpResponse:
    kind = get_visible(request, CheckKind.objects.all(), "inspections.view_checkkind", pk=pk)
    return render(
        request, "inspections/check_kind_detail.html", {"title": kind.name, "kind": kind, "fields": kind.fields.all()}
    )


class CheckKindCreate(RecordPage):
    right = "inspections.add_checkkind"
    form_class = CheckKindForm
    title = gettext_lazy("Add a check kind")
    done_words = gettext_lazy("Saved. Now add what is read or asked.")

    def cancel_url(self) -> str:
        return reverse("check-kind-list")

    def act(self, form: CheckKindForm) -> CheckKind:
        return create_check_kind(
            plant=self.request.plant,
            by=self.request.user,
            client_key=form.cleaned_data["client_key"],
            **form.values(),
        )


class CheckKindChange(RecordChange):
    right = "inspections.change_checkkind"
    form_class = CheckKindChangeForm
    queryset = CheckKind.objects
    done_words = gettext_lazy("Saved.")

    def get_title(self) -> str:
        return _("Change: %(kind)s") % {"kind": self.row}

    def act(self, form: CheckKindChangeForm) -> CheckKind:
        return change_check_kind(
            kind=self.row, by=self.request.user, version=form.cleaned_data["version"], **form.values()
        )


class ReadingFieldCreate(RecordPage):
    right = "inspections.change_checkkind"
    form_class = ReadingFieldForm
    done_words = gettext_lazy("Saved. The next close-out asks for it.")

    def get_row(self) -> None:
        self.kind = get_visible(self.request, CheckKind.objects.all(), self.right, pk=self.kwargs["pk"])

    def get_title(self) -> str:
        return _("Add a reading: %(kind)s") % {"kind": self.kind}

    def initial(self) -> dict[str, Any]:
        return {"position": self.kind.fields.count() + 1}

    def cancel_url(self) -> str:
        return self.kind.get_absolute_url()

    def next_url(self, row: ReadingField) -> str:
        return self.kind.get_absolute_url()

    def act(self, form: ReadingFieldForm) -> ReadingField:
        return add_reading_field(
            kind=self.kind, by=self.request.user, client_key=form.cleaned_data["client_key"], **form.values()
        )


class ReadingFieldChange(ReadingFieldCreate):
    done_words = gettext_lazy("Saved. Readings that were taken keep their grade.")

    def get_row(self) -> ReadingField:
        self.kind = get_visible(self.request, CheckKind.objects.all(), self.right, fields=self.kwargs["pk"])
        return self.kind.fields.get(pk=self.kwargs["pk"])

    def get_title(self) -> str:
        return _("Change a reading: %(kind)s") % {"kind": self.kind}

    def initial(self) -> dict[str, Any]:
        return {}

    def act(self, form: ReadingFieldForm) -> ReadingField:
        return change_reading_field(
            field=self.row, by=self.request.user, version=form.cleaned_data["version"], **form.values()
        )


# --- Plans ------------------------------------------------------------------------------------------------------------
def plans_to_read() -> Any:
    return CheckPlan.objects.select_related(
        "check_kind", "device_model", "installation__conveyor", "installation__device", "plant"
    )


class CheckPlanList(RegisterList):
    right = "inspections.view_checkplan"
    title = gettext_lazy("Check plans")
    lede = gettext_lazy("How often each check is done: for all devices of a model, or for one installation instead.")
    table_class = CheckPlanTable
    create_url_name, create_label = "check-plan-create", gettext_lazy("Write a check plan")
    create_right = "inspections.add_checkplan"
    empty_words = gettext_lazy("No check plan yet, so no check falls due. Write one for a device model.")

    def rows(self) -> Any:
        return plans_to_read().of_plant(self.request.plant).order_by("check_kind", "installation__pk", "pk")


def fixed_ahead(plan: CheckPlan, today: date, most: int = 6) -> list[date]:
    """The next fixed dates of a plan; none where it goes by intervals."""
    if plan.fixed_months is None:
        return []
    days = plan.fixed_dates_until(today + timedelta(days=31 * plan.fixed_months * most + 31))
    return [day for day in days if day >= today][:most]


def plan_every(plan: CheckPlan, days: int | None, hours: float | None) -> CheckPlan:
    """The plan under other intervals, instead of its fixed dates where it keeps some; not saved."""
    return plan_with(plan, interval_days=days, interval_h=hours, fixed_months=None, fixed_from=None, fixed_on="")


@right("inspections.view_checkplan")
def check_plan_detail(request: PlantRequest, pk: int) -> HttpResponse:
    plan = get_visible(request, plans_to_read(), "inspections.view_checkplan", pk=pk)
    open_tasks = plan.tasks.open().with_place().order_by("due_on")
    asked, risk_asked = request.GET, "risk" in request.GET
    today = timezone.localdate(timezone=plan.plant.zone)
    what_if_form = WhatIfForm(
        asked if "days" in asked or "hours" in asked else None,
        initial={"days": plan.interval_days, "hours": plan.interval_h},
    )
    year = None
    if what_if_form.is_bound and what_if_form.is_valid():
        given = what_if_form.cleaned_data
        year = year_at_hand(plan_every(plan, given["days"], given["hours"]), by=request.user)
    risk_form = RiskForm(asked if risk_asked else None, initial={"risk": f"{USUAL_RISK * 100:g}"})
    is_understood = not risk_asked or risk_form.is_valid()
    risk = risk_form.cleaned_data["risk"] / 100 if risk_asked and is_understood else USUAL_RISK
    context = {
        "title": str(plan),
        "plan": plan,
        "fixed_ahead": fixed_ahead(plan, today),
        "tasks": open_tasks[:50],
        "n_tasks": open_tasks.count(),
        "what_if_form": what_if_form,
        **year_shown(year),
        "risk_form": risk_form,
        "risk_pct": risk * 100,
        "advice": advice_of(plan, risk) if is_understood else [],
    }
    return render(request, "inspections/check_plan_detail.html", context)


def year_shown(year: YearAtHand | None) -> dict[str, Any]:
    """What the pages show of a year: the year itself where there is one, how far it is where there is none yet."""
    return {"year": year, "kept": year and year.kept, "what_if": year.kept.value if year and year.kept else None}


@right("inspections.view_checkplan")
def plan_year(request: PlantRequest) -> HttpResponse:
    """The year that a page waits for, or how far it is."""
    year = None
    if request.plant is not None:
        year = year_of_part(request.plant, request.GET.get("part", ""), by=request.user)
    if year is None:
        raise Http404
    return render(request, "inspections/_plan_year_at_hand.html", year_shown(year))


class PlanPage(RecordPage):
    """A form over a plan with a second button: the year under what was typed, before anything is saved."""

    template_name = "inspections/check_plan_form.html"

    def plan_as_typed(self, form: PlanForm) -> CheckPlan:
        """The plan as it would be; not saved."""
        raise NotImplementedError

    def post(self, request: PlantRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if "look" not in request.POST:
            return super().post(request, *args, **kwargs)
        form = self.build_form(request.POST)
        if form.is_valid():
            plan = self.plan_as_typed(form)
            try:
                check_plan_values(plan)
            except Refused as refusal:
                form.add_refusal(refusal)
            else:
                shown = year_shown(year_at_hand(plan, by=request.user))
                return self.render_to_response(self.get_context_data(form=form, **shown, **kwargs))
        return self.render_to_response(self.get_context_data(form=form, **kwargs), status=422)


class CheckPlanCreate(PlanPage):
    right = "inspections.add_checkplan"
    form_class = CheckPlanForm
    title = gettext_lazy("Write a check plan")
    done_words = gettext_lazy("Saved. The checks of this plan are in the list now.")

    def cancel_url(self) -> str:
        return reverse("check-plan-list")

    def plan_as_typed(self, form: CheckPlanForm) -> CheckPlan:
        return new_plan(self.request.plant, **form.values())

    def act(self, form: CheckPlanForm) -> CheckPlan:
        return create_check_plan(
            plant=self.request.plant,
            by=self.request.user,
            client_key=form.cleaned_data["client_key"],
            **form.values(),
        )


class OwnCheckPlanCreate(PlanPage):
    """A plan for one installation instead of its model's."""

    right = "inspections.add_checkplan"
    form_class = OwnCheckPlanForm
    done_words = gettext_lazy("Saved. It stands instead of the plan of the model.")

    def get_row(self) -> None:
        self.installation = get_visible(
            self.request,
            Installation.objects.select_related("conveyor", "device__device_model", "plant"),
            self.right,
            pk=self.kwargs["pk"],
        )

    def get_title(self) -> str:
        return _("A check plan for %(device)s only") % {"device": self.installation}

    def initial(self) -> dict[str, Any]:
        """Begins with the model's plan of the kind that is asked for."""
        asked = self.request.GET.get("kind", "")
        for state in plans_of(self.installation):
            if str(state.plan.check_kind_id) == asked:
                return {"check_kind": state.plan.check_kind_id} | {name: getattr(state.plan, name) for name in TIMES}
        return {}

    def cancel_url(self) -> str:
        return reverse("check-plan-list")

    def plan_as_typed(self, form: OwnCheckPlanForm) -> CheckPlan:
        return new_plan(self.request.plant, installation=self.installation, **form.values())

    def act(self, form: OwnCheckPlanForm) -> CheckPlan:
        return create_check_plan(
            plant=self.installation.plant,
            by=self.request.user,
            installation=self.installation,
            client_key=form.cleaned_data["client_key"],
            **form.values(),
        )


class CheckPlanChange(PlanPage, RecordChange):
    """Changes intervals; a link may bring the interval and the reason, which a person then saves or not."""

    right = "inspections.change_checkplan"
    form_class = IntervalsForm
    done_words = gettext_lazy("Saved. Open checks that are not late and were not put off have moved.")

    @property
    def queryset(self) -> Any:
        return plans_to_read()

    def get_title(self) -> str:
        return _("Change: %(plan)s") % {"plan": self.row}

    def initial(self) -> dict[str, Any]:
        asked = {"reason": self.request.GET.get("reason", "")}
        link = WhatIfForm({"days": self.request.GET.get("interval_days"), "hours": self.request.GET.get("interval_h")})
        if not link.is_valid():
            return asked
        known = {"interval_days": link.cleaned_data["days"], "interval_h": link.cleaned_data["hours"]}
        instead = {"fixed_months": None, "fixed_from": None, "fixed_on": ""}
        return asked | instead | {name: value for name, value in known.items() if name in self.request.GET}

    def plan_as_typed(self, form: IntervalsForm) -> CheckPlan:
        return plan_with(self.row, **{name: form.cleaned_data[name] for name in TIMES})

    def act(self, form: IntervalsForm) -> CheckPlan:
        return change_check_plan(
            plan=self.row, by=self.request.user, version=form.cleaned_data["version"], **form.values()
        )


class CheckPlanSuspend(RecordChange):
    """Suspends a plan, or takes it up again."""

    right = "inspections.change_checkplan"
    form_class = SuspendForm

    @property
    def queryset(self) -> Any:
        return plans_to_read()

    def get_title(self) -> str:
        words = _("Take up again: %(plan)s") if self.row.is_suspended else _("Suspend: %(plan)s")
        return words % {"plan": self.row}

    @property
    def button(self) -> str:
        return _("Take up again") if self.row.is_suspended else _("Suspend, and withdraw its open checks")

    def form_kwargs(self) -> dict[str, Any]:
        known = super().form_kwargs()
        known.pop("instance")
        return known | {"initial": {"version": self.row.version}}

    def act(self, form: SuspendForm) -> CheckPlan:
        act = resume_check_plan if self.row.is_suspended else suspend_check_plan
        return act(plan=self.row, by=self.request.user, **form.cleaned_data)
