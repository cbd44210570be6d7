"""Whoever is not here this evening has no minutes for it."""

from __future__ import annotations

from datetime import UTC, date, datetime

from fruitwall.service.evening import with_time_left
from fruitwall.service.nights import evening_of
from tests.yard.yards import a_yard

NOW = datetime(2026, 12, 22, 20, 0, tzinfo=UTC)  # a Tuesday at noon, by the clock of the yard


def test_who_is_away_or_has_another_evening_has_no_time():
    people = [
        {"id": "ana", "name": "Ana", "minutes_before_dusk": 40},
        {"id": "bo", "name": "Bo", "minutes_before_dusk": 40, "evenings": ["wed", "thu"]},
        {"id": "cy", "name": "Cy", "minutes_before_dusk": 40, "away_until": "2026-12-23"},
        {"id": "di", "name": "Di", "minutes_before_dusk": 40, "away_until": "2026-12-22", "evenings": ["tue"]},
    ]
    yard = a_yard(people=people)
    evening = evening_of(yard.location, date(2026, 12, 22), NOW)

    left = with_time_left(yard, evening, {"ana": 15.0})

    assert [one.minutes_before_dusk for one in left.people] == [25.0, 0.0, 0.0, 40.0]
