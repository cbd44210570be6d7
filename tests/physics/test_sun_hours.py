"""Hours of sun of a place, against pvlib and a published day length."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from fruitwall.physics.spot import Spot, survey
from fruitwall.physics.sun_hours import sun_hours
from fruitwall.yard.model import Yard
from tests.physics.yards import yard


def _spot(place: Yard) -> list[Spot]:
    return survey(place, [("here", 0.0, 0.0, 1.0)])


@pytest.mark.parametrize(
    ("latitude", "longitude", "first", "last"),
    [(33.9, -117.4, date(2025, 11, 6), date(2026, 2, 4)), (-36.8, 174.8, date(2025, 11, 6), date(2026, 2, 4))],
)
def test_open_field_has_the_day_of_pvlib(latitude: float, longitude: float, first: date, last: date) -> None:
    import pandas as pd
    from pvlib.solarposition import get_solarposition

    minutes = pd.date_range(str(first), str(last + timedelta(days=1)), freq="2min", tz="UTC", inclusive="left")
    up = np.asarray(get_solarposition(minutes, latitude, longitude)["elevation"]) > 0.0
    found = sun_hours(_spot(yard()), latitude, longitude, first, last)
    assert float(found[0]) == pytest.approx(24.0 * up.mean(), abs=2.0 / 60.0)


def test_published_day_length() -> None:
    # FAO Irrigation and drainage paper 56 (Allen and others 1998), example 9: 3 September at 20 degrees south, 11.7 h.
    # One day in steps of ten minutes is good to ten minutes.
    day = date(2025, 9, 3)
    assert float(sun_hours(_spot(yard()), -20.0, 0.0, day, day)[0]) == pytest.approx(11.7, abs=10.0 / 60.0)
