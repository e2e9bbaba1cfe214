"""The control loop between its ports: what it does when they fail, are late, or lie."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, example, given, settings
from hypothesis import strategies as st
from loop_rig import (
    AIR_ID,
    BELT,
    FRIDGE,
    MINIMUM_OFF_S,
    PERIOD_S,
    SITE,
    TROUBLED,
    VESSEL_ID,
    Rig,
    edges,
    site_file,
)

from fermd.control.commands import AcknowledgeAlarm, OverrideOutput, SetTarget, StartProfile
from fermd.control.events import (
    AlarmChanged,
    CommandAnswered,
    GapSeen,
    OutageSeen,
    OutputChanged,
    StepChange,
    StepChanged,
)
from fermd.control.moment import Moment
from fermd.control.reading import Trusted, Untrusted
from fermd.control.reasons import Rule
from fermd.control.settings import Duty
from fermd.control.steps import Hold, Profile
from fermd.hardware.simulated_clock import SimulatedClock
from fermd.journal.rows import ClockStepped
from fermd.review.invariants import violations
from fermd.service.daemon import wiring


@pytest.fixture
def rig(tmp_path: Path) -> Iterator[Rig]:
    board = Rig(tmp_path)
    yield board
    board.journal.close(board.clock.now(), cleanly=True)


def cooling(rig: Rig) -> Rig:
    """A chamber whose fridge has just started, on a board whose past is long known."""
    rig.settle(18.0)
    rig.warm_to(20.0)
    rig.run_until(lambda: rig.cooling)
    return rig


def reasons(rig: Rig, line: str) -> list[tuple[bool, Rule]]:
    changes = [h for h in rig.told(OutputChanged) if h.line == line]
    return [(h.on, h.reasons[0].rule) for h in changes]


# What the loop is for.


def test_relays_and_journal_follow_the_beer(rig: Rig) -> None:
    rig.settle(18.0)
    rig.warm_to(20.0)
    rig.run_until(lambda: rig.cooling)
    rig.warm_to(18.0)
    rig.run_until(lambda: not rig.cooling)
    rig.warm_to(16.0)
    rig.run_until(lambda: rig.heating)
    assert not rig.cooling
    assert reasons(rig, FRIDGE)[:1] == [(True, Rule.ABOVE_BAND)]
    assert edges(rig.rows(), FRIDGE) == [True, False]
    assert edges(rig.rows(), BELT) == [True]


def test_until_the_probe_has_earned_its_trust_nothing_is_on(rig: Rig) -> None:
    rig.warm_to(40.0)
    snapshot = rig.tick()
    assert isinstance(snapshot.chambers["lager"].decision.vessel, Untrusted)
    assert not rig.cooling
    assert not rig.heating


def test_a_probe_that_is_missing_at_the_start_is_told_and_taken_up_when_it_appears(
    rig: Rig,
) -> None:
    rig.lose(VESSEL_ID)
    rig.ask(SetTarget(10.0, "test"))
    snapshot = rig.run_for(2 * 3600.0)
    raised = {alarm.kind.value: alarm for alarm in snapshot.chambers["lager"].decision.alarms}
    assert raised["vessel-probe-lost"].subject == "vessel"
    assert edges(rig.rows(), FRIDGE) == []
    rig.board.probes.mend(VESSEL_ID)
    rig.warm_to(20.0)
    rig.run_until(lambda: rig.cooling, within_s=120.0)
    assert isinstance(rig.snapshot.decision_of("lager").vessel, Trusted)


def test_a_probe_that_is_lost_on_the_way_takes_the_fridge_off(rig: Rig) -> None:
    cooling(rig).lose(VESSEL_ID)
    rig.run_until(lambda: not rig.cooling, within_s=300.0)
    assert reasons(rig, FRIDGE)[-1] == (False, Rule.FAIL_SAFE)


# Whatever ends it, the relays are off.


def test_a_stop_leaves_every_relay_off_and_says_so(rig: Rig) -> None:
    cooling(rig)
    rig.loop.stop()
    rig.loop.run()
    assert not rig.cooling
    assert reasons(rig, FRIDGE)[-1] == (False, Rule.STOPPING)


def fail(*_: object, **__: object) -> Any:
    raise ZeroDivisionError(TROUBLED)


def in_the_probes(rig: Rig) -> None:
    rig.board.probes.take = fail  # type: ignore[method-assign]


def in_the_relays(rig: Rig) -> None:
    rig.board.relays.drive = fail  # type: ignore[method-assign]


def in_the_lease(rig: Rig) -> None:
    rig.board.relays.expired = fail  # type: ignore[method-assign]


def in_the_journal(rig: Rig) -> None:
    rig.journal.readings = fail  # type: ignore[method-assign]


def after_the_tick(rig: Rig) -> None:
    rig.after_tick = fail


def in_the_wait(rig: Rig) -> None:
    rig.clock.wait_until = fail  # type: ignore[method-assign]


@pytest.mark.parametrize(
    "plant",
    [in_the_probes, in_the_relays, in_the_lease, in_the_journal, after_the_tick, in_the_wait],
)
def test_an_exception_anywhere_in_a_tick_ends_the_loop_with_every_relay_off(
    rig: Rig, plant: Callable[[Rig], None]
) -> None:
    cooling(rig)
    plant(rig)
    waiting = rig.loop.requests.ask("lager", SetTarget(5.0))
    with pytest.raises(ZeroDivisionError, match=TROUBLED):
        rig.loop.run()
    assert not rig.cooling
    assert edges(rig.rows(), FRIDGE)[-2:] == [True, False]
    # Whoever asked in that tick does not wait for an answer that is not coming.
    assert not waiting.wait(0.0).from_loop or plant in (after_the_tick, in_the_wait)


def test_a_start_that_broke_off_before_its_relay_was_driven_is_not_on_record_as_a_stop(
    rig: Rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    rig.settle(18.0)
    rig.warm_to(20.0)
    real = rig.board.relays.drive

    def breaks_off(on_by_line: dict[str, bool], lease_until_mono_s: float) -> None:
        assert not any(on_by_line.values()), TROUBLED
        real(on_by_line, lease_until_mono_s)

    monkeypatch.setattr(rig.board.relays, "drive", breaks_off)
    with pytest.raises(AssertionError, match=TROUBLED):
        rig.loop.run()
    assert rig.history(Duty.COOL).starts_mono_s
    assert edges(rig.rows(), FRIDGE) == []


def test_a_line_that_was_taken_away_while_on_has_not_started_in_a_tick_that_breaks_off(
    rig: Rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    cooling(rig)
    rig.board.relays.break_line(FRIDGE)
    rig.run_for(20.0)
    assert edges(rig.rows(), FRIDGE) == [True, False]
    real = rig.board.relays.drive

    def breaks_off(on_by_line: dict[str, bool], lease_until_mono_s: float) -> None:
        if rig.history(Duty.COOL).on:
            raise ZeroDivisionError(TROUBLED)
        real(on_by_line, lease_until_mono_s)

    monkeypatch.setattr(rig.board.relays, "drive", breaks_off)
    with pytest.raises(ZeroDivisionError, match=TROUBLED):
        rig.loop.run()
    assert edges(rig.rows(), FRIDGE) == [True, False]


@pytest.mark.parametrize("when", ["before", "after"])
def test_a_stop_is_on_record_whether_its_tick_broke_off_before_or_after_the_relay_was_driven(
    rig: Rig, monkeypatch: pytest.MonkeyPatch, when: str
) -> None:
    cooling(rig)
    rig.run_for(300.0)
    rig.warm_to(12.0)
    real = rig.board.relays.drive

    def breaks_off(on_by_line: dict[str, bool], lease_until_mono_s: float) -> None:
        stops = on_by_line.get(FRIDGE) is False
        if not stops or when == "after":
            real(on_by_line, lease_until_mono_s)
        if stops:
            raise ZeroDivisionError(TROUBLED)

    monkeypatch.setattr(rig.board.relays, "drive", breaks_off)
    with pytest.raises(ZeroDivisionError, match=TROUBLED):
        rig.loop.run()
    assert not rig.cooling
    assert edges(rig.rows(), FRIDGE) == [True, False]


def test_a_step_that_ended_in_a_tick_that_broke_off_is_on_record(rig: Rig) -> None:
    rig.settle(18.0)
    profile = Profile("two", (Hold(18.0, 300.0), Hold(17.0, 600.0)))
    assert rig.ask(StartProfile(profile, "Ann")).taken
    while rig.snapshot.decision_of("lager").outlook.elapsed_s < 300.0 - PERIOD_S - 1.0:
        rig.tick()
    assert not [one for one in rig.told(StepChanged) if one.change is StepChange.ENDED]
    rig.let_pass(PERIOD_S)
    in_the_journal(rig)
    with pytest.raises(ZeroDivisionError, match=TROUBLED):
        rig.loop.run()
    rig.restart(cleanly=False)
    rig.tick()
    assert rig.snapshot.decision_of("lager").outlook.index == 1
    assert [one.index for one in rig.told(StepChanged) if one.change is StepChange.ENDED] == [0]


# Relays that go off by themselves.


def test_a_loop_that_was_late_hears_of_its_relays_before_it_decides(rig: Rig) -> None:
    cooling(rig)
    rig.let_pass(rig.site.lease_s + 60.0)
    assert not rig.cooling
    late_s = rig.now_s
    rig.loop.tick()
    assert not rig.cooling
    assert reasons(rig, FRIDGE)[-1] == (False, Rule.LEASE_EXPIRED)
    assert rig.alarms()["lease-expired"] == "raised"
    assert rig.history(Duty.COOL).stopped_mono_s == late_s
    waited_s = rig.run_until(lambda: rig.cooling)
    assert waited_s >= MINIMUM_OFF_S


ON_ONE_SUPPLY = SITE.replace(
    'duty = "cool"\n', 'duty = "cool"\ncircuit = "wall"\nrated_a = 1.5\n'
).replace(
    "[simulated]",
    """\
[probe.ale]
id = "28-000006b67846"
jump_c = 50
frozen_s = 0

[output.cooler]
gpio = 22
active = "low"
duty = "cool"
circuit = "wall"
rated_a = 1.5

[chamber.ale]
vessel_probe = "ale"
outputs = ["cooler"]

[circuit.wall]
limit_a = 2.0

[simulated]""",
)


def test_what_let_go_is_told_before_what_starts_on_the_supply_that_it_has_left(
    tmp_path: Path,
) -> None:
    rig = Rig(tmp_path, ON_ONE_SUPPLY)
    cooler = "sim:22"
    rig.board.probes.freeze("28-000006b67846", 20.0)
    rig.settle(18.0)
    assert rig.ask(SetTarget(18.0, "test"), chamber="ale").taken
    rig.run_until(lambda: rig.on(cooler))
    rig.warm_to(20.0)
    rig.run_for(120.0)
    assert not rig.cooling
    # The loop is late, the cooler lets go by itself, and the fridge may start in the next tick.
    rig.let_pass(rig.site.lease_s + 60.0)
    rig.loop.tick()
    assert rig.cooling
    told = [(h.line, h.on) for h in rig.told(OutputChanged)]
    assert told[-2:] == [(cooler, False), (FRIDGE, True)]
    assert violations(rig.site.journal_path, rig.site.settings) == []
    rig.end()


def test_a_reading_that_comes_while_a_tick_begins_is_not_younger_than_what_it_decides(
    rig: Rig,
) -> None:
    take = rig.board.probes.take
    newest_s: list[float] = []

    def late() -> Any:
        rig.let_pass(1.5 * PERIOD_S)
        found = take()
        newest_s.append(max(sample.taken_mono_s for one in found.values() for sample in one))
        return found

    rig.board.probes.take = late  # type: ignore[method-assign]
    for _ in range(3):
        snapshot = rig.tick()
        assert snapshot.moment.mono_s >= newest_s[-1]


def test_a_tick_that_outlasts_the_lease_starts_nothing_and_tells_of_no_start(rig: Rig) -> None:
    rig.settle(18.0)
    told_before = edges(rig.rows(), FRIDGE)
    expired = rig.board.relays.expired

    def slowly() -> Any:
        found = expired()
        rig.let_pass(rig.site.lease_s + 1.0)
        return found

    rig.board.relays.expired = slowly  # type: ignore[method-assign]
    rig.warm_to(20.0)
    for _ in range(6):
        rig.tick()
        assert not rig.cooling
    assert rig.alarms()["lease-expired"] == "raised"
    # A relay that never went on has no run in the record, and the call for it is not forgotten.
    assert edges(rig.rows(), FRIDGE) == told_before
    rig.board.relays.expired = expired  # type: ignore[method-assign]
    off_s = rig.history(Duty.COOL).stopped_mono_s
    rig.run_until(lambda: rig.cooling)
    assert rig.now_s - off_s >= MINIMUM_OFF_S
    assert edges(rig.rows(), FRIDGE) == [*told_before, True]


def test_a_tick_that_outlasts_the_lease_ends_what_ran_and_counts_from_then(rig: Rig) -> None:
    cooling(rig)
    expired = rig.board.relays.expired

    def slowly() -> Any:
        rig.let_pass(rig.site.lease_s + 1.0)
        return expired()

    rig.board.relays.expired = slowly  # type: ignore[method-assign]
    rig.tick()
    rig.board.relays.expired = expired  # type: ignore[method-assign]
    assert not rig.cooling
    assert reasons(rig, FRIDGE)[-1] == (False, Rule.LEASE_EXPIRED)
    assert rig.history(Duty.COOL).stopped_mono_s == rig.now_s
    # Once is enough, though the relay tells of it again in the next tick.
    rig.tick()
    assert edges(rig.rows(), FRIDGE)[-2:] == [True, False]
    assert rig.run_until(lambda: rig.cooling) >= MINIMUM_OFF_S - PERIOD_S


def test_a_line_that_cannot_be_driven_takes_the_chamber_off_with_an_alarm(rig: Rig) -> None:
    rig.settle(18.0)
    rig.board.relays.break_line(FRIDGE)
    rig.warm_to(20.0)
    rig.run_until(lambda: rig.history(Duty.COOL).starts_mono_s[-1] == rig.now_s)
    assert not rig.cooling
    # It was to be started, and was not: there is nothing to tell of it but the alarm.
    assert reasons(rig, FRIDGE) == []
    assert rig.alarms()["relay-fault"] == "raised"
    rig.board.relays.mend(FRIDGE)
    waited_s = rig.run_until(lambda: rig.cooling)
    assert waited_s >= MINIMUM_OFF_S - PERIOD_S
    # It is latched: it waits for somebody to look at the relay.
    assert rig.alarms()["relay-fault"] == "raised"
    assert rig.ask(AcknowledgeAlarm("relay-fault", FRIDGE, "anna"), chamber="").taken
    assert "relay-fault" not in rig.alarms()


def test_a_line_that_breaks_while_it_is_on_is_on_record_as_off(rig: Rig) -> None:
    cooling(rig)
    rig.board.relays.break_line(FRIDGE)
    rig.tick()
    assert reasons(rig, FRIDGE) == [(True, Rule.ABOVE_BAND), (False, Rule.RELAY_FAULT)]


def test_a_relay_that_cannot_be_driven_off_is_the_one_that_is_told_of(rig: Rig) -> None:
    cooling(rig)
    rig.board.relays.break_line(BELT)
    rig.run_until(lambda: rig.alarms().get("relay-fault"))
    (alarm,) = rig.seen[-1].site_alarms
    assert alarm.subject == BELT
    assert not rig.cooling


TWO_CHAMBERS = SITE.replace(
    "[simulated]",
    """\
[probe.bucket]
id = "28-00000aaaaaaa"

[output.mat]
gpio = 22
active = "low"
duty = "heat"

[chamber.ale]
vessel_probe = "bucket"
outputs = ["mat"]

[simulated]""",
)


def test_a_relay_that_fails_in_one_chamber_leaves_the_other_chamber_alone(tmp_path: Path) -> None:
    rig = cooling(Rig(tmp_path, TWO_CHAMBERS))
    rig.board.relays.break_line("sim:22")
    rig.run_for(100.0)
    assert rig.cooling
    (alarm,) = rig.seen[-1].site_alarms
    assert (alarm.kind.value, alarm.subject) == ("relay-fault", "sim:22")
    rig.journal.close(rig.clock.now(), cleanly=True)


# The two clocks.


def drive_by_a_temperature(rig: Rig, temps_c: Sequence[float]) -> list[tuple[float, str, bool]]:
    """What the relays do, tick by tick, while the beer follows these temperatures."""
    rig.ask(SetTarget(18.0, "test"))
    seen = []
    for temp_c in temps_c:
        rig.warm_to(temp_c)
        for _ in range(60):
            rig.tick()
            states = rig.board.relays.states()
            seen += [(rig.now_s, line, state.on) for line, state in states.items()]
    return seen


@settings(max_examples=10, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@example(temps_c=[20.0] * 8, steps=[(100, -1, 8.0), (250, 1, 8.0), (251, -1, 2.0)])
@given(
    temps_c=st.lists(st.sampled_from([16.0, 18.0, 20.0]), min_size=6, max_size=12),
    steps=st.lists(
        st.tuples(st.integers(1, 300), st.sampled_from([1, -1]), st.floats(2.0, 8.0)),
        min_size=1,
        max_size=4,
    ),
)
def test_no_step_of_the_wall_clock_moves_any_relay_by_a_second(
    tmp_path_factory: pytest.TempPathFactory,
    temps_c: list[float],
    steps: list[tuple[int, int, float]],
) -> None:
    calm = Rig(tmp_path_factory.mktemp("calm"))
    undisturbed = drive_by_a_temperature(calm, temps_c)
    stepped = Rig(tmp_path_factory.mktemp("stepped"))
    planned = {tick: sign * 10.0**power for tick, sign, power in steps}
    for tick, by_s in planned.items():
        stepped.clock.after(tick * PERIOD_S, lambda by_s=by_s: stepped.clock.step_wall(by_s))
    assert drive_by_a_temperature(stepped, temps_c) == undisturbed
    assert any(on for _, _, on in undisturbed) or temps_c != [20.0] * 8
    told = sorted(round(row.by_s, 3) for row in stepped.told(ClockStepped))
    passed = [by_s for tick, by_s in planned.items() if tick <= 60 * len(temps_c)]
    assert sum(told) == pytest.approx(sum(passed), abs=0.01 * len(passed) + 1e-6 * 1e8)
    for rig in (calm, stepped):
        assert edges(rig.rows(), FRIDGE) == _changes(undisturbed, FRIDGE)
        rig.journal.close(rig.clock.now(), cleanly=True)


def _changes(seen: Sequence[tuple[float, str, bool]], line: str) -> list[bool]:
    was, found = False, []
    for _, one, on in seen:
        if one == line and on != was:
            was = on
            found.append(on)
    return found


@pytest.mark.parametrize("by_s", [100.0, -100.0, 1e4, -1e4, 1e8, -1e8])
def test_a_step_of_the_wall_clock_is_an_event_with_its_size_and_passing_alarm(
    rig: Rig, by_s: float
) -> None:
    rig.run_for(60.0)
    rig.clock.step_wall(by_s)
    rig.tick()
    assert [h.by_s for h in rig.told(ClockStepped)] == [pytest.approx(by_s, abs=1e-3)]
    assert rig.alarms()["clock-stepped"] == "raised"
    rig.run_for(1200.0)
    assert "clock-stepped" not in rig.alarms()


def test_a_clock_that_a_time_service_slews_is_not_called_stepped(tmp_path: Path) -> None:
    # 500 ppm is the most that the kernel slews by (adjtimex(2)).
    rig = Rig(tmp_path, clock=SimulatedClock(drift_ppm=500.0))
    rig.run_for(6 * 3600.0)
    assert rig.told(ClockStepped) == []
    rig.journal.close(rig.clock.now(), cleanly=True)


def test_a_clock_that_is_not_known_to_be_set_is_told_and_holds_up_nothing(tmp_path: Path) -> None:
    rig = Rig(tmp_path, clock=SimulatedClock(0.0, wall_trusted=False))
    cooling(rig)
    assert rig.alarms()["clock-not-set"] == "raised"
    rig.journal.close(rig.clock.now(), cleanly=True)


def test_what_was_missed_is_not_made_up_for_by_a_burst(rig: Rig) -> None:
    late = iter([0.0, 3.0, 250.0, *[0.0] * 5])
    began_s = rig.now_s

    def after_tick(_: object) -> None:
        delay_s = next(late, None)
        if delay_s is None:
            rig.loop.stop()
        else:
            rig.let_pass(delay_s)

    rig.after_tick = after_tick
    rig.loop.run()
    at_s = [snapshot.moment.mono_s - began_s for snapshot in rig.seen]
    assert at_s == pytest.approx([0, 10, 20, 280, 290, 300, 310, 320, 330])


def test_time_in_which_the_loop_did_not_run_is_told_and_does_not_count_for_the_profile(
    rig: Rig,
) -> None:
    rig.run_for(60.0)
    assert rig.ask(StartProfile(Profile("p", (Hold(18.0, 3600.0),)), "anna")).taken
    rig.run_for(600.0)
    rig.let_pass(7200.0)
    rig.loop.tick()
    (gap,) = rig.told(GapSeen)
    assert gap.lasted_s == pytest.approx(7200.0)
    outlook = rig.snapshot.decision_of("lager").outlook
    assert outlook.elapsed_s == pytest.approx(600.0, abs=2 * PERIOD_S)


# Over a restart.


def test_a_quick_orderly_restart_costs_the_fridge_its_minimum_off_time_and_no_more(
    rig: Rig,
) -> None:
    cooling(rig)
    rig.restart(after_s=5.0)
    waited_s = rig.run_until(lambda: rig.cooling)
    assert MINIMUM_OFF_S - 2 * PERIOD_S < waited_s < MINIMUM_OFF_S + 600.0


def test_after_an_end_that_was_none_of_its_own_the_fridge_waits_for_the_worst_case(
    rig: Rig,
) -> None:
    cooling(rig)
    rig.restart(cleanly=False)
    waited_s = rig.run_until(lambda: rig.cooling)
    # As many starts as are allowed may have been used up: 6 an hour, each 480 s after the last.
    assert waited_s >= 3600.0 - 5 * 480.0


def test_a_profile_goes_on_where_it_was_and_no_step_is_repeated_or_skipped(rig: Rig) -> None:
    # Too warm all the time, so that nothing of an outage could count for the step.
    rig.warm_to(24.0)
    rig.run_for(60.0)
    rig.ask(StartProfile(Profile("p", (Hold(18.0, 3000.0), Hold(18.0, 3000.0, "second"))), "anna"))
    for _ in range(5):
        rig.run_for(1000.0)
        rig.restart(after_s=4000.0)
    rig.run_for(2000.0)
    steps = [(h.index, h.change) for h in rig.told(StepChanged)]
    assert steps == [
        (0, StepChange.ENTERED),
        (0, StepChange.ENDED),
        (1, StepChange.ENTERED),
        (1, StepChange.ENDED),
    ]
    for ended in (h for h in rig.told(StepChanged) if h.change is StepChange.ENDED):
        # Never shortened; lengthened by what passed between the last look and the stop.
        assert 3000.0 <= ended.elapsed_s <= 3000.0 + 6 * PERIOD_S


def test_an_outage_is_told_with_its_length_and_how_far_the_beer_drifted(rig: Rig) -> None:
    rig.warm_to(12.0)
    rig.run_for(600.0)
    rig.end()
    rig.let_pass(7200.0)
    rig.warm_to(14.5)
    rig.start()
    rig.run_for(120.0)
    (outage,) = rig.told(OutageSeen)
    assert outage.lasted_s == pytest.approx(7200.0, abs=PERIOD_S)
    assert outage.cleanly
    assert (outage.beer_before_c, outage.beer_after_c) == pytest.approx((12.0, 14.5), abs=0.1)
    assert rig.alarms()["outage"] == "raised"


def cut(rig: Rig, lasted_s: float, *, wall_survives: bool) -> None:
    """Cut the board's power, and start again when it is back."""
    assert rig.journal.flush()
    rig.board.power_cut(lasted_s, wall_survives=wall_survives)
    before = rig.journal
    rig.start()
    before.close(rig.clock.now(), cleanly=False)


def test_after_a_power_cut_the_outage_is_as_long_as_the_wall_clock_says(rig: Rig) -> None:
    rig.warm_to(12.0)
    rig.run_for(600.0)
    cut(rig, 86_400.0, wall_survives=True)
    rig.run_for(60.0)
    (outage,) = rig.told(OutageSeen)
    assert not outage.cleanly
    assert outage.lasted_s == pytest.approx(86_400.0, abs=2 * PERIOD_S)


def test_after_a_power_cut_without_a_clock_nobody_pretends_to_know_how_long_it_was(
    rig: Rig,
) -> None:
    rig.run_for(600.0)
    cut(rig, 86_400.0, wall_survives=False)
    rig.run_for(1800.0)
    (outage,) = rig.told(OutageSeen)
    assert outage.lasted_s is None
    assert rig.alarms()["outage"] == "raised"


def test_after_a_power_cut_the_fridge_waits_for_the_worst_case_and_the_target_stays(
    rig: Rig,
) -> None:
    cooling(rig)
    cut(rig, 3.0, wall_survives=True)
    assert rig.run_until(lambda: rig.cooling) >= 3600.0 - 5 * 480.0
    assert rig.snapshot.decision_of("lager").target.cool_c == 18.0


def test_a_short_restart_is_on_record_but_raises_no_alarm(rig: Rig) -> None:
    rig.run_for(60.0)
    rig.restart(after_s=5.0)
    rig.run_for(120.0)
    assert len(rig.told(OutageSeen)) == 1
    assert "outage" not in rig.alarms()


def test_an_outage_is_told_even_if_the_beer_cannot_be_measured_any_more(rig: Rig) -> None:
    rig.run_for(60.0)
    rig.lose(VESSEL_ID)
    rig.restart(after_s=3600.0)
    rig.run_for(1200.0)
    (outage,) = rig.told(OutageSeen)
    assert outage.beer_after_c is None
    assert outage.lasted_s == pytest.approx(3600.0, abs=PERIOD_S)


def test_the_very_first_start_follows_no_outage(rig: Rig) -> None:
    rig.run_for(1200.0)
    assert rig.told(OutageSeen) == []


def test_an_alarm_of_the_board_waits_for_a_person_over_a_restart(rig: Rig) -> None:
    cooling(rig)
    rig.let_pass(rig.site.lease_s + 60.0)
    rig.loop.tick()
    rig.restart()
    rig.run_for(3600.0)
    assert rig.alarms()["lease-expired"] == "raised"
    assert rig.ask(AcknowledgeAlarm("lease-expired", FRIDGE, "anna"), chamber="").taken
    assert "lease-expired" not in rig.alarms()
    lives = [h.phase.value for h in rig.told(AlarmChanged) if h.alarm == "lease-expired"]
    assert lives == ["raised", "cleared"]


# Every switching is on record, and nothing else.


def befall(rig: Rig, happening: str, look: Callable[[], None]) -> None:
    match happening:
        case "warm" | "cold" | "right":
            rig.warm_to({"warm": 20.0, "cold": 16.0, "right": 18.0}[happening])
        case "vessel lost" | "air lost":
            rig.lose(VESSEL_ID if happening == "vessel lost" else AIR_ID)
        case "mended":
            rig.board.probes.mend(VESSEL_ID)
            rig.board.probes.mend(AIR_ID)
            rig.warm_to(18.0)
        case "late":
            rig.let_pass(100.0)
            look()
        case "line broken":
            rig.board.relays.break_line(BELT)
        case "line mended":
            rig.board.relays.mend(BELT)
        case "override":
            rig.ask(OverrideOutput(Duty.HEAT, True, 600.0, "anna"))
        case "stopped" | "failed":
            rig.end(cleanly=happening == "stopped")
            look()
            rig.let_pass(1.0)
            rig.start()


HAPPENINGS = [
    *("warm", "cold", "right", "vessel lost", "air lost", "mended", "late"),
    *("line broken", "line mended", "override", "stopped", "failed"),
]


@settings(max_examples=6, deadline=None, phases=[Phase.explicit, Phase.reuse, Phase.generate])
@example(happenings=["warm", "line broken", "line mended", "late", "failed", "cold", "stopped"])
@given(happenings=st.lists(st.sampled_from(HAPPENINGS), min_size=10, max_size=25))
def test_the_journal_has_every_switching_of_a_relay_and_none_that_did_not_happen(
    tmp_path_factory: pytest.TempPathFactory, happenings: list[str]
) -> None:
    rig = Rig(tmp_path_factory.mktemp("record"))
    seen: dict[str, list[bool]] = {FRIDGE: [False], BELT: [False]}

    def look(_: object = None) -> None:
        for line, found in seen.items():
            on = rig.on(line)
            if on != found[-1]:
                found.append(on)

    rig.after_tick = look
    rig.settle(18.0)
    for happening in happenings:
        befall(rig, happening, look)
        rig.run_for(900.0)
    rig.end()
    look()
    assert {line: edges(rig.rows(), line) for line in seen} == {
        line: found[1:] for line, found in seen.items()
    }


# Commands.


def test_a_command_for_a_chamber_that_there_is_not_is_refused_with_those_there_are(
    rig: Rig,
) -> None:
    answer = rig.ask(SetTarget(10.0), chamber="cellar")
    assert not answer.taken
    assert "lager" in answer.why


def test_a_refused_command_is_answered_and_on_record(rig: Rig) -> None:
    answer = rig.ask(SetTarget(-20.0, "anna"))
    assert not answer.taken
    assert "freezing point" in answer.why
    (row,) = rig.told(CommandAnswered)
    assert (row.taken, row.who) == (False, "anna")


def test_the_board_itself_takes_no_target(rig: Rig) -> None:
    answer = rig.ask(SetTarget(10.0), chamber="")
    assert not answer.taken
    assert "name the chamber" in answer.why


def test_many_commands_in_one_tick_are_each_answered_for_themselves(rig: Rig) -> None:
    targets_c = [10.0, -50.0, 12.0, 99.0, 14.0]
    asked = [rig.loop.requests.ask("lager", SetTarget(c)) for c in targets_c]
    rig.tick()
    assert [one.wait(0.0).taken for one in asked] == [True, False, True, False, True]
    assert rig.snapshot.decision_of("lager").target.cool_c == 14.0


def test_no_command_starts_a_fridge_before_its_minimum_off_time(rig: Rig) -> None:
    cooling(rig)
    rig.warm_to(18.0)
    rig.run_until(lambda: not rig.cooling)
    assert rig.ask(OverrideOutput(Duty.COOL, True, 3600.0, "anna")).taken
    assert rig.run_until(lambda: rig.cooling) >= MINIMUM_OFF_S - 2 * PERIOD_S


# A site file that is read again.


def test_settings_read_again_hold_from_the_next_tick_and_forget_no_history(rig: Rig) -> None:
    cooling(rig)
    before = rig.history(Duty.COOL)
    wider = site_file(
        rig.folder,
        SITE.replace("[simulated]", "[chamber.lager.cool]\nband_c = 4\n\n[simulated]"),
    )
    rig.loop.reload(wider.settings, wiring(wider))
    rig.tick()
    assert rig.history(Duty.COOL) == before
    rig.warm_to(18.0)
    rig.run_until(lambda: not rig.cooling)
    rig.warm_to(20.0)
    rig.run_for(3600.0)
    assert not rig.cooling
    assert rig.snapshot.decision_of("lager").target.cool_c == 18.0


def test_what_the_loop_shows_belongs_together_and_counts_its_ticks(rig: Rig) -> None:
    rig.run_for(100.0)
    assert [snapshot.tick for snapshot in rig.seen] == list(range(1, 11))
    last = rig.seen[-1]
    assert isinstance(last.moment, Moment)
    assert last.moment.mono_s - last.started.mono_s == pytest.approx(100.0)
    assert rig.loop.snapshot is last
