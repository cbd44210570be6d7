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
            "of whoever does it."
        ),
        (),
    ),
    Part(
        "moving",
        marked("Moving pots"),
        marked("What carries them, and where they can go. Roofs and walls stand in the plan of the yard."),
        ("trolley", "indoor_place"),
        PUBLISHED,
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

TOLD = {
    "cover.material": marked("Bed sheets and burlap warm little; heavy fleece and blankets more."),
    "cover.width": marked("Of one sheet. Also as 14 ft or 102 in."),
    "cover.length": marked("Of one sheet."),
    "cover.count": marked("Of this size and cloth."),
    "cover.on_frame": marked("Then leaves that touch it do not freeze with it."),
    "cover.wear": marked("Tears, sun, mould: its price by the nights that it lasts."),
    "shelter.outline": marked("As on the plan; corners are easier to drag on the page Yard."),
    "shelter.trees": marked("They must stand within its corners."),
    "shelter.water": marked("All barrels together, dark and in the sun by day. 0 for none."),
    "lamp.watts": marked("Of the whole string, from its label."),
    "lamp.kind": marked("Only bulbs that waste their power as heat warm a tree."),
    "lamp.count": marked("Strings like this one."),
    "lamp.wear": marked("Of one string: bulbs that burn out."),
    "heater.watts": marked("At the setting used, from its label. Also as 1.5 kW."),
    "heater.thermostat": marked("Empty if it has none."),
    "heater.count": marked("Heaters like this one."),
    "lead.length": marked("Unrolled, as it must be used."),
    "lead.conductor": marked("Printed on the lead, such as 1.5 or 12 AWG. If you cannot read it, leave the lead out."),
    "trolley.max_mass": marked("From its label. Also as 200 lb."),
    "circuit.volts": marked("230 in most of the world, 120 in North America."),
    "circuit.amps": marked("The number on the fuse or breaker, such as 16 or 20."),
    "circuit.outlet": marked("To the east and to the north, as on the plan; it can be dragged on the page Yard."),
    "circuit.continuous_rule": marked("The usual rule for what runs three hours or longer. Leave it on if unsure."),
    "circuit.ground_fault": marked("Tick it only if you know it and its test button worked. If not, it is not used."),
    "indoor_place.position": marked("Of its door, as on the plan; it can be dragged on the page Yard."),
    "indoor_place.spaces": marked("How many pots fit without anybody stumbling over them."),
    "indoor_place.max_height": marked("With its pot."),
    "indoor_place.kept_at": marked("Empty if it is not heated."),
    "indoor_place.warmer": marked("At the end of a cold night; measure it once with a thermometer."),
    "person.minutes_before_dusk": marked("Time they can give on an evening. 0: they only look."),
    "person.lifts": marked("Without the tick they are never asked to lift."),
    "person.max_lift": marked("Their own limit, also as 40 lb. Empty: what the lifting equation allows."),
    "person.evenings": marked("On other evenings they are planned with no time."),
    "person.away_until": marked("Empty if they are here. Before the evening of this day they have no time."),
    "@prices.per_hour": marked("What an hour of somebody's evening is worth."),
    "@prices.per_lift": marked("What a lift of a heavy pot is felt to cost."),
    "@prices.per_kwh": marked("From the bill."),
    "@prices.worst_case_aversion": marked("0 plans for what is expected; 1 for the worst tenth of what may come."),
    "@location.latitude": marked("North positive, in degrees."),
    "@location.longitude": marked("East positive, west negative, in degrees."),
    "@location.time_zone": marked("Such as America/Los_Angeles or Europe/Madrid: all times on the pages follow it."),
    "@location.clear_night_offset": marked("Warmer (+) or colder (−) than the forecast's place; 0 if not known."),
    "@ground.moisture": marked("Wet ground gives more warmth back at night."),
    "@display.temperature": marked("Everybody may choose otherwise for themselves on the page Settings."),
    "@display.currency": marked("Such as EUR, USD or MXN, of all amounts in the yard."),
}
"""Help on a field, by kind and name."""

ADD_WORDS = {
    "person": marked("Add a person"),
    "cover": marked("Add a sheet or cover"),
    "shelter": marked("Draw a shelter on the plan"),
    "circuit": marked("Add an outlet"),
    "lead": marked("Add a lead"),
    "lamp": marked("Add a string of lamps"),
    "heater": marked("Add an electric heater"),
    "trolley": marked("Add a trolley"),
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
    "indoor_place": ("indoors", "lifting"),
    "water": ("water_and_power",),
}
"""Keys of `plans.cautions`, by kind of thing, and by key of a part that has no things."""

DRAWN = ("shelter",)
"""What is added on the plan, since it has a shape."""


def cautions_of(part: Part) -> tuple[str, ...]:
    """Give the cautions of all that stands in a part, each once."""
    return tuple(dict.fromkeys(key for kind in (*part.kinds, part.key) for key in CAUTIONS.get(kind, ())))


def told(kind: str, name: str) -> str:
    """Give the help on a field, in English; empty for none."""
    return TOLD.get(f"{kind}.{name}", "")
