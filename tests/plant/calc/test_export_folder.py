"""Tables of a plant's folder, read strictly."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from plant.calc.export_cells import CellKind, csv_line, head_line
from plant.calc.export_folder import FolderRule, TableFault, rows_of_table, version_parts

HEADS = ("a", "b")
TEXT = st.text(st.characters(exclude_categories=["Cs"]))


def fault_of(path, content):
    path.write_bytes(content)
    with pytest.raises(TableFault) as caught:
        list(rows_of_table(path, HEADS))
    return caught.value.rule, caught.value.values


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.tuples(st.none() | TEXT, st.none() | st.integers()), max_size=5))
def test_rows_come_back_with_their_numbers(tmp_path, rows):
    path = tmp_path / "rows.csv"
    lines = [csv_line(row, (CellKind.TEXT, CellKind.WHOLE)) for row in rows]
    path.write_bytes("".join([head_line(HEADS), *lines]).encode())
    read = list(rows_of_table(path, HEADS))
    assert [row for row, _cells in read] == list(range(2, 2 + len(rows)))
    assert [b for _row, (_a, b) in read] == [None if b is None else str(b) for _a, b in rows]


def test_what_is_wrong_is_named_with_its_row(tmp_path):
    path = tmp_path / "rows.csv"
    assert fault_of(path, b"") == (FolderRule.BREAKS_OFF, {"row": 1})
    assert fault_of(path, b"a,b") == (FolderRule.BREAKS_OFF, {"row": 1})
    assert fault_of(path, b"a,b\r\n1,2\r\n1,") == (FolderRule.BREAKS_OFF, {"row": 3})
    assert fault_of(path, b'a,b\r\n"1,2\r\n3,4\r\n') == (FolderRule.BREAKS_OFF, {"row": 2})
    assert fault_of(path, b"a,b\r\n1,2,3\r\n") == (FolderRule.CELLS, {"row": 2, "found": 3, "wanted": 2})
    assert fault_of(path, b"a,b\r\n\r\n") == (FolderRule.CELLS, {"row": 2, "found": 1, "wanted": 2})
    assert fault_of(path, b'a,b\r\n1,2\r\n"x"y,2\r\n') == (FolderRule.UNREADABLE, {"row": 3})
    assert fault_of(path, b"b,a\r\n") == (FolderRule.HEADS_ORDER, {"wanted": "a, b"})
    assert fault_of(path, b"a;b\r\n")[0] == FolderRule.HEAD_UNKNOWN
    assert fault_of(path, b"\xef\xbb\xbfa,b\r\n") == (FolderRule.BYTE_ORDER_MARK, {})
    assert fault_of(path, b'a,b\r\n"\r\n\r\n",1\r\n\xf6,2\r\n') == (FolderRule.NOT_UTF8, {"row": 3, "byte": "f6"})


def test_versions_are_compared_as_numbers():
    assert version_parts("0.10.0") > version_parts("0.9.9")
