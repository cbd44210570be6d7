"""The search for house rules: 30 winters x 60 trees, the cheapest rules and the frontier of carrying; one thing more.

Run ``python -m bench rule_search_case``. The yard and its winters are those of `bench.rules_case`; the ground is made
first and not counted.
"""

from __future__ import annotations

from datetime import UTC, datetime
from time import perf_counter

from bench.machine import machine
from bench.rules_case import TODAY, TREES, WINTERS, weather_of, yard_of
from fruitwall.plans.rules.frontier import frontier
from fruitwall.plans.rules.gear import AS_NOW, played, with_more
from fruitwall.plans.rules.menu import menu
from fruitwall.plans.rules.nightly import choose
from fruitwall.plans.rules.outcome import Ahead
from fruitwall.plans.rules.search import cheapest, prepared
from fruitwall.service.beliefs import NOTHING_LEARNED
from fruitwall.service.winters_ground import make_ground


def main() -> None:
    """Print what it takes."""
    print(f"  {machine()}; {datetime.now(UTC):%Y-%m-%d}")
    few = yard_of(3)
    small = make_ground(few, weather_of(2, few), NOTHING_LEARNED, TODAY, (0.0,))
    cheapest(prepared(small, small.steps[0]), "total")  # compiles
    yard = yard_of(TREES)
    ground = make_ground(yard, weather_of(WINTERS, yard), NOTHING_LEARNED, TODAY, (0.0,))
    step = ground.steps[0]
    begin = perf_counter()
    choose(ground, step, AS_NOW)
    once = perf_counter() - begin
    begin = perf_counter()
    search = prepared(ground, step)
    made = perf_counter() - begin
    print(
        f"  {WINTERS} winters x {TREES} trees, {ground.nights.count} nights, a menu of {len(menu())} rules: "
        f"{made:.1f} s to lay out ({len(search.lines)} columns, {len(search.caps)} rows of nights); "
        f"one replay of a rule set {once:.2f} s"
    )
    begin = perf_counter()
    found = cheapest(search, "total")
    print(
        f"  least loss and effort: {perf_counter() - begin:.1f} s, {found.tried} rule sets tried, "
        f"proven {found.proven}; loss {found.loss:.0f}, effort {found.effort:.0f} USD a winter"
    )
    begin = perf_counter()
    for share in (0.25, 0.5, 0.75):
        least = cheapest(search, "loss").loss
        cheapest(search, "effort", most_loss=least + share * (found.loss - least))
    print(f"  least effort within a loss: {(perf_counter() - begin) / 3:.1f} s each")
    begin = perf_counter()
    corners = frontier(search, "carries")
    print(
        f"  frontier of carrying: {perf_counter() - begin:.1f} s, {len(corners)} corners, "
        f"{sum(one.proven for one in corners)} of them proven"
    )
    begin = perf_counter()
    played(with_more(ground, next(item.key for item in step.supplies.items if item.kind == "sheet")), Ahead())
    print(f"  one sheet more, played: {perf_counter() - begin:.1f} s")


if __name__ == "__main__":
    main()
