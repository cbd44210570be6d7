"""The evening as a problem and as a solution: what `plans.evening` takes and gives.

Everything is data: arrays of expected loss from the models, parts from `plans.measures`, supplies from the yard.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from fruitwall.plans.parts import Measure, Part, Setting, Way
from fruitwall.plans.replan import carried_out
from fruitwall.plans.worst import check_members
from fruitwall.speech import marked
from fruitwall.yard.model import Prices

TROUBLE = 0.5
"""Price of every part put in place, whatever it takes, so that trifles are not asked of people. common practice, no
source. [currency]"""

SupplyKind = Literal["sheet", "lamps", "heater", "lead", "circuit", "room", "person", "trolley", "paint"]


PAINT = "white"
"""Identifier of the supply of white paint: all tins together."""


@dataclass(frozen=True)
class Supply:
    """Something of which there is only so much on a night.

    Attributes
    ----------
    kind : SupplyKind
        What it is.
    id : str
        Its identifier in the yard; for rooms ``place:<id>`` or ``roof:<id>``.
    name : str
        In words.
    available : float
        How much: pieces, watts (circuit), minutes (person), spaces (room), litres (paint).
    unit : str
        Unit of `available`, in words.
    step : float
        What "one more" means: one piece, one more such circuit, half an hour more.
    """

    kind: SupplyKind
    id: str
    name: str
    available: float
    unit: str = marked("pieces")
    step: float = 1.0

    @property
    def key(self) -> str:
        """``<kind>/<id>``."""
        return f"{self.kind}/{self.id}"


@dataclass(frozen=True)
class Supplies:
    """All that can be used up on an evening."""

    items: tuple[Supply, ...] = ()

    def __post_init__(self) -> None:
        keys = [item.key for item in self.items]
        if len(keys) != len(set(keys)):
            doubles = sorted({key for key in keys if keys.count(key) > 1})
            raise ValueError(f"every supply must stand once, got twice: {', '.join(doubles)}")
        for item in self.items:
            if not (np.isfinite(item.available) and item.available >= 0):
                raise ValueError(f"available of {item.key} must be 0 or more, got {item.available}")

    def of(self, kind: SupplyKind) -> dict[str, Supply]:
        """Give the supplies of one kind by identifier."""
        return {item.id: item for item in self.items if item.kind == kind}

    def find(self, key: str) -> Supply:
        """Give the supply with that key.

        Raises
        ------
        ValueError
            If there is none; the message names those there are.
        """
        for item in self.items:
            if item.key == key:
                return item
        raise ValueError(f"no supply {key!r}; there are: {', '.join(item.key for item in self.items)}")

    def more(self, key: str) -> Supplies:
        """Give the same supplies with one step more of one of them."""
        found = self.find(key)
        grown = replace(found, available=found.available + found.step)
        return Supplies(tuple(grown if item.key == key else item for item in self.items))


@dataclass(frozen=True, eq=False)
class Option:
    """A measure open to a tree and what it is expected to lose under it.

    Attributes
    ----------
    measure : Measure
        What is done.
    loss : ndarray, shape (night,)
        Expected loss of that tree in each night under that measure, 0 or more. [currency]
    by_member : ndarray, shape (night, member), or None
        The same in each member of the forecast; its mean is `loss`. Needed where worst cases are shunned. [currency]
    """

    measure: Measure
    loss: NDArray[np.float64]
    by_member: NDArray[np.float64] | None = None


@dataclass(frozen=True, eq=False)
class EveningProblem:
    """What is to be decided.

    Attributes
    ----------
    trees : tuple of str
        Identifiers.
    options : tuple of tuple of Option
        Per tree; the first is doing nothing (``leave``).
    supplies : Supplies
        What there is.
    prices : Prices
        Of an hour, a lift, a kilowatt-hour. [currency]
    settings : tuple of Setting
        All states of all shared things; the first of a group is the one that takes no work.
    in_place : frozenset of str
        Keys of parts that stand since an earlier night: they cost their minutes again, not the setting up.
    done : frozenset of str
        Keys of parts already done this evening: they cost nothing more tonight. A measure of which every part is done
        stays: nobody is asked to undo tonight what was done tonight (see `kept`). Keys that no part has are ignored.
    hanging : Mapping of part key to sheet
        Which sheet each cover in place is; a sheet that hangs stays where it is if it can.
    night_weights : ndarray, shape (night,), or None
        Weight of each night's loss and effort; None gives ones. Below one for nights whose forecast is unsure.
    trouble : float
        The trouble of thinking about it: a fixed price, 0 or more, of every part put in place, on top of minutes,
        lifts and energy. What saves less than that is not asked of people; 0 asks for everything that pays at all.
        Nothing is charged for what stands already or is done. [currency]
    aversion : float
        Aversion to the worst cases, 0 to 1: how much the mean loss of the whole yard in the worst tenth of the members
        weighs beside the expected loss. Above 0 every option needs `Option.by_member`.
    wear_weight : float
        Factor on the wear of gear: 1, or less where effort only decides between equals.
    sun_minutes : float
        Minutes from now until the sun leaves the ground, 0 or more: what must be over before that takes nobody longer
        tonight. [min]
    """

    trees: tuple[str, ...]
    options: tuple[tuple[Option, ...], ...]
    supplies: Supplies
    prices: Prices = field(default_factory=Prices)
    settings: tuple[Setting, ...] = ()
    in_place: frozenset[str] = frozenset()
    done: frozenset[str] = frozenset()
    hanging: Mapping[str, str] = field(default_factory=dict)
    night_weights: NDArray[np.float64] | None = None
    trouble: float = TROUBLE
    aversion: float = 0.0
    wear_weight: float = 1.0
    sun_minutes: float = np.inf

    def __post_init__(self) -> None:
        _check_problem(self)
        check_members(self)

    @property
    def n_nights(self) -> int:
        """Number of nights, tonight first."""
        return int(self.options[0][0].loss.shape[0])

    @property
    def weights(self) -> NDArray[np.float64]:
        """Weight of each night."""
        return np.ones(self.n_nights) if self.night_weights is None else self.night_weights

    @property
    def kept(self) -> frozenset[str]:
        """Keys of the parts that stay tonight, because the measure they make is wholly done."""
        groups = {setting.group for setting in self.settings}
        found = [carried_out((option.measure for option in its), self.done) for its in self.options]
        found += [carried_out((its for its in self.settings if its.group == group), self.done) for group in groups]
        return frozenset[str]().union(*found)

    def with_supplies(self, supplies: Supplies) -> EveningProblem:
        """Give the same problem with other supplies."""
        return replace(self, supplies=supplies)


@dataclass(frozen=True)
class PlannedTask:
    """One part in use on one night, and what somebody has to do for it that evening.

    Attributes
    ----------
    night : int
        0 is tonight.
    part : Part
        What is in use.
    way : Way
        How and by whom; nobody if nothing has to be done.
    again : bool
        It stands since the night before, or is done already this evening.
    sheet, circuit, lead : str or None
        Which sheet, circuit and extension lead it uses.
    """

    night: int
    part: Part
    way: Way
    again: bool
    sheet: str | None = None
    circuit: str | None = None
    lead: str | None = None

    @property
    def minutes(self) -> float:
        """Minutes of each person. [min]"""
        return self.way.minutes

    @property
    def idle(self) -> bool:
        """Whether nobody has to do anything for it that evening."""
        return not self.way.people


@dataclass(frozen=True)
class Costs:
    """The parts of what is minimised. [currency]"""

    loss: float
    minutes: float = 0.0
    lifts: float = 0.0
    energy: float = 0.0
    trouble: float = 0.0
    wear: float = 0.0

    def __add__(self, other: Costs) -> Costs:
        return Costs(
            self.loss + other.loss,
            self.minutes + other.minutes,
            self.lifts + other.lifts,
            self.energy + other.energy,
            self.trouble + other.trouble,
            self.wear + other.wear,
        )

    @property
    def effort(self) -> float:
        """Minutes, lifts and energy at the household's prices, and the wear of gear."""
        return self.minutes + self.lifts + self.energy + self.wear

    @property
    def total(self) -> float:
        """Loss, effort and the trouble of thinking about it: what is minimised."""
        return self.loss + self.effort + self.trouble


@dataclass(frozen=True)
class LimitUse:
    """How much of one supply is used tonight.

    Attributes
    ----------
    key, name, unit
        The supply.
    used, available : float
        Of that unit.
    binding : bool
        It is scarce: less is left than half of the things would need that it is wanted for and that would save a
        tree something tonight. What one more of it really buys is for `one_more` to say.
    """

    key: str
    name: str
    unit: str
    used: float
    available: float
    binding: bool


@dataclass(frozen=True)
class OneMore:
    """What one step more of a supply would buy tonight, by solving again.

    `saves` and `saves_loss` answer two questions. With a further sheet a tree is covered that was left: its loss
    falls by `saves_loss`, but somebody has to put the sheet on, so that all in all only `saves` is won. With more
    minutes or a second trolley the loss may even stay as it is and the effort fall, or a measure give way to one
    that loses a little more and takes much less: then `saves` is the larger, and `saves_loss` may be below 0.

    Attributes
    ----------
    key, name, step, unit
        The supply and how much more of it.
    saves : float
        By how much the total that is minimised falls: loss, effort and trouble, at the household's prices. It ranks
        what to get, and is the most that the step is worth for one such night. 0 or more. [currency]
    saves_loss : float
        By how much the expected loss of all trees falls, the effort left out: what the trees gain. Either sign.
        [currency]
    changes : tuple of (tree, measure key before, measure key after)
        What would be done otherwise tonight.
    """

    key: str
    name: str
    step: float
    unit: str
    saves: float
    saves_loss: float
    changes: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True)
class RunnerUp:
    """The best plan in which one tree does not get its chosen measure tonight.

    Attributes
    ----------
    tree : str
        The tree.
    measure : Measure
        What it would get instead.
    costs_more : float
        By how much loss, effort and trouble of the whole yard would be higher. [currency]
    loss_more : float
        By how much the loss of this tree tonight would be higher (negative: lower). [currency]
    others : tuple of (tree, measure key before, measure key after)
        What would change for other trees tonight.
    """

    tree: str
    measure: Measure
    costs_more: float
    loss_more: float
    others: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True)
class EveningSolution:
    """What was decided.

    Attributes
    ----------
    choices : tuple (tree) of tuple (night) of int
        Index into the options of each tree.
    states : Mapping of group to tuple (night) of str
        State of every shared thing.
    tasks : tuple of PlannedTask
        What is done, by night.
    nightly, nightly_nothing : tuple (night) of Costs
        Of this plan and of doing nothing, weighted by the weights of the nights.
    limits : tuple of LimitUse
        Use of every supply tonight.
    status : "optimal" or "gap"
        Proven optimal within the gap that was asked for (or a tenth of a cent), or the gap that was left.
    gap : float
        (Total - proven lower bound) / total.
    bound : float
        Proven lower bound of the total. [currency]
    seconds : float
        Time that it took.
    method : "linked" or "night by night"
        All nights in one programme, or the fallback.
    notes : tuple of str
        What the reader should know about how it was found.
    worst_case : float or None
        Mean loss of the whole yard over all nights in the worst tenth of the members; None if it was not asked for.
        [currency]
    aversion : float
        What it weighs in `total`.
    """

    choices: tuple[tuple[int, ...], ...]
    states: Mapping[str, tuple[str, ...]]
    tasks: tuple[PlannedTask, ...]
    nightly: tuple[Costs, ...]
    nightly_nothing: tuple[Costs, ...]
    limits: tuple[LimitUse, ...]
    status: Literal["optimal", "gap"]
    gap: float
    bound: float
    seconds: float
    method: Literal["linked", "night by night"]
    notes: tuple[str, ...] = ()
    worst_case: float | None = None
    aversion: float = 0.0

    @property
    def total(self) -> float:
        """What is minimised: the costs of all nights, and the worst cases by their weight. [currency]"""
        return self.costs.total + self.aversion * (self.worst_case or 0.0)

    @property
    def costs(self) -> Costs:
        """Of this plan, over all nights."""
        return sum(self.nightly, Costs(0.0))

    @property
    def costs_nothing(self) -> Costs:
        """Of doing nothing, over all nights."""
        return sum(self.nightly_nothing, Costs(0.0))

    def measure(self, problem: EveningProblem, tree: str, night: int = 0) -> Measure:
        """Give the measure of a tree on a night."""
        at = problem.trees.index(tree)
        return problem.options[at][self.choices[at][night]].measure

    def tonight(self) -> tuple[PlannedTask, ...]:
        """Give what is in use tonight."""
        return tuple(task for task in self.tasks if task.night == 0)


def _check_problem(problem: EveningProblem) -> None:
    """Refuse what cannot be solved, naming the tree and the measure."""
    if len(problem.trees) != len(problem.options) or not problem.trees:
        raise ValueError(f"one list of options per tree: got {len(problem.trees)} trees, {len(problem.options)} lists")
    if len(set(problem.trees)) != len(problem.trees):
        raise ValueError("every tree must stand once")
    groups = {setting.group for setting in problem.settings}
    known = {setting.key for setting in problem.settings}
    nights = None
    for tree, options in zip(problem.trees, problem.options, strict=True):
        if not options:
            raise ValueError(f"tree {tree} must have at least one option")
        if options[0].measure.parts:
            raise ValueError(f"the first option of tree {tree} must be doing nothing, got {options[0].measure.key}")
        for option in options:
            key = option.measure.key
            loss = option.loss
            nights = loss.shape[0] if nights is None and loss.ndim == 1 else nights
            if loss.shape != (nights,) or nights == 0:
                raise ValueError(f"loss of {tree}, {key} must have shape ({nights},), got {loss.shape}")
            if not (np.isfinite(loss).all() and (loss >= 0).all()):
                raise ValueError(f"loss of {tree}, {key} must be finite and 0 or more, got {loss.tolist()}")
            for setting in option.measure.requires:
                if setting.group in groups and setting.key not in known:
                    raise ValueError(f"{tree}, {key} requires {setting.key}, which is not among the settings")
                if setting.group not in groups:
                    raise ValueError(f"{tree}, {key} requires {setting.group}, which the problem does not have")
            for part in option.measure.all_parts:
                _check_part(part, problem.supplies)
    for setting in problem.settings:
        for part in setting.parts:
            _check_part(part, problem.supplies)
    for group in groups:
        first = next(setting for setting in problem.settings if setting.group == group)
        if first.parts:
            raise ValueError(f"the first state of {group} must take no work, got {first.state}")
    if not problem.sun_minutes >= 0:
        raise ValueError(f"sun_minutes must be 0 or more, got {problem.sun_minutes}")
    if not (np.isfinite(problem.wear_weight) and problem.wear_weight >= 0):
        raise ValueError(f"wear_weight must be 0 or more, got {problem.wear_weight}")
    if not (np.isfinite(problem.trouble) and problem.trouble >= 0):
        raise ValueError(f"trouble must be 0 or more, got {problem.trouble}")
    weights = problem.night_weights
    if weights is not None and (weights.shape != (nights,) or not (weights > 0).all()):
        raise ValueError(f"night_weights must be {nights} numbers greater than 0, got {weights!r}")


def _check_part(part: Part, supplies: Supplies) -> None:
    """Refuse a part that nobody can do or that names something the supplies do not have."""
    if not part.ways:
        raise ValueError(f"part {part.key} has no way of being done")
    device: SupplyKind = "lamps" if part.kind == "lamps" else "heater"
    named: list[tuple[SupplyKind, str]] = [("sheet", sheet) for sheet in part.sheets]
    named += [("person", person) for way in part.ways for person in way.people]
    named += [("trolley", way.trolley) for way in part.ways if way.trolley is not None]
    named += [("circuit", feed.circuit) for feed in part.feeds]
    named += [("lead", lead) for feed in part.feeds for lead in feed.leads]
    named += [(device, part.device)] if part.device is not None else []
    named += [("room", part.room)] if part.room is not None else []
    named += [("paint", PAINT)] if part.paint_l > 0.0 else []
    for kind, name in named:
        if name not in supplies.of(kind):
            raise ValueError(f"part {part.key} needs {kind} {name!r}, which the supplies do not have")
