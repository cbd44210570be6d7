"""Hourly weather turned into steps: what must not be made up between the hours."""

import numpy as np
import pytest

from fruitwall.physics.steps import steps_of
from fruitwall.physics.sun import extraterrestrial
from tests.physics.nights import frost_weather


@pytest.mark.parametrize("minutes", [5, 15, 30])
def test_no_step_has_more_light_than_reaches_the_top_of_the_air(minutes):
    # The made weather's sun is some minutes late, as services' hourly means are: the last minutes of the hour of
    # sunrise would have to carry all its light (308 W/m² at 1° of elevation, where 24 W/m² come in from outside).
    steps = steps_of(frost_weather(), minutes)
    middle = steps.time_utc - np.timedelta64(30 * minutes, "s")
    outside = extraterrestrial(middle) * np.maximum(np.sin(np.radians(steps.sun.elevation_deg)), 0.0)
    light = (steps.light.beam + steps.light.diffuse)[0]
    assert (light <= outside + 1e-9).all()
    assert light.max() > 300.0
