"""Yards made by hypothesis: every field of the model, texts and numbers of all sorts, parts that fit together."""

from __future__ import annotations

from datetime import date
from typing import Any, get_origin

import annotated_types
from hypothesis import strategies as st
from hypothesis.strategies import SearchStrategy
from pydantic import BaseModel

from fruitwall.yard.fields import Place, field_of, file_names, item_of, place
from fruitwall.yard.model import Yard

TEXT = st.text(st.characters(exclude_categories=("Cs", "Cc")), min_size=1, max_size=20).filter(
    str.strip
) | st.sampled_from(
    [
        "no",
        "12",
        "1e3",
        "~",
        "null",
        "2019-03-15",
        "a: b",
        "# not a comment",
        "'",
        '"',
        "- x",
        "[1]",
        "{a}",
        "*a",
        "&a",
        "!t",
    ]
)
NOTES = st.text(st.characters(exclude_categories=("Cs", "Cc"), include_characters="\n\t"), max_size=60)
INSIDE = st.tuples(st.floats(1, 99), st.floats(1, 99)).map(list)


@st.composite
def rectangles(draw: st.DrawFn) -> list[list[float]]:
    """Give an outline that stays clear of the trees."""
    x, y = draw(st.floats(200, 300)), draw(st.floats(200, 300))
    w, h = draw(st.floats(1, 50)), draw(st.floats(1, 50))
    return [[x, y], [x + w, y], [x + w, y + h], [x, y + h]]


BY_NAME: dict[str, SearchStrategy[Any]] = {
    "id": st.just("x"),  # numbered afterwards
    "outline": rectangles(),
    "line": st.lists(st.tuples(st.floats(200, 300), st.floats(200, 300)).map(list), min_size=2, max_size=4),
    "position": INSIDE,
    "outlet": INSIDE,
    "gear_store": INSIDE,
    "tap": INSIDE,
    "time_zone": st.sampled_from(["America/Los_Angeles", "Europe/Berlin", "UTC", "Asia/Kathmandu"]),
    "currency": st.sampled_from(["USD", "EUR"]),
    "crown_base": st.just(0.0),
    "base": st.just(0.0),
    "width": st.just(50.0),  # over the largest crown
    "notes": NOTES,
    "hurt": st.integers(0, 7),
    "between": st.lists(st.floats(-60, 30), min_size=2, max_size=2),
    "shelters": st.just([]),  # they need trees: made afterwards
}


def values(here: Place) -> SearchStrategy[Any]:
    """Give a strategy for what may stand at a place."""
    if here.info is not None and here.loc[-1] in BY_NAME:
        return BY_NAME[str(here.loc[-1])]
    if here.choices:
        return st.sampled_from(here.choices)
    if here.models:
        return st.one_of([groups(model) for model in here.models])
    if get_origin(here.type_) is list:
        most = next((m.max_length for m in here.metadata if isinstance(m, annotated_types.MaxLen)), 3)
        return st.lists(values(item_of(here, 0)), min_size=here.least_items, max_size=min(3, most))
    simple = {str: TEXT, bool: st.booleans(), int: st.integers(1, 100), date: st.dates(date(1800, 1, 1)).map(str)}
    return simple[here.type_] if here.type_ in simple else numbers(here)


def numbers(here: Place) -> SearchStrategy[float]:
    """Give floats in the allowed range, its ends included where they are allowed."""
    bounds: dict[str, Any] = {}
    for m in here.metadata:
        if isinstance(m, annotated_types.Gt):
            bounds |= {"min_value": m.gt, "exclude_min": True}
        elif isinstance(m, annotated_types.Ge):
            bounds |= {"min_value": m.ge}
        elif isinstance(m, annotated_types.Lt):
            bounds |= {"max_value": m.lt, "exclude_max": True}
        elif isinstance(m, annotated_types.Le):
            bounds |= {"max_value": m.le}
    return st.floats(**bounds)


@st.composite
def groups(draw: st.DrawFn, model: type[BaseModel]) -> dict[str, Any]:
    """Give one group of fields, some of those that may be left out left out."""
    data = {}
    for name, info in file_names(model).items():
        field = field_of(Place((), model), model, name)
        assert field is not None
        if info.is_required() or name in ("kind", "fruitwall", "crown_base", "base") or draw(st.booleans()):
            data[name] = draw(values(field))
    return data


@st.composite
def yards(draw: st.DrawFn) -> Yard:
    """Give a yard that passes all checks."""
    data = draw(values(place((), Yard)))
    data["outline"] = [[0, 0], [100, 0], [100, 100], [0, 100]]
    gear = data.get("gear", {})
    things = [data["trees"], *gear.values()]
    things += [data.get(name, []) for name in ("structures", "circuits", "indoor_places", "sensors", "people", "kinds")]
    for number, thing in enumerate(thing for group in things for thing in group):
        thing["id"] = f"t{number}"
    for number, sensor in enumerate(data.get("sensors", [])):
        sensor |= {"name": f"Thermometer {number}", "station": False}
        sensor.pop("position" if draw(st.booleans()) else "tree", None)
        if "position" not in sensor:
            sensor["tree"] = data["trees"][0]["id"]
    for cover in gear.get("covers", []):
        cover["length"] = 50.0
    if draw(st.booleans()):
        frame = draw(groups(next(iter(item_of(field_of(place((), Yard), Yard, "shelters"), 0).models))))
        x, y = data["trees"][0]["position"]
        around = [[x - 1, y - 1], [x + 1, y - 1], [x + 1, y + 1], [x - 1, y + 1]]  # larger ones are refused
        data["shelters"] = [frame | {"id": "frame", "outline": around, "trees": [data["trees"][0]["id"]]}]
    return Yard.model_validate(data, by_alias=True, by_name=False)
