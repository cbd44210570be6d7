"""When it is mild enough for a container to go back."""

from __future__ import annotations

from datetime import date, timedelta
from types import SimpleNamespace

import numpy as np
import pytest

from fruitwall.service.carrying_back import mild_from
from fruitwall.service.nights import evening_of
from fruitwall.weather.forcing import as_datetime64
from fruitwall.yard.demo import demo_yard

EVENING = evening_of(demo_yard().location, date(2026, 12, 22))
FIRST_HOUR = EVENING.sunrise.replace(minute=0, second=0, microsecond=0) + timedelta(hours=1)


def outlook_of(*members: list[float]) -> SimpleNamespace:
    """Stand in for an outlook: station air from the first full hour after sunrise, a member a row."""
    times = np.array([as_datetime64(FIRST_HOUR + timedelta(hours=hour)) for hour in range(len(members[0]))])
    forcing = SimpleNamespace(time_utc=times, t_air_c=np.array(members))
    return SimpleNamespace(situation=SimpleNamespace(forcing=forcing))


@pytest.mark.parametrize(
    ("hours", "after"),
    [
        ([1.0, 4.0, 6.0, 9.0], 2),
        ([6.0, 7.0, 8.0, 9.0], 0),
        ([6.0, 4.0, 7.0, 9.0], 2),  # a mild hour before a cold one is none
        ([0.0, 1.0, 2.0, 3.0], None),
    ],
)
def test_it_is_mild_from_the_hour_after_the_last_cold_one(hours, after):
    found = mild_from(outlook_of(hours), EVENING, 5.0)

    assert found == (None if after is None else FIRST_HOUR + timedelta(hours=after))


def test_one_cold_course_in_five_makes_wait():
    warm, cold = [6.0, 7.0, 8.0, 9.0], [0.0, 1.0, 2.0, 6.0]

    assert mild_from(outlook_of(*[warm] * 5), EVENING, 5.0) == FIRST_HOUR
    assert mild_from(outlook_of(*[warm] * 4, cold), EVENING, 5.0) == FIRST_HOUR + timedelta(hours=3)


def test_only_the_forecast_until_noon_is_read():
    found = mild_from(outlook_of([0.0] * 7 + [20.0] * 5), EVENING, 5.0)

    assert found is None
