"""What goes into a chamber is what is stored in it, whatever is switched on."""

from __future__ import annotations

from dataclasses import replace
from random import Random

import pytest

from fermd.physics.cabinet import Cabinet
from fermd.physics.errors import PhysicsError
from fermd.physics.parameters import ChamberParameters
from fermd.physics.thermal import Drive, HeatFlows, ThermalModel, ThermalState


def _day(
    model: ThermalModel, dt_s: float, *, leave_out: str = ""
) -> tuple[ThermalState, ThermalState, float, float, HeatFlows]:
    """Run a day with compressor cycling, heater, fan, door and fermentation; sum the flows."""
    start = state = model.settled(ambient_c=22.0, beer_c=16.0)
    totals = dict.fromkeys(HeatFlows._fields, 0.0)
    turnover_j = 0.0
    for index in range(round(86_400 / dt_s)):
        second = index * dt_s
        drive = Drive(
            ambient_c=22.0 + 5.0 * ((second // 3600) % 3 - 1),
            fermentation_w=5.0 if second < 43_200 else 1.0,
            cooling=second % 2400 < 600,
            heating=57_600 <= second < 64_800,
            fan=(second // 1800) % 2 == 1,
            door_open=second % 21_600 < 60,
        )
        state, flows = model.advance(state, drive, dt_s)
        for name, value in flows._asdict().items():
            totals[name] += 0.0 if name == leave_out else value
        turnover_j += abs(flows.leak_j) + abs(flows.cooling_j) + flows.heater_j
    return (
        start,
        state,
        model.stored_j(state) - model.stored_j(start),
        turnover_j,
        HeatFlows(**totals),
    )


@pytest.mark.parametrize(
    "parameters",
    [
        ChamberParameters(),
        ChamberParameters.for_batch(volume_l=40.0),
        ChamberParameters.for_batch(volume_l=10.0, fill=0.4, placement=0.0),
        ChamberParameters.for_batch(cabinet=Cabinet.chest(250.0)),
    ],
    ids=["default", "40 l", "half full", "chest freezer"],
)
@pytest.mark.parametrize("dt_s", [10.0, 60.0])
def test_the_heat_of_a_day_with_everything_in_it_closes_within_a_thousandth(
    parameters: ChamberParameters, dt_s: float
) -> None:
    _, _, stored_j, turnover_j, flows = _day(ThermalModel(parameters), dt_s)
    assert turnover_j > 1e6
    assert abs(flows.gained_j - stored_j) < 1e-3 * abs(stored_j)
    # The bookkeeping is exact, so that rounding is all that is left.
    assert abs(flows.gained_j - stored_j) < 1e-7 * turnover_j


@pytest.mark.parametrize("term", ["leak_j", "cooling_j", "heater_j", "fan_j", "fermentation_j"])
def test_the_balance_would_show_a_term_left_out(term: str) -> None:
    _, _, stored_j, _, flows = _day(ThermalModel(ChamberParameters()), 60.0, leave_out=term)
    assert abs(flows.gained_j - stored_j) > 1e-3 * abs(stored_j)


def test_stored_heat_is_that_of_the_temperatures_not_of_the_flows() -> None:
    network = ChamberParameters().network()
    model = ThermalModel(network)
    warm = ThermalState(*[1.0] * 8)
    assert model.stored_j(warm) == pytest.approx(
        network.air_j_per_k
        + network.liner_j_per_k
        + network.evaporator_j_per_k
        + network.heater_j_per_k
        + network.vessel_wall_j_per_k
        + network.beer_j_per_k
    )


def test_a_step_of_ten_minutes_gives_what_six_thousand_of_a_tenth_of_a_second_give() -> None:
    model = ThermalModel(ChamberParameters())
    start = model.settled(ambient_c=25.0, beer_c=14.0)
    drive = Drive(ambient_c=25.0, fermentation_w=4.0, cooling=True, fan=True)
    long_way, leak_j, cooling_j = start, 0.0, 0.0
    for _ in range(6000):
        long_way, flows = model.advance(long_way, drive, 0.1)
        leak_j += flows.leak_j
        cooling_j += flows.cooling_j
    short_way, flows = model.advance(start, drive, 600.0)
    assert short_way == pytest.approx(long_way, abs=1e-8)
    assert flows.leak_j == pytest.approx(leak_j, rel=1e-8)
    assert flows.cooling_j == pytest.approx(cooling_j, rel=1e-8)


def test_any_length_of_step_is_stable() -> None:
    model = ThermalModel(ChamberParameters())
    random = Random(11)
    state = model.settled(22.0, 12.0)
    for _ in range(300):
        drive = Drive(
            ambient_c=random.uniform(-5.0, 40.0),
            fermentation_w=random.uniform(0.0, 10.0),
            cooling=random.random() < 0.3,
            heating=random.random() < 0.3,
            fan=random.random() < 0.5,
            door_open=random.random() < 0.1,
        )
        state, _ = model.advance(state, drive, random.choice([0.1, 1.0, 60.0, 600.0]))
        assert all(-60.0 < temp_c < 80.0 for temp_c in state)


def test_everything_stands_still_at_the_temperature_of_the_room() -> None:
    model = ThermalModel(ChamberParameters())
    state = model.settled(ambient_c=18.0, beer_c=18.0)
    later, flows = model.advance(state, Drive(ambient_c=18.0), 36_000.0)
    assert later == pytest.approx([18.0] * 8, abs=1e-9)
    assert flows.gained_j == pytest.approx(0.0, abs=1e-3)


def test_steady_is_where_a_month_of_the_same_ends() -> None:
    model = ThermalModel(ChamberParameters())
    drive = Drive(ambient_c=21.0, fermentation_w=3.0, cooling=True)
    state = model.settled(21.0, 21.0)
    for _ in range(30):
        state, _ = model.advance(state, drive, 86_400.0)
    assert state == pytest.approx(model.steady(drive), abs=1e-6)


def test_the_model_forgets_old_step_lengths_rather_than_grow_without_end() -> None:
    model = ThermalModel(ChamberParameters())
    state = model.settled(20.0, 20.0)
    for index in range(530):
        model.advance(state, Drive(ambient_c=20.0), 1.0 + index / 1000.0)
    assert len(model._steps) <= 512


def test_a_chamber_too_stiff_to_be_exact_is_refused_rather_than_wrong() -> None:
    network = replace(ChamberParameters().network(), air_j_per_k=0.001, gasket_w_per_k=1e6)
    model = ThermalModel(network)
    with pytest.raises(PhysicsError, match="too fast"):
        model.advance(model.settled(20.0, 20.0), Drive(ambient_c=20.0), 3600.0)


@pytest.mark.parametrize("dt_s", [0.0, -1.0, float("nan"), float("inf")])
def test_time_only_goes_forward(dt_s: float) -> None:
    model = ThermalModel(ChamberParameters())
    with pytest.raises(PhysicsError, match="time step"):
        model.advance(model.settled(20.0, 20.0), Drive(ambient_c=20.0), dt_s)
