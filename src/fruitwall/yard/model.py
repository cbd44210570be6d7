"""What is there: the yard as data.

One frozen pydantic model per thing that a grower would name when showing a visitor round: trees and their
containers, structures, standing shelters, gear, circuits, indoor places, people and prices.

Every quantity is kept in SI, with the unit in the field's name. In the yard file the same field is written
without the unit suffix and may carry the grower's own unit (``height: 6 ft``); a bare number is taken in the
unit of the field. Positions are metres in the yard's own frame: x to the east, y to the north.

What this module leaves to others: reading files (`yard.file`), units (`yard.quantities`), shapes in the plane
(`yard.plan`), whether a taxon is known (`plants.catalogue`).
"""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from fruitwall.yard.quantities import (
    Amperes,
    Angle,
    Celsius,
    Coordinate,
    Kelvins,
    Kilograms,
    Litres,
    Metres,
    Minutes,
    Share,
    SquareMillimetres,
    Volts,
    Watts,
)

Point = tuple[Metres, Metres]
"""Position in the yard's frame: x to the east, y to the north. [m, m]"""

Identifier = Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9_-]{0,63}$")]
"""Name by which other parts of the file refer to a thing: lower-case letters, digits, '-' and '_'."""

Label = Annotated[str, Field(min_length=1, max_length=120)]


class Part(BaseModel):
    """Base of everything in a yard: immutable, unknown fields refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


class Location(Part):
    """Where the yard lies and how its air differs from the open country around it."""

    latitude_deg: Coordinate = Field(alias="latitude", ge=-90, le=90)
    longitude_deg: Coordinate = Field(alias="longitude", ge=-180, le=180)
    elevation_m: Metres = Field(alias="elevation", ge=-430, le=6000)
    time_zone: str = Field(description="IANA name, such as America/Los_Angeles")
    clear_night_offset_k: Kelvins = Field(
        default=0.0,
        alias="clear_night_offset",
        ge=-10,
        le=10,
        description="How much warmer (+) or colder (-) the yard's air is than the forecast's on a clear still night",
    )


class Display(Part):
    """Units and currency in which this household reads; storage is SI whatever stands here."""

    temperature: Literal["C", "F"] = "C"
    length: Literal["m", "ft"] = "m"
    mass: Literal["kg", "lb"] = "kg"
    volume: Literal["L", "gal"] = "L"
    currency: Annotated[str, Field(pattern=r"^[A-Z]{3}$")] = "EUR"


class Ground(Part):
    """The ordinary ground of the yard, where no paving or pond lies."""

    surface: Literal["bare", "turf", "mulch"] = "turf"
    soil: Literal["sand", "loam", "clay"] = "loam"
    moisture: Literal["dry", "moist", "wet"] = "moist"


class HorizonPoint(Part):
    """Height of the skyline (hills, distant trees) in one direction."""

    azimuth_deg: Angle = Field(alias="azimuth", ge=0, lt=360, description="Clockwise from north")
    height_deg: Angle = Field(alias="height", ge=0, lt=90)


# ---------------------------------------------------------------- structures

MasonryMaterial = Literal["dry_stone", "stone", "brick", "concrete", "rendered_block", "adobe", "timber", "metal", "glass"]
RoofMaterial = Literal["glass", "polycarbonate", "polyethylene", "tile", "metal", "timber", "shade_cloth"]
PavingMaterial = Literal["concrete", "stone", "brick", "gravel", "asphalt", "timber"]


class Wall(Part):
    """A standing wall along a line; with earth behind it where it retains a terrace."""

    kind: Literal["wall"] = "wall"
    id: Identifier
    name: Label
    line: list[Point] = Field(min_length=2)
    height_m: Metres = Field(alias="height", gt=0, le=30)
    thickness_m: Metres = Field(default=0.3, alias="thickness", gt=0, le=3)
    material: MasonryMaterial = "stone"
    retains_earth: bool = False


class Building(Part):
    """A closed building; its outer faces act as walls, its roof as an obstacle to the sky."""

    kind: Literal["building"] = "building"
    id: Identifier
    name: Label
    outline: list[Point] = Field(min_length=3)
    height_m: Metres = Field(alias="height", gt=0, le=60)
    material: MasonryMaterial = "rendered_block"
    thickness_m: Metres = Field(default=0.2, alias="thickness", gt=0, le=3)
    indoor_c: Celsius | None = Field(
        default=None, alias="indoor", ge=-30, le=40, description="Temperature kept inside; leave out if unheated"
    )


class Roof(Part):
    """A roof without (or with few) walls under it: lean-to, porch, eave, carport."""

    kind: Literal["roof"] = "roof"
    id: Identifier
    name: Label
    outline: list[Point] = Field(min_length=3)
    height_m: Metres = Field(alias="height", gt=0, le=30)
    material: RoofMaterial = "tile"


class Paving(Part):
    """A hard surface that stores heat."""

    kind: Literal["paving"] = "paving"
    id: Identifier
    name: Label
    outline: list[Point] = Field(min_length=3)
    material: PavingMaterial = "concrete"
    thickness_m: Metres = Field(default=0.1, alias="thickness", gt=0, le=1)


class Canopy(Part):
    """The crown of a large tree that is not itself cared for here (a walnut, a neighbour's oak)."""

    kind: Literal["canopy"] = "canopy"
    id: Identifier
    name: Label
    position: Point
    crown_diameter_m: Metres = Field(alias="crown_diameter", gt=0, le=60)
    height_m: Metres = Field(alias="height", gt=0, le=80)
    base_m: Metres = Field(default=2.0, alias="base", ge=0, le=60, description="Height of the lowest foliage")
    habit: Literal["evergreen", "leafless_in_winter"] = "evergreen"
    gap_fraction: Share = Field(default=0.15, ge=0, le=1, description="Share of sky seen through the leafy crown")


class Fence(Part):
    """A fence or hedge: shelters from wind, hides some sky, stores no heat worth counting."""

    kind: Literal["fence"] = "fence"
    id: Identifier
    name: Label
    line: list[Point] = Field(min_length=2)
    height_m: Metres = Field(alias="height", gt=0, le=15)
    porosity: Share = Field(default=0.3, ge=0, le=1)


class Pond(Part):
    """Open water."""

    kind: Literal["pond"] = "pond"
    id: Identifier
    name: Label
    outline: list[Point] = Field(min_length=3)
    depth_m: Metres = Field(default=0.6, alias="depth", gt=0, le=20)


class Hollow(Part):
    """A place where cold air gathers on clear still nights."""

    kind: Literal["hollow"] = "hollow"
    id: Identifier
    name: Label
    outline: list[Point] = Field(min_length=3)
    colder_k: Kelvins = Field(alias="colder", gt=0, le=10, description="How much colder than the yard on such a night")


Structure = Annotated[
    Wall | Building | Roof | Paving | Canopy | Fence | Pond | Hollow, Field(discriminator="kind")
]


# ---------------------------------------------------------------- trees


class Container(Part):
    """The pot or tub of a tree that is not in the ground."""

    volume_l: Litres = Field(alias="volume", gt=0, le=2000)
    material: Literal["plastic", "clay", "timber", "fabric", "metal"] = "plastic"
    mass_kg: Kilograms | None = Field(
        default=None, alias="mass", gt=0, le=3000, description="Weighed, wet, with the tree; estimated if left out"
    )
    handles: bool = False


TreeStage = Literal["dormant", "leafy", "flush", "flower", "fruit"]


class Tree(Part):
    """One plant in its spot."""

    id: Identifier
    name: Label
    taxon: Label = Field(description="Scientific or common name, as in the catalogue")
    cultivar: Label | None = None
    position: Point
    height_m: Metres = Field(alias="height", gt=0, le=40)
    crown_diameter_m: Metres = Field(alias="crown_diameter", gt=0, le=30)
    crown_base_m: Metres = Field(default=0.0, alias="crown_base", ge=0, le=20)
    planted: date | None = Field(default=None, description="Day it was planted or potted, for its age")
    age_years: Annotated[float, Field(ge=0, le=500)] | None = None
    origin: Literal["seedling", "grafted", "cutting", "unknown"] = "unknown"
    container: Container | None = None
    stages: list[TreeStage] = Field(default_factory=lambda: ["leafy"], description="What it carries now")
    worth: Annotated[float, Field(ge=0, le=1e6)] = Field(
        default=100.0, description="What losing it would cost the grower, in the household's currency"
    )
    fruit_worth: Annotated[float, Field(ge=0, le=1e6)] = Field(default=0.0, description="Worth of the fruit on it now")
    notes: str | None = None


# ---------------------------------------------------------------- shelters and gear

CoverMaterial = Literal[
    "fleece_light",
    "fleece_medium",
    "fleece_heavy",
    "frost_blanket",
    "bed_sheet",
    "burlap",
    "film_polyethylene",
    "film_infrared",
    "bubble_film",
]
"""Cover cloths and films; weights and optical values are in `physics.covers`."""


class Shelter(Part):
    """A standing frame over one or more trees; its cover stays on the frame and is closed for the night."""

    id: Identifier
    name: Label
    outline: list[Point] = Field(min_length=3)
    height_m: Metres = Field(alias="height", gt=0, le=10)
    trees: list[Identifier] = Field(min_length=1)
    sides: CoverMaterial | Literal["open"] = "film_polyethylene"
    top: CoverMaterial | Literal["open"] = "film_polyethylene"
    minutes_to_close: Minutes = Field(default=5.0, gt=0, le=240)
    minutes_to_open: Minutes = Field(default=3.0, gt=0, le=240)


class Cover(Part):
    """Sheets of one size and material."""

    id: Identifier
    name: Label
    material: CoverMaterial
    width_m: Metres = Field(alias="width", gt=0, le=50)
    length_m: Metres = Field(alias="length", gt=0, le=50)
    count: Annotated[int, Field(ge=1, le=1000)] = 1
    on_frame: bool = Field(default=False, description="Held off the leaves by stakes or a frame that goes with it")


class LampString(Part):
    """A string of lamps to hang in a covered crown."""

    id: Identifier
    name: Label
    watts: Watts = Field(gt=0, le=5000)
    kind: Literal["incandescent", "led"] = "incandescent"
    count: Annotated[int, Field(ge=1, le=1000)] = 1


class Heater(Part):
    """An electric heater for use under a shelter or cover, on a frame and with clearance."""

    id: Identifier
    name: Label
    watts: Watts = Field(gt=0, le=20000)
    thermostat_c: Celsius | None = Field(default=None, alias="thermostat", ge=-10, le=30)
    count: Annotated[int, Field(ge=1, le=1000)] = 1


class Lead(Part):
    """An outdoor extension lead."""

    id: Identifier
    name: Label
    length_m: Metres = Field(alias="length", gt=0, le=200)
    conductor_mm2: SquareMillimetres = Field(alias="conductor", gt=0, le=50)
    count: Annotated[int, Field(ge=1, le=1000)] = 1


class Trolley(Part):
    """A trolley or sack truck on which one person can push a container."""

    id: Identifier
    name: Label
    max_mass_kg: Kilograms = Field(alias="max_mass", gt=0, le=2000)
    count: Annotated[int, Field(ge=1, le=100)] = 1


class Gear(Part):
    """Everything movable that protects or moves trees."""

    covers: list[Cover] = []
    lamps: list[LampString] = []
    heaters: list[Heater] = []
    leads: list[Lead] = []
    trolleys: list[Trolley] = []


class Circuit(Part):
    """One protected electrical circuit with an outdoor outlet."""

    id: Identifier
    name: Label
    volts: Volts = Field(gt=0, le=500)
    amps: Amperes = Field(gt=0, le=200)
    outlet: Point
    continuous_rule: bool = Field(default=True, description="Load of three hours or more limited to 80 % of the rating")
    ground_fault: bool = Field(description="Protected by a residual-current device (GFCI)")


class IndoorPlace(Part):
    """A shed, garage or room into which containers can be carried."""

    id: Identifier
    name: Label
    position: Point
    spaces: Annotated[int, Field(ge=1, le=1000)] = Field(description="How many containers fit")
    max_height_m: Metres = Field(default=2.2, alias="max_height", gt=0, le=20)
    kept_at_c: Celsius | None = Field(
        default=None, alias="kept_at", ge=-10, le=35, description="If heated: the lowest temperature it is kept at"
    )
    warmer_k: Kelvins = Field(
        default=3.0, alias="warmer", ge=0, le=25, description="If unheated: how much warmer than outside at night's end"
    )


class Person(Part):
    """Somebody who helps before dark."""

    id: Identifier
    name: Label
    minutes_before_dusk: Minutes = Field(ge=0, le=600)
    lifts: bool = True
    max_lift_kg: Kilograms | None = Field(
        default=None, alias="max_lift", gt=0, le=200, description="Own limit; the lower of this and the lifting equation holds"
    )
    pushes_trolley: bool = True
    uses_ladder: bool = False


class Prices(Part):
    """What effort and energy cost this household, so that they can be weighed against trees."""

    per_hour: Annotated[float, Field(ge=0, le=1e5)] = 12.0
    per_lift: Annotated[float, Field(ge=0, le=1e4)] = 1.0
    per_kwh: Annotated[float, Field(ge=0, le=100)] = 0.30


class Yard(Part):
    """One place with its trees, structures, gear and people."""

    format: Literal[1] = Field(default=1, alias="fruitwall", description="Version of the yard file format")
    name: Label
    location: Location
    display: Display = Display()
    outline: list[Point] = Field(min_length=3)
    ground: Ground = Ground()
    horizon: list[HorizonPoint] = []
    gear_store: Point = Field(description="Where covers and gear are kept; the walk before dark starts here")
    structures: list[Structure] = []
    trees: list[Tree] = Field(min_length=1)
    shelters: list[Shelter] = []
    gear: Gear = Gear()
    circuits: list[Circuit] = []
    indoor_places: list[IndoorPlace] = []
    people: list[Person] = []
    prices: Prices = Prices()
