"""What is checked, how a reading is graded, and how often."""

from __future__ import annotations

from datetime import date
from typing import Any, Self

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.urls import reverse
from django.utils.dates import MONTHS
from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy as _

from inspections.calc.due_dates import AS_STATED, Shortening
from inspections.calc.fixed_dates import NTH, WEEKDAYS, FixedDates
from inspections.calc.grading import Grade
from installs.models import DeviceModel, Installation
from plant.calc.moments import MomentKind
from plant.calc.units import QuantityKind
from plant.models import Conveyor, Plant, PlantQuerySet, Record
from plant.models.exported import Exported

GRADES = [(Grade.SOUND.value, _("sound")), (Grade.WATCH.value, _("watch")), (Grade.ACT.value, _("act"))]


class CheckKindQuerySet(PlantQuerySet["CheckKind"]):
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
    needs_lockout = models.BooleanField(_("needs lockout"), default=True)
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

    moments = {"retired_on": MomentKind.PLANNED}

    objects = CheckKindQuerySet.as_manager()

    exported = Exported(
        "check_kinds",
        key=("code",),
        meanings={"rule": _("how its readings are graded")},
        units={"minutes": "min"},
    )

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

    exported = Exported(
        "reading_fields",
        key=("check_kind", "code"),
        plant_path="check_kind__plant",
        meanings={"check_kind": _("the kind of check that asks for it")},
        units={
            "position": "1",
            **dict.fromkeys(("watch_below", "watch_above", "act_below", "act_above"), "as quantity says"),
        },
    )

    class Meta:
        verbose_name = _("reading of a check kind")
        verbose_name_plural = _("readings of check kinds")
        ordering = ["position", "pk"]
        constraints = [models.UniqueConstraint(fields=["check_kind", "code"], name="reading_field_code_once")]

    def __str__(self) -> str:
        return self.label


# How an nth weekday is said; the parts are RFC 5545's.
NTH_WORDS = {"1": _("first"), "2": _("second"), "3": _("third"), "4": _("fourth"), "-1": _("last")}
WEEKDAY_WORDS = {
    "MO": _("Monday"),
    "TU": _("Tuesday"),
    "WE": _("Wednesday"),
    "TH": _("Thursday"),
    "FR": _("Friday"),
    "SA": _("Saturday"),
    "SU": _("Sunday"),
}
FIXED_ON: list[tuple[Any, Any]] = [
    ("", _("the same day of the month")),
    ("-1", _("the last day of the month")),
    *(
        (NTH_WORDS[nth], [(nth + day, format_lazy("{} {}", NTH_WORDS[nth], WEEKDAY_WORDS[day])) for day in WEEKDAYS])
        for nth in NTH
    ),
]
SHARE_PCT = [MinValueValidator(10), MaxValueValidator(99)]
FIXED = ("fixed_months", "fixed_from", "fixed_on")
SHORTENED = ("season_from", "season_to", "season_pct", "duty_pct", "long_day_h", "long_day_pct")


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
    # Instead of intervals: dates that stay where they are, however late or early the check is done.
    fixed_months = models.PositiveSmallIntegerField(
        _("every [months]"),
        null=True,
        blank=True,
        validators=[MinValueValidator(1), MaxValueValidator(120)],
    )
    fixed_from = models.DateField(_("first date"), null=True, blank=True)
    fixed_on = models.CharField(_("day of the month"), max_length=4, blank=True, choices=FIXED_ON)
    # The day from which these dates are kept: earlier ones were never asked for.
    fixed_since = models.DateField(null=True, blank=True, editable=False)
    # What shortens the intervals: the strongest holds, they are not multiplied.
    season_from = models.PositiveSmallIntegerField(_("season from"), null=True, blank=True, choices=MONTHS.items())
    season_to = models.PositiveSmallIntegerField(_("to the end of"), null=True, blank=True, choices=MONTHS.items())
    season_pct = models.PositiveSmallIntegerField(
        _("in the season [% of the interval]"), null=True, blank=True, validators=SHARE_PCT
    )
    duty_pct = models.PositiveSmallIntegerField(
        _("wet or abrasive duty [% of the interval]"), null=True, blank=True, validators=SHARE_PCT
    )
    long_day_h = models.FloatField(
        _("belts that run a day, at least"),
        null=True,
        blank=True,
        validators=[MinValueValidator(1), MaxValueValidator(24)],
    )
    long_day_pct = models.PositiveSmallIntegerField(
        _("on these belts [% of the days]"), null=True, blank=True, validators=SHARE_PCT
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

    moments = {"fixed_from": MomentKind.PLANNED}

    objects = CheckPlanQuerySet.as_manager()

    exported = Exported(
        "check_plans",
        meanings={"fixed_since": _("the day from which fixed dates are kept")},
        units={
            "fixed_months": "mo",
            "season_from": "1",
            "season_to": "1",
            "opens_days_before": "d",
            "closes_days_after": "d",
        },
    )

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
                condition=Q(fixed_months__isnull=True, fixed_from__isnull=True)
                & (Q(interval_days__isnull=False) | Q(interval_h__isnull=False))
                | Q(
                    fixed_months__isnull=False,
                    fixed_from__isnull=False,
                    interval_days__isnull=True,
                    interval_h__isnull=True,
                ),
                name="check_plan_has_interval_or_dates",
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
        has_interval = self.interval_days is not None or self.interval_h is not None
        if self.fixed_months is None:
            if not has_interval:
                raise ValidationError(_("Give an interval in days, in running hours, or both."))
            if self.fixed_from is not None:
                raise ValidationError({"fixed_months": _("Give the months between two fixed dates, 1 to 120.")})
        elif has_interval:
            raise ValidationError({"fixed_months": _("Give intervals or fixed dates, not both.")})
        elif self.fixed_from is None:
            raise ValidationError({"fixed_from": _("Give the first fixed date, or a day in its month before it.")})
        self.clean_shortening()

    def clean_shortening(self) -> None:
        season, long_day = (self.season_from, self.season_to, self.season_pct), (self.long_day_h, self.long_day_pct)
        if self.fixed_months is not None and any(getattr(self, name) is not None for name in SHORTENED):
            raise ValidationError(_("Fixed dates are not shortened: leave season, duty and long days empty."))
        for given, name, words in (
            (season, "season_pct", _("Give the first month, the last month and the percentage, or none of them.")),
            (long_day, "long_day_pct", _("Give the hours a day and the percentage, or neither of them.")),
        ):
            if None in given and given != (None,) * len(given):
                raise ValidationError({name: words})

    @property
    def fixed_dates(self) -> FixedDates | None:
        if self.fixed_months is None or self.fixed_from is None:
            return None
        return FixedDates(self.fixed_months, self.fixed_from, self.fixed_on)

    @property
    def fixed_day_words(self) -> str:
        """ "the first Monday", "day 31, or the last of the month"."""
        if self.fixed_on == "-1":
            return str(_("the last day of the month"))
        if self.fixed_on:
            nth, day = NTH_WORDS[self.fixed_on[:-2]], WEEKDAY_WORDS[self.fixed_on[-2:]]
            return str(_("the %(nth)s %(day)s of the month") % {"nth": nth, "day": day})
        assert self.fixed_from is not None
        return str(_("day %(day)s of the month, or its last") % {"day": self.fixed_from.day})

    def fixed_dates_until(self, day: date) -> tuple[date, ...]:
        """Fixed dates that are asked for up to a day; none where the plan goes by intervals."""
        rule = self.fixed_dates
        return tuple(
            each for each in (rule.until(day) if rule else ()) if self.fixed_since is None or each >= self.fixed_since
        )

    @property
    def season_months(self) -> frozenset[int]:
        """Months of the season; one that ends before it begins goes over the turn of the year."""
        if self.season_from is None or self.season_to is None:
            return frozenset()
        length = (self.season_to - self.season_from) % 12 + 1
        return frozenset((self.season_from + n - 1) % 12 + 1 for n in range(length))

    def shortening_at(self, conveyor: Conveyor, daily_hours: float | None) -> Shortening:
        """What shortens the intervals on a belt that runs so many hours on a day on which it runs."""
        is_wet = conveyor.duty == Conveyor.Duty.WET_ABRASIVE
        is_long = self.long_day_h is not None and daily_hours is not None and daily_hours >= self.long_day_h
        if not self.is_shortened:
            return AS_STATED
        return Shortening(
            season_months=self.season_months,
            season=(self.season_pct or 100) / 100,
            duty=(self.duty_pct or 100) / 100 if is_wet else 1.0,
            long_day=(self.long_day_pct or 100) / 100 if is_long else 1.0,
        )

    @property
    def is_shortened(self) -> bool:
        return any(each is not None for each in (self.season_pct, self.duty_pct, self.long_day_pct))
