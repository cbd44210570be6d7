"""The best house rules for a yard, and the least lifting at each loss, from many winters."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np

from fruitwall.plans.rules.assumed import YEARS_AHEAD
from fruitwall.plans.rules.outcome import Ahead
from fruitwall.service.winters_weather import AS_THEY_WERE, WeatherChoice
from fruitwall.service.work import WorkPart, work
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

KEPT_AS = "search 5"
"""With what keys begin; another one when what is kept changes its meaning."""

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
    *YEARS_AHEAD,
)
"""What the figures mean."""


def search_key(house: House, choice: WeatherChoice = AS_THEY_WERE, most_loss: float | None = None) -> str | None:
    """Give the same text as long as the document would be the same; None where no whole winter is known."""
    from fruitwall.service.winters_ground import present_key

    ground = present_key(house, choice)
    return None if ground is None else f"{KEPT_AS} {ground} {most_loss}"


def search_document(
    house: House,
    choice: WeatherChoice = AS_THEY_WERE,
    *,
    most_loss: float | None = None,
    ahead: Ahead = AHEAD,
    heard: Callable[[float], None] = lambda _share: None,
) -> SearchDocument | None:
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
    heard : callable (share)
        Told how far it is, 0 to 1; may raise `Stopped`: what was done is kept.

    Returns
    -------
    SearchDocument or None
        None where no whole winter is known. Its notes are told sentences (`say_again`).
    """
    from fruitwall.service.winters_ground import winters_ground

    ground = winters_ground(house, choice, heard=lambda share: heard(GROUND_SHARE * share))
    if ground is None:
        return None
    fahrenheit = house.yard()[0].display.temperature == "F"
    making = _Making(ground, ahead, fahrenheit, lambda share: heard(GROUND_SHARE + (1.0 - GROUND_SHARE) * share))
    mark = f"{KEPT_AS} {ground.mark} {ahead}"
    wide, answer = work(
        house,
        [
            WorkPart(f"{mark} frontier", 8.0, "", making.frontier),
            WorkPart(f"{mark} answer {most_loss}", 2.0, "", lambda: making.answer(most_loss)),
        ],
    )
    document = _document(house, ground, ahead, most_loss, wide, answer)
    # Put in without being checked: told sentences stay what they are.
    return document.model_copy(update={"notes": [*LIMITS, *ground.notes]})


class _Making:
    """What the parts of one search share; made when the first of them is not kept."""

    def __init__(self, ground: Ground, ahead: Ahead, fahrenheit: bool, tell: Callable[[float], None]) -> None:
        self.ground, self.ahead, self.fahrenheit, self.tell = ground, ahead, fahrenheit, tell
        self.step = ground.steps[0]
        self.search: Callable[[], Search] = cache(self._prepared)
        self.as_now = cache(self._as_now)

    def _prepared(self) -> Search:
        from fruitwall.plans.rules.menu import menu_of
        from fruitwall.plans.rules.search import prepared

        rules = menu_of(fahrenheit=self.fahrenheit)
        return prepared(self.ground, self.step, rules, heard=lambda share: self.tell(0.5 * share))

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
        from fruitwall.service.winters_rules import preset_rules

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
            "ready_made": [
                self.practice(one.key, one).model_dump()
                for one in preset_rules()
                if one.key not in ("never", AS_NOW.key)  # these are the practices
            ],
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
            "ready_made": wide["ready_made"],
            "replayed": [*wide["replayed"], *([answer["replayed"]] if answer else [])],
            "notes": [],
        }
    )
