"""Form fields that take what people type: 43 1/4, 2-5/8 in, 38 mm, 75 lbf·ft."""

from __future__ import annotations

from typing import Any

from django import forms
from django.urls import reverse_lazy
from django.utils.text import format_lazy

from plant.calc.box_texts import box_text
from plant.calc.reasons import NotAccepted
from plant.calc.typed_quantities import Unclear, parse_quantity
from plant.calc.units import QuantityKind, UnitSystem, format_quantity, to_sixteenths, unit_label
from plant.words.limits import TEXTS as LIMIT_TEXTS
from plant.words.limits import limit_reason
from plant.words.reasons import sentence
from plant.words.typing import why_not_read


class QuantityField(forms.CharField):
    """Text in, a number in the SI unit of its kind out; shows the value in the person's units."""

    def __init__(
        self,
        *,
        kind: QuantityKind,
        system: UnitSystem = UnitSystem.METRIC,
        validators: Any = (),
        allow_negative: bool = False,
        **kwargs: Any,
    ) -> None:
        super().__init__(**kwargs)
        self.kind, self.system, self.allow_negative = kind, system, allow_negative
        self.number_validators = list(validators)
        # Read on a tape: inches stand in the box as on the tape, to the nearest 1/16. Only for a form that keeps the
        # stored number where nobody touched the box (RecordForm).
        self.is_taped = False
        # A place that people know by a round number: as many decimals as a sentence has, on the same condition.
        self.is_place = False

    def use_units(self, system: UnitSystem) -> None:
        self.system = system

    def prepare_value(self, value: Any) -> Any:
        if isinstance(value, int | float) and not isinstance(value, bool):
            # Rounded in US units; what nobody touched keeps the stored number (RecordForm).
            if self.is_taped and self.system == UnitSystem.US and self.kind is QuantityKind.LENGTH_MM:
                return to_sixteenths(float(value))
            if self.is_place and self.system == UnitSystem.US:
                return format_quantity(float(value), self.kind, self.system, with_unit=False)
            return box_text(float(value), self.kind, self.system)
        return value

    def clean(self, value: Any) -> float | None:
        if isinstance(value, int | float):
            number = float(value)
        else:
            text = super().clean(value)
            if text in self.empty_values:
                return None
            try:
                number = parse_quantity(text, self.kind, self.system, allow_negative=self.allow_negative).value
            except NotAccepted as problem:
                raise forms.ValidationError(why_not_read(problem)) from problem
        for validator in self.number_validators:
            try:
                validator(number)
            except forms.ValidationError as error:
                reason = limit_reason(error, self.kind)
                if reason is None:
                    raise
                raise forms.ValidationError(sentence(reason, LIMIT_TEXTS, self.system), code=error.code) from error
        return number

    def has_changed(self, initial: Any, data: Any) -> bool:
        return (self.prepare_value(initial) or "") != (data or "")

    def get_bound_field(self, form: Any, field_name: str) -> Any:
        # The echo below the input says what was understood, in the unit that is stored.
        name = form.add_prefix(field_name)
        address = "{}?kind={}&field={}" + ("&negative=1" if self.allow_negative else "")
        is_unclear = form.is_bound and self.is_unclear(form.data.get(name))
        self.widget.attrs.update(
            {
                "inputmode": "decimal" if self.system == UnitSystem.METRIC else "text",
                "autocomplete": "off",
                "hx-get": format_lazy(address, reverse_lazy("understood"), self.kind.value, name),
                # A text that was sent and may mean several things is asked about at once.
                "hx-trigger": "load, input changed delay:150ms" if is_unclear else "input changed delay:150ms",
                "hx-target": f"#echo_{name}",
            }
        )
        return super().get_bound_field(form, field_name)

    def is_unclear(self, text: Any) -> bool:
        try:
            parse_quantity(str(text or ""), self.kind, self.system, allow_negative=self.allow_negative)
        except Unclear:
            return True
        except NotAccepted:
            pass
        return False

    @property
    def unit(self) -> str:
        return unit_label(self.kind, self.system)
