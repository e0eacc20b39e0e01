"""The table of a belt's devices on its page, with columns that apps above add.

The place `"conveyor-devices"` takes functions `(request, standing: list[Installation]) -> {"columns": [DeviceColumn]}`;
each is asked once for all devices of the belt.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from installs.models import Installation
from plant.panels import panels_for


@dataclass(frozen=True)
class DeviceCell:
    """A mark with its word (a grade or verdict), further words, and the page behind them."""

    words: str = ""
    mark: str = ""
    mark_words: str = ""
    url: str = ""


@dataclass(frozen=True)
class DeviceColumn:
    """One column: its head and the cells by installation."""

    head: str
    cells: Mapping[int, DeviceCell]


@dataclass(frozen=True)
class DeviceRow:
    """One device of the belt with its cells, each beside the head of its column."""

    installation: Installation
    cells: tuple[tuple[str, DeviceCell], ...]


def device_rows(request: Any, standing: Sequence[Installation]) -> tuple[list[str], list[DeviceRow]]:
    """Heads of the added columns, and a row for each device."""
    found = panels_for("conveyor-devices", request, list(standing)) if standing else []
    columns: list[DeviceColumn] = [column for panel in found for column in panel["columns"]]
    rows = [
        DeviceRow(each, tuple((column.head, column.cells.get(each.pk, DeviceCell("–"))) for column in columns))
        for each in standing
    ]
    return [column.head for column in columns], rows
