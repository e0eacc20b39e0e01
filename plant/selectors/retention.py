"""How the clearing of the last nights went, kind by kind."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from plant.calc.retention import RULES, KeptFor
from plant.models import Tally


@dataclass(frozen=True)
class Cleared:
    """The last run: when, how many went of each kind, and which kinds could not be cleared."""

    at: dt.datetime | None
    gone: dict[KeptFor, int]
    failed: tuple[KeptFor, ...]

    @property
    def n_gone(self) -> int:
        return sum(self.gone.values())


def last_cleared() -> Cleared:
    known = {each.what for each in RULES}
    rows = [each for each in Tally.objects.filter(what=Tally.What.CLEARING) if each.kind in known]
    went = {KeptFor(each.kind): each for each in rows if each.outcome == "went"}
    failed = {KeptFor(each.kind): each for each in rows if each.outcome == "failed"}
    stands = tuple(what for what, each in failed.items() if what not in went or went[what].last_at < each.last_at)
    gone = {what: int(each.last_words or 0) for what, each in went.items() if what not in stands}
    return Cleared(max((each.last_at for each in rows), default=None), gone, stands)
