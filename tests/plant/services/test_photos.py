"""Photos: pictures only, kept once, without what a phone hides in them."""

from __future__ import annotations

import io
import uuid

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image, ImageCms, PngImagePlugin

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


def everything_beside(image_format: str) -> bytes:
    """A picture, taken with the phone on its side, with a word of its owner wherever a file has room for one."""
    exif = Image.Exif()
    exif[0x010E], exif[0x0112] = "OWNER in exif", 6
    text = PngImagePlugin.PngInfo()
    text.add_text("Author", "OWNER in text")
    text.add_itxt("XML:com.adobe.xmp", "OWNER in xmp")
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes() + b"OWNER in profile"
    beside = {
        "JPEG": {"comment": b"OWNER in comment", "xmp": b"OWNER in xmp"},
        "MPO": {"comment": b"OWNER in comment", "save_all": True, "append_images": [Image.new("RGB", (4, 2))]},
        "PNG": {"pnginfo": text},
        "WEBP": {"xmp": b"OWNER in xmp"},
    }[image_format]
    buffer = io.BytesIO()
    picture = Image.new("RGB", (40, 20), "brown")
    picture.save(buffer, format=image_format, exif=exif, icc_profile=profile, **beside)
    return buffer.getvalue()


@pytest.mark.parametrize(("sent", "kept"), [("JPEG", "JPEG"), ("MPO", "JPEG"), ("PNG", "PNG"), ("WEBP", "WEBP")])
def test_nothing_but_the_picture_is_kept_and_it_stands_upright(alder, tess, sent, kept):
    content = everything_beside(sent)
    assert content.count(b"OWNER") >= 2
    row = keep_photo(plant=alder, file=SimpleUploadedFile("x.jpg", content), by=tess)
    with row.file.open("rb") as file:
        clean = file.read()
    assert b"OWNER" not in clean
    picture = Image.open(io.BytesIO(clean))
    assert (picture.format, row.image_format) == (kept, kept)
    assert picture.size == (20, 40)
    assert not {"comment", "exif", "icc_profile", "xmp", "dpi"} & set(picture.info)


def test_colours_that_a_profile_states_become_those_of_every_screen(alder, tess):
    """In the profile red and blue stand in each other's place: what was meant is blue."""
    swapped = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    red, blue = swapped.index(b"rXYZ"), swapped.index(b"bXYZ")
    swapped[red : red + 4], swapped[blue : blue + 4] = b"bXYZ", b"rXYZ"
    buffer = io.BytesIO()
    Image.new("RGB", (16, 16), "red").save(buffer, format="PNG", icc_profile=bytes(swapped))
    row = keep_photo(plant=alder, file=SimpleUploadedFile("x.png", buffer.getvalue()), by=tess)
    with row.file.open("rb") as file:
        assert Image.open(file).getpixel((8, 8)) == (0, 0, 255)


@pytest.mark.parametrize("content", [b"", b"MZ not a picture", b"<svg onload=alert(1)/>", picture()[:80]])
def test_what_is_no_picture_is_refused(alder, tess, content):
    with pytest.raises(Refused, match="not a picture that can be read"):
        keep_photo(plant=alder, file=SimpleUploadedFile("x.jpg", content), by=tess)
    assert not Photo.objects.exists()


def test_a_photo_that_is_too_large_is_refused(alder, tess, settings):
    settings.LARGEST_PHOTO_MB = 0
    with pytest.raises(Refused, match="a photo may have 0 MB"):
        keep_photo(plant=alder, file=SimpleUploadedFile("x.jpg", picture()), by=tess)
