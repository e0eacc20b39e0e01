"""PDFs: what is given stands in them, whatever people typed; both papers; the same bytes again."""

import io

import pytest
import typst
from pypdf import PdfReader

from plant.files import pdf as printing

TEMPLATE = """#import "sheet.typ": *
#let data = json("data.json")
#show: body => sheet(data, title: data.title, lede: data.lede, foot: data.foot, body)
#caution(data.cautions)
#register(("What", "mm"), data.rows, numbers: (1,))
#facts((("Grade", mark("act", "act")),))
#if "strip.svg" in data.at("images", default: ()) { image("strip.svg", width: 100%) }
"""
DATA = {
    "title": "S-12 device 20",
    "lede": "Fitted at 120 m.",
    "foot": "Alder Pit",
    "cautions": ["Follow your site's isolation procedure."],
    "rows": [["extension", "61"], ["#panic() $x$ *y* \\ <b>", "1"]],
}


@pytest.fixture
def template(tmp_path, settings, monkeypatch):
    (tmp_path / "made.typ").write_text(TEMPLATE)
    known = printing.template_path
    monkeypatch.setattr(
        printing, "template_path", lambda name: tmp_path / "made.typ" if name == "made/made.typ" else known(name)
    )
    return "made/made.typ"


def text_of(content):
    return "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(content)).pages)


def test_what_is_given_stands_in_the_document(template):
    text = text_of(printing.pdf(template, DATA))
    for words in ("S-12 device 20", "Fitted at 120 m.", "isolation procedure", "extension", "61", "act", "Alder Pit"):
        assert words in text


def test_what_people_type_never_acts(template):
    assert "#panic() $x$ *y* \\ <b>" in text_of(printing.pdf(template, DATA))


@pytest.mark.parametrize(("paper", "size"), [("a4", (595, 842)), ("us-letter", (612, 792))])
def test_both_papers(template, paper, size):
    box = PdfReader(io.BytesIO(printing.pdf(template, DATA, paper=paper))).pages[0].mediabox
    assert (round(box.width), round(box.height)) == size


def test_the_same_data_give_the_same_bytes(template):
    assert printing.pdf(template, DATA) == printing.pdf(template, DATA)


def test_images_are_shown_by_name(template):
    svg = b'<svg xmlns="http://www.w3.org/2000/svg" width="10" height="10"><text y="9">belt</text></svg>'
    with_image = printing.pdf(template, {**DATA, "images": ["strip.svg"]}, images={"strip.svg": svg})
    assert with_image != printing.pdf(template, DATA)
    with pytest.raises(ValueError, match="plain file name"):
        printing.pdf(template, DATA, images={"../strip.svg": svg})


def test_missing_data_and_unknown_paper_are_refused(template):
    with pytest.raises(typst.TypstError):
        printing.pdf(template, {"title": "x"})
    with pytest.raises(ValueError, match="give a4 or us-letter"):
        printing.pdf(template, DATA, paper="a5")
    assert printing.paper_of("a5") == "a4"


def test_answer_is_a_pdf_with_a_name(template):
    answer = printing.pdf_answer(printing.pdf(template, DATA), "S-12-20.pdf")
    assert answer["Content-Type"] == "application/pdf"
    assert answer["Content-Disposition"] == 'inline; filename="S-12-20.pdf"'
    assert answer.content.startswith(b"%PDF")
