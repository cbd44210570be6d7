"""What a plan takes from what the yard has taught: limits of its trees, offsets of their spots, errors of forecasts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from fruitwall.service.taught import apply_shift, taught

if TYPE_CHECKING:
    from fruitwall.learning.forecasts import ForecastErrors
    from fruitwall.learning.spots import Offset
    from fruitwall.learning.tolerances import Learned
    from fruitwall.plants.tolerance import Tolerance
    from fruitwall.service.house import House


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
    """

    before: Learned | None = None
    learned: Learned | None = None
    errors: ForecastErrors | None = None
    offsets: Mapping[str, Offset] = field(default_factory=dict)

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
    """
    from fruitwall.service.forecast_errors import learned_errors
    from fruitwall.service.spot_offsets import learned_offsets

    known = taught(house)
    return Beliefs(known.before, known.learned, learned_errors(house), learned_offsets(house))
