"""The fit-up sheet as people read it: sections and rows in the order of the work, for page, dossier and paper."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from django.template.loader import render_to_string
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from installs.calc.fit_up_lines import FitUpResult
from installs.charts.fit_up_drawing import Drawing, draw_fit_up
from installs.models import Fitting, FitUp
from installs.selectors.fit_up import MEASURES, figures_for, judge, measures_of, sheet_of
from installs.words.fit_up import SECTIONS, ShownFitUpLine, fit_up_words, shown_line, summary_words
from plant.calc.units import QuantityKind, UnitSystem, format_quantity
from plant.models import label_of


@dataclass(frozen=True)
class ShownSection:
    """One section: the lines by key, in the order of the sheet."""

    key: str
    title: Any
    lines: dict[str, ShownFitUpLine] = field(default_factory=dict)


@dataclass(frozen=True)
class ShownSheet:
    """The whole sheet worked out and drawn."""

    result: FitUpResult
    drawing: Drawing
    sections: tuple[ShownSection, ...]
    lines: dict[str, ShownFitUpLine]
    system: UnitSystem

    @property
    def every_line(self) -> list[tuple[str, ShownFitUpLine | None]]:
        """Each line that a sheet can have by its key, None where the measures lead to none: so a page that is drawn
        anew while it is typed takes a line in, and away again.
        """
        keys = (key for _key, _title, _how, rows in SECTIONS for _names, key in rows if key)
        return [(key, self.lines.get(key)) for key in keys]

    @property
    def lede(self) -> str:
        """What stands in one sentence; what to do follows."""
        return summary_words(self.result)

    @property
    def to_do(self) -> list[str]:
        """What to move, in the order of the sheet, each once."""
        return [fit_up_words(each, self.system) for each in self.result.to_do]

    @property
    def warnings(self) -> list[str]:
        """What is weak about how it was measured."""
        return [fit_up_words(each, self.system) for each in self.result.warnings]


def shown_sheet(fitting: Fitting, measures: Any, system: UnitSystem) -> ShownSheet:
    """Measures judged, drawn and put into words for one reader."""
    result = judge(fitting, measures)
    drawing = draw_fit_up(measures, figures_for(fitting), result, system=system)
    lines = {line.key: shown_line(line, system, has_box=line.key in MEASURES) for line in result.lines}
    sections = tuple(
        ShownSection(key, title, {name: lines[name] for _fields, name in rows if name in lines})
        for key, title, _how, rows in SECTIONS
    )
    return ShownSheet(result, drawing, sections, lines, system)


def shown_for(fitting: Fitting, system: UnitSystem) -> ShownSheet | None:
    """The saved sheet of a job; None where nothing was saved yet."""
    sheet = sheet_of(fitting)
    return None if sheet is None else shown_sheet(fitting, measures_of(sheet), system)


def drawing_svg(drawing: Drawing) -> bytes:
    """The drawing as a file of its own, for a printed sheet."""
    return render_to_string("installs/_fit_up_drawing.svg", {"drawing": drawing}).encode()


def printed_sections(sheet: FitUp | None, lines: dict[str, ShownFitUpLine], system: UnitSystem) -> list[dict[str, Any]]:
    """Every row of the sheet for paper: what was measured, and below it what follows. Without a sheet all is empty."""
    sections = []
    for key, title, how, rows in SECTIONS:
        printed: list[dict[str, Any]] = []
        for names, line_key in rows:
            line = lines.get(line_key)
            for name in names:
                label = capfirst(label_of(FitUp, name))
                own = vars(line) if line is not None and line.key == name else None
                printed.append({"label": label, "value": value_said(sheet, name, system), "line": own})
            if line is not None and line.key not in names:
                printed.append({"label": line.label, "value": line.measured, "line": vars(line), "is_derived": True})
        words = [each["line"]["words"] for each in printed if each["line"] and not each["line"]["is_open"]]
        said = [each for each in dict.fromkeys(words) if each]
        sections.append({"key": key, "title": str(title), "how": str(how), "rows": printed, "words": said})
    return sections


def value_said(sheet: FitUp | None, name: str, system: UnitSystem) -> str:
    """One measure in words; empty where nothing was measured."""
    value = getattr(sheet, name, None)
    if value is None or value == "":
        return ""
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    if isinstance(value, float):
        return format_quantity(value, QuantityKind.LENGTH_MM, system)
    told = getattr(sheet, f"get_{name}_display", None)
    return str(told() if told else value)
