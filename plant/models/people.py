"""People, and what they may do in which plant."""

from __future__ import annotations

from django.contrib.auth.models import AbstractUser, Group
from django.db import models
from django.utils.translation import gettext_lazy as _
from simple_history.models import HistoricalRecords

from plant.calc.units import UnitSystem


class Person(AbstractUser):
    """Somebody who signs in, with the units and the mail that they chose."""

    unit_system = models.CharField(
        _("units"),
        max_length=10,
        choices=[(UnitSystem.METRIC.value, _("metric")), (UnitSystem.US.value, _("US customary"))],
        default=UnitSystem.METRIC.value,
    )
    wants_digest = models.BooleanField(_("daily e-mail of what is due and late"), default=True)
    wants_contrast = models.BooleanField(_("sunlight contrast"), default=False)

    class Meta:
        verbose_name = _("person")
        verbose_name_plural = _("people")

    def __str__(self) -> str:
        return self.username


class Membership(models.Model):
    """One role of one person in one plant. No membership, no access."""

    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="memberships")
    plant = models.ForeignKey("plant.Plant", on_delete=models.CASCADE, related_name="memberships")
    role = models.ForeignKey(Group, on_delete=models.PROTECT, related_name="+")
    # Who gave or took which role, and when.
    history = HistoricalRecords()

    class Meta:
        verbose_name = _("membership")
        verbose_name_plural = _("memberships")
        constraints = [models.UniqueConstraint(fields=["person", "plant", "role"], name="membership_once")]

    def __str__(self) -> str:
        return f"{self.person} as {self.role} in {self.plant}"
