"""A date box shows the order of the browser's language; the words beside it are the site's."""

from __future__ import annotations

import datetime as dt

import pytest
from django import forms
from django.template.loader import render_to_string

from plant.forms.moments import DayField, MomentField


class Asked(forms.Form):
    day = DayField()
    at = MomentField()
    name = forms.CharField()


def box(form, name):
    return render_to_string("plant/_field.html", {"field": form[name]})


@pytest.mark.parametrize("kept", [dt.date(2026, 4, 3), "2026-04-03"])
def test_the_third_of_april_is_not_taken_for_the_fourth_of_march(kept):
    assert ">= 3 Apr 2026</span>" in box(Asked(initial={"day": kept}), "day")
    assert ">= 3 Apr 2026</span>" in box(Asked({"at": "2026-04-03T10:00"}), "at")


@pytest.mark.parametrize("typed", ["", "03/04/2026", "2026-02-30"])
def test_an_empty_or_mistyped_box_says_whose_order_it_shows(typed):
    assert "its calendar names the month" in box(Asked({"day": typed}), "day")
    assert "calendar" not in box(Asked({"name": typed}), "name")
