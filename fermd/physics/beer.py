"""Beer as a body that is cooled: density, specific heat, freezing point.

Temperatures in °C, extract in °P, alcohol in per cent by weight.
"""

from __future__ import annotations

from typing import Final

from fermd.physics.errors import require
from fermd.physics.extract import sg_from_plato

_SUGAR_J_PER_KG_K: Final = 1850.0
"""Partial specific heat of dissolved sugar: about 635 J/(mol K) for sucrose at great dilution,
342.3 g/mol. From memory."""

_ETHANOL_J_PER_KG_K: Final = 6000.0
"""Partial specific heat of ethanol in dilute solution near 10 °C; held against CoolProp's
ethanol-water mixture in the tests. More than pure ethanol's 2.4 kJ/(kg K): it orders the water."""

_WATER_J_PER_KG_K: Final = 4195.0
"""Specific heat of water at 10 °C (IAPWS-95); within 0.3 % from 2 to 25 °C."""


def freezing_point_c(alcohol_weight_percent: float, original_plato: float) -> float:
    """Return the temperature at which ice first forms in a beer.

    -(0.42 A + 0.04 E + 0.2), after De Clerck and Narziss, from memory. A print with "+ 0.04 E" is
    in circulation; it cannot be right, since it puts beer's freezing point above that of its
    alcohol in pure water. Holds for A from 0 to 10 %, E from 0 to 25 °P.
    """
    require("alcohol by weight", alcohol_weight_percent, 0.0, 10.0)
    require("original extract", original_plato, 0.0, 25.0)
    return -(0.42 * alcohol_weight_percent + 0.04 * original_plato + 0.2)


def water_density_kg_per_m3(temp_c: float) -> float:
    """Return the density of air-free water at 1 atm, -5 to 100 °C.

    Kell, J. Chem. Eng. Data 20, 97-105, 1975; coefficients from memory, held against IAPWS-95 in
    the tests.
    """
    t = require("temperature", temp_c, -5.0, 100.0)
    polynomial = 999.83952 + t * (
        16.945176
        + t * (-7.9870401e-3 + t * (-46.170461e-6 + t * (105.56302e-9 - t * 280.54253e-12)))
    )
    return polynomial / (1.0 + 16.879850e-3 * t)


def density_kg_per_m3(apparent_plato: float, temp_c: float) -> float:
    """Return the density of wort or beer without gas.

    The hydrometer's reading says it all: specific gravity times the density of water. That beer
    expands somewhat more than water is left out (below 0.1 % from 0 to 25 °C).
    """
    return sg_from_plato(apparent_plato) * water_density_kg_per_m3(temp_c)


def specific_heat_j_per_kg_k(real_plato: float, alcohol_weight_percent: float = 0.0) -> float:
    """Return the specific heat of wort or beer: water, sugar and ethanol by their shares.

    Within 3 % of the figures in use: 4.016 kJ/(kg K) for wort (Gee & Ramirez, J. Inst. Brew. 100,
    321-329, 1994), 4.05 for beer (trade calculations, no source).
    """
    sugar = require("real extract", real_plato, 0.0, 40.0) / 100.0
    ethanol = require("alcohol by weight", alcohol_weight_percent, 0.0, 20.0) / 100.0
    water = 1.0 - sugar - ethanol
    return water * _WATER_J_PER_KG_K + sugar * _SUGAR_J_PER_KG_K + ethanol * _ETHANOL_J_PER_KG_K
