"""What the page of gear and people says of each field, and of each kind of thing."""

from __future__ import annotations

from dataclasses import dataclass

from fruitwall.speech import marked


@dataclass(frozen=True)
class Part:
    """A part of the page.

    Attributes
    ----------
    key : str
        Its anchor.
    name, told : str
        Heading and what it is about, in English.
    kinds : tuple of str
        Of `yard_form.MODELS`; what can be added, and groups of which there is one each.
    link : (str, str) or None
        Address and words of where more is known.
    """

    key: str
    name: str
    told: str
    kinds: tuple[str, ...]
    link: tuple[str, str] | None = None


PUBLISHED = ("/gear", marked("What is published about containers and covers"))

PARTS = (
    Part(
        "people",
        marked("People"),
        marked("Who helps, when they are here, and what they may be asked for. Nobody is asked to lift more."),
        ("person",),
    ),
    Part(
        "covers",
        marked("Sheets and covers"),
        marked("To reach the ground a sheet must be as long as the crown is wide, and twice its height more."),
        ("cover",),
        PUBLISHED,
    ),
    Part(
        "shelters",
        marked("Standing shelters"),
        marked("Frames over trees, closed for the night, with water in barrels that gives back the day's warmth."),
        ("shelter",),
        PUBLISHED,
    ),
    Part(
        "outlets",
        marked("Outlets and leads"),
        marked("Only outlets that are known to be protected are planned with, and only up to what they carry."),
        ("circuit", "lead"),
    ),
    Part(
        "warmth",
        marked("Lamps and heaters"),
        marked("Electric only. Lamps hang in a covered crown; a heater stands in a shelter, with clearance all round."),
        ("lamp", "heater"),
    ),
    Part(
        "water",
        marked("Water"),
        marked(
            "Watering the ground in the afternoon needs no entry: the plan counts on a hose or cans and on the minutes "
            "of whoever does it. What stands here is for watering through the year; the emitter of a tree stands "
            "with the tree on the page Yard."
        ),
        ("@water",),
    ),
    Part(
        "moving",
        marked("Moving pots"),
        marked("What carries them, and where they can go. Roofs and walls stand in the plan of the yard."),
        ("trolley", "indoor_place"),
        PUBLISHED,
    ),
    Part(
        "shade",
        marked("Against sun and heat"),
        marked("Cloth against hot sun. Shady places for pots are found from walls, roofs and crowns on the plan."),
        ("shade", "paint"),
    ),
    Part(
        "costs",
        marked("What effort costs"),
        marked("So that it can be weighed against trees: a plan asks for nothing that costs more than it saves."),
        ("@prices",),
    ),
    Part(
        "place",
        marked("Place and ground"),
        marked("Where the yard lies, what its ground is, and in which units its numbers are shown to all."),
        ("@location", "@ground", "@display"),
    ),
)

AT_THE_PLAN = {
    "shelter.outline": marked("As on the plan; corners are easier to drag on the page Yard."),
    "circuit.outlet": marked("To the east and to the north, as on the plan; it can be dragged on the page Yard."),
    "indoor_place.position": marked("Of its door, as on the plan; it can be dragged on the page Yard."),
}
"""Help on a field that is easier to fill in on the plan, by kind and name."""

ADD_WORDS = {
    "person": marked("Add a person"),
    "cover": marked("Add a sheet or cover"),
    "shelter": marked("Draw a shelter on the plan"),
    "circuit": marked("Add an outlet"),
    "lead": marked("Add a lead"),
    "lamp": marked("Add a string of lamps"),
    "heater": marked("Add an electric heater"),
    "trolley": marked("Add a trolley"),
    "shade": marked("Add shade cloth"),
    "paint": marked("Add white paint"),
    "indoor_place": marked("Add an indoor place"),
}

CAUTIONS = {
    "person": ("lifting", "ladder"),
    "cover": ("touching", "film"),
    "shelter": ("film",),
    "circuit": ("ground_fault", "what_prevails"),
    "lead": ("leads", "what_prevails"),
    "lamp": ("lamps", "ground_fault"),
    "heater": ("heater", "heater_lead", "no_fuel", "ground_fault", "what_prevails"),
    "trolley": ("trolley", "path"),
    "shade": ("shade_wind",),
    "paint": ("whitewash",),
    "indoor_place": ("indoors", "lifting"),
    "water": ("water_and_power",),
}
"""Keys of `plans.cautions`, by kind of thing, and by key of a part that has no things."""

DRAWN = ("shelter",)
"""What is added on the plan, since it has a shape."""


def cautions_of(part: Part) -> tuple[str, ...]:
    """Give the cautions of all that stands in a part, each once."""
    return tuple(dict.fromkeys(key for kind in (*part.kinds, part.key) for key in CAUTIONS.get(kind, ())))
