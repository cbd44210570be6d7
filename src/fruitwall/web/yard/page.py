"""The page of the plan, worked out before its template."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from fruitwall.service.house import House
from fruitwall.service.household import Household, author_words, decimal, long_day
from fruitwall.service.yard_edit import GEAR, OUTLINE, Steps, yard_steps
from fruitwall.service.yard_form import Field, form_of, kind_of, kinds_to_add, number_text, part_of
from fruitwall.service.yard_layers import LAYERS, Layer, layer_of
from fruitwall.service.yard_underlay import Underlay, underlay_of
from fruitwall.service.yard_words import FIELD_WORDS, KIND_WORDS
from fruitwall.speech import say
from fruitwall.web.editing import SEEN_AFTER, Asked, Conflict, said_words, warning_words
from fruitwall.web.reader import household_of
from fruitwall.web.who import Who
from fruitwall.web.yard.plan import Plan, plan_of
from fruitwall.web.yard.values import layer_words, legend_of, value_text
from fruitwall.yard.display import format_quantity, unit_symbol
from fruitwall.yard.model import Display, Yard


@dataclass(frozen=True)
class LayerPage:
    """A layer with its words."""

    name: str
    words: str
    told: str
    day: str
    legend: list[tuple[str, str]]
    rows: list[tuple[str, str, str]]
    """Number, name and value of each tree."""


@dataclass(frozen=True)
class Snap:
    """How far a key moves what is picked, in round steps of the reader's unit [m], and the same in words."""

    small_m: float
    large_m: float
    small: str
    large: str


def snap_of(display: Display) -> Snap:
    """Give the steps: a quarter foot and 3 ft, or 0.1 m and 1 m."""
    small_m, large_m = (0.0762, 0.9144) if display.length == "ft" else (0.1, 1.0)
    small, large = (
        decimal(format_quantity(one, "length", display, digits=digits))
        for one, digits in ((small_m, 2 if display.length == "ft" else 1), (large_m, 0))
    )
    return Snap(small_m, large_m, small, large)


@dataclass(frozen=True)
class YardPage:
    """All that the page shows."""

    name: str
    base: int
    steps: Steps
    plan: Plan
    may_edit: bool
    snap: Snap
    asked: Asked
    kinds: list[tuple[str, str]]
    layers: list[tuple[str, str]]
    layer: LayerPage | None = None
    thing: str = ""
    title: str = ""
    kind: str = ""
    kind_words: str = ""
    form: list[Field] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)
    said: str = ""
    warnings: list[str] = field(default_factory=list)
    asks: str = ""
    """What removing it means, where it was asked for."""
    conflict: Conflict | None = None
    underlay: Underlay | None = None


def yard_page(house: House, asked: Asked, asking: Who, **more: Any) -> YardPage:
    """Work out the page.

    Parameters
    ----------
    house : House
    asked : Asked
    asking : Who
    **more
        Fields of `YardPage` that are known already, such as a form with errors.

    Returns
    -------
    YardPage
    """
    yard, version = house.yard()
    household = household_of(yard, asking)
    display = household.display
    layer = layer_of(house, asked.layer, now=house.clock()) if asked.layer else None
    underlay = underlay_of(house)
    pick = asked.pick if asked.pick in (OUTLINE, GEAR) or (asked.pick and kind_of(asked.pick, yard)) else None
    plan = plan_of(yard, household, picked=pick, layer=layer, underlay=underlay)
    shown: dict[str, Any] = {}
    if pick is not None:
        shown = _thing(pick, yard, display)
    elif asked.add in dict(kinds_to_add()):
        shown = {
            "kind": asked.add,
            "kind_words": say(KIND_WORDS[asked.add or ""]),
            "form": form_of(asked.add or "", yard, display),
        }
    warnings = []
    if pick is not None and asked.said in SEEN_AFTER:
        warnings = warning_words(house, version, pick, household)
    if asked.layer == "margin" and layer is None:
        warnings.append(say("No night was planned yet: there is no margin to show."))
    shown["warnings"] = warnings
    return YardPage(
        **{
            "name": yard.name,
            "base": version.number,
            "steps": yard_steps(house),
            "plan": plan,
            "may_edit": asking.may("owner"),
            "snap": snap_of(display),
            "asked": asked,
            "kinds": kinds_to_add(),
            "layers": [(name, layer_words(name)[0]) for name in LAYERS],
            "layer": _layer(layer, yard, household) if layer is not None else None,
            "said": said_words(asked.said),
            "underlay": underlay,
            **shown,
            **more,
        }
    )


def _thing(pick: str, yard: Yard, display: Display) -> dict[str, Any]:
    """Give the form of what is picked."""
    kind = kind_of(pick, yard)
    if kind is None:
        return {"thing": pick, "kind": pick, "title": say(KIND_WORDS[pick]), "form": place_form(pick, yard, display)}
    part = part_of(pick, yard)
    words = say(KIND_WORDS[kind])
    title = str(getattr(part, "name", words))
    form = form_of(kind, yard, display, part)
    return {"thing": pick, "kind": kind, "kind_words": words if words != title else "", "title": title, "form": form}


def place_form(thing: str, yard: Yard, display: Display) -> list[Field]:
    """Give the form of the boundary or of the place of the gear."""
    corners = yard.outline if thing == OUTLINE else [yard.gear_store]
    texts = tuple(number_text(one, "length", display) for at in corners for one in at)
    unit = unit_symbol("length", display)
    if thing == GEAR:
        return [Field("position", say(FIELD_WORDS["position"]), "point", texts=texts, unit=unit, needed=True)]
    texts = (*texts, "", "")
    return [Field("outline", say(FIELD_WORDS["outline"]), "points", texts=texts, unit=unit, needed=True, least=3)]


def _layer(layer: Layer, yard: Yard, household: Household) -> LayerPage:
    words, told = layer_words(layer.name)
    rows = [
        (str(number), tree.name, value_text(layer.name, layer.trees[tree.id], household))
        for number, tree in enumerate(yard.trees, start=1)
        if tree.id in layer.trees
    ]
    day = long_day(layer.day) if layer.day is not None else ""
    return LayerPage(layer.name, words, told, day, legend_of(layer), rows)


@dataclass(frozen=True)
class VersionLine:
    """One version in the history."""

    number: int
    when: str
    author: str
    restores: int | None


@dataclass(frozen=True)
class HistoryPage:
    """The versions of the yard, newest first."""

    base: int
    lines: list[VersionLine]
    older: int
    """How many more there are."""
    may_edit: bool


MOST_LINES = 100


def history_page(house: House, asking: Who) -> HistoryPage:
    """Work out the page of all versions."""
    yard, version = house.yard()
    household = household_of(yard, asking)
    steps = house.journal.yard_steps(house.yard_name)[::-1]
    lines = [
        VersionLine(one.number, household.moment(one.created), author_words(one.author), one.restores)
        for one in steps[:MOST_LINES]
    ]
    return HistoryPage(version.number, lines, max(len(steps) - MOST_LINES, 0), asking.may("owner"))
