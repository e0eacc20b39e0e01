"""Files that hold more than is read: refused with what to do, and before the time and memory that they would take."""

from __future__ import annotations

import datetime as dt
import io
import random
import zipfile

import openpyxl
import pytest
from openpyxl.worksheet._reader import WorkSheetParser

from plant.calc import import_texts, workbook_parts
from plant.calc.import_files import count_rows, looks_like_workbook, read_rows, understand_file
from plant.calc.import_limits import (
    LONGEST_CELL,
    LONGEST_HEAD,
    LOOK_EVERY,
    MOST_MERGED,
    FileRule,
    ImportLimits,
    NotATable,
)
from plant.calc.import_rows import cell_text
from plant.calc.reasons import Reason
from plant.words.imports import import_words
from tests.plant.refusals import refused_with

MAIN = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
HEAD = (
    '<row r="1"><c r="A1" t="inlineStr"><is><t>tag</t></is></c><c r="B1" t="inlineStr"><is><t>note</t></is></c></row>'
)
SHEET = "xl/worksheets/sheet1.xml"
BOMB = '<!DOCTYPE a [<!ENTITY b "bbbbbbbbbb"><!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;&b;&b;">]>'


def known(text: str) -> bool:
    return text in {"tag", "note"}


def workbook(**parts: str | bytes) -> io.BytesIO:
    """A workbook of one sheet with two rows, some of its parts put in the place of others (`/` written `__`)."""
    book = openpyxl.Workbook()
    for row in [["tag", "note"], ["S-1", "a"], ["S-2", "b"]]:
        book.active.append(row)
    plain = io.BytesIO()
    book.save(plain)
    given = {name.replace("__", "/") + (".xml" if "." not in name else ""): data for name, data in parts.items()}
    made = io.BytesIO()
    with zipfile.ZipFile(plain) as old, zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as new:
        for name in {*old.namelist(), *given}:
            new.writestr(name, given.get(name, old.read(name) if name in old.namelist() else b""))
    made.seek(0)
    return made


def sheet(rows: str, *, after: str = "", head: str = HEAD) -> io.BytesIO:
    return workbook(xl__worksheets__sheet1=f"<worksheet {MAIN}><sheetData>{head}{rows}</sheetData>{after}</worksheet>")


def with_texts(texts: str, *, prolog: str = "") -> io.BytesIO:
    """A workbook whose cells share a table of texts."""
    kind = "application/vnd.openxmlformats-officedocument.spreadsheetml.sharedStrings+xml"
    types = part_of(workbook(), "[Content_Types].xml")
    named = types.replace("</Types>", f'<Override PartName="/xl/sharedStrings.xml" ContentType="{kind}"/></Types>')
    more = {"[Content_Types].xml": named, "xl/sharedStrings.xml": f"{prolog}<sst {MAIN}>{texts}</sst>"}
    return workbook(**more)


def part_of(file: io.BytesIO, name: str) -> str:
    with zipfile.ZipFile(file) as archive:
        return archive.read(name).decode()


def read(file: io.BytesIO, limits: ImportLimits | None = None):
    shape = understand_file(file, known, None, limits)
    return shape, list(read_rows(file, shape, limits))


def late_after(n_looks: int) -> ImportLimits:
    """Time is up at the look after so many: no clock, so that a test tells the same on any machine."""
    looks = iter(range(10**9))
    return ImportLimits(seconds=20, is_late=lambda: next(looks) >= n_looks)


# --- before anything is unpacked --------------------------------------------------------------------------------------
def bomb_of(n_mb: int, block: bytes) -> io.BytesIO:
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        archive.writestr("xl/workbook.xml", "<workbook/>")
        archive.writestr(SHEET, block * (n_mb * 1_000_000 // len(block)))
    return made


def test_a_workbook_that_unpacks_to_a_hundred_times_its_size_is_not_opened(nothing_unpacked_later):
    file = bomb_of(30, b'<row r="1"><c r="A1"><v>1</v></c></row>' * 100)
    nothing_unpacked_later()
    with refused_with(r"would unpack to 30 MB from 0\.\d MB, which no ordinary sheet does") as refusal:
        understand_file(file, known)
    assert "save them as CSV" in refusal.said


@pytest.fixture
def nothing_unpacked_later(monkeypatch):
    return lambda: monkeypatch.setattr(zipfile.ZipFile, "open", lambda *a, **k: pytest.fail("a member was unpacked"))


def test_a_workbook_larger_than_the_site_reads_is_not_opened_and_the_setting_is_named(nothing_unpacked_later):
    noise = random.Random(1).randbytes(2_000_000).hex().encode()
    file = bomb_of(4, noise)
    assert looks_like_workbook(file, ImportLimits(unpacked_mb=5)) is True
    nothing_unpacked_later()
    with refused_with(r"up to 3 MB are read.* DRIFTBOOK_LARGEST_IMPORT_UNPACKED_MB"):
        looks_like_workbook(file, ImportLimits(unpacked_mb=3))


def test_pictures_in_a_workbook_do_not_count_as_they_are_never_read(nothing_unpacked_later):
    file = workbook(**{"xl__media__image1.png": random.Random(1).randbytes(4_000_000)})
    assert len(read(file, ImportLimits(unpacked_mb=1))[1]) == 2


def test_texts_and_styles_that_are_too_large_are_refused_before_they_are_read(monkeypatch):
    file = with_texts("".join(f"<si><t>text {n}</t></si>" for n in range(30_000)))
    with refused_with(r"The part xl/sharedStrings\.xml of the workbook has 0\.8 MB; up to 0\.5 MB"):
        understand_file(file, known, None, ImportLimits(unpacked_mb=1))
    assert len(read(file, ImportLimits(unpacked_mb=2))[1]) == 2
    styles = part_of(workbook(), "xl/styles.xml") + f"<!--{'x' * 4_000_000}-->"
    with refused_with(r"The part xl/styles\.xml of the workbook has 4\.0 MB; up to 4\.0 MB are"):
        understand_file(workbook(xl__styles=styles), known)


@pytest.mark.parametrize("name", ["xl/workbook.xml", "xl/styles.xml", "xl/_rels/workbook.xml.rels", SHEET])
def test_entities_are_refused_however_far_down_they_are_declared(name):
    plain = part_of(workbook(), name)
    prolog, mark, rest = plain.partition("?>") if plain.startswith("<?xml") else ("", "", plain)
    hidden = f"{prolog}{mark}<!--{'x' * 9000}-->{BOMB}{rest}"
    key = name.removesuffix(".xml").replace("/", "__")
    with refused_with("declares XML entities"):
        understand_file(workbook(**{key: hidden}), known)
    with refused_with("declares XML entities"):
        understand_file(with_texts("<si><t>&c;</t></si>", prolog=f"<!--{'x' * 9000}-->{BOMB}"), known)


# --- counted while reading --------------------------------------------------------------------------------------------
@pytest.fixture
def cells_left_alone(monkeypatch):
    """The library that builds cells must not come to them."""
    monkeypatch.setattr(WorkSheetParser, "parse", lambda self: pytest.fail("cells were built"))


def test_a_row_of_countless_cells_is_refused_before_it_is_built(cells_left_alone):
    with refused_with("Line 1 of the sheet has more than 16,384 cells"):
        understand_file(sheet("", head=f'<row r="1">{"<c><v>1</v></c>" * 20_000}</row>'), known)


def test_a_line_beyond_any_sheet_is_refused_before_the_lines_between_are_made(cells_left_alone):
    with refused_with("names a line 999,999,999"):
        understand_file(sheet("", head='<row r="999999999"><c><v>1</v></c></row>'), known)


def test_merged_areas_are_counted():
    ranges = "".join(f'<mergeCell ref="A{n}:B{n}"/>' for n in range(2, MOST_MERGED + 3))
    with refused_with(r"more than 1,000 merged areas\. Unmerge them"):
        understand_file(sheet("", after=f"<mergeCells>{ranges}</mergeCells>"), known)


def test_rows_are_counted_and_so_are_empty_ones():
    rows = "".join(f'<row r="{n}"><c r="A{n}"><v>{n}</v></c></row>' for n in range(2, 7))
    with refused_with(r"more than 4 rows.* raise DRIFTBOOK_LARGEST_IMPORT_ROWS"):
        understand_file(sheet(rows), known, None, ImportLimits(rows=4))
    assert len(read(sheet(rows), ImportLimits(rows=5))[1]) == 5
    with refused_with("more than 5 rows"):
        understand_file(sheet("<row/>" * 80), known, None, ImportLimits(rows=5))
    text = io.BytesIO(b"tag,note\n" + b"a,b\n" * 5)
    shape = understand_file(text, known)
    assert count_rows(text, shape, ImportLimits(rows=5)) == 5
    with refused_with("more than 4 rows"):
        count_rows(text, shape, ImportLimits(rows=4))
    given = read_rows(text, shape, ImportLimits(rows=4))
    assert [next(given).line_number for _n in range(4)] == [2, 3, 4, 5]
    with refused_with("more than 4 rows"):
        next(given)


def test_a_text_of_a_cell_that_is_too_long_is_a_problem_of_that_cell():
    long = "x" * (LONGEST_CELL + 1)
    _shape, rows = read(sheet(f'<row r="2"><c r="B2" t="inlineStr"><is><t>{long}</t></is></c></row>'))
    assert rows[0].cell_problems == ((1, Reason(FileRule.LONG_CELL, {"most": 10_000})),)
    assert len(rows[0].cells[1]) == LONGEST_CELL
    _shape, rows = read(io.BytesIO(f"tag,note\na,{long}\n".encode()))
    assert rows[0].problem == Reason(FileRule.LONG_CELL_IN_ROW, {"most": 10_000})


def test_heads_are_looked_at_so_far_only_and_columns_are_counted():
    lengths = []

    def spy(text):
        lengths.append(len(text))
        return known(text)

    spaced = "tag" + " " * 50_000 + "x"
    shape = understand_file(io.BytesIO(f"{spaced},note\na,b\n".encode()), spy)
    assert max(lengths) == LONGEST_HEAD
    assert shape.columns == ("tag x", "note")
    with refused_with("400 columns; at most 300 are read"):
        understand_file(io.BytesIO((",".join(map(str, range(400))) + "\n").encode()), known)
    with refused_with("columns; at most 300 are read"):
        understand_file(io.BytesIO(b"tag,note," + b"ab," * 200_000), known)


@pytest.mark.parametrize("late", [b"ab," * 400_000, b'"a\n",' * 200_000])
def test_a_row_without_an_end_is_refused_before_it_fills_memory(late, monkeypatch):
    monkeypatch.setattr(import_texts, "LONGEST_ROW", 20_000)
    file = io.BytesIO(b"tag,note\nS-1,a\n" + late)
    shape = understand_file(file, known)
    given = read_rows(file, shape)
    assert next(given).cells == ("S-1", "a")
    with refused_with(r"more than 20,000 characters\. Look there for a quotation mark"):
        list(given)
    file.seek(0)
    with refused_with("more than 20,000 characters"):
        count_rows(file, shape)


# --- time -------------------------------------------------------------------------------------------------------------
def test_reading_is_given_up_when_time_is_up_with_how_far_it_came():
    text = io.BytesIO(b"tag,note\n" + b"a,b\n" * 10_000)
    shape = understand_file(text, known)
    got = []
    with pytest.raises(NotATable) as refusal:
        got.extend(each for each in iterated(read_rows(text, shape, late_after(3)), got))
    assert len(got) == 4 * LOOK_EVERY - 1
    assert import_words(refusal.value.reason).startswith(
        "Reading the file takes longer than 20 s and was given up after 1,024 rows."
    )
    assert "saved as CSV" in import_words(refusal.value.reason)
    assert "DRIFTBOOK_LARGEST_IMPORT_SECONDS" in import_words(refusal.value.reason)
    with refused_with("given up after 1,024 rows"):
        count_rows(text, shape, late_after(3))


def iterated(rows, got):
    for row in rows:
        got.append(row)
    yield from ()


@pytest.mark.parametrize("n_looks", [0, 1, 5, 40, 300])
def test_a_workbook_is_given_up_wherever_time_is_up(n_looks):
    rows = "".join(f'<row r="{n}"><c r="A{n}"><v>{n}</v></c></row>' for n in range(2, 1000))
    with refused_with("Reading the file takes longer than 20 s and was given up"):
        understand_file(sheet(rows), known, None, late_after(n_looks))


def test_cells_that_are_being_built_are_given_up_too():
    rows = "".join(f'<row r="{n}"><c r="A{n}"><v>{n}</v></c></row>' for n in range(2, 4000))
    file = sheet(rows)
    shape = understand_file(file, known)
    got = []
    with refused_with("given up"):
        list(iterated(read_rows(file, shape, late_after(25)), got))
    assert 0 < len(got) < 3000


# --- what is read is right --------------------------------------------------------------------------------------------
def test_cells_and_counts_are_those_that_openpyxl_reads_without_any_bounds():
    """The whole library, not its streaming reader, on a sheet with gaps, dates, blanks, errors and shared texts."""
    book = openpyxl.Workbook()
    page = book.active
    draw = random.Random(3)
    page.append(["tag", "note", "when", "n"])
    kinds = [None, "", " ", "wet", 1.5, -3, True, dt.datetime(2026, 3, 1, 10, 30), dt.date(2026, 3, 2), "=1+1"]  # noqa: DTZ001
    for line in range(2, 200):
        if draw.random() < 0.2:
            continue
        for column in range(1, 5):
            value = draw.choice(kinds)
            if value is not None:
                page.cell(line, column, value)
    buffer = io.BytesIO()
    book.save(buffer)
    shape, rows = read(io.BytesIO(buffer.getvalue()))
    whole = openpyxl.load_workbook(io.BytesIO(buffer.getvalue()), data_only=True)[shape.sheet]
    formulas = openpyxl.load_workbook(io.BytesIO(buffer.getvalue()))[shape.sheet]
    wanted = {}
    for line in range(2, whole.max_row + 1):
        cells = tuple(whole.cell(line, column).value for column in range(1, 5))
        unsaved = [at for at in range(4) if str(formulas.cell(line, at + 1).value).startswith("=")]
        if any(cell_text(cell) for cell in cells) or unsaved:
            wanted[line] = (cells, unsaved)
    assert {row.line_number: (row.cells, [at for at, _words in row.cell_problems]) for row in rows} == wanted
    assert abs(shape.facts.n_filled - len(rows)) <= sum(
        all(not cell_text(cell) for cell in row) for row in whole.iter_rows(min_row=2, values_only=True)
    )


@pytest.mark.parametrize(
    "text",
    [
        b"tag,note\na,b\n\n,\nc,d\n",
        b'tag,note\na,"two\nlines"\n  ,  \nc\n',
        b'title\n\ntag,note\na,"open\nb,c\n',
        b"tag;note\r\na;b\r\nc;d",
    ],
)
def test_rows_are_counted_as_they_are_read(text):
    shape, rows = read(io.BytesIO(text))
    assert count_rows(io.BytesIO(text), shape) == len(rows)


@pytest.mark.parametrize(
    "cell",
    [
        '<c r="A2" t="s"><v>99</v></c>',
        '<c r="A2" t="s"><v>x</v></c>',
        '<c r="A2"><v>1x</v></c>',
        f'<c r="A2"><v>{"9" * 5000}</v></c>',
        '<c r="????"><v>1</v></c>',
        '<c r="A2" t="d"><v>soon</v></c>',
        '<c r="A2" s="x"><v>1</v></c>',
    ],
)
def test_cells_that_cannot_be_are_a_damaged_sheet_and_no_fault_of_the_site(cell):
    with refused_with("damaged"):
        read(sheet(f'<row r="2">{cell}</row>'))


@pytest.mark.parametrize(
    "rest",
    [
        '<row r="x"><c/></row>',
        '<row r="1e999"><c/></row>',
        '<row r="2"><c r="A2"><v>1</v>',
        "<mergeCells><mergeCell/></mergeCells>",
        "&nbsp;",
    ],
)
def test_a_sheet_that_breaks_off_or_names_no_place_is_damaged(rest):
    with refused_with("damaged"):
        read(sheet(rest))


def test_numbers_below_one_are_no_limits():
    with pytest.raises(ValueError, match="give 1 or more"):
        ImportLimits(rows=0)
    assert workbook_parts.is_sheet(SHEET)
