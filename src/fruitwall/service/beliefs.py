"""What a plan takes from what the yard has taught: limits of its trees, offsets of their spots, errors of forecasts."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, TypeVar

from fruitwall.errors import FruitwallError
from fruitwall.service.taught import apply_shift, taught
from fruitwall.speech import say

if TYPE_CHECKING:
    from fruitwall.learning.forecasts import ForecastErrors
    from fruitwall.learning.spots import Offset
    from fruitwall.learning.tolerances import Learned
    from fruitwall.plants.tolerance import Tolerance
    from fruitwall.service.house import House
    from fruitwall.service.water_season import RootWord
    from fruitwall.yard.model import Yard

Value = TypeVar("Value")


@dataclass(frozen=True, eq=False)
class Beliefs:
    """What was learned, as a plan needs it.

    Attributes
    ----------
    before, learned : Learned or None
        Of all trees, without and with looks; None where nothing was asked.
    errors : ForecastErrors or None
        Of the forecasts of this place.
    offsets : Mapping of tree to Offset
        Of the spots of trees.
    trouble : tuple of str
        Why something could not be learned, in words for the user: the plan then rests on what is published.
    roots : Mapping of tree to str
        How roots stand by the water balance, ``dry``, ``moist`` or ``wet``; only where waterings or readings were
        entered and the grower did not say otherwise.
    dry_l : Mapping of tree to float
        Water that is missing from the upper soil of the same trees. [L]
    """

    before: Learned | None = None
    learned: Learned | None = None
    errors: ForecastErrors | None = None
    offsets: Mapping[str, Offset] = field(default_factory=dict)
    trouble: tuple[str, ...] = ()
    roots: Mapping[str, RootWord] = field(default_factory=dict)
    dry_l: Mapping[str, float] = field(default_factory=dict)

    @property
    def mark(self) -> tuple[object, ...]:
        """Another one where a plan would come out different: by a tenth of a kelvin or more."""
        return (*self.lasting_mark[:2], _of_errors(self.errors), tuple(sorted(self.roots.items())))

    @property
    def lasting_mark(self) -> tuple[object, ...]:
        """Another one where many winters would come out different.

        How dry roots are today and how wrong this week's forecasts were says nothing of the winters of other years:
        what took minutes to work out is not worked out anew for it.
        """
        shifts = self.learned.trees if self.learned is not None else {}
        return (
            tuple((name, round(one.mean_k, 1), round(one.sd_k, 1)) for name, one in sorted(shifts.items())),
            tuple((name, *(round(each, 1) for each in one.at(1.0))) for name, one in sorted(self.offsets.items())),
            len(self.trouble),  # its words are in the language of whoever asks
        )

    def with_roots(self, yard: Yard) -> Yard:
        """Give a yard whose trees' roots stand as the water balance has them."""
        if not any(self.roots.get(tree.id, tree.root_zone) != tree.root_zone for tree in yard.trees):
            return yard
        trees = [tree.model_copy(update={"root_zone": self.roots.get(tree.id, tree.root_zone)}) for tree in yard.trees]
        return yard.model_copy(update={"trees": trees})

    def stands(self, tree: str, tolerance: Tolerance) -> Tolerance:
        """Give what a tree stands with what was learned of it."""
        if self.before is None or self.learned is None:
            return tolerance
        return apply_shift(tolerance, tree, self.before, self.learned)


NOTHING_LEARNED = Beliefs()


def beliefs_of(house: House) -> Beliefs:
    """Give all that the yard has taught by now.

    Parameters
    ----------
    house : House
        With a yard.

    Returns
    -------
    Beliefs
        What cannot be learned is left as published, with the trouble told: a plan is needed tonight all the same.
    """
    from fruitwall.service.forecast_errors import learned_errors
    from fruitwall.service.spot_offsets import learned_offsets
    from fruitwall.service.water_season import dry_ground, root_words

    trouble: list[str] = []
    known = _tried(lambda: taught(house), trouble)
    return Beliefs(
        before=known.before if known is not None else None,
        learned=known.learned if known is not None else None,
        errors=_tried(lambda: learned_errors(house), trouble),
        offsets=_tried(lambda: learned_offsets(house), trouble) or {},
        trouble=tuple(trouble),
        roots=_tried(lambda: root_words(house), trouble) or {},
        dry_l=_tried(lambda: dry_ground(house), trouble) or {},
    )


def _of_errors(errors: ForecastErrors | None) -> tuple[float, ...]:
    """Give what of forecast errors changes a plan: another thermometer may bring as many pairs."""
    if errors is None or errors.pairs == 0:
        return ()
    return tuple(round(float(one), 1) for part in (errors.mean, errors.factor2) for one in part.ravel())


def _tried(learn: Callable[[], Value], trouble: list[str]) -> Value | None:
    """Learn one thing; where that fails note why."""
    try:
        return learn()
    except (FruitwallError, ArithmeticError, ValueError) as error:
        trouble.append(say("what the yard has taught could not be worked out and was left aside: {error}", error=error))
        return None
