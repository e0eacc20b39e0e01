"""A field that takes several photographs at once."""

from __future__ import annotations

from typing import Any

from django import forms


class PhotosInput(forms.ClearableFileInput):
    allow_multiple_selected = True


class PhotosField(forms.FileField):
    """A list of uploaded files; on a phone it offers the camera."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", PhotosInput(attrs={"accept": "image/jpeg,image/png,image/webp"}))
        super().__init__(**kwargs)

    def clean(self, data: Any, initial: Any = None) -> list[Any]:
        files = data if isinstance(data, list | tuple) else [data]
        return [super(PhotosField, self).clean(file, initial) for file in files if file]
