"""Names in texts: whole words only, and where the site has a person only."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from plant.calc.backups import kept_by_rule
from plant.calc.names import Names, holds_name, in_all_texts, last_backup_goes_on, without_names, without_names_in

INSTEAD = "a person"


@pytest.mark.parametrize(
    ("text", "holds"),
    [
        ("pat", True), ("Pat's idea", True), ("(PAT)", True), ("pat@alder.example", True), ("no-pat-no", True),
        ("pattern", False), ("spat", False), ("pat_1", False), ("", False),
    ],
)  # fmt: skip
def test_a_name_is_a_whole_word(text, holds):
    assert holds_name(text, ["pat"]) is holds


def test_signs_in_a_name_are_signs_and_no_pattern():
    assert holds_name("seen by a.b+c", ["a.b+c"])
    assert not holds_name("seen by axb+c", ["a.b+c"])


@given(st.text(alphabet="pat .,x", max_size=40))
def test_once_taken_out_it_is_there_no_more(text):
    assert not holds_name(without_names(text, ["pat"], "Q"), ["pat"])


def test_what_is_looked_for_and_what_the_site_writes():
    names = Names("pat", "Pat", "O", "pat@alder.example")
    assert names.said == ("pat@alder.example", "Pat O", "Pat", "pat")
    assert names.of_the_site == ("pat@alder.example", "pat")


@pytest.mark.parametrize(
    ("text", "sentence", "after"),
    [
        ("asked for by pat", "asked for by %(who)s", "asked for by a person"),
        ("asked for by pat and others", "asked for by %(who)s", None),
        ("pat asked for by night", "asked for by %(who)s", None),
        ("pat", "%(who)s", "a person"),
        ("seen by pat", "%(who)s", None),
        ("The readings of tess count, says pat.", "The readings of %(who)s count, says %(by)s.",
         "The readings of tess count, says a person."),
        ("The readings of pat count, says pat.", "The readings of %(who)s count, says %(by)s.",
         "The readings of a person count, says a person."),
        ("Note on A by tess: pat said so", "Note on %(device)s by %(who)s: %(text)s", None),
        ("It differs. pat corrected it on 3 May (“pat”).", "%(who)s corrected it on %(day)s (“%(reason)s”).",
         "It differs. a person corrected it on 3 May (“pat”)."),
    ],
)  # fmt: skip
def test_in_a_sentence_only_the_place_of_a_person_is_rewritten(text, sentence, after):
    assert without_names_in(text, sentence, ("who", "by"), ["pat"], INSTEAD) == (after or text)


def test_every_text_of_a_plain_value_is_reached():
    value = {"a": ["x", {"b": "x", "n": 3}], "c": None}
    assert in_all_texts(value, str.upper) == {"a": ["X", {"b": "X", "n": 3}], "c": None}


@given(
    st.dates(dt.date(2024, 1, 1), dt.date(2026, 12, 31)),
    st.integers(1, 14), st.integers(0, 8), st.integers(0, 14),
)  # fmt: skip
def test_no_backup_of_before_is_kept_from_that_day_on(removed_on, days, weeks, months):
    """By the rule itself, over nights before and after."""
    rule = {"days": days, "weeks": weeks, "months": months}
    until = last_backup_goes_on(removed_on, **rule)
    nights = [dt.datetime.combine(removed_on + dt.timedelta(n), dt.time(2)) for n in range(-500, 600)]
    kept = kept_by_rule([each for each in nights if each.date() <= until], **rule)
    assert min(kept).date() > removed_on
