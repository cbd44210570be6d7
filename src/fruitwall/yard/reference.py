"""The tables of ``docs/yard-file.md``, made from the model so that they cannot rot.

``python -m fruitwall.yard.reference docs/yard-file.md`` writes them anew; a test fails where they are stale.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

from pydantic import BaseModel
from pydantic_core import PydanticUndefined

from fruitwall.yard.fields import Place, field_of, file_names, item_of, place
from fruitwall.yard.model import Yard
from fruitwall.yard.units import CONTAINER_CLASS_L, KINDS

BEGIN = "<!-- tables: made by python -m fruitwall.yard.reference docs/yard-file.md -->"
END = "<!-- end of tables -->"


def tables() -> str:
    """Give all tables as Markdown: one for each group of fields, in the order of the file, then the units."""
    parts = [_table(path, model) for path, model in _groups(place((), Yard), "")]
    return "\n".join([*parts, _units()])


def _groups(here: Place, path: str) -> Iterator[tuple[str, type[BaseModel]]]:
    """Give every group of fields with the way to it."""
    for model in here.models:
        yield path if len(here.models) == 1 else f"{path} with `kind: {model.model_fields['kind'].default}`", model
        for name in file_names(model):
            field = field_of(Place((), model), model, name)
            if field is None:
                continue
            inner = item_of(field, 0) if _is_list(field) else field
            if inner.models:
                below = f"{path}.{name}" if path else name
                yield from _groups(inner, f"{below}[]" if _is_list(field) else below)


def _is_list(field: Place) -> bool:
    return str(field.type_).startswith("list[")


def _table(path: str, model: type[BaseModel]) -> str:
    """Give the table of one group of fields."""
    heading = (
        f"### `{path}`" if path and " with " not in path else f"### {path.replace('structures[]', '`structures[]`')}"
    )
    lines = [heading if path else "### The file", "", (model.__doc__ or "").strip().split("\n")[0], ""]
    lines += ["| field | meaning | what stands there | if left out |", "| --- | --- | --- | --- |"]
    for name in file_names(model):
        field = field_of(Place((), model), model, name)
        if field is not None and field.info is not None:
            lines.append(f"| `{name}` | {field.info.description} | {_cell(field)} | {_default(field)} |")
    return "\n".join([*lines, ""])


def _cell(field: Place) -> str:
    """Say what may stand in a field."""
    if field.kind:
        text = ", ".join(part for part in (field.kind.noun.rstrip(","), field.bounds) if part)
    elif _is_list(field) and item_of(field, 0).choices:
        text = f"a list of {', '.join(f'`{c}`' for c in item_of(field, 0).choices)}"
    elif field.choices:
        text = ", ".join(f"`{c}`" for c in field.choices)
    elif field.models:
        text = "a group of fields, see below"
    elif _is_list(field) and item_of(field, 0).models:
        text = "a list, see below"
    elif _is_list(field) and item_of(field, 0).is_identifier:
        text = "a list of ids"
    else:
        text = ", ".join(part for part in (field.expectation, field.bounds) if part)
    return text.replace("|", "\\|")


def _default(field: Place) -> str:
    """Say what holds if a field is left out."""
    if field.info is None or field.info.is_required() or _names_the_group(field):
        return "**needed**"
    value = field.info.default
    if value is None or value is PydanticUndefined:
        return "–"
    if isinstance(value, BaseModel) or value == []:
        return "usual values" if isinstance(value, BaseModel) else "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        unit = field.kind.unit if field.kind else ""
        return f"{value:g}{unit if unit == '°' else f' {unit}'.rstrip()}"
    if isinstance(value, list):
        return ", ".join(map(str, value))
    return f"`{value}`"


def _names_the_group(field: Place) -> bool:
    """Whether a field with a single right value says what the group or the file is; the file needs it."""
    return len(field.choices) == 1


def _units() -> str:
    """Give the table of units."""
    lines = ["### Units", "", "| kind | a bare number is in | units that can be written | examples |"]
    lines.append("| --- | --- | --- | --- |")
    for kind in KINDS.values():
        noun = kind.noun.split(" ", 1)[1].rstrip(",")
        units = ", ".join(f"`{s}`" for s in kind.spellings) or "none"
        examples = ", ".join(f"`{e}`" for e in kind.examples)
        lines.append(f"| {noun} | {kind.unit or 'plain'} | {units} | {examples} |")
    classes = ", ".join(f"`#{number}` {litres:g} L" for number, litres in CONTAINER_CLASS_L.items())
    lines += ["", f"Nursery container classes, by their true volume: {classes}.", ""]
    return "\n".join(lines)


def refreshed(page: str) -> str:
    """Give a page with its tables made anew.

    Raises
    ------
    ValueError
        If the page has no marks for the tables.
    """
    before, begin, rest = page.partition(BEGIN)
    _, end, after = rest.partition(END)
    if not begin or not end:
        raise ValueError(f"the page must hold the marks {BEGIN!r} and {END!r}, got neither or one")
    return f"{before}{BEGIN}\n\n{tables()}\n{END}{after}"


if __name__ == "__main__":
    target = Path(sys.argv[1])
    target.write_text(refreshed(target.read_text(encoding="utf-8")), encoding="utf-8")
