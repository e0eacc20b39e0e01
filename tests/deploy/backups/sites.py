"""A site of its own for a test of backups: data folder with a migrated book, a photo with its row, and a sign-in."""

from __future__ import annotations

import contextlib
import sqlite3
from pathlib import Path

from deploy.backups.making import Site
from tests.migrated_book import lay_down

NOW = "2026-11-25 09:00:00"
PHOTO = b"\xff\xd8\xff" + bytes(range(256)) * 40


def site_in(folder: Path, **rule: int) -> Site:
    data = folder / "data"
    lay_down(data)
    site = Site(data, {"ENGINE": "django.db.backends.sqlite3", "NAME": str(data / "driftbook.sqlite3")},
                data / "backups", **rule)  # fmt: skip
    (data / "secret_key").write_text("kept-apart")
    (data / "begun-empty").touch()
    with book_of(site) as book:
        book.execute("PRAGMA journal_mode=WAL")
        book.execute("CREATE TABLE parent (id INTEGER PRIMARY KEY, n_children INTEGER)")
        book.execute("CREATE TABLE child (id INTEGER PRIMARY KEY, parent INTEGER REFERENCES parent)")
        book.execute(
            "INSERT INTO django_session VALUES ('number-of-a-sign-in-0123456789ab', 'who', '2030-01-01')",
        )
    add_photo(site, 1)
    return site


@contextlib.contextmanager
def book_of(site: Site):
    with contextlib.closing(sqlite3.connect(site.book, timeout=60)) as book:
        yield book
        book.commit()


def add_photo(site: Site, number: int) -> None:
    """As the site does: the file first, then its row."""
    path = site.data / "files" / "photos" / f"{number}.jpg"
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(PHOTO + str(number).encode())
    with book_of(site) as book:
        book.execute(
            "INSERT INTO plant_photo (id, client_key, created_at, image_format, file, caption, sha256, plant_id) "
            "VALUES (?, ?, ?, 'JPEG', ?, '', '', 1)",
            [number, f"{number:032x}", NOW, f"photos/{number}.jpg"],
        )


def rows_of(path: Path, table: str) -> list[tuple]:
    with contextlib.closing(sqlite3.connect(path)) as book:
        return sorted(book.execute(f'SELECT * FROM "{table}"'))
