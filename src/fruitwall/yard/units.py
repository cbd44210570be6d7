"""How does a grower write a quantity, and what is it in SI?

One table of kinds (a length, a temperature, a difference of temperatures ...) with the spellings that the yard file
takes. The table is the single source for reading, for the JSON Schema and for the documentation. pint does the
conversion and is loaded only when a text with a unit is met: a yard kept in SI never needs it.

Showing quantities in the household's units is left to `yard.display`.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from fruitwall.speech import marked, say, say_either

if TYPE_CHECKING:
    from pint import UnitRegistry

NUMBER = r"[+\-−]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+\-−]?[0-9]+)?"
"""A number as written by hand: sign (also the typographic minus), decimal point, exponent."""

AWG_PATTERN = r"[0-9]{1,2}\s*[aA][wW][gG]|[aA][wW][gG]\s*[0-9]{1,2}"
FEET_AND_INCHES_PATTERN = r"[0-9]+\s*(?:'|[fF][tT])\s*[0-9]+(?:\.[0-9]+)?\s*(?:\"|[iI][nN])"
CONTAINER_CLASS_PATTERN = r"#\s*[0-9]{1,2}"

CONTAINER_CLASS_L = {1: 2.8, 2: 6.0, 3: 9.0, 5: 14.9, 6: 19.0, 7: 24.6, 10: 34.1, 15: 54.9, 20: 74.2, 25: 104.5}
"""True volume of nursery container classes [L]; a "#5" pot does not hold 5 gal.

Source: "A note about pot sizes: true volumes of trade containers", retail nursery notice (Colorado, undated), read;
the classes' ranges of ANSI Z60.1 (from memory) contain all of these but #3."""

SIGNIFICANT_DIGITS = 12
"""Converted values are rounded to this, so that 6 ft is stored as 1.8288 and not as 1.8287999999999998."""


@dataclass(frozen=True, eq=False)
class Kind:
    """One kind of quantity and the spellings of its units.

    Attributes
    ----------
    key : str
        Name in code.
    noun : str
        With article, for messages: "a length".
    unit : str
        The SI unit as shown, and the one in which a bare number is taken.
    pint_unit : str
        The same for pint; empty where no unit is ever written.
    spellings : mapping
        Written unit (lower case; case does not count) to pint's name.
    examples : tuple of str
        Right ones, for messages.
    special : str
        Pattern of further spellings without the form *number unit*.
    delta : bool
        Whether it is a difference, without the zero point of the unit's scale.
    """

    key: str
    noun: str
    unit: str
    pint_unit: str
    spellings: Mapping[str, str]
    examples: tuple[str, ...]
    special: str = ""
    delta: bool = False

    @property
    def expectation(self) -> str:
        """What is right, in words: ``a length such as "2.5 m" or "8 ft"``."""
        quoted = [f'"{e}"' if not re.fullmatch(NUMBER, e) else e for e in self.examples]
        return say("{noun} such as {examples}", noun=say(self.noun), examples=say_either(quoted))

    @property
    def pattern(self) -> str:
        """Regular expression (ECMA and Python) of the texts that can be read."""
        units = "|".join(_any_case(s) for s in sorted(self.spellings, key=len, reverse=True))
        ordinary = rf"{NUMBER}\s*(?:{units})?" if units else NUMBER
        return rf"^\s*(?:{ordinary}{'|' + self.special if self.special else ''})\s*$"


def _any_case(spelling: str) -> str:
    """Give a pattern that matches a spelling in upper and lower case, without flags (JSON Schema has none)."""
    return "".join(
        f"[{c}{c.upper()}]" if c.isascii() and c.isalpha() else r"\s*" if c == " " else re.escape(c) for c in spelling
    )


_TEMPERATURE = {"c": "degC", "°c": "degC", "degc": "degC", "celsius": "degC", "f": "degF", "°f": "degF"}
_TEMPERATURE |= {"degf": "degF", "fahrenheit": "degF", "k": "kelvin", "kelvin": "kelvin"}
_LENGTH = {"m": "meter", "metre": "meter", "metres": "meter", "meter": "meter", "meters": "meter"}
_LENGTH |= {"cm": "centimeter", "mm": "millimeter", "ft": "foot", "foot": "foot", "feet": "foot", "'": "foot"}
_LENGTH |= {"in": "inch", "inch": "inch", "inches": "inch", '"': "inch", "yd": "yard", "yard": "yard", "yards": "yard"}
_MASS = {"kg": "kilogram", "g": "gram", "lb": "pound", "lbs": "pound", "pound": "pound", "pounds": "pound"}
_MASS |= {"oz": "ounce"}
_VOLUME = {"l": "liter", "litre": "liter", "litres": "liter", "liter": "liter", "liters": "liter"}
_VOLUME |= {"ml": "milliliter", "m3": "meter**3", "m³": "meter**3", "gal": "US_liquid_gallon"}
_VOLUME |= {"us gal": "US_liquid_gallon", "gallon": "US_liquid_gallon", "gallons": "US_liquid_gallon"}
_TIME = {"min": "minute", "minute": "minute", "minutes": "minute", "h": "hour", "hr": "hour", "hour": "hour"}
_TIME |= {"hours": "hour", "s": "second", "sec": "second", "second": "second", "seconds": "second"}
_FLOW = {"l/h": "liter/hour", "l/min": "liter/minute", "lpm": "liter/minute", "l/s": "liter/second"}
_FLOW |= {"gph": "US_liquid_gallon/hour", "gal/h": "US_liquid_gallon/hour"}
_FLOW |= {"gpm": "US_liquid_gallon/minute", "gal/min": "US_liquid_gallon/minute"}
_CONDUCTIVITY = {"ds/m": "decisiemens/meter", "ms/cm": "millisiemens/centimeter", "us/cm": "microsiemens/centimeter"}
_AGE = {"year": "year", "years": "year", "yr": "year", "month": "month", "months": "month"}
_AGE |= {"week": "week", "weeks": "week"}
_ANGLE = {"°": "degree", "deg": "degree", "degree": "degree", "degrees": "degree"}

KINDS = {
    kind.key: kind
    for kind in (
        Kind("length", marked("a length"), "m", "meter", _LENGTH, ("2.5 m", "8 ft"),
             special=FEET_AND_INCHES_PATTERN),
        Kind("mass", marked("a mass"), "kg", "kilogram", _MASS, ("12 kg", "30 lb")),
        Kind("volume", marked("a volume"), "L", "liter", _VOLUME, ("57 L", "15 gal", "#15"),
             special=CONTAINER_CLASS_PATTERN),
        Kind("power", marked("a power"), "W", "watt", {"w": "watt", "watt": "watt", "watts": "watt", "kw": "kilowatt"},
             ("1500 W", "1.5 kW")),
        Kind("voltage", marked("a voltage"), "V", "volt", {"v": "volt", "volt": "volt", "volts": "volt"},
             ("120 V", "230 V")),
        Kind("current", marked("a current"), "A", "ampere",
             {"a": "ampere", "amp": "ampere", "amps": "ampere", "ampere": "ampere", "amperes": "ampere"},
             ("15 A", "20 A")),
        Kind("time", marked("a time"), "min", "minute", _TIME, ("10 min", "1.5 h")),
        Kind("age", marked("an age"), "years", "year", _AGE, ("3 years", "18 months")),
        Kind("temperature", marked("a temperature"), "°C", "degC", _TEMPERATURE, ("-2 °C", "28 F")),
        Kind("difference", marked("a difference of temperatures"), "K", "kelvin", _TEMPERATURE, ("1.5 K", "3 F"),
             delta=True),
        Kind("angle", marked("an angle in degrees"), "°", "degree", _ANGLE, ("180", "12 deg")),
        Kind("coordinate", marked("a coordinate in decimal degrees, south and west negative,"), "°", "degree", _ANGLE,
             ("33.92", "-117.22")),
        Kind("share", marked("a share"), "", "dimensionless", {"%": "percent", "percent": "percent"}, ("0.3", "30 %")),
        Kind("area", marked("a cross-section of wire"), "mm²", "millimeter**2",
             {"mm2": "millimeter**2", "mm²": "millimeter**2", "sqmm": "millimeter**2"},
             ("2.5 mm2", "14 AWG"), special=AWG_PATTERN),
        Kind("drip", marked("a flow of an emitter"), "L/h", "liter/hour", _FLOW, ("4 L/h", "1 gph")),
        Kind("flow", marked("a flow of water"), "L/min", "liter/minute", _FLOW, ("15 L/min", "4 gpm")),
        Kind("conductivity", marked("a conductivity of water"), "dS/m", "decisiemens/meter", _CONDUCTIVITY,
             ("0.8 dS/m", "800 uS/cm")),
        Kind("money", marked("an amount of money without its sign"), "", "", {}, ("120", "12.50")),
    )
}  # fmt: skip
"""All kinds by key."""


def show_input(value: object, limit: int = 60) -> str:
    """Give what the user wrote, short and on one line, for a message."""
    if value is None:
        return say("nothing")
    if isinstance(value, Mapping):
        fields = ", ".join(map(str, list(value)[:3]))
        return say("a group of fields ({fields})", fields=fields) if value else say("an empty group")
    if isinstance(value, list | tuple):
        return say("a list of {number}", number=len(value)) if value else say("an empty list")
    if isinstance(value, int) and abs(value) >= 10**limit:
        return say("a very large number")
    text = json.dumps(value, ensure_ascii=False) if isinstance(value, str | bool) else str(value)
    text = "".join(c if c.isprintable() else "�" for c in text)
    return text if len(text) <= limit else text[: limit - 1] + "…"


@lru_cache(maxsize=1)
def _registry() -> UnitRegistry[Any]:
    """Load pint once, with its parsed definitions cached on disk where that is possible."""
    import pint
    from platformdirs import user_cache_path

    try:
        return pint.UnitRegistry(cache_folder=user_cache_path("fruitwall") / "units")
    except OSError:  # no writable home: a tenth of a second slower, nothing else
        return pint.UnitRegistry()


@lru_cache(maxsize=4096)
def _convert(value: float, written: str, wanted: str, delta: bool) -> float:
    """Convert by pint; `delta` for differences of temperatures (3 °F are 1.67 K, not -16 °C)."""
    registry = _registry()
    if delta and written != "kelvin":
        written = f"delta_{written}"
    return float(registry.Quantity(value, written).to(wanted).magnitude)


def read_quantity(kind: Kind, value: object) -> float:
    """Read a number, or a text with a unit, as a float in the kind's SI unit.

    Parameters
    ----------
    kind : Kind
        What is expected, one of `KINDS`.
    value : int, float or str
        A bare number is taken in ``kind.unit``; a text may carry any unit of ``kind.spellings``.

    Returns
    -------
    float
        Finite. [kind.unit]

    Raises
    ------
    ValueError
        If it is neither, has a unit of another kind, or is not finite. The message says what is right.

    Examples
    --------
    >>> read_quantity(KINDS["length"], "6 ft"), read_quantity(KINDS["difference"], "9 F")
    (1.8288, 5.0)
    """
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise ValueError(say("expected {right}, got {given}", right=kind.expectation, given=show_input(value)))
    try:
        number = _read_text(kind, value) if isinstance(value, str) else float(value)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        given = show_input(value)
        raise ValueError(
            say("expected {right}, got {given}, which is not a finite number", right=kind.expectation, given=given)
        )
    return number


def _read_text(kind: Kind, text: str) -> float:
    """Read a text as a float in the kind's unit."""
    special = _read_special(kind, text.strip())
    if special is not None:
        return special
    match = re.fullmatch(rf"\s*({NUMBER})\s*(.*?)\s*", text, flags=re.DOTALL) if len(text) <= 80 else None
    unit = re.sub(r"\s+", " ", match[2]).lower() if match else ""
    if match is None or (unit and unit not in kind.spellings):
        given, hint = show_input(text), _hint(text)
        raise ValueError(say("expected {right}, got {given}{hint}", right=kind.expectation, given=given, hint=hint))
    number = float(match[1].replace("−", "-"))
    if not unit or not math.isfinite(number):
        return number
    converted = _convert(number, kind.spellings[unit], kind.pint_unit, kind.delta)
    return float(f"{converted:.{SIGNIFICANT_DIGITS}g}")


def _hint(text: str) -> str:
    """Give a further word on the usual slips."""
    if re.search(r"[0-9],[0-9]", text):
        return say("; write 1.5 with a point, and 1500 without a comma")
    if re.fullmatch(r"\s*[+-]?\.?(nan|inf|infinity)\s*", text, flags=re.IGNORECASE):
        return say(", which is not a finite number")
    return ""


def _read_special(kind: Kind, text: str) -> float | None:
    """Read the spellings that are not *number unit*; None if it is none of them."""
    if not kind.special or len(text) > 80 or not re.fullmatch(kind.special, text):
        return None
    numbers = [float(n) for n in re.findall(r"[0-9]+(?:\.[0-9]+)?", text)]
    if kind.key == "length":
        return float(f"{numbers[0] * 0.3048 + numbers[1] * 0.0254:.{SIGNIFICANT_DIGITS}g}")
    if kind.key == "area":
        return conductor_area(int(numbers[0]))
    if int(numbers[0]) not in CONTAINER_CLASS_L:
        known = ", ".join(f"#{n}" for n in CONTAINER_CLASS_L)
        raise ValueError(
            say(
                "no container class {text}; the known classes are {known}; or write the volume in L or gal",
                text=text,
                known=known,
            )
        )
    return CONTAINER_CLASS_L[int(numbers[0])]


def conductor_area(gauge: int) -> float:
    """Give the cross-section of a solid round wire of an American wire gauge.

    Parameters
    ----------
    gauge : int
        AWG number, 0 to 40.

    Returns
    -------
    float
        Cross-section, rounded to six digits. [mm²]

    Raises
    ------
    ValueError
        If the gauge is outside its range.

    Notes
    -----
    The gauge is a geometric series by definition (ASTM B258): No. 36 is 0.005 in (0.127 mm) thick and 0000 is
    0.46 in, 39 steps apart, so that d = 0.127 mm · 92^((36 - n)/39).

    Examples
    --------
    >>> conductor_area(14)
    2.08091
    """
    if not 0 <= gauge <= 40:
        raise ValueError(f"gauge must be from 0 to 40 AWG, got {gauge}")
    diameter_mm = 0.127 * 92 ** ((36 - gauge) / 39)
    return float(f"{math.pi / 4 * diameter_mm**2:.6g}")
