"""Templates, scripts and sheets in one form: `python -m deploy.formats` writes it, with `--check` it says what differs.

djlint keeps templates (its settings stand in pyproject.toml), and the two formatters that come with it keep the rest.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

import cssbeautifier
import jsbeautifier

from deploy.environment import ROOT

APPS = ("plant", "installs", "inspections", "reports")
# A formatter that breaks a line may want to break the next one as well, once it sees the first.
MOST_ROUNDS = 4


def options_of_scripts() -> jsbeautifier.BeautifierOptions:
    """Two spaces; short objects and functions stay in one line where they were written so.

    Lines are broken by hand, where they read best: the formatter would break them at the last place that fits, in the
    middle of a name. That none is too long a test holds.
    """
    options = jsbeautifier.default_options()
    options.indent_size = 2
    options.wrap_line_length = 0
    options.max_preserve_newlines = 2
    options.brace_style = "collapse,preserve-inline"
    options.operator_position = "preserve-newline"
    options.space_after_anon_function = True
    options.end_with_newline = True
    return options


def options_of_sheets() -> cssbeautifier.BeautifierOptions:
    """Two spaces, one declaration to a line."""
    options = cssbeautifier.default_options()
    options.indent_size = 2
    options.end_with_newline = True
    return options


def formatted(path: Path, text: str) -> str:
    """What a script or a sheet looks like in form; the form of a text in form is the text itself."""
    for _round in range(MOST_ROUNDS):
        if path.suffix == ".js":
            again = jsbeautifier.beautify(text, options_of_scripts())
        else:
            again = cssbeautifier.beautify(text, options_of_sheets())
        if again == text:
            return text
        text = again
    raise ValueError(f"{path} finds no form: its formatter changes it at every round. Write its longest lines anew.")


def out_of_form(folders: Sequence[Path]) -> Iterator[tuple[Path, str]]:
    """Scripts and sheets that are not in form, each with the text that it should have."""
    for folder in folders:
        for path in sorted([*folder.rglob("*.js"), *folder.rglob("*.css")]):
            text = path.read_text(encoding="utf-8")
            wanted = formatted(path, text)
            if wanted != text:
                yield path, wanted


def main(given: Sequence[str]) -> int:
    """Write the form, or with `--check` name the files that are out of it; returns 0 if all are in form."""
    parser = argparse.ArgumentParser(prog="python -m deploy.formats", description=__doc__)
    parser.add_argument("--check", action="store_true", help="change nothing, name the files that are not in form")
    is_check = parser.parse_args(list(given)).check
    templates = [f"{app}/templates" for app in APPS]
    command = [sys.executable, "-m", "djlint", "--check" if is_check else "--reformat", "--quiet", *templates]
    done = subprocess.run(command, cwd=ROOT, check=False)
    failed = is_check and done.returncode != 0
    for path, text in out_of_form([ROOT / app / "static" for app in APPS]):
        print(path.relative_to(ROOT))
        if is_check:
            failed = True
        else:
            path.write_text(text, encoding="utf-8")
    if failed:
        print("Not in form. To write it: python -m deploy.formats")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
