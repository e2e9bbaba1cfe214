"""How heat crosses from a surface to air, from surface to surface, through walls and open doors.

Textbook correlations (Holman, Heat Transfer; Incropera & DeWitt, Fundamentals of Heat and Mass
Transfer; all from memory), evaluated once at a stated difference of temperature, since the network
of the chamber is linear. Coefficients in W/(m² K), conductances in W/K.
"""

from __future__ import annotations

from math import cbrt, sqrt
from typing import Final, NamedTuple

AIR_KG_PER_M3: Final = 1.2473
"""Air at 10 °C and 1 atm (CoolProp)."""
AIR_J_PER_KG_K: Final = 1005.9
"""Air at 10 °C (CoolProp)."""
AIR_W_PER_M_K: Final = 0.0249
"""Air at 10 °C (CoolProp)."""
_AIR_VISCOSITY_M2_PER_S: Final = 1.42e-5
_AIR_PRANDTL: Final = 0.71

_STEFAN_BOLTZMANN_W_PER_M2_K4: Final = 5.670374e-8
_GRAVITY_M_PER_S2: Final = 9.80665


class Material(NamedTuple):
    """A solid: handbook values near room temperature, from memory."""

    kg_per_m3: float
    j_per_kg_k: float
    w_per_m_k: float
    emissivity: float


HDPE: Final = Material(950.0, 1900.0, 0.45, 0.9)
PET: Final = Material(1380.0, 1200.0, 0.20, 0.9)
POLYSTYRENE: Final = Material(1050.0, 1300.0, 0.15, 0.9)
GLASS: Final = Material(2500.0, 840.0, 1.0, 0.9)
STAINLESS_STEEL: Final = Material(7900.0, 500.0, 15.0, 0.25)
ALUMINIUM: Final = Material(2700.0, 900.0, 200.0, 0.9)
"""Painted, as evaporators are: the emissivity is the paint's."""
SILICONE: Final = Material(1300.0, 1400.0, 0.25, 0.9)
POLYURETHANE_FOAM: Final = Material(35.0, 1500.0, 0.022, 0.9)
"""Rigid foam in an appliance's wall, aged some years; new foam is nearer to 0.019 W/(m K)."""


def still_air_plate_w_per_m2_k(difference_k: float, height_m: float) -> float:
    """Return the coefficient of an upright plate in still air: 1.42 (ΔT/L)^¼, laminar (Holman)."""
    return 1.42 * sqrt(sqrt(difference_k / height_m))


def still_air_cylinder_w_per_m2_k(difference_k: float, diameter_m: float) -> float:
    """Return the coefficient of a lying cylinder in still air: 1.32 (ΔT/d)^¼, laminar (Holman)."""
    return 1.32 * sqrt(sqrt(difference_k / diameter_m))


def moved_air_plate_w_per_m2_k(speed_m_per_s: float, length_m: float) -> float:
    """Return the mean coefficient of a plate in a stream: Nu = 0.664 Re^½ Pr^⅓, laminar."""
    reynolds = speed_m_per_s * length_m / _AIR_VISCOSITY_M2_PER_S
    nusselt = 0.664 * sqrt(reynolds) * cbrt(_AIR_PRANDTL)
    return nusselt * AIR_W_PER_M_K / length_m


def moved_air_cylinder_w_per_m2_k(speed_m_per_s: float, diameter_m: float) -> float:
    """Return the coefficient of a cylinder across a stream: Hilpert's law for Re 40 to 4000."""
    reynolds = speed_m_per_s * diameter_m / _AIR_VISCOSITY_M2_PER_S
    nusselt: float = 0.683 * reynolds**0.466 * cbrt(_AIR_PRANDTL)
    return nusselt * AIR_W_PER_M_K / diameter_m


def together_w_per_m2_k(still: float, moved: float) -> float:
    """Return the coefficient of buoyancy and stream together: the cubes add (Churchill)."""
    return cbrt(still**3 + moved**3)


def radiation_w_per_m2_k(mean_c: float, emissivity: float) -> float:
    """Return the coefficient of radiation into an enclosure: 4 ε σ T³."""
    return 4.0 * emissivity * _STEFAN_BOLTZMANN_W_PER_M2_K4 * (mean_c + 273.15) ** 3


def still_water_wall_w_per_m2_k(difference_k: float) -> float:
    """Return the coefficient of an upright wall in water at 10 °C: Nu = 0.10 Ra^⅓ (Holman).

    Expansion 8.8e-5 1/K, viscosity 1.306e-6 m²/s, diffusivity 1.39e-7 m²/s, 0.58 W/(m K). The
    length drops out.
    """
    rayleigh_per_m3 = _GRAVITY_M_PER_S2 * 8.8e-5 * difference_k / (1.306e-6 * 1.39e-7)
    return 0.10 * 0.58 * cbrt(rayleigh_per_m3)


def open_door_w_per_k(width_m: float, height_m: float, difference_k: float, mean_c: float) -> float:
    """Return the conductance of an upright opening through which air of two temperatures trades.

    Volume flow = (Cd/3) A √(g H ΔT/T) with Cd = 0.6 (Brown & Solvason, Int. J. Heat Mass Transfer
    5, 859-868, 1962, from memory), times the heat that each m³ carries.
    """
    speed = sqrt(_GRAVITY_M_PER_S2 * height_m * difference_k / (mean_c + 273.15))
    flow_m3_per_s = 0.6 / 3.0 * width_m * height_m * speed
    return flow_m3_per_s * AIR_KG_PER_M3 * AIR_J_PER_KG_K


def in_series(*conductances: float) -> float:
    """Return the conductance of several, one after another."""
    return 1.0 / sum(1.0 / each for each in conductances)
