"""What no page, mail or file may show: slips of sentences that are put together from parts."""

from __future__ import annotations

import html
import re
from collections.abc import Iterable, Iterator

SLIPS = {
    "a word twice": re.compile(r"(?<![\w-])([A-Za-z]{3,}) \1(?![\w-])"),
    "two full stops": re.compile(r"(?<!\.)\.\.(?!\.)|\. \.(?!\w)|[,;:] ?\.(?!\w)"),
    "a number with digits that tell nothing": re.compile(r"(?<![\w.-])(?<!p )(?<!p < )\d+\.\d{4,}(?![\w.])"),
    "a p-value of nought": re.compile(r"\bp 0\.0+(?!\d)"),
    "a value of the program": re.compile(r"\b[A-Z]\w+\(\w+=|<[A-Z]\w+\.[A-Z_0-9]+: |\{'\w+': "),
    "a day of another country": re.compile(r"\b\d{1,2}/\d{1,2}/\d{4}\b|\b\d{1,2}:\d\d(?::\d\d)? [AaPp]\.?[Mm]\b"),
}
# English that is right: "had had" and "that that" can stand in a sentence, a pair of switches is "off off".
MAY_REPEAT = {"had", "that", "off"}
BLOCKS = re.compile(
    r"</?(?:address|article|br|button|dd|details|div|dl|dt|fieldset|figcaption|form|h[1-6]|header|hr|input|label|legend|li"
    r"|main|nav|ol|option|p|section|select|summary|table|tbody|td|text|tfoot|th|thead|title|tr|textarea|ul)\b[^>]*>"
)
SPOKEN = re.compile(r"(?:aria-label|title|alt|placeholder)=\"([^\"]*)\"")
UNSEEN = re.compile(r"<(script|style|svg)\b.*?</\1>|<!--.*?-->", re.DOTALL)


def lines_of(page: str) -> Iterator[str]:
    """What a page of HTML says, a block a line, and what is read out for its parts."""
    bare = UNSEEN.sub(" ", page)
    for spoken in SPOKEN.findall(bare):
        yield html.unescape(spoken)
    for block in BLOCKS.sub("\0", bare).split("\0"):
        words = " ".join(html.unescape(re.sub(r"<[^>]*>", "", block)).split())
        if words:
            yield words


def oddities(lines: Iterable[str]) -> list[str]:
    """The lines with a slip, each with its name."""
    found = []
    for line in lines:
        for name, slip in SLIPS.items():
            for match in slip.finditer(line):
                if match.lastindex and match[1].lower() in MAY_REPEAT:
                    continue
                found.append(f"{name}: {line[max(0, match.start() - 60) : match.end() + 40]}")
    return found
