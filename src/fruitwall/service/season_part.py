"""What each part of the season says, in one shape for terminal, page, report and calendar.

A part (cold, chill, water, heat, growth, recovery) works out one document of its own; what is common to all is a
verdict in one sentence, what is assumed or in doubt, one table with a row a tree, and what is to be done and by when.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from pydantic import BaseModel

PartKey = Literal["cold", "chill", "water", "heat", "growth", "recovery"]


@dataclass(frozen=True)
class SeasonTask:
    """Something to be done in the season.

    Attributes
    ----------
    key : str
        The same from day to day as long as the same thing is meant, such as ``water:lemon``; a calendar knows it by it.
    part : str
        Key of the part that asks for it.
    trees : tuple of str
        Ids; none for the whole yard.
    what : str
        In words of who reads, as a thing to do: "Water the lemon: 18 L, 9 minutes of its emitter".
    why : str
        One sentence.
    due : date
        The day on which it should be done.
    not_before : date or None
        First day on which it makes sense.
    minutes : float
        Of work. [min]
    otherwise : str
        What happens if it is left undone; empty where nothing is known.
    steps, cautions : tuple of str
    deed : str or None
        Deed that says that it is done (`service.ledger.DEED_NAMES`); None where nothing is entered.
    urgent : bool
        Whether a tree is hurt if it waits.
    group : str
        What is asked for of several trees at once, in words such as "Water before the freeze"; tasks of one group that
        are due on one day are told together. Empty for a task that stands by itself.
    line : str
        This task within its group, such as "Lemon: 18 L".
    """

    key: str
    part: PartKey
    trees: tuple[str, ...]
    what: str
    why: str
    due: date
    not_before: date | None = None
    minutes: float = 0.0
    otherwise: str = ""
    steps: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    deed: str | None = None
    urgent: bool = False
    group: str = ""
    line: str = ""


@dataclass(frozen=True)
class PartTable:
    """One table.

    Attributes
    ----------
    caption : str
    columns : tuple of str
        The first is the tree.
    rows : tuple of tuple of str
        As many cells as columns, in words and units of who reads.
    trees : tuple of str
        Ids, one for each row.
    """

    caption: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    trees: tuple[str, ...]


@dataclass(frozen=True)
class SeasonPart:
    """What one part of the season says to who reads.

    Attributes
    ----------
    key : str
    title : str
    verdict : str
        One sentence.
    notices : tuple of str
        What is assumed, missing or in doubt, each a sentence with its mend where there is one.
    table : PartTable or None
    tasks : tuple of SeasonTask
        Soonest first.
    document : BaseModel or None
        All of it for programs, in SI.
    sources : tuple of str
        Publications that the reader may look up.
    """

    key: PartKey
    title: str
    verdict: str
    notices: tuple[str, ...] = ()
    table: PartTable | None = None
    tasks: tuple[SeasonTask, ...] = ()
    document: BaseModel | None = None
    sources: tuple[str, ...] = field(default=())
