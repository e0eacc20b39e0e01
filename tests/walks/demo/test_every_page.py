"""Every page of the demo plant, as each person: it answers, fits a phone, has no serious barrier, no slip of words."""

from __future__ import annotations

import re

import pytest
from axe_playwright_python.sync_playwright import Axe

from tests.oddities import lines_of, oddities

pytestmark = pytest.mark.browser

PEOPLE = ["technician-1", "planner-1", "engineer-1", "manager-1"]
WIDTHS = [320, 390, 820, 1440]
# Addresses that act are left to the tests of their views; one that answers with a file is told by its content type.
# With format= the path is that of a page, which the file would hide.
NOT_FOLLOWED = re.compile(r"sign-out|/keeper/|format=")
AXE_RULES = {"runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}}
MOST_PAGES = 90


def shape(path: str) -> str:
    """Pages of one kind: numbers and queries do not make a page another."""
    return re.sub(r"\d+", "N", path.split("?")[0])


looked_at: set[tuple[str, frozenset[str]]] = set()


def is_new_to_all(path: str, html: str) -> bool:
    """False where a page of this kind with the same kinds of elements was looked at for another person."""
    kind = shape(path), frozenset(re.findall(r"<(?!meta)[a-z0-9]+(?: (?:class|type|name)=\"[^\"]*\")*", html))
    is_new = kind not in looked_at
    looked_at.add(kind)
    return is_new


def links_of(page, address: str) -> list[str]:
    # Links of the strip are of SVG: their href is no text, the attribute is.
    script = "nodes => nodes.map(node => new URL(node.getAttribute('href'), location).href)"
    hrefs = page.eval_on_selector_all("a[href]", script)
    return [
        href.removeprefix(address).split("#")[0]
        for href in hrefs
        if href.startswith(address) and not NOT_FOLLOWED.search(href)
    ]


@pytest.mark.parametrize("person", PEOPLE)
def test_every_page_answers_fits_and_is_accessible(site, sign_in, person):
    page = sign_in(person)
    complaints: list[str] = []
    page.on("pageerror", lambda error: complaints.append(f"{page.url}: script failed: {error}"))
    page.on(
        "console",
        lambda message: complaints.append(f"{page.url}: {message.text}") if message.type == "error" else None,
    )
    seen: set[str] = set()
    waiting = ["/"]
    files: set[str] = set()
    while waiting and len(seen) - len(files) < MOST_PAGES:
        path = waiting.pop(0)
        if shape(path) in seen:
            continue
        seen.add(shape(path))
        # A browser saves a file instead of opening it: what kind of answer it is has to be known first.
        first = page.request.get(site.address + path)
        if first.status == 200 and not first.headers.get("content-type", "").startswith("text/html"):
            files.add(path)
            continue
        page.set_viewport_size({"width": 1440, "height": 900})
        answer = page.goto(site.address + path)
        if answer is None or answer.status != 200:
            complaints.append(f"{path}: answered {answer.status if answer else 'nothing'}")
            continue
        complaints += [f"{path}: {slip}" for slip in oddities(lines_of(answer.text()))]
        waiting += [link for link in links_of(page, site.address) if shape(link) not in seen]
        has_chart = page.locator(".chart").count() > 0
        for width in WIDTHS:
            page.set_viewport_size({"width": width, "height": 900})
            if has_chart:
                page.wait_for_timeout(250)  # charts draw themselves anew
            needed = page.evaluate("() => document.documentElement.scrollWidth")
            if needed > width:
                complaints.append(f"{path}: {needed} px wide on a screen of {width} px")
        if path != "/" and not is_new_to_all(path, answer.text()):
            continue
        found = Axe().run(page, options=AXE_RULES).response["violations"]
        complaints += [
            f"{path}: {each['id']} ({each['impact']}): {each['nodes'][0]['html'][:160]}"
            for each in found
            if each["impact"] in ("serious", "critical")
        ]
    assert len(seen) - len(files) > 8
    assert not complaints, "\n".join(complaints)
