"""What a new edition says otherwise."""

from reports.calc.editions import differences


def content(words):
    return {"figures": [{"key": "incidents", "name": "Incidents", "words": words}]}


def rows(*cells):
    return {"incidents": {"rows": [list(each) for each in cells]}}


def test_equal_editions_do_not_differ():
    assert differences(content("2.0"), rows(("a", 1)), content("2.0"), rows(("a", 1))) == ()


def test_a_figure_and_its_rows_are_told():
    (found,) = differences(content("2.0"), rows(("a", 1), ("b", 2)), content("2.1"), rows(("a", 1), ("c", 3), ("d", 4)))
    assert (found.name, found.was, found.now) == ("Incidents", "2.0", "2.1")
    assert (found.rows_added, found.rows_taken) == (2, 1)


def test_other_rows_behind_the_same_words_are_told_too():
    (found,) = differences(content("2.0"), rows(("a", 1)), content("2.0"), rows(("b", 1)))
    assert (found.was, found.now, found.rows_added, found.rows_taken) == ("2.0", "2.0", 1, 1)


def test_a_figure_that_was_not_there_before_has_a_dash():
    (found,) = differences({"figures": []}, {}, content("2.0"), rows())
    assert found.was == "–"
