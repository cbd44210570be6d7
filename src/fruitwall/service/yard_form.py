"""Things of the yard as forms: what stands in each field, in the units of whoever reads, and what was entered.

Only fields whose text was changed are written to the file, so that a number entered as 6 ft stays 6 ft although the
form shows it otherwise.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any, get_origin

from pydantic import BaseModel

from fruitwall.service.yard_edit import GROUPS, LISTS
from fruitwall.service.yard_words import FIELD_WORDS, KIND_WORDS, choice_words, help_words
from fruitwall.speech import language, say
from fruitwall.yard.display import in_household_unit, unit_symbol
from fruitwall.yard.fields import Place, field_of, file_names, item_of, place
from fruitwall.yard.model import (
    Building,
    Canopy,
    Circuit,
    Cover,
    Display,
    Fence,
    Ground,
    Heater,
    Hollow,
    IndoorPlace,
    LampString,
    Lead,
    Location,
    Paving,
    Person,
    Pond,
    Prices,
    Roof,
    Shelter,
    Tree,
    Trolley,
    Wall,
    Yard,
)
from fruitwall.yard.shading import Paint, ShadeCloth
from fruitwall.yard.units import KINDS, NUMBER, read_quantity
from fruitwall.yard.watering import Water

MODELS: dict[str, type[BaseModel]] = {
    "tree": Tree,
    "wall": Wall,
    "fence": Fence,
    "building": Building,
    "roof": Roof,
    "paving": Paving,
    "canopy": Canopy,
    "pond": Pond,
    "hollow": Hollow,
    "shelter": Shelter,
    "circuit": Circuit,
    "indoor_place": IndoorPlace,
    "cover": Cover,
    "lamp": LampString,
    "heater": Heater,
    "lead": Lead,
    "trolley": Trolley,
    "shade": ShadeCloth,
    "paint": Paint,
    "person": Person,
    "@prices": Prices,
    "@location": Location,
    "@ground": Ground,
    "@water": Water,
    "@display": Display,
}
"""Everything of which there are forms: what can be added, in the order in which it is offered, and single groups."""

MOVABLE = ("cover", "lamp", "heater", "lead", "trolley", "shade", "paint", "person")
"""What has no place of its own on the plan."""

NEEDED_OF_GROUP = {"container": "volume", "emitter": "flow"}
"""Groups that a thing may have, and the field without which it has none."""

GALLON_FLOWS = {"drip": "gph", "flow": "gpm"}
"""Kinds of flows, and their units for who reads in gallons; as `yard.units` reads them."""

SPARE_CORNERS = 1
"""Empty rows behind the corners of a shape, to add one without a script."""
NEW_CORNERS = {"line": 4, "outline": 6}
"""Rows for the corners of a new shape."""
MOST_CORNERS = 60

Posted = Mapping[str, Sequence[str]]


@dataclass(frozen=True)
class Field:
    """One field of a form.

    Attributes
    ----------
    name : str
        In the form, such as ``height`` or ``container.volume``.
    words : str
        What it is called.
    input : str
        ``number``, ``text``, ``notes``, ``choice``, ``several``, ``yes``, ``day``, ``point`` or ``points``.
    text : str
        What stands in it; for ``yes`` "yes" or nothing.
    texts : tuple of str
        For ``several`` the chosen ones, for ``point`` and ``points`` east and north of each corner in turn.
    unit : str
        Shown behind it; empty for none.
    choices : tuple of (str, str)
        Value and words.
    told : str
        A further word on it.
    needed : bool
        Whether it must be filled in.
    least : int
        How many corners a shape has at least.
    error : str
        What was wrong with what was entered.
    near : tuple of str
        What could be entered, to choose from while typing.
    """

    name: str
    words: str
    input: str
    text: str = ""
    texts: tuple[str, ...] = ()
    unit: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    told: str = ""
    needed: bool = False
    least: int = 1
    error: str = ""
    near: tuple[str, ...] = ()

    @property
    def corners(self) -> list[tuple[int, str, str]]:
        """Number, east and north of each corner."""
        return [(at // 2, self.texts[at], self.texts[at + 1]) for at in range(0, len(self.texts), 2)]


def kind_of(thing: str, yard: Yard) -> str | None:
    """Give of which kind a thing of the yard is; None if there is no such thing."""
    if thing in GROUPS:
        return thing
    for kind, listed in _parts(yard).items():
        for one in listed:
            if getattr(one, "id", None) == thing:
                return kind or str(getattr(one, "kind", ""))
    return None


def part_of(thing: str, yard: Yard) -> BaseModel | None:
    """Give a thing of the yard; None if there is no such thing."""
    if thing in GROUPS:
        part: BaseModel = getattr(yard, GROUPS[thing])
        return part
    return next((one for listed in _parts(yard).values() for one in listed if getattr(one, "id", None) == thing), None)


def parts_of(kind: str, yard: Yard) -> list[BaseModel]:
    """Give everything of a kind that is neither tree nor structure; of a single group the one there is."""
    if kind in GROUPS:
        return [getattr(yard, GROUPS[kind])]
    return list(_parts(yard)[kind])


def _parts(yard: Yard) -> dict[str, Sequence[BaseModel]]:
    """Give everything that has an id by its kind; structures, which name their kind themselves, under an empty one."""
    gear = yard.gear
    return {
        "tree": yard.trees,
        "": yard.structures,
        "shelter": yard.shelters,
        "circuit": yard.circuits,
        "indoor_place": yard.indoor_places,
        "cover": gear.covers,
        "lamp": gear.lamps,
        "heater": gear.heaters,
        "lead": gear.leads,
        "trolley": gear.trolleys,
        "shade": gear.shades,
        "paint": gear.paints,
        "person": yard.people,
    }


def form_of(kind: str, yard: Yard, display: Display, part: BaseModel | None = None) -> list[Field]:
    """Give the form of a thing, or of a new one of a kind.

    Parameters
    ----------
    kind : str
        One of `MODELS`.
    yard : Yard
        For what can be chosen, such as the trees in a shelter.
    display : Display
        Units of whoever reads.
    part : BaseModel, optional
        The thing; left out for a new one.

    Returns
    -------
    list of Field
    """
    return [
        replace(made, told=help_words(kind, made.name))
        for here, value in _places(place((), MODELS[kind]), part)
        for made in _fields(here, value, yard, display, new=part is None)
    ]


def _places(here: Place, part: BaseModel | None) -> list[tuple[Place, Any]]:
    """Give the fields of a model that can be edited, with what stands in them."""
    model = here.models[0]
    found = []
    for name, info in file_names(model).items():
        inner = field_of(here, model, name)
        # A structure is of one kind for good; lamps may turn out to be of another.
        if inner is None or name == "id" or (name == "kind" and len(inner.choices) == 1):
            continue
        attribute = next(key for key, one in model.model_fields.items() if one is info)
        value = getattr(part, attribute) if part is not None else _default(info)
        if inner.models and len(inner.models) == 1:
            found += _places(inner, value if isinstance(value, BaseModel) else None)
        else:
            found.append((inner, value))
    return found


def _default(info: Any) -> Any:
    return None if info.is_required() else info.get_default(call_default_factory=True)


def _fields(here: Place, value: Any, yard: Yard, display: Display, *, new: bool) -> list[Field]:
    """Give the form field of a place; none for what a form cannot hold."""
    name = ".".join(str(step) for step in here.loc)
    words = say(FIELD_WORDS.get(name, str(here.loc[-1]).replace("_", " ").capitalize()))
    needed = here.info is not None and here.info.is_required() and "." not in name
    field = Field(name, words, "text", needed=needed)
    origin = get_origin(here.type_)
    if here.kind is not None:
        unit = _unit(here.kind.key, display)
        text = "" if value is None else number_text(value, here.kind.key, display)
        return [replace(field, input="number", text=text, unit=unit)]
    if here.choices:
        choices = tuple((str(one), choice_words(str(one), name)) for one in here.choices)
        if value is None:
            choices = (("", say("no pot") if name == "container.material" else "–"), *choices)
        return [replace(field, input="choice", text=str(value or ""), choices=choices)]
    if here.type_ is bool:
        return [replace(field, input="yes", text="yes" if value else "")]
    if here.type_ is int:
        return [replace(field, input="number", text="" if value is None else str(value))]
    if here.type_ is date:
        return [replace(field, input="day", text=value.isoformat() if value else "")]
    if origin is tuple:
        texts = tuple(number_text(one, "length", display) for one in value) if value else ("", "")
        return [replace(field, input="point", texts=texts, unit=unit_symbol("length", display))]
    if origin is list:
        return [_listed(field, here, value, yard, display, new=new)]
    if name == "taxon":
        return [replace(field, text=value or "", near=_kinds(yard))]
    many = any(getattr(one, "max_length", 0) >= 5000 for one in here.metadata)
    return [replace(field, input="notes" if many else "text", text=value or "")]


def _kinds(yard: Yard) -> tuple[str, ...]:
    """Give the names of all kinds that are known, in the language of whoever reads."""
    from fruitwall.service.own_kinds import catalogue_of

    spanish = language() == "es"
    taxa = catalogue_of(yard).taxa
    return tuple(sorted({one.spanish[0] if spanish and one.spanish else one.name for one in taxa}, key=str.casefold))


def _listed(field: Field, here: Place, value: Any, yard: Yard, display: Display, *, new: bool) -> Field:
    """Give the field of a list: corners of a shape, or words of which several hold."""
    item = item_of(here, 0)
    if get_origin(item.type_) is tuple:
        corners = [number_text(one, "length", display) for corner in value or () for one in corner]
        rows = NEW_CORNERS[field.name] if new else SPARE_CORNERS
        texts = (*corners, *("", "") * rows)
        return replace(field, input="points", texts=texts, unit=unit_symbol("length", display), least=here.least_items)
    if item.choices:
        choices = tuple((str(one), choice_words(str(one))) for one in item.choices)
    else:
        choices = tuple((tree.id, tree.name) for tree in yard.trees)
    return replace(field, input="several", texts=tuple(value or ()), choices=choices)


def _unit(kind: str, display: Display) -> str:
    if kind in ("temperature", "difference", "length", "mass", "volume"):
        if kind == "difference" and display.temperature == "C":
            return "K"
        return unit_symbol(kind, display)  # type: ignore[arg-type]
    if kind == "age":
        return say("years")
    if kind in GALLON_FLOWS and display.volume == "gal":
        return GALLON_FLOWS[kind]
    return display.currency if kind == "money" else KINDS[kind].unit


def number_text(value: float, kind: str, display: Display) -> str:
    """Write a quantity as it stands in a field: at most two decimals, three of a coordinate and a share.

    Parameters
    ----------
    value : float
        In the unit of its kind, as `yard.units.KINDS` has it.
    kind : str
        Key of `yard.units.KINDS`.
    display : Display
        Units of whoever reads.
    """
    if kind in ("temperature", "difference", "length", "mass", "volume"):
        value = in_household_unit(value, kind, display)  # type: ignore[arg-type]
    if kind in GALLON_FLOWS:
        value = in_household_unit(value, "volume", display)
    text = f"{value:.{3 if kind in ('share', 'coordinate', 'area') else 2}f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


# ---------------------------------------------------------------- what was entered


@dataclass(frozen=True)
class Entered:
    """What a form brought.

    Attributes
    ----------
    fields : dict
        What changed, as it is to stand in the file; None for what is to be taken out.
    form : list of Field
        With what was entered, and what is wrong with it.
    """

    fields: dict[str, Any]
    form: list[Field]

    @property
    def wrong(self) -> bool:
        """Whether something cannot be read."""
        return any(field.error for field in self.form)


def read_form(kind: str, shown: list[Field], posted: Posted, display: Display, written: Mapping[str, Any]) -> Entered:
    """Read what was entered into a form.

    Parameters
    ----------
    kind : str
        One of `MODELS`.
    shown : list of Field
        The form as it was.
    posted : mapping
        Every value of each name.
    display : Display
        Units in which numbers without a unit are taken.
    written : mapping
        The thing as it stands in the file; empty for a new one.

    Returns
    -------
    Entered
    """
    fields: dict[str, Any] = {}
    form = []
    new = not written
    for field in shown:
        here = _at(kind, field.name)
        entered = _entered(field, posted)
        if not new and (entered.text, _trimmed(entered)) == (field.text, _trimmed(field)):
            form.append(entered)
            continue
        if new and (entered.text, _trimmed(entered)) == (field.text, _trimmed(field)) and not field.needed:
            form.append(entered)
            continue
        try:
            value = _written(entered, field, here, display)
        except ValueError as problem:
            form.append(replace(entered, error=str(problem)))
            continue
        form.append(entered)
        _put(fields, field.name, value, written)
    return Entered(_without_empty_groups(fields), form)


def with_errors(form: list[Field], problems: list[tuple[str, str]]) -> tuple[list[Field], list[str]]:
    """Put what is wrong with an edit beside its fields; what belongs to none is given back."""
    names = {field.name for field in form}
    by_field = dict(reversed([(name, message) for name, message in problems if name in names]))
    return (
        [replace(field, error=by_field.get(field.name, field.error)) for field in form],
        [message for name, message in problems if name not in names],
    )


def _at(kind: str, name: str) -> Place:
    here = place((), MODELS[kind])
    for step in name.split("."):
        inner = field_of(here, here.models[0], step)
        if inner is None:
            raise KeyError(name)
        here = inner
    return here


def _trimmed(field: Field) -> tuple[str, ...]:
    """Give the texts of a field without the empty rows behind its corners; chosen words in one order."""
    if field.input == "several":
        return tuple(sorted(field.texts))
    texts = list(field.texts)
    while texts and not texts[-1]:
        texts.pop()
    return tuple(texts)


def _entered(field: Field, posted: Posted) -> Field:
    """Give a field with what was entered; what the form did not bring stays as it was."""
    if field.input in ("point", "points"):
        texts = []
        rows = max(len(field.texts) // 2, sum(key.startswith(f"{field.name}.") for key in posted) // 2)
        if f"{field.name}.0.x" not in posted:
            return field
        for at in range(min(rows, MOST_CORNERS)):
            texts += [posted.get(f"{field.name}.{at}.{axis}", [""])[0].strip() for axis in "xy"]
        return replace(field, texts=tuple(texts))
    if field.input == "several":
        return replace(field, texts=tuple(posted.get(field.name, ()))) if f"{field.name}:" in posted else field
    if field.input == "yes":
        return replace(field, text="yes" if posted.get(field.name) else "") if f"{field.name}:" in posted else field
    if field.name not in posted:
        return field
    return replace(field, text=posted[field.name][0].replace("\r\n", "\n").strip())


def _written(entered: Field, shown: Field, here: Place, display: Display) -> Any:
    """Give what was entered as it is to stand in the file; ValueError says what is wrong with it."""
    if entered.input in ("point", "points"):
        return _corners(entered, shown, display)
    if entered.input == "several":
        return list(entered.texts)
    if entered.input == "yes":
        return bool(entered.text)
    if not entered.text:
        if entered.needed:
            raise ValueError(say("This is needed."))
        return None
    if here.kind is not None:
        return _quantity(entered.text, here.kind.key, display)
    if here.type_ is int:
        if not re.fullmatch(r"[+-]?[0-9]{1,9}", entered.text):
            raise ValueError(say("Give a whole number."))
        return int(entered.text)
    return entered.text


def _quantity(text: str, key: str, display: Display) -> Any:
    """Read a number; one without a unit is in the units of the household, and stands so in the file."""
    text = re.sub(r"(?<=[0-9]),(?=[0-9]{1,2}(?![0-9,]))", ".", text).replace("\N{MINUS SIGN}", "-")
    try:
        read_quantity(KINDS[key], text)
    except ValueError as problem:
        raise ValueError(say("This cannot be read as a number.")) from problem
    if not re.fullmatch(NUMBER, text):
        return text
    number = float(text)
    unit = {
        "length": "ft" if display.length == "ft" else "",
        "mass": "lb" if display.mass == "lb" else "",
        "volume": "gal" if display.volume == "gal" else "",
        "temperature": "F" if display.temperature == "F" else "",
        "difference": "F" if display.temperature == "F" else "",
        **(GALLON_FLOWS if display.volume == "gal" else {}),
    }.get(key, "")
    return f"{number:g} {unit}" if unit else number


def _corners(entered: Field, shown: Field, display: Display) -> Any:
    """Read corners; those that are unchanged are given as None, to be kept as they stand in the file."""
    corners: list[Any] = []
    for number, east, north in entered.corners:
        if not east and not north:
            continue
        if not east or not north:
            raise ValueError(say("Corner {number} lacks a number.", number=number + 1))
        was = shown.texts[2 * number : 2 * number + 2]
        corners.append((number if (east, north) == was else None, [_metres(east, display), _metres(north, display)]))
    if entered.input == "point":
        if not corners and entered.needed:
            raise ValueError(say("This is needed."))
        return corners[0][1] if corners else None
    if len(corners) < entered.least:
        raise ValueError(say("At least {count} corners are needed.", count=entered.least))
    return corners


def _metres(text: str, display: Display) -> float:
    """Read a coordinate in the household's unit. [m]"""
    value = _quantity(text, "length", display)
    return round(read_quantity(KINDS["length"], value), 3) + 0.0


def _put(fields: dict[str, Any], name: str, value: Any, written: Mapping[str, Any]) -> None:
    """Put a value where it stands in the file, beside what stands there."""
    outer, _, inner = name.partition(".")
    if inner:
        if outer not in fields or fields[outer] is None:
            fields[outer] = dict(written.get(outer) or {})
        if value is None:
            fields[outer].pop(inner, None)
        else:
            fields[outer][inner] = value
        return
    if isinstance(value, list) and value and isinstance(value[0], tuple):
        old = list(written.get(name) or [])
        value = [old[was] if was is not None and was < len(old) else point for was, point in value]
    fields[name] = value


def _without_empty_groups(fields: dict[str, Any]) -> dict[str, Any]:
    """A pot without a volume is no pot, and an emitter without a flow none."""
    empty = {name: None for name, needs in NEEDED_OF_GROUP.items() if name in fields and not fields[name].get(needs)}
    return {**fields, **empty}


def kinds_to_add() -> list[tuple[str, str]]:
    """Give what can be added to the plan, with its words."""
    return [(kind, say(KIND_WORDS[kind])) for kind in MODELS if kind in LISTS and kind not in MOVABLE]
