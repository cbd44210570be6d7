"""Does the yard lie where its time zone is kept?

The time-zone database names for every zone the place it is called after. A yard thousands of kilometres from there has,
as a rule, its coordinates exchanged or a sign wrong.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from importlib.resources import files
from math import asin, cos, radians, sin, sqrt

from fruitwall.speech import say
from fruitwall.yard.model import Location, Yard
from fruitwall.yard.problems import Problem

FARTHEST_KM = 4500.0
"""Distance from a zone's own place that is still usual: Kashgar lies 4,180 km from Shanghai by the same clock.
Our judgement. [km]"""

EARTH_RADIUS_KM = 6371.0

Place = tuple[float, float]
"""Latitude and longitude. [degrees]"""


@cache
def zone_places() -> dict[str, Place]:
    """Give the place after which each zone is called, from the ``zone.tab`` of the time-zone database.

    Returns
    -------
    dict of str to (latitude, longitude)
        Zones that are kept for a country; others, such as UTC, are not in it. [degrees]
    """
    places = {}
    for line in (files("tzdata") / "zoneinfo" / "zone.tab").read_text(encoding="utf-8").splitlines():
        if line and not line.startswith("#"):
            _, position, name, *_ = line.split("\t")
            latitude, longitude = re.findall(r"[+-]\d+", position)
            places[name] = (_degrees(latitude, 2), _degrees(longitude, 3))
    return places


def _degrees(text: str, digits: int) -> float:
    """Read ISO 6709 degrees, minutes and perhaps seconds: ``+4024``, ``-1181434``."""
    sign, figures = (-1.0 if text[0] == "-" else 1.0), text[1:]
    parts = (figures[:digits], figures[digits : digits + 2], figures[digits + 2 :])
    return sign * sum(float(part or 0) / 60.0**power for power, part in enumerate(parts))


def distance_km(a: Place, b: Place) -> float:
    """Give the great-circle distance between two places. [km]"""
    half_lat, half_lon = radians(b[0] - a[0]) / 2, radians(b[1] - a[1]) / 2
    chord = sin(half_lat) ** 2 + cos(radians(a[0])) * cos(radians(b[0])) * sin(half_lon) ** 2
    return 2 * EARTH_RADIUS_KM * asin(min(1.0, sqrt(chord)))


def zone_doubts(yard: Yard) -> Iterator[Problem]:
    """Warn if a yard lies far from where its time zone is kept; name the slip that would explain it."""
    location = yard.location
    home = zone_places().get(location.time_zone)
    if home is None:
        return
    here = (location.latitude_deg, location.longitude_deg)
    away = distance_km(here, home)
    near, slip = min((distance_km(place, home), slip) for slip, place in _slips(location))
    exchanged = near < away / 3 and away > FARTHEST_KM / 2
    if away > FARTHEST_KM or exchanged:
        ask = say("; {question}?", question=slip) if near < away / 3 else ""
        message = say(
            "lies {away:.0f} km from the place that {time_zone} is kept for{ask}",
            away=away,
            time_zone=location.time_zone,
            ask=ask,
        )
        yield Problem("warning", ("location",), message)


def _slips(location: Location) -> Iterator[tuple[str, Place]]:
    """Give where the yard would lie without the usual slips."""
    latitude, longitude = location.latitude_deg, location.longitude_deg
    if abs(longitude) <= 90:
        yield say("are latitude and longitude exchanged"), (longitude, latitude)
    yield say("is the sign of the longitude wrong (west is negative)"), (latitude, -longitude)
    yield say("is the sign of the latitude wrong (south is negative)"), (-latitude, longitude)
