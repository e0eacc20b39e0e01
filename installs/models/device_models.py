"""Spec sheets of device types, free of makers."""

from __future__ import annotations

from typing import Any, Self

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from plant.models import Plant, PlantQuerySet, Record, Strand


class DeviceModel(Record):
    """What one type of tracking device is made for. An empty field means: the maker did not state it."""

    class Pivot(models.TextChoices):
        PIVOT = "pivot", _("pivot about a vertical")
        TILT = "tilt", _("tilt about the travel axis")
        PIVOT_TILT = "pivot_tilt", _("pivot and tilt")
        TWO_WAY = "two_way", _("two-way")

    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="device_models", editable=False)
    name = models.CharField(_("name"), max_length=60)
    strand = models.CharField(_("strand"), max_length=10, choices=Strand, default=Strand.RETURN)
    suits_reversing = models.BooleanField(_("made for reversing belts"), default=False)
    pivot = models.CharField(_("frame"), max_length=12, choices=Pivot, default=Pivot.PIVOT)
    trough_angle_deg = models.FloatField(_("trough angle"), null=True, blank=True)
    belt_width_least_mm = models.FloatField(_("belt width from"), null=True, blank=True)
    belt_width_most_mm = models.FloatField(_("belt width to"), null=True, blank=True)
    speed_most_m_s = models.FloatField(_("belt speed up to"), null=True, blank=True)
    clearance_below_mm = models.FloatField(_("least clearance below"), null=True, blank=True)
    clearance_beside_mm = models.FloatField(_("least clearance beside"), null=True, blank=True)
    mass_kg = models.FloatField(_("mass"), null=True, blank=True)
    effect_length_m = models.FloatField(
        _("effect length downstream"), null=True, blank=True, validators=[MinValueValidator(1), MaxValueValidator(500)]
    )
    sensor_new_mm = models.FloatField(_("sensor roller, new diameter"), null=True, blank=True)
    sensor_limit_mm = models.FloatField(_("sensor roller, limit diameter"), null=True, blank=True)
    breakaway_limit_n = models.FloatField(_("pivot breakaway force up to"), null=True, blank=True)
    note = models.CharField(_("note"), max_length=300, blank=True)

    objects = PlantQuerySet.as_manager()

    class Meta:
        verbose_name = _("device model")
        verbose_name_plural = _("device models")
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(fields=["plant", "name"], name="device_model_name_once"),
            models.CheckConstraint(
                condition=models.Q(sensor_new_mm__isnull=True)
                | models.Q(sensor_limit_mm__isnull=True)
                | models.Q(sensor_limit_mm__lt=models.F("sensor_new_mm")),
                name="device_model_limit_below_new",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        return reverse("device-model-detail", args=[self.pk])


class FastenerQuerySet(PlantQuerySet["Fastener"]):
    plant_path = "device_model__plant"

    def visible_to(self, person: Any) -> Self:
        return self.filter(device_model__in=DeviceModel.objects.visible_to(person))


class Fastener(Record):
    """A group of like fasteners of a model, with the torque that the maker states."""

    device_model = models.ForeignKey(DeviceModel, on_delete=models.CASCADE, related_name="fasteners", editable=False)
    place = models.CharField(_("place"), max_length=60)
    count = models.PositiveSmallIntegerField(
        _("how many"), default=1, validators=[MinValueValidator(1), MaxValueValidator(40)]
    )
    size = models.CharField(_("size and class"), max_length=40, blank=True)
    torque_nm = models.FloatField(_("target torque"), null=True, blank=True, validators=[MinValueValidator(0.1)])
    tolerance_pct = models.FloatField(
        _("tolerance"), default=10, validators=[MinValueValidator(0.1), MaxValueValidator(50)]
    )

    objects = FastenerQuerySet.as_manager()

    class Meta:
        verbose_name = _("fastener")
        verbose_name_plural = _("fasteners")
        ordering = ["pk"]
        constraints = [models.UniqueConstraint(fields=["device_model", "place"], name="fastener_place_once")]

    def __str__(self) -> str:
        return f"{self.place} ({self.count})"

    @property
    def plant(self) -> Plant:
        return self.device_model.plant
