"""Pages of areas, conveyors and their parts."""

from __future__ import annotations

from typing import Any

from django.db.models import Count, Q
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from plant.calc.units import UnitSystem
from plant.forms.conveyors import AreaForm, ConveyorForm, PartForm, PartRemovalForm
from plant.models import Area, Conveyor, ConveyorPart
from plant.panels import panels_for, small_strips, strip_of
from plant.permissions import PlantRequest, get_visible, right
from plant.selectors.incidents import incident_counts, year_until
from plant.selectors.running_hours import ledger_of
from plant.services import conveyors as services
from plant.tables.conveyors import AreaTable, ConveyorFilter, ConveyorTable
from plant.views.lists import RegisterList
from plant.views.records import RecordChange, RecordPage
from plant.words.history import facts_of


# --- areas ------------------------------------------------------------------------------------------------------------
class AreaList(RegisterList):
    right = "plant.view_area"
    title = gettext_lazy("Areas")
    lede = gettext_lazy("Parts of the plant that people walk as one, in the order in which they are walked.")
    empty_words = gettext_lazy("No area yet. An area is needed before a conveyor can be entered.")
    template_name = "plant/conveyor_row_list.html"
    table_class = AreaTable
    create_url_name, create_right = "area-create", "plant.add_area"
    create_label = gettext_lazy("Add an area")

    def rows(self) -> Any:
        in_use = Count("conveyors", filter=Q(conveyors__retired_on__isnull=True))
        return Area.objects.of_plant(self.request.plant).annotate(n_conveyors=in_use)


@right("plant.view_area")
def area_detail(request: PlantRequest, pk: int) -> HttpResponse:
    row = get_visible(request, Area.objects.all(), "plant.view_area", pk=pk)
    return render(
        request,
        "plant/area_detail.html",
        {
            "title": str(row),
            "row": row,
            "facts": facts_of(row, "code", "name", "walking_order", system=UnitSystem(request.user.unit_system)),
            "conveyors": row.conveyors.filter(retired_on__isnull=True),
            "change_right": "plant.change_area",
            "change_url": reverse("area-update", args=[row.pk]),
        },
    )


class AreaCreate(RecordPage):
    right = "plant.add_area"
    form_class = AreaForm
    title = gettext_lazy("Add an area")
    done_words = gettext_lazy("The area is in the book.")

    def cancel_url(self) -> str:
        return reverse("area-list")

    def act(self, form: AreaForm) -> Area:
        return services.add_area(
            plant=self.request.plant, by=self.request.user, client_key=form.cleaned_data["client_key"], **form.values()
        )


class AreaChange(RecordChange):
    right = "plant.change_area"
    template_name = "plant/record_change.html"
    form_class = AreaForm
    queryset = Area.objects.all()
    done_words = gettext_lazy("Saved.")

    def get_title(self) -> str:
        return _("Change area %s") % self.row

    def act(self, form: AreaForm) -> Area:
        return services.change_area(
            self.row, by=self.request.user, version=form.cleaned_data["version"], **form.values()
        )


# --- conveyors --------------------------------------------------------------------------------------------------------
class ConveyorList(RegisterList):
    right = "plant.view_conveyor"
    title = gettext_lazy("Conveyors")
    empty_words = gettext_lazy(
        "No conveyor yet. Add the first one here, or bring a whole list in as a file with the import desk."
    )
    template_name = "plant/conveyor_list.html"
    table_class = ConveyorTable
    filter_class = ConveyorFilter
    create_url_name, create_right = "conveyor-create", "plant.add_conveyor"
    create_label = gettext_lazy("Add a conveyor")

    def rows(self) -> Any:
        extra = {panel["name"]: panel["annotation"] for panel in self.columns_of_others()}
        return Conveyor.objects.of_plant(self.request.plant).select_related("area", "plant").annotate(**extra)

    def get_lede(self) -> str:
        """How many belts, how many incidents, and on how few belts half of them happened."""
        counts = sorted(incident_counts(self.request.plant, *year_until(timezone.now())).values(), reverse=True)
        total = sum(counts)
        belts = Conveyor.objects.of_plant(self.request.plant).filter(retired_on__isnull=True).count()
        words = [ngettext("%(n)s conveyor in use.", "%(n)s conveyors in use.", belts) % {"n": belts}]
        if total:
            n_half = next(n for n in range(1, len(counts) + 1) if 2 * sum(counts[:n]) >= total)
            half = ngettext(
                "%(total)s incidents in the last twelve months, half of them or more on %(n)s belt.",
                "%(total)s incidents in the last twelve months, half of them on %(n)s belts.",
                n_half,
            )
            words.append(half % {"total": total, "n": n_half})
        return " ".join(words)

    def table_options(self) -> dict[str, Any]:
        return {"extra_columns": [(panel["name"], panel["column"]) for panel in self.columns_of_others()]}

    def columns_of_others(self) -> list[dict[str, Any]]:
        """Columns that apps above add: name, annotation of the queryset, column."""
        return panels_for("conveyor-columns", self.request)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        # The strips are drawn for the rows of this page only, all with the same few queries.
        self.table.strips = small_strips(self.request, [row.record for row in self.table.paginated_rows])
        return super().get_context_data(**kwargs)


class ConveyorCreate(RecordPage):
    right = "plant.add_conveyor"
    form_class = ConveyorForm
    title = gettext_lazy("Add a conveyor")
    done_words = gettext_lazy("The conveyor is in the book. Next: put its pulleys, loading points and switches in.")

    def cancel_url(self) -> str:
        return reverse("conveyor-list")

    def act(self, form: ConveyorForm) -> Conveyor:
        return services.add_conveyor(
            plant=self.request.plant, by=self.request.user, client_key=form.cleaned_data["client_key"], **form.values()
        )


class ConveyorChange(RecordChange):
    right = "plant.change_conveyor"
    template_name = "plant/record_change.html"
    form_class = ConveyorForm
    queryset = Conveyor.objects.select_related("plant")
    done_words = gettext_lazy("Saved.")

    def get_title(self) -> str:
        return _("Change conveyor %s") % self.row.tag

    def act(self, form: ConveyorForm) -> Conveyor:
        return services.change_conveyor(
            self.row, by=self.request.user, version=form.cleaned_data["version"], **form.values()
        )


# --- parts ------------------------------------------------------------------------------------------------------------
class ConveyorPartCreate(RecordPage):
    right = "plant.add_conveyorpart"
    form_class = PartForm
    done_words = gettext_lazy("The part is on the strip.")

    def get_row(self) -> None:
        self.conveyor = get_visible(self.request, Conveyor.objects.all(), self.right, pk=self.kwargs["pk"])

    def get_title(self) -> str:
        return _("Add a part to %s") % self.conveyor.tag

    def cancel_url(self) -> str:
        return self.conveyor.get_absolute_url()

    def act(self, form: PartForm) -> ConveyorPart:
        return services.add_part(
            conveyor=self.conveyor, by=self.request.user, client_key=form.cleaned_data["client_key"], **form.values()
        )


class ConveyorPartChange(RecordChange):
    right = "plant.change_conveyorpart"
    template_name = "plant/record_change.html"
    form_class = PartForm
    queryset = ConveyorPart.objects.select_related("conveyor__plant")
    done_words = gettext_lazy("Saved.")

    def get_title(self) -> str:
        return _("Change %(part)s of %(tag)s") % {"part": self.row, "tag": self.row.conveyor.tag}

    def act(self, form: PartForm) -> ConveyorPart:
        return services.change_part(
            self.row, by=self.request.user, version=form.cleaned_data["version"], **form.values()
        )


class PartRemoval(RecordChange):
    right = "plant.delete_conveyorpart"
    form_class = PartRemovalForm
    queryset = ConveyorPart.objects.select_related("conveyor__plant")
    button = gettext_lazy("Remove the part")
    done_words = gettext_lazy("The part is off the strip; what it saw stays in the book.")

    def initial(self) -> dict[str, Any]:
        return {"version": self.row.version, "removed_on": timezone.localdate()}

    def form_kwargs(self) -> dict[str, Any]:
        known = super().form_kwargs()
        known.pop("instance")
        return known

    def get_title(self) -> str:
        return _("Remove %(part)s from %(tag)s?") % {"part": self.row, "tag": self.row.conveyor.tag}

    def act(self, form: PartRemovalForm) -> ConveyorPart:
        read = form.cleaned_data
        return services.remove_part(
            self.row,
            by=self.request.user,
            version=read["version"],
            removed_on=read["removed_on"],
            reason=read["reason"],
        )


@right("plant.view_conveyor")
def conveyor_detail(request: PlantRequest, pk: int) -> HttpResponse:
    """One belt: how often it wandered, what stands on it, what was changed, when it may be stopped."""
    conveyor = get_visible(request, Conveyor.objects.select_related("plant", "area"), "plant.view_conveyor", pk=pk)
    now = timezone.now()
    since, until = year_until(now)
    parts = list(conveyor.parts.filter(removed_on__isnull=True))
    panels = panels_for("conveyor-detail", request, conveyor)
    windows = list(conveyor.outage_windows.ahead(now)[:8])
    return render(
        request,
        "plant/conveyor_detail.html",
        {
            "title": conveyor.tag,
            "conveyor": conveyor,
            "strip": strip_of(request, conveyor, parts, now=now),
            "year": ledger_of(conveyor).hours(since, until),
            "since": since,
            "ledes": panels_for("conveyor-lede", request, conveyor),
            "narrow_panels": [panel for panel in panels if panel.get("span")],
            # What stands beside the panels that name their width, out of twelve columns.
            "span_left": 12 - sum(panel.get("span", 0) for panel in panels) % 12,
            "wide_panels": [panel for panel in panels if not panel.get("span")],
            "parts": parts,
            "removed_parts": conveyor.parts.filter(removed_on__isnull=False).order_by("-removed_on"),
            "changes": conveyor.belt_changes.all()[:8],
            "windows": windows,
            "next_window": windows[0] if windows else None,
        },
    )
