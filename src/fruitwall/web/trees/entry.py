"""The page of one entry: all its fields to correct, and everything that became of it."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from fruitwall.journal.entries import LedgerEntry
from fruitwall.service.corrections import Chain
from fruitwall.service.household import Household, author_words
from fruitwall.service.ledger import DEED_NAMES, GRADES, SIGNS, STAGES, WATER_DEEDS, Body, Deed, Sighting, Stage, says
from fruitwall.service.tree_story import Story
from fruitwall.service.water_entry import amount_words, read_amount
from fruitwall.speech import say
from fruitwall.web.trees.page import tree_url
from fruitwall.web.trees.words import body_words, stage_words
from fruitwall.yard.model import Tree


@dataclass(frozen=True)
class Choice:
    """One of several values."""

    value: str
    words: str
    chosen: bool


@dataclass(frozen=True)
class Version:
    """One step of the history."""

    told: str
    words: str
    note: str
    bring_back: str
    """Id by which it is brought back; empty where it cannot be."""


@dataclass(frozen=True)
class EntryPage:
    """One entry."""

    tree: str
    tree_url: str
    url: str
    words: str
    number: str
    """Id for the correction that the form makes."""
    stands: bool
    rival: bool
    day: str
    clock: str
    kind: str
    grades: list[Choice]
    signs: list[Choice]
    stages: list[Choice]
    deeds: list[Choice]
    minutes: str | None
    litres: str | None
    """How much water was given, with its unit; None where it is no watering."""
    note: str
    photos: list[tuple[str, bool]]
    history: list[Version]
    errors: list[str]


def entry_page(
    story: Story,
    entry: LedgerEntry,
    chain: Chain,
    household: Household,
    *,
    typed: Mapping[str, Sequence[str]] | None = None,
    errors: Sequence[str] = (),
) -> EntryPage:
    """Work out the page of one entry.

    Parameters
    ----------
    story : Story
        Of its tree.
    entry : LedgerEntry
    chain : Chain
        All that became of it.
    household : Household
    typed : Mapping, optional
        What was entered, by field, where the form is shown again.
    errors : sequence of str
        What is wrong with it.

    Returns
    -------
    EntryPage
    """
    body = says(entry) or Body()
    local = entry.at.astimezone(story.zone)
    given = typed or {}

    def one(name: str, value: str) -> str:
        return given[name][0] if given.get(name) else ("" if typed is not None and name in given else value)

    def several(name: str, values: Sequence[str]) -> set[str]:
        return set(given.get(name, ())) if typed is not None else set(values)

    grade = one("grade", _grade(body))
    signs = several("sign", body.signs if isinstance(body, Sighting) else ())
    stage = one("stage", body.stage if isinstance(body, Stage) else "")
    deed = one("deed", body.what if isinstance(body, Deed) else "")
    kept = several("keep", body.photos)
    minutes = f"{body.minutes:g}" if isinstance(body, Deed) and body.minutes is not None else ""
    return EntryPage(
        tree=story.tree.name,
        tree_url=tree_url(story),
        url=f"{tree_url(story)}/{entry.id}",
        words=body_words(body, story, household),
        number=str(uuid.uuid4()),
        stands=entry.id in {its.id for its in chain.standing},
        rival=len(chain.standing) > 1,
        day=one("day", f"{local:%Y-%m-%d}"),
        clock=one("clock", f"{local:%H:%M}"),
        kind=entry.kind,
        grades=[Choice("", say("Looked at, not graded"), grade == "")]
        + [Choice(str(at), f"{at} · {say(name)}", grade == str(at)) for at, (_, name, _told) in enumerate(GRADES)],
        signs=[Choice(key, say(words), key in signs) for key, words in _signs(body)],
        stages=[Choice(key, stage_words(key), stage == key) for key in STAGES],
        deeds=[Choice(key, say(words), deed == key) for key, words in DEED_NAMES.items()]
        if isinstance(body, Deed) and body.what in DEED_NAMES
        else [],
        minutes=one("minutes", minutes) if isinstance(body, Deed) else None,
        litres=one("litres", _litres(body, household)) if isinstance(body, Deed) and body.what in WATER_DEEDS else None,
        note=one("note", body.note),
        photos=[(photo, photo in kept) for photo in body.photos],
        history=[_version(its, chain, story, household) for its in reversed(chain.entries)],
        errors=list(errors),
    )


def _litres(body: Deed, household: Household) -> str:
    return (
        "" if body.litres is None else amount_words(body.litres, household.display).replace("\N{NO-BREAK SPACE}", " ")
    )


def _grade(body: Body) -> str:
    return str(body.grade) if isinstance(body, Sighting) and body.grade is not None else ""


def _signs(body: Body) -> list[tuple[str, str]]:
    """Give the signs to choose from; one of a newer program is kept as it is."""
    strange = [sign for sign in body.signs if sign not in dict(SIGNS)] if isinstance(body, Sighting) else []
    return [*SIGNS, *((sign, sign) for sign in strange)]


def _version(entry: LedgerEntry, chain: Chain, story: Story, household: Household) -> Version:
    """Tell one step: who did it, when, and what it said."""
    by = {"moment": household.moment(entry.received), "name": author_words(entry.author)}
    body = says(entry) or Body()
    before = next((one for one in chain.entries if one.id == entry.replaces), None)
    if before is None:
        told = say("Entered {moment}, {name}", **by)
    elif entry.withdrawn:
        told = say("Taken back {moment}, {name}", **by)
        if chain.standing:
            told = say("Set aside {moment}, {name}: another one holds", **by)
    elif before.withdrawn:
        told = say("Brought back {moment}, {name}", **by)
    elif before.tree != entry.tree:
        told = say("Moved to the tree that was meant {moment}, {name}", **by)
    else:
        told = say("Corrected {moment}, {name}", **by)
    happened = say("of {moment}", moment=household.moment(entry.at))
    return Version(
        told=told,
        words=f"{body_words(body, story, household)} ({happened})",
        note=body.note,
        bring_back=entry.id if entry.id in {one.id for one in chain.back} else "",
    )


def changes_of(
    body: Body, given: Mapping[str, Sequence[str]], added: Sequence[str], household: Household, tree: Tree | None = None
) -> dict[str, object]:
    """Read what a form changes of an entry; what it does not send stays.

    Parameters
    ----------
    body : Body
        As it stands.
    given : Mapping of str to sequence of str
        Fields of the form. ``signs_shown`` and ``photos_shown`` tell that boxes not sent were not ticked.
    added : sequence of str
        Digests of photos that are added.
    household : Household
        Of who corrects: an amount of water is in their unit.
    tree : Tree, optional
        Whose emitter turns minutes into litres.

    Returns
    -------
    dict
        For `corrections.correct`.

    Raises
    ------
    ValueError
        If a number is none; the text says so.
    """
    found: dict[str, object] = {}
    if "note" in given:
        found["note"] = given["note"][0].replace("\r\n", "\n")
    if "grade" in given:
        told = given["grade"][0]
        if told and (not told.isascii() or not told.isdigit()):
            raise ValueError(say("A grade is a number from 0 to 7."))
        found["grade"] = int(told) if told else None
    if "signs_shown" in given:
        known = [key for key, _ in _signs(body)]
        found["signs"] = [key for key in known if key in given.get("sign", ())]
    if "stage" in given:
        found["stage"] = given["stage"][0]
    if given.get("deed", [""])[0] in DEED_NAMES and isinstance(body, Deed) and body.what in DEED_NAMES:
        found |= {"what": given["deed"][0], "words": DEED_NAMES[given["deed"][0]]}
    if "minutes" in given:
        found["minutes"] = _minutes(given["minutes"][0])
    if "litres" in given and isinstance(body, Deed) and given["litres"][0].strip() != _litres(body, household):
        found["litres"] = read_amount(given["litres"][0], household.display, tree)
    if found.get("what", "watered") not in WATER_DEEDS:
        found["litres"] = None
    kept = [photo for photo in body.photos if "photos_shown" not in given or photo in given.get("keep", ())]
    found["photos"] = [*kept, *(photo for photo in added if photo not in kept)]
    return found


def _minutes(text: str) -> float | None:
    text = text.strip().replace(",", ".")
    if not text:
        return None
    try:
        value = float(text)
    except ValueError:
        value = -1.0
    if not 0 <= value <= timedelta(days=1) / timedelta(minutes=1):
        raise ValueError(say("Minutes are a number from 0 to 1440."))
    return value


def moment_of(entry: LedgerEntry, given: Mapping[str, Sequence[str]], zone: ZoneInfo) -> datetime:
    """Read when it happened, on the yard's clock; to the second as it was where the minute is the same.

    Parameters
    ----------
    entry : LedgerEntry
    given : Mapping of str to sequence of str
        Fields of the form.
    zone : ZoneInfo

    Returns
    -------
    datetime, aware

    Raises
    ------
    ValueError
        If it is no day and time; the text says so.
    """
    local = entry.at.astimezone(zone)
    day, clock = (
        given.get("day", [f"{local:%Y-%m-%d}"])[0].strip(),
        given.get("clock", [f"{local:%H:%M}"])[0].strip(),
    )
    if (day, clock[:5]) == (f"{local:%Y-%m-%d}", f"{local:%H:%M}"):
        return entry.at
    try:
        moment = datetime.combine(date.fromisoformat(day), time.fromisoformat(clock), zone)
    except ValueError as error:
        raise ValueError(say("Give the day as 2026-12-22 and the time as 17:20.")) from error
    if not 1900 <= moment.year <= 8999:
        raise ValueError(say("Give the day as 2026-12-22 and the time as 17:20."))
    return moment
