"""Values as JSON and back: what a calculation returns, kept as text and read by another process.

Only classes that are named can be written or read, so that a text can make nothing but values. An object that stands
in several places is written once and is one object again.
"""

from __future__ import annotations

import base64
import dataclasses
import datetime as dt
import enum
import json
import math
import zlib
from collections.abc import Callable, Iterable, Mapping
from types import ModuleType
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from plant.calc.reasons import Word

# Another number with each change of the shape: texts of before are refused.
SHAPE = 1
SHORTEST_PACKED = 256  # bytes of an array below which packing gains nothing

RowKey = tuple[str, int]


class CannotRead(ValueError):
    """The text was written by another state of the code, or names what is not there any more."""


def write(value: Any, classes: Iterable[type], *, key_of: Callable[[Any], RowKey | None] = lambda _value: None) -> str:
    """A value as text.

    Parameters
    ----------
    value : Any
        None, bool, int, float, str, date, datetime, timedelta, arrays of numbers or texts, tuples, lists, sets,
        mappings, and members of `classes`.
    classes : iterable of type
        Dataclasses and enumerations that may stand in it.
    key_of : callable, optional
        Kind and key of a row of the data base; None for what is no row.

    Returns
    -------
    str
        JSON on one line.

    Raises
    ------
    TypeError
        If something else stands in it.
    """
    known = _by_name(classes)
    writer = _Writer({each: name for name, each in known.items()}, key_of)
    told = writer.told(value)
    fields = {
        name: [each.name for each in dataclasses.fields(known[name])]
        for name in sorted(writer.used)
        if dataclasses.is_dataclass(known[name])
    }
    rows = sorted(writer.rows)
    return json.dumps([SHAPE, fields, rows, told], separators=(",", ":"), allow_nan=False)


def read(
    text: str,
    classes: Iterable[type],
    *,
    rows_of: Callable[[Mapping[str, set[int]]], Mapping[RowKey, Any]] = lambda _wanted: {},
) -> Any:
    """The value that `write` wrote.

    Parameters
    ----------
    text : str
    classes : iterable of type
        The same as when it was written; more may be named.
    rows_of : callable, optional
        Rows of the data base by kind and key; asked once for all that the text names.

    Returns
    -------
    Any

    Raises
    ------
    CannotRead
        If a class has other fields now, is not named, or a row is not there.
    """
    known = _by_name(classes)
    try:
        shape, fields, rows, told = json.loads(text)
    except ValueError as error:
        raise CannotRead("the text is no JSON of this shape") from error
    if shape != SHAPE:
        raise CannotRead(f"the text has shape {shape}, this code writes {SHAPE}")
    for name, names in fields.items():
        if name not in known or [each.name for each in dataclasses.fields(known[name])] != names:
            raise CannotRead(f"{name} has other fields now")
    wanted: dict[str, set[int]] = {}
    for kind, key in rows:
        wanted.setdefault(kind, set()).add(key)
    found = rows_of(wanted) if wanted else {}
    missing = [f"{kind} {key}" for kind, key in rows if (kind, key) not in found]
    if missing:
        raise CannotRead(f"not there any more: {', '.join(missing[:5])}")
    return _Reader(known, found).value(told)


def classes_in(module: ModuleType) -> list[type]:
    """The dataclasses and enumerations that a module defines, but those that begin with an underscore.

    Parameters
    ----------
    module : module
        Loaded before.

    Returns
    -------
    list of type
    """
    return [
        each
        for name, each in vars(module).items()
        if isinstance(each, type)
        and each.__module__ == module.__name__
        and not name.startswith("_")
        and (dataclasses.is_dataclass(each) or issubclass(each, enum.Enum))
    ]


def _by_name(classes: Iterable[type]) -> dict[str, type]:
    known: dict[str, type] = {}
    for each in classes:
        if known.setdefault(each.__name__, each) is not each:
            raise TypeError(f"two classes are named {each.__name__}; one of them cannot be kept")
    return known


class _Writer:
    """Tells values as JSON. What JSON has no word for is a mapping with one letter as its only key."""

    def __init__(self, names: Mapping[type, str], key_of: Callable[[Any], RowKey | None]) -> None:
        self.names = names
        self.key_of = key_of
        self.used: set[str] = set()
        self.rows: set[RowKey] = set()
        self.seen: dict[int, int] = {}
        self.alive: list[Any] = []  # an object that is thrown away would give its id to another

    def told(self, value: Any) -> Any:
        if value is None or value is True or value is False or type(value) in (str, int):
            return value
        if type(value) is float:
            return value if math.isfinite(value) else {"f": repr(value)}
        if isinstance(value, enum.Enum):
            return {"e": [self._name(value), self.told(value.value)]}
        if dataclasses.is_dataclass(value) and not isinstance(value, type):
            return self._once(value, lambda: {"o": [self._name(value), *map(self.told, _cells(value))]})
        if isinstance(value, np.ndarray):
            return self._once(value, lambda: _array_told(value))
        if isinstance(value, (tuple, list, set, frozenset)):
            return self._sequence(value)
        if isinstance(value, Mapping):
            return {"m": [[self.told(key), self.told(each)] for key, each in value.items()]}
        return self._other(value)

    def _sequence(self, value: Any) -> Any:
        if type(value) is list:
            return [self.told(each) for each in value]
        marks: dict[type, str] = {tuple: "t", set: "s", frozenset: "z"}
        if type(value) not in marks:
            raise TypeError(f"{type(value).__name__} cannot be kept")
        return {marks[type(value)]: [self.told(each) for each in value]}

    def _other(self, value: Any) -> Any:
        if isinstance(value, dt.datetime):
            if value.tzinfo is None:
                raise TypeError("a moment without a zone cannot be kept")
            moment = value.astimezone(dt.UTC).isoformat()
            return {"l": [moment, value.tzinfo.key]} if isinstance(value.tzinfo, ZoneInfo) else {"d": moment}
        if isinstance(value, dt.date):
            return {"y": value.isoformat()}
        if isinstance(value, dt.timedelta):
            return {"u": value // dt.timedelta(microseconds=1)}
        if isinstance(value, np.generic):
            return self.told(value.item())
        if isinstance(value, Word):
            return {"n": str(value)}
        if isinstance(value, str):
            return str.__str__(value)
        key = self.key_of(value)
        if key is None:
            raise TypeError(f"{type(value).__name__} cannot be kept")
        self.rows.add(key)
        return {"r": list(key)}

    def _name(self, value: Any) -> str:
        name = self.names.get(type(value))
        if name is None:
            raise TypeError(f"{type(value).__name__} is not named among the classes that may be kept")
        self.used.add(name)
        return name

    def _once(self, value: Any, tell: Callable[[], Any]) -> Any:
        known = self.seen.get(id(value))
        if known is not None:
            return {"b": known}
        told = tell()
        # Numbered when it is complete, as the reader does: parts come before what they are part of.
        self.seen[id(value)] = len(self.seen)
        self.alive.append(value)
        return told


def _cells(value: Any) -> Iterable[Any]:
    return (getattr(value, each.name) for each in dataclasses.fields(value))


def _array_told(value: np.ndarray[Any, Any]) -> Any:
    if value.dtype.kind == "U":
        return {"w": [list(value.shape), value.ravel().tolist()]}
    if value.dtype.kind not in "fiub":
        raise TypeError(f"an array of {value.dtype} cannot be kept")
    plain = np.ascontiguousarray(value.astype(value.dtype.newbyteorder("<")))
    raw = plain.tobytes()
    packed = zlib.compress(raw, 1) if len(raw) >= SHORTEST_PACKED else raw
    letter = "p" if len(raw) >= SHORTEST_PACKED else "a"
    return {letter: [plain.dtype.str, list(value.shape), base64.b64encode(packed).decode("ascii")]}


class _Reader:
    def __init__(self, known: Mapping[str, type], rows: Mapping[RowKey, Any]) -> None:
        self.known = known
        self.rows = rows
        self.seen: list[Any] = []
        self.by_mark: dict[str, Callable[[Any], Any]] = {
            "a": lambda told: self._array(told, packed=False),
            "b": lambda told: self.seen[told],
            "d": dt.datetime.fromisoformat,
            "e": lambda told: self._enum(told),
            "f": float,
            "l": lambda told: dt.datetime.fromisoformat(told[0]).astimezone(ZoneInfo(told[1])),
            "n": Word,
            "m": lambda told: {self.value(key): self.value(each) for key, each in told},
            "o": self._object,
            "p": lambda told: self._array(told, packed=True),
            "r": lambda told: self.rows[told[0], told[1]],
            "s": lambda told: {self.value(each) for each in told},
            "t": lambda told: tuple([self.value(each) for each in told]),
            "u": lambda told: dt.timedelta(microseconds=told),
            "w": self._words,
            "y": dt.date.fromisoformat,
            "z": lambda told: frozenset([self.value(each) for each in told]),
        }

    def value(self, told: Any) -> Any:
        if type(told) is dict:
            ((mark, inner),) = told.items()
            return self.by_mark[mark](inner)
        if type(told) is list:
            return [self.value(each) for each in told]
        return told

    def _enum(self, told: Any) -> Any:
        kind = self.known.get(told[0])
        if kind is None:
            raise CannotRead(f"{told[0]} is not named among the classes that may be kept")
        try:
            return kind(self.value(told[1]))
        except ValueError as error:
            raise CannotRead(f"{told[0]} has no member {told[1]!r} any more") from error

    def _object(self, told: Any) -> Any:
        made = self.known[told[0]](*[self.value(each) for each in told[1:]])
        self.seen.append(made)
        return made

    def _words(self, told: Any) -> Any:
        shape, words = told
        made = np.array(words, dtype=np.str_).reshape(shape)
        self.seen.append(made)
        return made

    def _array(self, told: Any, *, packed: bool) -> Any:
        kind, shape, text = told
        raw = base64.b64decode(text)
        if packed:
            raw = zlib.decompress(raw)
        # Copied: bytes cannot be written to, and who reads an array may want to.
        made = np.frombuffer(raw, dtype=kind).reshape(shape).copy()
        self.seen.append(made)
        return made
