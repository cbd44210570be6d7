"""From a yard and its climate to the ground that "what if" is asked of."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from fruitwall.service.winters_weather import WeatherChoice

if TYPE_CHECKING:
    from fruitwall.plans.rules.ground import Ground
    from fruitwall.service.house import House
    from fruitwall.yard.model import Yard

STEP_YEARS = (0.0, 4.0, 10.0)
"""Sizes at which the yard is replayed, years from now. Our judgement. [years]"""


def winters_ground(
    house: House,
    choice: WeatherChoice = WeatherChoice(),  # noqa: B008
    *,
    yard: Yard | None = None,
    steps: tuple[float, ...] = STEP_YEARS,
    heard: Callable[[float], None] = lambda _share: None,
) -> Ground | None:
    """Work the ground out, or give the kept one; `yard` is another yard of the same place, as with more gear."""
    raise NotImplementedError
