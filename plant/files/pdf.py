"""PDF from a Typst template and plain data: the same data gives the same bytes, with no service and no network.

A template stands in `<app>/files/<name>.typ`, begins with `#import "sheet.typ": *` and reads what it is given with
`#let data = json("data.json")`. What people typed reaches Typst as data and never as markup, so nothing in it acts.
"""

from __future__ import annotations

import datetime as dt
import json
import re
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import typst
from django.conf import settings
from django.core.serializers.json import DjangoJSONEncoder
from django.http import HttpResponse

SHEET = "plant/sheet.typ"
PRINT_FONT = "Libertinus Serif"
PAPERS = ("a4", "us-letter")


def template_path(template: str) -> Path:
    """`installs/dossier.typ` is the file installs/files/dossier.typ."""
    app, name = template.split("/", 1)
    return Path(settings.BASE_DIR) / app / "files" / name


def pdf(
    template: str,
    data: Mapping[str, Any],
    *,
    paper: str = "a4",
    images: Mapping[str, bytes] | None = None,
    made_at: dt.datetime | None = None,
) -> bytes:
    """One document.

    Parameters
    ----------
    template : str
        App and file, for example "installs/dossier.typ".
    data : mapping
        What JSON can hold, dates and lazy words too; the template reads it as data.json, with `paper` added.
    paper : {"a4", "us-letter"}, optional
    images : mapping of file name to bytes, optional
        SVG, PNG or JPEG that the template shows by that name.
    made_at : datetime, optional
        Written into the document; without one the same data gives the same bytes.

    Raises
    ------
    ValueError
        If the paper is not known or an image's name holds a folder.
    typst.TypstError
        If the template asks for something that the data lack: a fault of the code, never of what people typed.
    """
    if paper not in PAPERS:
        raise ValueError(f"paper is {paper}; give {' or '.join(PAPERS)}")
    with tempfile.TemporaryDirectory(prefix="driftbook-print-") as folder:
        root = Path(folder)
        main = template_path(template)
        (root / main.name).write_bytes(main.read_bytes())
        (root / "sheet.typ").write_bytes(template_path(SHEET).read_bytes())
        (root / "data.json").write_text(json.dumps({**data, "paper": paper}, cls=DjangoJSONEncoder))
        for name, content in (images or {}).items():
            if Path(name).name != name:
                raise ValueError(f"image {name}; give a plain file name")
            (root / name).write_bytes(content)
        return bytes(
            typst.compile(
                str(root / main.name),
                root=str(root),
                ignore_system_fonts=True,
                timestamp=made_at or dt.datetime(2000, 1, 1, tzinfo=dt.UTC),
            )
        )


def print_drawings(html: str, style: str = "") -> list[bytes]:
    """The drawings that stand in a page, each as an SVG file of its own for a printed sheet.

    Parameters
    ----------
    html : str
        A rendered template; what people typed in it is escaped already.
    style : str, optional
        The rules that the style sheet of the page gives on screen, for paper: grey print must read as well.
    """
    drawings = re.findall(r"<svg\b.*?</svg>", html, re.DOTALL)
    head = f'<svg xmlns="http://www.w3.org/2000/svg" font-family="{PRINT_FONT}"'
    return [re.sub(r"<svg\b([^>]*)>", rf"{head}\1><style>{style}</style>", each, count=1).encode() for each in drawings]


def paper_of(asked: str) -> str:
    """The paper that a request asks for; A4 where it asks for none that is known."""
    return asked if asked in PAPERS else PAPERS[0]


def pdf_answer(content: bytes, name: str) -> HttpResponse:
    """A PDF shown in the browser under a file name."""
    return HttpResponse(
        content,
        content_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="{name}"', "X-Content-Type-Options": "nosniff"},
    )
