"""deploy/test and deploy/check: what the quick choice names, and what keeps a second look short."""

from __future__ import annotations

from pathlib import Path

import pytest

from deploy import testing
from deploy.environment import ROOT


@pytest.fixture
def commands(monkeypatch):
    """The programs that are run, as lists of words; none of them fails."""
    run: list[list[str]] = []
    monkeypatch.setattr(testing.environment, "ensure", lambda requirements: Path("python"))
    monkeypatch.setattr(testing, "run", lambda title, command, **more: run.append([str(word) for word in command]) or 0)
    monkeypatch.delenv("DRIFTBOOK_TEST_DATABASE_URL", raising=False)
    return run


def test_every_test_of_the_quick_choice_is_there():
    assert [name for name in testing.QUICK if not (ROOT / name).exists()] == []
    assert {name.split("/")[1] for name in testing.QUICK if "/services/" in name} == set(testing.APPS)


def test_every_simulation_that_quick_leaves_out_is_there():
    for name in testing.SIMULATIONS:
        path, test = name.split("::")
        assert f"def {test}(" in (ROOT / path).read_text(encoding="utf-8")


def test_quick_runs_looks_and_the_choice_and_hands_words_on(commands):
    assert testing.main(["--quick", "-x"]) == 0
    [tests] = [words for words in commands if "pytest" in words]
    assert set(testing.QUICK) <= set(tests)
    assert tests[-1] == "-x"
    assert "--quick" not in tests
    assert any("mypy" in words for words in commands)
    assert any(testing.LINT_IMPORTS in words for words in commands)


def test_quick_fails_where_a_look_fails(commands, monkeypatch):
    monkeypatch.setattr(testing, "look", lambda python, **more: 1)
    assert testing.main(["--quick"]) == 1


def test_a_whole_run_is_of_both_data_bases_and_fails_with_either(commands, monkeypatch):
    monkeypatch.setenv("DRIFTBOOK_TEST_DATABASE_URL", "postgres://somewhere")
    assert testing.main([]) == 0
    assert ["--of-database" in words for words in commands if "pytest" in words].count(True) == 1
    assert sum("pytest" in words for words in commands) == 2
    for broken in ("tests on PostgreSQL", "tests on SQLite"):
        monkeypatch.setattr(testing, "run", lambda title, _words, broken=broken, **_more: title == broken)
        assert testing.main([]) == 1


@pytest.mark.parametrize(("ci", "code"), [("true", 1), ("", 0)])
def test_without_postgresql_a_whole_run_says_so_and_fails_in_ci_alone(commands, monkeypatch, capsys, ci, code):
    monkeypatch.setenv("CI", ci)
    assert testing.main([]) == code
    assert "PostgreSQL was skipped" in capsys.readouterr().out


def test_no_look_throws_its_cache_away(commands):
    testing.look(Path("python"))
    assert [words for words in commands if {"--no-cache", "--no-incremental", "--cache-dir"} & set(words)] == []
    ignored = (ROOT / ".gitignore").read_text(encoding="utf-8").split()
    assert {".mypy_cache/", ".ruff_cache/", ".import_linter_cache/"} <= set(ignored)


def test_the_help_says_what_quick_leaves_out(capsys):
    assert testing.main(["--help"]) == 0
    words = capsys.readouterr().out
    assert "--quick" in words
    assert "leaves out" in words
