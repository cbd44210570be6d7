"""The units in which files and services give weather, turned into ours.

A closed table of factors: what arrives from a file or service is data in bulk with a unit in its header, not a
quantity that a user types (that is `yard.units`, which this layer does not need).
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fruitwall.speech import marked, say

Scale = tuple[float, float]
"""Factor and offset: ours = given * factor + offset."""

# Exact by definition: inch 25.4 mm, mile 1609.344 m, knot 1852 m/h, foot 0.3048 m.
UNITS: Mapping[str, Mapping[str, Scale]] = MappingProxyType(
    {
        marked("temperature"): {"C": (1.0, 0.0), "F": (5.0 / 9.0, -160.0 / 9.0), "K": (1.0, -273.15)},
        marked("wind"): {
            "m/s": (1.0, 0.0),
            "km/h": (1.0 / 3.6, 0.0),
            "mph": (1609.344 / 3600.0, 0.0),
            "kn": (1852.0 / 3600.0, 0.0),
        },
        marked("cloud"): {"%": (0.01, 0.0), "share": (1.0, 0.0), "tenths": (0.1, 0.0), "eighths": (0.125, 0.0)},
        marked("humidity"): {"%": (1.0, 0.0), "share": (100.0, 0.0)},
        marked("sun"): {"W/m2": (1.0, 0.0), "kJ/m2": (1.0 / 3.6, 0.0), "MJ/m2": (1000.0 / 3.6, 0.0)},
        marked("rain"): {"mm": (1.0, 0.0), "cm": (10.0, 0.0), "in": (25.4, 0.0)},
        marked("height"): {"m": (1.0, 0.0), "ft": (0.3048, 0.0)},
    }
)
"""Units by kind. Sun in kJ/m² or MJ/m² is the sum of the hour."""

# Other spellings, without spaces and in lower case: of people, of services and of the WMO code table.
SPELLINGS: Mapping[str, str] = MappingProxyType(
    {
        **dict.fromkeys(["c", "°c", "ºc", "degc", "celsius", "degreec", "degreescelsius", "wmounit:degc"], "C"),
        **dict.fromkeys(["f", "°f", "ºf", "degf", "fahrenheit", "wmounit:degf"], "F"),
        **dict.fromkeys(["k", "kelvin", "wmounit:k"], "K"),
        **dict.fromkeys(["m/s", "ms-1", "ms^-1", "mps", "m_s-1", "wmounit:m_s-1"], "m/s"),
        **dict.fromkeys(["km/h", "kmh", "kph", "kmh-1", "km_h-1", "wmounit:km_h-1"], "km/h"),
        **dict.fromkeys(["mph", "mp/h", "mi/h", "milesperhour"], "mph"),
        **dict.fromkeys(["kn", "kt", "kts", "knot", "knots", "wmounit:kt"], "kn"),
        **dict.fromkeys(["%", "percent", "pct", "wmounit:percent"], "%"),
        **dict.fromkeys(["share", "fraction", "0-1", "1"], "share"),
        **dict.fromkeys(["tenths", "tenth", "/10"], "tenths"),
        **dict.fromkeys(["eighths", "okta", "oktas", "octas", "/8"], "eighths"),
        **dict.fromkeys(["w/m2", "w/m²", "wm-2", "w/m^2", "wm^-2"], "W/m2"),
        **dict.fromkeys(["kj/m2", "kj/m²", "kj/m^2"], "kJ/m2"),
        **dict.fromkeys(["mj/m2", "mj/m²", "mj/m^2"], "MJ/m2"),
        **dict.fromkeys(["mm", "wmounit:mm", "kg/m2", "l/m2"], "mm"),
        **dict.fromkeys(["cm"], "cm"),
        **dict.fromkeys(["in", "inch", "inches", '"'], "in"),
        **dict.fromkeys(["m", "metre", "metres", "meter", "meters", "wmounit:m"], "m"),
        **dict.fromkeys(["ft", "foot", "feet", "'"], "ft"),
    }
)


def convert(values: ArrayLike, unit: str, kind: str) -> NDArray[np.float64]:
    """Turn values into our unit of a kind: °C, m/s, share, %, W/m², mm, m.

    Parameters
    ----------
    values : array_like
        Numbers in `unit`; NaN stays NaN.
    unit : str
        Any spelling of `SPELLINGS`, spaces and capitals ignored.
    kind : str
        Key of `UNITS`.

    Raises
    ------
    ValueError
        If the unit is not one of that kind; the text lists those that are.

    Examples
    --------
    >>> float(convert(28.4, "°F", "temperature").round(6))
    -2.0
    """
    known = UNITS[kind]
    name = SPELLINGS.get(unit.replace(" ", "").lower().removeprefix("unit:"), "")
    if name not in known:
        raise ValueError(
            say('"{unit}" is no unit of {kind}; known are {units}', unit=unit, kind=say(kind), units=", ".join(known))
        )
    factor, offset = known[name]
    return np.asarray(values, dtype=np.float64) * factor + offset
