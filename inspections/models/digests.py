"""Which daily mails went out, so that a job that runs twice writes to nobody twice."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from plant.models import Plant
from plant.models.exported import NotExported


class Digest(models.Model):
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="digests")
    plant = models.ForeignKey(Plant, on_delete=models.CASCADE, related_name="+")
    day = models.DateField()
    claimed_at = models.DateTimeField(default=timezone.now)
    sent_at = models.DateTimeField(null=True, blank=True)

    exported = NotExported(_("mail of this site; the day after it means nothing"))

    class Meta:
        verbose_name = _("daily mail")
        verbose_name_plural = _("daily mails")
        constraints = [models.UniqueConstraint(fields=["person", "plant", "day"], name="digest_once")]

    def __str__(self) -> str:
        return f"{self.person} {self.day}"
