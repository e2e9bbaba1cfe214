"""Simulated chambers keep the rules of real ones, and their moments are exact."""

import doctest
import time
from dataclasses import replace
from threading import Thread

import pytest
from hardware_rig import BOUND_S
from hypothesis import given, settings
from hypothesis import strategies as st

from fermd.config.site import SimulatedSettings
from fermd.control.reading import ProbeFault
from fermd.control.settings import Duty
from fermd.hardware import simulated_clock
from fermd.hardware.ports import RelayError
from fermd.hardware.simulated import (
    Contact,
    SimulatedProbe,
    SimulatedProbeBus,
    SimulatedRelayBank,
    in_air,
)
from fermd.hardware.simulated_clock import SimulatedClock
from fermd.hardware.simulated_plant import Fermenting, SimulatedPlant
from fermd.hardware.simulated_site import ChamberWiring, SimulatedBoard, simulated_board
from fermd.physics.fermentation import FermentationModel
from fermd.physics.parameters import ChamberParameters
from fermd.physics.thermal import Drive, ThermalModel

VESSEL, AIR = "28-000000000001", "28-000000000002"
COOLER, HEATER = "sim:17", "sim:27"
PERIOD_S = 10.0
MODEL = ThermalModel(ChamberParameters())


def plant_at(start_utc_s: float = 0.0, beer_c: float = 18.0) -> SimulatedPlant:
    return SimulatedPlant(MODEL, beer_c=beer_c, ambient_c=lambda _: 22.0, start_utc_s=start_utc_s)


@pytest.fixture
def clock() -> SimulatedClock:
    return SimulatedClock()


@pytest.fixture
def board(clock: SimulatedClock) -> SimulatedBoard:
    wiring = ChamberWiring(VESSEL, AIR, (), {Duty.COOL: COOLER, Duty.HEAT: HEATER})
    return simulated_board({"lager": wiring}, SimulatedSettings(), PERIOD_S, clock, seed=7)


def wait(clock: SimulatedClock, seconds: float) -> bool:
    return clock.wait_until(clock.now().mono_s + seconds)


# --- the clock -------------------------------------------------------------------------------


def test_waiting_a_year_takes_no_time(clock: SimulatedClock) -> None:
    began_s = time.monotonic()
    before = clock.now()
    assert wait(clock, 365 * 86400.0) is False
    assert clock.now().mono_s == before.mono_s + 365 * 86400.0
    assert clock.now().wall_utc_s == before.wall_utc_s + 365 * 86400.0
    assert time.monotonic() - began_s < BOUND_S


def test_being_woken_ends_the_next_wait_at_once_and_only_that(clock: SimulatedClock) -> None:
    clock.wake()
    assert clock.wait_until(100.0) is True
    assert clock.now().mono_s == 0.0
    assert clock.wait_until(100.0) is False
    assert clock.wait_until(50.0) is False
    assert clock.now().mono_s == 100.0  # never goes back


def test_what_happens_in_the_world_happens_in_the_middle_of_a_wait(clock: SimulatedClock) -> None:
    seen: list[tuple[str, float]] = []
    clock.after(30.0, lambda: seen.append(("door", clock.now().mono_s)))
    clock.after(20.0, lambda: (seen.append(("button", clock.now().mono_s)), clock.wake()))
    assert clock.wait_until(100.0) is True
    assert seen == [("button", 20.0)]
    assert clock.wait_until(100.0) is False
    assert seen == [("button", 20.0), ("door", 30.0)]


def test_the_wall_clock_can_be_stepped_and_drifts_and_the_monotonic_does_not() -> None:
    clock = SimulatedClock(1_000_000.0, drift_ppm=50.0)
    assert clock.now().wall_utc_s == pytest.approx(1_000_000.0)
    clock.step_wall(-3600.0)
    wait(clock, 86400.0)
    assert clock.now().mono_s == 86400.0
    assert clock.now().wall_utc_s == pytest.approx(1_000_000.0 + 86400.0 * 1.00005 - 3600.0)


def test_after_a_power_cut_a_board_without_a_battery_clock_is_in_the_past(
    clock: SimulatedClock,
) -> None:
    wait(clock, 1000.0)
    cut, boot, true_s = clock.now(), clock.boot_id(), clock.true_utc_s
    clock.power_cut(7200.0)
    assert clock.now().mono_s == 0.0
    assert clock.now().wall_utc_s == pytest.approx(cut.wall_utc_s)
    assert clock.now().wall_trusted is False
    assert clock.boot_id() != boot
    assert clock.true_utc_s == true_s + 7200.0
    clock.vouch_for_wall(True)
    clock.power_cut(60.0, wall_survives=True)
    assert clock.now().wall_trusted is True
    assert clock.now().wall_utc_s == pytest.approx(cut.wall_utc_s + 60.0)


def test_a_clock_with_a_pace_follows_the_real_one() -> None:
    clock = SimulatedClock(times_real_time=1000.0)
    try:
        began_s = time.monotonic()
        assert clock.wait_until(20.0) is False
        took_s = time.monotonic() - began_s
        assert clock.now().mono_s >= 20.0
        assert took_s >= 0.019
    finally:
        clock.close()


def test_a_clock_with_a_pace_is_woken_from_another_thread() -> None:
    clock = SimulatedClock(times_real_time=1.0)
    try:
        waker = Thread(target=clock.wake)
        waker.start()
        assert clock.wait_until(BOUND_S * 1000.0) is True
        waker.join(BOUND_S)
        assert clock.now().mono_s < BOUND_S
    finally:
        clock.close()
        clock.wake()  # too late to matter, and harmless


def test_a_pace_of_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="times_real_time"):
        SimulatedClock(times_real_time=0.0)


# --- the plant -------------------------------------------------------------------------------


def test_the_plant_is_the_thermal_model_with_its_switches_in_time() -> None:
    plant = plant_at()
    plant.switch(Duty.COOL, True, 130.25)
    plant.switch(Duty.COOL, False, 1330.25)
    found = plant.advance_to(3600.0)
    state = MODEL.settled(22.0, 18.0)
    for cooling, seconds in ((False, 130.25), (True, 1200.0), (False, 2269.75)):
        state, _ = MODEL.advance(state, Drive(22.0, cooling=cooling), seconds)
    assert found == pytest.approx(state, abs=1e-9)
    assert plant.starts[Duty.COOL] == 1
    assert plant.running_s[Duty.COOL] == 1200.0


@settings(max_examples=30, deadline=None)
@given(st.lists(st.floats(0, 3600), max_size=20))
def test_looking_at_the_plant_changes_nothing(looks: list[float]) -> None:
    watched, unwatched = plant_at(), plant_at()
    for plant in (watched, unwatched):
        plant.switch(Duty.COOL, True, 0.0, until_utc_s=1000.5)
    for look_s in looks:
        watched.advance_to(look_s)
    assert watched.advance_to(3600.0) == pytest.approx(unwatched.advance_to(3600.0), abs=1e-9)
    assert watched.running_s[Duty.COOL] == unwatched.running_s[Duty.COOL] == 1000.5


def test_an_open_door_lets_the_warm_in() -> None:
    shut, opened = plant_at(beer_c=4.0), plant_at(beer_c=4.0)
    opened.set_door(True, 0.0)
    assert opened.advance_to(600.0).air_c > shut.advance_to(600.0).air_c + 2.0
    opened.set_door(False, 600.0)
    later_s = 6 * 3600.0
    assert opened.advance_to(later_s).air_c == pytest.approx(
        shut.advance_to(later_s).air_c, abs=0.5
    )


def test_fermentation_warms_the_beer_by_the_heat_that_it_makes() -> None:
    batch = Fermenting(FermentationModel())
    made_j = 0.0

    def heat_w(beer_c: float, dt_s: float) -> float:
        nonlocal made_j
        power_w = batch(beer_c, dt_s)
        made_j += power_w * dt_s
        return power_w

    working = SimulatedPlant(
        MODEL, beer_c=20.0, ambient_c=lambda _: 20.0, start_utc_s=0.0, heat_source=heat_w
    )
    still = SimulatedPlant(MODEL, beer_c=20.0, ambient_c=lambda _: 20.0, start_utc_s=0.0)
    warmer_c = working.advance_to(2 * 86400.0).beer_c - still.advance_to(2 * 86400.0).beer_c
    # Of the heat made some has leaked away; none was added.
    assert 1.0 < warmer_c < made_j / MODEL.network.beer_j_per_k


# --- the probes ------------------------------------------------------------------------------


def test_samples_come_at_every_period_in_steps_of_the_probe(
    board: SimulatedBoard, clock: SimulatedClock
) -> None:
    with board.probes as probes:
        wait(clock, 35.0)
        taken = probes.take()
        assert [one.taken_mono_s for one in taken[VESSEL]] == [0.0, 10.0, 20.0, 30.0]
        assert [one.taken_mono_s for one in taken[AIR]] == [0.0, 10.0, 20.0, 30.0]
        assert probes.take() == {}
        for sample in taken[VESSEL]:
            assert sample.temp_c is not None
            assert (sample.temp_c * 16).is_integer()  # DS18B20 data sheet: 2^-4 °C at 12 bits
            assert abs(sample.temp_c - 18.0) < 0.5


def test_the_same_seed_makes_the_same_noise_and_a_fault_changes_no_other_probes() -> None:
    def run(seed: int, fault: ProbeFault | None) -> list[float | None]:
        clock = SimulatedClock()
        plant = plant_at(clock.true_utc_s)
        probes = {VESSEL: SimulatedProbe(plant), AIR: SimulatedProbe(plant, in_air)}
        with SimulatedProbeBus(probes, PERIOD_S, clock, seed) as bus:
            if fault is not None:
                bus.break_probe(VESSEL, fault)
            wait(clock, 1000.0)
            return [sample.temp_c for sample in bus.take()[AIR]]

    assert run(1, None) == run(1, None) == run(1, ProbeFault.CHECKSUM)
    assert run(1, None) != run(2, None)


def test_a_probe_can_have_every_fault(board: SimulatedBoard, clock: SimulatedClock) -> None:
    with board.probes as probes:
        probes.take()
        for fault in (ProbeFault.CHECKSUM, ProbeFault.NO_ANSWER, ProbeFault.DISCONNECTED):
            probes.break_probe(VESSEL, fault)
            wait(clock, PERIOD_S)
            assert [one.fault for one in probes.take()[VESSEL]] == [fault]
        assert probes.listed() == (AIR,)
        probes.silence(VESSEL)
        wait(clock, PERIOD_S)
        assert set(probes.take()) == {AIR}
        probes.mend(VESSEL)
        probes.freeze(VESSEL, 17.25)
        wait(clock, 5 * PERIOD_S)
        assert {one.temp_c for one in probes.take()[VESSEL]} == {17.25}
        probes.mend(VESSEL)
        assert probes.listed() == (VESSEL, AIR)
        hot = plant_at(clock.true_utc_s, beer_c=40.0)
        probes.move(VESSEL, SimulatedProbe(hot))
        wait(clock, PERIOD_S)
        (sample,) = probes.take()[VESSEL]
        assert sample.temp_c == pytest.approx(40.0, abs=0.5)


def test_samples_that_nobody_takes_do_not_pile_up(
    board: SimulatedBoard, clock: SimulatedClock
) -> None:
    with board.probes as probes:
        wait(clock, 86400.0)
        samples = probes.take()[VESSEL]
        assert len(samples) == 256
        assert samples[-1].taken_mono_s == 86400.0


# --- the relays ------------------------------------------------------------------------------


def test_a_lease_ends_at_its_moment_though_nobody_looks(
    board: SimulatedBoard, clock: SimulatedClock
) -> None:
    plant = board.plants["lager"]
    with board.relays as relays:
        wait(clock, 100.0)
        relays.drive({COOLER: True, HEATER: False}, 130.5)
        assert plant.runs(Duty.COOL)
        wait(clock, 5 * 3600.0)
        assert relays.expired() == (COOLER,)
        assert relays.expired() == ()
        assert not relays.states()[COOLER].on
        plant.advance_to(clock.true_utc_s)
        assert plant.running_s[Duty.COOL] == 30.5


def test_a_renewed_lease_goes_on(board: SimulatedBoard, clock: SimulatedClock) -> None:
    plant = board.plants["lager"]
    with board.relays as relays:
        for _ in range(10):
            relays.drive({COOLER: True}, clock.now().mono_s + 30.0)
            wait(clock, 10.0)
        assert relays.expired() == ()
        relays.drive({COOLER: False}, clock.now().mono_s + 30.0)
    assert plant.running_s[Duty.COOL] == 100.0
    assert plant.starts[Duty.COOL] == 1


def test_nothing_goes_on_with_a_lease_that_is_over_already(
    board: SimulatedBoard, clock: SimulatedClock
) -> None:
    with board.relays as relays:
        relays.drive({COOLER: True}, clock.now().mono_s)
        assert relays.expired() == (COOLER,)
        assert not board.plants["lager"].runs(Duty.COOL)


def test_what_goes_off_is_switched_before_what_goes_on(clock: SimulatedClock) -> None:
    switched: list[tuple[Duty, bool]] = []

    class Watched(SimulatedPlant):
        def switch(
            self, duty: Duty, on: bool, at_utc_s: float, until_utc_s: float | None = None
        ) -> None:
            switched.append((duty, on))
            super().switch(duty, on, at_utc_s, until_utc_s)

    plant = Watched(MODEL, beer_c=18.0, ambient_c=lambda _: 22.0, start_utc_s=clock.true_utc_s)
    contacts = {COOLER: Contact(plant, Duty.COOL, False), HEATER: Contact(plant, Duty.HEAT)}
    with SimulatedRelayBank(contacts, clock) as relays:
        relays.drive({COOLER: True, HEATER: False}, 30.0)
        assert relays.states()[COOLER].level is False  # active low
        del switched[:]
        relays.drive({HEATER: True, COOLER: False}, 30.0)
        assert switched == [(Duty.COOL, False), (Duty.HEAT, True)]


def test_a_broken_or_unknown_line_takes_every_line_of_the_call_off(
    board: SimulatedBoard,
) -> None:
    with board.relays as relays:
        relays.drive({COOLER: True}, 100.0)
        relays.break_line(HEATER)
        with pytest.raises(RelayError, match=HEATER):
            relays.drive({COOLER: True, HEATER: True}, 100.0)
        assert not board.plants["lager"].runs(Duty.COOL)
        relays.mend(HEATER)
        with pytest.raises(RelayError, match="nowhere"):
            relays.drive({HEATER: True, "nowhere": True}, 100.0)
        relays.drive({HEATER: True}, 100.0)
        assert board.plants["lager"].runs(Duty.HEAT)
    with pytest.raises(RelayError, match=COOLER):
        relays.drive({COOLER: True}, 100.0)
    assert not board.plants["lager"].runs(Duty.HEAT)


def test_a_fridge_that_hums_without_cooling_draws_current_and_moves_no_heat() -> None:
    plant = plant_at()
    plant.break_load(Duty.COOL, True, 0.0)
    plant.switch(Duty.COOL, True, 0.0)
    plant.advance_to(3600.0)
    assert plant.runs(Duty.COOL)
    assert plant.running_s[Duty.COOL] == 3600.0
    assert plant.cooled_j == 0.0
    plant.break_load(Duty.COOL, False, 3600.0)
    plant.advance_to(7200.0)
    assert plant.cooled_j > 0.0


def test_a_relay_can_be_welded_or_burnt_away_and_says_nothing_of_it(
    board: SimulatedBoard, clock: SimulatedClock
) -> None:
    plant = board.plants["lager"]
    with board.relays as relays:
        relays.stick(HEATER, on=True)
        relays.release_all()
        assert plant.runs(Duty.HEAT)
        assert not relays.states()[HEATER].on
        relays.mend(HEATER)
        assert not plant.runs(Duty.HEAT)
        relays.stick(COOLER, on=False)
        relays.drive({COOLER: True}, 100.0)
        assert not plant.runs(Duty.COOL)
        assert relays.states()[COOLER].on


def test_a_killed_daemon_leaves_its_relay_on_until_the_next_one_comes(
    board: SimulatedBoard, clock: SimulatedClock
) -> None:
    plant = board.plants["lager"]
    relays = board.relays.__enter__()
    relays.drive({COOLER: True}, 30.0)
    relays.kill()
    wait(clock, 3600.0)
    plant.advance_to(clock.true_utc_s)
    assert plant.runs(Duty.COOL)
    with SimulatedRelayBank({COOLER: Contact(plant, Duty.COOL)}, clock) as next_one:
        assert not plant.runs(Duty.COOL)
        assert next_one.expired() == ()


def test_a_power_cut_stops_everything_even_a_welded_relay(
    board: SimulatedBoard, clock: SimulatedClock
) -> None:
    plant = board.plants["lager"]
    relays = board.relays.__enter__()
    relays.stick(HEATER, on=True)
    relays.drive({COOLER: True}, 1000.0)
    wait(clock, 50.0)
    board.power_cut(3600.0)
    assert clock.now().mono_s == 0.0
    assert plant.running_s[Duty.COOL] == 50.0
    assert plant.running_s[Duty.HEAT] == 50.0
    assert plant.runs(Duty.HEAT)  # the weld is still there
    assert not plant.runs(Duty.COOL)
    with board.relays as again, board.probes as probes:
        again.drive({COOLER: True}, 30.0)
        assert [one.taken_mono_s for one in probes.take()[VESSEL]] == [0.0]
        wait(clock, 60.0)
        assert again.expired() == (COOLER,)
    assert plant.running_s[Duty.COOL] == 80.0


def test_everything_can_be_released_again_and_again(board: SimulatedBoard) -> None:
    board.relays.release_all()
    with board.relays as relays:
        relays.drive({COOLER: True}, 100.0)
        relays.release_all()
        relays.release_all()
        assert not board.plants["lager"].runs(Duty.COOL)


# --- whole boards ----------------------------------------------------------------------------


@pytest.mark.parametrize("volume_l", [1.0, 20.0, 5000.0])
@pytest.mark.parametrize("original_extract_p", [0.0, 12.0, 30.0])
def test_every_trial_that_a_site_file_allows_cools_and_warms_its_beer(
    volume_l: float, original_extract_p: float, clock: SimulatedClock
) -> None:
    trial = replace(
        SimulatedSettings(),
        volume_l=volume_l,
        original_extract_p=original_extract_p,
        cooler_w=10.0 * volume_l,
        heater_w=10.0 * min(volume_l, 1000.0),
    )
    wiring = ChamberWiring(VESSEL, AIR, (), {Duty.COOL: COOLER, Duty.HEAT: HEATER})
    board = simulated_board({"one": wiring}, trial, PERIOD_S, clock)
    plant, start_s = board.plants["one"], clock.true_utc_s
    plant.switch(Duty.COOL, True, start_s)
    cold_c = plant.advance_to(start_s + 6 * 3600.0).beer_c
    plant.switch(Duty.COOL, False, start_s + 6 * 3600.0)
    plant.switch(Duty.HEAT, True, start_s + 6 * 3600.0)
    warm_c = plant.advance_to(start_s + 12 * 3600.0).beer_c
    assert cold_c < trial.start_c
    assert warm_c > cold_c


def test_the_example_in_the_documentation_runs() -> None:
    result = doctest.testmod(simulated_clock)
    assert result.attempted > 0
    assert result.failed == 0
