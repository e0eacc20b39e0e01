"""Names in texts: whether one is there, and the text without it. No letter of another word is touched."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

PLACE = re.compile(r"%\((\w+)\)s")
LEAST_LETTERS = 2  # a single letter is no name that could be looked for


@dataclass(frozen=True)
class Names:
    """By what one person is named.

    Attributes
    ----------
    username, first, last, email : str
        As the person's row holds them; all but the first may be empty.
    """

    username: str
    first: str = ""
    last: str = ""
    email: str = ""

    @property
    def said(self) -> tuple[str, ...]:
        """What is looked for in texts, the longest first, each once."""
        full = f"{self.first} {self.last}".strip()
        found = {each.strip() for each in (self.email, full, self.username, self.first, self.last)}
        return tuple(
            sorted((each for each in found if len(each) >= LEAST_LETTERS), key=lambda each: (-len(each), each))
        )

    @property
    def of_the_site(self) -> tuple[str, ...]:
        """What the site itself writes of a person: nothing else is taken out of its texts."""
        return tuple(each for each in (self.email, self.username) if len(each) >= LEAST_LETTERS)


@lru_cache(maxsize=256)
def _whole(name: str, flags: int) -> re.Pattern[str]:
    return re.compile(rf"(?<!\w){re.escape(name)}(?!\w)", flags)


def holds_name(text: str, names: Iterable[str]) -> bool:
    """Whether one of the names stands in the text as a whole word, in whatever case.

    Parameters
    ----------
    text : str
    names : iterable of str

    Examples
    --------
    >>> holds_name("Seen by PAT.", ["pat"]), holds_name("a new pattern", ["pat"])
    (True, False)
    """
    return any(_whole(each, re.IGNORECASE).search(text) for each in names)


def without_names(text: str, names: Iterable[str], instead: str) -> str:
    """The text with each of the names, written as they are, replaced where it is a whole word.

    Parameters
    ----------
    text : str
    names : iterable of str
    instead : str
        What is written in their place.

    Examples
    --------
    >>> without_names("pat gave you a pattern", ["pat"], "a person")
    'a person gave you a pattern'
    """
    for each in names:
        text = _whole(each, 0).sub(lambda _found: instead, text)
    return text


@lru_cache(maxsize=1024)
def _of_person(sentence: str, at: int, name: str) -> re.Pattern[str]:
    """The sentence with this name in one of its places and anything in the others."""
    parts = PLACE.split(sentence)
    found = [re.escape(parts[0])]
    for n, after in enumerate(parts[2::2]):
        found.append(rf"(?<!\w)(?P<name>{re.escape(name)})(?!\w)" if n == at else ".*?")
        found.append(re.escape(after))
    is_alone = not any(parts[::2])
    return re.compile((r"\A" if is_alone else "") + "".join(found) + ("" if parts[-1] else r"\Z"), re.DOTALL)


def without_names_in(text: str, sentence: str, people: Iterable[str], names: Sequence[str], instead: str) -> str:
    """The text with the names replaced where a sentence of the site has a person, and nowhere else.

    Parameters
    ----------
    text : str
        What a row keeps; typed texts may stand in it.
    sentence : str
        As the site writes it, such as "asked for by %(who)s".
    people : iterable of str
        Which of its places name a person.
    names : sequence of str
    instead : str

    Examples
    --------
    >>> without_names_in("asked for by pat", "asked for by %(who)s", ["who"], ["pat"], "a person")
    'asked for by a person'
    >>> without_names_in("pat's idea", "asked for by %(who)s", ["who"], ["pat"], "a person")
    "pat's idea"
    """
    wanted = set(people)
    for at, place in enumerate(PLACE.findall(sentence)):
        if place in wanted:
            for name in names:
                found = _of_person(sentence, at, name).search(text)
                if found is not None:
                    begin, end = found.span("name")
                    text = f"{text[:begin]}{instead}{text[end:]}"
    return text


def in_all_texts(value: Any, change: Any) -> Any:
    """A plain value with each text in it changed, keys of mappings left as they are.

    Parameters
    ----------
    value : str, number, None, list or dict
        As JSON gives it.
    change : callable of str to str

    Examples
    --------
    >>> in_all_texts({"by": ["pat", 3]}, str.upper)
    {'by': ['PAT', 3]}
    """
    if isinstance(value, str):
        return change(value)
    if isinstance(value, list):
        return [in_all_texts(each, change) for each in value]
    if isinstance(value, dict):
        return {name: in_all_texts(each, change) for name, each in value.items()}
    return value


def last_backup_goes_on(removed_on: dt.date, *, days: int, weeks: int, months: int) -> dt.date:
    """The day from which no backup that was made before is kept any more, where one is made each night.

    Parameters
    ----------
    removed_on : date
        Day of the removal; backups up to its end may hold the name.
    days, weeks, months : int
        For how many of them one is kept (`plant.calc.backups.kept_by_rule`).

    Returns
    -------
    date

    Examples
    --------
    >>> last_backup_goes_on(dt.date(2026, 11, 30), days=7, weeks=5, months=12)
    datetime.date(2027, 11, 1)
    """
    by_day = removed_on + dt.timedelta(days=max(days, 1))
    by_week = removed_on - dt.timedelta(days=removed_on.weekday()) + dt.timedelta(weeks=weeks)
    n = removed_on.year * 12 + removed_on.month - 1 + months
    by_month = dt.date(n // 12, n % 12 + 1, 1) if months else by_day
    return max(by_day, by_week, by_month)
