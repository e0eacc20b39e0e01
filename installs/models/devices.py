"""Devices: single pieces of hardware with a number, wherever they are fitted."""

from __future__ import annotations

import secrets

from django.db import models
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from plant.calc.moments import MomentKind
from plant.models import Plant, PlantQuerySet, Record
from plant.models.exported import Exported

from .device_models import DeviceModel

# Letters and digits that nobody mixes up when reading a label in bad light.
LABEL_ALPHABET = "23456789ABCDEFGHJKMNPQRSTVWXYZ"


def new_label_code() -> str:
    return "".join(secrets.choice(LABEL_ALPHABET) for _ in range(6))


class Device(Record):
    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="devices", editable=False)
    number = models.CharField(_("number"), max_length=30)
    device_model = models.ForeignKey(
        DeviceModel, verbose_name=_("model"), on_delete=models.PROTECT, related_name="devices"
    )
    serial = models.CharField(_("serial number"), max_length=60, blank=True)
    label_code = models.CharField(_("label code"), max_length=12, unique=True, default=new_label_code, editable=False)
    scrapped_on = models.DateField(_("scrapped on"), null=True, blank=True)
    scrapped_reason = models.CharField(_("why it was scrapped"), max_length=200, blank=True, editable=False)
    note = models.CharField(_("note"), max_length=300, blank=True)

    moments = {"scrapped_on": MomentKind.HAPPENED}

    objects = PlantQuerySet.as_manager()

    exported = Exported("devices", key=("number",))

    class Meta:
        verbose_name = _("device")
        verbose_name_plural = _("devices")
        ordering = ["number"]
        constraints = [models.UniqueConstraint(fields=["plant", "number"], name="device_number_once")]

    def __str__(self) -> str:
        return self.number

    def get_absolute_url(self) -> str:
        return reverse("device-detail", args=[self.pk])
