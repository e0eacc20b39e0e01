"""How a running site bears people at work: errors, and how long each page takes."""

from __future__ import annotations

from argparse import ArgumentParser
from collections import Counter
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from deploy.bench.errands import ERRANDS, crowd_of
from deploy.bench.load import Crowd, PageTimes, report_of, run
from deploy.bench.pages import machine_words
from fixtures.people import DEMO_PASSWORD, PEOPLE

MOST_FAULTS_SHOWN = 20


class Command(BaseCommand):
    help = (
        "Lets people work on a running site with the demo plant for a while, each thinking between pages, and reports "
        "errors and the times of each page. It writes incidents: use a site that nobody needs."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--address", default="http://localhost:8000", help="where the site answers")
        parser.add_argument("--people", type=int, default=50, help="how many people work at once")
        parser.add_argument("--minutes", type=float, default=5.0, help="for how long, once all have signed in")
        parser.add_argument(
            "--think", type=float, nargs=2, default=(10.0, 30.0), metavar=("LEAST", "MOST"), help="between pages [s]"
        )
        parser.add_argument("--errands", type=int, help="at most so many errands for each person")
        parser.add_argument("--seed", type=int, default=1, help="another number: other choices")

    def handle(self, *args: Any, **given: Any) -> None:
        least, most = given["think"]
        if given["people"] < 1 or given["minutes"] <= 0 or not 0 <= least <= most:
            raise CommandError("Give at least one person, more than 0 minutes, and from the least to the most seconds.")
        signs_in: dict[str, list[str]] = {}
        for name, role, _units in PEOPLE:
            signs_in.setdefault(role, []).append(name)
        people = crowd_of(given["people"], signs_in)
        crowd = Crowd(given["address"], people, DEMO_PASSWORD, ERRANDS, (least, most), given["seed"])
        told = ", ".join(f"{n} {role}" for role, n in Counter(role for _name, role in people).items())
        self.say(f"{timezone.now():%Y-%m-%d %H:%M} UTC: {machine_words()}")
        self.say(f"{len(people)} people ({told}), {least:g} to {most:g} s between pages, {given['minutes']:g} min")
        measured, signing = run(crowd, for_s=60 * given["minutes"], most_errands=given["errands"], say=self.say)
        self.say(f"{'':36}{'times':>7}{'median':>10}{'95 %':>10}{'longest':>10}")
        for line in [*report_of(signing)[:-1], *report_of(measured)]:
            self.say(row_of(line))
        faults = [*signing.faults, *measured.faults]
        self.say(f"{len(faults)} errors")
        for words, n in Counter(faults).most_common(MOST_FAULTS_SHOWN):
            self.say(f"{n:>5} x {words}")
        if faults:
            raise CommandError("Pages failed: see above.")

    def say(self, words: str) -> None:
        self.stdout.write(words)
        self.stdout.flush()


def row_of(line: PageTimes) -> str:
    return f"{line.name:36}{line.n:>7}{line.median:>9.2f}s{line.p95:>9.2f}s{line.longest:>9.2f}s"
