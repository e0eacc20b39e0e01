"""Photos: pictures only, kept once, without what a phone hides in them."""

from __future__ import annotations

import io
import uuid

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from plant.errors import Refused
from plant.models import Photo
from plant.services.photos import keep_photo


def picture(image_format: str = "JPEG", exif: Image.Exif | None = None) -> bytes:
    buffer = io.BytesIO()
    Image.new("RGB", (40, 20), "brown").save(buffer, format=image_format, **({"exif": exif} if exif else {}))
    return buffer.getvalue()


def test_a_photo_is_kept_once_under_its_key(alder, tess):
    key = uuid.uuid4()
    rows = [
        keep_photo(plant=alder, file=SimpleUploadedFile("x.jpg", picture()), by=tess, client_key=key) for _ in range(2)
    ]
    assert rows[0] == rows[1]
    assert Photo.objects.count() == 1
    assert rows[0].file.name == f"photos/{alder.pk}/{key}.jpg"


def test_the_place_that_a_phone_writes_into_a_picture_is_not_kept(alder, tess):
    exif = Image.Exif()
    exif[0x010F] = "some phone"
    row = keep_photo(plant=alder, file=SimpleUploadedFile("x.jpg", picture(exif=exif)), by=tess)
    with row.file.open("rb") as file:
        assert not Image.open(io.BytesIO(file.read())).getexif()


@pytest.mark.parametrize("content", [b"", b"MZ not a picture", b"<svg onload=alert(1)/>", picture()[:80]])
def test_what_is_no_picture_is_refused(alder, tess, content):
    with pytest.raises(Refused, match="not a picture that can be read"):
        keep_photo(plant=alder, file=SimpleUploadedFile("x.jpg", content), by=tess)
    assert not Photo.objects.exists()


def test_a_photo_that_is_too_large_is_refused(alder, tess, settings):
    settings.LARGEST_PHOTO_MB = 0
    with pytest.raises(Refused, match="a photo may have 0 MB"):
        keep_photo(plant=alder, file=SimpleUploadedFile("x.jpg", picture()), by=tess)
