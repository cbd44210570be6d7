"""What the model itself does not know: its uncertain parameters, drawn for every member.

A forecast's members differ in the weather. Here each of them also gets its own error of the sky's longwave, of the wind
at the crown, of the strength of radiative cooling and of the leaks of covers, constant in time: such errors hang on the
place and on the model rather than on the hour.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fruitwall.physics.checked import Range, check_range
from fruitwall.physics.steps import Steps, roof_w_m2

FloatArray = NDArray[np.float64]

SPREAD = Range(0.0, 2.0)


@dataclass(frozen=True)
class Spread:
    """Standard deviations of what is drawn; 0 leaves it as it is.

    Attributes
    ----------
    sky_w_m2 : float
        Of the longwave from the sky: clear nights scatter by 2 to 12 W/m² around the formula (the table of
        docs/model-air-and-spot.md), and cloud is seen to an eighth. [W/m²]
    wind_log : float
        Of the logarithm of the wind at the crown: a fifth for the shelter of a yard, as much for the profile. Our
        judgement. [-]
    cooling_log : float
        Of the logarithm of the strength of radiative cooling: one night's offset between two places scatters by about
        a third (two pairs of stations, docs/model-air-and-spot.md). [-]
    leak_log : float
        Of the logarithm of the leaks of covers: makers' and users' films differ two- to threefold. Our judgement. [-]
    """

    sky_w_m2: float = 6.0
    wind_log: float = 0.3
    cooling_log: float = 0.3
    leak_log: float = 0.5

    def __post_init__(self) -> None:
        check_range("sky_w_m2", self.sky_w_m2, Range(0.0, 50.0, "W/m²"))
        for name in ("wind_log", "cooling_log", "leak_log"):
            check_range(name, getattr(self, name), SPREAD)


NO_SPREAD = Spread(0.0, 0.0, 0.0, 0.0)
"""All parameters as they are thought to be."""


def spread_steps(steps: Steps, spread: Spread, rng: np.random.Generator | None = None) -> tuple[Steps, FloatArray]:
    """Draw the parameters of every member.

    Parameters
    ----------
    steps : Steps
        Weather at every step.
    spread : Spread
        How far they scatter.
    rng : numpy.random.Generator or None
        Draws; needed where anything scatters.

    Returns
    -------
    steps : Steps
        With the sky, the wind and the cooling of each member.
    leak : ndarray, shape (member,)
        How much leakier covers are in each. [-]

    Raises
    ------
    ValueError
        If something is to be drawn and `rng` is None.

    Notes
    -----
    Draws are a scrambled Sobol sequence turned into normal ones, so that few members cover the range evenly. A single
    member is left as it is: it stands for the middle.
    """
    members = steps.n_members
    if members == 1 or spread == NO_SPREAD:
        return steps, np.ones(members)
    if rng is None:
        raise ValueError("a spread of parameters needs an rng to draw them, got None")
    from scipy.special import ndtri
    from scipy.stats import qmc

    sobol = qmc.Sobol(4, seed=rng)
    even = sobol.random_base2(int(np.ceil(np.log2(members))))[:members]
    sky, wind, cooling, leak = ndtri(np.clip(even, 1e-6, 1.0 - 1e-6)).T
    sky_w_m2 = np.maximum(steps.sky_w_m2 + spread.sky_w_m2 * sky[:, None], 0.0)
    wind_m_s = steps.wind_m_s * np.exp(spread.wind_log * wind)[:, None]
    drawn = replace(
        steps,
        sky_w_m2=sky_w_m2,
        wind_m_s=wind_m_s,
        cooling=np.clip(steps.cooling * np.exp(spread.cooling_log * cooling)[:, None], 0.0, 1.0),
        roof_w_m2=roof_w_m2(steps.t_air_c, wind_m_s, sky_w_m2),
    )
    return drawn, np.exp(spread.leak_log * leak)
