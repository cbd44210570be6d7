"""What a forecast says for its own station."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from fruitwall.physics.air import wet_bulb
from fruitwall.service.evening import evenings_ahead, plan_evening
from fruitwall.service.station import wet_leaf
from fruitwall.weather.demo import demo_forcing, demo_now
from tests.physics.nights import LAST, frost_weather
from tests.service.test_evening import some_of_the_demo
from tests.yard.yards import a_yard

NOW = datetime(2026, 12, 21, 23, tzinfo=UTC)


def test_a_wet_leaf_is_looked_for_at_the_lowest_wet_bulb_of_the_night() -> None:
    weather = frost_weather(members=5, dew=-9.0, wind=3.0)
    evening = evenings_ahead(a_yard().location, weather, LAST.name, 1, NOW)[0]

    found = wet_leaf(weather, evening)

    night = weather.select(evening.sunset.replace(minute=0, second=0, microsecond=0), evening.end_hour)
    lowest = np.median(np.argmin(night.t_air_c, axis=1))
    assert lowest > 0
    assert found.wind_m_s == pytest.approx(3.0)
    assert -3.5 < found.t_air_c < -2.5  # the coldest hour: with one dew point all night it has the lowest wet bulb
    assert found.t_air_c - found.drop_k == pytest.approx(float(wet_bulb(found.t_air_c, -9.0, 97.8)), abs=0.3)


def test_a_dry_windy_frost_is_cautioned_of_in_the_plan_and_a_moist_one_is_not() -> None:
    demo = demo_forcing()
    dry = replace(demo, t_dew_c=demo.t_dew_c - 9.0, wind_m_s=np.maximum(demo.wind_m_s, 2.5))
    moist = replace(demo, t_dew_c=np.minimum(demo.t_air_c, demo.t_dew_c + 30.0))
    yard = some_of_the_demo(gear=some_of_the_demo().gear.model_copy(update={"covers": [], "heaters": [], "lamps": []}))

    said = [plan_evening(yard, weather, now=demo_now(), members=4, nights=1).cautions for weather in (dry, moist)]

    wet = [[text for text in texts if "wet bulb" in text] for texts in said]
    assert len(wet[0]) == 2
    assert "°F" in wet[0][0]
    assert "°C" not in "".join(wet[0])
    assert not any("Keep the leaves dry tonight" in text for text in wet[1])
