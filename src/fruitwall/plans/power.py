"""What an outdoor circuit and an extension lead can carry.

Local electrical codes prevail over everything here. Leads are copper, two conductors, laid out in full length.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

CONTINUOUS_SHARE = 0.8
"""Share of the rating for loads of three hours or more where that rule holds (US practice, NEC 210.19(A)(1))."""

COPPER_OHM_M = 1.7241e-8
"""Resistivity of annealed copper at 20 °C. Warm copper (75 °C) is 22 % higher."""

# Ampere rating of flexible cords by gauge: the lower of a municipal leaflet and a cord chart; 14 and 12 AWG are
# limited there by their 15 A plug. The conductor counts as the largest gauge that it reaches.
_CORD_AMPERES: tuple[tuple[int, float], ...] = ((18, 10.0), (16, 13.0), (14, 15.0), (12, 15.0), (10, 20.0))

# Below 18 AWG: 0.75 mm² flex carries 6 A (from memory).
_THIN_CORD_MM2, _THIN_CORD_A = 0.75, 6.0

HEATER_LEAD_AWG = 14
"""Thinnest lead for a portable heater: a safety sheet allows 14 or 12 AWG only, where a lead cannot be avoided."""

DROP_LIMIT = 0.05
"""Largest share of the voltage lost in a lead that is planned. common practice, no source (a usual advice is 3-5 %)."""

GROUND_FAULT_TRIP_MA: dict[str, float] = {"120 V": 6.0, "230 V": 30.0}
"""Trip current of the residual-current device that every outdoor circuit needs; 30 mA from memory."""


@dataclass(frozen=True)
class LeadLoad:
    """A resistive load at the end of a lead.

    Attributes
    ----------
    amps : float
        Current. [A]
    load_w, lead_loss_w : float
        Heat of the load, and lost in the lead. [W]
    drop_v : float
        Voltage lost. [V]
    """

    amps: float
    load_w: float
    lead_loss_w: float
    drop_v: float


def circuit_capacity_w(volts: float, amps: float, continuous: bool = True) -> float:
    """Give the load that a circuit may carry.

    Parameters
    ----------
    volts, amps : float
        Voltage, above 0 to 500, and rating of the breaker, above 0 to 200. [V, A]
    continuous : bool
        The 80 % rule holds: loads of three hours or more may take 80 % of the rating. In 230 V systems of the IEC
        kind there is no such general rule.

    Returns
    -------
    float
        [W]

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Examples
    --------
    >>> circuit_capacity_w(120, 15)
    1440.0
    """
    _check("volts", volts, 500.0)
    _check("amps", amps, 200.0)
    return volts * amps * (CONTINUOUS_SHARE if continuous else 1.0)


def minimum_rating_a(continuous_a: float, other_a: float = 0.0) -> float:
    """Give the breaker that mixed loads need: the others plus 125 % of the continuous ones. [A]"""
    if continuous_a < 0 or other_a < 0:
        raise ValueError(f"continuous_a and other_a must be 0 or more, got {continuous_a:g} and {other_a:g}")
    return other_a + continuous_a / CONTINUOUS_SHARE


def awg_diameter_mm(awg: float) -> float:
    """Give the diameter of a solid wire of an American gauge: 0.127 mm x 92^((36 - n)/39) (ASTM B258). [mm]"""
    if not -3 <= awg <= 40:
        raise ValueError(f"awg must be from -3 to 40, got {awg:g}")
    return 0.127 * math.pow(92.0, (36.0 - awg) / 39.0)


def awg_area_mm2(awg: float) -> float:
    """Give the cross-section of a solid wire of an American gauge. [mm²]"""
    return math.pi / 4.0 * awg_diameter_mm(awg) ** 2


def lead_resistance_ohm(length_m: float, conductor_mm2: float, *, resistivity_ohm_m: float = COPPER_OHM_M) -> float:
    """Give the resistance of a lead, there and back.

    Parameters
    ----------
    length_m : float
        Length of the lead, above 0 to 1000. [m]
    conductor_mm2 : float
        Cross-section of one conductor, above 0 to 100. [mm²]
    resistivity_ohm_m : float
        Of the conductor. [Ω m]

    Returns
    -------
    float
        [Ω]
    """
    _check("length_m", length_m, 1000.0)
    _check("conductor_mm2", conductor_mm2, 100.0)
    return 2.0 * resistivity_ohm_m * length_m / (conductor_mm2 * 1e-6)


def voltage_drop(
    amps: float, length_m: float, conductor_mm2: float, *, resistivity_ohm_m: float = COPPER_OHM_M
) -> float:
    """Give the voltage lost along a lead, there and back.

    Parameters
    ----------
    amps : float
        Current, 0 to 200. [A]
    length_m, conductor_mm2, resistivity_ohm_m
        As in `lead_resistance_ohm`.

    Returns
    -------
    float
        [V]

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Examples
    --------
    >>> round(voltage_drop(3.3, 30.48, awg_area_mm2(16)), 2)
    2.65
    """
    if not 0.0 <= amps <= 200.0:
        raise ValueError(f"amps must be 0 or more and at most 200 A, got {amps:g}")
    return amps * lead_resistance_ohm(length_m, conductor_mm2, resistivity_ohm_m=resistivity_ohm_m)


def resistive_load(watts: float, volts: float, length_m: float, conductor_mm2: float) -> LeadLoad:
    """Give what a resistive load, such as a heater, really draws at the end of a lead.

    Parameters
    ----------
    watts : float
        Rating at full voltage, above 0 to 20000. [W]
    volts : float
        Supply, above 0 to 500. [V]
    length_m, conductor_mm2
        Of the lead, as in `lead_resistance_ohm`.

    Returns
    -------
    LeadLoad
    """
    _check("watts", watts, 20000.0)
    _check("volts", volts, 500.0)
    load_ohm = volts**2 / watts
    lead_ohm = lead_resistance_ohm(length_m, conductor_mm2)
    amps = volts / (load_ohm + lead_ohm)
    return LeadLoad(amps=amps, load_w=amps**2 * load_ohm, lead_loss_w=amps**2 * lead_ohm, drop_v=amps * lead_ohm)


def lead_rating_a(conductor_mm2: float) -> float:
    """Give the current that a flexible lead of that cross-section may carry, 0 if it is too thin to use.

    Parameters
    ----------
    conductor_mm2 : float
        Above 0 to 100. [mm²]

    Returns
    -------
    float
        [A]
    """
    _check("conductor_mm2", conductor_mm2, 100.0)
    rating = _THIN_CORD_A if conductor_mm2 >= _THIN_CORD_MM2 else 0.0
    for awg, amps in _CORD_AMPERES:
        # Metric sizes are named by their rounded area: 1.3 mm² is sold as 16 AWG and the other way round.
        if conductor_mm2 >= 0.99 * awg_area_mm2(awg):
            rating = amps
    return rating


def lead_carries(watts: float, volts: float, length_m: float, conductor_mm2: float, *, heater: bool = False) -> bool:
    """Tell whether a lead may feed a load: within its rating, its voltage drop, and thick enough for a heater.

    Parameters
    ----------
    watts, volts, length_m, conductor_mm2
        As in `resistive_load`.
    heater : bool
        The load is a portable heater, for which a lead thinner than 14 AWG is refused.

    Returns
    -------
    bool
    """
    amps = watts / volts
    if heater and conductor_mm2 < 0.99 * awg_area_mm2(HEATER_LEAD_AWG):
        return False
    if amps > lead_rating_a(conductor_mm2):
        return False
    return voltage_drop(amps, length_m, conductor_mm2) <= DROP_LIMIT * volts


def _check(name: str, value: float, high: float) -> None:
    if not 0.0 < value <= high:
        raise ValueError(f"{name} must be greater than 0 and at most {high:g}, got {value:g}")
