"""What is there: the yard as data.

One frozen pydantic model per thing that a grower would name when showing a visitor round: trees and their
containers, structures, standing shelters, gear, circuits, indoor places, thermometers, people and prices.

Every quantity is kept in SI, with the unit in the field's name. In the yard file the same field is written
without the unit suffix and may carry the grower's own unit (``height: 6 ft``); a bare number is taken in the
unit of the field. Positions are metres in the yard's own frame: x to the east, y to the north.

The ranges stand here and nowhere else: messages, JSON Schema and documentation are made from them.

What this module leaves to others: reading files (`yard.file`), units (`yard.units`), what must fit together
(`yard.checks`), shapes in the plane (`yard.plan`), whether a taxon is known (`plants.catalogue`).
"""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal

from pydantic import Field

from fruitwall.yard.base import Day, Identifier, Label, Line, Notes, Outline, Part, Point
from fruitwall.yard.own_kinds import OwnKind
from fruitwall.yard.quantities import (
    Amperes,
    Angle,
    Celsius,
    Coordinate,
    Count,
    Kelvins,
    Kilograms,
    Litres,
    Metres,
    Minutes,
    Money,
    Share,
    SquareMillimetres,
    Volts,
    Watts,
    Years,
    YesNo,
)
from fruitwall.yard.shading import Paint, ShadeCloth
from fruitwall.yard.watering import Emitter, PotMix, Water


class Location(Part):
    """Where the yard lies and how its air differs from the open country around it."""

    latitude_deg: Coordinate = Field(alias="latitude", ge=-90, le=90, description="North positive")
    longitude_deg: Coordinate = Field(alias="longitude", ge=-180, le=180, description="East positive, west negative")
    elevation_m: Metres = Field(alias="elevation", ge=-430, le=6000, description="Above sea level")
    time_zone: Label = Field(description="IANA name, such as America/Los_Angeles")
    clear_night_offset_k: Kelvins = Field(
        default=0.0,
        alias="clear_night_offset",
        ge=-10,
        le=10,
        description="How much warmer (+) or colder (-) the yard's air is than the forecast's on a clear still night",
    )


class Display(Part):
    """Units and currency in which this household reads; storage is SI whatever stands here."""

    temperature: Literal["C", "F"] = Field(default="C", description="Celsius or Fahrenheit")
    length: Literal["m", "ft"] = Field(default="m", description="Metres or feet")
    mass: Literal["kg", "lb"] = Field(default="kg", description="Kilograms or pounds")
    volume: Literal["L", "gal"] = Field(default="L", description="Litres or US gallons")
    currency: Annotated[str, Field(pattern=r"^[A-Z]{3}$")] = Field(
        default="EUR", description="Three-letter code (ISO 4217) of all amounts in the file"
    )


class Ground(Part):
    """The ordinary ground of the yard, where no paving or pond lies."""

    surface: Literal["bare", "turf", "mulch"] = Field(default="turf", description="What covers the soil")
    soil: Literal["sand", "loam", "clay"] = Field(default="loam", description="What the soil is")
    moisture: Literal["dry", "moist", "wet"] = Field(default="moist", description="How wet it usually is in winter")


class HorizonPoint(Part):
    """Height of the skyline (hills, distant trees) in one direction."""

    azimuth_deg: Angle = Field(alias="azimuth", ge=0, lt=360, description="Clockwise from north")
    height_deg: Angle = Field(alias="height", ge=0, lt=90, description="Above the level, as seen from the yard")


# ---------------------------------------------------------------- structures

MasonryMaterial = Literal[
    "dry_stone", "stone", "brick", "concrete", "rendered_block", "adobe", "timber", "metal", "glass"
]
RoofMaterial = Literal["glass", "polycarbonate", "polyethylene", "tile", "metal", "timber", "shade_cloth"]
PavingMaterial = Literal["concrete", "stone", "brick", "gravel", "asphalt", "timber"]

_ID = "Short name for references: lower-case letters, digits, - and _"
_NAME = "As people call it"
_OUTLINE = "Corners in order, as [x, y]"


class Wall(Part):
    """A standing wall along a line; with earth behind it where it retains a terrace.

    A retaining wall has its earth to the left of the line as it is walked and looks to the right: drawn from west to
    east it faces south.
    """

    kind: Literal["wall"] = Field(default="wall", description="Says that this is a wall")
    id: Identifier = Field(description=_ID)
    name: Label = Field(description=_NAME)
    line: Line = Field(description="Points along its foot, as [x, y]")
    height_m: Metres = Field(alias="height", gt=0, le=30, description="Above the ground in front of it")
    thickness_m: Metres = Field(default=0.3, alias="thickness", gt=0, le=3, description="From face to face")
    material: MasonryMaterial = Field(default="stone", description="Decides how much heat it keeps")
    retains_earth: YesNo = Field(
        default=False,
        description="Whether it holds back a terrace: earth to the left of the line, open face to the right",
    )
    tilt_deg: Angle = Field(
        default=90.0,
        alias="tilt",
        ge=45,
        le=135,
        description="Of the face to the right of the line: 90 stands upright, less leans back and looks up to the sky "
        "(rockery, bank); of a free-standing wall the other face is parallel to it",
    )


class Building(Part):
    """A closed building; its outer faces act as walls, its roof as an obstacle to the sky."""

    kind: Literal["building"] = Field(default="building", description="Says that this is a building")
    id: Identifier = Field(description=_ID)
    name: Label = Field(description=_NAME)
    outline: Outline = Field(description=_OUTLINE)
    height_m: Metres = Field(alias="height", gt=0, le=60, description="Of the eaves above the ground")
    material: MasonryMaterial = Field(default="rendered_block", description="Of its outer walls")
    thickness_m: Metres = Field(default=0.2, alias="thickness", gt=0, le=3, description="Of its outer walls")
    indoor_c: Celsius | None = Field(
        default=None, alias="indoor", ge=-30, le=40, description="Temperature kept inside; leave out if unheated"
    )


class Roof(Part):
    """A roof without (or with few) walls under it: lean-to, porch, eave, carport."""

    kind: Literal["roof"] = Field(default="roof", description="Says that this is a roof")
    id: Identifier = Field(description=_ID)
    name: Label = Field(description=_NAME)
    outline: Outline = Field(description=_OUTLINE)
    height_m: Metres = Field(alias="height", gt=0, le=30, description="Of its underside above the ground")
    material: RoofMaterial = Field(default="tile", description="Decides what sky and sun pass through")


class Paving(Part):
    """A hard surface that stores heat."""

    kind: Literal["paving"] = Field(default="paving", description="Says that this is paving")
    id: Identifier = Field(description=_ID)
    name: Label = Field(description=_NAME)
    outline: Outline = Field(description=_OUTLINE)
    material: PavingMaterial = Field(default="concrete", description="What it is made of")
    thickness_m: Metres = Field(default=0.1, alias="thickness", gt=0, le=1, description="Above the soil")


class Canopy(Part):
    """The crown of a large tree that is not itself cared for here (a walnut, a neighbour's oak)."""

    kind: Literal["canopy"] = Field(default="canopy", description="Says that this is a canopy")
    id: Identifier = Field(description=_ID)
    name: Label = Field(description=_NAME)
    position: Point = Field(description="Of the trunk, as [x, y]")
    crown_diameter_m: Metres = Field(alias="crown_diameter", gt=0, le=60, description="Across the crown")
    height_m: Metres = Field(alias="height", gt=0, le=80, description="Top of the crown above the ground")
    base_m: Metres = Field(default=2.0, alias="base", ge=0, le=60, description="Height of the lowest foliage")
    habit: Literal["evergreen", "leafless_in_winter"] = Field(default="evergreen", description="Leafy in winter or not")
    gap_fraction: Share = Field(default=0.15, ge=0, le=1, description="Share of sky seen through the leafy crown")


class Fence(Part):
    """A fence or hedge: shelters from wind, hides some sky, stores no heat worth counting."""

    kind: Literal["fence"] = Field(default="fence", description="Says that this is a fence")
    id: Identifier = Field(description=_ID)
    name: Label = Field(description=_NAME)
    line: Line = Field(description="Points along its foot, as [x, y]")
    height_m: Metres = Field(alias="height", gt=0, le=15, description="Above the ground")
    porosity: Share = Field(default=0.3, ge=0, le=1, description="Open share: 0 for boards without gaps")


class Pond(Part):
    """Open water."""

    kind: Literal["pond"] = Field(default="pond", description="Says that this is a pond")
    id: Identifier = Field(description=_ID)
    name: Label = Field(description=_NAME)
    outline: Outline = Field(description=_OUTLINE)
    depth_m: Metres = Field(default=0.6, alias="depth", gt=0, le=20, description="Mean depth of the water")


class Hollow(Part):
    """A place where cold air gathers on clear still nights."""

    kind: Literal["hollow"] = Field(default="hollow", description="Says that this is a cold hollow")
    id: Identifier = Field(description=_ID)
    name: Label = Field(description=_NAME)
    outline: Outline = Field(description=_OUTLINE)
    colder_k: Kelvins = Field(
        alias="colder", gt=0, le=10, description="How much colder than the rest of the yard on such a night"
    )


Structure = Annotated[Wall | Building | Roof | Paving | Canopy | Fence | Pond | Hollow, Field(discriminator="kind")]


# ---------------------------------------------------------------- trees


class Container(Part):
    """The pot or tub of a tree that is not in the ground."""

    volume_l: Litres = Field(
        alias="volume", gt=0, le=2000, description='Of the pot; "#5" is the nursery class, which holds 14.9 L'
    )
    material: Literal["plastic", "clay", "timber", "fabric", "metal"] = Field(
        default="plastic", description="Of the pot's wall"
    )
    mass_kg: Kilograms | None = Field(
        default=None, alias="mass", gt=0, le=3000, description="Weighed, wet, with the tree; estimated if left out"
    )
    handles: YesNo = Field(default=False, description="Whether it has handles or a rim that can be gripped well")
    mix: PotMix = Field(default="potting_mix", description="What it is filled with; decides how much water it keeps")


TreeStage = Literal["dormant", "leafy", "flush", "flower", "fruit"]


class Tree(Part):
    """One plant in its spot."""

    id: Identifier = Field(description=_ID)
    name: Label = Field(description="As people call it; stands in the plan and on the checklist")
    taxon: Label = Field(description="Scientific or common name, as in the catalogue")
    cultivar: Label | None = Field(default=None, description="Named variety, if known")
    position: Point = Field(description="Of the trunk, as [x, y]")
    height_m: Metres = Field(
        alias="height", gt=0, le=40, description="Top of the crown above the ground, with the container if it has one"
    )
    crown_diameter_m: Metres = Field(alias="crown_diameter", gt=0, le=30, description="Across the crown")
    crown_base_m: Metres = Field(
        default=0.0, alias="crown_base", ge=0, le=20, description="Height of the lowest leaves above the ground"
    )
    planted: Day | None = Field(default=None, description="Day it was planted or potted, for its age")
    age_years: Years | None = Field(
        default=None, alias="age", ge=0, le=500, description="If the day is not known: age when the file was written"
    )
    origin: Literal["seedling", "grafted", "cutting", "unknown"] = Field(
        default="unknown", description="How it was raised"
    )
    container: Container | None = Field(default=None, description="Its pot; leave out if it stands in the ground")
    stages: list[TreeStage] = Field(default=["leafy"], description="What it carries now")
    root_zone: Literal["dry", "moist", "wet"] = Field(
        default="moist", description="How its roots have stood these weeks: dry, moist, or in water"
    )
    root_depth_m: Metres | None = Field(
        default=None,
        alias="root_depth",
        ge=0.05,
        le=5,
        description="How deep its roots drink, if you have dug; taken from its kind and height if left out",
    )
    emitter: Emitter | None = Field(default=None, description="What waters it when the tap is open; none: by hand")
    hurt_grade: int = Field(
        default=0, alias="hurt", ge=0, le=7, description="Injury it carries from earlier this winter, as a grade"
    )
    worth: Money = Field(
        default=100.0, ge=0, le=1e6, description="What losing it would cost the grower, in the household's currency"
    )
    fruit_worth: Money = Field(default=0.0, ge=0, le=1e6, description="Worth of the fruit on it now")
    bloom_worth: Money | None = Field(
        default=None,
        ge=0,
        le=1e6,
        description="Worth of the crop that its bloom promises; if left out, `fruit_worth` where it carries no fruit",
    )
    pickable: YesNo = Field(
        default=False, description="Whether that fruit may be picked now, and keeps its worth if it is"
    )
    fruit_mass_kg: Kilograms | None = Field(
        default=None,
        alias="fruit_mass",
        gt=0,
        le=1000,
        description="Of that fruit, for the time that picking takes; guessed from its worth if left out",
    )
    notes: Notes | None = Field(default=None, description="Anything else worth knowing")

    @property
    def promised_worth(self) -> float:
        """Worth of the crop that its bloom promises; without a figure that of the fruit, if none hangs yet."""
        if self.bloom_worth is not None:
            return self.bloom_worth
        return 0.0 if "fruit" in self.stages else self.fruit_worth

    @property
    def crop_worth(self) -> float:
        """Worth of all that it carries, fruit and bloom; what it does not carry counts for nothing."""
        fruit = self.fruit_worth if "fruit" in self.stages else 0.0
        return fruit + (self.promised_worth if "flower" in self.stages else 0.0)


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

ShelterFace = Literal[
    "fleece_light",
    "fleece_medium",
    "fleece_heavy",
    "frost_blanket",
    "bed_sheet",
    "burlap",
    "film_polyethylene",
    "film_infrared",
    "bubble_film",
    "open",
]
"""A cover material, or nothing at all."""


class Shelter(Part):
    """A standing frame over one or more trees; its cover stays on the frame and is closed for the night."""

    id: Identifier = Field(description=_ID)
    name: Label = Field(description=_NAME)
    outline: Outline = Field(description=_OUTLINE)
    height_m: Metres = Field(alias="height", gt=0, le=10, description="Inside, at the ridge")
    trees: list[Identifier] = Field(min_length=1, description="Identifiers of the trees in it")
    sides: ShelterFace = Field(default="film_polyethylene", description="What closes the sides")
    top: ShelterFace = Field(default="film_polyethylene", description="What closes the top")
    water_l: Litres = Field(
        default=0.0,
        alias="water",
        ge=0,
        le=100000,
        description="Water that stands in it in dark barrels or cans, to give back the day's warmth",
    )
    vessel_l: Litres = Field(
        default=200.0, alias="vessel", gt=0, le=10000, description="How much one of these barrels or cans holds"
    )
    minutes_to_close: Minutes = Field(default=5.0, gt=0, le=240, description="Work of closing it for the night")
    minutes_to_open: Minutes = Field(default=3.0, gt=0, le=240, description="Work of opening it in the morning")


class Cover(Part):
    """Sheets of one size and material."""

    id: Identifier = Field(description=_ID)
    name: Label = Field(description=_NAME)
    material: CoverMaterial = Field(description="Cloth or film")
    width_m: Metres = Field(alias="width", gt=0, le=50, description="Of one sheet")
    length_m: Metres = Field(alias="length", gt=0, le=50, description="Of one sheet")
    count: Count = Field(default=1, ge=1, le=1000, description="How many such sheets")
    on_frame: YesNo = Field(default=False, description="Held off the leaves by stakes or a frame that goes with it")
    wear: Money = Field(
        default=0.25, ge=0, le=1000, description="What a night of use wears off one sheet, in money: tears, sun, mould"
    )


class LampString(Part):
    """A string of lamps to hang in a covered crown."""

    id: Identifier = Field(description=_ID)
    name: Label = Field(description=_NAME)
    watts: Watts = Field(gt=0, le=5000, description="Of the whole string, from its label")
    kind: Literal["incandescent", "led"] = Field(default="incandescent", description="What makes the light")
    count: Count = Field(default=1, ge=1, le=1000, description="How many such strings")
    wear: Money = Field(
        default=0.10,
        ge=0,
        le=1000,
        description="What a night of use wears off one string, in money: lamps that burn out",
    )


class Heater(Part):
    """An electric heater for use under a shelter or cover, on a frame and with clearance."""

    id: Identifier = Field(description=_ID)
    name: Label = Field(description=_NAME)
    watts: Watts = Field(gt=0, le=20000, description="At the setting used, from its label")
    thermostat_c: Celsius | None = Field(
        default=None, alias="thermostat", ge=-10, le=30, description="Switches on below this; leave out if it has none"
    )
    count: Count = Field(default=1, ge=1, le=1000, description="How many such heaters")
    wear: Money = Field(default=0.25, ge=0, le=1000, description="What a night of use wears off one heater, in money")


class Lead(Part):
    """An outdoor extension lead."""

    id: Identifier = Field(description=_ID)
    name: Label = Field(description=_NAME)
    length_m: Metres = Field(alias="length", gt=0, le=200, description="Unrolled")
    conductor_mm2: SquareMillimetres = Field(
        alias="conductor", gt=0, le=50, description="Cross-section of one wire, printed on the lead"
    )
    count: Count = Field(default=1, ge=1, le=1000, description="How many such leads")


class Trolley(Part):
    """A trolley or sack truck on which one person can push a container."""

    id: Identifier = Field(description=_ID)
    name: Label = Field(description=_NAME)
    max_mass_kg: Kilograms = Field(alias="max_mass", gt=0, le=2000, description="What it bears")
    count: Count = Field(default=1, ge=1, le=100, description="How many such trolleys")


class Gear(Part):
    """Everything movable that protects or moves trees."""

    covers: list[Cover] = Field(default=[], description="Sheets of cloth or film")
    lamps: list[LampString] = Field(default=[], description="Strings of lamps")
    heaters: list[Heater] = Field(default=[], description="Electric heaters")
    leads: list[Lead] = Field(default=[], description="Extension leads")
    trolleys: list[Trolley] = Field(default=[], description="Trolleys and sack trucks")
    shades: list[ShadeCloth] = Field(default=[], description="Shade cloth for hot spells")
    paints: list[Paint] = Field(default=[], description="White water-based paint for trunks and limbs")


class Circuit(Part):
    """One protected electrical circuit with an outdoor outlet."""

    id: Identifier = Field(description=_ID)
    name: Label = Field(description=_NAME)
    volts: Volts = Field(gt=0, le=500, description="Mains voltage")
    amps: Amperes = Field(gt=0, le=200, description="Rating of the fuse or breaker")
    outlet: Point = Field(description="Where its outdoor socket is, as [x, y]")
    continuous_rule: YesNo = Field(
        default=True, description="Load of three hours or more limited to 80 % of the rating"
    )
    ground_fault: YesNo = Field(description="Protected by a residual-current device (GFCI)")


class IndoorPlace(Part):
    """A shed, garage or room into which containers can be carried."""

    id: Identifier = Field(description=_ID)
    name: Label = Field(description=_NAME)
    position: Point = Field(description="Of its door, as [x, y]")
    spaces: Count = Field(ge=1, le=1000, description="How many containers fit")
    max_height_m: Metres = Field(
        default=2.2,
        alias="max_height",
        gt=0,
        le=20,
        description="Tallest plant, with its pot, that goes through the door",
    )
    kept_at_c: Celsius | None = Field(
        default=None, alias="kept_at", ge=-10, le=35, description="If heated: the lowest temperature it is kept at"
    )
    warmer_k: Kelvins = Field(
        default=3.0, alias="warmer", ge=0, le=25, description="If unheated: how much warmer than outside at night's end"
    )


class Sensor(Part):
    """A thermometer of the yard, left in its place or read by hand; what it reads teaches how cold its spot gets."""

    id: Identifier = Field(description=_ID + "; readings come under it or under the name")
    name: Label = Field(description=_NAME)
    kind: Literal["logger", "min_max", "hand"] = Field(
        default="logger",
        description="Reads by itself all night; keeps the lowest until somebody reads it once a day; or is read by "
        "hand for the moment",
    )
    tree: Identifier | None = Field(default=None, description="Identifier of the tree in whose crown it hangs")
    position: Point | None = Field(default=None, description="Where it hangs if not in a tree, as [x, y]")
    height_m: Metres | None = Field(
        default=None, alias="height", gt=0, le=40, description="Above the ground; if left out 1.5 m, or amid the crown"
    )
    shield: YesNo = Field(default=True, description="Whether a screen keeps sun and open sky off it")
    station: YesNo = Field(
        default=False, description="Whether it stands for the yard's own station, against which forecasts are held"
    )


Weekday = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
WEEKDAYS: tuple[Weekday, ...] = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


class Person(Part):
    """Somebody who helps on an evening."""

    id: Identifier = Field(description=_ID)
    name: Label = Field(description="As the checklist shall call them")
    minutes_before_dusk: Minutes = Field(
        ge=0, le=600, description="Time they can give on an evening, before it is dark"
    )
    lifts: YesNo = Field(default=True, description="Whether they lift at all")
    max_lift_kg: Kilograms | None = Field(
        default=None,
        alias="max_lift",
        gt=0,
        le=200,
        description="Own limit; the lower of this and the lifting equation holds",
    )
    pushes_trolley: YesNo = Field(default=True, description="Whether they push a loaded trolley")
    uses_ladder: YesNo = Field(default=False, description="Whether they go up a ladder")
    evenings: list[Weekday] = Field(
        default=list(WEEKDAYS), description="Days of the week on whose evening they are here"
    )
    away_until: Day | None = Field(default=None, description="Not here before the evening of this day")

    def is_here(self, day: date) -> bool:
        """Tell whether they are here on the evening of a day."""
        return WEEKDAYS[day.weekday()] in self.evenings and (self.away_until is None or day >= self.away_until)


class Prices(Part):
    """What effort and energy cost this household, so that they can be weighed against trees."""

    per_hour: Money = Field(default=12.0, ge=0, le=1e5, description="Worth of an hour of somebody's evening")
    per_lift: Money = Field(default=1.0, ge=0, le=1e4, description="What a lift of a heavy pot is felt to cost")
    per_kwh: Money = Field(default=0.30, ge=0, le=100, description="Price of a kilowatt-hour")
    worst_case_aversion: Share = Field(
        default=0.0, ge=0, le=1, description="How much the worst tenth of what may come weighs beside what is expected"
    )


class Yard(Part):
    """One place with its trees, structures, gear and people."""

    format: Literal[1] = Field(default=1, alias="fruitwall", description="Version of the yard file format: 1")
    name: Label = Field(description="Name of the place")
    location: Location = Field(description="Where it lies")
    display: Display = Field(default=Display(), description="Units and currency to read in")
    outline: Outline = Field(description="Boundary: corners in order, as [x, y]")
    ground: Ground = Field(default=Ground(), description="Ordinary ground")
    water: Water = Field(default=Water(), description="The water that trees are given")
    horizon: list[HorizonPoint] = Field(default=[], description="Skyline, where it is not level")
    gear_store: Point = Field(description="Where covers and gear are kept; the evening's round starts here")
    structures: list[Structure] = Field(default=[], description="What stands and lies about and shapes the cold")
    trees: list[Tree] = Field(min_length=1, description="The plants to be looked after")
    shelters: list[Shelter] = Field(default=[], description="Standing frames with covers")
    gear: Gear = Field(default=Gear(), description="What can be carried to the trees")
    circuits: list[Circuit] = Field(default=[], description="Electricity outdoors")
    indoor_places: list[IndoorPlace] = Field(default=[], description="Where pots can be brought in")
    sensors: list[Sensor] = Field(default=[], description="Thermometers, and where they hang")
    people: list[Person] = Field(default=[], description="Who helps")
    kinds: list[OwnKind] = Field(default=[], description="Kinds and cultivars that the catalogue does not have")
    prices: Prices = Field(default=Prices(), description="What effort and energy cost")
