"""Long work in parts: kept part by part, so that it can be stopped, resumed, and is never done twice.

How to use it: cut the work into parts of a second to a minute, give each a key by content, and call `work`. Under a
`web.winters.runner.Runner` pass on its `heard` and `stop`; on a terminal those of `cli.winters.on_terminal`.
"""

from __future__ import annotations

import hashlib
import io
import json
import time
import zipfile
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from fruitwall import __version__
from fruitwall.errors import JournalError
from fruitwall.journal.worked import keep_work, kept_work, touch_work, which_work
from fruitwall.service.household import minutes
from fruitwall.speech import Amount, Phrase, Told, say

if TYPE_CHECKING:
    from fruitwall.service.house import House

ARRAY, TOLD, AMOUNT = "#array", "#told", "#amount"
"""Keys of the marks that stand for an array, a told sentence or an amount within what a part gives."""


@dataclass(frozen=True)
class WorkPart:
    """One part of long work.

    Attributes
    ----------
    key : str
        By content: the same for the same inputs and the same code; what is kept under it is used again. Of any
        length. The version of the program is added to it.
    weight : float
        How long it takes against the others. [-]
    what : str
        In words for the user, such as ``winter 1989/90``.
    make : callable () -> object
        Does it. Gives None, numbers, texts (also `speech.told`), lists, dicts with texts as keys, and arrays of NumPy
        within them. Tuples come back as lists.
    """

    key: str
    weight: float
    what: str
    make: Callable[[], Any]


@dataclass(frozen=True)
class Progress:
    """How far work is.

    Attributes
    ----------
    share : float
        Done, 0 to 1. [-]
    left_s : float or None
        Time left, from how long the parts so far took; None before the first. [s]
    what : str
        What is being done.
    """

    share: float
    left_s: float | None
    what: str


class Stopped(Exception):
    """The work was stopped; what was done is kept."""


def work(
    house: House,
    parts: Sequence[WorkPart],
    *,
    heard: Callable[[Progress], None] = lambda _progress: None,
    stop: Callable[[], bool] = lambda: False,
    ticks: Callable[[], float] = time.monotonic,
) -> list[Any]:
    """Do the parts in order, or take what is kept of them; each is kept as soon as it is done.

    Parameters
    ----------
    house : House
        In whose journal parts are kept. May be called from several threads and programs at once: what another one
        has done meanwhile is taken from there.
    parts : sequence of WorkPart
    heard : callable (Progress) -> None
        Told before each part and at the end.
    stop : callable () -> bool
        Asked before each part that is not kept. A part that takes long may ask as well, and raise `Stopped`.
    ticks : callable () -> float
        Tells how time passes. [s]

    Returns
    -------
    list
        What each part gave, always as it is when it comes from the journal: work in one go and work that was stopped
        and resumed give the same.

    Raises
    ------
    Stopped
        If `stop` said so.
    JournalError
        If what was done cannot be kept: the database is locked or its disk is full.
    ValueError
        If a part gives something that cannot be kept.
    """
    keys = [_key(part) for part in parts]
    there = which_work(house.journal, keys)
    whole = sum(part.weight for part in parts) or 1.0
    to_do = sum(part.weight for part, key in zip(parts, keys, strict=True) if key not in there)
    done_weight, made_weight, made_s = 0.0, 0.0, 0.0
    found: list[Any] = []
    used: list[str] = []

    def tell(what: str) -> None:
        left = made_s / made_weight * max(0.0, to_do) if made_weight > 0.0 else None
        heard(Progress(min(1.0, done_weight / whole), left if to_do > 0.0 else 0.0, what))

    try:
        for part, key in zip(parts, keys, strict=True):
            # One that somebody else did meanwhile is taken as well, so it is looked for anew.
            body = kept_work(house.journal, key)
            value, whole_body = _unpacked(body)
            if not whole_body:
                if stop():
                    raise Stopped
                tell(part.what)
                begin = ticks()
                body = bytes_of(part.make())
                keep_work(house.journal, key, body, now=house.clock())
                made_s += ticks() - begin
                made_weight += part.weight
                value, _ = _unpacked(body)
            else:
                used.append(key)
            if key not in there:
                to_do -= part.weight
            done_weight += part.weight
            found.append(value)
    finally:
        # What was found is right whether or not it can be noted when it was used; what cannot be kept was told above.
        with suppress(JournalError):
            touch_work(house.journal, used, now=house.clock())
    heard(Progress(1.0, 0.0, parts[-1].what if parts else ""))
    return found


def kept_or_made(house: House, key: str, make: Callable[[], Any]) -> Any:
    """Give what is kept under a key, or make and keep it: a single part, for work that finds its parts on the way."""
    return work(house, [WorkPart(key, 1.0, "", make)])[0]


def telling(
    heard: Callable[[Progress], None],
    stop: Callable[[], bool],
    what: str,
    *,
    begin: float = 0.0,
    end: float = 1.0,
    ticks: Callable[[], float] = time.monotonic,
) -> Callable[[float], None]:
    """Make what work is told its share by, for work that is not cut into `WorkPart`.

    Parameters
    ----------
    heard, stop : callable
        As for `work`.
    what : str
        What is being done, `speech.told` or `speech.marked`.
    begin, end : float
        Which stretch of the whole it is. [-]
    ticks : callable () -> float
        Tells how time passes. [s]

    Returns
    -------
    callable (share) -> None
        Takes what is done of this stretch, 0 to 1, tells it with the time left of the whole, and raises `Stopped`
        where `stop` says so.
    """
    first: list[tuple[float, float]] = []  # when it began, and the share that was there then: kept parts come at once

    def told(share: float) -> None:
        if stop():
            raise Stopped
        whole = begin + (end - begin) * share
        now = ticks()
        if not first:
            first.append((now, whole))
        began, had = first[0]
        left = (now - began) / (whole - had) * (1.0 - whole) if whole > had and now > began else None
        heard(Progress(min(1.0, whole), left, what))

    told(0.0)
    return told


def share_kept(house: House, parts: Sequence[WorkPart]) -> float:
    """Tell how much of the weight of some parts is done already, 0 to 1; nothing is worked out."""
    keys = [_key(part) for part in parts]
    there = which_work(house.journal, keys)
    whole = sum(part.weight for part in parts)
    done = sum(part.weight for part, key in zip(parts, keys, strict=True) if key in there)
    return 1.0 if whole <= 0.0 else done / whole


def _key(part: WorkPart) -> str:
    """Give the key in the journal: short, and another one for each version of the program."""
    return hashlib.sha256(f"{__version__}\0{part.key}".encode()).hexdigest()


def bytes_of(value: Any) -> bytes:
    """Write what a part gave: a JSON text and its arrays, in one NPZ."""
    import numpy as np

    arrays: dict[str, Any] = {}

    def plain(one: Any) -> Any:
        if isinstance(one, np.ndarray):
            if one.dtype.hasobject:
                raise ValueError(f"a part of work gave an array of {one.dtype}, which cannot be kept")
            arrays[f"a{len(arrays)}"] = one
            return {ARRAY: f"a{len(arrays) - 1}"}
        if isinstance(one, np.generic):
            return one.item()
        if isinstance(one, dict):
            if not all(isinstance(key, str) and not key.startswith("#") for key in one):
                raise ValueError("a part of work gave a dict with keys that are no plain texts")
            return {key: plain(each) for key, each in one.items()}
        if isinstance(one, (list, tuple)):
            return [plain(each) for each in one]
        if isinstance(one, Told):
            return {TOLD: str(one), "values": plain(dict(one.phrase.values))} | {
                name: getattr(one.phrase, name) for name in ("template", "many", "count", "capital")
            }
        if isinstance(one, Amount):
            return {AMOUNT: str(one), "kind": one.kind, "parts": list(one.parts)}
        if one is None or isinstance(one, (bool, int, float, str)):
            return one
        raise ValueError(f"a part of work gave a {type(one).__name__}, which cannot be kept")

    text = json.dumps(plain(value)).encode()
    out = io.BytesIO()
    np.savez(out, allow_pickle=False, text=np.frombuffer(text, np.uint8), **arrays)
    return out.getvalue()


def body_of(body: bytes | None) -> Any:
    """Give what `bytes_of` wrote; None where there is none, or it cannot be read."""
    return _unpacked(body)[0]


def _unpacked(body: bytes | None) -> tuple[Any, bool]:
    """Read what `bytes_of` wrote; False where it cannot be read, or there is none."""
    import numpy as np

    if body is None:
        return None, False

    def whole(one: Any) -> Any:
        if isinstance(one, dict):
            return _marked(one, arrays, whole)
        return [whole(each) for each in one] if isinstance(one, list) else one

    try:
        with np.load(io.BytesIO(body), allow_pickle=False) as kept:
            arrays = {name: kept[name] for name in kept.files}
        return whole(json.loads(arrays.pop("text").tobytes())), True
    except (ValueError, KeyError, OSError, EOFError, zipfile.BadZipFile):
        return None, False


def _marked(one: dict[str, Any], arrays: dict[str, Any], whole: Callable[[Any], Any]) -> Any:
    """Read a dict, or what it is a mark for."""
    if ARRAY in one:
        return arrays[one[ARRAY]]
    if AMOUNT in one:
        return Amount(one[AMOUNT], one["kind"], *one["parts"])
    if TOLD in one:
        made = Told(one[TOLD])
        made.phrase = Phrase(one["template"], one["many"], one["count"], whole(one["values"]), one["capital"])
        return made
    return {key: whole(each) for key, each in one.items()}


def left_words(left_s: float | None) -> str:
    """Say how much time is left."""
    if left_s is None:
        return say("How long it takes is known once the first part is done.")
    if left_s < 60.0:
        return say("Less than a minute is left.")
    return say("About {time} is left.", time=minutes(left_s / 60.0))
