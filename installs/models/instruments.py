"""Instruments: torque wrenches and other tools whose calibration runs out.

They stand in this app and not in inspections because the sign-off of a torque at the installation needs them first.
"""

from __future__ import annotations

from datetime import date
from typing import Self

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from plant.calc.moments import MomentKind
from plant.models import Plant, PlantQuerySet, Record
from plant.models.exported import Exported


class InstrumentQuerySet(PlantQuerySet["Instrument"]):
    def in_use(self) -> Self:
        return self.filter(retired_on__isnull=True)

    def in_calibration(self, on: date) -> Self:
        return self.in_use().filter(calibration_due_on__gte=on)


class Instrument(Record):
    class Kind(models.TextChoices):
        TORQUE_WRENCH = "torque_wrench", _("torque wrench")
        FORCE_GAUGE = "force_gauge", _("force gauge")
        CALIPER = "caliper", _("caliper")
        TAPE = "tape", _("tape")
        OTHER = "other", _("other")

    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="instruments", editable=False)
    number = models.CharField(_("number"), max_length=40)
    kind = models.CharField(_("kind"), max_length=15, choices=Kind, default=Kind.TORQUE_WRENCH)
    range_least_nm = models.FloatField(_("range from"), null=True, blank=True)
    range_most_nm = models.FloatField(_("range to"), null=True, blank=True)
    # ISO 6789:2003, type II class A: 4 % above 10 N·m, 6 % up to 10 N·m (read in a summary); other tools as certified.
    deviation_pct = models.FloatField(
        _("permissible deviation"),
        null=True,
        blank=True,
        validators=[MinValueValidator(0.1), MaxValueValidator(25)],
    )
    calibrated_on = models.DateField(_("calibrated on"), null=True, blank=True)
    calibration_due_on = models.DateField(_("calibration due on"), null=True, blank=True)
    certificate = models.CharField(_("certificate"), max_length=80, blank=True)
    retired_on = models.DateField(_("no longer used since"), null=True, blank=True)
    note = models.CharField(_("note"), max_length=200, blank=True)

    moments = {
        "calibrated_on": MomentKind.HAPPENED,
        "calibration_due_on": MomentKind.PLANNED,
        "retired_on": MomentKind.PLANNED,
    }

    objects = InstrumentQuerySet.as_manager()

    exported = Exported("instruments", key=("number",))

    class Meta:
        verbose_name = _("instrument")
        verbose_name_plural = _("instruments")
        ordering = ["number"]
        constraints = [
            models.UniqueConstraint(fields=["plant", "number"], name="instrument_number_once"),
            models.CheckConstraint(
                condition=Q(calibrated_on__isnull=True)
                | Q(calibration_due_on__isnull=True)
                | Q(calibration_due_on__gte=models.F("calibrated_on")),
                name="instrument_calibration_order",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.number}"

    def get_absolute_url(self) -> str:
        return reverse("instrument-detail", args=[self.pk])
