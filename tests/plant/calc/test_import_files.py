"""Files as people send them: told from their bytes, refused with a sentence, read row by row."""

from __future__ import annotations

import io

import openpyxl
import pytest

from plant.calc.import_files import read_rows, understand_file
from plant.calc.import_rows import FileShape, cell_text, column_names, find_header, guarded, split_head
from plant.words.imports import import_words
from tests.plant.refusals import refused_with

NAMES = {"tag", "width", "when", "note"}


def known(text: str) -> bool:
    return split_head(text)[0].strip().casefold() in NAMES


def read(data: bytes, **wanted):
    file = io.BytesIO(data)
    shape = understand_file(file, known, FileShape(False, **wanted) if wanted else None)
    return shape, list(read_rows(file, shape))


def workbook(fill) -> bytes:
    book = openpyxl.Workbook()
    fill(book)
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"),
        (b"\xef\xbb\xbf \n\n", "empty"),
        (b"\x89PNG\r\n\x1a\n" + b"\x00" * 50, "a picture"),
        (b"\xff\xd8\xff\xe0abc", "a picture"),
        (b"%PDF-1.7\n", "PDF"),
        (b"\xd0\xcf\x11\xe0" + b"\x00" * 600, "old binary format"),
        (b"<!DOCTYPE html><table><tr><td>tag", "web page"),
        (b'{"tag": 1}', "JSON"),
        (bytes(range(256)) * 20, "binary data"),
        (b"PK\x03\x04 not really", "damaged"),
    ],
)
def test_what_is_no_table_is_refused_with_what_it_is(data, words):
    with refused_with(words) as refusal:
        understand_file(io.BytesIO(data), known)
    assert refusal.said.endswith(".")


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
def test_the_separator_is_told_from_known_names_and_even_rows(delimiter):
    text = delimiter.join(["tag", "width", "note"]) + "\n" + delimiter.join(["S-12", "1200", "a"]) + "\n"
    shape, rows = read(text.encode())
    assert (shape.delimiter, shape.columns) == (delimiter, ("tag", "width", "note"))
    assert rows[0].cells == ("S-12", "1200", "a")


def test_decimal_commas_do_not_make_a_comma_the_separator():
    shape, rows = read(b"tag;width\nS-12;1200,5\nS-13;900,25\n")
    assert shape.delimiter == ";"
    assert rows[1].cells == ("S-13", "900,25")


def test_a_wrong_separator_is_answered_with_the_right_one():
    with refused_with(r"each row has one column; with semicolon it has 2\. Choose semicolon"):
        read(b"tag;width\nS-12;1200\n", delimiter="|")


@pytest.mark.parametrize(
    ("encoding", "told"),
    [
        ("utf-8", "utf-8"),
        ("utf-8-sig", "utf-8-sig"),
        ("utf-16", "utf-16"),
        ("utf-16-le", "utf-16-le"),
        ("utf-16-be", "utf-16-be"),
        ("cp1252", "cp1252"),
        ("latin-1", "cp1252"),
    ],
)
def test_text_in_the_encodings_of_plants_is_read(encoding, told):
    shape, rows = read("tag,note\nS-12,Übergabe läuft schräg, 5°\n".replace(", 5", " 5").encode(encoding))
    assert shape.encoding == told
    assert rows[0].cells == ("S-12", "Übergabe läuft schräg 5°")
    assert bool(shape.notes) == (told == "cp1252")  # a guess is said to be one


def test_the_head_may_stand_below_a_title_and_lines_keep_their_numbers():
    shape, rows = read(b'Export of the mill\n\ntag,note\nS-1,"two\nlines"\n\nS-2,b\n')
    assert shape.header_line == 3
    assert [row.line_number for row in rows] == [4, 7]
    assert rows[0].cells[1] == "two\nlines"


def test_a_row_of_another_width_is_a_problem_of_that_row_only():
    _shape, rows = read(b"tag,width,note\nS-1,1,a\nS-2,2\nS-3,3,b,c\nS-4,4,d,\n")
    assert [bool(row.problem) for row in rows] == [False, True, True, False]
    assert "2 cells and the head 3" in import_words(rows[1].problem)
    assert "4 cells and the head 3" in import_words(rows[2].problem)


def test_a_quotation_mark_that_is_never_closed_is_named_by_its_line():
    _shape, rows = read(b'tag,note\nS-1,a\nS-2,"open\nS-3,b\n')
    assert [row.line_number for row in rows] == [2, 3]
    assert "not closed" in import_words(rows[1].problem)
    assert "up to line 4" in import_words(rows[1].problem)


def test_an_inch_mark_inside_a_cell_is_no_quotation():
    _shape, rows = read(b'tag,width\nS-1,43 1/4"\n')
    assert rows[0].cells == ("S-1", '43 1/4"')
    assert rows[0].problem is None


def test_columns_of_one_name_are_told_apart_by_their_letters():
    assert column_names(["Tag", "tag ", "", "Note", ""]) == ("Tag (column A)", "tag (column B)", "column C", "Note")


def test_a_workbook_gives_typed_cells_and_says_which_sheet_it_read():
    def fill(book):
        book.active.title = "Cover"
        book.active.append(["Bulk terminal"])
        sheet = book.create_sheet("Belts")
        sheet.append(["List of belts"])
        sheet.append(["tag", "width [in]", "when"])
        sheet.append(["S-12", 47.25, "2026-03-01"])

    shape, rows = read(workbook(fill))
    assert (shape.sheet, shape.header_line) == ("Belts", 2)
    assert any("not read: Cover" in import_words(note) for note in shape.notes)
    assert rows[0].line_number == 3
    assert rows[0].cells == ("S-12", 47.25, "2026-03-01")


def test_formulas_without_a_saved_value_are_named_by_their_cell():
    def fill(book):
        book.active.append(["tag", "width"])
        book.active.append(["S-12", "=600*2"])
        book.active.append(["S-13", 900])

    shape, rows = read(workbook(fill))
    assert any("1 of them have none saved" in import_words(note) for note in shape.notes)
    [(column, reason)] = rows[0].cell_problems
    assert column == 1
    assert import_words(reason).startswith("Cell B2 holds a formula without a saved value.")
    assert rows[1].cell_problems == ()


def test_merged_cells_are_named_in_the_rows_that_they_leave_empty():
    def fill(book):
        for row in [["tag", "note"], ["S-1", "wet"], ["S-2", None], ["S-3", "dry"]]:
            book.active.append(row)
        book.active.merge_cells("B2:B3")

    shape, rows = read(workbook(fill))
    assert "Merged cells: B2:B3." in map(import_words, shape.notes)
    assert [bool(row.cell_problems) for row in rows] == [False, True, False]
    assert "merged cells B2:B3" in import_words(rows[1].cell_problems[0][1])


def test_a_chosen_line_of_the_head_may_lie_far_down():
    text = "an export\n" * 220 + "tag,note\nS-1,a\n"
    shape, rows = read(text.encode(), header_line=221)
    assert (shape.columns, rows[0].cells) == (("tag", "note"), ("S-1", "a"))

    def fill(book):
        for _n in range(30):
            book.active.append(["an export"])
        book.active.append(["tag", "note"])
        book.active.append(["S-1", "a"])

    shape, rows = read(workbook(fill), header_line=31)
    assert (shape.columns, rows[0].line_number) == (("tag", "note"), 32)


def test_western_text_of_few_odd_letters_is_not_taken_for_mac_roman():
    text = "tag,note\n" + "".join(f"A-{n % 40},läuft schräg row {n}\n" for n in range(2000))
    assert read(text.encode("cp1252"))[0].encoding == "cp1252"


def test_heads_state_units_in_brackets():
    assert split_head("Belt width [in]") == ("Belt width", "in")
    assert split_head("torque (lbf·ft)") == ("torque", "lbf·ft")
    assert split_head("tag") == ("tag", "")


# The beginnings that a spreadsheet takes for a formula: OWASP, "CSV Injection" (community page; from memory).
@pytest.mark.parametrize(
    "text", ["=1+1", "=HYPERLINK(1)", "+1+cmd|x", "-2+3", "@SUM(1)", "\t=1", "\r=1", "\n=1", "-", "+44 return idler"]
)
def test_text_that_a_spreadsheet_would_work_out_is_kept_as_text_and_comes_back(text):
    assert guarded(text) == f"'{text}"
    assert cell_text(guarded(text)) == text or text[0].isspace()


@pytest.mark.parametrize("text", ["-12", "+3.5", "-0,25", "S-12", "1=1", ""])
def test_numbers_and_plain_text_stay_as_they_are(text):
    assert guarded(text) == cell_text(guarded(text)) == text


# --- which row is the head
KNOWN_WORDS = {"conveyor", "when", "severity", "spill", "trip", "tag"}


def head_of(text):
    rows = [(n, tuple(line.split(";"))) for n, line in enumerate(text.splitlines(), 1)]
    return find_header(rows, lambda name: name.casefold() in KNOWN_WORDS)


@pytest.mark.parametrize(
    ("text", "line"),
    [
        # a title, an empty line, names that nobody knows, and a known word among the values
        ("Störungen 2025;;;\n;;;\nBand;Wann;Ort [m];Art\nQ-01;03.02.2025 06:40;12,5;Kontakt\nQ-1;5.2.25;30;spill", 3),
        ("Q-01;03.02.2025;30;spill\nconveyor;when;where;severity\nQ-1;1.2.2025;4;trip", 2),
        ("Liste der Bänder;;\nBand;Zeit;Art\nA-1;06:40;Kontakt", 2),
        ("tag\nA-1\nA-2", 1),
        ("notes of the shift\nconveyor;when\nA-1;2026-03-01", 2),
        (";;\n12;13;14", 2),
        ("", 0),
    ],
)
def test_the_head_is_the_row_of_names_and_not_one_that_holds_a_known_word(text, line):
    assert head_of(text) == line
