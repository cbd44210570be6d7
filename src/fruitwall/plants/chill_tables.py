"""Constants and classes of the chill models, with who published them.

Apart from the compiled march, which takes them as arguments: what is kept of it on disk would not notice a change here.
"""

from __future__ import annotations

from typing import Literal, NamedTuple, get_args

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


class DynamicConstants(NamedTuple):
    """Of the Dynamic Model.

    Attributes
    ----------
    e0_k, e1_k : float
        Activation energies of making and of breaking the intermediate, over the gas constant. [K]
    a0_per_h, a1_per_h : float
        Their frequency factors. [1/h]
    slope : float
        Of the step by temperature with which a full intermediate is fixed. [-]
    fixed_at_k : float
        Temperature of the middle of that step. [K]
    offset_k : float
        Added to °C. [K]
    """

    e0_k: float
    e1_k: float
    a0_per_h: float
    a1_per_h: float
    slope: float
    fixed_at_k: float
    offset_k: float


DYNAMIC = DynamicConstants(4153.5, 12888.8, 139500.0, 2.567e18, 1.6, 277.0, 273.0)
"""Fishman, Erez & Couvillon (1987), J. Theor. Biol. 124, 473-483 and 126, 309-321, as printed by Luedeling et al.
(2009), Agric. Ecosyst. Environ. 133, 23-31. The spreadsheet in which the model was handed on adds 273 and not 273.15,
and so do the requirements that were worked out with it; 0.15 K more move a winter by up to three portions."""

LOW_C, HIGH_C = 0.0, 7.2
"""A chilling hour; both bounds belong to it. Bennett (1949), Weinberger (1950). [°C]"""


class Classes(NamedTuple):
    """Units an hour by classes of temperature; a bound belongs to the class below it.

    Attributes
    ----------
    bounds_c : ndarray (n,)
    units : ndarray (n + 1,)
    """

    bounds_c: Array
    units: Array


def _classes(bounds_c: list[float], units: list[float]) -> Classes:
    made = Classes(np.array(bounds_c), np.array(units))
    for array in made:
        array.flags.writeable = False
    return made


UTAH = _classes([1.4, 2.4, 9.1, 12.4, 15.9, 18.0], [0.0, 0.5, 1.0, 0.5, 0.0, -0.5, -1.0])
"""Richardson, Seeley & Walker (1974), HortScience 9, 331-332."""

LOW_CHILL = _classes([1.0, 1.8, 7.9, 13.9, 16.9, 19.4], [0.0, 0.5, 1.0, 0.5, 0.0, -0.5, -1.0])
"""Gilreath & Buchanan (1981), J. Am. Soc. Hortic. Sci. 106, 426-429, in the classes of one of two implementations; the
other begins at -1 °C and differs by 0.1 K in other bounds. The paper itself was not at hand."""

NORTH_CAROLINA = _classes(
    [-1.1, 1.6, 7.2, 13.0, 16.5, 19.0, 20.7, 22.1], [0.0, 0.5, 1.0, 0.5, 0.0, -0.5, -1.0, -1.5, -2.0]
)
"""Shaltout & Unrath (1983), J. Am. Soc. Hortic. Sci. 108, 957-961, in the steps of one implementation. WEAK: another
one reads two parabolas in the same paper, which give a third more in a real winter. The paper was not at hand."""

Model = Literal[
    "hours", "hours_below", "utah_units", "positive_units", "low_chill_units", "north_carolina_units", "portions"
]
MODELS: tuple[Model, ...] = get_args(Model)
"""All sums, in the order of the rows of the march: hours from 0 to 7.2 °C, hours at or below 7.2 °C, Utah units, the
same without negative hours, low-chill units, North Carolina units, portions of the Dynamic Model."""

MODEL_SOURCES = (
    "Fishman, S.; Erez, A.; Couvillon, G.A. (1987): The temperature dependence of dormancy breaking in plants. Journal "
    "of Theoretical Biology 124: 473-483 and 126: 309-321",
    "Luedeling, E.; Zhang, M.; Luedeling, V.; Girvetz, E.H. (2009): Sensitivity of winter chill models for fruit and "
    "nut trees to climatic changes. Agriculture, Ecosystems and Environment 133: 23-31",
    "Richardson, E.A.; Seeley, S.D.; Walker, D.R. (1974): A model for estimating the completion of rest for Redhaven "
    "and Elberta peach trees. HortScience 9: 331-332",
    "Anderson, J.L.; Richardson, E.A.; Kesner, C.D. (1986): Validation of chill unit and flower bud phenology models. "
    "Acta Horticulturae 184: 71-78",
)
"""Publications that the sums shown to people rest on; `docs/season-chill.md` has all."""

WEAK: frozenset[Model] = frozenset({"north_carolina_units", "low_chill_units"})
"""Whose classes are known from implementations that do not agree with each other."""
