"""Heat of fermentation against the literature, and the growth model against a solver.

Gee & Ramirez: J. Inst. Brew. 100, 321-329, 1994, and the values by temperature that academic
work prints from it (4, 8, 12, 16 °C).
"""

from __future__ import annotations

from math import exp, prod

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from fermd.physics.extract import fermentation_heat_j
from fermd.physics.fermentation import (
    HEAT_J_PER_MOL,
    KG_PER_MOL,
    REFERENCE_SUGARS,
    Batch,
    FermentationModel,
    FermentationState,
    Kinetics,
    Yeast,
)

PAPERS_YEAST = Yeast(pace=1.0, lag_s=0.0)
PAPERS_START = FermentationState(*REFERENCE_SUGARS, 125.0, 0.0, 1.0)
CUBIC_METRE = FermentationModel(Batch(volume_l=1000.0), PAPERS_YEAST)


def test_twenty_litres_of_twelve_plato_set_free_about_a_megajoule() -> None:
    # 2.51 kg of extract, 0.66 of it fermented, 587 kJ/kg (Kunze; Narziss; from memory): 975 kJ,
    # over five days 2.26 W. 2.5 degP at the end is a real attenuation of 0.649 of the extract in
    # beer, 0.663 of that in wort.
    heat_j = fermentation_heat_j(20.0, 12.0, 2.5)
    assert heat_j == pytest.approx(974.8e3, rel=0.01)
    assert heat_j / (5 * 86_400) == pytest.approx(2.256, rel=0.01)


def test_the_growth_models_heat_lies_within_the_spread_of_the_literature() -> None:
    # 500 to 720 kJ/kg between glucose and the highest of the published values.
    batch = Batch()
    sugar_kg = sum(m * k for m, k in zip(batch.sugars, KG_PER_MOL, strict=True)) * 0.020
    assert 500e3 < FermentationModel(batch).total_heat_j / sugar_kg < 720e3
    assert FermentationModel(batch).total_heat_j == pytest.approx(
        fermentation_heat_j(20.0, 12.0, 2.5), rel=0.15
    )


@pytest.mark.parametrize(
    ("heat", "kg", "per_kg"),
    [
        (HEAT_J_PER_MOL.glucose, KG_PER_MOL.glucose, 506.2e3),
        (HEAT_J_PER_MOL.maltose, KG_PER_MOL.maltose, 661.1e3),
        (HEAT_J_PER_MOL.maltotriose, KG_PER_MOL.maltotriose, 716.2e3),
    ],
)
def test_the_heats_by_mass(heat: float, kg: float, per_kg: float) -> None:
    assert heat / kg == pytest.approx(per_kg, rel=1e-3)


@pytest.mark.parametrize("beer_c", [8.0, 12.0, 16.0, 20.0])
def test_a_whole_fermentation_gives_1209_mol_of_alcohol_and_70622_kilojoules(
    beer_c: float,
) -> None:
    # 1.92 * 70 + 3.84 * 220 + 5.76 * 40 = 1209.6 mol/m3 = 55.72 g/l;
    # 91.2 * 70 + 226.3 * 220 + 361.3 * 40 = 70 622 kJ/m3. Exact, whatever the path.
    state, heat_j = PAPERS_START, 0.0
    for _ in range(3000):
        state, heat_w = CUBIC_METRE.advance(state, beer_c, 7200.0)
        heat_j += heat_w * 7200.0
    assert state.ethanol == pytest.approx(1209.6, rel=1e-6)
    assert state.ethanol * 0.046068 == pytest.approx(55.72, rel=1e-4)
    assert heat_j == pytest.approx(70_622e3, rel=1e-6)


def test_an_insulated_tank_warms_by_17_kelvin() -> None:
    # 70 622 / (1040 * 4.016) = 16.909 K, with the paper's density and specific heat.
    state, beer_c = PAPERS_START, 10.0
    for _ in range(4000):
        state, heat_w = CUBIC_METRE.advance(state, beer_c, 600.0)
        beer_c += heat_w * 600.0 / (1040.0 * 4016.0)
    assert beer_c == pytest.approx(26.9088, abs=2e-3)


@pytest.mark.parametrize("beer_c", [8.0, 12.0, 16.0, 20.0])
def test_the_kinetics_are_what_an_independent_solver_makes_of_the_equations(beer_c: float) -> None:
    k = Kinetics()

    def arrhenius(pair: tuple[float, float]) -> float:
        return exp(pair[0] - pair[1] / (1.987 * (beer_c + 273.15)))

    vg, vm, vn = map(arrhenius, (k.glucose_uptake, k.maltose_uptake, k.maltotriose_uptake))
    kg, km, kn = map(arrhenius, (k.glucose_affinity, k.maltose_affinity, k.maltotriose_affinity))
    kig, kim = arrhenius(k.glucose_inhibition), arrhenius(k.maltose_inhibition)

    def rates(_: float, y: list[float]) -> list[float]:
        g, m, n, x, _ethanol = y
        mu1 = vg * g / (kg + g)
        mu2 = vm * m / (km + m) * kig / (kig + g)
        mu3 = vn * n / (kn + n) * kig / (kig + g) * kim / (kim + m)
        grows = (0.134 * mu1 + 0.268 * mu2 + 0.402 * mu3) * 3.65e5 / (3.65e5 + (x - 125.0) ** 2)
        made = 1.92 * mu1 + 3.84 * mu2 + 5.76 * mu3
        return [-mu1 * x, -mu2 * x, -mu3 * x, grows * x, made * x]

    hours = np.arange(0.0, 301.0, 10.0)
    solution = solve_ivp(
        rates, (0.0, 300.0), PAPERS_START[:5], method="LSODA", t_eval=hours, rtol=1e-9, atol=1e-9
    )
    state = PAPERS_START
    for column in range(1, len(hours)):
        for _ in range(60):
            state, _ = CUBIC_METRE.advance(state, beer_c, 600.0)
        assert list(state[:5]) == pytest.approx(list(solution.y[:, column]), rel=2e-4, abs=2e-3)


PUBLISHED = {
    # At 4, 8, 12, 16 degC: uptake in 1/h, affinities and inhibitions in mol/m3.
    "glucose_uptake": (0.0048, 0.013, 0.015, 0.0302),
    "maltose_uptake": (0.0144, 0.0268, 0.028, 0.0364),
    "maltotriose_uptake": (0.087, 0.113, 0.13, 0.151),
    "glucose_affinity": (23.5, 4.7, 1.8, 0.102),
    "maltose_affinity": (1100.0, 814.0, 610.0, 360.0),
    "maltotriose_affinity": (10900.0, 7160.0, 4460.0, 2410.0),
    "glucose_inhibition": (123.0, 182.0, 240.0, 262.0),
    "maltose_inhibition": (2090.0, 6360.0, 8010.0, 17500.0),
}


@pytest.mark.parametrize("name", PUBLISHED)
def test_each_arrhenius_law_passes_through_its_published_values(name: str) -> None:
    kinetics = Kinetics()
    ratios = []
    for temp_c, published in zip((4.0, 8.0, 12.0, 16.0), PUBLISHED[name], strict=True):
        ln_factor, activation = getattr(kinetics, name)
        ours = exp(ln_factor - activation / (1.987 * (temp_c + 273.15)))
        # The published points themselves scatter about a straight Arrhenius line.
        assert 1 / 2.3 < ours / published < 2.3
        ratios.append(ours / published)
    assert 0.85 < prod(ratios) ** 0.25 < 1.15
