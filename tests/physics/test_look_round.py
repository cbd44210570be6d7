"""Many places at once see what each sees alone."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest

from fruitwall.physics.look_round import survey_many
from fruitwall.physics.spot import Spot, survey
from fruitwall.yard.demo import demo_yard
from fruitwall.yard.model import Yard


def _places(yard: Yard, count: int) -> list[tuple[str, float, float, float]]:
    """Give places all over a yard, also in its buildings and crowns, some low and some high."""
    rng = np.random.default_rng(11)
    low, high = np.min(yard.outline, axis=0), np.max(yard.outline, axis=0)
    xy = rng.uniform(low, high, (count, 2))
    return [(f"c{i}", float(x), float(y), float(rng.choice([0.02, 0.8, 2.5]))) for i, (x, y) in enumerate(xy)]


def _same(one: Spot, other: Spot) -> None:
    for each in fields(Spot):
        a, b = getattr(one, each.name), getattr(other, each.name)
        if isinstance(a, str | None) or each.name == "wall_ids":
            assert a == b, each.name
        else:
            np.testing.assert_allclose(a, b, rtol=0.0, atol=1e-9, err_msg=each.name)


@pytest.mark.parametrize("winter", [True, False])
def test_many_places_see_what_each_sees_alone(*, winter: bool) -> None:
    yard = demo_yard()
    some = [s.model_copy(update={"material": "polyethylene"}) if s.kind == "roof" else s for s in yard.structures]
    yard = yard.model_copy(update={"structures": [*yard.structures, *(s for s in some if s.kind == "roof")]})
    places = _places(yard, 24)
    alone, together = survey(yard, places, winter=winter), survey_many(yard, places, winter=winter)
    for one, other in zip(alone, together, strict=True):
        _same(one, other)
    # The yard has something of everything, or the comparison would say little.
    for name in (
        "roof",
        "wall",
        "canopy",
        "wall_below",
        "paving_share",
        "pond_share",
        "colder_k",
        "roof_transmits_sun",
    ):
        assert max(getattr(each, name) for each in alone) > 0.01, name


def test_threads_change_nothing() -> None:
    yard = demo_yard()
    places = _places(yard, 100)
    for one, other in zip(survey_many(yard, places, threads=1), survey_many(yard, places, threads=2), strict=True):
        assert one.sun_share.tobytes() == other.sun_share.tobytes()
        assert (one.sky, one.wind_share, one.wall_shares) == (other.sky, other.wind_share, other.wall_shares)


def test_what_cannot_be_is_refused() -> None:
    yard = demo_yard()
    assert survey_many(yard, []) == []
    with pytest.raises(ValueError, match="threads must be at least 1"):
        survey_many(yard, _places(yard, 1), threads=0)
    with pytest.raises(ValueError, match="height_m"):
        survey_many(yard, [("low", 1.0, 1.0, 0.0)])
