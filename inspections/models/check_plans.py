"""What is checked, how a reading is graded, and how often."""

from __future__ import annotations

from typing import Any, Self

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from inspections.calc.grading import Grade
from installs.models import DeviceModel, Installation
from plant.calc.units import QuantityKind
from plant.models import Plant, PlantQuerySet, Record

GRADES = [(Grade.SOUND.value, _("sound")), (Grade.WATCH.value, _("watch")), (Grade.ACT.value, _("act"))]


class CheckKindQuerySet(models.QuerySet["CheckKind"]):
    def visible_to(self, person: Any) -> Self:
        """The built-in kinds and those of the person's plants."""
        return self.filter(Q(plant__isnull=True) | Q(plant__in=Plant.objects.visible_to(person)))

    def known_in(self, plant: Plant) -> Self:
        """Built-in kinds and the plant's own, those no longer used too."""
        return self.filter(Q(plant__isnull=True) | Q(plant=plant))

    def for_plant(self, plant: Plant) -> Self:
        return self.filter(Q(plant__isnull=True) | Q(plant=plant), retired_on__isnull=True)


class CheckKind(Record):
    """One kind of check. Four are built in (no plant); a plant adds its own."""

    class Rule(models.TextChoices):
        SENSOR_WEAR = "sensor_wear", _("sensor roller diameters against the model")
        PIVOT_FREEDOM = "pivot_freedom", _("pivot moves freely")
        FASTENER_TORQUE = "fastener_torque", _("torque of every fastener against the model")
        OFFSETS = "offsets", _("belt offset at stations against the permitted run-off")
        LIMITS = "limits", _("own readings and limits")

    plant = models.ForeignKey(
        Plant, null=True, blank=True, editable=False, on_delete=models.PROTECT, related_name="check_kinds"
    )
    code = models.SlugField(_("short name"), max_length=40)
    name = models.CharField(_("name"), max_length=80)
    rule = models.CharField(max_length=20, choices=Rule, default=Rule.LIMITS, editable=False)
    needs_lockout = models.BooleanField(_("belt must be locked out"), default=True)
    needs_running_belt = models.BooleanField(
        _("belt must be running"), default=False, help_text=_("Looked at from the walkway, outside the guards.")
    )
    skills_needed = models.CharField(
        _("skills needed"), max_length=200, blank=True, help_text=_("Words with commas between them.")
    )
    tools_needed = models.CharField(
        _("tools needed"), max_length=200, blank=True, help_text=_("Words with commas between them.")
    )
    minutes = models.PositiveSmallIntegerField(
        _("usual time"), default=15, validators=[MinValueValidator(1), MaxValueValidator(600)]
    )
    method = models.TextField(_("how it is done"), blank=True, max_length=2000)
    retired_on = models.DateField(_("no longer used since"), null=True, blank=True)

    objects = CheckKindQuerySet.as_manager()

    class Meta:
        verbose_name = _("check kind")
        verbose_name_plural = _("check kinds")
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(fields=["plant", "code"], name="check_kind_code_once"),
            models.UniqueConstraint(
                fields=["code"], condition=Q(plant__isnull=True), name="check_kind_built_in_code_once"
            ),
            models.CheckConstraint(
                condition=Q(needs_lockout=False) | Q(needs_running_belt=False), name="check_kind_stopped_or_running"
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        return reverse("check-kind-detail", args=[self.pk])


class ReadingField(Record):
    """One value that a check of a plant's own kind asks for, with the limits that grade it."""

    class Form(models.TextChoices):
        NUMBER = "number", _("number")
        YES_NO = "yes_no", _("yes or no")
        CHOICE = "choice", _("one of several")

    check_kind = models.ForeignKey(CheckKind, on_delete=models.CASCADE, related_name="fields", editable=False)
    position = models.PositiveSmallIntegerField(_("order"), default=0)
    code = models.SlugField(_("short name"), max_length=40)
    label = models.CharField(_("label"), max_length=80)
    form = models.CharField(_("kind of value"), max_length=10, choices=Form, default=Form.NUMBER)
    quantity = models.CharField(
        _("unit"),
        max_length=10,
        blank=True,
        choices=[(kind.value, kind.value or _("no unit")) for kind in QuantityKind if kind.value],
    )
    is_required = models.BooleanField(_("must be filled in"), default=True)
    asks_as_left = models.BooleanField(_("also as left"), default=False)
    watch_below = models.FloatField(_("watch below"), null=True, blank=True)
    watch_above = models.FloatField(_("watch above"), null=True, blank=True)
    act_below = models.FloatField(_("act below"), null=True, blank=True)
    act_above = models.FloatField(_("act above"), null=True, blank=True)
    # For yes/no and choices: [{"value": "yes", "label": "Yes", "grade": "sound"}, ...]
    choices = models.JSONField(_("answers and their grades"), default=list, blank=True)

    objects = models.Manager()

    class Meta:
        verbose_name = _("reading of a check kind")
        verbose_name_plural = _("readings of check kinds")
        ordering = ["position", "pk"]
        constraints = [models.UniqueConstraint(fields=["check_kind", "code"], name="reading_field_code_once")]

    def __str__(self) -> str:
        return self.label


class CheckPlanQuerySet(PlantQuerySet["CheckPlan"]):
    def of_installation(self, installation: Installation) -> Self:
        """Plans written for this installation itself, and those of its device model."""
        return self.filter(Q(installation=installation) | Q(device_model=installation.device.device_model))


class CheckPlan(Record):
    """How often a kind of check is done: for every device of a model, or for one installation instead of that."""

    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="check_plans", editable=False)
    check_kind = models.ForeignKey(CheckKind, verbose_name=_("check"), on_delete=models.PROTECT, related_name="plans")
    device_model = models.ForeignKey(
        DeviceModel,
        verbose_name=_("for all of model"),
        null=True,
        blank=True,
        on_delete=models.CASCADE,
        related_name="check_plans",
    )
    installation = models.ForeignKey(
        Installation,
        verbose_name=_("for this installation only"),
        null=True,
        blank=True,
        on_delete=models.CASCADE,
        related_name="check_plans",
    )
    interval_days = models.PositiveSmallIntegerField(
        _("every [days]"), null=True, blank=True, validators=[MinValueValidator(1), MaxValueValidator(3650)]
    )
    interval_h = models.FloatField(
        _("every [running hours]"),
        null=True,
        blank=True,
        validators=[MinValueValidator(1), MaxValueValidator(100_000)],
    )
    opens_days_before = models.PositiveSmallIntegerField(_("window opens [days before]"), default=7)
    closes_days_after = models.PositiveSmallIntegerField(_("window closes [days after]"), default=7)
    bedding_in_days = models.PositiveSmallIntegerField(
        _("first check after an installation [days]"),
        null=True,
        blank=True,
        validators=[MinValueValidator(1), MaxValueValidator(365)],
    )
    bedding_in_h = models.FloatField(
        _("or running hours"), null=True, blank=True, validators=[MinValueValidator(1), MaxValueValidator(5000)]
    )
    is_suspended = models.BooleanField(_("suspended"), default=False)

    objects = CheckPlanQuerySet.as_manager()

    class Meta:
        verbose_name = _("check plan")
        verbose_name_plural = _("check plans")
        ordering = ["check_kind", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(device_model__isnull=False, installation__isnull=True)
                | Q(device_model__isnull=True, installation__isnull=False),
                name="check_plan_for_model_or_installation",
            ),
            models.CheckConstraint(
                condition=Q(interval_days__isnull=False) | Q(interval_h__isnull=False), name="check_plan_has_interval"
            ),
            models.UniqueConstraint(
                fields=["check_kind", "device_model"],
                condition=Q(device_model__isnull=False),
                name="check_plan_once_per_model",
            ),
            models.UniqueConstraint(
                fields=["check_kind", "installation"],
                condition=Q(installation__isnull=False),
                name="check_plan_once_per_installation",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.check_kind}: {self.device_model or self.installation}"

    def get_absolute_url(self) -> str:
        return reverse("check-plan-detail", args=[self.pk])

    def clean(self) -> None:
        if self.interval_days is None and self.interval_h is None:
            raise ValidationError(_("Give an interval in days, in running hours, or both."))
