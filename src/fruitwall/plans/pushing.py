"""Whether one person can roll a container on a trolley.

Rolling shares and screening forces: Health and Safety Executive (GB), *Pushing and pulling: assessment* and
INDG143. Above the screening forces a fuller assessment is asked for; below them nothing is approved.
"""

from __future__ import annotations

import math

GRAVITY_M_S2 = 9.80665
KGF_N = 10.0  # the guidance counts 1 kgf as 10 N

ROLLING_SHARE_SMOOTH = 0.02
ROLLING_SHARE_SOFT = 0.10

# Lower of the two published figures (woman / man: 150 / 200 N to start, 70 / 100 N to keep moving), because the yard
# file does not ask for sex.
START_FORCE_N = 150.0
KEEP_MOVING_FORCE_N = 70.0
PUSH_WITHOUT_BREAK_M = 20.0

# Tilting a loaded sack truck back and holding it there takes weight and balance, which the push says nothing about.
# common practice, no source.
TILTED_ALONE_KG = 60.0
TILTED_PER_OWN_LIMIT = 5.0


def push_force_n(mass_kg: float, *, rolling_share: float = ROLLING_SHARE_SOFT, slope_rad: float = 0.0) -> float:
    """Give the force that keeps a loaded trolley moving, m g (sin a + c cos a).

    Parameters
    ----------
    mass_kg : float
        Load and trolley, 0 to 5000. [kg]
    rolling_share : float
        Share of the weight needed on the level, 0 to 1: 0.02 on a smooth floor, 0.1 on soft or uneven ground.
    slope_rad : float
        Slope upwards, 0 to 0.8. [rad]

    Returns
    -------
    float
        [N]

    Raises
    ------
    ValueError
        If an argument is outside its range.
    """
    for name, value, high in (("mass_kg", mass_kg, 5000.0), ("rolling_share", rolling_share, 1.0)):
        if not 0.0 <= value <= high:
            raise ValueError(f"{name} must be 0 or more and at most {high:g}, got {value:g}")
    if not 0.0 <= slope_rad <= 0.8:
        raise ValueError(f"slope_rad must be 0 or more and at most 0.8, got {slope_rad:g}")
    return mass_kg * GRAVITY_M_S2 * (math.sin(slope_rad) + rolling_share * math.cos(slope_rad))


def within_guideline(force_n: float) -> bool:
    """Tell whether a steady push is within the lower published figure for keeping a load moving."""
    return force_n <= KEEP_MOVING_FORCE_N


def tilted_alone_kg(own_limit_kg: float | None) -> float:
    """Give what one person may tilt onto a trolley and keep in balance alone.

    Parameters
    ----------
    own_limit_kg : float or None
        What the person is willing to lift, above 0; None if no limit of their own is known. [kg]

    Returns
    -------
    float
        The smaller of 60 kg and five times the own limit; common practice, no source. [kg]

    Examples
    --------
    >>> tilted_alone_kg(10.0), tilted_alone_kg(None)
    (50.0, 60.0)
    """
    return TILTED_ALONE_KG if own_limit_kg is None else min(TILTED_ALONE_KG, TILTED_PER_OWN_LIMIT * own_limit_kg)


def acceptable_push_kgf(
    hand_height_m: float, distance_m: float, f_per_min: float, *, sustained: bool, capable: float = 0.75
) -> float:
    """Give the push on a trolley acceptable to a share of women.

    Parameters
    ----------
    hand_height_m : float
        0.58 to 1.33. [m]
    distance_m : float
        2.1 to 61. [m]
    f_per_min : float
        Pushes a minute, 1/480 to 10.
    sustained : bool
        Keeping it moving rather than starting it.
    capable : float
        Share of women who can, 0.5 or 0.75.

    Returns
    -------
    float
        [kgf]

    Raises
    ------
    ValueError
        If an argument is outside the range of the equations.

    References
    ----------
    .. [1] Potvin, J. R., Ciriello, V. M., Snook, S. H., Maynard, W. S. and Brogmus, G. E. (2021). The Liberty Mutual
       manual materials handling (LM-MMH) equations. Ergonomics 64(8):955-970, section 3.2.
    """
    for name, value, low, high in (
        ("hand_height_m", hand_height_m, 0.58, 1.33),
        ("distance_m", distance_m, 2.1, 61.0),
        ("f_per_min", f_per_min, 1 / 480, 10.0),
    ):
        if not low <= value <= high:
            raise ValueError(f"{name} must be from {low:g} to {high:g}, got {value:g}")
    if capable not in (0.5, 0.75):
        raise ValueError(f"capable must be 0.5 or 0.75, got {capable:g}")
    v, dh, ln_f = hand_height_m, distance_m, math.log(f_per_min)
    if sustained:
        reference, spread = 25.5, 0.286
        force = (-0.6539 + v / 0.2941 - v**2 / 0.5722) * (1.0391 - dh / 52.91 + dh**2 / 7975)
        force *= 0.6086 - ln_f / 11.95 - ln_f**2 / 304.4
    else:
        reference, spread = 36.9, 0.214
        force = (-0.5304 + v / 0.3361 - v**2 / 0.6915) * (1.0286 - dh / 72.22 + dh**2 / 9782)
        force *= 0.7251 - ln_f / 13.19 - ln_f**2 / 197.3
    z_75 = 0.6744897501960817
    return reference * force * (1.0 if capable == 0.5 else 1.0 - z_75 * spread)
