"""Carries a book of SQLite into an empty data base of PostgreSQL: all of it, or nothing.

The tables are made by the same migrations that the book has, and the rows copied as the migrations of that time mean
them. Before it is committed both sides are held against each other by the hash of all their rows.
"""

from __future__ import annotations

from pathlib import Path

from django.core.management.color import no_style
from django.db import DatabaseError, connection, models, transaction
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.loader import MigrationLoader

from deploy.backups.archive import NotKept
from deploy.backups.book_hash import book_at, hashes_of_tables, models_of
from plant.calc.backups import BackupRule

AT_ONCE = 1000


def carry(path: Path) -> None:
    """Into the site's data base, which is empty.

    Raises
    ------
    NotKept
        If a row is not taken, or the two differ in the end; nothing is left there then.
    """
    table = "django_migrations"
    with book_at(path) as book:
        steps = list(MigrationLoader(book).applied_migrations)
        try:
            with transaction.atomic():
                with connection.cursor() as cursor:
                    cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
                executor = MigrationExecutor(connection)
                known = set(executor.loader.graph.nodes)
                executor.migrate([step for step in steps if step in known])
                every = models_of(book)
                empty(every)
                for model in every:
                    table = model._meta.db_table
                    copy_rows(model, book)
                with connection.cursor() as cursor:
                    # Whatever names a row that is not there is refused here.
                    cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
                    for statement in connection.ops.sequence_reset_sql(no_style(), every):
                        cursor.execute(statement)
                here, there = hashes_of_tables(connection), hashes_of_tables(book)
                differ = sorted(name for name in {*here, *there} if here.get(name) != there.get(name))
                if differ:
                    raise NotKept(BackupRule.CARRIED_DIFFERS, table=differ[0])
        except (DatabaseError, ValueError) as error:
            why = " ".join(str(error).split())
            raise NotKept(BackupRule.ROW_NOT_TAKEN, table=table, why=why) from error


def empty(every: list[type[models.Model]]) -> None:
    """Take away what migrations write into a new book: the rows of the old one come instead."""
    quoted = ", ".join(connection.ops.quote_name(model._meta.db_table) for model in every)
    with connection.cursor() as cursor:
        cursor.execute(f"TRUNCATE {quoted} CASCADE")
        cursor.execute("SET CONSTRAINTS ALL DEFERRED")


def copy_rows(model: type[models.Model], book: BaseDatabaseWrapper) -> None:
    quote = connection.ops.quote_name
    fields = [each for each in model._meta.local_concrete_fields if not getattr(each, "generated", False)]
    columns = ", ".join(quote(str(each.column)) for each in fields)
    marks = ", ".join(["%s"] * len(fields))
    statement = f"INSERT INTO {quote(model._meta.db_table)} ({columns}) VALUES ({marks})"
    rows = model._base_manager.using(book.alias).order_by("pk").values_list(*(each.attname for each in fields))
    with connection.cursor() as cursor:
        batch = []
        for row in rows.iterator(chunk_size=AT_ONCE):
            batch.append([each.get_db_prep_save(value, connection) for each, value in zip(fields, row, strict=True)])
            if len(batch) == AT_ONCE:
                cursor.executemany(statement, batch)
                batch = []
        if batch:
            cursor.executemany(statement, batch)
