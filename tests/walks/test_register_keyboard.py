"""A register on a phone by keyboard alone: what is reached is seen, the heads that sort too."""

from __future__ import annotations

import pytest

from tests import make

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

SEEN = """() => {
  const each = document.activeElement, r = each.getBoundingClientRect();
  const at = document.elementFromPoint(r.left + r.width / 2, r.top + r.height / 2);
  return { words: each.textContent.trim(), isBody: each === document.body,
           isSeen: Boolean(at) && (each === at || each.contains(at) || at.contains(each) && at !== document.body) };
}"""


def test_what_is_reached_in_a_register_on_a_phone_is_seen(page_of, live_server, tess, belt_a1):
    make.installation(belt_a1)
    page = page_of(tess)
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto(f"{live_server.url}/installations/")
    reached, unseen = [], []
    for _press in range(80):
        page.keyboard.press("Tab")
        found = page.evaluate(SEEN)
        if found["isBody"]:
            break
        reached.append(found["words"])
        if not found["isSeen"]:
            unseen.append(found["words"])
    assert "Conveyor" in reached  # a head that sorts
    assert unseen == []
    assert page.evaluate("() => document.documentElement.scrollWidth") <= 390
