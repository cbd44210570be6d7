"""Physical constants that more than one module of this layer uses.

Primary ones are exact or CODATA values; the rest is computed from them, so that they cannot disagree.
"""

from __future__ import annotations

ZERO_C_K = 273.15
"""0 °C on the thermodynamic scale. [K]"""

STEFAN_BOLTZMANN = 5.670374419e-8
"""Stefan-Boltzmann constant, CODATA 2018. [W/(m² K⁴)]"""

GAS_CONSTANT = 8.314462618
"""Molar gas constant, CODATA 2018. [J/(mol K)]"""

MOLAR_MASS_AIR = 0.02896442
"""Mean molar mass of dry air, ISO 2533. [kg/mol]"""

MOLAR_MASS_WATER = 0.01801528
"""Molar mass of water. [kg/mol]"""

WATER_TO_AIR = MOLAR_MASS_WATER / MOLAR_MASS_AIR
"""Ratio of the molar masses, 0.622. [-]"""

GAS_CONSTANT_AIR = GAS_CONSTANT / MOLAR_MASS_AIR
"""Specific gas constant of dry air, 287.05. [J/(kg K)]"""

HEAT_CAPACITY_AIR = 1005.0
"""Specific heat of dry air at constant pressure near 0 °C. [J/(kg K)]"""

STANDARD_PRESSURE_KPA = 101.325
"""Standard atmosphere at sea level. [kPa]"""
