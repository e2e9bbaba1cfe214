"""Carbon dioxide in beer and in the headspace: what dissolves, and what a cold crash sucks back.

Beer is treated as water. Pressures in Pa, absolute, unless the name says otherwise; temperatures
in °C; gas as ideal.
"""

from __future__ import annotations

from math import exp
from typing import Final

from fermd.physics.beer import water_density_kg_per_m3
from fermd.physics.errors import require

ATMOSPHERE_PA: Final = 101_325.0
CO2_G_PER_MOL: Final = 44.0095
WATER_G_PER_MOL: Final = 18.01528
GAS_CONSTANT_J_PER_MOL_K: Final = 8.314462618
ZERO_C_K: Final = 273.15
CO2_L_PER_MOL_AT_STP: Final = 22.263
"""Real molar volume of carbon dioxide at 0 °C and 1 atm, the brewer's "volume"."""


def henry_constant_pa(temp_c: float) -> float:
    """Return partial pressure over mole fraction, 0 to 160 °C.

    Carroll, Slupsky & Mather, J. Phys. Chem. Ref. Data 20(6), 1201-1209, 1991.
    """
    k = require("temperature", temp_c, -3.0, 160.0) + ZERO_C_K
    return 1e6 * exp(-6.8346 + 1.2817e4 / k - 3.7668e6 / k**2 + 2.997e8 / k**3)


def dissolved_mole_fraction(temp_c: float, co2_pa: float = ATMOSPHERE_PA) -> float:
    """Return moles of carbon dioxide in each mole of liquid under a partial pressure `co2_pa`."""
    return require("partial pressure", co2_pa, 0.0, 1e6) / henry_constant_pa(temp_c)


def dissolved_g_per_l(temp_c: float, co2_pa: float = ATMOSPHERE_PA) -> float:
    """Return the carbon dioxide in solution at equilibrium."""
    fraction = dissolved_mole_fraction(temp_c, co2_pa)
    water_mol_per_l = water_density_kg_per_m3(temp_c) / WATER_G_PER_MOL
    return fraction / (1.0 - fraction) * water_mol_per_l * CO2_G_PER_MOL


def dissolved_volumes(temp_c: float, co2_pa: float = ATMOSPHERE_PA) -> float:
    """Return the carbon dioxide in solution as litres of gas at 0 °C and 1 atm in each litre."""
    return dissolved_g_per_l(temp_c, co2_pa) / CO2_G_PER_MOL * CO2_L_PER_MOL_AT_STP


def water_vapour_pa(temp_c: float) -> float:
    """Return the saturation pressure over water, -40 to 50 °C.

    Magnus form of Alduchov & Eskridge, J. Appl. Meteor. 35, 601-609, 1996 (from memory), within
    0.4 % over the range.
    """
    require("temperature", temp_c, -40.0, 50.0)
    return 610.94 * exp(17.625 * temp_c / (temp_c + 243.04))


def suck_back_l(headspace_l: float, from_c: float, to_c: float, *, moist: bool = True) -> float:
    """Return the volume of outside air that cooling draws in through an airlock.

    By the gas law alone, at constant pressure; `moist` counts the water vapour that condenses as
    well. Carbon dioxide that goes back into the beer comes on top: see `reabsorbed_l`. Negative
    when the headspace warms (gas leaves).
    """
    require("headspace", headspace_l, 0.0, 1e6)
    cold_to_warm = (to_c + ZERO_C_K) / (from_c + ZERO_C_K)
    if moist:
        cold_to_warm *= (ATMOSPHERE_PA - water_vapour_pa(from_c)) / (
            ATMOSPHERE_PA - water_vapour_pa(to_c)
        )
    return headspace_l * (1.0 - cold_to_warm)


def reabsorbed_l(beer_l: float, from_c: float, to_c: float) -> float:
    """Return the gas, as a volume at `to_c`, that beer takes up between two equilibria at 1 atm.

    What a supply of carbon dioxide gives on top of `suck_back_l`: without stirring, equilibrium
    takes days. Under an airlock it is less, see `suck_back_at_rest_l`.
    """
    grams = beer_l * (dissolved_g_per_l(to_c) - dissolved_g_per_l(from_c))
    litres_per_mol = 1e3 * GAS_CONSTANT_J_PER_MOL_K * (to_c + ZERO_C_K) / ATMOSPHERE_PA
    return grams / CO2_G_PER_MOL * litres_per_mol


def suck_back_at_rest_l(beer_l: float, headspace_l: float, from_c: float, to_c: float) -> float:
    """Return the air that has come in through an airlock when beer and headspace are at rest again.

    Both held carbon dioxide at 1 atm when warm, and none comes from outside: what the cold beer
    takes up leaves its place to air, and the thinner gas then dissolves less. So it is never more
    than the headspace. Dry gas; Henry's law in its linear form.
    """
    held_g = sealed_co2_g(beer_l, headspace_l, from_c, ATMOSPHERE_PA)
    at_rest_pa = sealed_co2_pa(beer_l, headspace_l, to_c, held_g)
    return headspace_l * (1.0 - at_rest_pa / ATMOSPHERE_PA)


def sealed_pressure_drop_pa(from_c: float, to_c: float) -> float:
    """Return by how much the pressure of dry gas, sealed in at 1 atm, falls on cooling.

    A glass vessel must not be left to bear it.
    """
    return ATMOSPHERE_PA * (1.0 - (to_c + ZERO_C_K) / (from_c + ZERO_C_K))


def sealed_co2_g(beer_l: float, headspace_l: float, temp_c: float, co2_pa: float) -> float:
    """Return the carbon dioxide in a closed vessel, in solution and above it, at equilibrium.

    By Henry's law in its linear form and the gas law; `co2_pa` is absolute.
    """
    return co2_pa * _g_per_pa(beer_l, headspace_l, temp_c)


def sealed_co2_pa(beer_l: float, headspace_l: float, temp_c: float, co2_g: float) -> float:
    """Return the absolute pressure of `co2_g` of carbon dioxide in a closed vessel.

    At equilibrium, and of the carbon dioxide alone; the inverse of `sealed_co2_g`. Above 1 MPa it
    is only an order of magnitude: Henry's law bends, and no home vessel holds it.
    """
    return require("carbon dioxide", co2_g, 0.0, 1e9) / _g_per_pa(beer_l, headspace_l, temp_c)


def _g_per_pa(beer_l: float, headspace_l: float, temp_c: float) -> float:
    require("beer", beer_l, 0.01, 1e6)
    require("headspace", headspace_l, 0.0, 1e6)
    dissolved = beer_l * dissolved_g_per_l(temp_c) / ATMOSPHERE_PA
    gas_mol_per_pa = headspace_l / 1e3 / (GAS_CONSTANT_J_PER_MOL_K * (temp_c + ZERO_C_K))
    return dissolved + gas_mol_per_pa * CO2_G_PER_MOL
