"""A book of PostgreSQL: dumped by pg_dump from one snapshot, counted in the same, looked over by reading all of it."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import psycopg
from psycopg import sql

from deploy.backups.archive import NotKept
from deploy.backups.sqlite_book import SIGN_INS, Facts
from plant.calc.backups import BackupRule

CONNECT_WITHIN_S = 20
OURS = "SELECT tablename FROM pg_tables WHERE schemaname = current_schema() ORDER BY 1"
COPY = re.compile(rb'COPY (?:"?[^".]+"?\.)?"?([^"( ]+)"? \(')


@contextmanager
def opened(database: Mapping[str, Any]) -> Iterator[psycopg.Connection[Any]]:
    """The data base, for as long as the block; one that cannot be reached is said."""
    known = {"host": "HOST", "port": "PORT", "user": "USER", "password": "PASSWORD", "dbname": "NAME"}
    given = {name: str(database[key]) for name, key in known.items() if database.get(key)}
    try:
        connection = psycopg.connect(**given, connect_timeout=CONNECT_WITHIN_S)  # type: ignore[arg-type]
    except psycopg.OperationalError as error:
        raise NotKept(BackupRule.DATABASE_REFUSED, why=last_line(str(error))) from error
    with connection:
        yield connection


def tables(connection: psycopg.Connection[Any]) -> list[str]:
    return [name for (name,) in connection.execute(OURS)]


def rows(connection: psycopg.Connection[Any]) -> dict[str, int]:
    """How many rows each table has; sign-ins count as none, because no backup holds them."""
    found = {}
    for name in tables(connection):
        query = sql.SQL("SELECT count(*) FROM {}").format(sql.Identifier(name))
        found[name] = 0 if name == SIGN_INS else int(connection.execute(query).fetchone()[0])  # type: ignore[index]
    return found


def n_bytes(database: Mapping[str, Any]) -> int:
    with opened(database) as connection:
        return int(connection.execute("SELECT pg_database_size(current_database())").fetchone()[0])  # type: ignore[index]


def dump(database: Mapping[str, Any], target: Path, file_columns: Sequence[tuple[str, str]]) -> Facts:
    """The state of one moment, which pg_dump and the counts share by a snapshot."""
    with opened(database) as connection:
        connection.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
        snapshot = connection.execute("SELECT pg_export_snapshot()").fetchone()[0]  # type: ignore[index]
        os.close(os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
        run(
            database, "pg_dump", "--format=custom", "--no-owner", "--no-privileges", f"--snapshot={snapshot}",
            f"--exclude-table-data={SIGN_INS}", f"--file={target}",
        )  # fmt: skip
        found = rows(connection)
        steps: list[list[str]] = []
        if "django_migrations" in found:
            steps = sorted([app, name] for app, name in connection.execute("SELECT app, name FROM django_migrations"))
        named: set[str] = set()
        columns = set(
            connection.execute(
                "SELECT table_name, column_name FROM information_schema.columns WHERE table_schema = current_schema()"
            )
        )
        for table, column in file_columns:
            if (table, column) in columns:
                query = sql.SQL("SELECT {} FROM {}").format(sql.Identifier(column), sql.Identifier(table))
                named |= {str(value) for (value,) in connection.execute(query) if value}
    return Facts(found, steps, named)


def rows_in(dumped: Path) -> dict[str, int]:
    """How many rows of each table are in a dump, by reading all of it.

    Raises
    ------
    NotKept
        If pg_restore cannot read it.
    """
    command = [program("pg_restore"), "--data-only", "--file=-", str(dumped)]
    found: dict[str, int] = {}
    table = ""
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        for line in process.stdout or ():
            if table:
                if line == b"\\.\n":
                    table = ""
                else:
                    found[table] += 1
            elif (matched := COPY.match(line)) and line.endswith(b"FROM stdin;\n"):
                table = matched[1].decode()
                found[table] = 0
        words = (process.stderr.read() if process.stderr else b"").decode(errors="replace")
    if process.returncode != 0:
        raise NotKept(BackupRule.BOOK_NOT_WHOLE, file=dumped.name, why=last_line(words))
    return found


def load(database: Mapping[str, Any], dumped: Path) -> None:
    """Put a dump into an empty data base: all of it, or nothing."""
    run(
        database, "pg_restore", "--no-owner", "--no-privileges", "--exit-on-error", "--single-transaction",
        f"--dbname={database['NAME']}", str(dumped),
    )  # fmt: skip


def run(database: Mapping[str, Any], name: str, *args: str) -> None:
    known = {"PGHOST": "HOST", "PGPORT": "PORT", "PGUSER": "USER", "PGPASSWORD": "PASSWORD", "PGDATABASE": "NAME"}
    env = {**os.environ, **{name: str(database[key]) for name, key in known.items() if database.get(key)}}
    done = subprocess.run([program(name), *args], env=env, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise NotKept(BackupRule.PROGRAM_FAILED, program=name, why=last_line(done.stderr))


def program(name: str) -> str:
    path = shutil.which(name)
    if path is None:
        raise NotKept(BackupRule.PROGRAM_MISSING, program=name)
    return path


def last_line(words: str) -> str:
    lines = [line.strip() for line in words.strip().splitlines() if line.strip()]
    return lines[-1] if lines else "no reason given"
