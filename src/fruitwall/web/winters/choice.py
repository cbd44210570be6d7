"""How the reader wants the winters taken, as pages and scripts ask for it in an address."""

from __future__ import annotations

from typing import Annotated, Literal
from urllib.parse import urlencode

from fastapi import Depends, Query

from fruitwall.service.winters_weather import AS_THEY_WERE, WeatherChoice

COLDEST_K, WARMEST_K = -5.0, 10.0
"""How much winters may be warmed. Our judgement: beyond, plants and people would be others too. [K]"""

FEWEST, MOST = 3, 100
"""How many winters may be asked for."""


def choice_asked(
    warmer: Annotated[
        float, Query(ge=COLDEST_K, le=WARMEST_K, allow_inf_nan=False, description="Added to all temperatures [K]")
    ] = AS_THEY_WERE.warmer_k,
    weighting: Annotated[
        Literal["equal", "recent"], Query(description="recent: newer winters count for more")
    ] = AS_THEY_WERE.weighting,
    trend_out: Annotated[bool, Query(description="Move each winter to the level of today by the trend")] = False,
    winters: Annotated[int, Query(ge=FEWEST, le=MOST, description="Newest winters taken at most")] = AS_THEY_WERE.most,
) -> WeatherChoice:
    """Read the choice from an address."""
    return WeatherChoice(warmer, weighting, trend_out, winters)


AskedChoice = Annotated[WeatherChoice, Depends(choice_asked)]
"""Parameter of a route: ``choice: AskedChoice``."""


def choice_query(choice: WeatherChoice) -> str:
    """Give the part of an address that asks for a choice, ``?warmer=2``; empty for winters as they were."""
    told = {
        "warmer": f"{choice.warmer_k:g}",
        "weighting": choice.weighting,
        "trend_out": "1",
        "winters": f"{choice.most}",
    }
    own = {
        "warmer": choice.warmer_k != AS_THEY_WERE.warmer_k,
        "weighting": choice.weighting != AS_THEY_WERE.weighting,
        "trend_out": choice.trend_taken_out,
        "winters": choice.most != AS_THEY_WERE.most,
    }
    asked = {name: value for name, value in told.items() if own[name]}
    return f"?{urlencode(asked)}" if asked else ""
