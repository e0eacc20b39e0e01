"""What a new edition says otherwise."""

from reports.calc.editions import RowStanding, differences, rows_since


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


def table(*rows, heads=("when", "minutes")):
    return {"heads": list(heads), "rows": [cells for _url, cells in rows], "links": [url for url, _cells in rows]}


def test_rows_since_finds_changed_gone_and_fresh_rows():
    kept = table(("/1/", ["a", 30]), ("/2/", ["b", None]), ("/3/", ["c", 5]), ("", ["hours", 1.0]))
    today = table(("/1/", ["a", 30.0]), ("/9/", ["b", 12]), ("/4/", ["d", 7]), ("", ["hours", 2.0]))
    standings, fresh = rows_since(kept, today, {"/2/": "/9/"})
    assert [each.is_same for each in standings] == [True, False, False, False]
    assert standings[1] == RowStanding(is_gone=False, changed=((1, 12),))
    assert standings[2] == RowStanding(is_gone=True)
    assert standings[3].changed == ((1, 2.0),)
    assert fresh == [("/4/", ["d", 7])]


def test_columns_are_matched_by_their_heads():
    kept = table(("/1/", ["a", 30]))
    today = table(("/1/", ["yes", "a", 31]), heads=("new column", "when", "minutes"))
    assert rows_since(kept, today, {})[0] == [RowStanding(is_gone=False, changed=((1, 31),))]
