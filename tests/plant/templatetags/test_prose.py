"""Running text that a template puts together over several lines."""

import pytest
from django.template import Context, Template


def written(template, **values):
    return Template("{% load prose %}<p>{% prose %}" + template + "{% endprose %}</p>").render(Context(values))


LIST = """
  {% for each in rows %}
    {{ each }}
    {% if not forloop.last %}
      ,
    {% endif %}
  {% endfor %}
  .
"""


@pytest.mark.parametrize(
    ("rows", "text"),
    [
        ([], "<p>.</p>"),
        (["pulley"], "<p>pulley.</p>"),
        (["pulley", "idler", "drum"], "<p>pulley, idler, drum.</p>"),
    ],
)
def test_no_gap_stands_before_a_comma_or_a_stop(rows, text):
    assert " ".join(written(LIST, rows=rows).split()) == text


def test_no_gap_stands_inside_brackets():
    assert written("12 mm (\n  drive side\n)\n; 14 mm") == "<p>12 mm (drive side); 14 mm</p>"


def test_words_of_people_stay_as_they_were_typed():
    assert written("{{ note }}\n  , seen", note="wet , see <photo> .") == "<p>wet , see &lt;photo&gt; ., seen</p>"


def test_words_of_people_are_still_escaped():
    assert written("{{ note }}", note="<b>") == "<p>&lt;b&gt;</p>"
