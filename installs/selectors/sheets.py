"""Which version of a spec sheet holds for an installation."""

from __future__ import annotations

from dataclasses import dataclass

from installs.models import Installation, ModelSheet


@dataclass(frozen=True)
class SheetState:
    """The version that holds for an installation, and the newest one."""

    fitted: ModelSheet | None
    newest: ModelSheet | None

    @property
    def is_newest(self) -> bool:
        return self.fitted == self.newest


def sheet_state(installation: Installation) -> SheetState:
    """Fitted to which sheet, and which one is the newest."""
    return SheetState(installation.sheet, installation.device.device_model.sheets.order_by("-number").first())
