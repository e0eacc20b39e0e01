"""Labels of devices: a code to scan that holds the device's short address, its number and its label code."""

from __future__ import annotations

import io
from collections.abc import Iterable

import segno
from django.conf import settings
from django.urls import reverse
from django.utils.translation import gettext as _

from installs.models import Device
from plant.files.pdf import pdf


def label_address(device: Device) -> str:
    """The address in the code; it stays as long as the device has its label."""
    return settings.SITE_ADDRESS + reverse("label", args=[device.label_code])


def label_image(device: Device) -> bytes:
    """The code as SVG. Level Q: a quarter of it may be dirty and it still reads (ISO/IEC 18004, from memory)."""
    buffer = io.BytesIO()
    segno.make(label_address(device), error="q", micro=False).save(buffer, kind="svg", border=2, dark="#000")
    return buffer.getvalue()


def label_pdf(devices: Iterable[Device], *, paper: str) -> bytes:
    """Labels in rows of three on sheets to cut or to print on adhesive paper."""
    # As people count them: 2 before 10, and T-2 before T-10.
    rows = sorted(devices, key=lambda each: (len(each.number), each.number))
    labels = [
        {
            "number": each.number,
            "code": each.label_code,
            "model": str(each.device_model),
            "address": label_address(each),
            "image": f"{each.label_code}.svg",
        }
        for each in rows
    ]
    images = {f"{each.label_code}.svg": label_image(each) for each in rows}
    return pdf("installs/labels.typ", {"title": _("Labels of devices"), "labels": labels}, paper=paper, images=images)
