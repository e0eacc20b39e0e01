"""What lists write into files."""

from __future__ import annotations

import pytest

from plant.views.lists import guarded


# The beginnings that a spreadsheet takes for a formula: OWASP, "CSV Injection" (community page; from memory).
@pytest.mark.parametrize(
    "text", ["=1+1", "=HYPERLINK(1)", "+1+cmd|x", "-2+3", "@SUM(1)", "\t=1", "\r=1", "\n=1", "-", "+44 return idler"]
)
def test_text_that_a_spreadsheet_would_work_out_is_kept_as_text(text):
    assert guarded(text) == f"'{text}"


@pytest.mark.parametrize("value", ["-12", "+3.5", "-0,25", "S-12", "1=1", "", -12.5, 7, None])
def test_numbers_and_plain_text_stay_as_they_are(value):
    assert guarded(value) == value
