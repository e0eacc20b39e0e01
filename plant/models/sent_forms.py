"""Forms that were sent, for a day: so that the same one sent again is known."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from .exported import NotExported


class SentForm(models.Model):
    """What somebody sent to an address, as a checksum, and the page of what was written of it."""

    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+")
    digest = models.CharField(max_length=64)
    client_key = models.CharField(max_length=40, blank=True)
    sent_at = models.DateTimeField(default=timezone.now)
    # Empty while it is being written.
    url = models.CharField(max_length=300, blank=True)

    exported = NotExported(_("forms that were sent to this site, for a day"))

    class Meta:
        verbose_name = _("form that was sent")
        verbose_name_plural = _("forms that were sent")
        # The latest with the same content, asked for each time a form is sent.
        indexes = [models.Index(fields=["person", "digest", "sent_at"], name="sent_form_same")]

    def __str__(self) -> str:
        return f"{self.person}, {self.sent_at:%Y-%m-%d %H:%M:%S}"
