"""The rules that a search may choose from for a tree, and how what it chose becomes house rules."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from fruitwall.plans.rules.rule import HouseRule, RuleSet

LEVELS_C = (-8.0, -6.0, -4.0, -3.0, -2.0, -1.0, 0.0, 1.0, 2.0, 4.0, 7.0)
LEVELS_F = (18.0, 21.0, 25.0, 27.0, 28.0, 30.0, 32.0, 34.0, 36.0, 39.0, 44.0)
"""Forecast minima at which a single act may begin, the one that asks least first: of limits that come to the same
it is taken. What a household can keep in mind are whole degrees of its own; below the first nothing but a few hardy
kinds is alive in a yard that needs rules. Our judgement. [°C], [°F]"""

PAIRS_C = ((-2.0, -6.0), (-1.0, -4.0), (0.0, -3.0), (1.0, -2.0), (2.0, -1.0), (4.0, 0.0))
PAIRS_F = ((28.0, 21.0), (30.0, 25.0), (32.0, 27.0), (34.0, 28.0), (36.0, 30.0), (39.0, 32.0))
"""Forecast minima at which a cover begins, and at which more than a cover begins. Our judgement. [°C], [°F]"""

DEATHS = (0.02, 0.1)
"""Chances of death from which on a tree is protected by whatever saves most. Our judgement. [-]"""

NEVER = HouseRule(way="never")


def menu(
    levels_c: Sequence[float] = LEVELS_C, pairs_c: Sequence[tuple[float, float]] = PAIRS_C
) -> tuple[HouseRule, ...]:
    """Give the rules among which the search chooses for each tree, plain ones first.

    Parameters
    ----------
    levels_c : sequence of float
        Forecast minima for a cover, for warmth under a cover, and for carrying, each alone. [°C]
    pairs_c : sequence of (float, float)
        For a cover and, further down, for warmth or for carrying. [°C]
    """
    found = [NEVER]
    found += [HouseRule(cover_below_c=level) for level in levels_c]
    found += [HouseRule(heat_below_c=level) for level in levels_c]
    found += [HouseRule(carry_below_c=level) for level in levels_c]
    found += [HouseRule(cover_below_c=upper, heat_below_c=lower) for upper, lower in pairs_c]
    found += [HouseRule(cover_below_c=upper, carry_below_c=lower) for upper, lower in pairs_c]
    found += [HouseRule(way="may_kill", carry_if_death=chance) for chance in DEATHS]
    return tuple(found)


def menu_of(*, fahrenheit: bool) -> tuple[HouseRule, ...]:
    """Give the menu in whole degrees of a household's own scale."""
    if not fahrenheit:
        return menu()
    return menu([_celsius(one) for one in LEVELS_F], [(_celsius(upper), _celsius(lower)) for upper, lower in PAIRS_F])


def _celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32.0) / 1.8


def written(key: str, name: str, chosen: Iterable[tuple[Sequence[str], HouseRule]]) -> RuleSet:
    """Write what was chosen as house rules: one for each tree that is not left alone.

    Parameters
    ----------
    key, name : str
        Of the rule set.
    chosen : iterable of (trees, rule)
        Identifiers of trees, and what holds for each of them.
    """
    rules = [NEVER]
    for trees, rule in chosen:
        if rule.way != "never":
            rules += [replace(rule, trees=f"tree:{tree}") for tree in trees]
    return RuleSet(key, name, tuple(rules))
