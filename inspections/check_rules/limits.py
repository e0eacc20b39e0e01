"""Readings and answers of a plant's own kind of check, against limits that the plant sets."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from inspections.calc.findings import Finding, OwnField, find_own
from inspections.check_rules.base import CheckRule, found_of
from inspections.check_rules.wanted import SeenAnswer, Values, Wanted
from inspections.models import CheckKind, Reading, ReadingField
from installs.models import Installation


class Limits(CheckRule):
    rule = CheckKind.Rule.LIMITS
    has_own_fields = True

    def wanted(
        self,
        installation: Installation,
        fields: Sequence[ReadingField],
        previous: Mapping[str, Reading],
        stations: Sequence[float] = (),
    ) -> list[Wanted]:
        return [field_wanted(each, previous.get(each.code)) for each in fields]

    def find(self, wanted: Sequence[Wanted], values: Values) -> Finding:
        fields = [OwnField(each.code, str(each.label), each.form, **each.limits) for each in wanted]  # type: ignore[arg-type]
        return find_own(found_of(values), fields)


def field_wanted(each: ReadingField, last: Reading | None) -> Wanted:
    if each.form == ReadingField.Form.NUMBER:
        return Wanted(
            code=each.code,
            label=each.label,
            form="number",
            quantity=each.quantity,
            asks_as_left=each.asks_as_left,
            required=each.is_required,
            limits={
                "watch_low": each.watch_below,
                "watch_high": each.watch_above,
                "act_low": each.act_below,
                "act_high": each.act_above,
                "kind": each.quantity,
            },
            plausible={"quantity": "other", "kind": each.quantity, "previous": last.value if last else None},
            previous=last,
        )
    answers = each.choices or [{"value": "yes", "label": SeenAnswer.YES}, {"value": "no", "label": SeenAnswer.NO}]
    return Wanted(
        code=each.code,
        label=each.label,
        form="choice",
        asks_as_left=each.asks_as_left,
        required=each.is_required,
        options=tuple((str(one["value"]), one.get("label") or str(one["value"])) for one in answers),
        limits={"grades": {str(one["value"]): str(one.get("grade") or "") for one in answers}},
        previous=last,
    )
