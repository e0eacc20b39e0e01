"""What the import desk can take in. Apps above register theirs; the desk knows subjects only by this shape.

A subject names its columns and writes one row through the same services that people use. Its key tells rows apart: the
same row sent twice has the same key and is written once.
"""

from __future__ import annotations

import datetime as dt
import difflib
import math
import uuid
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from plant.calc.chainage import tag_key
from plant.calc.imports import Column, ColumnKind
from plant.calc.units import QuantityKind
from plant.errors import Refused
from plant.models import (
    Area,
    Conveyor,
    ImportBatch,
    ImportedEntry,
    Incident,
    MeterReading,
    Plant,
    Record,
    RunRecord,
    Side,
    Strand,
)
from plant.services.conveyors import add_area, add_conveyor, change_conveyor
from plant.services.incidents import correct_incident, record_incident, record_incidents
from plant.services.running_hours import (
    check_span,
    correct_meter_reading,
    correct_run,
    record_meter_reading,
    record_run,
    record_runs,
)

WRITTEN, CHANGED, UNCHANGED = "written", "changed", "unchanged"
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
            words += " " + _("Mend the tag, or add the conveyor first.")
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
    change(known, by=context.by, version=known.version, reason=context.reason, **changes, **more)
    return CHANGED


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
        later_key = uuid.uuid5(key, repr(sorted((name, str(value)) for name, value in changes.items())))
        if model._default_manager.filter(client_key=later_key).exists():
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


def has_versions(model: type[ImportedEntry], values: Mapping[str, Any], n: int) -> bool:
    """Whether the book has so many rows with these values, the ones that were corrected since among them."""
    return len(model._default_manager.filter(**values).order_by().values_list("pk")[:n]) == n


def known_differently(latest: Any, values: Mapping[str, Any]) -> Refused:
    """The refusal of a row that the book has otherwise; as it stands now, and whose word that is."""
    if latest.is_withdrawn:
        words = _(
            "%(who)s withdrew this row on %(day)s (“%(reason)s”), and what a person withdrew stays so. Leave this row "
            "out. If it is another event, write its own time or place."
        )
        return Refused(words % by_whom(latest), code="withdrawn")
    fields = {}
    for name, value in differing(latest, values).items():
        label = latest._meta.get_field(name).verbose_name
        fields[name] = _("The book has this row already with %(field)s %(known)s; the file says %(given)s.") % {
            "field": label,
            "known": shown(getattr(latest, name)),
            "given": shown(value),
        }
    if latest.corrects_id is not None and latest.import_batch_id is None:
        stands = _("%(who)s corrected it on %(day)s (“%(reason)s”), and what a person corrected stands.")
        stands %= by_whom(latest)
    else:
        stands = _("Nothing in the book is overwritten.")
    stands += " " + _("Correct it there, or leave this row out. If it is another event, write its own time or place.")
    return Refused(
        " ".join([*fields.values(), stands]),
        code="known_differently",
        fields={name: f"{words} {stands}" for name, words in fields.items()},
    )


def by_whom(row: Any) -> dict[str, Any]:
    day = timezone.localtime(row.created_at).date().isoformat()
    return {"who": row.created_by or _("A job"), "day": day, "reason": row.correction_reason}


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


# --- conveyors --------------------------------------------------------------------------------------------------------
def area_for(context: ImportContext, text: str, name: str | None) -> Area:
    """The area of this code or name; a new one is added unless it may be a slip of the pen for one that exists."""
    areas: list[Area] = list(Area.objects.of_plant(context.plant))
    for each in areas:
        if text.casefold() in (each.code.casefold(), each.name.casefold(), str(each).casefold()):
            return each
    known = {word.casefold(): each for each in areas for word in (each.code, each.name) if len(word) > 3}
    near = difflib.get_close_matches(text.casefold(), known, n=1, cutoff=0.8)
    if near:
        words = _("There is no area “%(text)s”. The nearest is %(near)s. Write that one, or add the area first.")
        words %= {"text": text, "near": known[near[0]]}
        raise Refused(words, code="unknown_area", fields={"area": words})
    if len(text) > 12 and not name:
        words = _("There is no area “%(text)s”, and a code has at most 12 characters. Give the code of the area.")
        raise Refused(words % {"text": text}, code="unknown_area", fields={"area": words % {"text": text}})
    return add_area(plant=context.plant, by=context.by, code=text, name=name or text, walking_order=len(areas) + 1)


NEEDED_OF_NEW = {"area": "area", "belt_width_mm": "belt width", "speed_m_s": "belt speed", "length_m": "length"}


def lacking_of_conveyor(context: ImportContext, values: dict[str, Any], at_fault: set[str]) -> dict[str, str]:
    """What a conveyor that the book does not know lacks; nothing where it knows the tag or the file brought it."""
    key = tag_key(values.get("tag") or "")
    known = context.conveyors()
    if not key or key in known or key in context.coming:
        return {}
    lacking = [name for name in NEEDED_OF_NEW if values.get(name) is None and name not in at_fault]
    if not lacking:
        context.coming.add(key)
        return {}
    near = nearest_tags(key, known)
    remedy = _("Fill it in.")
    if near:
        remedy = _("Fill it in, or mend the tag: the nearest is %(near)s.") % {"near": known[near[0]].tag}
    words = _("There is no conveyor “%(tag)s” yet, and a new one needs its %(label)s.")
    return {name: f"{words % {'tag': values['tag'], 'label': _(NEEDED_OF_NEW[name])}} {remedy}" for name in lacking}


def write_conveyor(context: ImportContext, values: dict[str, Any], key: uuid.UUID) -> str:
    values = dict(values)
    area_name = values.pop("area_name", None)
    if values.get("area") or area_name:
        values["area"] = area_for(context, values.get("area") or area_name, area_name)
    known = Conveyor.objects.by_tag(context.plant, values["tag"]).first()
    if known is not None:
        values.pop("tag")  # another spelling of the same tag is no change
        outcome = write_record(context, known, values, change_conveyor)
    elif Conveyor.objects.filter(client_key=key).exists():
        outcome = UNCHANGED  # it was given another tag since
    else:
        given = {name: value for name, value in values.items() if value is not None}
        context.coming.discard(tag_key(given["tag"]))
        lacking = lacking_of_conveyor(context, given, set())
        if lacking:  # the row that was to bring it was refused itself
            raise Refused(" ".join(lacking.values()), code="lacking", fields=lacking)
        add_conveyor(plant=context.plant, by=context.by, client_key=key, **given)
        outcome = WRITTEN
    if outcome != UNCHANGED:
        context.forget()
    return outcome


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


register_import_subject(
    ImportSubject(
        name="conveyors",
        label=gettext_lazy("Conveyors"),
        right="plant.add_conveyor",
        order=10,
        key_fields=("tag",),
        write_row=write_conveyor,
        lacks=lacking_of_conveyor,
        help=gettext_lazy(
            "The register of belts. A conveyor that the book knows is changed where the file differs; for "
            "those the tag and the columns to change are enough."
        ),
        columns=(
            Column("tag", "tag", aliases=("conveyor", "belt", "belt tag"), required=True, example="A-1", longest=30),
            Column("name", "name", aliases=("description", "title"), longest=120, example="Crusher feed"),
            Column("area", "area", aliases=("area code", "section"), required=True, example="A", longest=80),
            Column("area_name", "name of the area", aliases=("area title",), longest=80, example="Crushing"),
            quantity(
                "belt_width_mm", "belt width", QuantityKind.LENGTH_MM, "width", "bw", required=True, example="1200"
            ),
            quantity(
                "speed_m_s", "belt speed", QuantityKind.SPEED_M_S, "speed", "velocity", required=True, example="2.5"
            ),
            quantity(
                "length_m",
                "length",
                QuantityKind.DISTANCE_M,
                "centres",
                "centers",
                "length centre to centre",
                required=True,
                example="200",
            ),
            quantity("lift_m", "lift", QuantityKind.DISTANCE_M, "height", allow_negative=True, example="10"),
            quantity("edge_clearance_mm", "edge clearance", QuantityKind.LENGTH_MM, "clearance", example="60"),
            Column("is_reversing", "reversing", ColumnKind.YES_NO, aliases=("reversible",), example="no"),
            Column("duty", "duty", ColumnKind.CHOICE, choices=choices_of(Conveyor.Duty), example="ordinary"),
            Column(
                "criticality",
                "criticality",
                ColumnKind.CHOICE,
                choices=choices_of(Conveyor.Criticality, high=("a", "1"), medium=("b", "2"), low=("c", "3")),
                example="medium",
            ),
            quantity("meter_rolls_over_at_h", "hour meter starts again at", QuantityKind.HOURS, "rollover", example=""),
            Column("energies", "stored energies", example="gravity take-up"),
        ),
    )
)


# --- running hours ----------------------------------------------------------------------------------------------------
def complete_span(values: dict[str, Any]) -> None:
    if not values.get("kind"):
        is_total = values.get("running_h") is not None
        values["kind"] = (RunRecord.Kind.TOTAL if is_total else RunRecord.Kind.RUNNING).value


def complete_reading(values: dict[str, Any]) -> None:
    values["event"] = values.get("event") or MeterReading.Event.NORMAL.value


def span_of(context: ImportContext, values: dict[str, Any]) -> dict[str, Any]:
    """The values of a span as they are stored; raises Refused where they cannot be."""
    values = given_values(context, values)
    hours = values.get("running_h")
    if values["kind"] == RunRecord.Kind.TOTAL and hours is None:
        words = _("The hours are empty. Write how long the belt ran, 0 if it stood still.")
        raise Refused(words, fields={"running_h": words})
    values["running_h"] = check_span(
        kind=values["kind"],
        starts_at=values["starts_at"],
        ends_at=values["ends_at"],
        running_h=hours or 0.0,
        now=context.now,
    )
    return values


def write_span(context: ImportContext, values: dict[str, Any], key: uuid.UUID) -> str:
    return write_entry(context, RunRecord, span_of(context, values), key, record_run, correct_run)


def write_spans(context: ImportContext, rows: list[tuple[dict[str, Any], uuid.UUID]]) -> None:
    spans = [{**span_of(context, values), "client_key": key, "import_batch": context.batch} for values, key in rows]
    record_runs(spans, by=context.by, now=context.now)


register_import_subject(
    ImportSubject(
        name="running_hours",
        label=gettext_lazy("Running hours: spans"),
        right="plant.add_runrecord",
        order=40,
        key_fields=("conveyor", "starts_at", "ends_at", "kind"),
        write_row=write_span,
        write_many=write_spans,
        stored=span_of,
        complete=complete_span,
        entry_model=RunRecord,
        help=gettext_lazy("From, to, and the hours run in between; without a column of hours it ran all the while."),
        columns=(
            TAG,
            Column(
                "starts_at",
                "from",
                ColumnKind.MOMENT,
                aliases=("from", "start", "begin", "started", "start time", "on"),
                required=True,
                example="2026-03-01 06:00",
            ),
            Column(
                "ends_at",
                "to",
                ColumnKind.MOMENT,
                aliases=("to", "end", "until", "stop", "stopped", "end time", "off"),
                required=True,
                example="2026-03-02 06:00",
            ),
            quantity(
                "running_h",
                "running hours",
                QuantityKind.HOURS,
                "hours",
                "run hours",
                "runtime",
                "total",
                example="21.5",
            ),
            Column(
                "kind",
                "kind",
                ColumnKind.CHOICE,
                choices=choices_of(RunRecord.Kind, running=("run", "on"), no_data=("unknown", "gap", "none")),
                example="total",
            ),
            Column("source", "source", longest=60, example="control system"),
        ),
    )
)


def write_reading(context: ImportContext, values: dict[str, Any], key: uuid.UUID) -> str:
    values = given_values(context, values)
    create = partial(record_meter_reading, keep_doubtful=context.keep_doubtful)
    correct = partial(correct_meter_reading, keep_doubtful=context.keep_doubtful)
    return write_entry(context, MeterReading, values, key, create, correct, only_if_chosen=True)


register_import_subject(
    ImportSubject(
        name="meter_readings",
        label=gettext_lazy("Running hours: meter readings"),
        right="plant.add_meterreading",
        order=41,
        key_fields=("conveyor", "read_at", "event"),
        write_row=write_reading,
        stored=given_values,
        complete=complete_reading,
        entry_model=MeterReading,
        may_correct_known=True,
        times_of={"read_at": "read_time"},
        help=gettext_lazy("What the hour meter showed; a replaced meter has a last reading and a first one."),
        columns=(
            TAG,
            Column(
                "read_at",
                "read at",
                ColumnKind.MOMENT,
                aliases=("read on", "date", "when", "time stamp", "timestamp", "datetime"),
                required=True,
                example="2026-03-01 06:00",
            ),
            Column("read_time", "time of day", ColumnKind.TIME_OF_DAY, aliases=("time", "clock"), example=""),
            quantity(
                "reading_h",
                "meter shows",
                QuantityKind.HOURS,
                "reading",
                "meter",
                "hour meter",
                "hours",
                "counter",
                required=True,
                example="10480.5",
            ),
            Column(
                "event",
                "what",
                ColumnKind.CHOICE,
                aliases=("event",),
                choices=choices_of(
                    MeterReading.Event,
                    normal=("ordinary", "regular"),
                    last_of_old=("old", "last", "removed"),
                    first_of_new=("new", "first", "fitted"),
                ),
                example="normal",
            ),
            Column("note", "note", aliases=("remark", "remarks", "comment", "comments"), longest=200),
        ),
    )
)


# --- incidents --------------------------------------------------------------------------------------------------------
# A revised severity or note is the same episode; it must not count twice.
INCIDENT_KEY = ("conveyor", "happened_at", "strand", "chainage_m")


def write_incident(context: ImportContext, values: dict[str, Any], key: uuid.UUID) -> str:
    return write_entry(
        context,
        Incident,
        given_values(context, values),
        key,
        record_incident,
        correct_incident,
        only_if_chosen=True,
        told_apart_by=INCIDENT_KEY,
    )


def write_incidents(context: ImportContext, rows: list[tuple[dict[str, Any], uuid.UUID]]) -> None:
    given = [
        {**given_values(context, values), "client_key": key, "import_batch": context.batch} for values, key in rows
    ]
    record_incidents(given, by=context.by, now=context.now)


register_import_subject(
    ImportSubject(
        name="incidents",
        label=gettext_lazy("Incidents"),
        right="plant.add_incident",
        order=50,
        key_fields=INCIDENT_KEY,
        write_row=write_incident,
        write_many=write_incidents,
        stored=given_values,
        entry_model=Incident,
        may_correct_known=True,
        repeats_are_real=True,
        times_of={"happened_at": "happened_time"},
        help=gettext_lazy(
            "Each row is one episode of mistracking. Rows that are equal in every cell count once, unless you say that "
            "each is an episode of its own."
        ),
        columns=(
            TAG,
            Column(
                "happened_at",
                "when",
                ColumnKind.MOMENT,
                aliases=(
                    "date",
                    "when",
                    "happened",
                    "time stamp",
                    "timestamp",
                    "datetime",
                    "occurred",
                    "date and time",
                ),
                required=True,
                example="2026-03-01 14:15",
                time_flag="time_is_known",
            ),
            Column("happened_time", "time of day", ColumnKind.TIME_OF_DAY, aliases=("time", "clock"), example=""),
            Column("strand", "strand", ColumnKind.CHOICE, choices=STRAND_CHOICES, example="return"),
            quantity(
                "chainage_m", "chainage", QuantityKind.DISTANCE_M, "position", "pos", "metre", "place", example="80"
            ),
            Column(
                "side",
                "side",
                ColumnKind.CHOICE,
                choices=choices_of(Side, drive=("drive", "ds"), off=("off", "os", "non-drive", "nds")),
                example="drive",
            ),
            quantity("offset_mm", "offset", QuantityKind.LENGTH_MM, "belt offset", "off centre", example="70"),
            Column("severity", "severity", ColumnKind.CHOICE, choices=choices_of(Incident.Severity), example="contact"),
            Column("consequence", "consequence", longest=300),
            quantity(
                "minutes_lost",
                "minutes lost",
                QuantityKind.MINUTES,
                "downtime",
                "lost",
                "delay",
                "stop",
                "stopped",
                "stopped min",
                example="25",
            ),
            quantity("spilled_t", "spilled", QuantityKind.TONNES, "spillage", "spill", example="0.5"),
            Column(
                "was_loaded",
                "belt was loaded",
                ColumnKind.YES_NO,
                aliases=("loaded",),
                choices={"yes": ("loaded", "full"), "no": ("empty", "unloaded")},
                example="yes",
            ),
            Column(
                "suspected_cause",
                "suspected cause",
                ColumnKind.CHOICE,
                aliases=("cause",),
                choices=choices_of(Incident.Cause),
                example="load",
            ),
            Column("source", "source", ColumnKind.CHOICE, choices=choices_of(Incident.Source), example="log"),
            Column(
                "note",
                "note",
                aliases=("remark", "remarks", "comment", "comments", "text", "description"),
                longest=2000,
            ),
        ),
    )
)
