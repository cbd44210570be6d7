"""Cover cloths and films: what they let through, and what happens under them.

The table gives each material of the yard file its thermal and solar properties. Two truths that the names hide: dry
polyethylene stops only a quarter of the thermal radiation [1]_, and a cloth's warmth lies in the ground it encloses,
not in its weight (one strawberry night: 2.4, 3.0 and 2.1 K under 25, 34 and 42 g/m² [2]_).

References
----------
.. [1] Hanson, K. J. (1963). The radiative effectiveness of plastic films for greenhouses. J. Appl. Meteor. 2:793-797
   (abstract): protection index of polyethylene 26, of glass 93 %.
.. [2] Poling, E. B., strawberry frost protection notes, NC State.
.. [3] Maker's page on spunbonded polypropylene for vegetables: sun through 20, 30 and 40 g/m² 87, 79 and 72 %; air
   through 20 g/m² 5 to 6 m³/(m² h).
.. [4] Abdel-Ghany, A. M. and Al-Helal, I. M. (2014), plastic nets (abstract): longwave absorptivity 0.41-0.82,
   transmissivity 0.16-0.55, reflectivity at most 0.08.
.. [5] University of Wisconsin Extension, greenhouse energy notes: water condensed on polyethylene cuts the loss by
   radiation by up to half; infrared-treated film saves 15-20 % of the heat.
.. [6] Savage, M. J. (1980). Measurements in an unheated plastic tunnel, Natal (abstract): colder inside than outside
   from 16:30 to 18:00, until water condensed on the film.
"""

from __future__ import annotations

from dataclasses import dataclass

from fruitwall.yard.model import CoverMaterial

WETS_AFTER_H = 1.5
"""Time from closing until water has condensed on a cover over moist ground, after [6]_ for film. [h]"""


@dataclass(frozen=True)
class Material:
    """Properties of one cloth or film.

    Attributes
    ----------
    name : str
        In words.
    mass_g_m2 : float
        Weight. [g/m²]
    longwave_through, longwave_emissivity : float
        Transmissivity and emissivity for thermal radiation when dry; the rest is reflected. [0-1]
    wet_longwave_through, wet_longwave_emissivity : float
        The same with condensed water; equal to the dry ones where water is not counted on. [0-1]
    sun_through, sun_absorbed : float
        For sunlight. [0-1]
    leak_calm_m_s, leak_per_wind : float
        Air that passes cloth, seams and hem: exchange velocity per cover area in calm air [m/s], and its growth with
        the wind outside [m/s per m/s].
    resistance_m2kw : float
        Of the material itself. [m² K/W]
    holds_condensate : bool
        Water of the ground condenses on or in it, so that the wet values hold once it has been closed for a while.
    source : str
        Where the numbers come from.
    """

    name: str
    mass_g_m2: float
    longwave_through: float
    longwave_emissivity: float
    wet_longwave_through: float
    wet_longwave_emissivity: float
    sun_through: float
    sun_absorbed: float
    leak_calm_m_s: float
    leak_per_wind: float
    resistance_m2kw: float
    holds_condensate: bool
    source: str


_FLEECE = (
    "sun from [3] (interpolated by weight); longwave from the filament area of a spunbond of that weight, inside the "
    "range of nets [4], not measured, four tenths less when wet; air from [3] for 20 g/m², less for denser cloth by "
    "judgement"
)
_FILM = (
    "longwave through from the protection index of [1]; wet: cut of the loss by up to half [5]; air changes of a film "
    "tunnel, about one an hour in calm, by judgement"
)
_WOVEN = "from memory: cellulose fibres are nearly opaque to thermal radiation; open weave counted as holes"

MATERIALS: dict[CoverMaterial, Material] = {
    "fleece_light": Material(
        "light fleece", 17, 0.55, 0.37, 0.35, 0.57, 0.88, 0.03, 1.0e-3, 3.0e-3, 0.004, True, _FLEECE
    ),
    "fleece_medium": Material(
        "medium fleece", 30, 0.42, 0.50, 0.25, 0.67, 0.79, 0.05, 0.7e-3, 2.0e-3, 0.006, True, _FLEECE
    ),
    "fleece_heavy": Material(
        "heavy fleece", 50, 0.30, 0.61, 0.17, 0.75, 0.65, 0.07, 0.45e-3, 1.3e-3, 0.01, True, _FLEECE
    ),
    "frost_blanket": Material(
        "frost blanket", 100, 0.12, 0.80, 0.07, 0.86, 0.40, 0.12, 0.25e-3, 0.8e-3, 0.03, True, _FLEECE
    ),
    "bed_sheet": Material("bed sheet", 130, 0.05, 0.87, 0.03, 0.91, 0.30, 0.15, 0.35e-3, 1.2e-3, 0.01, True, _WOVEN),
    "burlap": Material("burlap", 300, 0.20, 0.72, 0.15, 0.79, 0.30, 0.50, 1.2e-3, 3.5e-3, 0.02, True, _WOVEN),
    "film_polyethylene": Material(
        "polyethylene film", 140, 0.74, 0.17, 0.42, 0.53, 0.87, 0.04, 0.12e-3, 0.6e-3, 0.0005, True, _FILM
    ),
    "film_infrared": Material(
        "infrared film", 180, 0.30, 0.62, 0.22, 0.72, 0.86, 0.05, 0.12e-3, 0.6e-3, 0.0007, True,
        "from memory for EVA and treated films; consistent with the saving of 15-20 % [5]",
    ),
    "bubble_film": Material(
        "bubble film", 150, 0.55, 0.34, 0.35, 0.57, 0.80, 0.06, 0.15e-3, 0.6e-3, 0.15, True,
        "two polyethylene skins and 10 mm of air, from memory",
    ),
}  # fmt: skip
"""Properties by the names of the yard file."""
