"""What does the model say about a place in the yard file?

Messages, JSON Schema and documentation ask here, so that what they say about a field is what the model checks.
"""

from __future__ import annotations

import types
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated, Any, Literal, Union, get_args, get_origin

import annotated_types
from pydantic import BaseModel
from pydantic.fields import FieldInfo

from fruitwall.speech import marked, say, say_list
from fruitwall.yard.model import Yard
from fruitwall.yard.problems import Location
from fruitwall.yard.quantities import Quantity
from fruitwall.yard.units import Kind

IDENTIFIER_START = "^[a-z0-9]"

_PLAIN = {
    "str": marked("text"),
    "bool": marked("yes or no"),
    "int": marked("a whole number such as 2"),
    "date": marked("a day such as 2019-03-15"),
}
"""What is right where a plain type stands, by its name."""


@dataclass(frozen=True)
class Place:
    """A place in the file: what may stand there.

    Attributes
    ----------
    loc : tuple
        The way to it as it stands in the file (without the names that pydantic adds for a choice of kinds).
    type_ : type
        The bare type: a model, float, str, list ..., or a tuple of models to choose from by their `kind`.
    metadata : tuple
        Quantity, bounds and the like.
    info : FieldInfo or None
        The field, if the place is one.
    """

    loc: Location
    type_: Any
    metadata: tuple[Any, ...] = ()
    info: FieldInfo | None = None

    @property
    def kind(self) -> Kind | None:
        """The kind of quantity, if it is one."""
        return next((m.kind for m in self.metadata if isinstance(m, Quantity)), None)

    @property
    def choices(self) -> tuple[Any, ...]:
        """The allowed words, if it is a choice of some."""
        return get_args(self.type_) if get_origin(self.type_) is Literal else ()

    @property
    def models(self) -> tuple[type[BaseModel], ...]:
        """The models that may stand here: one, several with a `kind`, or none."""
        if isinstance(self.type_, tuple):
            return self.type_
        return (self.type_,) if isinstance(self.type_, type) and issubclass(self.type_, BaseModel) else ()

    @property
    def bounds(self) -> str:
        """The allowed range in words, such as "greater than 0 and at most 40 m"; empty if there is none."""
        unit = self.kind.unit if self.kind else ""
        unit = unit if unit in ("", "°") else f" {unit}"
        low = high = ""
        for m in self.metadata:
            if isinstance(m, annotated_types.Gt):
                low = say("greater than {limit}", limit=f"{m.gt:g}{self._unit_of_least(m.gt)}")
            elif isinstance(m, annotated_types.Ge):
                low = say("at least {limit}", limit=f"{m.ge:g}{self._unit_of_least(m.ge)}")
            elif isinstance(m, annotated_types.Lt):
                high = say("less than {limit}", limit=f"{m.lt:g}{unit}")
            elif isinstance(m, annotated_types.Le):
                high = say("at most {limit}", limit=f"{m.le:g}{unit}")
        words = say_list([w for w in (low, high) if w])
        return words if high or not low or low.endswith(unit) else f"{words}{unit}"

    def _unit_of_least(self, number: Any) -> str:
        """Give the unit behind the lower of two limits: where it is turned into others by itself and is not nothing."""
        if self.kind is None or self.kind.key not in ("temperature", "difference", "length", "mass", "volume"):
            return ""
        return f" {self.kind.unit}" if number or self.kind.key == "temperature" else ""

    @property
    def least_items(self) -> int:
        """How many items a list must have at least."""
        return next((m.min_length for m in self.metadata if isinstance(m, annotated_types.MinLen)), 0)

    @property
    def expectation(self) -> str:
        """What is right here, in words that follow "expected"."""
        if self.kind:
            return self.kind.expectation
        if self.choices:
            words = ", ".join(map(str, self.choices))
            return say("one of {choices}", choices=words) if len(self.choices) > 1 else words
        if len(self.models) > 1:
            known = ", ".join(kinds(self.models))
            return say("a group of fields that begins with one of kind: {kinds}", kinds=known)
        if self.models:
            needed = [file_name(n, f) for n, f in self.models[0].model_fields.items() if f.is_required()]
            fields = ", ".join(needed)
            return say("a group of fields with {fields}", fields=fields) if needed else say("a group of fields")
        return self._plain_expectation()

    def _plain_expectation(self) -> str:
        """What is right for a type that is neither quantity, choice nor group."""
        name = getattr(self.type_, "__name__", "")
        if get_origin(self.type_) is tuple:
            return say("a position such as [3.5, 12]")
        if get_origin(self.type_) is list:
            item = item_of(self, 0)
            if get_origin(item.type_) is tuple:
                return say("{number} or more points such as [[0, 0], [4, 0], [4, 3]]", number=self.least_items)
            return say("a list (one entry a line, each beginning with '-')")
        if self.is_identifier:
            return say("a short name of lower-case letters, digits, - and _ such as mango-1")
        return say(_PLAIN[name])

    @property
    def is_identifier(self) -> bool:
        """Whether an identifier stands here."""
        return any(str(getattr(m, "pattern", "")).startswith(IDENTIFIER_START) for m in self.metadata)


def file_name(name: str, info: FieldInfo) -> str:
    """Give the name by which the yard file calls a field."""
    return info.alias or name


def file_names(model: type[BaseModel]) -> dict[str, FieldInfo]:
    """Give all fields of a model by their names in the file."""
    return {file_name(name, info): info for name, info in model.model_fields.items()}


def kinds(models: Iterable[type[BaseModel]]) -> list[str]:
    """Give the words for `kind` among which a choice of models is made."""
    return [str(model.model_fields["kind"].default) for model in models]


def place(loc: Location, annotation: Any, metadata: Iterable[Any] = (), info: FieldInfo | None = None) -> Place:
    """Unpack an annotation: Annotated, Optional, nested Field.

    Parameters
    ----------
    loc : tuple
        Way to the place in the file.
    annotation
        Type of the model's field.
    metadata : iterable, optional
        What stands beside the type: constraints, or fields that hold them.
    info : FieldInfo, optional
        The field itself, where it has one.

    Returns
    -------
    Place
    """
    found: list[Any] = []
    todo = list(metadata)
    while True:
        for m in todo:
            found.extend(m.metadata if isinstance(m, FieldInfo) else [m])
        if get_origin(annotation) is Annotated:
            annotation, *todo = get_args(annotation)
            continue
        if get_origin(annotation) in (Union, types.UnionType):
            members = tuple(a for a in get_args(annotation) if a is not type(None))
            if len(members) == 1:
                annotation, todo = members[0], []
                continue
            annotation = members
        return Place(loc, annotation, tuple(_constraints(found)), info)


def _constraints(metadata: Iterable[Any]) -> Iterable[Any]:
    """Spread grouped constraints into single ones."""
    for m in metadata:
        if isinstance(m, annotated_types.GroupedMetadata):
            yield from m
        else:
            yield m


def item_of(here: Place, number: int) -> Place:
    """Give the place of an item of a list or position."""
    args = get_args(here.type_)
    return place((*here.loc, number), args[number] if get_origin(here.type_) is tuple else args[0])


def field_of(here: Place, model: type[BaseModel], name: str) -> Place | None:
    """Give the place of a field of a model by its name in the file.

    Parameters
    ----------
    here : Place
        Of the model.
    model : type of BaseModel
    name : str
        As the file calls it.

    Returns
    -------
    Place or None
        None if there is no such field.
    """
    info = file_names(model).get(name)
    return None if info is None else place((*here.loc, name), info.annotation, info.metadata, info)


def follow(loc: Location) -> tuple[Place, type[BaseModel] | None]:
    """Follow pydantic's way to an error.

    Parameters
    ----------
    loc : tuple
        As pydantic gives it, with the names of chosen kinds in between.

    Returns
    -------
    Place
        The place, or where the model ends (an unknown field) a place of type None.
    type or None
        The model in which the last step was taken.
    """
    here = place((), Yard)
    parent: type[BaseModel] | None = None
    for step in loc:
        if isinstance(step, int):
            parent, here = None, item_of(here, step)
            continue
        chosen = [m for m in here.models if len(here.models) > 1 and m.model_fields["kind"].default == step]
        if chosen:
            here = Place(here.loc, chosen[0])
            continue
        parent = here.models[0] if here.models else None
        here = (field_of(here, parent, step) if parent else None) or Place((*here.loc, step), None)
    return here, parent
