"""A book of version 0.2.0: its migrations by their names, and some rows of its demo plant, as they stood there then.

The rows were taken from a demo plant that 0.2.0 had made: `python -m tests.deploy.backups.book_0_2_0 book.sqlite3`
takes the first rows of each table with all rows that those name.
"""

from __future__ import annotations

import contextlib
import json
import sqlite3
import sys
from pathlib import Path

ROWS = Path(__file__).parent / "rows_0_2_0.json"
STEPS = [
    ("plant", "0001_tables"),
    ("installs", "0002_refuse_overlaps"),
    ("inspections", "0002_built_in_check_kinds"),
    ("reports", "0001_tables"),
]
# Of libraries: whatever step they have; their tables hold nothing of the demo plant but sign-ins and rights.
OF_LIBRARIES = ("admin", "auth", "axes", "contenttypes", "sessions")
FIRST_ROWS = 4
LEFT_OUT = {"django_migrations", "django_session", "sqlite_sequence", "plant_keptresult", "axes_accesslog",
            # A month is a large text, and nothing names one but its mails.
            "reports_monthlyreport", "reports_historicalmonthlyreport"}  # fmt: skip


def make(path: Path) -> None:
    """Migrate an empty file to the steps of 0.2.0 and write the rows."""
    from django.db.migrations.executor import MigrationExecutor

    from deploy.backups.book_hash import book_at

    with book_at(path) as book:
        executor = MigrationExecutor(book)
        leaves = [step for step in executor.loader.graph.leaf_nodes() if step[0] in OF_LIBRARIES]
        executor.migrate([*leaves, *STEPS])
    with contextlib.closing(sqlite3.connect(path)) as book:
        book.execute("PRAGMA foreign_keys=OFF")
        for table, given in json.loads(ROWS.read_text(encoding="utf-8")).items():
            book.execute(f'DELETE FROM "{table}"')
            names = ", ".join(f'"{name}"' for name in given["columns"])
            marks = ", ".join("?" * len(given["columns"]))
            book.executemany(f'INSERT INTO "{table}" ({names}) VALUES ({marks})', given["rows"])
        book.commit()
        assert book.execute("PRAGMA foreign_key_check").fetchall() == []


def take_rows(book: sqlite3.Connection) -> dict[str, dict]:
    """The first rows of each table, and whatever they name, until nothing is named that is not there."""
    tables = [name for (name,) in book.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")]
    taken: dict[str, set[int]] = {name: set() for name in tables if name not in LEFT_OUT}
    whole = {"auth_group", "auth_group_permissions", "auth_permission", "django_content_type"}
    waiting = [
        (table, rowid)
        for table in taken
        for (rowid,) in book.execute(f'SELECT rowid FROM "{table}" {"" if table in whole else f"LIMIT {FIRST_ROWS}"}')
    ]
    while waiting:
        table, rowid = waiting.pop()
        if rowid in taken[table]:
            continue
        taken[table].add(rowid)
        for key in book.execute(f'PRAGMA foreign_key_list("{table}")').fetchall():
            other, mine, theirs = key[2], key[3], key[4]
            found = book.execute(
                f'SELECT rowid FROM "{other}" WHERE "{theirs}" = (SELECT "{mine}" FROM "{table}" WHERE rowid = ?)',
                [rowid],
            ).fetchone()
            if found:
                waiting.append((other, found[0]))
    rows = {}
    for table, ids in taken.items():
        columns = [each[1] for each in book.execute(f'PRAGMA table_info("{table}")')]
        marks = ", ".join(str(each) for each in sorted(ids))
        found = book.execute(f'SELECT * FROM "{table}" WHERE rowid IN ({marks})').fetchall()
        if found:
            rows[table] = {"columns": columns, "rows": [list(row) for row in found]}
    return rows


if __name__ == "__main__":
    with contextlib.closing(sqlite3.connect(f"file:{sys.argv[1]}?immutable=1", uri=True)) as book:
        lines = [
            f'"{table}": {{"columns": {json.dumps(given["columns"])}, "rows": [\n'
            + ",\n".join(json.dumps(row, ensure_ascii=False) for row in given["rows"])
            + "]}"
            for table, given in take_rows(book).items()
        ]
        ROWS.write_text("{" + ",\n".join(lines) + "}\n", encoding="utf-8")
