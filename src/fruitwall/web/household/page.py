"""What the page of gear and people shows, worked out before the template."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

from pydantic import BaseModel

from fruitwall.plans.cautions import caution_texts
from fruitwall.service.house import House
from fruitwall.service.household import Household, long_day
from fruitwall.service.in_use import InUse, in_use
from fruitwall.service.nights import tonight
from fruitwall.service.yard_edit import GROUPS, LISTS, Steps, yard_steps
from fruitwall.service.yard_form import Field, form_of, kind_of, number_text, part_of, parts_of
from fruitwall.service.yard_words import KIND_WORDS
from fruitwall.speech import say
from fruitwall.web.editing import SEEN_AFTER, Asked, Conflict, said_words, warning_words
from fruitwall.web.household.lines import summary_of, taken_words
from fruitwall.web.household.words import ADD_WORDS, AT_THE_PLAN, CAUTIONS, DRAWN, PARTS, Part, cautions_of
from fruitwall.web.reader import household_of
from fruitwall.web.who import Who
from fruitwall.yard.model import WEEKDAYS, Display, Person, Yard

KINDS = tuple(kind for part in PARTS for kind in part.kinds)
"""What is seen and changed here."""

NEW_KINDS = tuple(kind for kind in KINDS if kind not in (*GROUPS, *DRAWN))
"""What is added here."""

AT_STORE = {"circuit": "outlet", "indoor_place": "position"}
"""What a new thing has for a place until it is dragged: where the gear is kept."""


@dataclass(frozen=True)
class Line:
    """One thing of the household."""

    thing: str
    name: str
    kind: str
    summary: str
    taken: str
    """How much of it tonight's plan takes; empty where nothing was planned."""
    here: bool | None = None
    """Of a person whom the reader may send away for tonight: whether they are here; None for all else."""


@dataclass(frozen=True)
class PartOfPage:
    """One part of the page."""

    key: str
    name: str
    told: str
    lines: list[Line]
    adds: list[tuple[str, str]]
    """Address and words."""
    cautions: list[str]
    link: tuple[str, str] | None


@dataclass(frozen=True)
class HouseholdPage:
    """All that the page shows: its parts, or the form of one thing."""

    name: str
    base: int
    steps: Steps
    may_edit: bool
    parts: list[PartOfPage] = field(default_factory=list)
    planned: str = ""
    """Which night's plan the figures of use are from."""
    thing: str = ""
    kind: str = ""
    title: str = ""
    kind_words: str = ""
    part: str = ""
    """Anchor of the part to which the thing belongs."""
    summary: str = ""
    taken: str = ""
    form: list[Field] = field(default_factory=list)
    cautions: list[str] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
    said: str = ""
    asks: str = ""
    conflict: Conflict | None = None
    can_go: bool = False
    """Whether it can be taken out."""


def form_for(kind: str, yard: Yard, display: Display, thing: str = "") -> list[Field]:
    """Give the form of a thing, or of a new one of a kind, which begins where the gear is kept.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    yard : Yard
    display : Display
        Units of the reader.
    thing : str
        Left out for a new one.

    Returns
    -------
    list of Field
    """
    fields = form_of(kind, yard, display, part_of(thing, yard) if thing else None)
    store = tuple(number_text(one, "length", display) for one in yard.gear_store)
    return [
        replace(
            one,
            told=say(AT_THE_PLAN[at]) if (at := f"{kind}.{one.name}") in AT_THE_PLAN else one.told,
            texts=store if not thing and AT_STORE.get(kind) == one.name else one.texts,
        )
        for one in fields
    ]


def household_page(house: House, asked: Asked, asking: Who, **more: Any) -> HouseholdPage:
    """Work out the page.

    Parameters
    ----------
    house : House
    asked : Asked
        Thing whose form is shown, or kind of a new one, of `NEW_KINDS`; everything else shows all parts.
    asking : Who
    **more
        Fields of `HouseholdPage` that are known already, such as a form with errors.

    Returns
    -------
    HouseholdPage
    """
    yard, version = house.yard()
    household = household_of(yard, asking)
    shown: dict[str, Any] = {}
    pick = asked.pick or ""
    kind = kind_of(pick, yard) if pick else asked.add
    use = in_use(house)
    if kind is not None and kind in (KINDS if pick else NEW_KINDS):
        shown = _thing(kind, pick, yard, household, use)
        if pick and asked.said in SEEN_AFTER:
            shown["warnings"] = warning_words(house, version, pick, household)
    else:
        night = tonight(yard.location, house.clock())
        shown["parts"] = [_part(part, yard, household, use, asking, night) for part in PARTS]
        shown["planned"] = (
            say(
                "What is in use tonight is taken from the plan for {night}, made {moment}.",
                night=long_day(use.night),
                moment=household.moment(use.made),
            )
            if use.night and use.made
            else say("Nothing was planned for tonight yet, so nothing is in use.")
        )
    return HouseholdPage(
        **{
            "name": yard.name,
            "base": version.number,
            "steps": yard_steps(house),
            "may_edit": asking.may("owner"),
            "said": said_words(asked.said),
            **shown,
            **more,
        }
    )


def _thing(kind: str, pick: str, yard: Yard, household: Household, use: InUse) -> dict[str, Any]:
    """Give what the form of a thing, or of a new one, shows."""
    words = say(KIND_WORDS[kind])
    here = next(part for part in PARTS if kind in part.kinds)
    shown: dict[str, Any] = {
        "kind": kind,
        "kind_words": words,
        "title": say(ADD_WORDS[kind]) if not pick else words,
        "form": form_for(kind, yard, household.display, pick),
        "part": here.key,
        "cautions": caution_texts(*CAUTIONS.get(kind, ())),
        "thing": pick,
    }
    part = part_of(pick, yard) if pick else None
    if part is not None:
        shown |= {
            "title": getattr(part, "name", words),
            "summary": summary_of(part, yard, household),
            "taken": taken_words(use.taken.get(pick), part),
            "can_go": pick not in GROUPS,
        }
    return shown


def _part(part: Part, yard: Yard, household: Household, use: InUse, asking: Who, night: date) -> PartOfPage:
    lines = []
    for kind in part.kinds:
        for one in parts_of(kind, yard):
            thing = str(getattr(one, "id", kind))
            words = say(KIND_WORDS[kind])
            name = str(getattr(one, "name", words))
            lines.append(
                Line(
                    thing,
                    name,
                    words if len(part.kinds) > 1 and words != name else "",
                    summary_of(one, yard, household),
                    taken_words(use.taken.get(thing), one),
                    _here(one, asking, night),
                )
            )
    adds = [
        (f"/yard?add={kind}#thing" if kind in DRAWN else f"/household?add={kind}", say(ADD_WORDS[kind]))
        for kind in part.kinds
        if kind in LISTS and asking.may("owner")
    ]
    link = (part.link[0], say(part.link[1])) if part.link else None
    return PartOfPage(part.key, say(part.name), say(part.told), lines, adds, caution_texts(*cautions_of(part)), link)


def _here(one: BaseModel, asking: Who, night: date) -> bool | None:
    """Tell whether a person is here tonight, where that is for the reader to say."""
    if not isinstance(one, Person) or not asking.may("owner") or WEEKDAYS[night.weekday()] not in one.evenings:
        return None
    return one.is_here(night)
