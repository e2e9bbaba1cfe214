"""The best possible is really the best, and is really possible."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from random import Random

import numpy as np
import pytest
from best_possible import (
    Effort,
    NotPassed,
    Sequence,
    best_possible,
    best_sequence,
    really_run,
    sequence,
)
from block_plant import Action, BlockPlant
from figures import figures
from onoff_search import AirAndFreezing, Standing, search
from output_locks import Locks
from plants import wired
from scenario import DAY_S, HOUR_S, Door, Leg, Scenario

from fermd.control.protection import History, Surroundings, protect
from fermd.control.settings import ChamberSettings, Duty
from fermd.physics.ambient import ConstantAmbient, DayNightAmbient
from fermd.physics.fermentation import Batch, FermentationModel
from fermd.physics.network import AirFilms, Network
from fermd.physics.parameters import ChamberParameters
from fermd.physics.thermal import Drive, ThermalModel, ThermalState
from fermd.planning.witness import Witness

QUICK = Effort(300.0, 200)


def fridge(plan: tuple[Leg, ...], start_c: float, volume_l: float = 20.0) -> Scenario:
    return Scenario(
        "fridge",
        "A fridge in a room with day and night",
        ThermalModel(ChamberParameters.for_batch(volume_l=volume_l)),
        wired(),
        DayNightAmbient(22.0, 3.0).temp_c,
        start_c,
        plan,
    )


def rms_c(scenario: Scenario, sequence: Sequence) -> float:
    target_c = [scenario.target_c(60.0 * (at + 1)) for at in range(sequence.beer_c.size)]
    return float(np.sqrt(np.mean(np.square(sequence.beer_c - np.array(target_c)))))


# Against everything that could have been done.


def passed_sequences(
    settings: ChamberSettings, blocks: int, block_s: float
) -> Iterator[list[Action]]:
    """Every sequence that the real protection lets through as it is, by trying them all."""
    duties = {Duty.COOL: Action.COOL, Duty.HEAT: Action.HEAT}

    def onward(done: list[Action], before: dict[Duty, History]) -> Iterator[list[Action]]:
        if len(done) == blocks:
            yield done
            return
        for action in Action:
            histories = dict(before)
            for duty in sorted(duties, key=lambda each: not before[each].on):
                other = histories[Duty.HEAT if duty is Duty.COOL else Duty.COOL]
                around = Surroundings((), other.on, other.stopped_mono_s, settings.changeover_s)
                wanted = duties[duty] is action
                made = protect(
                    histories[duty], settings.by_duty[duty], wanted, around, len(done) * block_s
                )
                if made.on is not wanted:
                    break
                histories[duty] = made.history
            else:
                yield from onward([*done, action], histories)

    return onward([], dict.fromkeys(duties, History()))


class Costs:
    """The squared error's integral and the starts of sequences, on the thermal model itself."""

    def __init__(self, scenario: Scenario, block_s: float, price: float) -> None:
        self._scenario, self._block_s, self._price = scenario, block_s, price
        start = scenario.model.held(
            Drive(scenario.ambient_c(scenario.start_utc_s)), scenario.start_c
        )
        self._after: dict[tuple[Action, ...], tuple[ThermalState, float]] = {(): (start, 0.0)}

    def of(self, actions: tuple[Action, ...]) -> float:
        """What a sequence costs, K² s."""
        return self._follow(actions)[1]

    def _follow(self, actions: tuple[Action, ...]) -> tuple[ThermalState, float]:
        # Sequences share their beginnings.
        if actions not in self._after:
            scenario, action = self._scenario, actions[-1]
            state, cost = self._follow(actions[:-1])
            if action is not Action.OFF and actions[-2:-1] != (action,):
                cost += self._price
            for minute in range(round(self._block_s / 60.0)):
                at_s = (len(actions) - 1) * self._block_s + minute * 60.0
                ambient_c = scenario.ambient_c(scenario.start_utc_s + at_s)
                cooling, heating = action is Action.COOL, action is Action.HEAT
                drive = Drive(ambient_c, cooling=cooling, heating=heating)
                state, _ = scenario.model.advance(state, drive, 60.0)
                cost += 60.0 * (state.beer_c - scenario.target_c(at_s + 60.0)) ** 2
            self._after[actions] = state, cost
        return self._after[actions]


BLOCK_S, BLOCKS = 900.0, 9


@cache
def everything_allowed() -> list[tuple[Action, ...]]:
    return [tuple(each) for each in passed_sequences(wired(), BLOCKS, BLOCK_S)]


@pytest.mark.parametrize(("start_c", "price"), [(20.3, 5.0), (19.8, 1.0), (20.0, 0.01)])
def test_nothing_among_all_sequences_of_two_hours_is_better(start_c: float, price: float) -> None:
    scenario = fridge((Leg(20.0, BLOCKS * BLOCK_S),), start_c, volume_l=5.0)
    costs = Costs(scenario, BLOCK_S, price)
    least = min(costs.of(actions) for actions in everything_allowed())
    minutes = round(BLOCKS * BLOCK_S / 60.0)
    plant = BlockPlant(scenario, np.zeros(minutes), BLOCK_S)
    locks = Locks(scenario.settings, BLOCK_S)
    found = search(
        plant,
        locks,
        AirAndFreezing(scenario.settings),
        Standing(plant.start, locks.fresh()),
        0,
        np.full(minutes, 20.0),
        price,
        1000,
    )
    assert len(everything_allowed()) > 1000
    own = costs.of(tuple(Action(code) for code in found.actions.tolist()))
    assert own == pytest.approx(least, rel=1e-3)


# Against a closed form.


def drifting_tank() -> Scenario:
    """Beer that warms by 0.1 K/h of itself and cools by 0.3 K/h while cooled: nothing else."""
    beer_j_per_k, tight, room_c = 84_000.0, 1e4, 1000.0
    leak_w = 0.1 / HOUR_S * beer_j_per_k
    still = AirFilms(
        liner_w_per_k=0.0, evaporator_w_per_k=0.0, vessel_w_per_k=1e-6, air_probe_lag_s=60.0
    )
    network = Network(
        air_j_per_k=1e3,
        liner_j_per_k=10.0,
        evaporator_j_per_k=10.0,
        heater_j_per_k=10.0,
        vessel_wall_j_per_k=10.0,
        beer_j_per_k=beer_j_per_k,
        leak_w_per_k=leak_w / (room_c - 10.0),
        gasket_w_per_k=0.0,
        door_w_per_k=0.0,
        still=still,
        stirred=still,
        liner_evaporator_w_per_k=tight,
        liner_vessel_w_per_k=tight,
        heater_vessel_w_per_k=tight,
        heater_air_w_per_k=1e-6,
        vessel_beer_w_per_k=tight,
        cooling_at_0c_w=4.0 * leak_w,
        cooling_w_per_k=0.0,
        compressor_w=50.0,
        heater_w=0.0,
        fan_w=0.0,
        vessel_probe_lag_s=60.0,
        vessel_probe_beer_share=1.0,
        vessel_probe_air_share=0.0,
    )
    settings = wired(air=False)
    cools = tuple(output for output in settings.outputs if output.duty is Duty.COOL)
    return Scenario(
        "tank",
        "A tank that only drifts",
        ThermalModel(network),
        replace(settings, outputs=cools),
        ConstantAmbient(room_c).temp_c,
        10.0,
        (Leg(10.0, 2 * DAY_S),),
    )


@pytest.mark.parametrize("starts_a_day", [6.0, 12.0])
def test_a_drifting_tank_is_held_by_the_centred_sawtooth(starts_a_day: float) -> None:
    """A sawtooth of swing w about its mean has an RMS of w/√12 (uniform distribution).

    Up at a, down at b, N times a day: w = P a b / (a + b) with P = 24 h / N. By Jensen no other
    course with N starts is nearer: each cycle's error grows with the cube of its length.
    """
    scenario = drifting_tank()
    found = best_sequence(scenario, starts_a_day, QUICK, QUICK)
    assert 0.9 * starts_a_day * 2 <= found.starts <= starts_a_day * 2
    swing_c = 48.0 / found.starts * 0.1 * 0.3 / (0.1 + 0.3)
    assert rms_c(scenario, found) == pytest.approx(swing_c / 12**0.5, rel=0.04)


# What protection says.


def test_the_locks_of_the_search_are_those_of_protection() -> None:
    """Two days of switching by chance, every choice asked of both."""
    settings, chance, block_s = wired(), Random(4), 60.0
    locks, outputs = Locks(settings, block_s), settings.by_duty
    book = locks.fresh()
    histories = dict.fromkeys((Duty.COOL, Duty.HEAT), History())
    duties = {Action.COOL: Duty.COOL, Action.HEAT: Duty.HEAT}
    asked = {True: 0, False: 0}
    for block in range(2880):
        now_s = block * block_s
        free: list[Action] = []
        for action in locks.actions:
            passes = True
            after = dict(histories)
            for duty in sorted(after, key=lambda each: not histories[each].on):
                other = after[Duty.HEAT if duty is Duty.COOL else Duty.COOL]
                around = Surroundings((), other.on, other.stopped_mono_s, settings.changeover_s)
                wanted = duties.get(action) is duty
                made = protect(after[duty], outputs[duty], wanted, around, now_s)
                after[duty] = made.history
                passes = passes and made.on is wanted
            assert bool(locks.may(book, action, now_s)[0]) is passes, (block, action)
            asked[passes] += 1
            free += [action] if passes else []
        # Rather a change than none, so that the starts of an hour are used up at times.
        running = next(
            (action for action, duty in duties.items() if histories[duty].on), Action.OFF
        )
        changes = [action for action in free if action is not running]
        chosen = chance.choice(changes if changes and chance.random() < 0.7 else free)
        book, _ = locks.follow(book, chosen, now_s)
        for duty in sorted(histories, key=lambda each: not histories[each].on):
            other = histories[Duty.HEAT if duty is Duty.COOL else Duty.COOL]
            around = Surroundings((), other.on, other.stopped_mono_s, settings.changeover_s)
            wanted = duties.get(chosen) is duty
            histories[duty] = protect(histories[duty], outputs[duty], wanted, around, now_s).history
    assert min(asked.values()) > 1000


def test_a_crash_with_free_starts_passes_protection_and_the_witness() -> None:
    plan = (Leg(20.0, 6 * HOUR_S), Leg(16.0, 10 * HOUR_S, settle_s=8 * HOUR_S))
    scenario = replace(
        fridge(plan, 20.0),
        fermentation=FermentationModel(Batch(20.0)),
        doors=(Door(2 * HOUR_S + 17.0, 95.0), Door(13 * HOUR_S + 40.0, 60.0)),
    )
    trace = best_possible(scenario, 3, None, coarse=QUICK, fine=Effort(60.0, 150))
    witness = Witness(scenario.settings, -HOUR_S, scenario.period_s)
    for at_s, cool, heat, beer_c, air_c in zip(
        trace.t_s.tolist(),
        trace.cool_on.tolist(),
        trace.heat_on.tolist(),
        trace.vessel_probe_c.tolist(),
        trace.air_probe_c.tolist(),
        strict=True,
    ):
        witness.sees(at_s, {Duty.COOL: cool, Duty.HEAT: heat}, beer_c, air_c)
    assert witness.broken == []
    assert trace.cool_starts_s.size > 5
    assert figures(scenario, trace).rms_c < 0.05


def test_a_sequence_that_protection_changes_is_not_passed() -> None:
    scenario = fridge((Leg(20.0, HOUR_S),), 20.0)
    hasty = np.array([Action.COOL, Action.OFF] * 30, dtype=np.int8)
    with pytest.raises(NotPassed, match="was planned"):
        really_run(scenario, 1, Sequence(60.0, hasty, np.zeros(60), 0.0))


# What was planned is what comes, and what finer search would bring.


def test_the_beer_comes_as_it_was_planned() -> None:
    scenario = replace(
        fridge((Leg(19.0, DAY_S),), 19.5), doors=(Door(5 * HOUR_S + 17.0, 95.0),), fan_always=True
    )
    planned = best_sequence(scenario, None, QUICK, QUICK)
    trace = really_run(scenario, 1, planned)
    assert trace.beer_c[6::6] == pytest.approx(planned.beer_c[:-1], abs=1e-6)


def test_more_starts_hold_better_and_fewer_are_never_exceeded() -> None:
    scenario = fridge((Leg(18.0, DAY_S),), 18.0)
    few, many = (best_sequence(scenario, most, QUICK, QUICK) for most in (6.0, 18.0))
    free = best_sequence(scenario, None, QUICK, QUICK)
    assert few.starts <= 6 < many.starts <= 18
    assert rms_c(scenario, few) > 1.5 * rms_c(scenario, many) > 1.5 * rms_c(scenario, free)


def test_twice_the_nodes_bring_less_than_three_percent() -> None:
    scenario, price = fridge((Leg(18.0, 2 * DAY_S),), 18.0), 40.0
    costs = []
    for nodes in (300, 600):
        found = sequence(scenario, np.zeros(2880), price, Effort(300.0, nodes))
        costs.append(rms_c(scenario, found) ** 2 * scenario.lasts_s + price * found.starts)
    assert costs[1] == pytest.approx(costs[0], rel=0.03)
