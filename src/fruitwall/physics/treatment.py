"""What is done for a tree, as physics sees it, and the nights on which it is done."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from itertools import pairwise
from math import isnan, nan
from typing import Literal

from fruitwall.physics.checked import Range, check_range
from fruitwall.physics.rooms import Room
from fruitwall.physics.spot import Spot
from fruitwall.yard.model import CoverMaterial

TREATMENT_RANGES = {
    "frame_width_m": Range(0.0, 50.0, "m", low_open=True),
    "frame_length_m": Range(0.0, 50.0, "m", low_open=True),
    "frame_height_m": Range(0.0, 20.0, "m", low_open=True),
    "lamp_w": Range(0.0, 20_000.0, "W"),
    "heater_w": Range(0.0, 50_000.0, "W"),
    "thermostat_c": Range(-10.0, 30.0, "°C"),
    "water_l": Range(0.0, 100_000.0, "L"),
    "vessel_l": Range(0.0, 10_000.0, "L", low_open=True),
}


@dataclass(frozen=True, eq=False)
class Treatment:
    """One measure for one tree.

    Cover, lamps and heater act from `cover_on_utc` to `cover_off_utc` of every night given to the simulation (a cover
    that `stays_by_day` between them as well); a
    wetted ground stays wet from `wet_from_utc` on; a plant that is moved stands at its new spot from the beginning of
    the series (its root ball starts the night from that place's day); one that is carried in is indoors
    through the whole windows of the nights given, noon to noon, by day as well, and at its home spot before and
    between nights that do not follow each other: exposures of the open hours before carrying in are not counted.

    Attributes
    ----------
    key : str
        Name of the measure; appears in results and messages.
    cover : CoverMaterial or None
        Cloth or film over the tree (of a standing shelter: its top); None leaves it open.
    sides : CoverMaterial, "open" or None
        Of a standing shelter; None means the same as `cover`, "open" a roof of cloth without sides. Sides without a
        cover on top count for nothing: they would break some wind, but hold no warmth.
    on_frame : bool
        Held off the leaves by a frame; otherwise draped, and touching them.
    to_ground : bool
        Reaches the ground all round, so that it encloses the soil's heat.
    frame_width_m, frame_length_m, frame_height_m : float
        Of the covered space; NaN takes them from the crown. [m]
    stays_by_day : bool
        The cover stays on through the days between nights that follow each other, from `cover_on_utc` of the first to
        `cover_off_utc` of the last; lamps and heater are off by day all the same. False opens it every morning.
    lamp_w, lamp_kind : float, {"incandescent", "led"}
        Lamps hung in the crown. [W]
    heater_w, thermostat_c : float
        Electric heater in the covered air; NaN thermostat means that it always runs. [W, °C]
    water_l, vessel_l : float
        Water that stands in dark barrels or cans inside a cover that is closed and reaches the ground, by day in the
        open with the tree: all of it, and how much one of them holds. [L]
    wet_ground : bool
        The ground under and around the crown is watered thoroughly, with water as warm as the deeper ground.
    wet_from_utc : datetime or None
        When; None means noon before the first night.
    spot : Spot or None
        New surroundings of a plant that is moved.
    room : Room or None
        Where a container is carried in.
    """

    key: str = "leave"
    cover: CoverMaterial | None = None
    sides: CoverMaterial | Literal["open"] | None = None
    on_frame: bool = False
    to_ground: bool = True
    frame_width_m: float = nan
    frame_length_m: float = nan
    frame_height_m: float = nan
    stays_by_day: bool = False
    lamp_w: float = 0.0
    lamp_kind: Literal["incandescent", "led"] = "incandescent"
    heater_w: float = 0.0
    thermostat_c: float = nan
    water_l: float = 0.0
    vessel_l: float = 200.0
    wet_ground: bool = False
    wet_from_utc: datetime | None = None
    spot: Spot | None = None
    room: Room | None = None

    def __post_init__(self) -> None:
        for name, allowed in TREATMENT_RANGES.items():
            check_range(name, getattr(self, name), allowed)
        for name in ("lamp_w", "heater_w", "water_l", "vessel_l"):
            if isnan(getattr(self, name)):
                raise ValueError(f"{name} must be {TREATMENT_RANGES[name].words()}, got nan")
        if self.room is not None and (self.cover is not None or self.spot is not None):
            raise ValueError(f'treatment "{self.key}": a plant indoors is neither covered nor at another spot')
        if self.stays_by_day and self.cover is None:
            raise ValueError(f'treatment "{self.key}": stays_by_day needs a cover that stays, got cover=None')
        if self.wet_from_utc is not None and self.wet_from_utc.tzinfo is None:
            raise ValueError("wet_from_utc must carry its time zone, got a naive time")

    @property
    def covered(self) -> bool:
        """Whether a cloth or film is put over the tree at night."""
        return self.cover is not None


LEAVE = Treatment()
"""Nothing is done."""


@dataclass(frozen=True)
class Night:
    """One night, named by the date of its evening.

    Attributes
    ----------
    name : date
        Date of the evening.
    start_utc, end_utc : datetime, aware
        Local noon before and after; exposures are looked for in between.
    cover_on_utc, cover_off_utc : datetime, aware
        When covers, lamps and heaters go on and off, and containers in and out.
    dusk_utc, dawn_utc : datetime, aware
        End of the evening's and start of the morning's twilight, for pages.
    """

    name: date
    start_utc: datetime
    end_utc: datetime
    cover_on_utc: datetime
    cover_off_utc: datetime
    dusk_utc: datetime
    dawn_utc: datetime

    def __post_init__(self) -> None:
        names = ("start_utc", "cover_on_utc", "cover_off_utc", "end_utc")
        for name in (*names, "dusk_utc", "dawn_utc"):
            if getattr(self, name).tzinfo is None:
                raise ValueError(f"{name} of night {self.name} must carry its time zone, got a naive time")
        for before, after in pairwise(names):
            if getattr(self, before) > getattr(self, after):
                raise ValueError(f"{after} of night {self.name} must not lie before {before}")
