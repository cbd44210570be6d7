"""House rules: standing policies of a household, in a form that can be replayed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, get_args

from fruitwall.errors import PlanError
from fruitwall.speech import marked, quantity, say

if TYPE_CHECKING:
    from fruitwall.plans.rules.ground import TreeWinters

Way = Literal["below", "never", "may_kill", "as_now"]
"""How a rule decides: by forecast minima; never protect; only where the night may kill; what pays, as an evening's plan
does."""

LIMITS_C = (-40.0, 7.0)
"""Forecast minima that a rule may go by. Nights that are told to be warmer are not in the row of nights
(`service.winters_ground.WARMEST_LIMIT_C`); colder is a slip of the pen. Our judgement. [°C]"""

_LIMITS = ("cover_below_c", "heat_below_c", "carry_below_c")

LIMIT_NAMES = {
    "cover_below_c": marked("the limit for covering"),
    "heat_below_c": marked("the limit for warming"),
    "carry_below_c": marked("the limit for carrying"),
}
"""Names of the limits in a sentence."""


@dataclass(frozen=True)
class HouseRule:
    """What a household does for some trees, evening by evening.

    Attributes
    ----------
    trees : str
        ``all``, ``potted``, ``planted``, ``taxon:<scientific name>`` or ``tree:<identifier>``.
    way : Way
        ``below`` goes by the three limits; the others do without.
    cover_below_c, heat_below_c, carry_below_c : float or None
        Forecast minimum at or below which the tree is covered, is warmed under its cover, is carried (indoors, or under
        a roof or to a wall where that is all there is). None: never. Of several that hold, carrying comes first, then
        heat, then the cover. [°C]
    carry_if_death : float
        For ``may_kill``: least chance of death, left alone, for which it is protected by whatever saves most. [-]
    """

    trees: str = "all"
    way: Way = "below"
    cover_below_c: float | None = None
    heat_below_c: float | None = None
    carry_below_c: float | None = None
    carry_if_death: float = 0.05


@dataclass(frozen=True)
class RuleSet:
    """House rules of a whole yard.

    Attributes
    ----------
    key : str
        Short and unique, such as ``as-now``.
    name : str
        In words.
    rules : tuple of HouseRule
        The most special one that names a tree holds for it: a tree before a taxon before potted or planted before all;
        of equals the last. A tree that none names is left alone.
    """

    key: str
    name: str
    rules: tuple[HouseRule, ...]


def rule_for(rules: RuleSet, tree: TreeWinters) -> HouseRule | None:
    """Give the rule that holds for a tree: the most special that names it, of equals the last; None if none does."""
    best: tuple[int, HouseRule] | None = None
    for rule in rules.rules:
        rank = _names(rule.trees, tree)
        if rank is not None and (best is None or rank >= best[0]):
            best = (rank, rule)
    return best[1] if best else None


def _names(which: str, tree: TreeWinters) -> int | None:
    """Tell how specially a rule names a tree, 0 to 3; None if it does not."""
    kind, colon, name = which.partition(":")
    if colon:
        return {("tree", tree.tree): 3, ("taxon", tree.taxon): 2}.get((kind, name))
    return {"all": 0, "potted": 1 if tree.potted else None, "planted": None if tree.potted else 1}.get(kind)


def check_rule(rule: HouseRule, number: int = 1) -> None:
    """Refuse a rule that cannot be meant.

    Parameters
    ----------
    rule : HouseRule
    number : int
        Which rule of its set it is, from 1, to name it.

    Raises
    ------
    PlanError
        Naming the rule and how to mend it.
    """
    kind, colon, name = rule.trees.partition(":")
    if not (rule.trees in ("all", "potted", "planted") or (colon and kind in ("taxon", "tree") and name.strip())):
        raise PlanError(
            say(
                'rule {number}: "{trees}" names no trees; write all, potted, planted, taxon:NAME or tree:NAME',
                number=number,
                trees=rule.trees,
            )
        )
    if rule.way not in get_args(Way):
        ways = ", ".join(get_args(Way))
        raise PlanError(
            say('rule {number}: there is no way "{way}"; use one of {ways}', number=number, way=rule.way, ways=ways)
        )
    for field in _LIMITS:
        _check_limit(getattr(rule, field), LIMIT_NAMES[field], number)
    if rule.way == "below" and all(getattr(rule, field) is None for field in _LIMITS):
        raise PlanError(
            say(
                "rule {number} asks for nothing: give a temperature for covering, warming or carrying, "
                "or say that these trees are never protected",
                number=number,
            )
        )
    if not (0.0 < rule.carry_if_death <= 1.0):
        raise PlanError(
            say("rule {number}: the chance of death must be above 0 and at most 100 %; mend it", number=number)
        )


def _check_limit(limit_c: float | None, what: str, number: int) -> None:
    """Refuse a limit that no night has, or every night."""
    low, high = LIMITS_C
    if limit_c is not None and not (math.isfinite(limit_c) and low <= limit_c <= high):
        raise PlanError(
            say(
                "rule {number}: {what} must lie between {low} and {high}; mend it or leave it empty",
                number=number,
                what=say(what),
                low=quantity(low, "°C"),
                high=quantity(high, "°C"),
            )
        )


def check_rules(rules: RuleSet, trees: Sequence[TreeWinters] | None = None) -> None:
    """Refuse house rules that cannot be meant.

    Parameters
    ----------
    rules : RuleSet
    trees : sequence of TreeWinters, optional
        Those of the yard: a rule that names a tree or kind which is not there is refused.

    Raises
    ------
    PlanError
        Naming the rule and how to mend it.
    """
    for number, rule in enumerate(rules.rules, start=1):
        check_rule(rule, number)
        kind, colon, name = rule.trees.partition(":")
        if trees is None or not colon:
            continue
        known = sorted({each.tree if kind == "tree" else each.taxon for each in trees})
        if name not in known:
            raise PlanError(
                say(
                    'rule {number} names "{name}", which the yard does not have; there are: {known}',
                    number=number,
                    name=name,
                    known=", ".join(known),
                )
            )
