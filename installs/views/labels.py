"""Labels with a code to scan, and the short address that they open."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect

from installs.files.labels import label_image, label_pdf
from installs.models import Device
from plant.calc.addresses import keys_in
from plant.files.pdf import paper_of, pdf_answer
from plant.permissions import PlantRequest, get_visible, open_to_members, right


@open_to_members
def open_label(request: PlantRequest, label_code: str) -> HttpResponse:
    """Where a label leads: the place where the device stands, else the device. Another plant's label is not there."""
    device = get_object_or_404(Device.objects.visible_to(request.user), label_code__iexact=label_code)
    standing = device.installations.in_place().first()
    return redirect(standing or device)


@right("installs.view_device")
def label_sheet(request: PlantRequest) -> HttpResponse:
    """Labels of the plant's devices, or of those that are named with ?device=."""
    rows = Device.objects.of_plant(request.plant).filter(scrapped_on__isnull=True).select_related("device_model")
    asked = keys_in(request.GET.getlist("device"))
    chosen = [row for row in rows if row.pk in asked] if asked else rows
    paper = paper_of(request.GET.get("paper", ""))
    return pdf_answer(label_pdf(chosen, paper=paper), "labels.pdf")


@right("installs.view_device")
def device_label(request: PlantRequest, pk: int) -> HttpResponse:
    """The label of one device."""
    row = get_visible(request, Device.objects.select_related("plant", "device_model"), "installs.view_device", pk=pk)
    paper = paper_of(request.GET.get("paper", ""))
    return pdf_answer(label_pdf([row], paper=paper), f"label-{row.label_code}.pdf")


@right("installs.view_device")
def device_code(request: PlantRequest, pk: int) -> HttpResponse:
    """The code of one device as SVG, for an engraver or a label printer of the plant's own."""
    row = get_visible(request, Device.objects.all(), "installs.view_device", pk=pk)
    name = f"label-{row.label_code}.svg"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return HttpResponse(label_image(row), content_type="image/svg+xml", headers=headers)
