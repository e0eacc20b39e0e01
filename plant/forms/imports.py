"""Forms of the import desk: the file, the choices about it, the cells of a refused row."""

from __future__ import annotations

from typing import Any
from zoneinfo import available_timezones

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from plant.calc.import_columns import UNITS_OFFERED, ColumnKind
from plant.calc.import_rows import FileShape
from plant.calc.import_texts import ENCODINGS
from plant.forms.base import PersonForm
from plant.forms.own_words import WordFields
from plant.models import ImportBatch, RejectedRow
from plant.permissions import has_right
from plant.services.import_subjects.shape import ImportSubject, import_subjects, subject_of
from plant.services.import_understanding import FieldMatch, Understanding
from plant.services.import_writing import DOUBTFUL, MAYBE_SAME
from plant.words.imports import DELIMITER_NAMES, encoding_name


def subjects_for(person: Any, plant: Any) -> list[ImportSubject]:
    """What this person may send in: importing is no way round the rights on the records themselves."""
    return [each for each in import_subjects() if has_right(person, each.right, plant)]


class ImportFileForm(PersonForm):
    """What is sent in, and the file."""

    subject = forms.ChoiceField(label=gettext_lazy("what the rows are"))
    file = forms.FileField(
        label=gettext_lazy("file, CSV or XLSX"), widget=forms.FileInput(attrs={"accept": ".csv,.txt,.tsv,.xlsx"})
    )
    client_key = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["subject"].choices = [(each.name, each.label) for each in subjects_for(self.person, self.plant)]


TOLD = {"decimal", "date_order", "time_zone", "midnight"}  # what the desk tells from the cells, or takes for granted


class ImportChoicesForm(WordFields):
    """Everything that was understood, each part of it open to another choice."""

    def __init__(self, data: Any = None, *, batch: ImportBatch, found: Understanding | None) -> None:
        super().__init__(data)
        self.batch, self.found = batch, found
        self.examples: dict[str, str] = {}  # the first row as understood, by the field's label
        self.add_layout(batch, found.shape if found else None)
        if found is None:
            return
        self.add_notation(found)
        self.add_clock(batch, found)
        self.add_known_rows(batch)
        for each in found.matches:
            self.add_column(each)
        self.add_words(batch, found.words)

    def add_layout(self, batch: ImportBatch, shape: FileShape | None) -> None:
        """How the file is laid out: its sheet, or encoding and separator; the line of its column names."""
        if batch.is_workbook:
            sheets = shape.sheets if shape else ()
            self.choice("sheet", _("sheet"), [(each, each) for each in sheets], shape.sheet if shape else "")
        else:
            encoding = shape.encoding if shape else ""
            names = [encoding] if encoding and encoding not in ENCODINGS else []
            self.choice(
                "encoding",
                _("encoding of the text"),
                [(each, encoding_name(each)) for each in (*names, *ENCODINGS)],
                encoding,
            )
            self.choice(
                "delimiter",
                _("separator"),
                list(DELIMITER_NAMES.items()),
                shape.delimiter if shape else "",
            )
        self.fields["header_line"] = forms.IntegerField(
            label=_("column names stand in line"),
            min_value=1,
            max_value=1000,
            initial=shape.header_line if shape else 1,
        )

    def add_notation(self, found: Understanding) -> None:
        """How dates and numbers are written."""
        reading, asked = found.reading, {each.option for each in found.questions}
        self.choice(
            "date_order",
            _("order of dates"),
            [
                *([("", _("choose"))] if "date_order" in asked else []),
                ("dmy", _("day, month, year: 25/11/2026")),
                ("mdy", _("month, day, year: 11/25/2026")),
            ],
            "" if "date_order" in asked else reading.date_order,
        )
        self.choice(
            "decimal",
            _("decimal mark"),
            [
                *([("", _("choose"))] if "decimal" in asked else []),
                ("point", _("point: 1.5")),
                ("comma", _("comma: 1,5")),
            ],
            "" if "decimal" in asked else reading.decimal,
        )

    def add_clock(self, batch: ImportBatch, found: Understanding) -> None:
        """By which clock times are written, and what those say that may be read in two ways."""
        reading, options = found.reading, batch.options
        self.fields["time_zone"] = forms.CharField(
            label=_("clock of the times"),
            initial=reading.time_zone,
            widget=forms.TextInput(attrs={"list": "zones", "autocomplete": "off"}),
            help_text=_("The plant's own unless the file says another: Europe/Berlin, UTC."),
        )
        self.choice(
            "doubled",
            _("the hour that comes twice in autumn"),
            [
                ("refuse", _("keep such rows for correction")),
                ("earlier", _("the first time, summer clock")),
                ("later", _("the second time, winter clock")),
            ],
            options.get("doubled") or "refuse",
        )
        if any(each.column.time_flag for each in found.matches):
            self.choice(
                "midnight",
                _("a time of 00:00"),
                [("time", _("is midnight")), ("day", _("says that only the day is known"))],
                reading.midnight,
            )

    def add_known_rows(self, batch: ImportBatch) -> None:
        """What becomes of rows that the book has, and of rows that are equal."""
        options, subject = batch.options, subject_of(batch.subject)
        if subject.may_correct_known:
            self.choice(
                "known",
                _("rows that the book has with other details"),
                [
                    ("refuse", _("refuse: the book stays")),
                    ("correct", _("correct: a further row in the book")),
                ],
                options.get("known") or "refuse",
            )
            self.fields["known"].help_text = _("The row that was corrected stays visible in the history.")
        if subject.repeats_are_real:
            self.choice(
                "equal",
                _("equal rows of the file"),
                [
                    ("one", _("one event: it stands there twice")),
                    ("each", _("an event each")),
                ],
                options.get("equal") or "one",
            )
            self.fields["equal"].help_text = _("Rows that are equal in every cell.")

    def choice(self, name: str, label: str, choices: list[tuple[str, Any]], initial: str) -> None:
        self.fields[name] = forms.ChoiceField(label=label, choices=choices, initial=initial, required=False)

    def add_column(self, match: FieldMatch) -> None:
        column = match.column
        heads = [(head, head) for head in (self.found.shape.columns if self.found else ())]
        self.choice(f"col_{column.name}", column.label, [("", _("not in the file")), *heads], match.head)
        self.fields[f"col_{column.name}"].widget.attrs["aria-label"] = _("column for %(field)s") % {
            "field": column.label
        }
        if column.kind is ColumnKind.QUANTITY and UNITS_OFFERED[column.quantity]:
            offered = UNITS_OFFERED[column.quantity]
            units = (*([match.unit] if match.unit and match.unit not in offered else []), *offered)
            self.choice(f"unit_{column.name}", _("unit"), [(each, each) for each in units], match.unit or units[0])
            self.fields[f"unit_{column.name}"].widget.attrs["aria-label"] = _("unit of %(field)s") % {
                "field": column.label
            }

    def clean_time_zone(self) -> str:
        name = str(self.cleaned_data["time_zone"]).strip()
        if name not in available_timezones():
            raise forms.ValidationError(
                _("“%(name)s” is no time zone; give one such as Europe/Berlin.") % {"name": name}
            )
        return name

    def options(self) -> dict[str, Any]:
        """What the service keeps. What the desk told by itself and nobody touched stays its own to tell again.

        Other columns may tell another decimal mark, another sheet other columns, another unit what was taken for
        granted.
        """
        given, before = self.cleaned_data, self.batch.options
        options = {name: given[name] for name in given if not name.startswith(("col_", "unit_", "word_"))}
        if self.found is None:
            return options
        for name in TOLD & options.keys():
            if name not in before and name not in self.changed_data:
                del options[name]
        chosen = before.get("columns", {})
        options["columns"] = {
            name: given[f"col_{name}"]
            for name in (each.column.name for each in self.found.matches)
            if name in chosen or f"col_{name}" in self.changed_data
        }
        heads = {each.column.name: given[f"col_{each.column.name}"] for each in self.found.matches}
        taken = {each.column.name: each for each in self.found.matches}
        options["units"] = {}
        for name, unit in given.items():
            if name.startswith("unit_"):
                match = taken[name.removeprefix("unit_")]
                shown_first = self.fields[name].initial
                if heads[match.column.name] and (match.unit_is_stated or unit != shown_first):
                    options["units"][match.column.name] = unit
        if "sheet" in self.changed_data:
            options["header_line"] = 0
        return options

    def rows(self) -> list[dict[str, Any]]:
        """The table of fields: the column that fills each, its unit, what stands in the first row."""
        if self.found is None:
            return []
        values = dict(self.examples)
        for match in self.found.matched():
            if match.column.kind is ColumnKind.TIME_OF_DAY:
                values[str(match.column.label)] = _("goes with the date")
        return [
            {
                "match": each,
                "head": self[f"col_{each.column.name}"],
                "unit": self[f"unit_{each.column.name}"] if f"unit_{each.column.name}" in self.fields else None,
                "example": values.get(str(each.column.label), ""),
            }
            for each in self.found.matches
        ]

    def file_fields(self) -> list[Any]:
        return [field for field in self if field.name in ("sheet", "encoding", "delimiter", "header_line")]

    def reading_fields(self) -> list[Any]:
        return [field for field in self if field.name in ("date_order", "decimal", "time_zone", "doubled", "midnight")]

    def writing_fields(self) -> list[Any]:
        return [field for field in self if field.name in ("known", "equal")]


class RefusedRowForm(forms.Form):
    """The cells of one refused row, those at fault first."""

    def __init__(self, data: Any = None, *, row: RejectedRow, batch: ImportBatch, subject: Any) -> None:
        super().__init__(data, prefix=f"row{row.pk}")
        self.row = row
        columns = batch.options.get("columns", {})
        by_head = {head: name for name, head in columns.items() if head}
        reasons: dict[str, list[str]] = {}
        for each in row.problems:
            reasons.setdefault(each["field"], []).append(each["reason"])
        heads = [head for head in batch.options.get("heads", row.values) if head in row.values]
        self.heads: dict[str, str] = {}
        self.at_fault: list[str] = []
        for n, head in enumerate(heads):
            name = f"cell{n}"
            self.heads[name] = head
            self.fields[name] = forms.CharField(
                label=head, required=False, initial=row.values.get(head, ""), max_length=10_000
            )
            field = by_head.get(head)
            # A time of day stands in a column of its own and is at fault with its date.
            dates = [name for name, clock in subject.times_of.items() if clock == field]
            if field in reasons or any(name in reasons for name in dates):
                self.at_fault.append(name)
        codes = {each.get("code") for each in row.problems}
        if codes & {DOUBTFUL, MAYBE_SAME}:
            label, help_text = (
                (_("It is another event"), _("It is written beside the one that the book has, and both count."))
                if MAYBE_SAME in codes
                else (
                    _("The meter really shows this"),
                    _("The reading is kept as it is; no running hours are made of it."),
                )
            )
            self.fields["keep_doubtful"] = forms.BooleanField(label=label, required=False, help_text=help_text)
            self.at_fault.append("keep_doubtful")
        self.stands_at = next((each["url"] for each in row.problems if each.get("url")), "")
        known = {each.name: each.label for each in subject.columns}
        self.reasons = [
            {"label": known.get(field, _("row")) if field else _("row"), "words": words}
            for field, texts in reasons.items()
            for words in texts
        ]

    def cells(self) -> list[tuple[str, str]]:
        """The filled cells of the row in the order of the file."""
        return [(head, self.row.values[head]) for head in self.heads.values() if self.row.values[head]]

    def fields_at_fault(self) -> list[Any]:
        return [self[name] for name in self.at_fault]

    def other_fields(self) -> list[Any]:
        return [self[name] for name in self.fields if name not in self.at_fault]

    def keep_doubtful(self) -> bool:
        return bool(self.cleaned_data.get("keep_doubtful"))

    def values(self) -> dict[str, str]:
        return {self.heads[name]: self.cleaned_data[name] for name in self.heads}


class TakeBackForm(forms.Form):
    """Why a file is taken back."""

    reason = forms.CharField(
        label=gettext_lazy("why it is taken back"),
        max_length=200,
        help_text=gettext_lazy(
            "It stands in the history of every row that goes: the wrong year, sent for another plant."
        ),
    )
