"""Spec sheets of device types, free of makers."""

from __future__ import annotations

from typing import Any, Self

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from plant.models import Plant, PlantQuerySet, Record, Row, Strand
from plant.models.exported import Exported


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
    speed_least_m_s = models.FloatField(_("belt speed from"), null=True, blank=True)
    speed_most_m_s = models.FloatField(_("belt speed up to"), null=True, blank=True)
    clearance_below_mm = models.FloatField(_("least clearance below"), null=True, blank=True)
    clearance_beside_mm = models.FloatField(_("least clearance beside"), null=True, blank=True)
    clearance_along_mm = models.FloatField(_("least room along the belt"), null=True, blank=True)
    mass_kg = models.FloatField(_("mass"), null=True, blank=True)
    pivot_range_deg = models.FloatField(_("pivot range each way"), null=True, blank=True)
    tilt_range_deg = models.FloatField(_("tilt range each way"), null=True, blank=True)
    frame_length_least_mm = models.FloatField(_("frame length from"), null=True, blank=True)
    frame_length_most_mm = models.FloatField(_("frame length to"), null=True, blank=True)
    extension_most_mm = models.FloatField(_("largest extension each side"), null=True, blank=True)
    end_play_least_mm = models.FloatField(_("end play in total from"), null=True, blank=True)
    end_play_most_mm = models.FloatField(_("end play in total to"), null=True, blank=True)
    roller_drop_mm = models.FloatField(_("drop from bracket to roller top"), null=True, blank=True)
    belt_lift_least_mm = models.FloatField(_("belt lift from"), null=True, blank=True)
    belt_lift_most_mm = models.FloatField(_("belt lift to"), null=True, blank=True)
    sensor_gap_mm = models.FloatField(_("sensor gap each side, belt centred"), null=True, blank=True)
    sensor_gap_tolerance_mm = models.FloatField(_("tolerance of the sensor gap"), null=True, blank=True)
    sensor_gap_sum_mm = models.FloatField(_("sum of both sensor gaps"), null=True, blank=True)
    # The length to reckon with; the least and the most tell how sure a place at the edge of the zone is.
    effect_length_m = models.FloatField(
        _("effect length downstream"), null=True, blank=True, validators=[MinValueValidator(1), MaxValueValidator(500)]
    )
    effect_length_least_m = models.FloatField(
        _("effect length, least"), null=True, blank=True, validators=[MinValueValidator(1), MaxValueValidator(500)]
    )
    effect_length_most_m = models.FloatField(
        _("effect length, most"), null=True, blank=True, validators=[MinValueValidator(1), MaxValueValidator(500)]
    )
    sensor_new_mm = models.FloatField(_("sensor roller, new diameter"), null=True, blank=True)
    sensor_limit_mm = models.FloatField(_("sensor roller, limit diameter"), null=True, blank=True)
    breakaway_limit_n = models.FloatField(_("pivot breakaway force up to"), null=True, blank=True)
    note = models.CharField(_("note"), max_length=300, blank=True)

    objects = PlantQuerySet.as_manager()

    exported = Exported("device_models", key=("name",))

    parts_of_it = ("installs.Fastener", "installs.ModelPart", "installs.ModelSheet")

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


class FastenerQuerySet(PlantQuerySet[Any]):
    """Rows that belong to a device model and with it to a plant."""

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
    # The same, in the words of the tables of standards: an estimate of torque needs both.
    thread = models.CharField(_("thread"), max_length=20, blank=True, help_text=_("For example M12 or 1/2-13."))
    strength_class = models.CharField(
        _("class or grade"), max_length=20, blank=True, help_text=_("For example 8.8 or grade 5.")
    )
    nut_factor = models.FloatField(
        _("nut factor K"), null=True, blank=True, validators=[MinValueValidator(0.05), MaxValueValidator(0.6)]
    )
    preload_fraction = models.FloatField(
        _("preload, share of proof load"),
        null=True,
        blank=True,
        validators=[MinValueValidator(0.1), MaxValueValidator(0.95)],
    )
    torque_nm = models.FloatField(_("target torque"), null=True, blank=True, validators=[MinValueValidator(0.1)])
    tolerance_pct = models.FloatField(
        _("tolerance"), default=10, validators=[MinValueValidator(0.1), MaxValueValidator(50)]
    )

    objects = FastenerQuerySet.as_manager()

    exported = Exported(
        "fasteners",
        key=("device_model", "place"),
        meanings={"device_model": _("the device model that it belongs to")},
        units={"count": "1", "nut_factor": "1", "preload_fraction": "1"},
    )

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


class ModelPart(Record):
    """A part, tool or lifting aid that the fitting of this model needs."""

    class Kind(models.TextChoices):
        PART = "part", _("part")
        TOOL = "tool", _("tool")
        LIFTING = "lifting", _("lifting aid")

    device_model = models.ForeignKey(DeviceModel, on_delete=models.CASCADE, related_name="parts", editable=False)
    kind = models.CharField(_("what"), max_length=10, choices=Kind, default=Kind.PART)
    name = models.CharField(_("name"), max_length=80)
    count = models.PositiveSmallIntegerField(
        _("how many"), default=1, validators=[MinValueValidator(1), MaxValueValidator(200)]
    )
    note = models.CharField(_("note"), max_length=120, blank=True)

    objects = FastenerQuerySet.as_manager()

    exported = Exported(
        "model_parts",
        key=("device_model", "kind", "name"),
        meanings={"device_model": _("the device model that needs it")},
        units={"count": "1"},
    )

    class Meta:
        verbose_name = _("part or tool")
        verbose_name_plural = _("parts and tools")
        ordering = ["kind", "pk"]
        constraints = [models.UniqueConstraint(fields=["device_model", "kind", "name"], name="model_part_once")]

    def __str__(self) -> str:
        return f"{self.name} ({self.count})"

    @property
    def plant(self) -> Plant:
        return self.device_model.plant


class ModelSheet(Row):
    """One version of a model's spec sheet, as it stood: an installation keeps the version that it was fitted to."""

    device_model = models.ForeignKey(DeviceModel, on_delete=models.PROTECT, related_name="sheets", editable=False)
    number = models.PositiveIntegerField(_("version of the sheet"))
    # Field names of DeviceModel with their values, "fasteners" and "parts" as lists of such.
    content = models.JSONField()
    reason = models.CharField(_("what changed"), max_length=200, blank=True)

    objects = FastenerQuerySet.as_manager()

    exported = Exported(
        "model_sheets",
        key=("device_model", "number"),
        meanings={
            "device_model": _("the device model"),
            "content": _("the sheet: columns of device_models with their values, with fasteners and parts"),
        },
        units={"number": "1"},
    )

    class Meta:
        verbose_name = _("version of a spec sheet")
        verbose_name_plural = _("versions of spec sheets")
        ordering = ["device_model", "-number"]
        constraints = [models.UniqueConstraint(fields=["device_model", "number"], name="model_sheet_number_once")]

    def __str__(self) -> str:
        return f"{self.device_model} sheet {self.number}"

    @property
    def plant(self) -> Plant:
        return self.device_model.plant
