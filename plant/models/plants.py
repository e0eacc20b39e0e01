"""Plants and their areas."""

from __future__ import annotations

import datetime as dt
from typing import Any, Self
from zoneinfo import ZoneInfo, available_timezones

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from plant.calc.moments import MomentKind
from plant.calc.wording import said_once
from plant.calc.working_days import read_holidays

from .base import PlantQuerySet, Record
from .exported import Exported


def check_time_zone(name: str) -> None:
    if name not in available_timezones():
        raise ValidationError(_("%(name)s is not a time zone; give one such as Europe/Berlin."), params={"name": name})


def check_holidays(text: str) -> None:
    try:
        read_holidays(text)
    except ValueError as error:
        raise ValidationError(_("Holidays: %(fault)s."), params={"fault": error}) from error


class PlantsQuerySet(PlantQuerySet["Plant"]):
    plant_path = "pk"

    def visible_to(self, person: Any) -> Self:
        if not person.is_authenticated:
            return self.none()
        return self.filter(memberships__person=person).distinct()

    def of_plant(self, plant: Any) -> Self:
        return self.filter(pk=plant.pk)


class Plant(Record):
    """One site with its own clock, procedures and start values (common practice; a plant changes them)."""

    class Ton(models.TextChoices):
        TONNE = "t", _("tonne (1000 kg)")
        SHORT = "short_ton", _("short ton (2000 lb)")
        LONG = "long_ton", _("long ton (2240 lb)")

    name = models.CharField(_("name"), max_length=80, unique=True)
    time_zone = models.CharField(_("time zone"), max_length=60, default="UTC", validators=[check_time_zone])
    ton = models.CharField(_("tons are"), max_length=10, choices=Ton, default=Ton.TONNE)
    lockout_procedure = models.CharField(_("lockout procedure, title and revision"), max_length=200, blank=True)
    lockout_reviewed_on = models.DateField(_("lockout procedure last reviewed"), null=True, blank=True)
    merge_minutes = models.PositiveSmallIntegerField(
        _("switch events less than this far apart are one incident [min]"), default=10
    )
    settling_in_days = models.PositiveSmallIntegerField(_("settling-in left out of comparisons [days]"), default=14)
    settling_in_h = models.PositiveSmallIntegerField(_("or running hours, whichever comes first [h]"), default=200)
    least_coverage_pct = models.PositiveSmallIntegerField(
        _("least share of hours that must be known for a verdict [%]"), default=80, validators=[MaxValueValidator(100)]
    )
    margin_low = models.FloatField(
        _("ratio from which a change counts as little"), default=0.8, validators=[MinValueValidator(0.05)]
    )
    margin_high = models.FloatField(_("ratio up to which a change counts as little"), default=1.25)
    # Start values of the rate watch: own rules, to be set to how often a plant wants to be called for nothing.
    watch_alarm_years = models.PositiveSmallIntegerField(
        _("rate watch: years between two false alarms of a device that stays as good [years]"),
        default=5,
        validators=[MinValueValidator(1), MaxValueValidator(50)],
    )
    watch_learn_h = models.PositiveSmallIntegerField(
        _("rate watch: running hours after settling-in from which a good rate is learnt [h]"),
        default=1500,
        validators=[MinValueValidator(100), MaxValueValidator(20_000)],
    )
    watch_least_share_pct = models.PositiveSmallIntegerField(
        _("rate watch: a good rate is taken as at least this share of the rate before the device [%]"),
        default=33,
        validators=[MaxValueValidator(100)],
    )
    escalate_after_days = models.PositiveSmallIntegerField(_("days late after which the planner is told"), default=7)
    effect_length_m = models.FloatField(
        _("effect length where the model states none [m]"), default=50.0, validators=[MinValueValidator(1)]
    )
    # Common practice, no source: stairs, gratings and gates make people slower than on a road.
    walking_m_s = models.FloatField(
        _("walking speed"), default=1.0, validators=[MinValueValidator(0.2), MaxValueValidator(3)]
    )
    lockout_minutes = models.PositiveSmallIntegerField(
        _("time to isolate a belt and prove it [min]"), default=15, validators=[MaxValueValidator(240)]
    )
    # Permitted run-off: common practice, no source; the smaller of the two holds.
    runoff_share_pct = models.FloatField(
        _("permitted run-off of a belt, share of its width [%]"),
        default=5.0,
        validators=[MinValueValidator(0.5), MaxValueValidator(50)],
    )
    runoff_most_mm = models.FloatField(
        _("permitted run-off of a belt at most [mm]"),
        default=75.0,
        validators=[MinValueValidator(5), MaxValueValidator(500)],
    )

    # What a plant reckons with. There is no start value for money: an empty cost is missing, never zero.
    currency = models.CharField(_("currency"), max_length=3, blank=True, help_text=_("For example EUR."))
    cost_of_stop_hour = models.FloatField(
        _("cost of an hour that a belt stands"), null=True, blank=True, validators=[MinValueValidator(0)]
    )
    cost_of_spilled_tonne = models.FloatField(
        _("cost of a spilled tonne, cleaned up"), null=True, blank=True, validators=[MinValueValidator(0)]
    )

    # Text and not rows: people paste a year's list in, and the history of the plant shows it as they wrote it.
    holidays = models.TextField(
        _("holidays of the plant"),
        blank=True,
        max_length=4000,
        validators=[check_holidays],
        help_text=_(
            "One a line, for example 2026-12-25 Christmas Day. The month goes out by e-mail on the first working day: "
            "Monday to Friday and no holiday."
        ),
    )

    moments = {"lockout_reviewed_on": MomentKind.HAPPENED}

    objects = PlantsQuerySet.as_manager()

    exported = Exported(
        "plant",
        key=("name",),
        units={
            "margin_low": "1",
            "margin_high": "1",
            "cost_of_stop_hour": "currency/h",
            "cost_of_spilled_tonne": "currency/t",
        },
    )

    class Meta:
        verbose_name = _("plant")
        verbose_name_plural = _("plants")
        ordering = ["name"]
        permissions = [("manage_people", "Can give people a role in the plant")]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(margin_low__lt=models.F("margin_high")), name="plant_margin_order"
            )
        ]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        return reverse("plant-settings")

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.time_zone)

    @property
    def holiday_names(self) -> dict[dt.date, str]:
        return read_holidays(self.holidays)

    @property
    def plant(self) -> Plant:
        return self


class Area(Record):
    """A part of the plant that people walk as one."""

    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="areas")
    code = models.CharField(_("code"), max_length=12)
    name = models.CharField(_("name"), max_length=80)
    walking_order = models.PositiveSmallIntegerField(_("order when walking"), default=0)
    # Metres on the plant's own map, from any origin; the middle of the area.
    x_m = models.FloatField(
        _("place on the plant map, east"),
        null=True,
        blank=True,
        validators=[MinValueValidator(-100_000), MaxValueValidator(100_000)],
    )
    y_m = models.FloatField(
        _("place on the plant map, north"),
        null=True,
        blank=True,
        validators=[MinValueValidator(-100_000), MaxValueValidator(100_000)],
    )

    objects = PlantQuerySet.as_manager()

    exported = Exported("areas", key=("code",), units={"walking_order": "1"})

    class Meta:
        verbose_name = _("area")
        verbose_name_plural = _("areas")
        ordering = ["walking_order", "code"]
        constraints = [models.UniqueConstraint(fields=["plant", "code"], name="area_code_once")]

    def __str__(self) -> str:
        return said_once(self.code, self.name)

    def get_absolute_url(self) -> str:
        return reverse("area-detail", args=[self.pk])
