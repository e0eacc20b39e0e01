"""What stands in the way of a person on a page: the rules of WCAG 2.2, A and AA, as axe-core knows them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

# https://www.w3.org/TR/WCAG22/; only what breaks a rule is told: to write out all that keeps them took half the time.
AA = {
    "runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]},
    "resultTypes": ["violations"],
}
# Contrast of 7 : 1 (1.4.6, AAA), for a screen in sunlight.
IN_SUNLIGHT = {
    "runOnly": {"type": "rule", "values": ["color-contrast", "color-contrast-enhanced"]},
    "resultTypes": ["violations"],
}
SERIOUS = ("serious", "critical")
ANY = ("minor", "moderate", *SERIOUS)
# Marks what stands beside others of the same make (rows of a table, devices along a belt, points of a drawing): all but
# the first two and the last, which a sheet may draw otherwise. Texts and numbers aside, the same elements with the same
# attributes and classes within are of one make.
MARK_ALIKE = r"""() => {
    const told = ["class", "type", "role", "style", "fill", "stroke", "tabindex", "aria-hidden"];
    const attribute = ({name, value}) => `${name}=${told.includes(name) ? value : value.trim() && "..."}`;
    const hasText = (node) => [...node.childNodes].some((each) => each.nodeType === 3 && each.data.trim());
    const makes = new Map(), known = new Map();
    const make = (node) => {
        if (!known.has(node)) {
            const own = [node.localName, ...[...node.attributes].map(attribute), hasText(node)].join(" ");
            const whole = `${own.replace(/[\d.]+/g, "N")}: ${[...node.children].map(make)}`;
            if (!makes.has(whole)) makes.set(whole, makes.size);
            known.set(node, makes.get(whole));
        }
        return known.get(node);
    };
    const mark = (node) => {
        const times = new Map();
        for (const child of node.children) {
            times.set(make(child), (times.get(make(child)) || 0) + 1);
            if (times.get(make(child)) > 2 && child.nextElementSibling) child.toggleAttribute("data-alike", true);
            else mark(child);
        }
    };
    mark(document.body);
}"""


def barriers(
    page: Page, rules: dict[str, Any] = AA, impacts: Sequence[str] = SERIOUS, *, each_make_once: bool = False
) -> list[str]:
    """One line each: which rule, how hard it hits, the first element that breaks it."""
    if each_make_once:
        page.evaluate(MARK_ALIKE)
    context = {"exclude": [["[data-alike]"]]} if each_make_once else None
    found = Axe().run(page, context=context, options=rules).response["violations"]
    return [
        f"{each['id']} ({each['impact']}): {each['nodes'][0]['html'][:160]}"
        for each in found
        if each["impact"] in impacts
    ]
