"""What a browser complains about while somebody walks: scripts that fail, files that are missing, requests that fail.

A request that the page itself called off is no fault: typing on replaces the question that is under way, and a page
that is left takes its questions with it. How many of those a walk sees depends on the speed of the machine alone.
"""

from __future__ import annotations

import re

from playwright.sync_api import ConsoleMessage, Page, Request

# A form that is sent back answers 422 (a fault) or 409 (somebody was there before), and Chromium logs a failed load.
SENT_BACK = re.compile(r"responded with a status of (409|422)\b")
# htmx logs each request that ends without an answer twice; its second word tells whether the page itself called it off.
SAID_TWICE, CALLED_OFF_BY_HTMX, NO_ANSWER = "htmx:afterRequest", "htmx:sendAbort", "htmx:sendError"
CALLED_OFF = "net::ERR_ABORTED"


class Complaints:
    """Listens to a page from the moment it is made."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.told: list[tuple[str, str]] = []
        self.n_called_off = 0
        page.on("pageerror", lambda error: self.told.append((page.url, f"script failed: {error}")))
        page.on("console", self.hear)
        page.on("requestfailed", self.count)

    def hear(self, message: ConsoleMessage) -> None:
        if message.type == "error" and not SENT_BACK.search(message.text):
            self.told.append((self.page.url, message.text))

    def count(self, request: Request) -> None:
        self.n_called_off += request.failure == CALLED_OFF

    def faults(self) -> list[str]:
        """One line each; a failure without an answer is left out for each request that the browser called off."""
        faults, n_excused = [], 0
        for address, words in self.told:
            event = words.split(",")[0]  # behind it stand the element and the request
            if event == NO_ANSWER and n_excused < self.n_called_off:
                n_excused += 1
            elif event not in (SAID_TWICE, CALLED_OFF_BY_HTMX):
                faults.append(f"{address}: {words}")
        return faults
