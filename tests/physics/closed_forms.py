"""Closed forms of conduction with freezing, to judge the ground by.

Neumann's solution: a half space at one temperature above 0 °C whose surface is put below it and held. The front of the
frost goes as ``m √t``, and both sides of it follow error functions.

References
----------
.. [1] Lunardini, V. J. (1981). Heat Transfer in Cold Climates, as evaluated with constants of Jumikis (1966) by
   Bonan, G. (2019), supplemental program 5.3 (`cond-neumann` in tests/checks/slab.yaml).
.. [2] Carslaw, H. S. and Jaeger, J. C. (1959). Conduction of Heat in Solids, 2nd ed. Oxford, 11.2 (from memory).
"""

import numpy as np
from scipy.optimize import brentq
from scipy.special import erf, erfc


def freezing_front_m(speed_m_sqrt_s, seconds):
    """How deep the frost has come. [m]"""
    return speed_m_sqrt_s * np.sqrt(seconds)


def freezing_soil_c(depth_m, seconds, speed_m_sqrt_s, frozen_m2_s, thawed_m2_s, t_surface_c, t_initial_c):
    """Temperature at depths, from the speed of the front and the diffusivities on both sides of it. [°C]"""
    gamma = speed_m_sqrt_s / (2 * np.sqrt(frozen_m2_s))
    above = erf(depth_m / (2 * np.sqrt(frozen_m2_s * seconds))) / erf(gamma)
    below = erfc(depth_m / (2 * np.sqrt(thawed_m2_s * seconds))) / erfc(gamma * np.sqrt(frozen_m2_s / thawed_m2_s))
    front = freezing_front_m(speed_m_sqrt_s, seconds)
    return np.where(depth_m < front, t_surface_c * (1 - above), t_initial_c * (1 - below))


def front_speed_m_sqrt_s(frozen, thawed, latent_j_m3, t_surface_c, t_initial_c):
    """Speed of the front from what the soil is made of: heat that freezing frees is carried off at the front [2]_.

    `frozen` and `thawed` are pairs of conductivity [W/(m K)] and heat capacity [J/(m³ K)].
    """
    (k1, c1), (k2, c2) = frozen, thawed
    a1, a2 = k1 / c1, k2 / c2
    root = np.sqrt(a1 / a2)

    def lacks(gamma):
        carried_up = -k1 * t_surface_c * np.exp(-(gamma**2)) / (np.sqrt(np.pi * a1) * erf(gamma))
        from_below = k2 * t_initial_c * np.exp(-((gamma * root) ** 2)) / (np.sqrt(np.pi * a2) * erfc(gamma * root))
        return carried_up - from_below - latent_j_m3 * gamma * np.sqrt(a1)

    return 2 * np.sqrt(a1) * brentq(lacks, 1e-6, 5.0)
