"""What no sentence of the product may say, whoever writes it."""

from __future__ import annotations

import re

from tests.catalogue import sentences

# Said by a person who has done it (a tick with name and time), of a time that is planned for it, or that it is not so.
# Nothing else may speak of a belt as locked out: beside the name of a belt somebody reads it as so, and reaches in.
ABOUT_LOCKOUT = {
    "The belt is locked out, tagged and tried, by the site's procedure",
    "The belt is isolated by the site's procedure.",
    "When belts may be locked out. A window is a plan, never a permit: the site's lockout procedure comes first.",
    "That the belt stands still does not mean that it is isolated. Only the site's own lockout and its test do that.",
}
STATED = re.compile(
    r"\block(?:ed)?[ -]out\b(?! (?:and get your permit|by the site's|to mark)| first;)|\b(?:is|are|belt) isolated\b",
    re.IGNORECASE,
)


def test_no_sentence_reads_as_if_a_belt_were_locked_out():
    """What a check needs is "needs lockout"; how a belt stands is for the site's own procedure to say."""
    every = sentences()
    assert len(every) > 10_000
    bad = [
        f"{each.where}: {each.text}" for each in every if STATED.search(each.text) and each.text not in ABOUT_LOCKOUT
    ]
    assert bad == []
