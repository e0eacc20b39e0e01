"""The measurement of faults itself: what it counts as lost or doubled, and what it sends."""

from __future__ import annotations

from email.parser import BytesParser
from email.policy import HTTP

import pytest

from deploy.bench.faults import Outcome, Taken, judge, multipart, table_of
from deploy.bench.load import FormReader


class Book:
    """A site of which only the notes of its incidents are read."""

    def __init__(self, *notes):
        self.notes = notes

    def rows(self, query):
        return [(note,) for note in self.notes] if "plant_incident" in query else []


@pytest.mark.parametrize(
    ("notes", "lost", "doubled"),
    [
        (("r 1", "r 2"), [], []),
        (("r 1",), ["r 2"], []),
        (("r 1", "r 2", "r 2"), [], ["r 2"]),
        # Written, though no answer came: nobody was told that it was taken, and once is right.
        (("r 1", "r 2", "r 3"), [], []),
        (("r 1", "r 2", "of another run", "of another run"), [], []),
    ],
)
def test_what_was_taken_has_to_be_there_once(notes, lost, doubled):
    outcome, taken = Outcome("a fault"), Taken()
    taken.add(["r 1", "r 2"])
    judge(Book(*notes), "r", taken, outcome)
    assert (outcome.lost, outcome.doubled) == (lost, doubled)
    assert outcome.is_good == (not lost and not doubled)


def test_a_file_is_sent_as_rfc_7578_says():
    """Read by Python's own parser of such messages."""
    body, kind = multipart({"subject": "incidents"}, "log.csv", b"tag\r\nA-1\r\n")
    message = BytesParser(policy=HTTP).parsebytes(f"Content-Type: {kind}\r\n\r\n".encode() + body)
    first, second = message.iter_parts()
    assert first.get_param("name", header="content-disposition") == "subject"
    assert first.get_content().strip() == "incidents"
    assert second.get_filename() == "log.csv"
    assert second.get_payload(decode=True) == b"tag\r\nA-1\r\n"


def test_a_form_that_is_sent_on_keeps_what_is_not_chosen():
    page = '<form method="post"><select name="a"><option value=""><option value="1"></select></form>'
    for chooses, value in ((True, "1"), (False, "")):
        reader = FormReader(chooses=chooses)
        reader.feed(page)
        assert reader.forms == [("", {"a": value})]


def test_the_table_has_a_line_for_each_fault():
    good = Outcome("killed", times=3, taken=5, n_again=2, healed_s=[3.0, 1.0, 2.0])
    good.answers["no answer"] = 2
    lines = table_of([good, Outcome("full", not_tried="no disk of its own")]).splitlines()
    assert lines[2] == "| killed | 3 | 5 | 2 | no answer 2 | 0 | 0 | 2.0 s; 3.0 s |"
    assert lines[3].startswith("| full | not tried: no disk of its own |")
    assert all(line.count("|") == 9 for line in lines)
