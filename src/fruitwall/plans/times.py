"""How long things take before dusk: one table, to be changed by whoever has watched.

Every number here is `common practice, no source`; the household's own deeds will replace them. Walks are added
from distances (`plans.walking`).
"""

from __future__ import annotations

from dataclasses import dataclass, fields


@dataclass(frozen=True)
class SetUpTimes:
    """Minutes, heights and allowances used to make measures. common practice, no source.

    Attributes
    ----------
    cover, cover_per_m : float
        Fetching, unfolding and weighing down a sheet, and for every metre of height and crown. [min, min/m]
    frame, pole, ladder : float
        More for putting stakes or a frame, for working with a pole, from a ladder. [min]
    cover_again_share : float
        Share of the setting up for a sheet that was pulled aside by day.
    film_again, film_morning, cloth_morning, cover_remove : float
        Closing and opening a film, pulling an opaque cloth aside, taking a cover away for good. [min]
    lamps, lamps_again, lamps_morning, lamps_remove : float
        Hanging a string with its lead; switching on; switching off; taking down. [min]
    heater, heater_again, heater_morning, heater_remove : float
        The same of a heater. [min]
    wet, wet_per_m2 : float
        Rolling out the hose, and for every square metre under and around the crown. [min, min/m²]
    pick : float
        Fetching crates and bringing the fruit in; the picking itself is by mass and size (`plans.picking`). [min]
    whitewash, whitewash_per_m : float
        Thinning the paint and cleaning up, and for every metre of trunk and limbs. [min, min/m]
    pot_water : float
        Watering one pot. [min]
    carry, trolley, rest : float
        Taking up and setting down a container; more for loading and unloading a trolley; every rest. [min]
    reach_m, pole_reach_m, highest_m : float
        Height to which one person covers from the ground, alone with a pole, and two with poles or one on a ladder;
        nothing higher is covered. [m]
    rest_every_m, roll_rest_every_m : float
        Distance carried, and rolled, without a rest (10 m and 20 m are read guidance of the HSE). [m]
    trolley_mass_kg : float
        Own mass of a trolley. [kg]
    cord_m : float
        Cord of a lamp string or heater. [m]
    thermostat_share : float
        Share of the night for which a heater with a thermostat runs, 0 to 1. All of it unless somebody knows better:
        on the night that matters it hardly stops, and the bill is then never higher than was said.
    roof_m2_per_pot, roof_share : float
        Ground taken by a pot under a roof, and share of that ground that can be used. [m²]
    """

    cover: float = 3.0
    cover_per_m: float = 1.0
    frame: float = 4.0
    pole: float = 3.0
    ladder: float = 6.0
    cover_again_share: float = 0.5
    film_again: float = 1.5
    film_morning: float = 1.5
    cloth_morning: float = 2.0
    cover_remove: float = 3.0
    lamps: float = 6.0
    lamps_again: float = 0.5
    lamps_morning: float = 0.5
    lamps_remove: float = 4.0
    heater: float = 8.0
    heater_again: float = 1.0
    heater_morning: float = 1.0
    heater_remove: float = 4.0
    wet: float = 4.0
    wet_per_m2: float = 1.0
    pick: float = 5.0
    whitewash: float = 8.0
    whitewash_per_m: float = 6.0
    pot_water: float = 3.0
    carry: float = 2.0
    trolley: float = 2.0
    rest: float = 0.5
    reach_m: float = 2.2
    pole_reach_m: float = 3.0
    highest_m: float = 4.5
    rest_every_m: float = 10.0
    roll_rest_every_m: float = 20.0
    trolley_mass_kg: float = 8.0
    cord_m: float = 1.8
    thermostat_share: float = 1.0
    roof_m2_per_pot: float = 0.6
    roof_share: float = 0.5

    def __post_init__(self) -> None:
        for item in fields(self):
            value = getattr(self, item.name)
            if not 0.0 <= value <= 1000.0:
                raise ValueError(f"{item.name} must be 0 or more and at most 1000, got {value}")
        if self.thermostat_share > 1.0:
            raise ValueError(f"thermostat_share must be 0 or more and at most 1, got {self.thermostat_share}")
