"""House rules over winters: 30 winters x 60 trees x 4 house rules, ground, choices and outcomes together.

Run ``python -m bench rules_case``. The yard is the demo's with trees set twice and thrice until there are sixty; the
winters are made up (`bench.made_winters`), those of an inland valley of southern California.
"""

from __future__ import annotations

from datetime import UTC, date, datetime
from resource import RUSAGE_SELF, getrusage
from time import perf_counter

import numpy as np

from bench.machine import machine
from bench.made_winters import made_winter
from fruitwall.plans.rules.ground import Ground
from fruitwall.plans.rules.nightly import choose
from fruitwall.plans.rules.outcome import Ahead, play
from fruitwall.plans.rules.rule import HouseRule, RuleSet
from fruitwall.plans.rules.tally import tally
from fruitwall.service.beliefs import NOTHING_LEARNED
from fruitwall.service.winters_ground import make_ground
from fruitwall.service.winters_weather import WinterWeather, winters_from
from fruitwall.weather.climate import Climate
from fruitwall.yard.demo import demo_yard
from fruitwall.yard.model import Yard

WINTERS, TREES, MUST_S = 30, 60, 90.0

TODAY = date(2026, 10, 1)

RULES = (
    RuleSet("never", "never protect", (HouseRule(way="never"),)),
    RuleSet("cover", "cover below 1 °C", (HouseRule(cover_below_c=1.0),)),
    RuleSet("carry", "cover, warm and carry", (HouseRule(cover_below_c=1.0, heat_below_c=-1.0, carry_below_c=0.0),)),
    RuleSet("as-now", "what pays", (HouseRule(way="as_now"),)),
)


def yard_of(trees: int) -> Yard:
    """Give the demo yard with so many trees: those of the demo again, half a metre further on."""
    whole = demo_yard()
    found = list(whole.trees)
    while len(found) < trees:
        again = whole.trees[len(found) % len(whole.trees)]
        number, (x, y) = len(found), again.position
        found.append(
            again.model_copy(
                update={"id": f"{again.id}-{number}", "name": f"{again.name} {number}", "position": (x + 0.5, y)}
            )
        )
    return whole.model_copy(update={"trees": found[:trees]})


def weather_of(winters: int, yard: Yard) -> WinterWeather:
    """Make up winters on the yard's calendar."""
    years = [made_winter(seed, start=f"{1990 + seed}-10-01T00", days=210) for seed in range(winters)]
    made = winters_from(Climate(tuple(years), "made up"), yard.location)
    if made is None:
        raise ValueError("the yard has no winters")
    return made


def rules_over(ground: Ground, threads: int) -> list[object]:
    """Choose, play and tally all rule sets."""
    found: list[object] = []
    for rules in RULES:
        chosen = [choose(ground, step, rules, threads=threads) for step in ground.steps]
        found.append(tally(ground, play(ground, chosen, Ahead(years=WINTERS))))
    return found


def main() -> None:
    """Print what it takes."""
    print(f"  {machine()}; {datetime.now(UTC):%Y-%m-%d}")
    yard = yard_of(TREES)
    weather = weather_of(WINTERS, yard)
    few = yard_of(3)
    rules_over(make_ground(few, weather_of(2, few), NOTHING_LEARNED, TODAY, (0.0,)), 2)  # compiles
    for threads in (1, 2):
        begin = perf_counter()
        ground = make_ground(yard, weather, NOTHING_LEARNED, TODAY, (0.0,), threads=threads)
        made = perf_counter()
        found = rules_over(ground, threads)
        end = perf_counter()
        print(
            f"  {WINTERS} winters x {TREES} trees x {len(RULES)} house rules, {threads} thread{'s' * (threads > 1)}: "
            f"{end - begin:.1f} s (ground {made - begin:.1f}, rules {end - made:.1f}; must: {MUST_S:g}), "
            f"{ground.nights.count} nights of {int(weather.known.sum())}, "
            f"{getrusage(RUSAGE_SELF).ru_maxrss / 1024:.0f} MB; "
            f"tree-nights left out by the safe bound {ground.skipped_share:.0%}"
        )
        if threads == 1:
            before, told = ground, found
    same = all(
        np.array_equal(getattr(one, name), getattr(two, name), equal_nan=True)
        for one, two in zip(before.steps[0].trees, ground.steps[0].trees, strict=True)
        for name in ("loss", "harm", "death", "fruit_lost", "felt_c", "leaf_c", "bare_c")
    )
    print(f"  one thread and two give the same: ground {same}, outcomes {told == found}")
    part = yard.model_copy(update={"trees": yard.trees[::6], "shelters": []})
    some, all_ = (make_ground(part, weather, NOTHING_LEARNED, TODAY, (0.0,), skip=skip) for skip in (True, False))
    off = max(
        float(np.abs(one.loss - two.loss).max())
        for one, two in zip(some.steps[0].trees, all_.steps[0].trees, strict=True)
    )
    print(
        f"  with every night marched ({len(part.trees)} of the trees) the loss of a tree on a night differs by at most "
        f"{off:.1e} USD; left out {some.skipped_share:.0%}"
    )
    begin = perf_counter()
    make_ground(yard, weather, NOTHING_LEARNED, TODAY)
    print(f"  at three sizes of the trees (now, 4 and 10 years on) the ground takes {perf_counter() - begin:.1f} s")


if __name__ == "__main__":
    main()
