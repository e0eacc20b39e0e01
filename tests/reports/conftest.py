"""What tests of this app begin with."""

from __future__ import annotations

import pytest


@pytest.fixture(autouse=True)
def no_ledger_of_another_test():
    """Ledgers are kept by the keys of their rows, and a book that is rolled back gives the same keys out again."""
    from reports.selectors import belts

    belts._ledgers.clear()
