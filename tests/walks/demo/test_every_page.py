"""Every page of the demo plant, as each person: it answers, fits a phone, has no serious barrier, no slip of words.

Each person follows all links; of the pages of one shape (numbers and queries aside) one is asked for, and it has to
answer; one that somebody else was given (the rows behind each figure of a month) is left out where the person has seen
another page of its view. A file is asked for once: that each role gets it is in tests/test_access.py. A browser opens a
page, draws it at each width and judges it where its view has shown nobody these elements before; of elements alike side
by side, such as the rows of a table, it judges the first two and the last.
"""

from __future__ import annotations

import re
from collections import defaultdict
from html import unescape
from urllib.parse import urljoin

import pytest
from django.urls import Resolver404, resolve
from playwright.sync_api import TimeoutError as NotInTime

from fixtures.people import KEEPER
from tests.oddities import lines_of, oddities
from tests.walks.accessibility import barriers
from tests.walks.complaints import Complaints

pytestmark = pytest.mark.browser

# Who may do most comes first, so that few pages of the others show anything new.
PEOPLE = ["planner-1", "engineer-1", "technician-1", "manager-1", "keeper-1"]
# A narrower screen makes each chart draw itself anew, and it has to get smaller for the page to fit.
WIDTHS = [1440, 820, 390, 320]
FITS_WITHIN_MS = 60_000
# Addresses that act are left to the tests of their views; one that answers with a file is told by its content type.
# With format= the path is that of a page, which the file would hide.
NOT_FOLLOWED = re.compile(r"sign-out|format=")
# Nothing of these pages stands in what the site answers: scripts draw them from what the phone keeps.
DRAWN_BY_SCRIPT = {"/round/"}


def shape(path: str) -> str:
    """Pages of one kind: numbers and queries do not make a page another."""
    return re.sub(r"\d+", "N", path.split("?")[0])


def view_of(path: str) -> str:
    """The route that leads to a page; the path itself where none does."""
    try:
        return resolve(path.split("?")[0]).route
    except Resolver404:
        return path


looked_at: dict[str, set[str]] = defaultdict(set)
answered: set[str] = set()
files: set[str] = set()


def is_new_to_all(path: str, html: str) -> bool:
    """False where pages of this address with each of its kinds of elements were looked at before."""
    elements = re.findall(r"<(?!meta)[a-z0-9]+(?: (?:class|type|name)=\"[^\"]*\")*", html)
    kinds = {re.sub(r"\d+", "N", each) for each in elements}
    before = looked_at[view_of(path)]
    is_new = not kinds <= before
    before |= kinds
    return is_new


def own_paths(hrefs: list[str], address: str, path: str) -> list[str]:
    """Where the links of a page lead on the site, without the part behind #."""
    whole = (urljoin(address + path, unescape(href)) for href in hrefs)
    return [
        href.removeprefix(address).split("#")[0]
        for href in whole
        if href.startswith(f"{address}/") and not NOT_FOLLOWED.search(href)
    ]


def look(page, answer, path: str) -> tuple[list[str], list[str]]:
    """What is wrong with a page in a browser, and its links, those that scripts made among them."""
    page.set_viewport_size({"width": WIDTHS[0], "height": 900})
    page.route(lambda url: url == answer.url, lambda route: route.fulfill(response=answer))  # not made a second time
    page.goto(answer.url)
    page.unroute_all()
    # Links of the strip are of SVG: their href is no text, the attribute is.
    hrefs = page.eval_on_selector_all("a[href]", "nodes => nodes.map(node => node.getAttribute('href'))")
    for chart in page.locator("[data-figure]").all():
        chart.scroll_into_view_if_needed()
    page.wait_for_function("() => !document.querySelector('[data-figure]:not([data-drawn])')")
    wrong = [f"{path}: {each}" for each in barriers(page, each_make_once=True)]
    wrong += [f"{path}: a cell falls apart on a phone: {each}" for each in page.evaluate(LOOSE_CELLS)]
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 900})
        try:
            page.wait_for_function(
                "(width) => document.documentElement.scrollWidth <= width", arg=width, timeout=FITS_WITHIN_MS
            )
        except NotInTime:
            needed = page.evaluate("() => document.documentElement.scrollWidth")
            wrong.append(f"{path}: {needed} px wide on a screen of {width} px")
    return wrong, hrefs


# On a phone a cell stands beside its heading, and each part of it that is in no element of its own falls to one side.
LOOSE_CELLS = """() => [...document.querySelectorAll("table.register > tbody > tr > td:not(.whole)")]
    .filter((cell) => [...cell.childNodes].filter(
        (node) => node.nodeType === 1 || (node.nodeType === 3 && node.data.trim())).length > 1)
    .map((cell) => cell.textContent.trim().slice(0, 60))"""


@pytest.mark.parametrize("person", PEOPLE)
def test_every_page_answers_fits_and_is_accessible(site, sign_in, person):
    page = sign_in(person)
    complaints = Complaints(page)
    wrong: list[str] = []
    seen: set[str] = set()
    views: set[str] = set()
    waiting = ["/"]
    n_pages = 0
    while waiting:
        path = waiting.pop(0)
        if shape(path) in seen | files or (shape(path) in answered and view_of(path) in views):
            continue
        seen.add(shape(path))
        answered.add(shape(path))
        views.add(view_of(path))
        answer = page.request.get(site.address + path)
        if answer.status != 200:
            wrong.append(f"{path}: answered {answer.status}")
            continue
        if not answer.headers.get("content-type", "").startswith("text/html"):
            files.add(shape(path))
            continue
        n_pages += 1
        html = answer.text()
        wrong += [f"{path}: {slip}" for slip in oddities(lines_of(html))]
        hrefs = re.findall(r"<a\b[^>]*?\shref=\"([^\"]*)\"", html)
        if is_new_to_all(path, html) or path in DRAWN_BY_SCRIPT:
            found, drawn = look(page, answer, path)
            wrong += found
            hrefs += drawn
        waiting += [each for each in own_paths(hrefs, site.address, path) if shape(each) not in seen]
    wrong += complaints.faults()
    # A keeper without a role finds the site itself and no plant.
    assert n_pages > (4 if person == KEEPER else 8)
    assert not wrong, "\n".join(wrong)
