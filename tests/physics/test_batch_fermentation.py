"""A batch of beer gives off its heat: all of it, once, and faster when it is warm."""

from __future__ import annotations

from math import exp

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fermd.physics.errors import PhysicsError
from fermd.physics.fermentation import Batch, FermentationModel, FermentationState, Kinetics, Yeast


def _ferment(
    model: FermentationModel, beer_c: float, hours: float, dt_s: float = 600.0
) -> tuple[FermentationState, float, float]:
    state, heat_j, peak_w = model.pitched(), 0.0, 0.0
    for _ in range(round(hours * 3600 / dt_s)):
        state, heat_w = model.advance(state, beer_c, dt_s)
        heat_j += heat_w * dt_s
        peak_w = max(peak_w, heat_w)
    return state, heat_j, peak_w


def _days_to(model: FermentationModel, beer_c: float, share: float) -> float:
    state, seconds = model.pitched(), 0.0
    while model.fermented_share(state) < share:
        state, _ = model.advance(state, beer_c, 3600.0)
        seconds += 3600.0
    return seconds / 86_400.0


def test_ale_is_done_in_about_four_days_and_lager_in_about_nine() -> None:
    # Common practice, no source.
    assert _days_to(FermentationModel(yeast=Yeast.ale()), 20.0, 0.95) == pytest.approx(4.0, abs=0.5)
    lager = FermentationModel(yeast=Yeast.lager())
    assert _days_to(lager, 12.0, 0.95) == pytest.approx(9.0, abs=1.0)


@pytest.mark.parametrize("beer_c", [8.0, 12.0, 20.0, 26.0])
def test_the_whole_heat_comes_out_whatever_the_temperature(beer_c: float) -> None:
    model = FermentationModel()
    state, heat_j, _ = _ferment(model, beer_c, 24 * 200, dt_s=7200.0)
    assert model.fermented_share(state) == pytest.approx(1.0, abs=1e-3)
    assert heat_j == pytest.approx(model.total_heat_j * model.fermented_share(state), rel=1e-2)
    left_j = sum(
        mol * heat for mol, heat in zip(state[:3], (91.2e3, 226.3e3, 361.3e3), strict=True)
    )
    assert heat_j + left_j * 0.02 == pytest.approx(model.total_heat_j, rel=1e-9)


def test_warmer_beer_makes_its_heat_faster() -> None:
    peaks = [_ferment(FermentationModel(), beer_c, 200.0)[2] for beer_c in (8.0, 14.0, 20.0)]
    assert peaks[0] < 0.6 * peaks[1] < 0.4 * peaks[2]


def test_pitched_yeast_starts_slowly_and_a_cold_crash_all_but_stops_it() -> None:
    model = FermentationModel(yeast=Yeast.ale())
    start, early_w = model.advance(model.pitched(), 20.0, 60.0)
    assert early_w < 0.05
    assert start.awake == pytest.approx(1.0 - exp(-60.0 / model.yeast.lag_s))
    working, _, _ = _ferment(model, 20.0, 20.0)
    _, warm_w = model.advance(working, 20.0, 600.0)
    _, cold_w = model.advance(working, 1.0, 600.0)
    assert cold_w < 0.12 * warm_w


def test_a_lag_of_nothing_works_from_the_first_second() -> None:
    model = FermentationModel(yeast=Yeast(lag_s=0.0))
    assert model.pitched().awake == 1.0
    assert model.advance(model.pitched(), 20.0, 60.0)[1] > 2.0


@pytest.mark.parametrize("dt_s", [30.0, 60.0, 600.0, 3600.0, 21_600.0])
def test_the_length_of_the_step_hardly_matters(dt_s: float) -> None:
    model = FermentationModel()
    fine, _, _ = _ferment(model, 18.0, 36.0, dt_s=20.0)
    other, _, _ = _ferment(model, 18.0, 36.0, dt_s=dt_s)
    assert other == pytest.approx(fine, rel=2e-5, abs=1e-4)


@settings(max_examples=60, deadline=None)
@given(
    st.floats(-10.0, 45.0),
    st.floats(1.0, 86_400.0),
    st.floats(0.0, 70.0),
    st.floats(0.0, 250.0),
    st.floats(0.0, 60.0),
)
def test_sugar_only_goes_and_is_never_owed(
    beer_c: float, dt_s: float, glucose: float, maltose: float, maltotriose: float
) -> None:
    model = FermentationModel()
    state = FermentationState(glucose, maltose, maltotriose, 130.0, 10.0, 1.0)
    later, heat_w = model.advance(state, beer_c, dt_s)
    assert heat_w >= 0.0
    for before, after in zip(state[:3], later[:3], strict=True):
        assert 0.0 <= after <= before * (1.0 + 1e-12)
    assert later.ethanol >= state.ethanol
    assert later.biomass >= state.biomass


def test_extract_falls_from_original_to_final_and_gas_comes_of_it() -> None:
    model = FermentationModel(Batch(volume_l=20.0, original_plato=12.0, final_plato=2.5))
    assert model.apparent_plato(model.pitched()) == pytest.approx(12.0)
    state, _, _ = _ferment(model, 20.0, 24 * 40)
    assert model.apparent_plato(state) == pytest.approx(2.5, abs=0.01)
    # Balling: 3.84 g for 100 g of beer, about 20.1 kg of it. The growth model's yields are 6.5 %
    # above Balling's (1.92 mol of alcohol from a mole of glucose is 0.49 g from a gram).
    assert model.carbon_dioxide_kg(state) == pytest.approx(0.0384 * 20.1, rel=0.08)


def test_nothing_more_comes_of_a_finished_batch() -> None:
    model = FermentationModel()
    done = FermentationState(0.0, 0.0, 0.0, 190.0, 1000.0, 1.0)
    assert model.advance(done, 20.0, 600.0) == (done, 0.0)


def test_outside_of_the_models_temperatures_the_rates_stand_still() -> None:
    kinetics = Kinetics()
    assert kinetics.at(45.0) == kinetics.at(30.0)
    assert kinetics.at(-10.0) == kinetics.at(-2.0)


@pytest.mark.parametrize(
    ("build", "named"),
    [
        (lambda: Batch(volume_l=0.0), "batch volume"),
        (lambda: Batch(original_plato=10.0, final_plato=12.0), "apparent extract"),
        (lambda: Yeast(pace=0.0), "yeast pace"),
        (lambda: Yeast(lag_s=-1.0), "yeast lag"),
        (lambda: FermentationModel().advance(FermentationModel().pitched(), 20.0, 0.0), "time"),
    ],
)
def test_a_batch_that_cannot_be_is_refused(build: object, named: str) -> None:
    assert callable(build)
    with pytest.raises(PhysicsError, match=named):
        build()
