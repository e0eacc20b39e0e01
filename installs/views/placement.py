"""Where the next device should go: over the plant, and on one belt with a trial device."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import NoReverseMatch, reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from installs.charts.trial_layer import trial_layer
from installs.forms.placement import CauseOverrideChangeForm, CauseOverrideForm, LoggedStationForm, TrialForm
from installs.models import CauseOverride, LoggedStation
from installs.selectors.device_on_trial import Trial, first_place, try_place
from installs.selectors.placement import belt_studies, models_of, places_of, ranked_places
from installs.services import placement as services
from installs.tables.placement import PlacementTable
from installs.words.placement import placing_words
from plant.calc.addresses import number_in
from plant.calc.units import UnitSystem
from plant.models import Conveyor, Strand
from plant.panels import strip_of
from plant.permissions import PlantRequest, get_visible, right
from plant.views.lists import RegisterList
from plant.views.records import RecordChange, RecordPage

STEP_M = 5.0
STEPS = (
    (f"{-STEP_M:g}", gettext_lazy("5 m towards the tail")),
    (f"{STEP_M:g}", gettext_lazy("5 m towards the head")),
)


class PlacementList(RegisterList):
    right = "installs.view_placement"
    title = gettext_lazy("Where should the next device go?")
    empty_words = gettext_lazy(
        "No place is offered: nowhere did two incidents or more of the last twelve months lie out of reach of every "
        "device. Incidents without a strand or a chainage cannot tell."
    )
    template_name = "installs/placement_list.html"
    table_class = PlacementTable

    def rows(self) -> Any:
        if not hasattr(self, "places"):
            self.places = ranked_places(self.request.plant, timezone.now())
        return self.places

    def get_lede(self) -> str:
        """The first place in a sentence, and how many must wait for a cause."""
        if not self.rows():
            return ""
        first = self.rows()[0]
        judged = first.candidate.judged
        reason = placing_words(first.candidate.reasons[0], UnitSystem(self.request.user.unit_system))
        words = [_("%(tag)s first: %(reason)s") % {"tag": first.study.conveyor.tag, "reason": reason}]
        if not judged.causes_first:
            n = sum(each.candidate.is_cause_first for each in self.rows())
            if n:
                words.append(
                    ngettext(
                        "%(n)s place comes last because a cause is to be cured first.",
                        "%(n)s places come last because a cause is to be cured first.",
                        n,
                    )
                    % {"n": n}
                )
        return " ".join(words)


@right("installs.view_placement")
def placement_conveyor(request: PlantRequest, pk: int) -> HttpResponse:
    """One belt: its places ranked, how much is reached, and a device on trial."""
    conveyor = get_visible(request, Conveyor.objects.select_related("plant", "area"), "installs.view_placement", pk=pk)
    now = timezone.now()
    study = belt_studies([conveyor], now)[conveyor.pk]
    models = models_of(conveyor.plant)
    places = places_of(study, models, most=4)
    asked = {"person": request.user, "plant": conveyor.plant, "conveyor": conveyor}
    is_asked = "chainage_m" in request.GET
    form = TrialForm(request.GET, **asked) if is_asked else TrialForm(initial=first_place(study, places), **asked)
    if "step" in request.GET:
        return redirect(f"{request.path}?{stepped(request, form, conveyor)}#trial")
    trial = None
    if not is_asked:
        trial = try_place(study, models, form.initial)
    elif form.is_valid():
        trial = try_place(study, models, form.cleaned_data)
    layer = trial_layer(trial, request.user) if trial else None
    return render(
        request,
        "installs/placement_conveyor.html",
        {
            "title": _("%(tag)s: where should the next device go?") % {"tag": conveyor.tag},
            "conveyor": conveyor,
            "study": study,
            "places": places,
            "coverage": study.coverage(),
            "form": form,
            "trial": trial,
            "steps": STEPS,
            "survey_url": survey_url(),
            "station_query": station_query(trial) if trial else "",
            "override_query": override_query(trial) if trial else "",
            "stations": conveyor.logged_stations.select_related("created_by"),
            "overrides": conveyor.cause_overrides.select_related("created_by"),
            "strip": strip_of(request, conveyor, now=now, extra=layer),
        },
        # A page that swaps itself takes only answers that went well; the words at the field say what did not.
        status=422 if is_asked and trial is None and not request.htmx else 200,
    )


def station_query(trial: Trial) -> str:
    """A station in the middle of where the device would steer."""
    zones = trial.judged.reach.zones
    at = (zones[0].low_m + zones[0].high_m) / 2 if zones else trial.place.chainage_m
    return urlencode({"strand": trial.place.strand, "chainage_m": f"{at:.0f}"})


def override_query(trial: Trial) -> str:
    """Places around the one on trial: the best one moves by a step or two from month to month."""
    at, length = trial.place.chainage_m, trial.study.case.length_m
    low, high = max(at - 2 * STEP_M, 0.0), min(at + 2 * STEP_M, length)
    return urlencode({"strand": trial.place.strand, "low_m": f"{low:g}", "high_m": f"{high:g}"})


def survey_url() -> str:
    """Where a survey is planned; empty while the site has no such page."""
    try:
        return reverse("survey-create")
    except NoReverseMatch:
        return ""


def stepped(request: PlantRequest, form: TrialForm, conveyor: Conveyor) -> str:
    """The same trial, with all that was typed, a step nearer to either pulley; where it cannot be read, as it is."""
    query = request.GET.copy()
    step = query.pop("step")[-1]
    if form.is_bound and form.is_valid() and step in dict(STEPS):
        at = min(max(form.cleaned_data["chainage_m"] + float(step), 0.0), conveyor.length_m)
        query["chainage_m"] = f"{at:g} m"
    return query.urlencode()


# --- logged stations, and reasons not to wait for a cause -------------------------------------------------------------
class ForBelt(RecordPage):
    """Makes a row of one belt; what was tried at the placement page is offered."""

    def dispatch(self, request: PlantRequest, *args: Any, **kwargs: Any) -> Any:
        belts = Conveyor.objects.select_related("plant")
        self.conveyor = get_visible(request, belts, self.right, pk=self.kwargs["pk"])
        return super().dispatch(request, *args, **kwargs)

    def cancel_url(self) -> str:
        return reverse("placement-conveyor", args=[self.conveyor.pk])

    def asked(self) -> dict[str, Any]:
        """Strand and places that the page tried, in metres; what was not understood is left out."""
        found: dict[str, Any] = {}
        for name, text in self.request.GET.items():
            if name == "strand" and text in Strand.values:
                found[name] = text
            elif name.endswith("_m") and (number := number_in(text)) is not None:
                found[name] = number
        return found


class StationCreate(ForBelt):
    right = "installs.add_loggedstation"
    form_class = LoggedStationForm
    done_words = gettext_lazy("The station is in the book: incidents there count as seen.")

    def initial(self) -> dict[str, Any]:
        return {"from_on": timezone.localdate(timezone=self.conveyor.plant.zone), **self.asked()}

    def get_title(self) -> str:
        return _("%s: a station that people log") % self.conveyor.tag

    def act(self, form: LoggedStationForm) -> LoggedStation:
        return services.log_station(
            conveyor=self.conveyor, by=self.request.user, client_key=form.cleaned_data["client_key"], **form.values()
        )


class StationChange(RecordChange):
    right = "installs.change_loggedstation"
    template_name = "plant/record_change.html"
    form_class = LoggedStationForm
    queryset = LoggedStation.objects.select_related("conveyor__plant")
    done_words = gettext_lazy("Saved.")

    def get_title(self) -> str:
        return _("%s: change the logged station") % self.row.conveyor.tag

    def act(self, form: LoggedStationForm) -> LoggedStation:
        return services.change_station(
            self.row, by=self.request.user, version=form.cleaned_data["version"], **form.values()
        )


class OverrideCreate(ForBelt):
    right = "installs.add_causeoverride"
    form_class = CauseOverrideForm
    button = gettext_lazy("Let these places be ranked")
    done_words = gettext_lazy("These places are ranked as others; the reason stands beside them.")

    def initial(self) -> dict[str, Any]:
        return self.asked()

    def get_title(self) -> str:
        return _("%s: place a device before a cause is cured") % self.conveyor.tag

    def act(self, form: CauseOverrideForm) -> CauseOverride:
        return services.override_cause(
            conveyor=self.conveyor, by=self.request.user, client_key=form.cleaned_data["client_key"], **form.values()
        )


class OverrideChange(RecordChange):
    right = "installs.change_causeoverride"
    template_name = "plant/record_change.html"
    form_class = CauseOverrideChangeForm
    queryset = CauseOverride.objects.select_related("conveyor__plant")
    done_words = gettext_lazy("Saved.")

    def get_title(self) -> str:
        return _("%s: change the reason to place before a cause is cured") % self.row.conveyor.tag

    def act(self, form: CauseOverrideChangeForm) -> CauseOverride:
        return services.change_override(
            self.row, by=self.request.user, version=form.cleaned_data["version"], **form.values()
        )
