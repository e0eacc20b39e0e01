"""What becomes of what people write while the site is hurt: killed, cut off, filled up."""

from __future__ import annotations

import socket
import tempfile
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from deploy.bench.faults import FAULTS, HurtSite, line_of, suffer, table_of
from deploy.bench.pages import machine_words


class Command(BaseCommand):
    help = (
        "Starts a private site, lets people record incidents and send files in, and hurts it at random moments. Fails "
        "where something that was taken is lost or doubled. Prints a table in Markdown."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("faults", nargs="*", metavar="FAULT", help=f"which, of {', '.join(FAULTS)}; default all")
        parser.add_argument("--times", type=int, default=10, help="how often each strikes (default 10)")
        parser.add_argument("--folder", type=Path, help="where the private data folder is made; on a small disk of its "
                            "own for “disk”")  # fmt: skip
        parser.add_argument("--database-url", default="", help="an empty PostgreSQL data base; default SQLite")
        parser.add_argument("--redis-url", default="", help="a Redis server that nobody needs; default files")
        parser.add_argument("--seed", type=int, default=1, help="another number: other moments")

    def handle(self, *args: Any, **given: Any) -> None:
        unknown = sorted(set(given["faults"]) - FAULTS.keys())
        if unknown:
            raise CommandError(f"There is no fault {unknown[0]}; choose from {', '.join(FAULTS)}.")
        chosen = given["faults"] or list(FAULTS)
        with tempfile.TemporaryDirectory(prefix="driftbook-faults-", dir=given["folder"]) as folder:
            site = HurtSite(Path(folder) / "data", free_port(), given["database_url"], given["redis_url"])
            self.say("Making a private site ...")
            site.prepare()
            site.start()
            outcomes = []
            try:
                with site.watched():
                    for name in chosen:
                        self.say(f"{FAULTS[name].words}, {given['times']} times ...")
                        outcomes.append(suffer(site, FAULTS[name], times=given["times"], seed=given["seed"]))
                        self.say(line_of(outcomes[-1]))  # the rest may take an hour, and be broken off
            finally:
                site.children.stop()
        self.stdout.write(f"\n{timezone.now():%Y-%m-%d}, {machine_words()}\n\n{table_of(outcomes)}")
        for each in outcomes:
            for note in [*each.files, *each.failed_jobs, *each.lost, *each.doubled][:20]:
                self.say(f"{each.words}: {note}")
        if not all(each.is_good for each in outcomes):
            raise CommandError("Something that was taken is lost or doubled: see above.")

    def say(self, words: str) -> None:
        self.stderr.write(words)
        self.stderr.flush()


def free_port() -> int:
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        return int(listener.getsockname()[1])
