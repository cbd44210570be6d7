"""The sheet for a helper who does not know the trees: places numbered as they are walked, and every step in words.

Made from the evening plan and the yard alone; page and file lay it out.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from fruitwall.service.evening_document import EveningPlan, Task
from fruitwall.service.household import Household, decimal, long_day, minutes, short_day
from fruitwall.service.words import OCCASIONS
from fruitwall.speech import marked, say, say_chain, say_count, say_list
from fruitwall.yard.display import format_quantity
from fruitwall.yard.model import Canopy, Fence, Hollow, Wall

if TYPE_CHECKING:
    from fruitwall.yard.model import Tree, Yard

NEAR_M = 3.0
"""How far a tree may stand from a thing to be called near it. Our judgement. [m]"""

POTS = {
    "plastic": marked("in a plastic pot of {volume}"),
    "clay": marked("in a clay pot of {volume}"),
    "timber": marked("in a wooden tub of {volume}"),
    "fabric": marked("in a cloth bag of {volume}"),
    "metal": marked("in a metal tub of {volume}"),
}

LANDMARKS = {
    "roof": (marked("under {place}"), 0.0),
    "building": (marked("near {place}"), NEAR_M),
    "wall": (marked("near {place}"), NEAR_M),
    "paving": (marked("on {place}"), 0.0),
    "pond": (marked("near {place}"), NEAR_M),
    "canopy": (marked("under {place}"), 0.0),
    "fence": (marked("near {place}"), NEAR_M),
}
"""What a helper can see, the surest sign first: the words for being there, and how far off it still holds. [m]"""


@dataclass(frozen=True)
class SheetTask:
    """One thing to do at a place."""

    what: str
    steps: list[str]
    as_at: list[int]
    """Places at which the rest of its steps is told in full."""
    person: str | None
    hours: str
    """From or by when, where that differs from its heading; empty if not."""
    heavy: bool
    """Whether lifting it is above the limit."""
    heed: list[int]
    """Numbers of the cautions that belong to it."""

    @property
    def as_at_words(self) -> str:
        """Name the places of `as_at`: "1 and 3"."""
        return say_list([str(number) for number in self.as_at])

    @property
    def heed_words(self) -> str:
        """Name the cautions of `heed`: "4, 5, 6"."""
        return ", ".join(str(number) for number in self.heed)


@dataclass(frozen=True)
class SheetStop:
    """One place of the walk."""

    number: int
    name: str
    trees: list[str]
    """Each tree there in words: size, pot, what it stands near."""
    tasks: list[SheetTask]


@dataclass(frozen=True)
class SheetGroup:
    """Places to be walked to with one deadline."""

    heading: str
    by: str
    """Time of day; empty if each task has its own."""
    stops: list[SheetStop]


@dataclass(frozen=True)
class Sheet:
    """All that stands on the paper but the drawing."""

    yard: str
    night: str
    summary: str
    """How much there is to do and until when, in one sentence."""
    evening: list[SheetGroup]
    morning: list[SheetGroup]
    gear: list[str]
    """What to take along, with how many and which size."""
    gear_lies: str
    cautions: list[str]
    places: dict[int, list[str]]
    """Identifiers of the trees at each numbered place."""
    made: str


def sheet_of(plan: EveningPlan, yard: Yard) -> Sheet:
    """Write the sheet of a plan.

    Parameters
    ----------
    plan : EveningPlan
    yard : Yard
        For sizes, pots and names of gear.

    Returns
    -------
    Sheet
    """
    household = Household(yard.display, ZoneInfo(plan.time_zone))
    writer = _Writer(plan, yard, household)
    evening = writer.groups(plan.tasks)
    morning = writer.groups(plan.morning, afresh=True)
    last = max((task.deadline for task in plan.tasks), default=None)
    summary = (
        say(
            "{things} to do at {places}, about {minutes} of work; all must be done by {last}. The sun sets at "
            "{sunset}.",
            things=say_count("{count} thing", "{count} things", len(plan.tasks)),
            places=say_count("{count} place", "{count} places", writer.evening_places(evening)),
            minutes=minutes(plan.minutes),
            last=household.clock(last),
            sunset=household.clock(plan.sunset),
        )
        if last is not None
        else say("Nothing has to be done this evening.")
    )
    morning_after = short_day(plan.night + timedelta(days=1))
    return Sheet(
        yard=plan.yard,
        night=say("{night}, to the morning of {morning}", night=long_day(plan.night), morning=morning_after),
        summary=summary,
        evening=evening,
        morning=morning,
        gear=_gear(plan.tasks, yard, household),
        gear_lies=_where(yard, yard.gear_store),
        cautions=writer.cautions,
        places=writer.places,
        made=say("Made {moment} by fruitwall", moment=household.moment(plan.made)),
    )


class _Writer:
    """Numbers places in the order in which they are met, and tells what was told before only once."""

    def __init__(self, plan: EveningPlan, yard: Yard, household: Household) -> None:
        self._trees = {tree.id: tree for tree in yard.trees}
        self._names = {tree.id: tree.name for tree in plan.trees}
        self._yard = yard
        self._household = household
        self._told: dict[str, int] = {}
        self._numbers: dict[tuple[object, ...], int] = {}
        self._place_of: dict[str, int] = {}
        self._seen: set[str] = set()
        self.cautions = list(plan.cautions)
        self.places: dict[int, list[str]] = {}

    def groups(self, tasks: Sequence[Task], *, afresh: bool = False) -> list[SheetGroup]:
        """Lay out tasks by occasion and place; afresh, nothing counts as told before."""
        if afresh:
            self._told.clear()
        found = []
        for when, heading in OCCASIONS.items():
            of_occasion = sorted((task for task in tasks if task.when == when), key=lambda task: task.order)
            if not of_occasion:
                continue
            deadlines = {self._household.clock(task.deadline) for task in of_occasion}
            same = len(deadlines) == 1 and when != "when_mild"
            stops: list[SheetStop] = []
            for task in of_occasion:
                number = self._number(task)
                line = self._task(task, number, hours="" if same else self._hours(task))
                if stops and stops[-1].number == number:
                    stops[-1].tasks.append(line)
                    stops[-1].trees.extend(self._tree_words(task))
                else:
                    stops.append(SheetStop(number, self._place_name(task), self._tree_words(task), [line]))
            found.append(SheetGroup(say(heading), deadlines.pop() if same else "", stops))
        return found

    def evening_places(self, groups: Iterable[SheetGroup]) -> int:
        """Count the places of some groups."""
        return len({stop.number for group in groups for stop in group.stops})

    def _number(self, task: Task) -> int:
        """Give the number of a task's place: that of its trees if they have one in common, else the next."""
        key: tuple[object, ...] = tuple(sorted(task.trees)) or ("at", *task.position)
        if key not in self._numbers:
            theirs = {self._place_of[tree] for tree in task.trees if tree in self._place_of}
            number = theirs.pop() if len(theirs) == 1 else len(self.places) + 1
            self._numbers[key] = number
            here = self.places.setdefault(number, [])
            here += [tree for tree in task.trees if tree not in here]
            for tree in task.trees:
                self._place_of.setdefault(tree, number)
        return self._numbers[key]

    def _task(self, task: Task, number: int, *, hours: str) -> SheetTask:
        """Write one task; a step that stands above in full is only pointed to."""
        new = [step for step in task.steps if step not in self._told]
        as_at = sorted({self._told[step] for step in task.steps if step in self._told} - {number})
        self._told.update(dict.fromkeys(new, number))
        for caution in task.cautions:
            if caution not in self.cautions:
                self.cautions.append(caution)
        return SheetTask(
            what=task.what,
            steps=new,
            as_at=as_at,
            person=task.person,
            hours=hours,
            heavy=task.lifting_index is not None and task.lifting_index > 1,
            heed=sorted(self.cautions.index(caution) + 1 for caution in task.cautions),
        )

    def _hours(self, task: Task) -> str:
        """Say from or by when."""
        if task.not_before is not None:
            return say("not before {moment}", moment=self._household.moment(task.not_before))
        return say("by {time}", time=self._household.clock(task.deadline))

    def _place_name(self, task: Task) -> str:
        """Name a place by its shelter or its trees."""
        for shelter in self._yard.shelters:
            if len(task.trees) > 1 and set(task.trees) <= set(shelter.trees):
                return shelter.name
        return ", ".join(self._names.get(tree, tree) for tree in task.trees) or task.what

    def _tree_words(self, task: Task) -> list[str]:
        """Tell how each tree of a task looks, the first time that it is met."""
        new = [self._trees[tree] for tree in task.trees if tree in self._trees and tree not in self._seen]
        self._seen.update(task.trees)
        return [self._one(tree, alone=len(task.trees) == 1) for tree in new]

    def _one(self, tree: Tree, *, alone: bool) -> str:
        """Tell one tree, with its name where there are several."""
        words = tree_words(tree, self._yard, self._household)
        return words if alone else f"{tree.name}: {words}"


def tree_words(tree: Tree, yard: Yard, household: Household) -> str:
    """Tell by what a tree is known: size, pot, and what it stands near.

    Parameters
    ----------
    tree : Tree
    yard : Yard
    household : Household

    Returns
    -------
    str
        Such as "1.8 m tall, 1.4 m across, in the ground, near House".
    """
    parts = [
        say("{length} tall", length=household.length(tree.height_m)),
        say("{length} across", length=household.length(tree.crown_diameter_m)),
    ]
    pot = tree.container
    if pot is None:
        parts.append(say("in the ground"))
    else:
        parts.append(say(POTS[pot.material], volume=decimal(format_quantity(pot.volume_l, "volume", yard.display))))
        if pot.mass_kg is not None:
            parts.append(say("weighs {mass}", mass=decimal(format_quantity(pot.mass_kg, "mass", yard.display))))
    where = _where(yard, tree.position)
    return say_chain([*parts, where] if where else parts, ",")


def _where(yard: Yard, position: tuple[float, float]) -> str:
    """Say what a place is under, on or near; nothing if nothing stands there."""
    from shapely import LineString, Point, Polygon

    here = Point(position)
    found: list[tuple[float, int, str]] = []
    for structure in yard.structures:
        match structure:
            case Hollow():
                continue  # nobody sees it
            case Canopy():
                away = max(here.distance(Point(structure.position)) - structure.crown_diameter_m / 2, 0.0)
            case Wall() | Fence():
                away = here.distance(LineString(structure.line))
            case _:
                away = here.distance(Polygon(structure.outline))
        word, within_m = LANDMARKS[structure.kind]
        if away <= within_m:
            found.append((round(away, 1), list(LANDMARKS).index(structure.kind), say(word, place=structure.name)))
    return min(found)[2] if found else ""


def _gear(tasks: Sequence[Task], yard: Yard, household: Household) -> list[str]:
    """List what to take along, with how many; what is carried from place to place is counted once."""
    gear = yard.gear
    covers = {
        cover.id: say(
            "{name}, {width} by {length}",
            name=cover.name,
            width=household.length(cover.width_m),
            length=household.length(cover.length_m),
        )
        for cover in gear.covers
    }
    once = {thing.id: thing.name for thing in gear.trolleys}
    names = covers | {thing.id: thing.name for things in (gear.lamps, gear.heaters, gear.leads) for thing in things}
    used = [thing for task in tasks for thing in task.gear]
    counted = [f"{used.count(key)} × {name}" for key, name in names.items() if key in used]
    return counted + [name for key, name in once.items() if key in used]
