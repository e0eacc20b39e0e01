"""The close-out page's form: as many fields as the checks of the device ask for, sections as the page shows them."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import timedelta
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.functional import cached_property
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inspections.calc.doubts import ways_of
from inspections.check_rules.kinds import rule_of
from inspections.check_rules.wanted import FOUND, FOUND_METHODS, LEFT, Typed, Wanted, plausible_at, reading_key
from inspections.errors import NotClosedOut
from inspections.models import Action, CouldNotDo, Reading, Task, TwiceClosed, Visit
from inspections.selectors.actions import proposed_owner
from inspections.selectors.tools import wrenches_of
from inspections.services.actions import NewAction
from inspections.words.actions import action_words
from inspections.words.check_rules import answers_of, label_words, limit_words, suggested_action
from inspections.words.grading import grade_words
from inspections.words.readings import asked_words, earlier_words, last_words, set_words
from installs.models import Installation, Instrument
from plant.calc.addresses import moment_in
from plant.calc.box_texts import input_text
from plant.calc.reasons import NotAccepted
from plant.calc.typed_quantities import Way, parse_quantity
from plant.calc.units import QuantityKind, UnitSystem, unit_label
from plant.errors import Refused
from plant.forms.base import PersonForm
from plant.forms.photos import PhotosField, PhotosInput
from plant.forms.quantities import QuantityField
from plant.models import Person, Photo, Plant
from plant.words.refusals import field_words, refusal_words
from plant.words.typing import echo, why_not_read

ACTION_DAYS = 7


class LiveReadingField(QuantityField):
    """A number that the page's own script reads while it is typed, with no request to the server."""

    def clean(self, value: Any) -> Any:
        text = forms.CharField.clean(self, value).strip()
        if not text:
            return None
        try:
            number = parse_quantity(text, self.kind, self.system, allow_negative=self.allow_negative).value
        except NotAccepted as problem:
            raise forms.ValidationError(why_not_read(problem)) from problem
        return Typed(number, text)

    def get_bound_field(self, form: Any, field_name: str) -> Any:
        # Feet and fractions need the slash and the space of the whole keyboard.
        # A minus is missing on many a keyboard of digits.
        is_plain = self.system == UnitSystem.METRIC and not self.allow_negative
        keyboard = "decimal" if is_plain else "text"
        self.widget.attrs.update({"inputmode": keyboard, "autocomplete": "off"})
        return forms.CharField.get_bound_field(self, form, field_name)


class AnswerField(forms.ChoiceField):
    """One of several answers; empty where nothing was seen."""

    def clean(self, value: Any) -> Any:
        answer = super().clean(value)
        return Typed(answer, "") if answer else None


def field_name(task_id: int, code: str, stage: str) -> str:
    return f"t{task_id}-{code}-{stage}"


class WrenchField(forms.TypedChoiceField):
    """One of the plant's torque wrenches."""

    def __init__(self, wrenches: Callable[[], list[Instrument]], *, empty_label: str, **kwargs: Any) -> None:
        self.wrenches = wrenches
        super().__init__(
            choices=lambda: [("", empty_label), *((str(each.pk), str(each)) for each in wrenches())],
            coerce=self.wrench,
            empty_value=None,
            required=False,
            **kwargs,
        )

    def wrench(self, key: str) -> Instrument:
        return next(each for each in self.wrenches() if str(each.pk) == str(key))


class ReadingsForm(PersonForm):
    """Fields for every reading of several checks; `values` fills them in when a visit is corrected."""

    client_key = forms.UUIDField(widget=forms.HiddenInput, required=False)

    def __init__(
        self,
        *args: Any,
        tasks: Sequence[Task],
        wanted: Mapping[int, Sequence[Wanted]],
        person: Person,
        values: Mapping[str, Any] | None = None,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, person=person, **kwargs)
        self.tasks, self.wanted = list(tasks), wanted
        self.system = UnitSystem(person.unit_system)
        self.questions: dict[str, str] = {}
        # How often each kind of check said act just before, by kind; a page that shows it says so.
        self.running: dict[int, int] = {}
        self.suggested_action = ""
        self.initial.setdefault("client_key", uuid.uuid4())
        for task in self.tasks:
            if rule_of(task.check_kind).names_tool:
                self.add_tool(task, values or {})
            for each in wanted[task.pk]:
                for stage in (FOUND, LEFT) if each.asks_as_left else (FOUND,):
                    name = field_name(task.pk, each.code, stage)
                    self.fields[name] = self.field_for(each, stage)
                    # Which reading of a number in doubt is meant: "on" as it is read, else the text of another one.
                    self.fields[f"{name}-sure"] = forms.CharField(required=False, widget=forms.HiddenInput)
                    if values and reading_key(task.pk, each.code, stage) in values:
                        self.initial[name] = values[reading_key(task.pk, each.code, stage)]

    def full_clean(self) -> None:
        if self.is_bound:
            self.settle()
        super().full_clean()

    def settle(self) -> None:
        """Put the reading that a person chose into its box; a choice for a text that was changed since is dropped."""
        for task, each, stage in self.numbers():
            name = field_name(task.pk, each.code, stage)
            chosen = self.data.get(f"{name}-sure")
            if chosen in (None, "", "on"):
                continue
            self.data = self.data.copy()
            is_known = chosen in {way.text for way in self.ways_of(each, name)}
            self.data[f"{name}-sure"] = "on" if is_known else ""
            if is_known:
                self.data[name] = chosen

    def numbers(self) -> Iterator[tuple[Task, Wanted, str]]:
        """Every number that is asked for, with its check and stage."""
        for task in self.tasks:
            for each in self.wanted[task.pk]:
                if each.form == "number":
                    yield from ((task, each, stage) for stage in ((FOUND, LEFT) if each.asks_as_left else (FOUND,)))

    def ways_of(self, each: Wanted, name: str) -> tuple[Way, ...]:
        """What the text in a box may mean."""
        text = str(self.data.get(name) or "")
        stage = name.rsplit("-", 1)[1]
        negative = each.is_signed or not each.quantity
        return ways_of(text, each.kind, self.system, plausible_at(each, stage), allow_negative=negative)

    def options_of(self, each: Wanted, name: str) -> list[dict[str, str]]:
        """The readings of a number in doubt, as they are offered where no script runs."""
        is_settled = self.is_bound and self.data.get(f"{name}-sure") == "on"
        if name not in self.questions and name not in self.errors and not is_settled:
            return []
        ways = self.ways_of(each, name) if self.is_bound and each.form == "number" else ()
        is_as_read = name in self.questions or is_settled
        return [{"value": "on" if is_as_read and way is ways[0] else way.text, "words": echo(way)} for way in ways]

    def add_tool(self, task: Task, values: Mapping[str, Any]) -> None:
        """How the torques of a check were read, and with what."""
        methods = [(method.value, method.label) for method in FOUND_METHODS]
        self.fields[f"t{task.pk}-method"] = forms.ChoiceField(
            choices=[("", "–"), *methods], required=False, label=_("How it is read as found")
        )
        self.fields[f"t{task.pk}-instrument"] = WrenchField(
            lambda: self.wrenches, label=_("Torque wrench"), empty_label=_("not named: 4 % assumed")
        )
        self.fields[f"t{task.pk}-tool_reason"] = forms.CharField(
            required=False, max_length=120, label=_("Why a wrench out of calibration was used")
        )
        for each in self.wanted[task.pk]:
            if each.form == "number":
                label = _("Another wrench for %(fastener)s") % {"fastener": label_words(each)}
                self.fields[f"t{task.pk}-{each.code}-instrument"] = WrenchField(
                    lambda: self.wrenches, label=label, empty_label=_("the same")
                )
        for name in ("method", "instrument"):
            self.initial[f"t{task.pk}-{name}"] = values.get(f"{task.pk}:{name}")

    @cached_property
    def wrenches(self) -> list[Instrument]:
        """Read once for all the selects of a page, and not at all where no check asks for one."""
        return list(wrenches_of(self.tasks[0].plant))

    def clean(self) -> dict[str, Any]:
        """A torque without its method compares with nothing. What a phone kept before it was asked for is taken so."""
        cleaned = super().clean() or self.cleaned_data
        for task in self.tasks:
            name = f"t{task.pk}-method"
            if name not in self.fields or name not in self.data or cleaned.get(name):
                continue
            torques = [each.code for each in self.wanted[task.pk] if each.form == "number"]
            if any(cleaned.get(field_name(task.pk, code, FOUND)) for code in torques):
                self.add_error(name, _("Say how the torques were read: readings by two methods do not compare."))
        return cleaned

    def field_for(self, each: Wanted, stage: str) -> forms.Field:
        label = label_words(each)
        if stage != FOUND:
            label = _("%(label)s, as left") % {"label": label}
        if each.form == "number":
            field = LiveReadingField(
                kind=each.kind,
                system=self.system,
                required=False,
                label=label,
                allow_negative=each.is_signed or not each.quantity,
            )
            field.widget.attrs["data-kind"] = each.kind.value or "plain"
            return field
        widget = forms.RadioSelect if len(each.options) <= 4 else forms.Select
        choices = [("", _("not looked at")), *answers_of(each.options).items()]
        return AnswerField(choices=choices, required=False, label=label, widget=widget)

    def entries(self) -> dict[int, dict[str, dict[str, Any]]]:
        """What was entered, as the service takes it."""
        entries: dict[int, dict[str, dict[str, Any]]] = {}
        for task in self.tasks:
            by_code = entries.setdefault(task.pk, {})
            for each in self.wanted[task.pk]:
                for stage in (FOUND, LEFT):
                    typed = self.cleaned_data.get(field_name(task.pk, each.code, stage))
                    if typed is not None and each.quantity == QuantityKind.TORQUE_NM.value:
                        given = self.cleaned_data.get
                        typed = typed._replace(
                            method=given(f"t{task.pk}-method") or "",
                            instrument=given(f"t{task.pk}-{each.code}-instrument") or given(f"t{task.pk}-instrument"),
                            tool_reason=given(f"t{task.pk}-tool_reason") or "",
                        )
                    if typed is not None:
                        by_code.setdefault(each.code, {})[stage] = typed
        return entries

    def confirmed(self) -> set[str]:
        """Keys of readings that the person says are right."""
        return {
            reading_key(task.pk, each.code, stage)
            for task in self.tasks
            for each in self.wanted[task.pk]
            for stage in (FOUND, LEFT)
            if self.cleaned_data.get(f"{field_name(task.pk, each.code, stage)}-sure") == "on"
        }

    def add_refusal(self, refusal: Refused) -> None:
        """Faults to their fields, questions beside the readings, the suggestion into the action's title."""
        names = {
            reading_key(task.pk, each.code, stage): field_name(task.pk, each.code, stage)
            for task in self.tasks
            for each in self.wanted[task.pk]
            for stage in (FOUND, LEFT)
        }
        for key, words in field_words(refusal, self.system).items():
            name = names.get(key, key)
            self.add_error(name if name in self.fields else None, words)
        if isinstance(refusal, NotClosedOut):
            self.questions = {names[key]: grade_words(asked, self.system) for key, asked in refusal.questions.items()}
            self.suggested_action = refusal.suggested_action
            for name, words in self.questions.items():
                self.add_error(
                    name, _("%(question)s Choose below it what it is, or type it again.") % {"question": words}
                )
        elif not refusal.fields:
            self.add_error(None, refusal_words(refusal, self.system))

    # --- as the page shows it -----------------------------------------------------------------------------------------

    def sections(self) -> list[dict[str, Any]]:
        return [self.section(task) for task in self.tasks]

    def section(self, task: Task) -> dict[str, Any]:
        """One check: fasteners stand in pairs, found beside left; elsewhere readings as left are the exception."""
        rows = [self.row(task, each) for each in self.wanted[task.pk]]
        is_pairs = rule_of(task.check_kind).names_tool
        lefts = [] if is_pairs else [row for row in rows if row["left"] and row["wanted"].form == "number"]
        return {
            "task": task,
            "rows": rows,
            "asked": asked_words(task),
            "rule": task.check_kind.rule,
            "is_pairs": is_pairs,
            "lefts": lefts,
            "is_left_open": any(row["left"].value() or row["left"].errors for row in lefts),
            "reason": self[f"t{task.pk}-reason"] if f"t{task.pk}-reason" in self.fields else None,
            "remark": self[f"t{task.pk}-remark"] if f"t{task.pk}-remark" in self.fields else None,
            "method": self[f"t{task.pk}-method"] if f"t{task.pk}-method" in self.fields else None,
            "instrument": self[f"t{task.pk}-instrument"] if f"t{task.pk}-instrument" in self.fields else None,
            "tool_reason": self[f"t{task.pk}-tool_reason"] if f"t{task.pk}-tool_reason" in self.fields else None,
            "others": self.other_tools(task),
        }

    def other_tools(self, task: Task) -> list[Any]:
        """The selects for a fastener that was read with another wrench."""
        names = [f"t{task.pk}-{each.code}-instrument" for each in self.wanted[task.pk]]
        return [self[name] for name in names if name in self.fields]

    def row(self, task: Task, each: Wanted) -> dict[str, Any]:
        found = field_name(task.pk, each.code, FOUND)
        left = field_name(task.pk, each.code, LEFT)
        return {
            "wanted": each,
            "found": self[found],
            "found_sure": self[f"{found}-sure"],
            "left": self[left] if each.asks_as_left else None,
            "left_sure": self[f"{left}-sure"] if each.asks_as_left else None,
            "found_ways": self.options_of(each, found),
            "left_ways": self.options_of(each, left) if each.asks_as_left else [],
            "unit": unit_label(each.kind, self.system) if each.form == "number" else "",
            "limit_words": limit_words(rule_of(task.check_kind).limit_reason(each), self.system),
            "last": last_words(each, self.system),
            "earlier": earlier_words(each, self.system),
            "set": set_words(each, self.system),
        }

    def as_rules(self) -> list[dict[str, Any]]:
        """What the page's script needs to grade while a reading is typed: rules by check, limits by reading."""
        return [
            {
                "task": task.pk,
                "kind": str(task.check_kind),
                "rule": task.check_kind.rule,
                "is_pairs": rule_of(task.check_kind).names_tool,
                "is_measured": rule_of(task.check_kind).is_measured,
                "needs_lockout": task.check_kind.needs_lockout,
                "suggested": suggested_action(task.check_kind, self.running.get(task.check_kind_id, 0)),
                "readings": [
                    {
                        "code": each.code,
                        "label": label_words(each),
                        "form": each.form,
                        "quantity": each.quantity,
                        "signed": each.is_signed,
                        "limits": dict(each.limits),
                        "plausible": dict(each.plausible),
                    }
                    for each in self.wanted[task.pk]
                ],
            }
            for task in self.tasks
        ]


ANOTHER = "another"


class NewActionForm(forms.Form):
    """What is to be done, by when, by whom; and what is wanted where an action for the same is open at the device."""

    fields: dict[str, Any]
    data: Any

    action_title = forms.CharField(required=False, max_length=200, label=gettext_lazy("What is to be done"))
    # The title that the page put in; one that differs was typed.
    action_suggested = forms.CharField(required=False, max_length=200, widget=forms.HiddenInput)
    action_due_on = forms.DateField(required=False, label=gettext_lazy("Due"))
    action_owner = forms.ModelChoiceField(
        Person.objects.none(), required=False, label=gettext_lazy("Owner"), empty_label=gettext_lazy("nobody yet")
    )
    action_choice = forms.ChoiceField(
        required=False,
        label=gettext_lazy("Where one is open for the same"),
        widget=forms.RadioSelect,
        error_messages={"invalid_choice": gettext_lazy("That action is done meanwhile; choose again.")},
    )

    def set_up_action(self, plant: Plant, person: Person, installation: Installation | None) -> None:
        self.initial.setdefault("action_due_on", timezone.localdate() + timedelta(days=ACTION_DAYS))
        self.initial.setdefault("action_owner", proposed_owner(plant, person))
        people = Person.objects.filter(memberships__plant=plant, is_active=True).distinct().order_by("username")
        self.fields["action_owner"].queryset = people
        rows = Action.objects.open().filter(installation=installation).select_related("owner").order_by("due_on", "pk")
        self.open_actions = {str(row.pk): row for row in rows} if installation is not None else {}
        self.fields["action_choice"].choices = choices_of(self.open_actions)

    def drop_stale_choice(self) -> None:
        """What a phone chose to add to may be done by the time it arrives: it is raised anew then."""
        choices = self.fields["action_choice"].choices
        if self.data.get("action_choice") not in {value for value, _label in choices}:
            self.data = self.data.copy()
            self.data["action_choice"] = ""

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if cleaned.get("action_title") and not cleaned.get("action_due_on"):
            self.add_error("action_due_on", _("Give the day by which it is to be done."))
        return cleaned

    def new_action(self) -> NewAction | None:
        given = self.cleaned_data
        if not given.get("action_title"):
            return None
        choice = given.get("action_choice") or ""
        return NewAction(
            given["action_title"],
            given["action_due_on"],
            given.get("action_owner"),
            add_to=self.open_actions.get(choice),
            is_another=choice == ANOTHER,
            is_suggested=given["action_title"] == given.get("action_suggested"),
        )


def choices_of(open_actions: Mapping[str, Action]) -> list[tuple[str, str]]:
    """The open actions of a device to add to, and one more beside them; nothing where none is open."""
    if not open_actions:
        return [("", "")]
    rows = [(key, _("add to: %(action)s") % {"action": action_words(row)}) for key, row in open_actions.items()]
    return [*rows, (ANOTHER, _("raise another one beside it"))]


class FindingForm(NewActionForm, ReadingsForm):
    """Readings with what a finding to act on calls for: an action, or why there is none."""

    no_action_reason = forms.CharField(required=False, max_length=300, label=gettext_lazy("Or why no action is needed"))

    def __init__(self, *args: Any, plant: Any, **kwargs: Any) -> None:
        super().__init__(*args, plant=plant, **kwargs)
        self.set_up_action(plant, self.person, self.tasks[0].installation if self.tasks else None)

    def suggest_action(self) -> None:
        """Put the suggested title where the person left it empty, so that one press more is enough.

        A title that was suggested before and that nobody touched follows what is found now, and goes where a reason is
        given instead.
        """
        title = self.data.get("action_title")
        is_untouched = bool(title) and title == self.data.get("action_suggested")
        suggested = "" if self.data.get("no_action_reason", "").strip() else self.suggested_action
        if is_untouched or (suggested and not title):
            self.data = self.data.copy()
            self.data["action_title"] = self.data["action_suggested"] = suggested
            if not self.data.get("action_due_on"):
                self.data["action_due_on"] = self.initial["action_due_on"].isoformat()


class VisitForm(FindingForm):
    visited_at = forms.DateTimeField(label=gettext_lazy("When"))
    lockout_confirmed = forms.BooleanField(
        required=False, label=gettext_lazy("The belt is locked out, tagged and tried, by the site's procedure")
    )
    lockout_at = forms.CharField(required=False, widget=forms.HiddenInput)
    permit_reference = forms.CharField(required=False, max_length=60, label=gettext_lazy("Permit reference"))
    note = forms.CharField(
        required=False, max_length=4000, label=gettext_lazy("Note"), widget=forms.Textarea(attrs={"rows": 3})
    )
    photos = PhotosField(required=False, label=gettext_lazy("Photos from this device"))
    camera = PhotosField(
        required=False,
        label=gettext_lazy("Take a photo"),
        widget=PhotosInput(attrs={"accept": "image/*", "capture": "environment"}),
    )
    kept_photos = forms.ModelMultipleChoiceField(Photo.objects.none(), required=False, widget=forms.MultipleHiddenInput)

    def __init__(self, *args: Any, plant: Any, **kwargs: Any) -> None:
        super().__init__(*args, plant=plant, **kwargs)
        now = timezone.localtime().replace(second=0, microsecond=0)
        self.initial.setdefault("visited_at", now)
        for task in self.tasks:
            if task.pk < 0:  # of the person's own choice: where it cannot be done there is nothing to tell
                continue
            self.fields[f"t{task.pk}-reason"] = forms.ChoiceField(
                choices=[("", "–"), *CouldNotDo.Obstacle.choices], required=False, label=_("Reason")
            )
            self.fields[f"t{task.pk}-remark"] = forms.CharField(required=False, max_length=500, label=_("Note"))
        own = Photo.objects.of_plant(plant).filter(created_by=self.person)
        self.fields["kept_photos"].queryset = own

    def not_done(self) -> dict[int, tuple[str, str]]:
        """Checks that could not be done: reason and note by task."""
        given = {task.pk: (self.cleaned_data.get(f"t{task.pk}-reason"), f"t{task.pk}-remark") for task in self.tasks}
        return {pk: (reason, self.cleaned_data.get(remark, "")) for pk, (reason, remark) in given.items() if reason}

    def lockout_moment(self) -> Any:
        """When the box was ticked, by the page's clock, where that can be true; else now."""
        moment, now = moment_in(self.cleaned_data.get("lockout_at")), timezone.now()
        return moment if moment is not None and now - timedelta(days=2) <= moment <= now else now


class FoundForm(NewActionForm, PersonForm):
    """Corrective work that somebody saw is needed, away from any check."""

    action_title = forms.CharField(max_length=200, label=gettext_lazy("What is to be done"))
    action_due_on = forms.DateField(label=gettext_lazy("Due"))

    def __init__(self, *args: Any, plant: Any, installation: Installation, **kwargs: Any) -> None:
        super().__init__(*args, plant=plant, **kwargs)
        self.set_up_action(plant, self.person, installation)


class CorrectionForm(FindingForm):
    """All readings of a visit, filled in as they stand, and why they are changed."""

    correction_reason = forms.CharField(max_length=300, label=gettext_lazy("Why it is corrected"))
    note = forms.CharField(
        required=False, max_length=4000, label=gettext_lazy("Note"), widget=forms.Textarea(attrs={"rows": 3})
    )


def stored_values(visit: Visit, system: UnitSystem) -> dict[str, Any]:
    """The readings of a visit as they go into the boxes: as typed where a person typed them."""
    values: dict[str, Any] = {}
    for row in visit.readings.current():
        shown = row.answer
        if row.value is not None:
            shown = row.typed or ""
            if not reads_back(shown, row, system):
                shown = input_text(row.value, kind_of(row), system)
        values[reading_key(row.task_id, row.code, row.stage)] = shown
        if row.stage == FOUND and row.quantity == QuantityKind.TORQUE_NM.value:
            values[f"{row.task_id}:method"] = row.method
            values[f"{row.task_id}:instrument"] = row.instrument_id
    return values


def reads_back(text: str, row: Reading, system: UnitSystem) -> bool:
    """Whether this person's units make the same number of the text: another person may have typed it."""
    try:
        return parse_quantity(text, kind_of(row), system, allow_negative=True).value == row.value
    except ValueError:
        return False


def kind_of(row: Reading) -> QuantityKind:
    return QuantityKind(row.quantity)


class NotDoneForm(PersonForm):
    """Why a check could not be done; nothing that anybody is blamed for."""

    client_key = forms.UUIDField(widget=forms.HiddenInput, required=False, initial=uuid.uuid4)
    reason = forms.ChoiceField(label=gettext_lazy("Reason"), choices=CouldNotDo.Obstacle.choices)
    note = forms.CharField(required=False, max_length=500, label=gettext_lazy("Note"))


class SettleForm(forms.Form):
    """What became of an entry that a phone set aside."""

    version = forms.IntegerField(widget=forms.HiddenInput)
    settled_note = forms.CharField(
        label=gettext_lazy("What became of it"),
        max_length=300,
        help_text=gettext_lazy("For example: entered by hand, or not needed and why."),
    )


class WhichCountsForm(forms.Form):
    """Which of two visits that closed the same check counts."""

    version = forms.IntegerField(widget=forms.HiddenInput)
    counts = forms.ChoiceField(
        label=gettext_lazy("Which counts"), choices=TwiceClosed.Counts.choices, widget=forms.RadioSelect
    )
