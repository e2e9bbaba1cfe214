"""Batches with planted faults: each raises its own alarm, and no promise is broken by any.

Faults happen in the middle of a batch at work, to the hardware behind the ports or to the power.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from batch_rig import (
    AIR_ID,
    BELT,
    DAY_S,
    FRIDGE,
    HOUR_S,
    PERIOD_S,
    VESSEL_ID,
    Batch,
    broken_promises,
    simulated_site,
)

from fermd.control.events import OutageSeen, StepChange, StepChanged, TrustChanged
from fermd.control.reading import ProbeFault
from fermd.control.reasons import Rule
from fermd.control.settings import Duty
from fermd.control.steps import FinalHold, Hold, Profile, Ramp
from fermd.hardware.simulated import SimulatedProbe, in_air
from fermd.journal.rows import ClockStepped

LAGER = Profile(
    "short lager",
    (
        Hold(10.0, 18 * HOUR_S, "main"),
        Ramp(14.0, 8.0, "to the rest"),
        Hold(14.0, 6 * HOUR_S, "rest"),
        FinalHold(6.0, "cold"),
    ),
)


@pytest.fixture
def batch(tmp_path: Path) -> Batch:
    """A fermentation at work in a room that is warmer than the beer should be."""
    return Batch(tmp_path, simulated_site(ambient_c=19, ambient_swing_c=2, start_c=10))


def promises_of(batch: Batch) -> list[str]:
    return broken_promises(batch.ends(), batch.site)


# --- probes --------------------------------------------------------------------------------------


def breaks(probe_id: str, fault: ProbeFault) -> Callable[[Batch], None]:
    return lambda batch: batch.board.probes.break_probe(probe_id, fault)


def is_silent(probe_id: str) -> Callable[[Batch], None]:
    return lambda batch: batch.board.probes.silence(probe_id)


def shows(probe_id: str, temp_c: float) -> Callable[[Batch], None]:
    return lambda batch: batch.board.probes.freeze(probe_id, temp_c)


LOST = [
    (breaks(VESSEL_ID, ProbeFault.CHECKSUM), "vessel", ProbeFault.CHECKSUM),
    (breaks(VESSEL_ID, ProbeFault.POWER_ON_VALUE), "vessel", ProbeFault.POWER_ON_VALUE),
    (breaks(VESSEL_ID, ProbeFault.DISCONNECTED), "vessel", ProbeFault.DISCONNECTED),
    (breaks(VESSEL_ID, ProbeFault.NO_ANSWER), "vessel", ProbeFault.NO_ANSWER),
    (is_silent(VESSEL_ID), "vessel", ProbeFault.STALE),
    (shows(VESSEL_ID, 85.0), "vessel", ProbeFault.OUT_OF_RANGE),
    (breaks(AIR_ID, ProbeFault.DISCONNECTED), "air", ProbeFault.DISCONNECTED),
    (is_silent(AIR_ID), "air", ProbeFault.STALE),
    (shows(AIR_ID, -55.0), "air", ProbeFault.OUT_OF_RANGE),
]


@pytest.mark.parametrize(
    ("happens", "probe", "fault"), LOST, ids=[f"{probe} {fault.value}" for _, probe, fault in LOST]
)
def test_a_lost_probe_ends_everything_and_is_told_of(
    batch: Batch, happens: Callable[[Batch], None], probe: str, fault: ProbeFault
) -> None:
    batch.pitch(LAGER)
    batch.run_until(lambda decision: any(out.on for out in decision.outputs), within_s=6 * HOUR_S)
    happens(batch)
    batch.run_for(0.5 * HOUR_S)
    assert batch.raised() >= {(f"{probe}-probe-lost", probe)}
    assert not any(batch.plant.runs(duty) for duty in (Duty.HEAT, Duty.COOL))
    batch.board.probes.mend(VESSEL_ID)
    batch.board.probes.mend(AIR_ID)
    batch.run_for(2 * HOUR_S)
    assert batch.starts_after(batch.passed_s - 2 * HOUR_S, Duty.COOL) != []
    assert promises_of(batch) == []
    lost = [one for one in batch.told(TrustChanged) if not one.trusted]
    assert [(one.probe, one.fault) for one in lost] == [(probe, fault)]


def test_a_probe_that_jumps_is_lost_until_its_new_place_is_believed(batch: Batch) -> None:
    """Nobody can tell a probe that was moved from one that lies: it is not wrong for ever."""
    batch.pitch(LAGER)
    batch.run_until(lambda decision: decision.outputs[0].on, within_s=6 * HOUR_S)
    batch.board.probes.freeze(VESSEL_ID, 55.0)
    batch.run_until(lambda decision: not decision.outputs[0].on, within_s=HOUR_S)
    batch.run_for(2 * PERIOD_S)
    assert batch.raised() == {("vessel-probe-lost", "vessel")}
    batch.run_for(HOUR_S)
    assert promises_of(batch) == []
    trusts = [one for one in batch.told(TrustChanged) if one.probe == "vessel"]
    assert [(one.trusted, one.fault) for one in trusts[1:]] == [
        (False, ProbeFault.JUMP),
        (True, None),
    ]


def test_a_value_that_never_moves_is_no_reading(tmp_path: Path) -> None:
    """After a day of the very same value: nothing else tells a frozen probe from a good hold."""
    batch = Batch(tmp_path, simulated_site(ambient_c=19, start_c=10))
    batch.hold(10.0)
    batch.run_for(HOUR_S)
    batch.board.probes.freeze(VESSEL_ID, 10.0)
    waited_s = batch.run_until(lambda _: batch.raised(), within_s=1.5 * DAY_S)
    assert batch.raised() == {("vessel-probe-lost", "vessel")}
    assert waited_s == pytest.approx(DAY_S, abs=0.5 * HOUR_S)
    assert promises_of(batch) == []
    (lost,) = [one for one in batch.told(TrustChanged) if not one.trusted]
    assert lost.fault is ProbeFault.FROZEN


def test_a_probe_that_often_fails_is_told_of_before_it_is_lost(batch: Batch) -> None:
    batch.hold(10.0)
    for _ in range(60):
        batch.board.probes.break_probe(AIR_ID, ProbeFault.CHECKSUM)
        batch.tick()
        batch.board.probes.mend(AIR_ID)
        batch.tick()
        batch.tick()
    assert ("probe-unsteady", "air") in batch.raised()
    assert ("air-probe-lost", "air") not in batch.raised()
    assert promises_of(batch) == []


def test_a_vessel_probe_that_fell_out_of_the_vessel_cools_no_beer_into_ice(batch: Batch) -> None:
    """It shows the air: the air limit and the watcher are what is left."""
    batch.hold(10.0)
    batch.run_for(2 * HOUR_S)
    batch.board.probes.move(VESSEL_ID, SimulatedProbe(batch.plant, in_air))
    batch.run_for(2 * DAY_S)
    assert batch.beer_c > batch.site.settings.chambers[0].limits.coldest_beer_c
    assert promises_of(batch) == []


# --- relays and appliances -----------------------------------------------------------------------


def test_a_fridge_whose_relay_never_closes_has_no_effect(batch: Batch) -> None:
    batch.hold(10.0)
    batch.board.relays.stick(FRIDGE, on=False)
    batch.run_until(lambda _: batch.raised(), within_s=12 * HOUR_S)
    assert batch.raised() == {("no-effect", "fridge")}
    batch.run_for(2 * PERIOD_S)
    assert not batch.board.relays.states()[FRIDGE].on
    batch.board.relays.mend(FRIDGE)
    batch.run_for(6 * HOUR_S)
    assert batch.beer_c == pytest.approx(10.0, abs=1.0)
    assert promises_of(batch) == []


def test_a_fridge_that_stops_cooling_in_the_middle_of_a_crash_is_found(batch: Batch) -> None:
    batch.hold(18.0)
    batch.run_for(HOUR_S)
    batch.hold(2.0)
    batch.run_for(4 * HOUR_S)
    assert batch.plant.runs(Duty.COOL)
    fell_to_c = batch.beer_c
    batch.board.relays.stick(FRIDGE, on=False)
    found_after_s = batch.run_until(
        lambda _: ("no-effect", "fridge") in batch.raised(), within_s=8 * HOUR_S
    )
    assert found_after_s < 4 * HOUR_S
    assert fell_to_c < 12.0
    assert promises_of(batch) == []


def test_a_heater_that_is_not_plugged_in_is_found(tmp_path: Path) -> None:
    batch = Batch(
        tmp_path, simulated_site(ambient_c=5, ambient_swing_c=0, start_c=20, original_extract_p=0)
    )
    batch.hold(20.0)
    batch.board.relays.stick(BELT, on=False)
    batch.run_until(lambda _: ("no-effect", "belt") in batch.raised(), within_s=16 * HOUR_S)
    assert promises_of(batch) == []


def test_a_compressor_whose_contacts_are_welded_is_told_of_as_beer_too_cold(tmp_path: Path) -> None:
    """No relay can end it, and this belt cannot make up for it: all that is left is to say so.

    A thermal cut-out of the brewer's own is what stands between this and ice.
    """
    batch = Batch(tmp_path, simulated_site(ambient_c=19, start_c=12, heater_w=10))
    batch.hold(12.0)
    batch.run_for(HOUR_S)
    batch.board.relays.stick(FRIDGE, on=True)
    batch.run_until(lambda _: ("beer-too-cold", "") in batch.raised(), within_s=3 * DAY_S)
    assert promises_of(batch) == []


def test_a_line_that_cannot_be_driven_is_told_of_and_all_is_off(batch: Batch) -> None:
    batch.pitch(LAGER)
    batch.run_until(lambda decision: any(out.on for out in decision.outputs), within_s=6 * HOUR_S)
    batch.board.relays.break_line(FRIDGE)
    batch.tick()
    batch.tick()
    assert "relay-fault" in batch.site_alarms()
    assert not batch.plant.runs(Duty.COOL)
    batch.board.relays.mend(FRIDGE)
    batch.run_for(2 * HOUR_S)
    assert batch.starts_after(batch.passed_s - 2 * HOUR_S, Duty.COOL) != []
    assert promises_of(batch) == []


def test_a_door_left_open_in_a_warm_room_is_told_of_as_beer_too_warm(tmp_path: Path) -> None:
    """The fridge cools the room: its air is not colder than the beer any more."""
    batch = Batch(
        tmp_path,
        simulated_site(ambient_c=30, ambient_swing_c=0, start_c=5, original_extract_p=0),
    )
    batch.hold(5.0)
    batch.run_for(2 * HOUR_S)
    batch.plant.set_door(True, batch.clock.true_utc_s)
    batch.run_until(
        lambda _: {alarm for alarm, _ in batch.raised()} & {"beer-too-warm", "no-effect"},
        within_s=2 * DAY_S,
    )
    batch.plant.set_door(False, batch.clock.true_utc_s)
    batch.run_for(12 * HOUR_S)
    assert batch.beer_c < 8.0
    assert promises_of(batch) == []


def test_a_fridge_that_never_gets_there_rests_after_its_longest_run(tmp_path: Path) -> None:
    """A weak fridge at work without end: not without effect, but iced."""
    batch = Batch(
        tmp_path,
        simulated_site(ambient_c=28, ambient_swing_c=0, start_c=20, cooler_w=35),
    )
    batch.hold(2.0)
    batch.run_until(lambda _: batch.raised(), within_s=12 * HOUR_S)
    assert batch.raised() == {("longest-run", "fridge")}
    batch.run_for(2 * HOUR_S)
    assert promises_of(batch) == []


# --- power and clocks ----------------------------------------------------------------------------


@pytest.mark.parametrize("wall_survives", [True, False], ids=["battery clock", "no battery clock"])
def test_a_power_cut_in_the_middle_loses_no_step_and_starts_no_compressor_early(
    batch: Batch, wall_survives: bool
) -> None:
    batch.pitch(LAGER)
    batch.run_until(lambda decision: any(out.on for out in decision.outputs), within_s=6 * HOUR_S)
    batch.run_for(4 * HOUR_S)
    batch.run_until(lambda decision: decision.outputs[0].on, within_s=6 * HOUR_S)
    cut_s = batch.passed_s
    batch.power_cut(2 * HOUR_S, wall_survives=wall_survives)
    assert not any(batch.plant.runs(duty) for duty in Duty)
    batch.run_for(900.0)
    if wall_survives:
        assert "outage" in batch.site_alarms()
    else:
        assert "clock-not-set" in batch.site_alarms()
    first = batch.starts_after(cut_s, Duty.COOL)
    assert all(at_h * HOUR_S >= cut_s + 2 * HOUR_S + 300.0 for at_h in first)
    batch.clock.vouch_for_wall(True)
    batch.run_until(
        lambda decision: decision.outlook is not None and decision.outlook.kind == "final-hold",
        within_s=3 * DAY_S,
    )
    batch.run_for(6 * HOUR_S)
    assert promises_of(batch) == []
    entered = [one.index for one in batch.told(StepChanged) if one.change is StepChange.ENTERED]
    assert entered == [0, 1, 2, 3]
    (outage,) = batch.told(OutageSeen)
    assert outage.cleanly is False
    if wall_survives:
        assert outage.lasted_s == pytest.approx(2 * HOUR_S, abs=3 * PERIOD_S)


def test_power_cuts_one_after_the_other_never_start_the_compressor_too_often(batch: Batch) -> None:
    """A thunderstorm: eight cuts within two hours."""
    batch.hold(2.0)
    for _ in range(8):
        batch.run_for(780.0)
        batch.power_cut(30.0)
    batch.run_for(2 * HOUR_S)
    starts_s = [at_h * HOUR_S for at_h in batch.starts_after(0.0, Duty.COOL)]
    assert starts_s != []
    for start_s in starts_s:
        assert sum(start_s <= other < start_s + HOUR_S for other in starts_s) <= 6
    assert promises_of(batch) == []


def test_an_orderly_restart_is_told_and_repeats_nothing(batch: Batch) -> None:
    batch.pitch(LAGER)
    batch.run_for(6 * HOUR_S)
    batch.restart()
    batch.run_for(2 * DAY_S)
    assert promises_of(batch) == []
    entered = [one.index for one in batch.told(StepChanged) if one.change is StepChange.ENTERED]
    assert entered == [0, 1, 2, 3]
    (outage,) = batch.told(OutageSeen)
    assert outage.cleanly is True


@pytest.mark.parametrize("by_s", [-3 * HOUR_S, 3 * HOUR_S, 400 * DAY_S], ids=str)
def test_a_step_of_the_wall_clock_moves_no_step_and_no_lock(batch: Batch, by_s: float) -> None:
    batch.pitch(LAGER)
    batch.run_until(lambda decision: decision.outputs[0].on, within_s=6 * HOUR_S)
    began_s = batch.passed_s
    batch.clock.step_wall(by_s)
    batch.tick()
    batch.tick()
    assert "clock-stepped" in batch.site_alarms()
    batch.run_until(
        lambda decision: decision.outlook is not None and decision.outlook.index == 1,
        within_s=20 * HOUR_S,
    )
    assert batch.passed_s - began_s <= 18 * HOUR_S
    batch.run_for(6 * HOUR_S)
    assert promises_of(batch) == []
    (stepped,) = batch.told(ClockStepped)
    assert stepped.by_s == pytest.approx(by_s)
    record = batch.record()
    assert all(run.end_s is not None and run.end_s > run.start_s for run in record.runs)
    # The first tick came later than a period after the start, and nothing came after the end.
    assert record.end_s - record.start_s == pytest.approx(batch.passed_s, abs=3 * PERIOD_S)


def test_a_batch_with_every_fault_in_turn_keeps_every_promise(tmp_path: Path) -> None:
    """The worst week of a brewer's life."""
    batch = Batch(tmp_path, simulated_site(ambient_c=22, ambient_swing_c=6, start_c=10))
    batch.pitch(replace(LAGER, steps=(Hold(10.0, 3 * DAY_S, "main"), *LAGER.steps[1:])))
    probes, relays, clock = batch.board.probes, batch.board.relays, batch.clock
    for number in range(2):
        batch.run_for(5 * HOUR_S)
        probes.break_probe(VESSEL_ID, ProbeFault.CHECKSUM)
        batch.run_for(HOUR_S)
        probes.mend(VESSEL_ID)
        clock.step_wall(-7200.0)
        batch.run_for(3 * HOUR_S)
        probes.silence(AIR_ID)
        batch.run_for(HOUR_S)
        batch.power_cut(1200.0, wall_survives=number == 0)
        batch.run_for(HOUR_S)
        probes.mend(AIR_ID)
        clock.vouch_for_wall(True)
        relays.stick(FRIDGE, on=False)
        batch.run_for(6 * HOUR_S)
        relays.mend(FRIDGE)
        clock.step_wall(7200.0)
        batch.plant.set_door(True, clock.true_utc_s)
        batch.run_for(2 * HOUR_S)
        batch.plant.set_door(False, clock.true_utc_s)
        batch.restart()
        relays.break_line(BELT)
        batch.run_for(HOUR_S)
        relays.mend(BELT)
    batch.run_until(
        lambda decision: decision.outlook is not None and decision.outlook.kind == "final-hold",
        within_s=8 * DAY_S,
    )
    assert promises_of(batch) == []
    assert {alarm for alarm, _ in batch.raised()} >= {
        "vessel-probe-lost",
        "air-probe-lost",
        "no-effect",
    }
    rules = {change.reasons[0].rule for _, change in batch.switched if not change.on}
    assert rules >= {Rule.COASTS, Rule.NO_EFFECT}
    assert rules & {Rule.FAIL_SAFE, Rule.AIR_UNKNOWN}
