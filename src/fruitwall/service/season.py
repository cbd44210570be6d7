"""The season of a yard: its parts in one place, and all that is to be done."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from hashlib import sha256
from importlib import import_module
from typing import TYPE_CHECKING, Literal

from fruitwall.errors import FruitwallError, NoYard
from fruitwall.service.season_part import PartKey, SeasonPart, SeasonTask
from fruitwall.speech import marked, say

if TYPE_CHECKING:
    from datetime import date

    from fruitwall.service.house import House
    from fruitwall.service.household import Household

MAKERS: dict[PartKey, str] = {
    "cold": "cold_season:cold_part",
    "chill": "chill_season:chill_part",
    "heat": "heat_words:heat_part",
    "water": "water_season:water_part",
    "growth": "growth_season:growth_part",
    "recovery": "recovery_season:recovery_part",
}
"""Where each part is made, as ``module:function`` below `fruitwall.service`; in the order of a page. A maker takes the
house and the household of who reads and gives a `SeasonPart`. By name, so that nothing is loaded before it is asked."""


def season_part(key: PartKey, house: House, household: Household) -> SeasonPart:
    """Work out one part of the season.

    Parameters
    ----------
    key : str
        One of `MAKERS`.
    house : House
    household : Household
        Of who reads.

    Returns
    -------
    SeasonPart
    """
    module, _, function = MAKERS[key].partition(":")
    make: Callable[[House, Household], SeasonPart] = getattr(import_module(f"fruitwall.service.{module}"), function)
    return make(house, household)


def season_parts(house: House, household: Household) -> list[SeasonPart]:
    """Work out all parts, in the order of a page."""
    return [season_part(key, house, household) for key in MAKERS]


TITLES: dict[PartKey, str] = {
    "cold": marked("Cold"),
    "chill": marked("Chill"),
    "water": marked("Water"),
    "heat": marked("Heat"),
    "growth": marked("Growth"),
    "recovery": marked("Recovery"),
}


@dataclass(frozen=True)
class Part:
    """One part as it could be worked out.

    Attributes
    ----------
    key, title : str
    told : SeasonPart or None
        None where it could not be.
    wrong : str
        Why not, and the mend; empty otherwise.
    """

    key: PartKey
    title: str
    told: SeasonPart | None
    wrong: str = ""


def season_parts_told(house: House, household: Household) -> list[Part]:
    """Work out all parts; one that cannot be worked out says so and leaves the others alone.

    Parameters
    ----------
    house : House
    household : Household
        Of who reads.

    Returns
    -------
    list of Part
        In the order of a page.
    """
    found = []
    for key in MAKERS:
        title = say(TITLES[key])
        try:
            found.append(Part(key, title, season_part(key, house, household)))
        except NoYard:
            raise
        except FruitwallError as error:
            found.append(Part(key, title, None, str(error)))
    return found


def season_tasks(parts: Iterable[SeasonPart]) -> list[SeasonTask]:
    """Give what is to be done, soonest first; on one day what cannot wait first, then in the order of `TITLES`."""
    return sorted((task for part in parts for task in part.tasks), key=_order)


def _order(task: SeasonTask) -> tuple[date, bool, int, str]:
    return task.due, not task.urgent, list(TITLES).index(task.part), task.key


@dataclass(frozen=True)
class TaskGroup:
    """One thing to do, for one tree or for several on the same day.

    Attributes
    ----------
    key : str
        The same from day to day, for a calendar.
    what : str
    tasks : tuple of SeasonTask
        At least one.
    """

    key: str
    what: str
    tasks: tuple[SeasonTask, ...]

    @property
    def first(self) -> SeasonTask:
        """Whose day, reason and part are those of all."""
        return self.tasks[0]

    @property
    def urgent(self) -> bool:
        """Whether one of them cannot wait."""
        return any(one.urgent for one in self.tasks)

    @property
    def minutes(self) -> float:
        """Work of all of them. [min]"""
        return sum(one.minutes for one in self.tasks)

    @property
    def lines(self) -> tuple[str, ...]:
        """One line for each where there are several."""
        return tuple(one.line or one.what for one in self.tasks) if len(self.tasks) > 1 else ()

    @property
    def why(self) -> tuple[str, ...]:
        """Reasons and what happens otherwise that hold for all; those of single ones stand in `told`."""
        return tuple(text for text in (self._shared("why"), self._shared("otherwise")) if text)

    @property
    def told(self) -> tuple[str, ...]:
        """The lines, each with the reasons that are its own."""
        if len(self.tasks) == 1:
            return ()
        found = []
        for line, task in zip(self.lines, self.tasks, strict=True):
            own = [task.why] if not self._shared("why") else []
            own += [task.otherwise] if not self._shared("otherwise") else []
            found.append(". ".join([line, " ".join(text for text in own if text)]).removesuffix(". "))
        return tuple(found)

    def _shared(self, name: Literal["why", "otherwise"]) -> str:
        texts = {getattr(task, name) for task in self.tasks}
        return str(texts.pop()) if len(texts) == 1 else ""

    @property
    def steps(self) -> tuple[str, ...]:
        """Steps of all, each once."""
        return self._once(*(one.steps for one in self.tasks))

    @property
    def cautions(self) -> tuple[str, ...]:
        """Cautions of all, each once."""
        return self._once(*(one.cautions for one in self.tasks))

    def _once(self, *texts: Iterable[str]) -> tuple[str, ...]:
        return tuple(dict.fromkeys(text for some in texts for text in some if text))


def task_groups(tasks: Sequence[SeasonTask]) -> list[TaskGroup]:
    """Put tasks of one group and day together.

    Parameters
    ----------
    tasks : sequence of SeasonTask

    Returns
    -------
    list of TaskGroup
        Soonest first; on one day what cannot wait before what can.
    """
    found: dict[tuple[object, ...], list[SeasonTask]] = {}
    for task in tasks:
        key = (task.part, task.group, task.due, task.deed, task.urgent) if task.group else (task.key,)
        found.setdefault(key, []).append(task)
    groups = [
        TaskGroup(its[0].key, its[0].what, (its[0],))
        if len(its) == 1
        else TaskGroup(f"{its[0].part}:{sha256(its[0].group.encode()).hexdigest()[:12]}", its[0].group, tuple(its))
        for its in found.values()
    ]
    return sorted(groups, key=lambda one: (one.first.due, not one.urgent, *_order(one.first)[2:]))
