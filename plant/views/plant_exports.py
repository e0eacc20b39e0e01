"""Everything of a plant as one file: asked for, followed, fetched."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.contrib import messages
from django.http import FileResponse, Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _

from plant.calc.retention import KeptFor
from plant.models import PlantExport
from plant.permissions import PlantRequest, get_visible, right
from plant.services.plant_exports import ask_for_export, clears_on, export_path

RIGHT = "plant.export_plant"
MOST_SHOWN = 50


@right(RIGHT)
def export_page(request: PlantRequest) -> HttpResponse:
    """What goes out, the button, and what was asked for before."""
    if request.method == "POST":
        ask_for_export(plant=request.plant, by=request.user)
        messages.success(request, _("Everything is being written. You can leave this page; a notice tells you."))
        return redirect("plant-export")
    return render(request, "plant/plant_export.html", {"title": _("Take everything out"), **shown(request)})


def shown(request: PlantRequest) -> dict[str, Any]:
    exports = list(PlantExport.objects.of_plant(request.plant).select_related("created_by", "job")[:MOST_SHOWN])
    rows = [{"export": each, "taken_away": each.cleared_at or clears_on(each)} for each in exports]
    running = next((each for each in exports if each.standing in ("waiting", "running")), None)
    return {
        "rows": rows,
        "running": running,
        "job": running and running.job,
        "days": settings.KEEP_DAYS[KeptFor.EXPORTS],
    }


@right(RIGHT)
def export_progress(request: PlantRequest) -> HttpResponse:
    """The bar alone, asked for every two seconds; when the job is over the page is loaded anew."""
    context = shown(request)
    answer = render(request, "plant/_plant_export_progress.html", context)
    if context["running"] is None:
        answer["HX-Refresh"] = "true"
    return answer


@right(RIGHT)
def export_file(request: PlantRequest, pk: int) -> FileResponse:
    export = get_visible(request, PlantExport.objects.select_related("plant"), RIGHT, pk=pk)
    if export.standing != "there":
        raise Http404
    try:
        file = export_path(export).open("rb")
    except FileNotFoundError as error:
        raise Http404 from error
    return FileResponse(file, as_attachment=True, filename=export.file_name, content_type="application/zip")
