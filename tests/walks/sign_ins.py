"""How a walk changes from one person to the next."""

from __future__ import annotations

from playwright.sync_api import Page


def sign_off(page: Page) -> None:
    """Leave the page, and what it still loads, before its sign-in is thrown away."""
    page.goto("about:blank")
    page.context.clear_cookies()
