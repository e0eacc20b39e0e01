"""What tests of services share."""

from __future__ import annotations

import pytest


@pytest.fixture
def while_waiting(monkeypatch):
    """Lets somebody else's act be written while this one waits for the lock of its job; gives what that one wrote.

    `while_waiting(module, act)`: the next act of the module that takes the lock gets it after `act` was done.
    """

    def arrange(module, act):
        real, written = module.locked, []

        def lock(fitting):
            monkeypatch.setattr(module, "locked", real)
            written.append(act())
            return real(fitting)

        monkeypatch.setattr(module, "locked", lock)
        return lambda: written[0]

    return arrange
