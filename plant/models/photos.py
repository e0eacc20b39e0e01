"""Photographs that belong to incidents, visits and the like."""

from __future__ import annotations

from django.db import models
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from .base import PlantQuerySet, Row
from .exported import Exported
from .plants import Plant


def photo_path(photo: Photo, filename: str) -> str:
    """Named by the client's key: what people call their files never becomes a path."""
    suffix = {"JPEG": "jpg", "PNG": "png", "WEBP": "webp"}.get(photo.image_format, "bin")
    return f"photos/{photo.plant_id}/{photo.client_key}.{suffix}"


class Photo(Row):
    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="+", editable=False)
    image_format = models.CharField(max_length=10, editable=False)
    file = models.FileField(_("file"), upload_to=photo_path)
    caption = models.CharField(_("caption"), max_length=200, blank=True)
    sha256 = models.CharField(max_length=64, editable=False)

    objects = PlantQuerySet.as_manager()

    exported = Exported(
        "photos",
        meanings={
            "file": _("the picture, beside this folder"),
            "image_format": _("kind of the picture"),
            "sha256": _("checksum of the picture as it was sent"),
        },
    )

    class Meta:
        verbose_name = _("photo")
        verbose_name_plural = _("photos")
        ordering = ["created_at"]

    def __str__(self) -> str:
        return self.caption or f"photo {self.pk}"

    def get_absolute_url(self) -> str:
        return reverse("photo", args=[self.pk])
