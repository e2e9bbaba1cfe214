"""Extract, alcohol and the heat that fermenting it sets free: the brewer's arithmetic.

Extract is in degrees Plato (g per 100 g), alcohol in per cent by weight, volumes in litres at
20 °C. "Original" is the wort, "apparent" what a hydrometer shows in the beer, "real" what it
would show if the alcohol were taken out.

Sources: Balling's yields (2.0665 g extract give 1 g alcohol, 0.9565 g carbon dioxide and 0.11 g
yeast) as reviewed in Kvasny Prum. 61(4), 120-128, 2015, doi 10.18832/kp2015015, and in Cutaia,
Reid & Speers, J. Inst. Brew. 115(4), 318-327, 2009; specific gravity to Plato after De Clerck.
"""

from __future__ import annotations

from math import sqrt
from typing import Final

from fermd.physics.errors import require

EXTRACT_PER_ALCOHOL: Final = 2.0665
CO2_PER_ALCOHOL: Final = 0.9565
YEAST_PER_ALCOHOL: Final = 0.11
# What leaves the liquid with each gram of alcohol: carbon dioxide and the yeast that settles.
_LOST_PER_ALCOHOL: Final = CO2_PER_ALCOHOL + YEAST_PER_ALCOHOL

HEAT_J_PER_KG_EXTRACT: Final = 587e3
"""Heat of fermentation per kg of real extract fermented. Textbook value (Kunze; Narziss), from
memory; published values spread from about 500 to 720 kJ/kg."""

WATER_KG_PER_L_20C: Final = 0.998207
"""Density of water at 20 °C, the reference of specific gravity (IAPWS-95)."""

ETHANOL_KG_PER_L_20C: Final = 0.78924
"""Density of ethanol at 20 °C (OIML R 22, from memory; held against CoolProp in the tests)."""

_HIGHEST_PLATO: Final = 40.0

_DRIEST_SHARE: Final = 0.2208
"""A dry beer can show less than water; the lowest apparent extract is where nothing real is left,
at -0.1808/0.8192 of the original."""


def plato_from_sg(sg: float) -> float:
    """Return the extract in °P of a wort of specific gravity `sg` (20/20 °C, 0.98 to 1.18)."""
    require("specific gravity", sg, 0.98, 1.18)
    return -463.37 + 668.72 * sg - 205.347 * sg * sg


def sg_from_plato(plato: float) -> float:
    """Return the specific gravity of extract `plato` (-5 to 40 °P): De Clerck's curve, solved."""
    require("extract", plato, -5.0, _HIGHEST_PLATO)
    return (668.72 - sqrt(668.72**2 - 4.0 * 205.347 * (463.37 + plato))) / (2.0 * 205.347)


def real_extract(original_plato: float, apparent_plato: float) -> float:
    """Return the real extract in °P from the original and the apparent one."""
    _require_attenuation(original_plato, apparent_plato)
    return 0.1808 * original_plato + 0.8192 * apparent_plato


def alcohol_by_weight(original_plato: float, apparent_plato: float) -> float:
    """Return the alcohol in per cent by weight (Balling)."""
    _require_attenuation(original_plato, apparent_plato)
    # What became alcohol is original - real extract, written so that none is never less than none.
    fermented_plato = 0.8192 * (original_plato - apparent_plato)
    return fermented_plato / (EXTRACT_PER_ALCOHOL - 0.010665 * original_plato)


def alcohol_by_volume(original_plato: float, apparent_plato: float) -> float:
    """Return the alcohol in per cent by volume at 20 °C: the weight's share, by the densities."""
    beer_kg_per_l = sg_from_plato(apparent_plato) * WATER_KG_PER_L_20C
    by_weight = alcohol_by_weight(original_plato, apparent_plato)
    return by_weight * beer_kg_per_l / ETHANOL_KG_PER_L_20C


def apparent_extract(original_plato: float, abv: float) -> float:
    """Return the apparent extract in °P of a beer of `abv` per cent by volume.

    Raises:
        PhysicsError: more alcohol than the wort has extract for.

    """
    require("original extract", original_plato, 0.1, _HIGHEST_PLATO)
    driest, sweetest = max(-5.0, -_DRIEST_SHARE * original_plato), original_plato
    require("alcohol by volume", abv, 0.0, alcohol_by_volume(original_plato, driest))
    for _ in range(60):
        middle = (driest + sweetest) / 2.0
        if alcohol_by_volume(original_plato, middle) > abv:
            driest = middle
        else:
            sweetest = middle
    return sweetest


def original_extract(alcohol_weight_percent: float, real_plato: float) -> float:
    """Return the original extract in °P of a beer: Balling's formula, the inverse of the above."""
    require("alcohol by weight", alcohol_weight_percent, 0.0, 20.0)
    require("real extract", real_plato, 0.0, _HIGHEST_PLATO)
    total = EXTRACT_PER_ALCOHOL * alcohol_weight_percent + real_plato
    return 100.0 * total / (100.0 + _LOST_PER_ALCOHOL * alcohol_weight_percent)


def real_degree_of_fermentation(original_plato: float, apparent_plato: float) -> float:
    """Return (original - real) / original, from 0 to 1."""
    return 1.0 - real_extract(original_plato, apparent_plato) / original_plato


def fermented_share_of_wort(original_plato: float, apparent_plato: float) -> float:
    """Return the kg of extract fermented for each kg of wort.

    Somewhat more than the fall of real extract, because 100 g of wort give less than 100 g of
    beer: carbon dioxide and yeast leave it.
    """
    alcohol = alcohol_by_weight(original_plato, apparent_plato)
    return EXTRACT_PER_ALCOHOL * alcohol / (100.0 + _LOST_PER_ALCOHOL * alcohol)


def carbon_dioxide_share_of_beer(original_plato: float, apparent_plato: float) -> float:
    """Return the kg of carbon dioxide set free for each kg of beer."""
    return CO2_PER_ALCOHOL * alcohol_by_weight(original_plato, apparent_plato) / 100.0


def wort_kg(volume_l: float, original_plato: float) -> float:
    """Return the mass of a wort at 20 °C."""
    return volume_l * sg_from_plato(original_plato) * WATER_KG_PER_L_20C


def fermentation_heat_j(volume_l: float, original_plato: float, apparent_plato: float) -> float:
    """Return the heat that a batch sets free from original down to apparent extract."""
    share = fermented_share_of_wort(original_plato, apparent_plato)
    return wort_kg(volume_l, original_plato) * share * HEAT_J_PER_KG_EXTRACT


def _require_attenuation(original_plato: float, apparent_plato: float) -> None:
    require("original extract", original_plato, 0.1, _HIGHEST_PLATO)
    require("apparent extract", apparent_plato, -_DRIEST_SHARE * original_plato, original_plato)
