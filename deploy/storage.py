"""Photos and sent files: whole or not at all. A full disk or a kill leaves no half file of that name."""

from __future__ import annotations

import contextlib
import os
import tempfile
from pathlib import Path
from typing import Any

from django.core.files import File
from django.core.files.storage import FileSystemStorage

from plant.calc.retention import UNFINISHED


class Draft(File):  # type: ignore[type-arg]  # at run time it takes none
    """A file that is written already and has only to get its name."""

    def __init__(self, path: str) -> None:
        super().__init__(Path(path).open("rb"), name=path)  # noqa: SIM115  (closed as the file that it is)

    def temporary_file_path(self) -> str:
        return str(self.name)


class WholeFiles(FileSystemStorage):
    """Writes beside, then gives the name."""

    def _save(self, name: str, content: Any) -> str:
        folder = Path(self.location)
        folder.mkdir(parents=True, exist_ok=True)
        handle, path = tempfile.mkstemp(dir=folder, prefix=UNFINISHED)
        try:
            with os.fdopen(handle, "wb") as file:
                for block in content.chunks():
                    file.write(block)
                file.flush()
                os.fsync(file.fileno())
            with Draft(path) as draft:
                saved: str = super()._save(name, draft)  # type: ignore[misc]  # the stubs leave it out
        except BaseException:
            with contextlib.suppress(OSError):
                Path(path).unlink(missing_ok=True)
            raise
        return saved
