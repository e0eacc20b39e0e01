"""People, and what they may do in which plant."""

from __future__ import annotations

from django.contrib.auth.models import AbstractUser, Group
from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from simple_history.models import HistoricalRecords

from plant.calc.units import UnitSystem

from .exported import Exported, NotExported


class Person(AbstractUser):
    """Somebody who signs in, with the units and the mail that they chose."""

    unit_system = models.CharField(
        _("units"),
        max_length=10,
        choices=[(UnitSystem.METRIC.value, _("metric")), (UnitSystem.US.value, _("US customary"))],
        default=UnitSystem.METRIC.value,
    )
    wants_digest = models.BooleanField(_("daily e-mail of what is due and late"), default=True)
    # A first password was read by whoever handed it over.
    must_change_password = models.BooleanField(_("has to choose a password"), default=False, editable=False)
    wants_contrast = models.BooleanField(_("sunlight contrast"), default=False)
    # Runs the site, beside or without a role in a plant; opens no plant's book. `plant/services/keepers.py` writes it.
    is_keeper = models.BooleanField(_("keeps this site"), default=False, editable=False)

    exported = Exported(
        "people",
        key=("username",),
        stays={
            "password": _("nobody signs in elsewhere with it"),
            "email": _("an address is the person's own"),
            "last_login": _("sign-ins of this site"),
            "date_joined": _("sign-ins of this site"),
            "is_superuser": _("rights over this site"),
            "is_staff": _("rights over this site"),
            "is_keeper": _("rights over this site"),
            "must_change_password": _("nobody signs in elsewhere with it"),
            "wants_digest": _("mail of this site"),
            "wants_contrast": _("a choice for the person's own screen"),
            "groups": _("roles are given in a plant: file memberships"),
            "user_permissions": _("roles are given in a plant: file memberships"),
        },
    )

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

    exported = Exported(
        "memberships",
        key=("person", "role"),
        plant_path="plant",
        meanings={"person": _("who has the role"), "role": _("the role")},
    )

    class Meta:
        verbose_name = _("membership")
        verbose_name_plural = _("memberships")
        constraints = [models.UniqueConstraint(fields=["person", "plant", "role"], name="membership_once")]

    def __str__(self) -> str:
        return f"{self.person} as {self.role} in {self.plant}"


class SignInAct(models.Model):
    """What somebody did with another person's sign-in: who, when, for which plant."""

    class Act(models.TextChoices):
        PASSWORD = "password", _("gave a new first password")
        OFF = "off", _("switched the sign-in off")
        ON = "on", _("switched the sign-in on")
        ENDED = "ended", _("signed the person out everywhere")

    plant = models.ForeignKey("plant.Plant", on_delete=models.CASCADE, related_name="sign_in_acts")
    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="sign_in_acts")
    by = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="+")
    act = models.CharField(_("act"), max_length=10, choices=Act)
    at = models.DateTimeField(_("when"), default=timezone.now)

    exported = NotExported(_("sign-ins of this site"))

    class Meta:
        verbose_name = _("act on a sign-in")
        verbose_name_plural = _("acts on sign-ins")
        ordering = ["-at", "-pk"]

    def __str__(self) -> str:
        return f"{self.by} {self.get_act_display()}: {self.person}"


class KeeperAct(models.Model):
    """Who was made a keeper of the site or is one no more: by whom, and when. The shell acts for nobody."""

    class Act(models.TextChoices):
        GIVEN = "given", _("made a keeper of this site")
        TAKEN = "taken", _("no keeper of this site any more")

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="keeper_acts")
    by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    act = models.CharField(_("act"), max_length=10, choices=Act)
    at = models.DateTimeField(_("when"), default=timezone.now)

    exported = NotExported(_("rights over this site"))

    class Meta:
        verbose_name = _("act on a keeper")
        verbose_name_plural = _("acts on keepers")
        ordering = ["-at", "-pk"]

    def __str__(self) -> str:
        return f"{self.person}: {self.get_act_display()}"


class NameRemoval(models.Model):
    """Whose name was taken out of the book on request: by whom, when and why. It holds no name, and stays."""

    person = models.OneToOneField(Person, on_delete=models.PROTECT, related_name="name_removal")
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField(_("when"), default=timezone.now)
    reason = models.CharField(_("reason"), max_length=300)
    n_rewritten = models.PositiveIntegerField(_("texts of the site that were rewritten"), default=0)
    n_typed = models.PositiveIntegerField(_("typed texts that may still hold it"), default=0)

    exported = NotExported(_("who left this site and asked for it"))

    class Meta:
        verbose_name = _("removal of a name")
        verbose_name_plural = _("removals of names")
        ordering = ["-at", "-pk"]

    def __str__(self) -> str:
        return str(self.person)
