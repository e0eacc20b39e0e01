"""What the site knows of its own parts: when each was last alive, and how often things went well or badly."""

from __future__ import annotations

from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from .exported import NotExported


class LifeSign(models.Model):
    """When a process that nobody sees on a page was last alive: each worker by its name, and the timetable."""

    class Part(models.TextChoices):
        WORKER = "worker", _("worker")
        TIMETABLE = "timetable", _("timetable")

    part = models.CharField(max_length=12, choices=Part)
    name = models.CharField(max_length=120)
    at = models.DateTimeField(default=timezone.now)

    exported = NotExported(_("how the parts of this site are"))

    class Meta:
        verbose_name = _("life sign")
        verbose_name_plural = _("life signs")
        constraints = [models.UniqueConstraint(fields=["part", "name"], name="one_life_sign_a_process")]

    def __str__(self) -> str:
        return f"{self.part} {self.name}"


class Tally(models.Model):
    """How often something ended in a way since the book was begun, whichever process did it; it only ever grows."""

    class What(models.TextChoices):
        JOB = "job", _("job")
        MAIL = "mail", _("mail")
        PAGE = "page", _("page")
        CLEARING = "clearing", _("clearing")

    what = models.CharField(max_length=8, choices=What)
    kind = models.CharField(max_length=60, blank=True)
    outcome = models.CharField(max_length=12)
    n = models.PositiveBigIntegerField(default=0)
    last_at = models.DateTimeField(default=timezone.now)
    # What was said the last time, such as the answer of a mail server.
    last_words = models.CharField(max_length=300, blank=True)

    exported = NotExported(_("what the work of this site came to"))

    class Meta:
        verbose_name = _("tally")
        verbose_name_plural = _("tallies")
        constraints = [models.UniqueConstraint(fields=["what", "kind", "outcome"], name="one_tally_an_outcome")]

    def __str__(self) -> str:
        return f"{self.what} {self.kind} {self.outcome}: {self.n}"
