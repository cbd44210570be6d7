"""What each tree went through in nights that are over, as the plans that were stored for them computed it.

Only what is needed is read, by its name in the document, so that plans of other versions of the program still tell it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from math import nan
from typing import TYPE_CHECKING, Any

from pydantic import ValidationError
from pydantic_core import from_json

from fruitwall.journal.listing import plans_made
from fruitwall.service.evening_document import PhraseOf
from fruitwall.service.kept import Kept
from fruitwall.service.ledger import DEED_NAMES
from fruitwall.service.reader import book_from
from fruitwall.service.ticks import AFTER, tick_mark
from fruitwall.service.water_entry import amount_words
from fruitwall.speech import Book, say, writing

if TYPE_CHECKING:
    from fruitwall.journal.entries import StoredPlan
    from fruitwall.journal.store import Journal
    from fruitwall.service.house import House
    from fruitwall.service.household import Household
    from fruitwall.service.ledger import Deed


@dataclass(frozen=True)
class NightFelt:
    """What one tree went through in one night, as the last plan of that night computed it.

    Attributes
    ----------
    night : date
        Of the evening.
    tissue : str
        The most endangered one.
    measure : str
        Key of what was planned for it; ``leave`` for nothing.
    measure_name : str
        In words, in English.
    alone_c, planned_c : float
        Coldest of that tissue, median: left alone, and with what was planned. [°C]
    margin_alone_k, margin_planned_k : float
        That minus what it stands. [K]
    stands_c : tuple of float
        What that tissue stands: tenth, fiftieth and ninetieth percentile; not a number where the plan does not say.
        [°C]
    minutes : float
        What the plan asked for this tree that evening and after it; work for several trees is shared among them. [min]
    asked : tuple of str
        Keys of what the evening's checklist asked for it.
    """

    night: date
    tissue: str
    measure: str
    measure_name: str
    alone_c: float
    planned_c: float
    margin_alone_k: float
    margin_planned_k: float
    stands_c: tuple[float, float, float] = (nan, nan, nan)
    minutes: float = 0.0
    asked: tuple[str, ...] = ()


@dataclass(frozen=True)
class NightRead:
    """One night of the journal.

    Attributes
    ----------
    night : date
    sunrise : datetime, aware
        After it.
    felt : Mapping of tree to NightFelt
    words : Mapping of str to str
        What its tasks say, in English, by the key under which they are ticked.
    book : Book
        What made these sentences, to say them in another language.
    standing : frozenset of str
        Keys of what stood since an earlier night and was used.
    """

    night: date
    sunrise: datetime
    felt: Mapping[str, NightFelt]
    words: Mapping[str, str] = field(default_factory=dict)
    book: Book = field(default_factory=Book)
    standing: frozenset[str] = frozenset()

    def said(self, text: str, household: Household) -> str:
        """Say a sentence of that night's plan in the language and the units of who reads."""
        with writing(household.again):
            return self.book.said(text)


def nights_read(house: House, yard: str, now: datetime, *, back: int) -> list[NightRead]:
    """Read the last plans of the last nights, that of tonight as well.

    Parameters
    ----------
    house : House
    yard : str
        Name of the yard.
    now : datetime, aware
    back : int
        How many days back at most.

    Returns
    -------
    list of NightRead
        Oldest first. A night without a plan is not known.
    """
    # A plan of tomorrow night may be there already; two days ahead of UTC's date is ahead of every zone's.
    ahead = now.date() + timedelta(days=2)
    earliest = now.date() - timedelta(days=back + 1)
    made = plans_made(house.journal, since=earliest, until=ahead, yard=yard)
    last = {plan.night: plan.id for plan in made}
    read = [_night_of(house.journal, number) for number in last.values()]
    return [night for night in read if night is not None]


def _night_of(journal: Journal, number: int) -> NightRead | None:
    return _NIGHTS.of(journal, key=number, make=lambda: _night(journal.plan(number)))


_NIGHTS: Kept[NightRead | None] = Kept(240)
"""Nights as they were read, by the numbers of their plans: a winter, and a half for whoever has two yards."""


def deed_words(deed: Deed, nights: Mapping[date, NightRead], household: Household) -> str:
    """Say what was done in the language and the units of who reads, whatever the telephone spoke that entered it.

    Parameters
    ----------
    deed : Deed
    nights : Mapping of date to NightRead
    household : Household
        Of who reads.

    Returns
    -------
    str
        As it was entered, where it is no deed of `DEED_NAMES` and no plan tells of it.
    """
    if deed.what in DEED_NAMES:
        done = say(DEED_NAMES[deed.what])
        return done if deed.litres is None else f"{done}: {amount_words(deed.litres, household.display)}"
    night = nights.get(deed.night) if deed.night is not None else None
    if night is None or deed.what not in night.words:
        return deed.words
    return night.said(night.words[deed.what], household)


def _night(stored: StoredPlan) -> NightRead | None:
    try:
        document = from_json(stored.document)  # a winter of plans: twice as fast as json
        sunrise = datetime.fromisoformat(document["sunrise"])
        tasks = [*document.get("tasks", ()), *document.get("morning", ())]
        felt = {str(tree["id"]): _felt(tree, stored.night, document) for tree in document["trees"]}
        words = {_key(task, document): str(task["what"]) for task in tasks}
        words |= {str(task["key"]): str(task["what"]) for task in document.get("done", ())}
        names = {one.measure_name for one in felt.values()}
        book = _book(document.get("phrases", {}), names | set(words.values()))
        standing = frozenset(str(part["key"]) for part in document.get("standing", ()) if part.get("used", True))
    except (ValueError, KeyError, TypeError, AttributeError, ValidationError):
        return None
    if sunrise.utcoffset() is None:
        return None
    return NightRead(stored.night, sunrise, felt, words, book, standing)


def _felt(tree: Mapping[str, Any], night: date, document: Mapping[str, Any]) -> NightFelt:
    name = str(tree["id"])
    stands = tree.get("tolerance_c") or {}
    minutes, asked = 0.0, []
    for task in (*document.get("tasks", ()), *document.get("morning", ())):
        if name in task["trees"]:
            minutes += _float(task["minutes"]) / len(task["trees"])
            if task["when"] not in AFTER:
                asked.append(_key(task, document))
    for task in document.get("done", ()):
        theirs = _trees_of(str(task["key"]), document)
        if name in theirs:
            minutes += _float(task.get("minutes", 0.0)) / len(theirs)
            asked.append(str(task["key"]))
    return NightFelt(
        night=night,
        tissue=str(tree["tissue"]),
        measure=str(tree["measure"]),
        measure_name=str(tree["measure_name"]),
        alone_c=_float(tree["tissue_min_c"]["nothing"]["p50"]),
        planned_c=_float(tree["tissue_min_c"]["chosen"]["p50"]),
        margin_alone_k=_float(tree["margin_k"]["nothing"]),
        margin_planned_k=_float(tree["margin_k"]["chosen"]),
        stands_c=(_float(stands.get("p10")), _float(stands.get("p50")), _float(stands.get("p90"))),
        minutes=minutes,
        asked=tuple(asked),
    )


def _key(task: Mapping[str, Any], document: Mapping[str, Any]) -> str:
    """Give the key under which a task is ticked."""
    return tick_mark(
        str(document.get("yard", "")),
        str(document.get("night", "")),
        key=str(task.get("key", "")),
        when=str(task["when"]),
        what=str(task["what"]),
        trees=[str(tree) for tree in task["trees"]],
    )


def _trees_of(key: str, document: Mapping[str, Any]) -> list[str]:
    """Give the trees of what is done, by its key: that of one tree ends in it, else in the shelter over several."""
    place = key.rpartition("@")[2] if "@" in key else key.rpartition(":")[2]
    trees = [str(tree["id"]) for tree in document["trees"]]
    if place in trees:
        return [place]
    mark = f"shelter:{place}"
    return [str(tree["id"]) for tree in document["trees"] if mark in str(tree["measure"]).split("+")]


def _book(phrases: Mapping[str, Any], texts: set[str]) -> Book:
    """Read what made some sentences, and what made the sentences within them."""
    wanted, found = set(texts), dict[str, PhraseOf]()
    while wanted:
        text = wanted.pop()
        # A book looks for a sentence without its full stop and its capital as well.
        bare = text.removesuffix(".")
        forms = {one for form in (text, bare) for one in (form, form[:1].lower() + form[1:])}
        for form in forms & phrases.keys() - found.keys():
            found[form] = PhraseOf.model_validate(phrases[form])
            wanted |= {value for value in found[form].values.values() if isinstance(value, str)}
    return book_from(found)


def _float(value: object) -> float:
    """Read a number; what is unknown is null in the document."""
    return float(value) if isinstance(value, int | float) else nan
