"""Typed values of a checklist line: numbers with a unit, or texts; blank is never zero."""

import math
from collections.abc import Mapping
from typing import Any, Final

from daq.procedure.checklist import Ask

Value = float | str
LONGEST: Final = 400


def read_values(
    asks: tuple[Ask, ...],
    values: Mapping[str, Any],
    known: Mapping[str, Value],
    before: Mapping[str, Value],
) -> tuple[dict[str, Value], list[str]]:
    """Every value a line asks for, and a sentence for each that does not do.

    `known`: limits by name; `before`: what the lines above were given.
    """
    given: dict[str, Value] = {}
    faults = []
    for ask in asks:
        value, fault = _one(ask, values.get(ask.key), known, {**before, **given})
        given[ask.key] = value
        faults += [fault] if fault else []
    return given, faults


def _one(
    ask: Ask, value: object, known: Mapping[str, Value], before: Mapping[str, Value]
) -> tuple[Value, str]:
    text = "" if value is None else str(value).strip()[:LONGEST]
    if not text:
        return "", f"{ask.text}: type it, blank is not zero."
    if ask.unit is None:
        return text, _unlike(ask, text, before)
    try:
        number = float(text.replace(",", "."))
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        return "", f"{ask.text}: a number in {ask.unit}, not {text[:20]!r}."
    return number, _outside(ask, number, known) or _unlike(ask, number, before)


def _outside(ask: Ask, number: float, known: Mapping[str, Value]) -> str:
    for limit, sign, word in ((ask.at_least, -1, "under"), (ask.at_most, 1, "over")):
        if limit is None:
            continue
        bound = known.get(limit) if isinstance(limit, str) else limit
        if not isinstance(bound, int | float):
            return f"{ask.text}: the range's rules name no {limit}."
        if (number - bound) * sign > 0:
            return f"{ask.text}: {number:g} {ask.unit} is {word} the limit {bound:g} {ask.unit}."
    return ""


def _unlike(ask: Ask, value: Value, before: Mapping[str, Value]) -> str:
    if ask.equals is None:
        return ""
    names = ask.equals.split(" - ")
    parts = [before.get(name) for name in names]
    if any(part is None or part == "" for part in parts):
        return f"{ask.text}: {ask.equals} is not known yet."
    other = parts[0]
    for part in parts[1:]:
        if not isinstance(other, int | float) or not isinstance(part, int | float):
            return f"{ask.text}: {ask.equals} is no number."
        other = other - part
    if other == value:
        return ""
    told = f"{other:g}" if isinstance(other, int | float) else other
    came = f"{value:g}" if isinstance(value, int | float) else value
    return f"{ask.text}: {came} typed, {told} expected."
