"""What the import desk can take in. Apps above register theirs; the desk knows subjects only by this shape.

A subject names its columns and writes one row through the same services that people use. Its key tells rows apart: the
same row sent twice has the same key and is written once.
"""

from __future__ import annotations

import datetime as dt
import difflib
import json
import math
import uuid
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from django.core.serializers.json import DjangoJSONEncoder
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from plant.calc.chainage import tag_key
from plant.calc.import_columns import Column, ColumnKind
from plant.calc.units import QuantityKind
from plant.errors import Refused
from plant.models import (
    Conveyor,
    ImportBatch,
    ImportedEntry,
    ImportedRecord,
    Plant,
    Record,
    Strand,
)
from plant.words.moments import day_of

WRITTEN, CHANGED, UNCHANGED = "written", "changed", "unchanged"
# With these sentences the name of a person is found in what the desk says of refused rows.
WITHDRAWN_BY_A_PERSON = gettext_lazy(
    "%(who)s withdrew this row on %(day)s (“%(reason)s”), and what a person withdrew stays so. Leave this row out. If "
    "it is another event, write its own time or place."
)
CORRECTED_BY_A_PERSON = gettext_lazy(
    "%(who)s corrected it on %(day)s (“%(reason)s”), and what a person corrected stands."
)
REPEATED = "repeated"  # equal to a row further up in the file, which stands for both


@dataclass
class ImportContext:
    """One run of one file: the plant, the person, and what was looked up so far."""

    plant: Plant
    by: Any
    batch: ImportBatch | None = None
    # The very same file with the same choices was written before: it must not undo what people changed since.
    is_repeat: bool = False
    # A person chose that a known row with other details is corrected; otherwise it is refused.
    corrects_known: bool = False
    # A person said that equal rows of the file are events of their own.
    equal_are_events: bool = False
    line_number: int = 0
    # How many equal rows stand above the row at hand, each of them an event of its own.
    n_equal_above: int = 0
    # A person says of the row at hand that the meter really shows this.
    keep_doubtful: bool = False
    # Tags that the file brings with all that a new conveyor needs.
    coming: set[str] = field(default_factory=set)
    now: dt.datetime = field(default_factory=timezone.now)
    known_entries: dict[uuid.UUID, Any] = field(default_factory=dict)
    # Rows that people wrote by hand about what the rows at hand tell, and those of them that a row was found to be.
    by_hand: dict[uuid.UUID, list[Any]] = field(default_factory=dict)
    found_by_hand: set[int] = field(default_factory=set)
    # Rows of the book of the same belt and moment, where one of the two has no place: the same event, as likely as not.
    maybe_same: dict[uuid.UUID, Any] = field(default_factory=dict)
    _conveyors: dict[str, Conveyor] | None = None
    _unknown: dict[str, str] = field(default_factory=dict)  # tag -> what is said of it

    @property
    def file_name(self) -> str:
        return self.batch.file_name[:70] if self.batch else ""

    @property
    def reason(self) -> str:
        return _("Import of %(file)s") % {"file": self.file_name}

    @property
    def came_again(self) -> str:
        words = _("came again in %(file)s, line %(line)s")
        return words % {"file": self.file_name, "line": self.line_number}

    def forget(self) -> None:
        """Look conveyors up again: rows were written."""
        self._conveyors = None
        self._unknown.clear()

    def conveyors(self) -> dict[str, Conveyor]:
        if self._conveyors is None:
            rows = Conveyor.objects.of_plant(self.plant).select_related("plant", "area")
            self._conveyors = {each.tag_key: each for each in rows}
        return self._conveyors

    def conveyor(self, tag: str) -> Conveyor:
        """The conveyor that a tag means, however it is spelt.

        Raises
        ------
        Refused
            If there is none, with the nearest tag.
        """
        found = self.conveyors().get(tag_key(tag))
        if found is not None:
            return found
        # A log names the same unknown belt in many rows, and looking for what was meant takes its time.
        if tag not in self._unknown:
            self._unknown[tag] = self.unknown_words(tag)
        words = self._unknown[tag]
        raise Refused(words, code="unknown_tag", fields={"conveyor": words})

    def unknown_words(self, tag: str) -> str:
        known = self.conveyors()
        near = nearest_tags(tag_key(tag), known)
        words = _("There is no conveyor “%(tag)s” in %(plant)s.") % {"tag": tag, "plant": self.plant}
        if near:
            words += " " + _("The nearest tag is %(near)s. Write that one, or add the conveyor first.") % {
                "near": known[near[0]].tag
            }
        else:
            words += " " + _("Correct the tag, or add the conveyor first.")
        return words


# Letters and digits that people and scanners take for each other.
LOOK_ALIKES = str.maketrans("OQDILSZBG", "000115286", "-")


def nearest_tags(key: str, known: Mapping[str, Any]) -> list[str]:
    """The known tag that was most likely meant, or none."""
    alike = [each for each in known if each.translate(LOOK_ALIKES) == key.translate(LOOK_ALIKES)]
    return alike[:1] or difflib.get_close_matches(key, known, n=1, cutoff=0.6)


def given_values(context: ImportContext, values: dict[str, Any]) -> dict[str, Any]:
    """The values without empty cells."""
    return {name: value for name, value in values.items() if value is not None}


WriteRow = Callable[[ImportContext, dict[str, Any], uuid.UUID], str]
WriteMany = Callable[[ImportContext, "list[tuple[dict[str, Any], uuid.UUID]]"], None]


@dataclass(frozen=True)
class ImportSubject:
    """One kind of rows that files may bring."""

    name: str
    label: Any
    columns: tuple[Column, ...]
    key_fields: tuple[str, ...]
    write_row: WriteRow
    # What a person needs beside the right to import, so that the desk is no way round it.
    right: str
    order: int = 50
    help: Any = ""
    # Writes many new rows at once, or raises Refused and writes none; then they are tried one by one.
    write_many: WriteMany | None = None
    # The values as an entry would hold them, to tell a known row that comes again; raises Refused where they cannot be.
    stored: Callable[[ImportContext, dict[str, Any]], dict[str, Any]] | None = None
    # The model of entries, whose keys are looked up a chunk at a time; None for records.
    entry_model: type[ImportedEntry] | None = None
    # Fills in what an empty cell means, so that a file that says it and one that does not have the same keys.
    complete: Callable[[dict[str, Any]], None] | None = None
    # Rows alike in their key may be events of their own (incidents): their other cells tell them apart. Rows that are
    # equal in every cell are one, unless a person says that each is an event.
    repeats_are_real: bool = False
    # Known rows with other details may be corrected, if the person chooses so; otherwise they are refused.
    may_correct_known: bool = False
    # What a row lacks that the book needs of a new one, by field; apart from fields that are at fault already. With it
    # only the key is needed in every row, so that a file may change some fields of what the book knows.
    lacks: Callable[[ImportContext, dict[str, Any], set[str]], dict[str, str]] | None = None
    # A column of clock times that belongs to a column of dates: {"happened_at": "happened_time"}.
    times_of: Mapping[str, str] = field(default_factory=dict)

    def column(self, name: str) -> Column:
        return next(each for each in self.columns if each.name == name)

    def is_needed(self, column: Column) -> bool:
        """Whether every row has to fill this column, whatever the book knows."""
        return column.required and (self.lacks is None or column.name in self.key_fields)


_subjects: dict[str, ImportSubject] = {}


def register_import_subject(subject: ImportSubject) -> None:
    _subjects[subject.name] = subject


def import_subjects() -> list[ImportSubject]:
    return sorted(_subjects.values(), key=lambda each: each.order)


def subject_of(name: str) -> ImportSubject:
    try:
        return _subjects[name]
    except KeyError:
        known = ", ".join(each.name for each in import_subjects())
        raise Refused(
            _("“%(name)s” is nothing that can be imported; choose one of: %(known)s.") % {"name": name, "known": known},
            code="unknown_subject",
        ) from None


def choices_of(choices: Any, **more: tuple[str, ...]) -> dict[str, tuple[str, ...]]:
    """The codes of a model's choices with their labels and the further words that people write for them."""
    return {code: (str(label), *more.get(code, ())) for code, label in choices.choices}


# --- writing ----------------------------------------------------------------------------------------------------------
def same(known: Any, given: Any) -> bool:
    if isinstance(known, float | int) and isinstance(given, float | int) and not isinstance(given, bool):
        return math.isclose(known, given, rel_tol=1e-12, abs_tol=1e-12)
    return bool(known == given)


def shown(value: Any) -> str:
    if isinstance(value, dt.datetime):
        return timezone.localtime(value).strftime("%Y-%m-%d %H:%M")
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    return str(value) if value not in (None, "") else _("nothing")


def differing(known: Any, values: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in values.items() if not same(getattr(known, name), value)}


def write_record(
    context: ImportContext, known: Record, values: Mapping[str, Any], change: Callable[..., Any], **more: Any
) -> str:
    """Bring a record to what the file says; cells that are empty leave it as it is."""
    given = {name: value for name, value in values.items() if value is not None and value != ""}
    changes = differing(known, given)
    if not changes or context.is_repeat:
        return UNCHANGED
    columns: Any = known._meta
    before = {name: getattr(known, columns.get_field(name).attname) for name in changes}
    changed = change(known, by=context.by, version=known.version, reason=context.reason, **changes, **more)
    note_record(context, changed, before)
    return CHANGED


def note_record(context: ImportContext, record: Record, before: dict[str, Any] | None = None) -> None:
    """Keep what the file did to a record, so that it can be taken back: what was there before, or that it was made."""
    if context.batch is not None:
        ImportedRecord.objects.create(
            batch=context.batch,
            model=record._meta.label,
            row_id=record.pk,
            version=record.version,
            before=None if before is None else json.loads(json.dumps(before, cls=DjangoJSONEncoder)),
        )


def latest_of(row: ImportedEntry) -> Any:
    """The row that stands now in the place of this one."""
    latest: Any = row
    while hasattr(latest, "corrected_by"):
        latest = latest.corrected_by
    return latest


def write_entry(
    context: ImportContext,
    model: type[ImportedEntry],
    values: Mapping[str, Any],
    key: uuid.UUID,
    create: Callable[..., Any],
    correct: Callable[..., Any] | None = None,
    *,
    only_if_chosen: bool = False,
    told_apart_by: tuple[str, ...] = (),
) -> str:
    """Write an entry once. One that the book has under this key with other details is corrected or refused.

    What a person corrected or withdrew stays as they left it. With `only_if_chosen` a correction needs the person's
    choice about the file, which then holds for rows written by hand too. Where the book has several rows alike in
    `told_apart_by`, nobody can tell which of them is meant, and none is corrected.
    """
    known = context.known_entries.get(key)
    if known is None:
        known = next((each for each in context.by_hand.get(key, ()) if each.pk not in context.found_by_hand), None)
        if known is not None:
            context.found_by_hand.add(known.pk)
    n_above = context.n_equal_above
    if known is not None and is_taken_back(latest := latest_of(known)):
        return write_again(context, latest, values, key, correct)
    if known is None and n_above and has_versions(model, values, n_above + 1):
        return UNCHANGED
    if known is None:
        create(by=context.by, client_key=key, now=context.now, import_batch=context.batch, **values)
        return WRITTEN
    changes = differing(known, values)
    if not changes or has_versions(model, values, n_above + 1):
        return UNCHANGED
    latest = latest_of(known)
    if correct is not None and (context.corrects_known or not only_if_chosen):
        later_key = key_of_correction(model, key, changes, latest)
        if later_key is None:
            return UNCHANGED
        untouched = latest is known and (key in context.known_entries or only_if_chosen) and known.corrects_id is None
        if not latest.is_withdrawn and (untouched or latest.import_batch_id is not None):
            if context.is_repeat:
                return UNCHANGED
            check_alone(latest, told_apart_by)
            reason = context.came_again if only_if_chosen else context.reason
            # Against the row as it stands: what an earlier file corrected is brought to what this one says.
            changes = differing(latest, values)
            correct(
                row=latest,
                by=context.by,
                reason=reason,
                client_key=later_key,
                import_batch=context.batch,
                **changes,
            )
            return CHANGED
    if not latest.is_withdrawn and not differing(latest, values):
        return UNCHANGED
    raise known_differently(latest, values)


def key_of_correction(
    model: type[ImportedEntry], key: uuid.UUID, changes: Mapping[str, Any], latest: Any
) -> uuid.UUID | None:
    """The key of a correction by a file; None where it was written already."""
    later = uuid.uuid5(key, repr(sorted((name, str(value)) for name, value in changes.items())))
    sent = model._default_manager.filter(client_key=later).select_related("import_batch").first()
    if sent is None:
        return later
    if sent.import_batch is None or sent.import_batch.state != ImportBatch.State.TAKEN_BACK:
        return None
    return uuid.uuid5(later, f"again after {latest.pk}")


def is_taken_back(row: ImportedEntry) -> bool:
    """Whether the row went with the file that brought it, and not because a person withdrew it."""
    return row.is_withdrawn and row.import_batch_id is not None


def write_again(
    context: ImportContext, latest: Any, values: Mapping[str, Any], key: uuid.UUID, correct: Callable[..., Any] | None
) -> str:
    """Write an entry anew that went when its file was taken back: with what this file says and nothing of the old."""
    assert correct is not None
    bare = {
        each.name: each.get_default()
        for each in latest._meta.concrete_fields
        if each.editable and (each.has_default() or each.null or each.blank)
    }
    kept = {name: value for name, value in bare.items() if name not in BOOKKEEPING and name not in values}
    correct(
        row=latest,
        by=context.by,
        reason=context.came_again,
        client_key=uuid.uuid5(key, f"again after {latest.pk}"),
        import_batch=context.batch,
        **kept,
        **values,
    )
    return WRITTEN


BOOKKEEPING = {
    "id",
    "client_key",
    "created_at",
    "created_by",
    "corrects",
    "correction_reason",
    "is_withdrawn",
    "import_batch",
    "plant",
    "conveyor",
}


def has_versions(model: type[ImportedEntry], values: Mapping[str, Any], n: int) -> bool:
    """Whether the book tells of so many events with these values, of ones that were corrected since too.

    A row that was corrected and put back is one event though it stands there twice.
    """
    manager: Any = model._default_manager
    standing = manager.filter(**values).exclude(import_batch__state=ImportBatch.State.TAKEN_BACK)
    rows = list(standing.order_by().only("pk", "corrects_id"))
    return len(rows) >= n and len({first_of(each) for each in rows}) >= n


def first_of(row: Any) -> int:
    """The key of the row with which the story of a row begins."""
    manager = type(row)._default_manager
    pk, before = row.pk, row.corrects_id
    while before is not None:
        pk, before = manager.values_list("pk", "corrects_id").get(pk=before)
    return int(pk)


def known_differently(latest: Any, values: Mapping[str, Any]) -> Refused:
    """The refusal of a row that the book has otherwise; as it stands now, and whose word that is."""
    if latest.is_withdrawn:
        return Refused(str(WITHDRAWN_BY_A_PERSON % by_whom(latest)), code="withdrawn")
    fields = {}
    for name, value in differing(latest, values).items():
        label = latest._meta.get_field(name).verbose_name
        fields[name] = _("The book has this row already with %(field)s %(known)s; the file says %(given)s.") % {
            "field": label,
            "known": shown(getattr(latest, name)),
            "given": shown(value),
        }
    if latest.corrects_id is not None and latest.import_batch_id is None:
        stands = str(CORRECTED_BY_A_PERSON % by_whom(latest))
    else:
        stands = _("Nothing in the book is overwritten.")
    stands += " " + _("Correct it there, or leave this row out. If it is another event, write its own time or place.")
    return Refused(
        " ".join([*fields.values(), stands]),
        code="known_differently",
        fields={name: f"{words} {stands}" for name, words in fields.items()},
    )


def by_whom(row: Any) -> dict[str, Any]:
    return {"who": row.created_by or _("A job"), "day": day_of(row.created_at), "reason": row.correction_reason}


def check_alone(row: ImportedEntry, told_apart_by: tuple[str, ...]) -> None:
    """Raises Refused where the book has further rows that are alike in these fields."""
    if not told_apart_by:
        return
    alike = {name: getattr(row, name) for name in told_apart_by}
    rows: Any = type(row)._default_manager
    n = rows.current().filter(**alike).count()
    if n > 1:
        words = _(
            "The book has %(n)s rows of this belt, moment and place, and none of them says what the file says; which "
            "of them is meant cannot be told. Correct the right one in the book, or leave this row out."
        )
        raise Refused(words % {"n": n}, code="known_twice")


TAG = Column(
    "conveyor",
    "conveyor",
    ColumnKind.CONVEYOR,
    aliases=("tag", "belt", "belt tag", "conveyor tag", "equipment", "unit", "belt no"),
    required=True,
    help=gettext_lazy("Its tag, in any spelling: S-12, s12, CV-S12."),
    example="A-1",
    longest=60,
)
STRAND_CHOICES = choices_of(
    Strand, carry=("carrying", "top", "carry side", "upper", "troughed"), **{"return": ("bottom", "lower")}
)


def quantity(name: str, label: str, kind: QuantityKind, *aliases: str, **more: Any) -> Column:
    return Column(name, label, ColumnKind.QUANTITY, aliases=aliases, quantity=kind, **more)
