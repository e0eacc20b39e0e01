"""The row that an address asks for by its key, where there is one that can be meant."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from plant.calc.addresses import KEY, key_in


class KeyConverter:
    """`<key:pk>` in a route: the key of a row. A longer number is no address of the site."""

    regex = KEY

    def to_python(self, text: str) -> int:
        return int(text)

    def to_url(self, key: int | str) -> str:
        return str(key)


def row_asked(values: Mapping[str, Any], name: str, rows: Any) -> Any:
    """The row of `rows` whose key stands under a name; None where none of them is meant."""
    key = key_in(values.get(name))
    return rows.filter(pk=key).first() if key is not None else None
