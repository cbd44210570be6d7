"""What pydantic refused, said in plain words."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from pydantic import BaseModel, ValidationError

from fruitwall.speech import say
from fruitwall.yard.fields import Place, file_name, file_names, follow, kinds
from fruitwall.yard.near_names import did_you_mean, near_names
from fruitwall.yard.problems import Problem
from fruitwall.yard.quantities import PLAIN_TEXT
from fruitwall.yard.units import read_quantity, show_input
from fruitwall.yard.yaml_text import glued_hint

_OUT_OF_RANGE = {"greater_than", "greater_than_equal", "less_than", "less_than_equal"}


def problems_of(error: ValidationError, written: Any) -> list[Problem]:
    """Translate a validation error.

    Parameters
    ----------
    error : ValidationError
        Of the model `Yard`.
    written : dict
        What was validated, to quote what the user wrote.

    Returns
    -------
    list of Problem
        In pydantic's order. A missing field for which a misspelled one stands is told once, at the misspelled one.
    """
    found = list(_translated(error, written))
    meant = {(*p.loc[:-1], near) for p, near, _ in found if near}
    return [p for p, near, type_ in found if not (type_ == "missing" and p.loc in meant)]


def _translated(error: ValidationError, written: Any) -> Iterator[tuple[Problem, str, str]]:
    """Give each problem, with the nearest missing name where a field is unknown, and pydantic's name for it."""
    for detail in error.errors(include_url=False, include_context=True):
        here, parent = follow(detail["loc"])
        near = ""
        if detail["type"] == "extra_forbidden" and parent is not None:
            name = str(here.loc[-1])
            message = _unknown_field(name, parent)
            near = next(iter(near_names(name, file_names(parent), 1)), "")
        else:
            message = _message(detail["type"], detail["msg"], here, _at(written, here.loc))
        yield Problem("error", here.loc, message), near, detail["type"]


def _unknown_field(name: str, parent: type[BaseModel]) -> str:
    """Say that a field is unknown, and which there are."""
    for field, info in parent.model_fields.items():
        if field == name:  # the name in code, with its unit, of a field that the file calls otherwise
            return say("unknown field; in the file it is called {name}", name=file_name(field, info))
    known = file_names(parent)
    hint = glued_hint(name) or did_you_mean(name, known) or say("; here can stand: {fields}", fields=", ".join(known))
    return say("unknown field{hint}", hint=hint)


def _message(type_: str, fallback: str, here: Place, value: Any) -> str:
    """Give the plain words for one error."""
    if type_ == PLAIN_TEXT:
        return fallback
    if type_ == "missing":
        return say("is missing; expected {right}", right=here.expectation)
    if type_ in _OUT_OF_RANGE:
        return say("must be {bounds}, got {given}", bounds=here.bounds, given=_with_conversion(here, value))
    if type_ in ("union_tag_invalid", "union_tag_not_found"):
        return _wrong_kind(here, value)
    if type_ == "string_type":
        quoted = say('; put it in quotes: "{value}"', value=str(value)) if isinstance(value, int | float) else ""
        return _expected(here, value, quoted)
    if type_ == "literal_error":
        return _expected(here, value, did_you_mean(str(value), map(str, here.choices)))
    if type_ == "string_too_long":
        return say("is too long: {number} characters; shorten it", number=len(value))
    if type_ == "string_pattern_mismatch" and not here.is_identifier:
        if here.info is not None and here.info.alias is None and here.loc[-1] == "currency":
            return say("expected a three-letter currency code such as USD or EUR, got {given}", given=show_input(value))
        return say("contains a control character, got {given}", given=show_input(value))
    if type_ == "too_short":
        return say("expected {number} or more, got {given}", number=here.least_items, given=show_input(value))
    return _expected(here, value) if here.type_ is not None else fallback


def _expected(here: Place, value: Any, hint: str = "") -> str:
    """Say what is right at a place, what was written, and perhaps a further word."""
    if here.models:
        hint = hint or glued_hint(value)
    return say("expected {right}, got {given}{hint}", right=here.expectation, given=show_input(value), hint=hint)


def _with_conversion(here: Place, value: Any) -> str:
    """Quote a value, and its size in the field's unit if it was written in another."""
    if here.kind is None or not isinstance(value, str):
        return show_input(value)
    return f"{show_input(value)} ({read_quantity(here.kind, value):.6g} {here.kind.unit}".rstrip() + ")"


def _wrong_kind(here: Place, value: Any) -> str:
    """Say that `kind` is missing or not one of the known."""
    known = kinds(here.models)
    if not isinstance(value, dict):
        return _expected(here, value)
    listed = ", ".join(known)
    if "kind" not in value:
        return say("kind is missing; expected kind: one of {kinds}", kinds=listed)
    got = value["kind"]
    hint = did_you_mean(str(got), known)
    return say("kind must be one of {kinds}, got {given}{hint}", kinds=listed, given=show_input(got), hint=hint)


def _at(written: Any, loc: tuple[str | int, ...]) -> Any:
    """Give what was written at a place; None where nothing was."""
    for step in loc:
        try:
            written = written[step]
        except (KeyError, IndexError, TypeError):
            return None
    return written
