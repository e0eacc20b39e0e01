"""What the site tells one person."""

from __future__ import annotations

from typing import Any, Self

from django.conf import settings
from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from .base import PlantQuerySet
from .exported import NotExported
from .plants import Plant


class NoticeQuerySet(PlantQuerySet["Notice"]):
    def unread_of(self, person: Any) -> Self:
        return self.filter(person=person, read_at__isnull=True)


class Notice(models.Model):
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="notices")
    plant = models.ForeignKey(Plant, on_delete=models.CASCADE, related_name="+")
    # Says once what is said for one reason: a job that runs twice tells nobody twice.
    key = models.CharField(max_length=120)
    text = models.CharField(max_length=300)
    url = models.CharField(max_length=300, blank=True)
    created_at = models.DateTimeField(default=timezone.now)
    read_at = models.DateTimeField(null=True, blank=True)

    objects = NoticeQuerySet.as_manager()

    exported = NotExported(_("what this site told one person; it says nothing that the book does not"))

    class Meta:
        verbose_name = _("notice")
        verbose_name_plural = _("notices")
        ordering = ["-created_at"]
        constraints = [models.UniqueConstraint(fields=["person", "key"], name="notice_once")]

    def __str__(self) -> str:
        return self.text
