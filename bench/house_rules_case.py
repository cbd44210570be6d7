"""House rules night by night: time of four rule sets, and how much worse the greedy choice is than the best evening.

Run ``python -m bench house_rules_case``. The nights are made up (`tests.plans.rules_made`) on the demo's yard.
"""

from __future__ import annotations

from datetime import UTC, datetime
from statistics import mean
from time import perf_counter

from bench.machine import machine
from fruitwall.plans.evening import solve
from fruitwall.plans.rules.nightly import choose, follows
from fruitwall.plans.rules.rule import HouseRule, RuleSet
from fruitwall.yard.demo import demo_yard
from tests.plans.rules_made import made_ground
from tests.plans.test_house_rules import AS_NOW, parts_of, price_of, problem_of

RULES = (
    RuleSet("never", "never", (HouseRule(way="never"),)),
    RuleSet("cover", "cover", (HouseRule(cover_below_c=0.0),)),
    RuleSet("carry", "carry", (HouseRule(cover_below_c=0.0, heat_below_c=-2.0, carry_below_c=-1.0),)),
    AS_NOW,
)


def main() -> None:
    """Print what it takes, and how good it is."""
    print(f"  {machine()}; {datetime.now(UTC):%Y-%m-%d}")
    trees = [tree.id for tree in demo_yard().trees]
    few = made_ground(trees, winters=1, days=2)
    choose(few, few.steps[0], AS_NOW)  # compiles
    ground = made_ground(trees, winters=30, days=40)
    for rules in RULES:
        begin = perf_counter()
        choose(ground, ground.steps[0], rules)
        print(f"  30 winters x 40 nights x {len(trees)} trees, {rules.key}: {perf_counter() - begin:.2f} s, one thread")
    for mean_c in (0.5, -1.5, -3.0):
        drawn = made_ground(trees, winters=1, days=15, mean_c=mean_c, seed=7)
        step, linked = drawn.steps[0], follows(drawn.nights)
        chosen = choose(drawn, step, AS_NOW)
        standing: frozenset[str] = frozenset()
        worse = []
        for night in range(drawn.nights.count):
            before = standing if linked[night] else frozenset[str]()
            best = solve(problem_of(drawn, step, night, before), time_limit_s=10.0).costs.total
            worse.append(price_of(drawn, step, chosen, night, before) / best - 1.0)
            standing = frozenset(key for key, part in parts_of(step, chosen, night).items() if part.stays)
        print(
            f"  {len(worse)} nights about {mean_c:g} °C: dearer than the best by {mean(worse):.3%} in the mean, "
            f"{max(worse):.2%} at most; the same on {sum(its < 1e-5 for its in worse)}"
        )


if __name__ == "__main__":
    main()
