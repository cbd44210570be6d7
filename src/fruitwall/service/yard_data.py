"""Lists and points in the plain data of a yard file."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from fruitwall.yard.units import KINDS, read_quantity


def listed(data: Mapping[str, Any], name: str) -> list[dict[str, Any]]:
    """Give a list of a yard; empty where it is not there.

    Parameters
    ----------
    data : mapping
        Plain data of a yard file.
    name : str
        Of the list, with a point for one within a group: ``people``, ``gear.covers``.
    """
    inner: Any = data
    for step in name.split("."):
        inner = (inner or {}).get(step)
    return inner or []


def put_list(data: dict[str, Any], name: str, items: list[dict[str, Any]]) -> None:
    """Put a list of a yard in its place.

    Parameters
    ----------
    data : dict
        Plain data of a yard file, which is changed.
    name : str
        As for `listed`.
    items : list of dict
    """
    *outer, last = name.split(".")
    for step in outer:
        if not data.get(step):
            data[step] = {}
        data = data[step]
    data[last] = items


def metres(written: Any) -> float:
    """Read a coordinate as it stands in the file. [m]"""
    return read_quantity(KINDS["length"], written)


def like(old: Any, to: tuple[float, float]) -> list[Any]:
    """Write a point in the units in which the old one was written, to a centimetre."""
    return [_like_one(was, now) for was, now in zip(old, to, strict=True)]


def _like_one(was: Any, now_m: float) -> Any:
    if abs(metres(was) - now_m) < 0.0005:
        return was
    unit = re.search(r"([A-Za-z]+)\s*$", was) if isinstance(was, str) else None
    if unit and unit[1].lower() in ("ft", "foot", "feet"):
        return f"{round(now_m / 0.3048, 2):g} {unit[1]}"
    return round(now_m, 2) + 0.0
