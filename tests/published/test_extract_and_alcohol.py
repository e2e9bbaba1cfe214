"""Balling's arithmetic, and De Clerck's curve from specific gravity to Plato.

Balling's yields: Kvasny Prum. 61(4), 120-128, 2015, doi 10.18832/kp2015015; Cutaia, Reid & Speers,
J. Inst. Brew. 115(4), 318-327, 2009. The table holds their formulas' values.
"""

from __future__ import annotations

import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st

from fermd.physics.errors import PhysicsError
from fermd.physics.extract import (
    CO2_PER_ALCOHOL,
    ETHANOL_KG_PER_L_20C,
    EXTRACT_PER_ALCOHOL,
    YEAST_PER_ALCOHOL,
    alcohol_by_volume,
    alcohol_by_weight,
    apparent_extract,
    carbon_dioxide_share_of_beer,
    fermented_share_of_wort,
    original_extract,
    plato_from_sg,
    real_degree_of_fermentation,
    real_extract,
    sg_from_plato,
    wort_kg,
)


@pytest.mark.parametrize(
    ("original", "apparent", "real", "alcohol", "rdf", "co2_g_per_100_g"),
    [
        (12.0, 2.5, 4.2176, 4.0146, 0.649, 3.840),
        (12.0, 3.0, 4.6272, 3.8033, 0.614, 3.638),
        (11.0, 2.0, 3.6272, 3.7825, 0.670, 3.618),
        (16.0, 4.0, 6.1696, 5.1852, 0.614, 4.960),
        (10.0, 2.0, 3.4464, 3.3439, 0.655, 3.199),
    ],
)
def test_ballings_table(
    original: float,
    apparent: float,
    real: float,
    alcohol: float,
    rdf: float,
    co2_g_per_100_g: float,
) -> None:
    assert real_extract(original, apparent) == pytest.approx(real, abs=5e-5)
    assert alcohol_by_weight(original, apparent) == pytest.approx(alcohol, abs=5e-5)
    assert real_degree_of_fermentation(original, apparent) == pytest.approx(rdf, abs=6e-4)
    assert 100 * carbon_dioxide_share_of_beer(original, apparent) == pytest.approx(
        co2_g_per_100_g, abs=6e-4
    )


@pytest.mark.parametrize(
    ("alcohol", "real", "original"), [(4.0, 4.2, 11.9560), (5.0, 5.0, 14.5563), (0.0, 12.0, 12.0)]
)
def test_original_extract_from_alcohol_and_real_extract(
    alcohol: float, real: float, original: float
) -> None:
    assert original_extract(alcohol, real) == pytest.approx(original, abs=5e-5)


@given(st.floats(4.0, 25.0), st.floats(0.0, 1.0))
def test_the_two_formulas_are_each_others_inverse(original: float, left: float) -> None:
    apparent = original * left
    alcohol = alcohol_by_weight(original, apparent)
    assert original_extract(alcohol, real_extract(original, apparent)) == pytest.approx(
        original, rel=1e-9
    )


@given(st.floats(4.0, 25.0), st.floats(0.0, 1.0))
def test_what_ferments_and_what_stays_add_up_to_the_wort(original: float, left: float) -> None:
    apparent = original * left
    alcohol = alcohol_by_weight(original, apparent)
    fermented = fermented_share_of_wort(original, apparent)
    beer_share = 1.0 - fermented * (CO2_PER_ALCOHOL + YEAST_PER_ALCOHOL) / EXTRACT_PER_ALCOHOL
    stayed = beer_share * real_extract(original, apparent) / 100.0
    assert fermented + stayed == pytest.approx(original / 100.0, rel=1e-9)
    assert fermented == pytest.approx(EXTRACT_PER_ALCOHOL * alcohol / 100.0 * beer_share, rel=1e-9)


def test_ballings_yields_stay_below_the_ceilings_of_chemistry() -> None:
    # C6H12O6 -> 2 C2H5OH + 2 CO2: at most 0.5114 g of alcohol and 0.4886 g of gas from a gram of
    # glucose, 0.5383 g of alcohol from a gram of maltose.
    assert 0.45 < 1.0 / EXTRACT_PER_ALCOHOL < 0.5114
    assert 0.43 < CO2_PER_ALCOHOL / EXTRACT_PER_ALCOHOL < 0.4886


def test_twelve_plato_is_1_0484() -> None:
    # ASBC's tables give 1.04837 (from memory).
    assert sg_from_plato(12.0) == pytest.approx(1.0484, abs=2e-4)
    assert plato_from_sg(1.0) == pytest.approx(0.0, abs=0.02)
    assert plato_from_sg(1.040) == pytest.approx(9.99, abs=0.03)


@given(st.floats(-3.0, 35.0))
def test_plato_and_gravity_go_there_and_back(plato: float) -> None:
    assert plato_from_sg(sg_from_plato(plato)) == pytest.approx(plato, abs=1e-9)


def test_twenty_litres_of_wort_hold_two_and_a_half_kilograms_of_extract() -> None:
    assert 0.12 * wort_kg(20.0, 12.0) == pytest.approx(2.5161, rel=0.003)


@pytest.mark.parametrize(("original", "apparent"), [(12.0, 13.0), (12.0, -4.0), (-1.0, -1.0)])
def test_extract_that_cannot_be_is_refused(original: float, apparent: float) -> None:
    with pytest.raises(PhysicsError, match="extract"):
        real_extract(original, apparent)


def test_the_density_of_ethanol_is_coolprops() -> None:
    coolprop = PropsSI("D", "T", 293.15, "P", 101325.0, "Ethanol") / 1e3
    assert pytest.approx(coolprop, rel=5e-4) == ETHANOL_KG_PER_L_20C


def test_alcohol_by_volume_is_that_of_the_trades_rule_of_thumb() -> None:
    """(original - final gravity) × 131.25 (common practice, no source): within 3 %."""
    for original, apparent in ((10.0, 2.0), (12.0, 2.5), (16.0, 4.0)):
        rule = (sg_from_plato(original) - sg_from_plato(apparent)) * 131.25
        assert alcohol_by_volume(original, apparent) == pytest.approx(rule, rel=0.03)


@given(st.floats(5.0, 25.0), st.floats(0.0, 1.0))
def test_extract_from_alcohol_by_volume_goes_there_and_back(original: float, left: float) -> None:
    abv = alcohol_by_volume(original, left * original)
    assert apparent_extract(original, abv) == pytest.approx(left * original, abs=1e-6)


def test_more_alcohol_than_the_wort_has_extract_for_is_refused() -> None:
    with pytest.raises(PhysicsError, match="alcohol by volume = 9"):
        apparent_extract(12.0, 9.0)
