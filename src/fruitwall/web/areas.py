"""The areas of the program as a person finds them, in the order of the navigation."""

from __future__ import annotations

from dataclasses import dataclass

from fruitwall.speech import marked, say


@dataclass(frozen=True)
class Area:
    """One area.

    Attributes
    ----------
    url : str
        Its first page; pages below it belong to it as well.
    name : str
        In English.
    told : str
        What it is for, in English.
    main : bool
        Whether it stands in the bar at the foot of a phone; the others stand on the page "More".
    """

    url: str
    name: str
    told: str
    main: bool = False

    def holds(self, path: str) -> bool:
        """Tell whether a page belongs to this area."""
        if self.url == "/":
            return path == "/" or path.startswith(("/night/", "/evening"))
        return path == self.url or path.startswith(self.url + "/")


AREAS = (
    Area("/", marked("Evening"), marked("What each tree gets tonight"), main=True),
    Area("/walk", marked("Walk"), marked("Round the yard with the phone: how each tree looks"), main=True),
    Area("/yard", marked("Yard"), marked("Plan drawing of the yard, to look at and to change"), main=True),
    Area("/trees", marked("Trees"), marked("Each tree: what it went through, and what it stands"), main=True),
    Area("/surprises", marked("Surprises"), marked("What the yard taught: what was not expected, and what to change")),
    Area("/season", marked("Season"), marked("Cold, chill, water, heat, growth: how each tree stands, what to do")),
    Area("/winters", marked("Winters"), marked("What if: house rules, gear and danger over many real winters")),
    Area("/placing", marked("Placing"), marked("Where to plant what, and what grows here unprotected")),
    Area("/household", marked("Gear and people"), marked("Covers, lamps, outlets, indoor places; who helps, and when")),
    Area("/weather", marked("Weather"), marked("Sources, last fetch, readings against the forecast")),
    Area("/kinds", marked("Kinds"), marked("What is published about each kind of tree")),
    Area("/gear", marked("Containers and covers"), marked("What is published about containers and covers")),
    Area("/api", marked("For scripts and sensors"), marked("What programs can ask for and send")),
    Area("/settings", marked("Settings"), marked("Language, units, people and devices, backup")),
)


@dataclass(frozen=True)
class Place:
    """An area as a link of the navigation."""

    url: str
    name: str
    told: str
    main: bool
    here: bool


def places(present: frozenset[str], path: str) -> list[Place]:
    """Give the links of the navigation as seen from a page.

    Parameters
    ----------
    present : frozenset of str
        URLs of the areas that this application has.
    path : str
        Of the page.
    """
    return [
        Place(area.url, say(area.name), say(area.told), area.main, area.holds(path))
        for area in AREAS
        if area.url in present
    ]
