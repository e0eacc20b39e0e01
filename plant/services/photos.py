"""Photographs: checked to be pictures, kept once, named by the client's key."""

from __future__ import annotations

import hashlib
import io
import uuid
from contextlib import suppress
from typing import Any

from django.conf import settings
from django.core.files.base import ContentFile
from django.core.files.uploadedfile import UploadedFile
from django.db import transaction
from django.utils.translation import gettext as _
from PIL import Image, ImageCms, ImageOps, UnidentifiedImageError

from plant.errors import Refused
from plant.models import Photo, Plant

FORMATS = ("JPEG", "PNG", "WEBP")
MOST_PIXELS = 80_000_000


def keep_photo(
    *, plant: Plant, file: UploadedFile[Any], by: Any, client_key: uuid.UUID | None = None, caption: str = ""
) -> Photo:
    """Keep a picture. The same client key gives back the photo that it made the first time.

    The picture is turned upright and written anew, so that place and owner that a phone hides in it are not kept.

    Raises
    ------
    Refused
        If the file is too large or not a JPEG, PNG or WebP picture.
    """
    if client_key:
        known = Photo.objects.filter(client_key=client_key).first()
        if known is not None:
            return known
    most = settings.LARGEST_PHOTO_MB
    size = file.size or 0
    if size > most * 1024 * 1024:
        raise Refused(
            _("%(name)s has %(size).0f MB; a photo may have %(most)s MB. Send a smaller one.")
            % {"name": file.name, "size": size / 1024 / 1024, "most": most},
            code="too_large",
        )
    content = file.read()
    image_format, clean = clean_picture(content, name=str(file.name))
    photo = Photo(
        plant=plant,
        image_format=image_format,
        caption=caption[:200],
        sha256=hashlib.sha256(content).hexdigest(),
        created_by=by,
        client_key=client_key or uuid.uuid4(),
    )
    with transaction.atomic():
        photo.file.save(str(file.name), ContentFile(clean), save=False)
        photo.save()
    return photo


def clean_picture(content: bytes, *, name: str) -> tuple[str, bytes]:
    refused = Refused(
        _("%(name)s is not a picture that can be read. Send a JPEG, PNG or WebP file.") % {"name": name},
        code="no_picture",
    )
    try:
        with Image.open(io.BytesIO(content), formats=FORMATS) as picture:
            if picture.width * picture.height > MOST_PIXELS:
                raise refused
            # Some phones keep two sizes in one file; that is a JPEG whose first picture counts.
            image_format = "JPEG" if picture.format == "MPO" else str(picture.format)
            buffer = io.BytesIO()
            alone(picture).save(buffer, format=image_format, quality=88)
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError, Image.DecompressionBombError) as error:
        raise refused from error
    return image_format, buffer.getvalue()


def alone(picture: Image.Image) -> Image.Image:
    """The picture and nothing beside it: upright, in common colours, with no comment, place, owner or small copy."""
    upright: Image.Image = ImageOps.exif_transpose(picture)
    if "transparency" in upright.info:
        upright = upright.convert("RGBA")
    profile = upright.info.get("icc_profile")
    if profile and upright.mode in ("RGB", "CMYK"):
        # Without the profile, which may name its owner, the colours are right only as those that every screen knows.
        with suppress(ImageCms.PyCMSError, OSError):
            meant = ImageCms.ImageCmsProfile(io.BytesIO(profile))
            common = ImageCms.createProfile("sRGB")
            upright = ImageCms.profileToProfile(upright, meant, common, outputMode="RGB") or upright
    upright.info = {}
    return upright
