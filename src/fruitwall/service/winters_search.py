"""The best house rules for a yard, and the least lifting at each loss, from many winters."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from fruitwall.plans.rules.outcome import Ahead
from fruitwall.service.winters_weather import AS_THEY_WERE, WeatherChoice
from fruitwall.service.work import Progress, WorkPart, telling, work
from fruitwall.speech import marked

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fruitwall.plans.rules.ground import Ground, TreeWinters
    from fruitwall.plans.rules.rule import RuleSet
    from fruitwall.plans.rules.search import Found, Search
    from fruitwall.plans.rules.tally import Spread
    from fruitwall.service.house import House
    from fruitwall.service.winters_search_document import (
        Around,
        FoundRules,
        Practice,
        Replayed,
        RuleLine,
        SearchDocument,
    )

GROUND_SHARE = 0.8
"""Share of the whole time that the ground takes where it is not kept. Measured on the demo's yard. [-]"""

AHEAD = Ahead()

WHAT = marked("the search for house rules")
GROUND = marked("every tree under every measure in every winter")

LIMITS = (
    marked(
        "Every rule set shown can be kept in full: on every night of these winters people, sheets, sockets and room "
        "suffice for all that it asks for."
    ),
    marked(
        "The search weighs the yard as it stands now. Trees that grow, and what a hard winter leaves behind, are in "
        "the figures of the drawn futures."
    ),
    marked("Several cold nights of one winter count once, by the worst of them: who stands it stands the others too."),
)
"""What the figures mean."""


def search_key(house: House, choice: WeatherChoice = AS_THEY_WERE, most_loss: float | None = None) -> str:
    """Give the same text for the same question."""
    from fruitwall.service.beliefs import beliefs_of
    from fruitwall.service.winters_weather import winter_weather

    weather = winter_weather(house, choice)
    marks = (weather.mark if weather else None, beliefs_of(house).mark, house.clock().year)
    return repr(("search", house.yard()[0].model_dump_json(), marks, most_loss))


class Searched(NamedTuple):
    """A document, and its notes as sentences that can be said again in another language."""

    document: SearchDocument
    notes: tuple[str, ...]


def search_document(
    house: House,
    choice: WeatherChoice = AS_THEY_WERE,
    *,
    most_loss: float | None = None,
    ahead: Ahead = AHEAD,
    heard: Callable[[Progress], None] = lambda _progress: None,
    stop: Callable[[], bool] = lambda: False,
) -> SearchDocument | None:
    """Search the house rules of a yard, for programs; arguments as for `searched`."""
    found = searched(house, choice, most_loss=most_loss, ahead=ahead, heard=heard, stop=stop)
    return None if found is None else found.document


def searched(
    house: House,
    choice: WeatherChoice = AS_THEY_WERE,
    *,
    most_loss: float | None = None,
    ahead: Ahead = AHEAD,
    heard: Callable[[Progress], None] = lambda _progress: None,
    stop: Callable[[], bool] = lambda: False,
) -> Searched | None:
    """Search the house rules of a yard.

    Parameters
    ----------
    house : House
    choice : WeatherChoice
        Which winters.
    most_loss : float, optional
        Acceptable expected loss a winter; without one the least loss and effort together are searched. [currency]
    ahead : Ahead
        How the futures are drawn.
    heard : callable (Progress)
    stop : callable () -> bool

    Returns
    -------
    Searched or None
        None where no whole winter is known.

    Raises
    ------
    Stopped
        If `stop` said so; what was done is kept.
    """
    from fruitwall.service.winters_ground import winters_ground

    ground = winters_ground(house, choice, heard=telling(heard, stop, GROUND, end=GROUND_SHARE), stop=stop)
    if ground is None:
        return None
    tell = telling(heard, stop, WHAT, begin=GROUND_SHARE)
    making = _Making(ground, ahead, tell)
    mark = f"search 2 {ground.mark} {ahead}"
    parts = [
        WorkPart(f"{mark} frontier", 8.0, WHAT, making.frontier),
        WorkPart(f"{mark} answer {most_loss}", 2.0, WHAT, lambda: making.answer(most_loss)),
    ]
    wide, answer = work(house, parts, stop=stop)
    document = _document(house, ground, ahead, most_loss, wide, answer)
    return Searched(document, (*LIMITS, *ground.notes))


class _Making:
    """What the parts of one search share; made when the first of them is not kept."""

    def __init__(self, ground: Ground, ahead: Ahead, tell: Callable[[float], None]) -> None:
        self.ground, self.ahead, self.tell = ground, ahead, tell
        self.step = ground.steps[0]
        self.search: Callable[[], Search] = cache(self._prepared)
        self.as_now = cache(self._as_now)

    def _prepared(self) -> Search:
        from fruitwall.plans.rules.search import prepared

        return prepared(self.ground, self.step, heard=lambda share: self.tell(0.5 * share))

    def _as_now(self) -> NDArray[np.int16]:
        from fruitwall.plans.rules.gear import AS_NOW
        from fruitwall.plans.rules.nightly import choose

        return choose(self.ground, self.step, AS_NOW).measure

    def frontier(self) -> dict[str, Any]:
        """Give the frontier, the ways of going on, and how those fare in drawn futures."""
        from fruitwall.plans.rules.frontier import Less, frontier
        from fruitwall.plans.rules.gear import AS_NOW
        from fruitwall.plans.rules.menu import NEVER
        from fruitwall.plans.rules.rule import RuleSet
        from fruitwall.plans.rules.search import cheapest

        search = self.search()
        safest = cheapest(search, "loss")
        # Where a trolley spares all lifts, somebody still has to push it.
        less: Less = "lifts" if any(line.lifts > 0.0 for line in search.lines) else "carries"
        points = frontier(search, less, heard=lambda share: self.tell(0.5 + 0.3 * share))
        ways = {"as_now": AS_NOW, "never": RuleSet("never", "never", (NEVER,))}
        return {
            "points": [_found(search, one, self.as_now()).model_dump() for one in points],
            "less": less,
            "least_loss": safest.loss,
            "practices": [self.practice(key, rules).model_dump() for key, rules in ways.items()],
            "replayed": [self.replayed(key, rules).model_dump() for key, rules in ways.items()],
        }

    def answer(self, most_loss: float | None) -> dict[str, Any] | None:
        """Give the rules that were asked for and how they fare; None where none can be kept within the loss."""
        from fruitwall.plans.rules.search import NotKept, Objective, cheapest

        search = self.search()
        try:
            least: Objective = "total" if most_loss is None else "effort"
            found = cheapest(search, least, most_loss=np.inf if most_loss is None else most_loss)
        except NotKept:
            return None
        self.tell(0.9)
        return {
            "rules": _found(search, found, self.as_now()).model_dump(),
            "replayed": self.replayed("found", found.rules).model_dump(),
        }

    def practice(self, key: Any, rules: RuleSet) -> Practice:
        """Weigh a way of going on as the search weighs its own rules."""
        from fruitwall.plans.rules.nightly import choose
        from fruitwall.plans.rules.usage import effort_of, per_winter
        from fruitwall.plans.rules.winter_loss import yearly_loss
        from fruitwall.service.winters_search_document import Practice

        chosen = choose(self.ground, self.step, rules)
        return Practice(
            key=key,
            loss=yearly_loss(self.ground, self.step, chosen.measure),
            effort=per_winter(self.ground, effort_of(self.ground.prices, chosen)),
            minutes=per_winter(self.ground, chosen.minutes),
            lifts=per_winter(self.ground, chosen.lifts),
            carries=per_winter(self.ground, chosen.carried.astype(np.float64)),
            kwh=per_winter(self.ground, chosen.kwh),
        )

    def replayed(self, key: Any, rules: RuleSet) -> Replayed:
        """Play a rule set in drawn futures."""
        from fruitwall.plans.rules.nightly import choose
        from fruitwall.plans.rules.outcome import play
        from fruitwall.plans.rules.tally import tally
        from fruitwall.service.winters_search_document import Replayed

        ground = self.ground
        known = tally(ground, play(ground, [choose(ground, step, rules) for step in ground.steps], self.ahead))
        return Replayed(
            key=key,
            loss=around(known.loss),
            effort=around(known.effort),
            minutes=around(known.minutes),
            lifts=around(known.lifts),
            kwh=around(known.kwh),
            trees_lost=around(known.trees_lost),
        )


def around(spread: Spread) -> Around:
    """Write a spread."""
    from fruitwall.service.winters_search_document import Around

    return Around(mean=spread.mean, p10=spread.p10, p90=spread.p90, error=spread.error)


def _found(search: Search, found: Found, as_now: NDArray[np.int16]) -> FoundRules:
    """Write a rule set."""
    from fruitwall.service.winters_search_document import FoundRules

    return FoundRules(
        loss=found.loss,
        effort=found.effort,
        minutes=found.minutes,
        lifts=found.lifts,
        carries=found.carries,
        kwh=found.kwh,
        proven=found.proven,
        lines=[_line(search, number, at, as_now) for number, at in enumerate(found.picked)],
    )


def _line(search: Search, number: int, at: int, as_now: NDArray[np.int16]) -> RuleLine:
    from fruitwall.plans.rules.usage import per_winter
    from fruitwall.service.winters_search_document import RuleLine

    unit = search.units[number]
    line = unit.lines[at]
    trees = [search.step.trees[its] for its in unit.at]
    busy = (line.measure != 0).any(axis=0).astype(np.float64)
    return RuleLine(
        trees=[tree.tree for tree in trees],
        names=[tree.name for tree in trees],
        potted=all(tree.potted for tree in trees),
        way=line.rule.way,
        cover_below_c=line.rule.cover_below_c,
        heat_below_c=line.rule.heat_below_c,
        carry_below_c=line.rule.carry_below_c,
        if_death=line.rule.carry_if_death,
        loss=line.loss,
        minutes=line.minutes,
        lifts=line.lifts,
        nights=per_winter(search.ground, busy),
        carried=any(moves(*its) for its in zip(trees, line.measure, strict=True)),
        carried_now=any(moves(tree, as_now[its]) for tree, its in zip(trees, unit.at, strict=True)),
    )


def moves(tree: TreeWinters, rows: NDArray[np.integer[Any]]) -> bool:
    """Tell whether a container is carried on any night."""
    return any(tree.measures[row].moved_to is not None for row in np.unique(rows).tolist())


def _document(
    house: House, ground: Ground, ahead: Ahead, most_loss: float | None, wide: Any, answer: Any
) -> SearchDocument:
    from fruitwall.service.winters_search_document import SearchDocument

    winters = ground.nights.winters
    return SearchDocument.model_validate(
        {
            "currency": house.yard()[0].display.currency,
            "source": ground.source,
            "winters": [winters[0], winters[-1]],
            "count": len(winters),
            "years": ahead.years,
            "draws": ahead.draws,
            "most_loss": most_loss,
            "answer": answer and answer["rules"],
            "least_loss": wide["least_loss"],
            "less": wide["less"],
            "frontier": wide["points"],
            "practices": wide["practices"],
            "replayed": [*wide["replayed"], *([answer["replayed"]] if answer else [])],
            "notes": [*LIMITS, *ground.notes],
        }
    )
