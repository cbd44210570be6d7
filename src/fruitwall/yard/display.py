"""How are SI values shown to this household?

Terminal and page use these functions, so that both show the same digits. Rounding is for eyes: a tenth of a degree
Celsius, a whole degree Fahrenheit, three digits of a length. Nothing computes with what comes out of here.
"""

from __future__ import annotations

import math
from typing import Literal

from fruitwall.yard.model import Display

ShownKind = Literal["temperature", "difference", "length", "mass", "volume"]

# Factors exact by definition: international foot and pound (1959), US gallon of 231 cubic inches.
_M_PER_FT = 0.3048
_KG_PER_LB = 0.45359237
_L_PER_GAL = 3.785411784

NO_VALUE = "–"


def unit_symbol(kind: ShownKind, display: Display) -> str:
    """Give the symbol of the household's unit for a kind: "°F", "ft" ..."""
    return {
        "temperature": f"°{display.temperature}",
        "difference": f"°{display.temperature}",
        "length": display.length,
        "mass": display.mass,
        "volume": display.volume,
    }[kind]


def in_household_unit(value_si: float, kind: ShownKind, display: Display) -> float:
    """Give an SI value in the household's unit, not rounded.

    Parameters
    ----------
    value_si : float
        Temperature [°C], difference [K], length [m], mass [kg] or volume [L]. NaN gives NaN.
    kind : str
        Which of these it is.
    display : Display
        The household's units.

    Returns
    -------
    float
        In ``unit_symbol(kind, display)``.

    Raises
    ------
    ValueError
        If the kind is unknown.
    """
    if kind == "temperature":
        return value_si * 1.8 + 32.0 if display.temperature == "F" else value_si
    if kind == "difference":
        return value_si * 1.8 if display.temperature == "F" else value_si
    if kind == "length":
        return value_si / _M_PER_FT if display.length == "ft" else value_si
    if kind == "mass":
        return value_si / _KG_PER_LB if display.mass == "lb" else value_si
    if kind == "volume":
        return value_si / _L_PER_GAL if display.volume == "gal" else value_si
    raise ValueError(f"kind must be temperature, difference, length, mass or volume, got {kind!r}")


def _digits(value: float, kind: ShownKind, display: Display) -> int:
    """Give the decimals that are worth showing."""
    size = abs(value)
    if kind == "temperature":
        return 0 if display.temperature == "F" else 1
    if kind == "difference":
        return 1
    if kind == "length" and display.length == "m":
        return 2 if size < 10 else 1 if size < 100 else 0
    return 1 if size < 10 else 0


def format_quantity(
    value_si: float,
    kind: ShownKind,
    display: Display,
    *,
    digits: int | None = None,
    signed: bool = False,
    unit: bool = True,
) -> str:
    """Give an SI value as text in the household's unit, sensibly rounded.

    Parameters
    ----------
    value_si : float
        As for `in_household_unit`. NaN or infinity gives a dash.
    kind : str
        "temperature", "difference", "length", "mass" or "volume".
    display : Display
        The household's units.
    digits : int, optional
        Decimals, 0 to 6, if not the usual ones.
    signed : bool
        Whether a plus is written: for margins and offsets.
    unit : bool
        Whether the unit follows (after a no-break space).

    Returns
    -------
    str
        With a true minus sign, which screen readers speak; never "−0".

    Raises
    ------
    ValueError
        If the kind is unknown or `digits` outside its range.

    Examples
    --------
    >>> format_quantity(-2.2222, "temperature", Display(temperature="F"), unit=False)
    '28'
    """
    if digits is not None and not 0 <= digits <= 6:
        raise ValueError(f"digits must be from 0 to 6, got {digits}")
    value = in_household_unit(value_si, kind, display)
    if not math.isfinite(value):
        return NO_VALUE
    text = f"{abs(value):.{_digits(value, kind, display) if digits is None else digits}f}"
    zero = float(text) == 0
    sign = "−" if value < 0 and not zero else "+" if signed and not zero else ""
    return f"{sign}{text}\N{NO-BREAK SPACE}{unit_symbol(kind, display)}" if unit else sign + text
