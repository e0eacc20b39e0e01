"""What a phone could not get into the book, because the site failed on it again and again."""

from __future__ import annotations

from typing import Self

from django.conf import settings
from django.db import models
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from installs.models import Installation
from plant.models import Plant, PlantQuerySet, Record
from plant.models.exported import Exported


class SetAsideQuerySet(PlantQuerySet["SetAside"]):
    def open(self) -> Self:
        return self.filter(settled_at__isnull=True)


class SetAside(Record):
    """One entry that a phone set aside, with its text as the phone keeps it. `client_key` is the key of the entry.

    The text is kept as it is, unread: reading it is what the site may have failed on.
    """

    class Kind(models.TextChoices):
        VISIT = "visit", _("visit")
        ACTION = "action", _("action")
        PHOTO = "photo", _("photo")

    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="+", editable=False)
    installation = models.ForeignKey(Installation, on_delete=models.PROTECT, related_name="set_aside", editable=False)
    kind = models.CharField(_("what"), max_length=6, choices=Kind, editable=False)
    made_at = models.DateTimeField(_("closed out, by the phone's clock"), editable=False)
    answer = models.CharField(_("how the site answered"), max_length=40, editable=False)
    tries = models.PositiveIntegerField(_("tries"), editable=False)
    n_photos = models.PositiveIntegerField(_("photos on the phone"), default=0, editable=False)
    content = models.TextField(_("text"), editable=False)
    settled_note = models.CharField(_("what became of it"), max_length=300, blank=True)
    settled_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, editable=False, on_delete=models.PROTECT, related_name="+"
    )
    settled_at = models.DateTimeField(_("settled"), null=True, blank=True, editable=False)

    objects = SetAsideQuerySet.as_manager()

    exported = Exported(
        "set_aside",
        meanings={"installation": _("the device in its place"), "settled_by": _("who settled it")},
        units={"tries": "1", "n_photos": "1"},
    )

    class Meta:
        verbose_name = _("entry set aside")
        verbose_name_plural = _("entries set aside")
        ordering = ["-created_at"]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} at {self.installation}"

    def get_absolute_url(self) -> str:
        return reverse("set-aside", args=[self.pk])
