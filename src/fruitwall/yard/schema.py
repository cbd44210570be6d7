"""The JSON Schema of the yard file, for editors and other programs.

It describes the file as it is written: names without unit, quantities as a number or a text with a unit. What needs
two places at once (`yard.checks`) or a converted unit (the range of a text) is beyond a schema; `fruitwall yard check`
tells it.
"""

from __future__ import annotations

from typing import Any

from fruitwall.yard.model import Yard
from fruitwall.yard.units import KINDS

DIALECT = "https://json-schema.org/draft/2020-12/schema"

_BOUNDS = {"ge": "minimum", "gt": "exclusiveMinimum", "le": "maximum", "lt": "exclusiveMaximum"}


def yard_json_schema() -> dict[str, Any]:
    """Give the JSON Schema (draft 2020-12) of the yard file.

    Returns
    -------
    dict
        Texts with a unit are described once per kind of quantity, under ``$defs``.
    """
    schema = _tidied(Yard.model_json_schema(by_alias=True, mode="validation"))
    for definition in schema["$defs"].values():
        if "const" in definition.get("properties", {}).get(
            "kind", {}
        ):  # the model knows its kind, the file must say it
            definition["required"] = ["kind", *definition["required"]]
    schema["$defs"] = {**schema["$defs"], **_texts()}
    schema["required"] = ["fruitwall", *schema["required"]]
    return {
        "$schema": DIALECT,
        "title": "Yard file of fruitwall, version 1",
        **{key: value for key, value in schema.items() if key != "title"},
    }


def _texts() -> dict[str, Any]:
    """Describe texts with a unit, one definition for each kind."""
    return {
        f"text_{kind.key}": {
            "type": "string",
            "pattern": kind.pattern,
            "description": f"{kind.noun.capitalize()} with a unit: {', '.join(kind.spellings)} (upper or lower case)",
            "examples": list(kind.examples),
        }
        for kind in KINDS.values()
        if kind.spellings
    }


def _tidied(node: Any) -> Any:
    """Name bounds as JSON Schema does, put them on the number, point to texts with units, drop made-up titles."""
    if isinstance(node, list):
        return [_tidied(item) for item in node]
    if not isinstance(node, dict):
        return node
    if node.get("type") == "string":
        for kind in KINDS.values():
            if kind.spellings and node.get("pattern") == kind.pattern:
                return {"$ref": f"#/$defs/text_{kind.key}"}
    tidy = {}
    for key, value in node.items():
        if key in _BOUNDS and not isinstance(value, dict):
            continue
        if key == "title" and isinstance(value, str):
            continue
        tidy[key] = _tidied(value)
    bounds = {_BOUNDS[key]: value for key, value in node.items() if key in _BOUNDS and not isinstance(value, dict)}
    if bounds:
        number = next((part for part in tidy.get("anyOf", []) if part.get("type") == "number"), tidy)
        number.update(bounds)
    return tidy
