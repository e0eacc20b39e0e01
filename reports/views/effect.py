"""Pages of comparisons: the list, one comparison, and the window that an engineer sets."""

from __future__ import annotations

import uuid
from collections import Counter
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from installs.models import Installation
from plant.errors import Refused
from plant.permissions import PlantRequest, get_visible, right
from plant.services.kept import at_hand
from plant.views.lists import RegisterList
from plant.views.records import RecordPage
from reports.calc.verdicts import EffectVerdict
from reports.files.studies import data_file, method_text, reference_file
from reports.forms.study_windows import BackToRuleForm, EffectFilterForm, StudyWindowForm
from reports.models import StudyWindow
from reports.panels import acts_of, effect_context, reference_on
from reports.selectors.fleet_effect import EFFECT, LIST, FleetList
from reports.selectors.pooled_effects import (
    Pool,
    VerdictStanding,
    count_of,
)
from reports.selectors.studies import Study, study_of
from reports.services.study_windows import go_back_to_rule, set_window
from reports.tables.effect import EffectRow, EffectTable
from reports.words.pooled_effects import chance_words, counted_words, limits_words, next_words, standing_words
from reports.words.verdicts import VERDICT_WORDS, place_of

WITH_PLACE = ("plant", "conveyor__area", "conveyor__plant", "device__device_model")


class Choices:
    """What the list's template asks of a set of filters."""

    def __init__(self, form: EffectFilterForm) -> None:
        self.form = form


class EffectList(RegisterList):
    right = "reports.view_studywindow"
    template_name = "reports/effect_list.html"
    title = gettext_lazy("Does it work? Installations judged on running hours")
    empty_words = gettext_lazy("No device was fitted yet. Once one is, this page says what became of it.")
    table_class = EffectTable
    per_page = 100

    def filtered(self) -> list[EffectRow]:
        self.kept = at_hand(self.request.plant, EFFECT, LIST)
        found: FleetList = self.kept.value
        studies, self.watch = found.studies, found.watch
        fading = {each.study.installation.pk: each for each in self.watch.fading}
        acts = acts_of(one for each in studies if each.is_standing for one in each.members)
        self.all_studies, self.standings, self.pools = studies, found.standings, found.pools
        form = self.filterset_form(studies)
        self.filterset = Choices(form)
        if not self.is_filter_understood:
            return []
        asked = form.cleaned_data if form.is_bound else {}
        rows = [
            EffectRow(
                each,
                self.standings.get(each.installation.pk),
                fading.get(each.installation.pk),
                tuple(state for one in each.members for state in acts.get(one.pk, ())),
                found.chances.get(each.installation.pk),
            )
            for each in studies
            if fits(each, asked)
        ]
        return [each for each in rows if stands(each.standing, asked) and is_watched(each, asked)]

    def filterset_form(self, studies: tuple[Study, ...]) -> EffectFilterForm:
        form = EffectFilterForm(self.request.GET or None, person=self.request.user, plant=self.request.plant)
        areas = {each.conveyor.area_id: str(each.conveyor.area) for each in studies}
        models = {each.device.device_model_id: each.device.device_model.name for one in studies for each in one.members}
        everything = ("", _("All"))
        form.fields["area"].choices = [everything, *((str(pk), words) for pk, words in areas.items())]
        form.fields["model"].choices = [everything, *((str(pk), words) for pk, words in sorted(models.items()))]
        form.fields["verdict"].choices = [everything, *((each.value, VERDICT_WORDS[each]) for each in EffectVerdict)]
        form.fields["among"].choices = [everything, ("stands", _("stands")), ("falls", _("does not stand"))]
        form.fields["watch"].choices = [everything, ("alarm", _("alarm stands")), ("watched", _("under watch"))]
        form.fields["state"].choices = [everything, ("in_place", _("in place")), ("removed", _("removed"))]
        return form

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        pooled = {
            "pools": self.pools,
            "standing": standing_words(self.standings),
            "counted": count_of(self.all_studies),
            "watch": self.watch,
            "kept": self.kept,
            "told": counts_words(self.all_studies) if pooled_words(self.pools) else "",
            "by_chance": chance_words(count_of(self.all_studies)),
        }
        return super().get_context_data(**pooled, **kwargs)

    def get_lede(self) -> str:
        return pooled_words(self.pools) or counts_words(self.all_studies)


def fits(study: Study, asked: dict[str, Any]) -> bool:
    if asked.get("area") and str(study.conveyor.area_id) != asked["area"]:
        return False
    if asked.get("model") and asked["model"] not in {str(each.device.device_model_id) for each in study.members}:
        return False
    if asked.get("verdict") and study.verdict != asked["verdict"]:
        return False
    return not asked.get("state") or study.is_standing == (asked["state"] == "in_place")


def stands(standing: VerdictStanding | None, asked: dict[str, Any]) -> bool:
    if not asked.get("among"):
        return True
    return standing is not None and standing.stands is (asked["among"] == "stands")


def is_watched(row: EffectRow, asked: dict[str, Any]) -> bool:
    known = {"alarm": row.fading, "watched": row.chance}
    return not asked.get("watch") or known[asked["watch"]] is not None


def counts_words(studies: tuple[Study, ...]) -> str:
    """How many comparisons there are, and what is said of them."""
    if not studies:
        return ""
    counts = Counter(each.verdict for each in studies)
    told = "; ".join(f"{VERDICT_WORDS[each]}: {counts[each]}" for each in EffectVerdict if counts[each])
    return f"{counted_words(count_of(studies))} {told[0].upper()}{told[1:]}."


def pooled_words(pools: list[Pool]) -> str:
    """The fleet as one: all comparisons that can be judged, removed devices and failures among them."""
    fleet = pools[0] if pools else None
    if fleet is None or fleet.effects.next_low is None:
        return ""
    known = {
        "ratio": limits_words(fleet.effects),
        "next": next_words(fleet.effects),
        "plain": limits_words(fleet.plain),
    }
    if fleet.n_shrunk == fleet.n:
        return (
            _(
                "Over the fleet, incidents in reach came to %(ratio)s of what they would have been, with what "
                "untreated "
                "stretches did and the choice of the worst places taken out; plain counts before and after say "
                "%(plain)s. "
                "For the next device expect %(next)s (95 %%)."
            )
            % known
        )
    return (
        _(
            "Over the fleet, incidents in reach came to %(ratio)s; what would have happened anyway is taken out only "
            "as far "
            "as the table below says. Plain counts before and after say %(plain)s. For the next device expect %(next)s "
            "(95 %%)."
        )
        % known
    )


@right("reports.view_studywindow")
def effect_detail(request: PlantRequest, pk: int) -> HttpResponse:
    """One comparison with everything behind it."""
    row = get_visible(request, Installation.objects.select_related(*WITH_PLACE), "reports.view_studywindow", pk=pk)
    context = effect_context(request, row, is_whole=True)
    return render(
        request,
        "reports/effect_detail.html",
        {"title": _("Effect: %s") % place_of(context["study"]), "row": row, "panel": context, **context},
    )


def study_on(request: PlantRequest, row: Installation) -> Study:
    """The comparison that the page shows, for the files beside it."""
    return study_of(row, timezone.now(), reference_on(request, row.plant).value)


def named_file(text: str, kind: str, name: str) -> HttpResponse:
    answer = HttpResponse(text, content_type=kind)
    answer["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer


@right("reports.view_studywindow")
def effect_data(request: PlantRequest, pk: int) -> HttpResponse:
    """What one verdict rests on, as CSV."""
    row = get_visible(request, Installation.objects.select_related(*WITH_PLACE), "reports.view_studywindow", pk=pk)
    return named_file(data_file(study_on(request, row)), "text/csv", f"effect-{pk}-data.csv")


@right("reports.view_studywindow")
def effect_reference(request: PlantRequest, pk: int) -> HttpResponse:
    """The stretches without a device that one comparison is held against, as CSV."""
    row = get_visible(request, Installation.objects.select_related(*WITH_PLACE), "reports.view_studywindow", pk=pk)
    reference = reference_on(request, row.plant).value
    return named_file(reference_file(reference, study_on(request, row)), "text/csv", f"effect-{pk}-reference.csv")


@right("reports.view_studywindow")
def effect_method(request: PlantRequest, pk: int) -> HttpResponse:
    """How one verdict is reached, in plain text."""
    row = get_visible(request, Installation.objects.select_related(*WITH_PLACE), "reports.view_studywindow", pk=pk)
    text = method_text(row.plant, study_on(request, row))
    return named_file(text, "text/plain; charset=utf-8", f"effect-{pk}-method.txt")


@right("reports.view_studywindow")
def effect_list_method(request: PlantRequest) -> HttpResponse:
    """How the verdicts of the list are reached."""
    return named_file(method_text(request.plant), "text/plain; charset=utf-8", "effect-method.txt")


class StudyWindowCreate(RecordPage):
    right = "reports.add_studywindow"
    form_class = StudyWindowForm
    button = gettext_lazy("Compare these windows")
    done_words = gettext_lazy("The windows are set. The rule's answer stands beside them.")

    def get_row(self) -> None:
        rows = Installation.objects.select_related("plant", "conveyor", "device")
        self.installation = get_visible(self.request, rows, self.right, pk=self.kwargs["pk"])

    def get_title(self) -> str:
        return _("Other windows for %s") % self.installation

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        lede = _("The rule takes 12 months before and everything after settling-in. Cuts by other changes stay.")
        return super().get_context_data(lede=lede, **kwargs)

    def cancel_url(self) -> str:
        return reverse("effect-detail", args=[self.installation.pk])

    def next_url(self, row: StudyWindow) -> str:
        return reverse("effect-detail", args=[self.installation.pk])

    def act(self, form: StudyWindowForm) -> StudyWindow:
        return set_window(
            installation=self.installation,
            by=self.request.user,
            client_key=form.cleaned_data["client_key"],
            **form.values(),
        )


@right("reports.add_studywindow")
def back_to_rule(request: PlantRequest, pk: int) -> HttpResponse:
    """Take the set windows away again."""
    rows = Installation.objects.select_related("plant", "conveyor", "device")
    row = get_visible(request, rows, "reports.add_studywindow", pk=pk)
    # Two engineers who set the first window at once leave two that count; the later one holds, as in the comparison.
    window = StudyWindow.objects.current().filter(installation=row).order_by("-created_at", "-pk").first()
    if window is None:
        raise Http404
    form = BackToRuleForm(request.POST or None, person=request.user, initial={"client_key": uuid.uuid4()})
    cancel_url = reverse("effect-detail", args=[row.pk])
    if request.method == "POST" and form.is_valid():
        try:
            go_back_to_rule(window=window, by=request.user, **form.cleaned_data)
            messages.success(request, _("The rule holds again. What was set stays in the list."))
            return redirect(cancel_url)
        except Refused as refusal:
            form.add_refusal(refusal)
    return render(
        request,
        "plant/record_form.html",
        {
            "title": _("Back to the rule's windows for %s") % row,
            "form": form,
            "button": _("Back to the rule"),
            "cancel_url": cancel_url,
        },
        status=422 if form.errors else 200,
    )
