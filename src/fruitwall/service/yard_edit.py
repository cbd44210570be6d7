"""Edits of the yard: one thing added, moved, changed or taken out, stored as a new version of its file.

The file stays its owner's: comments, order and units are kept (`yard.revise`). Each new text is checked whole before
it is stored, and every version stays in the journal. An edit names the version on which it was made; where somebody
else changed the same thing meanwhile, nothing is stored and both are told.
"""

from __future__ import annotations

import copy
import re
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from fruitwall.errors import FruitwallError
from fruitwall.journal.entries import YardVersion
from fruitwall.journal.store import YardMoved
from fruitwall.service.house import House
from fruitwall.service.household import author_words
from fruitwall.service.yard_data import like, listed, metres, put_list
from fruitwall.service.yards import examine_yard_text
from fruitwall.speech import say
from fruitwall.yard.problems import Problem, path_text
from fruitwall.yard.revise import CannotRevise, revise, same
from fruitwall.yard.yaml_text import plain_document

OUTLINE = "@outline"
"""Stands for the boundary of the yard where a thing is named."""
GEAR = "@gear"
"""Stands for the place where the gear is kept."""

_OF_YARD = {OUTLINE: "outline", GEAR: "gear_store"}

GROUPS = {
    "@prices": "prices",
    "@location": "location",
    "@ground": "ground",
    "@water": "water",
    "@display": "display",
}
"""Groups of fields of which a yard has one each, and what stands for them where a thing is named."""

LISTS = {
    "tree": "trees",
    "wall": "structures",
    "building": "structures",
    "roof": "structures",
    "paving": "structures",
    "canopy": "structures",
    "fence": "structures",
    "pond": "structures",
    "hollow": "structures",
    "shelter": "shelters",
    "circuit": "circuits",
    "indoor_place": "indoor_places",
    "cover": "gear.covers",
    "lamp": "gear.lamps",
    "heater": "gear.heaters",
    "lead": "gear.leads",
    "trolley": "gear.trolleys",
    "shade": "gear.shades",
    "paint": "gear.paints",
    "person": "people",
}
"""Where in the file a thing of each kind stands; a point parts the names of a list within a group."""

_SHAPES = ("line", "outline")
_PLACES = ("position", "outlet")
TRIES = 5


@dataclass(frozen=True)
class Add:
    """A new thing.

    Attributes
    ----------
    kind : str
        One of `LISTS`.
    fields : mapping
        As in the yard file; an ``id`` is made from the name.
    """

    kind: str
    fields: Mapping[str, Any]


@dataclass(frozen=True)
class Change:
    """Fields of a thing, as in the yard file; None takes a field out."""

    thing: str
    fields: Mapping[str, Any]


@dataclass(frozen=True)
class Move:
    """A thing to another place.

    Attributes
    ----------
    thing : str
        Its id, `OUTLINE` or `GEAR`.
    to : (x, y)
        Where it, or the corner, shall lie. [m, m]
    corner : int or None
        Which corner moves; None for the whole thing, whose first corner then lies at `to`.
    new : bool
        Whether that corner is a new one, which takes this place among the others.
    """

    thing: str
    to: tuple[float, float]
    corner: int | None = None
    new: bool = False


@dataclass(frozen=True)
class Cut:
    """A corner of a shape to be taken out."""

    thing: str
    corner: int


@dataclass(frozen=True)
class Remove:
    """A thing to be taken out; what the ledger says of it stays."""

    thing: str


Edit = Add | Change | Move | Cut | Remove


@dataclass(frozen=True)
class Edited:
    """What came of an edit.

    Attributes
    ----------
    version : YardVersion
        The new one.
    thing : str or None
        Id of what was edited; None where it is gone.
    """

    version: YardVersion
    thing: str | None


class EditRefused(FruitwallError):
    """The yard would not hold together, or the edit does not fit it.

    Attributes
    ----------
    problems : list of (str, str)
        Field of the edited thing, empty for what is wrong elsewhere, and what is wrong.
    """

    def __init__(self, problems: list[tuple[str, str]]) -> None:
        self.problems = problems
        super().__init__("\n".join(message for _, message in problems))


class EditConflict(FruitwallError):
    """Somebody else changed the same thing meanwhile.

    Attributes
    ----------
    thing : str
    before, theirs, mine : mapping or None
        The thing as it was, as it is now, and as the edit would make it now; None where it is not there.
    version : YardVersion
        The newest.
    """

    def __init__(
        self, thing: str, before: Mapping[str, Any] | None, theirs: Any, mine: Any, version: YardVersion
    ) -> None:
        self.thing = thing
        self.before = before
        self.theirs = theirs
        self.mine = mine
        self.version = version
        super().__init__(say("{author} changed the same thing meanwhile.", author=author_words(version.author)))


# ---------------------------------------------------------------- data


def data_of(text: str) -> dict[str, Any]:
    """Give the plain data of a yard file, as a copy of one's own."""
    return copy.deepcopy(dict(plain_document(text).data))


def things(data: Mapping[str, Any]) -> Iterator[tuple[str, str, int, dict[str, Any]]]:
    """Give everything that has an id: id, name of its list as in `LISTS`, place in it, fields."""
    for name in dict.fromkeys(LISTS.values()):
        for place, one in enumerate(listed(data, name)):
            yield str(one.get("id", "")), name, place, one


def find(data: Mapping[str, Any], thing: str) -> dict[str, Any] | None:
    """Give the fields of a thing; None if it is not there."""
    if thing in _OF_YARD:
        return {_OF_YARD[thing]: data.get(_OF_YARD[thing])}
    if thing in GROUPS:
        return data.get(GROUPS[thing]) or {}
    return next((one for name, _, _, one in things(data) if name == thing), None)


def changed_things(before: Mapping[str, Any], after: Mapping[str, Any]) -> list[str]:
    """Give the ids of what differs between two states of a yard's data, in the order of the later one."""
    old = {name: one for name, _, _, one in things(before)}
    new = {name: one for name, _, _, one in things(after)}
    singles = [*_OF_YARD, *GROUPS]
    named = [*singles, *new, *(name for name in old if name not in new)]
    old |= {name: find(before, name) or {} for name in singles}
    new |= {name: find(after, name) or {} for name in singles}
    return [name for name in named if not same(old.get(name), new.get(name))]


def applied(data: Mapping[str, Any], edit: Edit) -> tuple[dict[str, Any], str]:
    """Give a yard's data after an edit, and the id of what it edits.

    Parameters
    ----------
    data : mapping
        Plain data of a yard file; it is not changed.
    edit : Add, Change, Move, Cut or Remove

    Returns
    -------
    data : dict
    thing : str

    Raises
    ------
    EditRefused
        If there is no such thing or corner.
    """
    new = copy.deepcopy(dict(data))
    if isinstance(edit, Add):
        if edit.kind not in LISTS:
            raise EditRefused([("", say("Nothing of the kind {kind} can be added.", kind=edit.kind))])
        name = free_id(new, str(edit.fields.get("name") or edit.kind))
        kind = {"kind": edit.kind} if LISTS[edit.kind] == "structures" else {}
        fields = {key: value for key, value in edit.fields.items() if value is not None and key not in ("id", *kind)}
        put_list(new, LISTS[edit.kind], [*listed(new, LISTS[edit.kind]), {**kind, "id": name, **fields}])
        return new, name
    found = find(new, edit.thing)
    if found is None:
        raise EditRefused([("", say("This is no longer in the yard. Undo brings it back."))])
    if isinstance(edit, Remove):
        if edit.thing in _OF_YARD or edit.thing in GROUPS:
            raise EditRefused([("", say("The yard cannot be without this."))])
        _take_out(new, edit.thing)
        return new, edit.thing
    fields = dict(edit.fields) if isinstance(edit, Change) else _reshaped(found, edit)
    target = new if edit.thing in _OF_YARD else found
    if edit.thing in GROUPS:
        new[GROUPS[edit.thing]] = target
    fixed = ("id", "kind") if any(found is one for one in new.get("structures") or []) else ("id",)
    for key, value in fields.items():
        if key in fixed:
            continue
        if value is None:
            target.pop(key, None)
        else:
            target[key] = value
    return new, edit.thing


def _take_out(data: dict[str, Any], thing: str) -> None:
    """Take a thing out, and a tree out of its shelter; its thermometers stay, free, where it stood."""
    gone = [one for one in data.get("trees") or [] if one.get("id") == thing]
    for name in dict.fromkeys(LISTS.values()):
        if any(one.get("id") == thing for one in listed(data, name)):
            put_list(data, name, [one for one in listed(data, name) if one.get("id") != thing])
    for shelter in data.get("shelters") or []:
        if thing in (shelter.get("trees") or []):
            shelter["trees"] = [tree for tree in shelter["trees"] if tree != thing]
    for sensor in data.get("sensors") or []:
        if gone and sensor.get("tree") == thing:
            del sensor["tree"]
            sensor["position"] = gone[0]["position"]


def _reshaped(found: Mapping[str, Any], move: Move | Cut) -> dict[str, Any]:
    """Give the fields of a thing that moved or got another shape."""
    for name in (*_PLACES, "gear_store"):
        if name in found and isinstance(move, Move) and move.corner is None:
            return {name: like(found[name], move.to)}
    for name in _SHAPES:
        if name not in found:
            continue
        corners = list(found[name])
        new = isinstance(move, Move) and move.new
        if move.corner is not None:
            if not 0 <= move.corner < len(corners) + new:
                break
            if isinstance(move, Cut):
                del corners[move.corner]
            elif new:
                corners.insert(move.corner, like(corners[move.corner - 1], move.to))
            else:
                corners[move.corner] = like(corners[move.corner], move.to)
            return {name: corners}
        first = [metres(one) for one in corners[0]]
        east, north = move.to[0] - first[0], move.to[1] - first[1]
        return {name: [like(one, (metres(one[0]) + east, metres(one[1]) + north)) for one in corners]}
    raise EditRefused([("", say("There is nothing that could be moved so."))])


def free_id(data: Mapping[str, Any], name: str) -> str:
    """Make an id from a name that nothing in the file has yet."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    stem = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:48].strip("-") or "thing"
    taken = set(_ids(data))
    return next(one for number in range(1, 10**6) if (one := stem if number == 1 else f"{stem}-{number}") not in taken)


def _ids(value: Any) -> Iterator[str]:
    """Give every id in the file, wherever it stands."""
    if isinstance(value, Mapping):
        if "id" in value:
            yield str(value["id"])
        for one in value.values():
            yield from _ids(one)
    elif isinstance(value, list):
        for one in value:
            yield from _ids(one)


# ---------------------------------------------------------------- versions


def edit_yard(house: House, edit: Edit, *, base: int, author: str) -> Edited:
    """Make an edit and store the yard as a new version.

    Parameters
    ----------
    house : House
    edit : Add, Change, Move, Cut or Remove
    base : int
        Number of the version that whoever made the edit saw.
    author : str
        Who made it.

    Returns
    -------
    Edited

    Raises
    ------
    EditRefused
        If the yard would not hold together; nothing is stored.
    EditConflict
        If the same thing was changed since that version; nothing is stored.
    """
    for _ in range(TRIES):
        current = house.journal.current_yard(house.yard_name)
        _stop_conflict(house, edit, base, current)
        text, thing = edited_text(current, edit, house.clock())
        try:
            stored = house.journal.store_yard(
                text, name=current.yard, now=house.clock(), author=author, after=current.number
            )
        except YardMoved:
            continue
        return Edited(stored, None if isinstance(edit, Remove) else thing)
    raise EditRefused([("", say("Others change the yard at this moment. Try again."))])


def edited_text(version: YardVersion, edit: Edit, now: datetime) -> tuple[str, str]:
    """Give the text of a yard after an edit, checked whole, and the id of what is edited.

    Raises
    ------
    EditRefused
        With what is wrong.
    """
    data, thing = applied(data_of(version.text), edit)
    try:
        text = revise(version.text, data)
    except CannotRevise as problem:
        raise EditRefused(
            [("", say("The yard file is written in a way that cannot be changed here. Export it, edit it, import it."))]
        ) from problem
    examined = examine_yard_text(text, version.yard, today=now.date())
    at = _loc_of(data, thing)
    about = [(problem, _field_of(problem, at, thing)) for problem in examined.problems]
    if examined.yard is None:
        errors = [(name or "", _told(one, name)) for one, name in about if one.severity == "error"]
        raise EditRefused(errors)
    return text, thing


def _loc_of(data: Mapping[str, Any], thing: str) -> tuple[str | int, ...] | None:
    """Give where a thing stands in the file; None if it is not there."""
    if thing in GROUPS:
        return (GROUPS[thing],)
    for name, where, number, _ in things(data):
        if name == thing:
            return *where.split("."), number
    return None


def _field_of(problem: Problem, at: tuple[str | int, ...] | None, thing: str) -> str | None:
    """Give which field of the edited thing a problem is about; None if it is about something else."""
    if thing in _OF_YARD and problem.loc[:1] == (_OF_YARD[thing],):
        return _OF_YARD[thing]
    if at is None or problem.loc[: len(at)] != at:
        return None
    return ".".join(str(step) for step in problem.loc[len(at) :] if isinstance(step, str))


def _told(problem: Problem, name: str | None) -> str:
    return problem.message if name is not None else f"{path_text(problem.loc)}: {problem.message}"


def _stop_conflict(house: House, edit: Edit, base: int, current: YardVersion) -> None:
    """Refuse an edit of what somebody else changed since."""
    if base == current.number or isinstance(edit, Add):
        return
    seen = house.journal.yard_version(base, house.yard_name)
    if seen is None:
        raise EditRefused([("", say("This page belongs to another yard or is very old. Load it again."))])
    if seen.text == current.text:
        return
    before, now = data_of(seen.text), data_of(current.text)
    if edit.thing not in changed_things(before, now):
        return
    theirs = find(now, edit.thing)
    # What the edit would make of the thing as it is now: what they changed elsewhere in it would stay.
    mine, _ = applied(before if theirs is None else now, edit)
    raise EditConflict(edit.thing, find(before, edit.thing), theirs, find(mine, edit.thing), current)


@dataclass(frozen=True)
class Steps:
    """Where the yard stands between what can be undone and what can be redone.

    Attributes
    ----------
    current : int
        Number of the newest version.
    undo, redo : int or None
        Number of the version that would be brought back.
    """

    current: int
    undo: int | None
    redo: int | None


def steps_of(versions: list[tuple[int, int | None]]) -> Steps:
    """Work out from the versions what undo and redo would bring back.

    Parameters
    ----------
    versions : list of (number, restores)
        Oldest first, at least one.

    Returns
    -------
    Steps

    Notes
    -----
    Versions form a line of states. One that restores a state of the line moves along it; any other is a new state
    behind the present one, and what lay behind is no longer to be redone (it stays in the journal).
    """
    line: list[int] = []
    at = -1
    stands_for: dict[int, int] = {}
    for number, restores in versions:
        state = stands_for.get(restores, restores) if restores is not None else None
        if state in line:
            at = line.index(state)
            stands_for[number] = state
            continue
        line[at + 1 :] = [number]
        at += 1
    undo = line[at - 1] if at > 0 else None
    redo = line[at + 1] if at + 1 < len(line) else None
    return Steps(versions[-1][0], undo, redo)


def yard_steps(house: House) -> Steps:
    """Give what can be undone and redone now."""
    return steps_of([(one.number, one.restores) for one in house.journal.yard_steps(house.yard_name)])


def step(house: House, way: str, *, base: int, author: str) -> Edited:
    """Undo or redo one edit.

    Parameters
    ----------
    house : House
    way : str
        ``undo`` or ``redo``.
    base : int
        Number of the version that whoever asks saw.
    author : str

    Returns
    -------
    Edited
        With the id of what changed by it, if it is there.

    Raises
    ------
    EditRefused
        If there is nothing to undo or redo, or the yard was changed meanwhile.
    """
    steps = yard_steps(house)
    target = steps.undo if way == "undo" else steps.redo
    current = house.journal.current_yard(house.yard_name)
    if base != current.number or steps.current != current.number:
        raise EditRefused([("", _meanwhile(current))])
    if target is None:
        nothing = say("There is nothing to undo.") if way == "undo" else say("There is nothing to redo.")
        raise EditRefused([("", nothing)])
    wanted = house.journal.yard_version(target, house.yard_name)
    if wanted is None:
        raise RuntimeError(f"version {target} is on the line of states and not in the journal")
    try:
        stored = house.journal.store_yard(
            wanted.text, name=current.yard, now=house.clock(), author=author, restores=target, after=current.number
        )
    except YardMoved as moved:
        raise EditRefused([("", _meanwhile(house.journal.current_yard(house.yard_name)))]) from moved
    after = data_of(wanted.text)
    changed = [one for one in changed_things(data_of(current.text), after) if find(after, one) is not None]
    return Edited(stored, changed[0] if changed else None)


def restore(house: House, number: int, *, base: int, author: str) -> Edited:
    """Bring back any earlier version, as a new one.

    Parameters
    ----------
    house : House
    number : int
        Of the version.
    base : int
        Number of the version that whoever asks saw as the newest.
    author : str

    Returns
    -------
    Edited

    Raises
    ------
    EditRefused
        If there is no such version, or the yard was changed meanwhile.
    """
    wanted = house.journal.yard_version(number, house.yard_name)
    if wanted is None:
        raise EditRefused([("", say("There is no such version."))])
    current = house.journal.current_yard(house.yard_name)
    try:
        stored = house.journal.store_yard(
            wanted.text, name=current.yard, now=house.clock(), author=author, restores=number, after=base
        )
    except YardMoved as moved:
        raise EditRefused([("", _meanwhile(current))]) from moved
    return Edited(stored, None)


def warnings_about(version: YardVersion, thing: str, now: datetime) -> list[str]:
    """Give what its owner should look at in a thing as it stands."""
    data = plain_document(version.text).data
    at = _loc_of(data, thing)
    problems = examine_yard_text(version.text, version.yard, today=now.date()).problems
    return [one.message for one in problems if one.severity == "warning" and _field_of(one, at, thing) is not None]


def _meanwhile(version: YardVersion) -> str:
    return say("{author} changed the yard meanwhile. Look at it, then try again.", author=author_words(version.author))
