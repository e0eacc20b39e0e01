"""How lists and start pages keep up with the book: the same pages at so many checks and at a hundredth of them."""

from __future__ import annotations

import time
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from deploy.bench.lists import measure, pages_of
from deploy.bench.made_up_books import begin_book, grow_book
from plant.errors import Refused


class Command(BaseCommand):
    help = "Fills an empty book with made-up checks and measures lists and start pages, at --tasks and a hundredth."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--tasks", type=int, default=100_000, help="checks in the larger book")
        parser.add_argument("--times", type=int, default=3, help="how often each page is asked for; the best counts")

    def handle(self, *args: Any, **given: Any) -> None:
        now = timezone.now()
        try:
            book = begin_book(now)
        except Refused as refusal:
            raise CommandError(str(refusal.message)) from refusal
        measured = []
        for n_tasks in (max(given["tasks"] // 100, 100), given["tasks"]):
            began = time.monotonic()
            book = grow_book(book, n_tasks, now)
            self.stdout.write(
                f"{book.n_tasks:,} checks, {book.n_open:,} of them open: written in {time.monotonic() - began:.0f} s"
            )
            self.stdout.flush()
            measured.append({name: measure(book, *page, given["times"]) for name, page in pages_of(book).items()})
        small, large = measured
        self.stdout.write(f"{'':24}{'queries':>16}{'time':>20}{'longer by':>11}")
        for name, before in small.items():
            after = large[name]
            self.stdout.write(
                f"{name:24}{before.queries:>7} {after.queries:>8}{before.seconds:>9.3f} {after.seconds:>8.3f} s"
                f"{after.seconds / before.seconds:>9.1f} x"
            )
