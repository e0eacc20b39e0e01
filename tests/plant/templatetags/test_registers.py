"""A heading is written once and stands at each cell of its column."""

from __future__ import annotations

import re

from django.template import Context, Template

from plant.templatetags.registers import labelled


def rendered(inside: str, kind: str = "", **values: object) -> str:
    words = f'{{% load registers %}}{{% register_table "{kind}" %}}{inside}{{% endregister_table %}}'
    return Template(words).render(Context(values))


HEAD = "<thead><tr><th>Belt</th><th class='num'>Per\n 1000 h</th></tr></thead>"


def labels(html: str) -> list[str | None]:
    found = []
    for cell in re.findall(r"<td\b[^>]*>", html):
        label = re.search(r'data-label="([^"]*)"', cell)
        found.append(label[1] if label else None)
    return found


def test_each_cell_says_what_its_column_is_called():
    row = '<tr><td>A-1</td><td class="num">2.1</td></tr>'
    html = rendered(f"{HEAD}<tbody>{row}{row}</tbody>", kind="sides")
    assert html.startswith('<table class="sides register">')
    assert html.count("<th") - html.count("<thead") == 2
    assert labels(html) == ["Belt", "Per 1000 h"] * 2
    assert 'class="num" data-label="Per 1000 h"' in html


def test_a_cell_that_names_itself_keeps_its_name_and_one_over_all_columns_counts_as_all():
    html = labelled(f'{HEAD}<tr><td data-label="">A-1</td><td>2</td></tr><tr><td colspan="2">none</td></tr>')
    assert labels(html) == ["", "Per 1000 h", "Belt"]


def test_a_heading_of_the_row_takes_a_column():
    assert labels(labelled(f"{HEAD}<tr><th scope='row'>A-1</th><td>2</td></tr>")) == ["Per 1000 h"]


def test_a_heading_may_be_a_link_hold_quotes_or_what_somebody_typed():
    head = '<thead><tr><th><a href="?sort=x">Of "A"</a> {{ typed }}</th></tr></thead>'
    html = rendered(head + "<tr><td>1</td></tr>", typed='<b>"x"</b> & y')
    assert labels(html) == ["Of &quot;A&quot; &lt;b&gt;&quot;x&quot;&lt;/b&gt; &amp; y"]


def test_cells_without_a_heading_are_left_as_they_are():
    assert labels(labelled("<thead><tr><th></th></tr></thead><tr><td>1</td><td>2</td></tr>")) == [None, None]
    assert labels(labelled("<tr><td>1</td></tr>")) == [None]
    assert labels(labelled("<thead><tr><th>A</th></tr><tr><th>B</th></tr></thead><tr><td>1</td></tr>")) == [None]


def test_a_table_inside_of_a_cell_has_headings_of_its_own():
    inner = rendered("<thead><tr><th>Inner</th></tr></thead><tr><td>1</td></tr>")
    html = labelled(f"{HEAD}<tr><td>{inner}</td><td>2</td></tr>")
    assert labels(html) == ["Belt", "Inner", "Per 1000 h"]
