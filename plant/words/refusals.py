"""Refusals that come of a rule: made with the words of their topic, said in the person's units."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from plant.calc.reasons import Reason
from plant.calc.units import UnitSystem
from plant.errors import Refused
from plant.words.reasons import Texts, sentence, sentences


def refused(
    reason: Reason | None, texts: Texts, *, code: str = "", fields: Iterable[str] | Mapping[str, Reason] = ()
) -> Refused:
    """The refusal of an act, to be raised by the service that was asked for it.

    Parameters
    ----------
    reason : Reason or None
        Why it is not done. None: what the fields say, one after the other.
    texts : mapping of str to str
        The topic's table, with a text for each rule named.
    code : str, optional
        How programs know it. Left out: the rule.
    fields : iterable of str, or mapping of str to Reason, optional
        Names of the fields at fault, with a reason of their own where they have one.

    Returns
    -------
    Refused
    """
    reasons = dict(fields) if isinstance(fields, Mapping) else {name: reason for name in fields if reason is not None}
    said = {name: sentence(each, texts, UnitSystem.METRIC) for name, each in reasons.items()}
    words = sentence(reason, texts, UnitSystem.METRIC) if reason is not None else " ".join(dict.fromkeys(said.values()))
    first = reason if reason is not None else next(iter(reasons.values()), None)
    refusal = Refused(words, code=code or (str(first.rule) if first is not None else "refused"), fields=said)
    refusal.reason, refusal.reasons, refusal.texts = reason, reasons, texts
    return refusal


def refusal_words(refusal: Refused, system: UnitSystem, *, tape: bool = False) -> str:
    """Why it was refused, in the person's units; `tape` as in `plant.words.reasons.sentence`."""
    if refusal.reason is not None:
        return sentence(refusal.reason, refusal.texts, system, tape=tape)
    if refusal.reasons:
        return sentences(dict.fromkeys(refusal.reasons.values()), refusal.texts, system, tape=tape)
    return str(refusal.message)


def field_words(refusal: Refused, system: UnitSystem, *, tape: bool = False) -> dict[str, str]:
    """What is wrong with each field, in the person's units."""
    return {
        name: sentence(refusal.reasons[name], refusal.texts, system, tape=tape)
        if name in refusal.reasons
        else str(words)
        for name, words in refusal.fields.items()
    }


__all__ = ["field_words", "refusal_words", "refused"]
