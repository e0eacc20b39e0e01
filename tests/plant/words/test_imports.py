"""Words of the import desk: each rule has its text, and sizes read as people write them."""

from __future__ import annotations

import re

import pytest

from plant.calc.import_columns import CellRule, Mark
from plant.calc.import_files import FileKind
from plant.calc.import_limits import FileRule, NotATable
from plant.calc.import_texts import DELIMITERS, ENCODINGS, delimiter_word, encoding_word
from plant.calc.reasons import Reason
from plant.words.imports import CELLS, FILES, SEND, import_words, no_table, write_words


def test_every_rule_has_its_text():
    assert set(CELLS) == {*CellRule, *Mark}
    named = {*map(encoding_word, ENCODINGS), *map(delimiter_word, DELIMITERS)}
    assert {*FileRule, *FileKind, *named} <= set(FILES)


@pytest.mark.parametrize("rule", [*CellRule, *FileRule])
def test_every_text_can_be_written(rule):
    text = str((CELLS | FILES)[rule])
    names = re.findall(r"%\((\w+)\)", text)
    assert text.count("%") == len(names)
    said = import_words(Reason(rule, dict.fromkeys(names, 73)))
    assert said.count("73") >= len(names)


@pytest.mark.parametrize(
    ("reason", "words"),
    [
        (
            Reason(
                CellRule.TWO_COLUMNS,
                {
                    "label": "tag",
                    "heads": Reason(
                        CellRule.HEAD_AND, {"head": "a", "rest": Reason(CellRule.HEAD, {"head": "100 % b"})}
                    ),
                },
            ),
            "Two columns may be the tag: “a” and “100 % b”. Choose one of them.",
        ),
        (
            Reason(CellRule.PROSE, {"length": 5000, "label": "belt width"}),
            "The cell has 5,000 characters, which is no belt width. Write the value alone.",
        ),
        (
            Reason(CellRule.OTHER_MARK, {"number": "1,5", "found": Mark.COMMA, "own": Mark.POINT}),
            "“1,5” has a comma where this file has its decimal point. Write the number with a decimal point and no "
            "thousands separator, or choose comma as the decimal mark of the file.",
        ),
        (Reason(FileRule.OTHER_KIND, {"what": FileKind.PNG}), f"The file is a picture (PNG), not a table. {SEND}"),
        (
            Reason(FileRule.FORMULAS, {"formulas": 12_345, "without": 1}),
            "12,345 cells hold formulas; the values saved with them are used. 1 of them have none saved.",
        ),
        (
            Reason(FileRule.HEAD_BELOW, {"line": 1200}),
            "Column names stand in line 1200; what is above was left out.",
        ),
        (
            Reason(FileRule.NO_SUCH_LINE, {"line": 2_000_000, "most": 1_048_576}),
            f"The sheet names a line 2,000,000, and no sheet has more than 1,048,576. {SEND}",
        ),
        (
            Reason(FileRule.LARGE_PART, {"part": "xl/styles.xml", "size_mb": 5.0, "most_mb": 4.0}),
            "The part xl/styles.xml of the workbook has 5.0 MB; up to 4.0 MB are read. Copy the rows into a new "
            "workbook, or save them as CSV.",
        ),
    ],
)
def test_what_is_said(reason, words):
    assert import_words(reason) == words


def test_a_file_that_is_no_table_is_refused_at_its_field():
    refusal = no_table(NotATable(FileRule.EMPTY), ["file"])
    assert (refusal.code, refusal.fields) == ("no_table", {"file": f"The file is empty. {SEND}"})
    assert refusal.message == f"The file is empty. {SEND}"


@pytest.mark.parametrize(
    ("tally", "n_tried", "words"),
    [
        ({"written": 919, "unchanged": 3}, 922, "Write 919 new rows"),
        (
            {"written": 1, "changed": 2, "refused": 1},
            922,
            "Write 1 new row, change 2 rows and keep 1 row for correction",
        ),
        ({"changed": 1, "repeated": 4}, 922, "Change 1 row"),
        ({"unchanged": 922}, 922, "Import all the same: nothing is new"),
        ({"written": 500}, 500, "Write what is new of 922 rows"),  # the rest was not tried out
        ({"": 922}, 922, "Write what is new of 922 rows"),  # the book was busy: none was
    ],
)
def test_the_button_says_what_it_would_do(tally, n_tried, words):
    assert write_words(tally, n_tried=n_tried, n_rows=922) == words
