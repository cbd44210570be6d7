"""The pages of the walk, worked out before their templates see them."""

from __future__ import annotations

import json
import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import timedelta
from urllib.parse import quote

from markupsafe import Markup

from fruitwall.service.doubtful import Doubt
from fruitwall.service.household import Household, ago
from fruitwall.service.ledger import GRADES, STAGES, WALK_SIGNS
from fruitwall.service.stages_told import stage_words
from fruitwall.service.walk import Stop, Walk
from fruitwall.speech import say, say_count
from fruitwall.web.causes.page import cause_url
from fruitwall.web.walk.drawings import grade_picture
from fruitwall.web.walk.words import (
    corrections,
    kind_beside,
    last_look,
    looked,
    short_margin,
    waiting_words,
    went_through,
)

COMMON = ("pale", "yellow", "brown", "tips", "fallen", "new_growth")
"""Signs that stand open; the others are one touch away. Our judgement."""

CORRECTABLE = timedelta(hours=24)
"""How old a look may be for its correction to be offered here; older ones are corrected on the tree's page."""


JUST_NOW = timedelta(minutes=5)
"""So long after a stage was entered its choices stay open. Our judgement."""


@dataclass(frozen=True)
class StopLine:
    """One tree in the list of the walk."""

    id: str
    number: int
    name: str
    url: str
    last: str
    margin: str | None
    seen: bool
    conflict: bool
    cause_url: str
    """Of what the last look may come of; empty where nothing was wrong."""
    doubt: str
    """Why the last look can hardly be as entered; empty for nothing."""


@dataclass(frozen=True)
class WalkPage:
    """The whole walk."""

    yard: str
    progress: str
    start_url: str
    start: str
    """Words of the link that begins or goes on."""
    stops: list[StopLine]
    urls: list[str]
    photos: list[str]
    words: str
    """What the script says, as JSON."""
    grades: str


@dataclass(frozen=True)
class GradeChoice:
    """One large button."""

    value: int
    name: str
    told: str
    picture: Markup
    chosen: bool


@dataclass(frozen=True)
class SignChoice:
    """One toggle."""

    value: str
    words: str
    chosen: bool


@dataclass(frozen=True)
class Typed:
    """What was entered before, where a form is shown again."""

    grade: int | None = None
    signs: tuple[str, ...] = ()
    note: str = ""
    corrects: bool = False
    errors: tuple[str, ...] = ()


@dataclass(frozen=True)
class StopPage:
    """One tree of the walk."""

    id: str
    number: int
    name: str
    kind: str
    place: str
    photo: str | None
    """Address of the newest photo, small."""
    photo_large: str | None
    photo_told: str
    went_through: list[str]
    last: str
    just_seen: tuple[str, str] | None
    """What the look just entered at the tree before may come of: address and words; None where nothing was wrong."""
    cause_url: str
    doubt: str
    same: str | None
    """What "the same as last time" means; None if there was no grade."""
    same_body: str
    """Grade and signs of then, as JSON."""
    conflict: list[tuple[str, str]]
    """Corrections of one look: id and words of each."""
    grades: list[GradeChoice]
    common: list[SignChoice]
    more: list[SignChoice]
    more_open: bool
    note: str
    errors: list[str]
    entry: str
    """Id of the entry that this form makes: sent twice, it is stored once."""
    corrects: str | None
    """Id of the look that may be corrected."""
    corrects_words: str
    corrects_chosen: bool
    url: str
    next_url: str
    next_words: str
    previous_url: str
    urls: list[str] = field(default_factory=list)
    photos: list[str] = field(default_factory=list)
    words: str = "{}"
    grade_words: str = "[]"
    stages: list[tuple[str, str]] = field(default_factory=list)
    stage_now: str = ""
    """The growth stage that was entered last, and how long ago; empty for none."""
    stage_open: bool = False
    """Whether it was entered just now."""


def stop_url(tree: str) -> str:
    """Give the address of a tree in the walk."""
    return f"/walk/{quote(tree, safe='')}"


def walk_page(walk: Walk, household: Household, doubts: Mapping[str, Doubt] | None = None) -> WalkPage:
    """Lay out the whole walk.

    Parameters
    ----------
    walk : Walk
    household : Household
        In whose units it is read.
    doubts : Mapping of str to Doubt, optional
        Looks that can hardly be as entered, by entry.

    Returns
    -------
    WalkPage
    """
    left = [stop for stop in walk.stops if not stop.seen]
    first = (left or walk.stops)[0]
    if not walk.seen:
        start = say("Begin the walk")
    elif left:
        start = say("Go on with {number} {name}", number=first.number, name=first.tree.name)
    else:
        start = say("Walk again")
    total = say_count("{count} tree", "{count} trees", len(walk.stops))
    return WalkPage(
        yard=walk.yard.name,
        progress=say("{trees}, {seen} looked at in the last 12 hours.", trees=total, seen=walk.seen),
        start_url=stop_url(first.tree.id),
        start=start,
        stops=[
            StopLine(
                id=stop.tree.id,
                number=stop.number,
                name=stop.tree.name,
                url=stop_url(stop.tree.id),
                last=last_look(stop.last, walk.now),
                margin=short_margin(stop, household),
                seen=stop.seen,
                conflict=bool(stop.rivals),
                cause_url=_cause_url(stop),
                doubt=_doubt(stop, doubts),
            )
            for stop in walk.stops
        ],
        urls=_urls(walk),
        photos=_photos(walk),
        words=_words(),
        grades=_grade_words(),
    )


def stop_page(
    walk: Walk,
    at: int,
    household: Household,
    typed: Typed | None = None,
    doubts: Mapping[str, Doubt] | None = None,
) -> StopPage:
    """Lay out one tree of the walk.

    Parameters
    ----------
    walk : Walk
    at : int
        Place of the tree in the walk.
    household : Household
    typed : Typed, optional
        What was entered, where the form is shown again.
    doubts : Mapping of str to Doubt, optional
        Looks that can hardly be as entered, by entry.

    Returns
    -------
    StopPage
    """
    stop = walk.stops[at]
    entered = typed or Typed()
    last_one = at + 1 == len(walk.stops)
    after = None if last_one else walk.stops[at + 1]
    last = stop.last
    fresh = last is not None and walk.now - last.entry.at <= CORRECTABLE
    taken = stop.photo
    signs = [SignChoice(key, say(words), key in entered.signs) for key, words in WALK_SIGNS]
    more = [sign for sign in signs if sign.value not in COMMON]
    return StopPage(
        id=stop.tree.id,
        number=stop.number,
        name=stop.tree.name,
        kind=kind_beside(stop.tree),
        place=say("{place} of {count} on this walk", place=at + 1, count=len(walk.stops)),
        photo=f"/photos/{taken[0]}-small.jpg" if taken else None,
        photo_large=f"/photos/{taken[0]}.jpg" if taken else None,
        photo_told=say("Photo of {moment}", moment=household.moment(taken[1])) if taken else say("No photo so far"),
        went_through=went_through(stop, walk, household),
        last=last_look(last, walk.now),
        just_seen=_just_seen(walk.stops[at - 1]) if at else None,
        cause_url=_cause_url(stop),
        doubt=_doubt(stop, doubts),
        same=looked(last.sighting) if last is not None and last.sighting.grade is not None else None,
        same_body=_same_body(stop),
        conflict=corrections(stop.rivals, household),
        grades=[
            GradeChoice(value, say(name), say(told), grade_picture(value), entered.grade == value)
            for value, (_, name, told) in enumerate(GRADES)
        ],
        common=[sign for key in COMMON for sign in signs if sign.value == key],
        more=more,
        more_open=any(sign.chosen for sign in more),
        note=entered.note,
        errors=list(entered.errors),
        entry=str(uuid.uuid4()),
        corrects=last.entry.id if last is not None and fresh else None,
        corrects_words=say("Corrects the look of {time}", time=household.clock(last.entry.at)) if last else "",
        corrects_chosen=entered.corrects,
        url=stop_url(stop.tree.id),
        next_url="/walk" if after is None else stop_url(after.tree.id),
        next_words=say("the end of the walk") if after is None else f"{after.number} {after.tree.name}",
        previous_url="/walk" if at == 0 else stop_url(walk.stops[at - 1].tree.id),
        urls=_urls(walk),
        photos=_photos(walk),
        words=_words(),
        grade_words=_grade_words(),
        stages=[(key, stage_words(key)) for key in STAGES],
        stage_now=f"{stage_words(stop.stage[0])}, {ago(stop.stage[1].at, walk.now)}" if stop.stage is not None else "",
        stage_open=stop.stage is not None and walk.now - stop.stage[1].received <= JUST_NOW,
    )


def _cause_url(stop: Stop) -> str:
    """Give where it is told what the last look may come of."""
    last = stop.last
    return cause_url(stop.tree.id, last.entry.id) if last is not None and last.sighting.grade else ""


def _just_seen(stop: Stop) -> tuple[str, str] | None:
    url = _cause_url(stop)
    return (url, say("{name}: what is it?", name=stop.tree.name)) if stop.seen and url else None


def _doubt(stop: Stop, doubts: Mapping[str, Doubt] | None) -> str:
    found = (doubts or {}).get(stop.last.entry.id) if stop.last is not None else None
    return f"{found.words} {found.mend}" if found is not None else ""


def _same_body(stop: Stop) -> str:
    last = stop.last
    if last is None or last.sighting.grade is None:
        return "{}"
    signs = {"signs": last.sighting.signs} if last.sighting.signs else {}
    return json.dumps({"grade": last.sighting.grade, **signs})


def _urls(walk: Walk) -> list[str]:
    return ["/walk", *(stop_url(stop.tree.id) for stop in walk.stops)]


def _photos(walk: Walk) -> list[str]:
    return [f"/photos/{stop.photo[0]}-small.jpg" for stop in walk.stops if stop.photo]


def _words() -> str:
    return json.dumps(waiting_words(), ensure_ascii=False)


def _grade_words() -> str:
    return json.dumps([say(name) for _, name, _ in GRADES], ensure_ascii=False)
