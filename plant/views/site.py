"""Pages that belong to nobody's topic: today, finding, choosing a plant, notices, what a text was understood as."""

from __future__ import annotations

from django.http import FileResponse, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from plant.calc.addresses import key_in
from plant.calc.reasons import NotAccepted
from plant.calc.typed_quantities import Unclear, parse_quantity
from plant.calc.units import QuantityKind, UnitSystem
from plant.models import Area, Conveyor, Photo, Plant
from plant.panels import panels_for
from plant.permissions import PlantRequest, get_visible, open_to_members, right
from plant.selectors.people import roles_in
from plant.words.typing import echo, ways_offered, why_not_read


@open_to_members
def today(request: PlantRequest) -> HttpResponse:
    """The start page: for each role of the person, what answers that role's first question."""
    if request.plant is None:
        return render(request, "plant/no_plant.html", {"title": _("No plant yet")})
    roles = roles_in(request.user, request.plant)
    panels = [panel for role in roles for panel in panels_for(f"today:{role}", request, request.plant)]
    first_steps = {
        "is_blank": not Conveyor.objects.of_plant(request.plant).exists(),
        "has_area": Area.objects.of_plant(request.plant).exists(),
    }
    return render(request, "plant/today.html", {"title": _("Today"), "panels": panels, "roles": roles, **first_steps})


@open_to_members
def find(request: PlantRequest) -> HttpResponse:
    """Finds by tag, serial number or place; one hit opens at once."""
    text = request.GET.get("q", "").strip()
    hits = []
    if text and request.plant:
        exact = Conveyor.objects.visible_to(request.user).by_tag(request.plant, text).first()
        hits = [hit for panel in panels_for("find", request, text) for hit in panel["hits"]]
        if exact is not None:
            hits.insert(0, {"url": exact.get_absolute_url(), "label": exact.tag, "detail": exact.name})
        else:
            like = Conveyor.objects.visible_to(request.user).filter(tag__icontains=text) | Conveyor.objects.visible_to(
                request.user
            ).filter(name__icontains=text)
            hits = [
                {"url": each.get_absolute_url(), "label": each.tag, "detail": each.name} for each in like[:20]
            ] + hits
    if len(hits) == 1:
        return redirect(hits[0]["url"])
    return render(request, "plant/find.html", {"title": _("Find"), "hits": hits, "find_text": text})


@open_to_members
def choose_plant(request: PlantRequest) -> HttpResponse:
    if request.method == "POST":
        chosen = get_object_or_404(Plant.objects.visible_to(request.user), pk=key_in(request.POST.get("plant")))
        request.session["plant"] = chosen.pk
        return redirect("today")
    return render(request, "plant/plant_choose.html", {"title": _("Choose a plant")})


@open_to_members
def notices(request: PlantRequest) -> HttpResponse:
    rows = request.user.notices.filter(plant__in=request.plants).select_related("plant")[:200]
    return render(request, "plant/notices.html", {"title": _("Notices"), "notices": rows})


@require_POST
@open_to_members
def read_notices(request: PlantRequest) -> HttpResponse:
    request.user.notices.filter(read_at__isnull=True).update(read_at=timezone.now())
    return redirect("notices")


@open_to_members
def understood(request: PlantRequest) -> HttpResponse:
    """The echo below a quantity input: what the text was taken for, or what it may mean, with a button for each."""
    text = request.GET.get(request.GET.get("field", "text"), "")
    words, ways = "", []
    try:
        kind = QuantityKind(request.GET.get("kind", ""))
        if text.strip():
            system, negative = UnitSystem(request.user.unit_system), request.GET.get("negative") == "1"
            words = echo(parse_quantity(text, kind, system, allow_negative=negative))
    except Unclear as unclear:
        words, ways = why_not_read(unclear), ways_offered(unclear)
    except NotAccepted as problem:
        words = why_not_read(problem)
    except ValueError as error:  # no such kind
        words = str(error)
    return render(request, "plant/_understood.html", {"words": words, "ways": ways})


@right("plant.view_photo")
def photo(request: PlantRequest, pk: int) -> FileResponse:
    """The picture, to people of its plant only."""
    row = get_visible(request, Photo.objects.all(), "plant.view_photo", pk=pk)
    return FileResponse(row.file.open("rb"), content_type=f"image/{row.image_format.lower()}")
