"""Editing of the yard by forms: what the plan and the page of gear and people have in common."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass, replace
from typing import Any

from fastapi import APIRouter, Depends, HTTPException, Request, Response
from fastapi.responses import RedirectResponse
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData

from fruitwall.journal.entries import YardVersion
from fruitwall.service.house import House
from fruitwall.service.household import Household, author_words, decimal
from fruitwall.service.yard_edit import (
    Add,
    Change,
    Edit,
    EditConflict,
    Edited,
    EditRefused,
    Remove,
    data_of,
    edit_yard,
    find,
    step,
    warnings_about,
)
from fruitwall.service.yard_form import Entered, Field, form_of, kind_of, part_of, read_form, with_errors
from fruitwall.service.yard_layers import LAYERS
from fruitwall.service.yard_words import FIELD_WORDS
from fruitwall.service.yards import parse_version
from fruitwall.speech import capital, say
from fruitwall.web.pages import Pages
from fruitwall.web.reader import display_of, household_of
from fruitwall.web.who import need, who
from fruitwall.yard.model import Display, Yard

Posted = Mapping[str, Sequence[str]]
"""Every value of each name of a form."""

BESIDES_BYTES = 65_536
"""Of one field of a form that is no file."""
OWNER = Depends(need("owner"))


@dataclass(frozen=True)
class Asked:
    """What somebody wants to see.

    Attributes
    ----------
    pick : str or None
        Id of a thing.
    add : str or None
        Kind of a thing to add.
    layer : str or None
        Of the plan: one of `yard_layers.LAYERS`.
    said : str or None
        What was done, as `said_words` has it.
    """

    pick: str | None = None
    add: str | None = None
    layer: str | None = None
    said: str | None = None

    @property
    def kept(self) -> str:
        """The part of an address that stays when something else is picked."""
        return f"&layer={self.layer}" if self.layer in LAYERS else ""


@dataclass(frozen=True)
class Conflict:
    """Two people changed one thing: what each wants of every field that differs."""

    author: str
    rows: list[tuple[str, str, str, str]]
    """Name of the field, as it was, theirs, mine."""
    action: str
    """Where "take mine" is sent, with `hidden`."""
    hidden: list[tuple[str, str]]


SEEN_AFTER = ("added", "changed", "moved", "undo", "redo")
"""Of `said_words`: what leaves a thing as it was not before, so that its warnings are told."""


def said_words(key: str | None) -> str:
    """Say what was done."""
    return {
        "added": say("Added."),
        "changed": say("Changed."),
        "moved": say("Moved."),
        "restored": say("Brought back."),
        "removed": say("Taken out. Undo brings it back; what was noted about it stays."),
        "undo": say("Undone."),
        "redo": say("Done again."),
        "same": say("Nothing was changed."),
    }.get(key or "", "")


def warning_words(house: House, version: YardVersion, thing: str, household: Household) -> list[str]:
    """Say what its owner should look at in a thing as it stands, in the units of the reader."""
    return [capital(household.in_own_units(text)) for text in warnings_about(version, thing, house.clock())]


class EditDesk(ABC):
    """Answers what is sent by the forms of one page on which the yard is edited.

    Parameters
    ----------
    house : House
    pages : Pages
        Renders templates.
    """

    most_bytes = 100_000
    """Of a form, notes included."""
    most_fields = 400

    def __init__(self, house: House, pages: Pages) -> None:
        self.house = house
        self.pages = pages

    @abstractmethod
    def show(self, request: Request, asked: Asked, status: int = 200, **more: Any) -> Response:
        """Show the page; `more` are fields of it that are known already, such as a form with errors."""

    @abstractmethod
    def address(self, asked: Asked) -> str:
        """Give where the page shows what is asked."""

    @abstractmethod
    def may_add(self, kind: str) -> bool:
        """Tell whether the page has a form for a new thing of a kind."""

    @abstractmethod
    def asks(self, name: str) -> str:
        """Ask whether a thing shall be taken out."""

    def kind_here(self, thing: str, yard: Yard) -> str | None:
        """Give of which kind a thing of this page is; None if there is no such thing on it."""
        return kind_of(thing, yard)

    def form(self, kind: str, yard: Yard, display: Display, thing: str = "") -> list[Field]:
        """Give the form of a thing, or of a new one where none is named."""
        return form_of(kind, yard, display, part_of(thing, yard) if thing else None)

    def read(self, kind: str, shown: list[Field], posted: Posted, display: Display, written: dict[str, Any]) -> Entered:
        """Read what was entered into a form, as `yard_form.read_form` does."""
        return read_form(kind, shown, posted, display, written)

    def take(self, router: APIRouter, page: str, **others: Callable[[Request, Posted], Response]) -> None:
        """Make the routes to which the forms of a page are sent; they are for the owner alone.

        Parameters
        ----------
        router : APIRouter
        page : str
            Address of the page.
        **others
            What answers further forms, by the last part of their address.
        """
        answers = {
            "add": self.add,
            "change": self.change,
            "remove": self.remove,
            "undo": lambda request, posted: self.step(request, posted, "undo"),
            "redo": lambda request, posted: self.step(request, posted, "redo"),
            **others,
        }
        for word, do in answers.items():
            router.add_api_route(
                f"{page}/{word}", self._taking(do), methods=["POST"], include_in_schema=False, dependencies=[OWNER]
            )

    def _taking(self, do: Callable[[Request, Posted], Response]) -> Callable[[Request], Any]:
        async def answer(request: Request) -> Response:
            async with limited_form(request, self.most_bytes, fields=self.most_fields) as form:
                posted = {key: [str(one) for one in form.getlist(key)] for key in form}
            return await run_in_threadpool(do, request, posted)

        return answer

    def add(self, request: Request, posted: Posted) -> Response:
        """Add a thing."""
        kind = first(posted, "adding")  # lamps have a field "kind" of their own
        if not self.may_add(kind):
            return self.show(request, asked_of(posted), 422, errors=[say("Nothing of this kind can be added.")])
        asked = asked_of(posted, add=kind)
        yard, _ = self.house.yard()
        display = display_of(yard, who(request))
        entered = self.read(kind, self.form(kind, yard, display), posted, display, {})
        if entered.wrong:
            return self.show(request, asked, 422, form=entered.form)
        return self.do(request, posted, Add(kind, entered.fields), "added", asked, entered.form)

    def change(self, request: Request, posted: Posted) -> Response:
        """Change the fields of a thing, compared with those of the version on which the form was made."""
        thing, number = first(posted, "thing"), number_of(posted, "seen")
        asked = asked_of(posted, pick=thing)
        seen = self.house.journal.yard_version(number, self.house.yard_name) if number is not None else None
        if seen is None:
            return self.show(request, asked, 422, errors=[say("This page is very old. Look at it and try again.")])
        yard = parse_version(seen)
        display = display_of(yard, who(request))
        kind = self.kind_here(thing, yard)
        if kind is None:
            return self.show(request, Asked(), 404, errors=[say("There is no such thing in the yard.")])
        shown = self.form(kind, yard, display, thing)
        entered = self.read(kind, shown, posted, display, find(data_of(seen.text), thing) or {})
        if entered.wrong:
            return self.show(request, asked, 422, form=entered.form)
        if not entered.fields:
            return self.went(asked, "same")
        return self.do(request, posted, Change(thing, entered.fields), "changed", asked, entered.form)

    def remove(self, request: Request, posted: Posted) -> Response:
        """Ask, and take a thing out once the answer is yes."""
        thing = first(posted, "thing")
        yard, _ = self.house.yard()
        sure = first(posted, "sure") == "yes"
        # What is gone meanwhile is told by the edit itself, in better words.
        gone = sure and part_of(thing, yard) is None
        if self.kind_here(thing, yard) is None and not gone:
            return self.show(request, Asked(), 404, errors=[say("There is no such thing in the yard.")])
        asked = asked_of(posted, pick=thing)
        if not sure:
            name = getattr(part_of(thing, yard), "name", thing)
            return self.show(request, asked, asks=self.asks(name))
        return self.do(request, posted, Remove(thing), "removed", asked)

    def step(self, request: Request, posted: Posted, way: str) -> Response:
        """Undo or redo the last change of the yard, on whichever page it was made."""
        asked = asked_of(posted, pick=first(posted, "thing") or None)
        base = number_of(posted, "seen") or 0
        return self.answer(request, asked, way, lambda: step(self.house, way, base=base, author=who(request).name))

    def do(
        self,
        request: Request,
        posted: Posted,
        edit: Edit,
        said: str,
        asked: Asked,
        form: list[Field] | None = None,
    ) -> Response:
        """Make an edit and answer: the new state, what is wrong beside its fields, or both sides of a conflict."""
        # Whoever has seen both sides of a conflict says onto which version their change goes.
        base = number_of(posted, "onto") or number_of(posted, "seen") or 0
        try:
            return self.answer(
                request,
                asked,
                said,
                lambda: edit_yard(self.house, edit, base=base, author=who(request).name),
                form,
            )
        except EditConflict as conflict:
            hidden = [(key, one) for key, values in posted.items() if key != "onto" for one in values]
            both = Conflict(
                author=author_words(conflict.version.author),
                rows=conflict_rows(
                    (conflict.before, conflict.theirs, conflict.mine), self._form_of(request, conflict.thing, base)
                ),
                action=request.url.path,
                hidden=[*hidden, ("onto", str(conflict.version.number))],
            )
            return self.show(request, asked, 409, conflict=both)

    def _form_of(self, request: Request, thing: str, number: int) -> list[Field]:
        """Give the form of a thing as it was in a version; none where it was not there."""
        seen = self.house.journal.yard_version(number, self.house.yard_name)
        yard = parse_version(seen) if seen is not None else self.house.yard()[0]
        kind = self.kind_here(thing, yard)
        return self.form(kind, yard, display_of(yard, who(request)), thing) if kind is not None else []

    def answer(
        self,
        request: Request,
        asked: Asked,
        said: str,
        make: Callable[[], Edited],
        form: list[Field] | None = None,
    ) -> Response:
        """Send on to the new state, or tell what is wrong."""
        try:
            edited = make()
        except EditRefused as refused:
            household = household_of(self.house.yard()[0], who(request))
            problems = [(name, capital(household.in_own_units(message))) for name, message in refused.problems]
            if form is None:
                return self.show(request, asked, 422, errors=[message for _, message in problems])
            form, rest = with_errors(form, problems)
            return self.show(request, asked, 422, form=form, errors=rest)
        thing = edited.thing
        if thing is not None and self.kind_here(thing, parse_version(edited.version)) is None:
            thing = None
        return self.went(Asked(pick=thing, layer=asked.layer), said)

    def went(self, asked: Asked, said: str) -> Response:
        """Send the browser on to where the result is seen."""
        return RedirectResponse(self.address(replace(asked, said=said)), 303)


def asked_of(posted: Posted, *, pick: str | None = None, add: str | None = None) -> Asked:
    """Give what is seen after a form: the same layer of the plan, and a thing or the form of a new one."""
    return Asked(pick=pick, add=add, layer=first(posted, "layer") or None)


def first(posted: Posted, name: str) -> str:
    """Give the first value of a name; empty where there is none."""
    return (posted.get(name) or [""])[0]


def number_of(posted: Posted, name: str) -> int | None:
    """Read a whole number of a hidden field; None for anything else."""
    text = first(posted, name)
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else None


@asynccontextmanager
async def limited_form(request: Request, most: int, *, fields: int = 20) -> AsyncIterator[FormData]:
    """Read a form that says beforehand how long it is, as every browser does; its files are gone afterwards.

    Parameters
    ----------
    request : Request
    most : int
        Bytes of the whole form; a longer one would fill the disk.
    fields : int
        How many it may have.

    Raises
    ------
    HTTPException
        411 or 413.
    """
    told = request.headers.get("content-length", "")
    if not (told.isascii() and told.isdigit()):
        raise HTTPException(411)
    if int(told) > most:
        if most < 1_000_000:
            raise HTTPException(413, say("This form is too large: at most {most} kB are taken.", most=most // 1000))
        raise HTTPException(413, say("This file is too large: at most {most} MB are taken.", most=most // 1_000_000))
    async with request.form(max_files=1, max_fields=fields, max_part_size=BESIDES_BYTES) as form:
        yield form


def conflict_rows(sides: Sequence[Mapping[str, Any] | None], form: Sequence[Field]) -> list[tuple[str, str, str, str]]:
    """Give every field in which two changes of a thing differ from each other or from what it was.

    Parameters
    ----------
    sides : three mappings or None
        The thing as it was, as it is now, and as it would become; as in the yard file.
    form : sequence of Field
        Its form, for the words among which fields let choose.

    Returns
    -------
    list of (str, str, str, str)
        Name of the field, and what stands in it on each side.
    """
    choices = {field.name: dict(field.choices) for field in form}
    hidden = {"id", "kind"} - set(choices)  # a structure is of one kind for good; lamps may turn out to be of another
    names = list(dict.fromkeys(name for one in sides for name in one or {} if name not in hidden))
    rows = []
    for name in names:
        before, theirs, mine = (_plain((one or {}).get(name), name, choices) for one in sides)
        if not before == theirs == mine:
            words = FIELD_WORDS.get(name, FIELD_WORDS.get(f"{name}.volume", name))
            rows.append((say(words), before, theirs, mine))
    return rows


def _plain(value: Any, name: str, choices: Mapping[str, Mapping[str, str]]) -> str:
    """Write a value of the file for reading."""
    if value is None:
        return "–"
    if isinstance(value, Mapping):
        return ", ".join(_plain(one, f"{name}.{key}", choices) for key, one in value.items())
    if isinstance(value, list | tuple):
        inner = [_plain(one, name, choices) for one in value]
        return "; ".join(inner) if value and isinstance(value[0], list | tuple) else ", ".join(inner)
    if isinstance(value, bool):
        return say("yes") if value else say("no")
    if isinstance(value, float):
        return decimal(f"{value:g}")
    return choices.get(name, {}).get(str(value), str(value))
