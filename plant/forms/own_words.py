"""What words of a file stand for, as a form asks it: on the page of the file, and beside its refused rows."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Iterable
from typing import Any

from django import forms
from django.utils.translation import gettext as _

from plant.calc.import_columns import Column, ColumnKind
from plant.calc.own_words import NOTHING, FoundWord
from plant.models import Conveyor, ImportBatch
from plant.services.import_subjects.shape import subject_of
from plant.services.own_words import SaidWord

MOST_WORDS = 40  # of one column, of each sort
SAYS_NOTHING = "-"


def meanings_of(column: Column, tags: list[tuple[str, Any]]) -> list[tuple[str, Any]]:
    """What a word of this column may stand for."""
    if column.kind is ColumnKind.CONVEYOR:
        return tags
    if column.kind is ColumnKind.YES_NO:
        return [("yes", _("yes")), ("no", _("no"))]
    return [(code, names[0] if names else code) for code, names in column.choices.items()]


class WordFields(forms.Form):
    """A box for each word."""

    def __init__(self, data: Any = None) -> None:
        super().__init__(data)
        self.word_fields: dict[str, FoundWord] = {}
        self.n_words_left_out: dict[str, int] = {}

    def add_words(self, batch: ImportBatch, found: Iterable[FoundWord]) -> None:
        """What each word of a column of choices stands for: those that are not understood, then the others."""
        subject, words = subject_of(batch.subject), list(found)
        tags: list[tuple[str, Any]] = []
        if any(each.column.kind is ColumnKind.CONVEYOR for each in words):
            tags = [(tag, tag) for tag in Conveyor.objects.of_plant(batch.plant).values_list("tag", flat=True)]
        shown: Counter[tuple[str, bool]] = Counter()
        for word in words:
            place = (word.column.name, word.means is None)
            if word.column.kind is ColumnKind.CONVEYOR and word.means is not None and not word.is_own:
                continue  # a tag of the register as it is spelt there, or nearly
            shown[place] += 1
            if shown[place] > MOST_WORDS:
                continue
            name = f"word_{word.column.name}_{hashlib.sha256(word.key.encode()).hexdigest()[:12]}"
            offered = [*([("?", _("choose"))] if word.means is None else []), *meanings_of(word.column, tags)]
            if not subject.is_needed(word.column):
                offered.append((SAYS_NOTHING, _("says nothing: leave it empty")))
            initial = "?" if word.means is None else word.means or SAYS_NOTHING
            self.fields[name] = forms.ChoiceField(label=word.written, choices=offered, initial=initial, required=False)
            self.fields[name].widget.attrs["aria-label"] = _("“%(word)s” as %(field)s") % {
                "word": word.written,
                "field": word.column.label,
            }
            self.word_fields[name] = word
        self.n_words_left_out = {
            name: n - MOST_WORDS for (name, is_new), n in shown.items() if is_new and n > MOST_WORDS
        }

    def words(self) -> list[dict[str, Any]]:
        """Words column by column: those that are not understood, and those that are."""
        groups: dict[str, dict[str, Any]] = {}
        for name, word in self.word_fields.items():
            group = groups.setdefault(
                word.column.name,
                {
                    "label": word.column.label,
                    "unknown": [],
                    "known": [],
                    "n_more": self.n_words_left_out.get(word.column.name, 0),
                },
            )
            group["unknown" if word.means is None else "known"].append({"word": word, "field": self[name]})
        return sorted(groups.values(), key=lambda each: not each["unknown"])

    def said_words(self) -> list[SaidWord]:
        """The words to which the person gave another meaning than the desk did."""
        said = []
        for name, word in self.word_fields.items():
            given = self.cleaned_data.get(name)
            if given and given != "?" and given != self.fields[name].initial:
                said.append(SaidWord(word.column, word.written, NOTHING if given == SAYS_NOTHING else given))
        return said


class RefusedWordsForm(WordFields):
    """Words of refused rows that are not understood."""

    def __init__(self, data: Any = None, *, batch: ImportBatch, found: Iterable[FoundWord]) -> None:
        super().__init__(data)
        self.add_words(batch, found)
