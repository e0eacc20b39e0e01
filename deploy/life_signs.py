"""How worker and timetable say that they live: rows that a page reads, whatever the broker can tell.

The worker says so by itself, from a thread of its own; whether it takes jobs is seen by how long they wait. The
timetable says so whenever it has sent something, so that one whose broker is away counts as silent: nothing that it
stands for happens then.
"""

from __future__ import annotations

import logging
import os
import socket
import threading
import time
from collections.abc import Callable

from django.conf import settings
from django.db import close_old_connections, connections

from plant.models import LifeSign
from plant.services.health import sign_of_life, sign_off

log = logging.getLogger(__name__)

MOST_OFTEN_S = 5.0


def process_name() -> str:
    return f"{socket.gethostname()}:{os.getpid()}"


def tried(act: Callable[[], None]) -> bool:
    """A data base that is away for a while ends no worker: the next sign comes soon."""
    try:
        close_old_connections()
        act()
    except Exception as error:
        log.warning("no sign of life could be written: %s", error)
        return False
    return True


class Worker:
    """Says every few seconds that this process lives."""

    def __init__(self) -> None:
        self.is_over = threading.Event()

    def begin(self) -> None:
        self.is_over.clear()
        threading.Thread(target=self.go_on, name="life signs", daemon=True).start()

    def go_on(self) -> None:
        while True:
            tried(lambda: sign_of_life(LifeSign.Part.WORKER, process_name()))
            if self.is_over.wait(min(settings.SWEEP_EVERY_S, 30)):
                break
        connections.close_all()

    def end(self) -> None:
        """Ends in good order, so nobody misses it."""
        self.is_over.set()
        tried(lambda: sign_off(LifeSign.Part.WORKER, process_name()))


worker = Worker()
_ticked_at = 0.0


def tick() -> None:
    """Something was sent by the timetable."""
    global _ticked_at
    if time.monotonic() - _ticked_at >= MOST_OFTEN_S and tried(
        lambda: sign_of_life(LifeSign.Part.TIMETABLE, "timetable")
    ):
        _ticked_at = time.monotonic()
