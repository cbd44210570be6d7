"""What one more sheet, heater, helper, frame or barrel would be worth in a winter."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from functools import partial
from typing import TYPE_CHECKING, Any

from fruitwall.errors import PlanError
from fruitwall.plans.rules.outcome import Ahead
from fruitwall.service.winters_weather import AS_THEY_WERE, WeatherChoice
from fruitwall.service.work import WorkPart, work
from fruitwall.speech import marked, say

if TYPE_CHECKING:
    from datetime import datetime

    from fruitwall.plans.rules.gear import Gain
    from fruitwall.plans.rules.ground import Ground
    from fruitwall.service.house import House
    from fruitwall.service.winters_gear_document import GearDocument, GearWorth
    from fruitwall.yard.model import Yard

GROUND_SHARE = 0.5
"""Share of the whole time that the ground takes where it is not kept; new frames and barrels take about as long.
Measured on the demo's yard. [-]"""

FRAMES = 3
"""So many trees are thought of under a new frame: those that lose most as now. Our judgement."""

AHEAD = Ahead()

KEPT_AS = "gear 3"
"""With what keys begin; another one when what is kept changes its meaning."""

LEAST_SHARE = 0.001
"""Less than this share of all loss and effort is nothing. Our judgement. [-]"""

PRICES = "winters_gear_prices"
"""Setting of the yard: prices that the household gave, by key of the thing."""

MOST_PRICE = 1e6
"""Highest price that is taken. [currency]"""

LIMITS = (
    marked(
        "Each thing is tried by itself, with the household doing each evening what pays, in the same winters and with "
        "the same luck. Two of them together may be worth more, or less, than their sum."
    ),
    marked(
        "Only things that the yard has one of already are thought of as one more: what it has none of is not known."
    ),
    marked(
        "A new frame is square, stands half a metre off the crown on all sides and above, and is closed with film for "
        "the night. It stays as it is built: a tree that outgrows it is no longer helped by it."
    ),
    marked("A barrel holds 200 L and takes no work; that a frame must have room for it is not checked."),
)
"""What the figures mean."""


def gear_key(house: House, choice: WeatherChoice = AS_THEY_WERE) -> str | None:
    """Give the same text as long as what is worked out would be the same; None where no whole winter is known."""
    from fruitwall.service.winters_ground import present_key

    ground = present_key(house, choice)
    return None if ground is None else f"{KEPT_AS} {ground}"


def gear_document(
    house: House,
    choice: WeatherChoice = AS_THEY_WERE,
    *,
    ahead: Ahead = AHEAD,
    heard: Callable[[float], None] = lambda _share: None,
) -> GearDocument | None:
    """Tell what more gear is worth.

    Parameters
    ----------
    house : House
    choice : WeatherChoice
        Which winters.
    ahead : Ahead
        How the futures are drawn.
    heard : callable (share)
        Told how far it is, 0 to 1; may raise `Stopped`: what was done is kept.

    Returns
    -------
    GearDocument or None
        None where no whole winter is known. Its notes are told sentences (`say_again`); prices are those that the
        household gave (`keep_price`).
    """
    from fruitwall.service.treatments import kinds_of
    from fruitwall.service.winters_gear_document import GearDocument
    from fruitwall.service.winters_ground import winters_ground
    from fruitwall.service.winters_sizes import grown_yard

    ground = winters_ground(house, choice, heard=lambda share: heard(GROUND_SHARE * share))
    if ground is None:
        return None
    yard, _ = house.yard()
    making = _Making(house, choice, grown_yard(yard, kinds_of(yard), 0.0, house.clock().date()), ground, ahead)
    rest = 1.0 - GROUND_SHARE
    (base,) = work(house, [WorkPart(f"{making.mark} base", 1.0, "", making.base)])
    parts = making.parts(base["endangered"])
    found = work(
        house,
        [part for _, part in parts],
        heard=lambda progress: heard(GROUND_SHARE + rest * progress.share),
    )
    items = [
        _worth(about, base["means"], means) for (about, _), means in zip(parts, found, strict=True) if means is not None
    ]
    winters = ground.nights.winters
    document = GearDocument(
        currency=yard.display.currency,
        source=ground.source,
        winters=[winters[0], winters[-1]],
        count=len(winters),
        years=ahead.years,
        draws=ahead.draws,
        loss=float(base["means"]["loss"].mean()),
        effort=float(base["means"]["effort"].mean()),
        items=sorted(items, key=lambda item: (not item.sure, -item.total.mean, item.key)),
        notes=[],
    )
    # Put in without being checked: told sentences stay what they are.
    return priced(document.model_copy(update={"notes": [*LIMITS, *ground.notes]}), prices_of(house))


class _Making:
    """Makes the parts: the yard as it is, and with one thing more."""

    def __init__(self, house: House, choice: WeatherChoice, yard: Yard, ground: Ground, ahead: Ahead) -> None:
        self.house, self.choice, self.yard, self.ground, self.ahead = house, choice, yard, ground, ahead
        self.mark = f"{KEPT_AS} {ground.mark} {ahead}"

    def base(self) -> dict[str, Any]:
        """Play the yard as it is, and tell which trees lose most."""
        from fruitwall.plans.rules.gear import endangered, played

        return {"means": dict(played(self.ground, self.ahead).means), "endangered": endangered(self.ground)}

    def parts(self, losing: list[str]) -> list[tuple[dict[str, Any], WorkPart]]:
        """Give everything that is tried: what it is, and the part that plays it."""
        from fruitwall.plans.rules.gear import BARREL_L, barrelled, can_grow, framed
        from fruitwall.plans.sheltering import closes

        found: list[tuple[dict[str, Any], WorkPart]] = []

        def add(kind: str, key: str, name: str, step: float, weight: float, make: Callable[[], Any]) -> None:
            about = {"kind": kind, "key": key, "name": name, "step": step}
            found.append((about, WorkPart(f"{self.mark} {key}", weight, "", make)))

        for item in can_grow(self.ground):
            add(item.kind, item.key, item.name, item.step, 1.0, partial(self.more, item.key))
        sheltered = {tree for shelter in self.yard.shelters for tree in shelter.trees}
        trees = {tree.id: tree for tree in self.yard.trees}
        frames = [(trees[one], framed(self.yard, trees[one])) for one in losing if one not in sheltered]
        for tree, changed in [(tree, its) for tree, its in frames if its is not None][:FRAMES]:
            add("shelter", f"shelter/{tree.id}", tree.name, 1.0, 6.0, partial(self.changed, changed))
        for shelter in self.yard.shelters:
            if closes(shelter):
                with_more = barrelled(self.yard, shelter)
                add(
                    "barrel",
                    f"barrel/{shelter.id}",
                    shelter.name,
                    BARREL_L,
                    6.0,
                    partial(self.changed, with_more),
                )
        return found

    def more(self, key: str) -> dict[str, Any]:
        """Play the yard with one step more of a supply."""
        from fruitwall.plans.rules.gear import played, with_more

        return dict(played(with_more(self.ground, key), self.ahead).means)

    def changed(self, yard: Yard) -> dict[str, Any] | None:
        """Play the yard with some of its trees standing otherwise."""
        from fruitwall.plans.rules.gear import played, with_trees
        from fruitwall.service.winters_ground import winters_ground

        small = winters_ground(self.house, self.choice, yard=yard)
        return None if small is None else dict(played(with_trees(self.ground, small), self.ahead).means)


def _worth(about: Mapping[str, Any], before: Mapping[str, Any], after: Mapping[str, Any]) -> GearWorth:
    """Compare the yard with one thing more to the yard as it is."""
    from fruitwall.plans.rules.gear import Played, gain
    from fruitwall.service.winters_gear_document import GearGain, GearWorth

    def written(its: Gain) -> GearGain:
        return GearGain(mean=its.mean, p10=its.p10, p90=its.p90, error=its.error)

    was, is_now = Played(before), Played(after)
    total = gain(was.total, is_now.total)
    each = {
        name: written(gain(was.means[name], is_now.means[name]))
        for name in ("loss", "effort", "minutes", "lifts", "kwh")
    }
    telling = max(2.0 * total.error, LEAST_SHARE * float(was.total.mean()))
    return GearWorth(**about, total=written(total), **each, sure=total.mean > telling, worse=-total.mean > telling)


def priced(document: GearDocument, prices: Mapping[str, float]) -> GearDocument:
    """Set the prices that a household gave beside what things are worth."""
    items = []
    for item in document.items:
        price = prices.get(item.key)
        pays = price is not None and item.total.mean > 0.0
        winters = price / item.total.mean if price is not None and pays else None
        items.append(item.model_copy(update={"price": price, "winters_to_pay": winters}))
    return document.model_copy(update={"items": items})


def prices_of(house: House) -> dict[str, float]:
    """Give the prices that the household gave, by key."""
    kept = house.ledger.setting(PRICES)
    if not isinstance(kept, dict):
        return {}
    return {str(key): float(value) for key, value in kept.items() if isinstance(value, int | float)}


def keep_prices(house: House, typed: Mapping[str, str], *, author: str, now: datetime) -> None:
    """Keep prices as somebody typed them; an empty one is dropped.

    Parameters
    ----------
    house : House
    typed : Mapping of key to str
        With either decimal mark. Other keys keep their price.
    author : str
    now : datetime, aware

    Raises
    ------
    PlanError
        If one is no price; then none is kept.
    """
    prices = prices_of(house)
    for key, text in typed.items():
        if not text.strip():
            prices.pop(key, None)
            continue
        prices[key] = read_price(text)
    house.ledger.set(PRICES, prices, author=author, now=now)


def read_price(text: str) -> float:
    """Read a price.

    Raises
    ------
    PlanError
        If it is none.
    """
    try:
        value = float(text.strip().replace(",", "."))
    except ValueError:
        value = math.nan
    if not 0.0 <= value <= MOST_PRICE:
        raise PlanError(
            say(
                '"{typed}" is no price: write a number from 0 to {most:.0f}, such as 25.',
                typed=text.strip(),
                most=MOST_PRICE,
            )
        )
    return value
