"""Conveyors and what sits on them, by chainage: metres along the conveyor from the tail pulley's centre."""

from __future__ import annotations

from typing import Any, Self

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from plant.calc.chainage import tag_key
from plant.calc.moments import MomentKind
from plant.calc.wording import said_once

from .base import PlantQuerySet, Record
from .exported import Exported
from .plants import Area, Plant


class Strand(models.TextChoices):
    CARRY = "carry", _("carry strand")
    RETURN = "return", _("return strand")


class Side(models.TextChoices):
    DRIVE = "drive", _("drive side")
    OFF = "off", _("off side")


class ConveyorQuerySet(PlantQuerySet["Conveyor"]):
    def by_tag(self, plant: Plant, tag: str) -> Self:
        """The conveyor that a person means by this tag, however they spell it (S12, s-12, CV-S12)."""
        return self.filter(plant=plant, tag_key=tag_key(tag))


class Conveyor(Record):
    class Duty(models.TextChoices):
        ORDINARY = "ordinary", _("ordinary")
        WET_ABRASIVE = "wet_abrasive", _("wet or abrasive")

    class Criticality(models.TextChoices):
        LOW = "low", _("low")
        MEDIUM = "medium", _("medium")
        HIGH = "high", _("high")

    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="conveyors", editable=False)
    area = models.ForeignKey(Area, verbose_name=_("area"), on_delete=models.PROTECT, related_name="conveyors")
    tag = models.CharField(_("tag"), max_length=30)
    tag_key = models.CharField(max_length=30, editable=False)
    name = models.CharField(_("name"), max_length=120, blank=True)
    belt_width_mm = models.FloatField(_("belt width"), validators=[MinValueValidator(100), MaxValueValidator(4000)])
    speed_m_s = models.FloatField(_("belt speed"), validators=[MinValueValidator(0.01), MaxValueValidator(20)])
    length_m = models.FloatField(
        _("length, centre to centre"), validators=[MinValueValidator(1), MaxValueValidator(50_000)]
    )
    lift_m = models.FloatField(
        _("lift"),
        default=0,
        validators=[MinValueValidator(-2000), MaxValueValidator(2000)],
        help_text=_("Height of the head above the tail; negative where the belt goes down."),
    )
    edge_clearance_mm = models.FloatField(
        _("edge clearance each side"), null=True, blank=True, validators=[MinValueValidator(0), MaxValueValidator(2000)]
    )
    is_reversing = models.BooleanField(_("reversing"), default=False)
    duty = models.CharField(_("duty"), max_length=20, choices=Duty, default=Duty.ORDINARY)
    criticality = models.CharField(_("criticality"), max_length=10, choices=Criticality, default=Criticality.MEDIUM)
    meter_rolls_over_at_h = models.FloatField(
        _("hour meter starts again at"),
        null=True,
        blank=True,
        validators=[MinValueValidator(1)],
        help_text=_("For example 10,000 for a meter with four digits. Leave empty where it never did."),
    )
    usual_tonnes_per_hour = models.FloatField(
        _("usual tonnes per hour"),
        null=True,
        blank=True,
        validators=[MinValueValidator(0), MaxValueValidator(50_000)],
        help_text=_("Turns minutes lost into tonnes not conveyed; empty: the tonnes are not told."),
    )
    energies = models.CharField(
        _("stored energies of this belt"),
        max_length=300,
        blank=True,
        help_text=_("Gravity take-up, incline, reversing drive, automatic start: shown to everyone sent here."),
    )
    # Metres on the plant's own map: with both ends a device's place follows from its chainage.
    x_m = models.FloatField(
        _("tail pulley on the plant map, east"),
        null=True,
        blank=True,
        validators=[MinValueValidator(-100_000), MaxValueValidator(100_000)],
    )
    y_m = models.FloatField(
        _("tail pulley on the plant map, north"),
        null=True,
        blank=True,
        validators=[MinValueValidator(-100_000), MaxValueValidator(100_000)],
    )
    head_x_m = models.FloatField(
        _("head pulley on the plant map, east"),
        null=True,
        blank=True,
        validators=[MinValueValidator(-100_000), MaxValueValidator(100_000)],
    )
    head_y_m = models.FloatField(
        _("head pulley on the plant map, north"),
        null=True,
        blank=True,
        validators=[MinValueValidator(-100_000), MaxValueValidator(100_000)],
    )
    retired_on = models.DateField(_("taken out of use on"), null=True, blank=True)

    moments = {"retired_on": MomentKind.PLANNED}

    objects = ConveyorQuerySet.as_manager()

    exported = Exported(
        "conveyors",
        key=("tag",),
        meanings={"tag_key": _("the tag as the book compares it")},
        units={"usual_tonnes_per_hour": "t/h"},
    )

    class Meta:
        verbose_name = _("conveyor")
        verbose_name_plural = _("conveyors")
        ordering = ["tag"]
        constraints = [
            models.UniqueConstraint(fields=["plant", "tag_key"], name="conveyor_tag_once"),
            models.CheckConstraint(condition=models.Q(belt_width_mm__gt=0), name="conveyor_belt_width_positive"),
            models.CheckConstraint(condition=models.Q(speed_m_s__gt=0), name="conveyor_speed_positive"),
            models.CheckConstraint(condition=models.Q(length_m__gt=0), name="conveyor_length_positive"),
        ]

    def __str__(self) -> str:
        return self.tag

    def save(self, *args: Any, **kwargs: Any) -> None:
        self.tag_key = tag_key(self.tag)
        super().save(*args, **kwargs)

    def get_absolute_url(self) -> str:
        return reverse("conveyor-detail", args=[self.pk])


class ConveyorPartQuerySet(PlantQuerySet["ConveyorPart"]):
    plant_path = "conveyor__plant"

    def visible_to(self, person: Any) -> Self:
        return self.filter(conveyor__in=Conveyor.objects.visible_to(person))

    def drift_switches(self) -> Self:
        return self.filter(kind=ConveyorPart.Kind.DRIFT_SWITCH)


class ConveyorPart(Record):
    """A pulley, loading point, scraper, drift switch or the like at its chainage."""

    class Kind(models.TextChoices):
        HEAD_PULLEY = "head_pulley", _("head pulley")
        TAIL_PULLEY = "tail_pulley", _("tail pulley")
        DRIVE_PULLEY = "drive_pulley", _("drive pulley")
        SNUB_PULLEY = "snub_pulley", _("snub pulley")
        BEND_PULLEY = "bend_pulley", _("bend pulley")
        TAKE_UP = "take_up", _("take-up")
        LOADING_POINT = "loading_point", _("loading point")
        SCRAPER = "scraper", _("scraper")
        DRIFT_SWITCH = "drift_switch", _("drift switch")
        BELT_SCALE = "belt_scale", _("belt scale")
        GUARD = "guard", _("guard")

    conveyor = models.ForeignKey(Conveyor, on_delete=models.CASCADE, related_name="parts", editable=False)
    kind = models.CharField(_("what"), max_length=20, choices=Kind)
    strand = models.CharField(
        _("strand"), max_length=10, choices=Strand, blank=True, help_text=_("Empty: both strands (a pulley, a switch).")
    )
    chainage_m = models.FloatField(_("chainage"), validators=[MinValueValidator(0)])
    label = models.CharField(_("tag or name"), max_length=60, blank=True)
    note = models.CharField(_("note"), max_length=200, blank=True)
    removed_on = models.DateField(_("removed on"), null=True, blank=True)

    moments = {"removed_on": MomentKind.HAPPENED}

    objects = ConveyorPartQuerySet.as_manager()

    exported = Exported("conveyor_parts", meanings={"conveyor": _("the conveyor that it sits on")})

    class Meta:
        verbose_name = _("part of the conveyor")
        verbose_name_plural = _("parts of the conveyor")
        ordering = ["chainage_m", "kind"]
        constraints = [models.CheckConstraint(condition=models.Q(chainage_m__gte=0), name="part_chainage_not_negative")]

    def __str__(self) -> str:
        return said_once(str(self.get_kind_display()), self.label)

    def get_absolute_url(self) -> str:
        return f"{reverse('conveyor-detail', args=[self.conveyor_id])}#parts"

    @property
    def plant(self) -> Plant:
        return self.conveyor.plant
