"""Cities with position, time zone and population, to find a place by its name without asking anybody.

From GeoNames (https://www.geonames.org), CC BY 4.0; made by ``scripts/make-cities``.
"""

from __future__ import annotations

import gzip
import unicodedata
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from fruitwall.yard.near_names import near_names
from fruitwall.yard.zones import distance_km

SAME_TOWN_DEG = 1.5
"""How far round a point nearer cities are looked for first. Our judgement. [degrees]"""


@dataclass(frozen=True)
class City:
    """One city.

    Attributes
    ----------
    number : int
        Its place in the list, the largest city first.
    name : str
    others : tuple of str
        More spellings of it.
    country : str
        Two letters (ISO 3166).
    region : str
        Code of the first division, as GeoNames has it.
    latitude_deg, longitude_deg : float
        To a hundredth of a degree.
    zone : str
        IANA name of its time zone.
    population : int
    """

    number: int
    name: str
    others: tuple[str, ...]
    country: str
    region: str
    latitude_deg: float
    longitude_deg: float
    zone: str
    population: int


def folded(text: str) -> str:
    """Write a name as it is compared: small letters, no accents."""
    plain = unicodedata.normalize("NFKD", text)
    return "".join(one for one in plain if not unicodedata.combining(one)).casefold().strip()


@cache
def cities() -> tuple[City, ...]:
    """Give all cities of the list, the largest first."""
    text = gzip.decompress((files("fruitwall.yard") / "data" / "cities.tsv.gz").read_bytes()).decode("utf-8")
    head, *lines = text.splitlines()
    zones = head.split("\t")
    found = []
    for number, line in enumerate(lines):
        name, others, country, region, latitude, longitude, zone, population = line.split("\t")
        found.append(
            City(
                number,
                name,
                tuple(others.split(",")) if others else (),
                country,
                region,
                float(latitude),
                float(longitude),
                zones[int(zone)],
                int(population),
            )
        )
    return tuple(found)


@cache
def _names() -> tuple[tuple[str, ...], ...]:
    return tuple((folded(one.name), *(folded(other) for other in one.others)) for one in cities())


def search_cities(asked: str, most: int = 8) -> list[City]:
    """Find cities by name, small slips forgiven; a country's or region's code may follow a comma.

    Parameters
    ----------
    asked : str
        As typed: ``Riverside``, ``riverside, ca``, ``Málaga, ES``.
    most : int
        How many at most.

    Returns
    -------
    list of City
        Those called so first, then those that begin so, then those that sound like it; each the largest first.
    """
    word, *codes = [folded(part) for part in asked.split(",") if part.strip()] or [""]
    if len(word) < 2:
        return []

    def fits(city: City) -> bool:
        return all(code in (city.country.casefold(), city.region.casefold()) for code in codes)

    ranked: list[tuple[int, int]] = []
    for number, names in enumerate(_names()):
        if word in names:
            ranked.append((0, number))
        elif any(name.startswith(word) for name in names):
            ranked.append((1, number))
        elif len(word) > 3 and word in names[0]:
            ranked.append((2, number))
    found = [cities()[number] for _, number in sorted(ranked)]
    found = [city for city in found if fits(city)]
    if not found and len(word) > 3:
        heads = {names[0]: city for names, city in zip(_names(), cities(), strict=True) if names[0][0] == word[0]}
        found = [heads[name] for name in near_names(word, heads, most) if name in heads and fits(heads[name])]
    return found[:most]


def nearest_city(latitude_deg: float, longitude_deg: float) -> City:
    """Give the city nearest to a point."""
    here = (latitude_deg, longitude_deg)
    near = [
        one
        for one in cities()
        if abs(one.latitude_deg - latitude_deg) < SAME_TOWN_DEG
        and abs(one.longitude_deg - longitude_deg) < SAME_TOWN_DEG
    ]
    return min(near or cities(), key=lambda one: distance_km(here, (one.latitude_deg, one.longitude_deg)))
