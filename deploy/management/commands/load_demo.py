"""Makes the demo plant, Bramwick Works, as of today."""

from __future__ import annotations

import signal
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, NoReturn

from django.core.management.base import BaseCommand, CommandError
from django.db import connection

from fixtures.loading.demo_plant import load_demo
from fixtures.scenario import PLANT_NAME
from plant.models import Plant

INTERRUPTED = 130  # what a shell calls a program that was ended by Ctrl-C


class Command(BaseCommand):
    help = (
        f"Make the demo plant, {PLANT_NAME}: all of it, or nothing where the run is interrupted. A second run changes "
        "nothing."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        begun = time.monotonic()
        was_within = connection.in_atomic_block
        try:
            with interrupted_by_signals():
                is_made = load_demo(say=self.stdout.write)
        except KeyboardInterrupt:
            if not was_within:
                connection.close()  # whatever was begun and not committed is given up
            raise CommandError(what_stands(), returncode=INTERRUPTED) from None
        if is_made:
            self.stdout.write(f"{PLANT_NAME} is in the book ({time.monotonic() - begun:.0f} s).")


def what_stands() -> str:
    """After an interruption: what the book holds of the demo plant, asked of the book itself."""
    if Plant.objects.filter(name=PLANT_NAME).exists():
        return f"Interrupted when all was written: {PLANT_NAME} is in the book, whole."
    return f"Interrupted: nothing of {PLANT_NAME} is in the book. Run it again to make it."


@contextmanager
def interrupted_by_signals() -> Iterator[None]:
    """A request to end (SIGTERM) interrupts as Ctrl-C does; a second one does not disturb the undoing of the first."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    those = (signal.SIGINT, signal.SIGTERM)

    def interrupt(signum: int, frame: object) -> NoReturn:
        for each in those:
            signal.signal(each, signal.SIG_IGN)
        raise KeyboardInterrupt

    before = {each: signal.signal(each, interrupt) for each in those}
    try:
        yield
    finally:
        for each, handler in before.items():
            signal.signal(each, handler)
