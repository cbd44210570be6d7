"""A yard far from where its time zone is kept has, as a rule, a slip in its coordinates."""

from __future__ import annotations

import pytest

from fruitwall.yard.zones import distance_km, zone_doubts, zone_places
from tests.yard.yards import a_yard


def doubts(latitude: float, longitude: float, zone: str) -> list[str]:
    place = {"latitude_deg": latitude, "longitude_deg": longitude, "elevation_m": 10, "time_zone": zone}
    return [problem.message for problem in zone_doubts(a_yard(location=place))]


def test_a_zone_s_place_is_read_to_the_second() -> None:
    # zone.tab of the IANA time-zone database: US +340308-1181434 America/Los_Angeles
    latitude, longitude = zone_places()["America/Los_Angeles"]

    assert latitude == pytest.approx(34 + 3 / 60 + 8 / 3600)
    assert longitude == pytest.approx(-(118 + 14 / 60 + 34 / 3600))


def test_a_quarter_of_the_meridian_is_ten_thousand_kilometres() -> None:
    # The first definition of the metre (1791): a ten-millionth of the quarter meridian; a sphere is within 0.1 %.
    assert distance_km((0.0, 0.0), (90.0, 0.0)) == pytest.approx(10_000, rel=0.001)


@pytest.mark.parametrize(
    ("latitude", "longitude", "zone", "slip"),
    [
        (-4.1, 36.75, "Europe/Madrid", "exchanged"),
        (36.75, 117.2, "America/Los_Angeles", "longitude wrong"),
        (-33.9, -117.2, "America/Los_Angeles", "latitude wrong"),
    ],
)
def test_usual_slips_are_named(latitude: float, longitude: float, zone: str, slip: str) -> None:
    (message,) = doubts(latitude, longitude, zone)

    assert slip in message


@pytest.mark.parametrize(
    ("latitude", "longitude", "zone"),
    [
        (36.75, -4.1, "Europe/Madrid"),
        (33.92, -117.22, "America/Los_Angeles"),
        (39.5, 76.0, "Asia/Shanghai"),
        (25.5, -80.4, "America/New_York"),
        (-33.9, 151.2, "Australia/Sydney"),
        (0.0, 0.0, "UTC"),
    ],
)
def test_places_within_their_zone_raise_no_doubt(latitude: float, longitude: float, zone: str) -> None:
    assert doubts(latitude, longitude, zone) == []
