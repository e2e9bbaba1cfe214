"""Everything that a tick says of a chamber: each output, each reading, each thing that happened."""

from __future__ import annotations

from dataclasses import replace

import pytest
from calendar_bench import Chamber, utc_s
from chamber_bench import (
    UNPROTECTED,
    Bench,
    air_probe,
    fan,
    fridge,
    heater,
    settings,
    unprotected,
    vessel_probe,
)

from fermd.control import chamber
from fermd.control.alarms import AlarmKind
from fermd.control.bands import Call, Edges
from fermd.control.calendar import parse_calendar_time
from fermd.control.chamber import LONGEST_TICK_S, Inputs
from fermd.control.commands import OverrideOutput, PlanStart, SetTarget, StartProfile, SwitchOff
from fermd.control.decision import Mode, OutputDecision
from fermd.control.effect import Watch
from fermd.control.events import (
    CommandAnswered,
    GapSeen,
    OutputChanged,
    TargetChanged,
    TrustChanged,
)
from fermd.control.moment import Moment
from fermd.control.protection import History
from fermd.control.reading import ProbeFault, Sample, Trusted, Untrusted
from fermd.control.reasons import Reason, Rule
from fermd.control.settings import (
    Duty,
    FailSafeSettings,
    LimitSettings,
    ProbeSettings,
    ProtectionSettings,
)
from fermd.control.state import ChamberState, Deviation, first_state
from fermd.control.steps import FinalHold, HoldUntil, Jump, Profile, Target, WaitForPerson

KEG = ProbeSettings(name="keg", frozen_s=0.0)
COLD = Profile("cold", (FinalHold(2.0),))


def awake(**given: object) -> Bench:
    """A chamber whose probes are trusted and whose lines have been off for ever."""
    bench = Bench(unprotected(**given)).knows_its_past()
    bench.run(60.0)
    return bench


def test_a_decision_says_everything_about_its_chamber() -> None:
    bench = awake(watching_probes=(KEG,))
    decision = bench.tick(SetTarget(10.0, "anna"))
    above = Reason(Rule.ABOVE_BAND, 18.0, 10.3)
    assert decision.chamber == "lager"
    assert (decision.mode, decision.target) == (Mode.HAND, Target.at(10.0))
    assert (decision.call, decision.call_reason) == (Call.COOL, above)
    assert decision.edges == Edges(9.7, 10.0, 10.3, 10.0)
    assert decision.vessel == decision.air == Trusted(18.0, bench.mono_s)
    assert decision.watching == (("keg", Trusted(18.0, bench.mono_s)),)
    assert decision.outputs == (
        OutputDecision(
            Duty.HEAT, "belt", "27", False, False, None, (Reason(Rule.OPPOSITE_CALLED),)
        ),
        OutputDecision(Duty.COOL, "fridge", "17", True, True, bench.mono_s, (above,)),
    )
    assert (decision.outlook, decision.planned, decision.alarms) == (None, None, ())
    assert decision.events == (
        CommandAnswered("set the target to 10 °C", "anna", True),
        OutputChanged(Duty.COOL, "fridge", "17", True, (above,)),
        TargetChanged(10.0, 10.0, "hand"),
    )
    began_s = bench.mono_s
    decision = bench.tick(SwitchOff("anna"))
    idle = Reason(Rule.NO_TARGET, 18.0)
    assert (decision.call, decision.call_reason) == (Call.IDLE, idle)
    assert decision.edges is None
    assert decision.outputs[1] == OutputDecision(
        Duty.COOL, "fridge", "17", False, False, bench.mono_s, (idle,)
    )
    assert decision.events[1:] == (
        OutputChanged(Duty.COOL, "fridge", "17", False, (idle,)),
        TargetChanged(None, None, "off"),
    )
    assert bench.state.histories[Duty.COOL] == History(
        started_mono_s=began_s, stopped_mono_s=bench.mono_s, starts_mono_s=(began_s,)
    )


def test_a_planned_start_is_among_what_is_told() -> None:
    bench = Chamber()
    planned = PlanStart(COLD, bench.wall_utc_s + 3600.0, "anna")
    assert bench.tick(planned).planned == planned


def test_a_profile_of_the_calendar_is_told_with_what_is_left_of_its_step() -> None:
    bench = Chamber()
    until = HoldUntil(12.0, parse_calendar_time("fri 18:00"))
    decision = bench.tick(StartProfile(Profile("week", (until, FinalHold(1.0)))))
    assert decision.outlook is not None
    assert decision.outlook.remaining_s == utc_s("2026-07-03 18:00") - bench.wall_utc_s


def test_a_step_of_the_calendar_waits_in_its_chamber_for_a_clock_that_is_set() -> None:
    bench = Chamber()
    until = HoldUntil(12.0, parse_calendar_time("fri 18:00"))
    start = Inputs(commands=(StartProfile(Profile("week", (until, FinalHold(1.0)))),))
    unset = Moment(bench.mono_s + 10.0, bench.wall_utc_s + 10.0, wall_trusted=False)
    state, decision = chamber.step(bench.state, bench.settings, start, unset)
    assert state.progress is not None
    assert state.progress.due_utc_s is None
    assert decision.outlook is not None
    assert decision.outlook.remaining_s is None


def test_an_alarm_tells_by_both_clocks_when_it_was_raised() -> None:
    bench = awake()
    bench.tick(StartProfile(Profile("wait", (WaitForPerson(18.0, "look"),))))
    (alarm,) = bench.state.alarms
    assert (alarm.raised_mono_s, alarm.raised_wall_utc_s) == (bench.mono_s, bench.wall_utc_s)


def test_a_step_that_the_beer_ends_is_ended_by_the_beer_of_that_tick() -> None:
    bench = awake(vessel_probe=vessel_probe(median_of=1))
    bench.tick(StartProfile(Profile("crash", (Jump(2.0, 0.5), FinalHold(2.0)))))
    bench.vessel_c = 2.5
    bench.tick()
    assert bench.state.progress is not None
    assert bench.state.progress.index == 1


def test_a_probe_that_gains_and_loses_its_trust_is_told_with_what_it_showed() -> None:
    bench = Bench(unprotected(), vessel_c=18.0, air_c=12.0)
    bench.run(30.0)
    assert bench.happened(TrustChanged) == [
        TrustChanged("beer", True, None, 18.0),
        TrustChanged("air", True, None, 12.0),
    ]
    bench.vessel_c = None
    decision = bench.run(50.0)
    assert decision.events[0] == TrustChanged("beer", False, ProbeFault.NO_ANSWER, 18.0)
    assert decision.vessel == Untrusted(
        ProbeFault.NO_ANSWER, bench.mono_s, 18.0, bench.mono_s - 50.0
    )
    assert (decision.call, decision.call_reason) == (Call.IDLE, Reason(Rule.FAIL_SAFE))


def test_a_chamber_that_is_told_nothing_of_a_probe_goes_on_with_the_others() -> None:
    bench = awake()
    now = Moment(bench.mono_s + 10.0)
    samples = {"air": (Sample(now.mono_s, 17.0),)}
    _, decision = chamber.step(bench.state, bench.settings, Inputs(samples), now)
    assert decision.vessel == Trusted(18.0, bench.mono_s)
    assert decision.air == Trusted(18.0, now.mono_s)


@pytest.mark.parametrize(
    ("after_s", "gaps"),
    [
        (LONGEST_TICK_S, []),
        (LONGEST_TICK_S + 0.5, [GapSeen(LONGEST_TICK_S + 0.5)]),
        (0.0, []),
        (-5.0, []),
    ],
)
def test_time_between_two_ticks_counts_unless_it_is_a_gap(
    after_s: float, gaps: list[GapSeen]
) -> None:
    bench = awake()
    bench.tick(StartProfile(COLD), after_s=0.0)
    bench.tick(after_s=after_s)
    assert bench.happened(GapSeen) == gaps
    assert bench.state.progress is not None
    assert bench.state.progress.elapsed_s == (0.0 if gaps else max(0.0, after_s))


def test_the_first_tick_of_a_process_counts_no_time() -> None:
    bench = Bench(unprotected())
    bench.tick(StartProfile(COLD), after_s=1e6)
    assert bench.happened(GapSeen) == []
    assert bench.state.progress is not None
    assert bench.state.progress.elapsed_s == 0.0


def test_relays_that_let_go_are_told_of_and_watched_no_more() -> None:
    bench = awake()
    bench.tick(SetTarget(10.0))
    assert bench.state.watches == {Duty.COOL: Watch(18.0, bench.mono_s, 18.0)}
    state, events = chamber.let_go(
        bench.state, bench.settings, Rule.LEASE_EXPIRED, bench.mono_s + 4.0
    )
    assert events == (
        OutputChanged(Duty.COOL, "fridge", "17", False, (Reason(Rule.LEASE_EXPIRED),)),
    )
    assert state.watches == {}
    assert state.histories[Duty.COOL] == replace(
        bench.state.histories[Duty.COOL], on=False, stopped_mono_s=bench.mono_s + 4.0
    )


def test_what_is_set_by_hand_is_told_until_when() -> None:
    bench = awake()
    decision = bench.tick(OverrideOutput(Duty.HEAT, True, 600.0, "anna"))
    by_hand = (Reason(Rule.OVERRIDE, until_mono_s=bench.mono_s + 600.0),)
    assert decision.outputs[0].reasons == by_hand
    assert decision.outputs[0].wanted
    decision = bench.tick(OverrideOutput(Duty.HEAT, False, 600.0, "anna"))
    assert not decision.outputs[0].wanted


FAN = fan(run_on_s=120.0)


def test_a_fan_may_be_run_by_hand_without_a_reading_and_heat_may_not() -> None:
    bench = awake(outputs=(heater(protection=UNPROTECTED), FAN))
    bench.vessel_c = None
    bench.run(60.0)
    bench.tick(OverrideOutput(Duty.FAN, True, 600.0), OverrideOutput(Duty.HEAT, True, 600.0))
    assert bench.on(Duty.FAN)
    assert bench.rules(Duty.FAN) == [Rule.OVERRIDE]
    assert not bench.on(Duty.HEAT)


def fan_after(heat: History, cool: History, after_s: float = 50.0) -> OutputDecision:
    bench = awake(outputs=(heater(protection=UNPROTECTED), fridge(protection=UNPROTECTED), FAN))
    histories = {**bench.state.histories, Duty.HEAT: heat, Duty.COOL: cool}
    bench.state = replace(bench.state, histories=histories)
    bench.tick(after_s=after_s)
    return bench.output(Duty.FAN)


def test_a_fan_runs_on_from_whatever_stopped_last() -> None:
    now_s = 1060.0
    early = History(started_mono_s=900.0, stopped_mono_s=now_s - 100.0)
    late = History(started_mono_s=950.0, stopped_mono_s=now_s)
    for heat, cool in ((early, late), (late, early)):
        decided = fan_after(heat, cool)
        assert decided.on
        assert decided.reasons == (Reason(Rule.RUN_ON, until_mono_s=now_s + 120.0),)
    assert fan_after(late, early, 119.0).on
    assert not fan_after(late, early, 120.0).on
    assert fan_after(late, early, 120.0).wanted is False
    assert fan_after(late, early, 120.0).reasons == (Reason(Rule.FOLLOWS_CALL),)
    unseen = replace(late, started_mono_s=None)
    assert not fan_after(unseen, History()).on
    assert not fan_after(early, unseen).on
    assert not fan_after(History(), History()).on


def test_a_fail_safe_that_was_chosen_is_what_is_called_for() -> None:
    bench = awake(fail_safe=FailSafeSettings(Duty.HEAT, run_s=600.0, every_s=3600.0))
    bench.tick(SetTarget(2.0))
    bench.vessel_c = None
    decision = bench.run(50.0)
    assert (decision.call, decision.call_reason) == (
        Call.HEAT,
        Reason(Rule.FAIL_SAFE_CYCLE, until_mono_s=bench.mono_s + 600.0),
    )
    assert [output.on for output in decision.outputs] == [True, False]


def test_what_goes_off_is_switched_before_what_goes_on() -> None:
    bench = awake()
    bench.tick(OverrideOutput(Duty.COOL, True, 600.0))
    # Heat stands first in the site file, and still waits for the fridge to have gone off.
    bench.tick(OverrideOutput(Duty.COOL, False, 600.0), OverrideOutput(Duty.HEAT, True, 600.0))
    assert [event.duty for event in bench.happened(OutputChanged)][-2:] == [Duty.COOL, Duty.HEAT]
    assert bench.switched(Duty.HEAT) == [True]


def test_heat_waits_for_the_changeover_of_its_own_chamber() -> None:
    bench = awake(changeover_s=300.0)
    bench.tick(OverrideOutput(Duty.COOL, True, 600.0))
    bench.tick(OverrideOutput(Duty.COOL, False, 600.0), OverrideOutput(Duty.HEAT, True, 600.0))
    assert bench.output(Duty.HEAT).reasons == (
        Reason(Rule.CHANGEOVER, until_mono_s=bench.mono_s + 300.0, number=300.0),
    )


def test_an_output_on_a_circuit_gets_what_the_circuit_has_left() -> None:
    outputs = (
        heater(protection=UNPROTECTED, circuit="garage", rated_a=2.0),
        fridge(protection=UNPROTECTED, circuit="garage", rated_a=2.0),
        fan(circuit="garage", rated_a=1.5),
    )
    bench = awake(outputs=outputs)

    def switched_on(headroom_a: float) -> list[bool]:
        now = Moment(bench.mono_s + 10.0)
        commands = tuple(OverrideOutput(duty, True, 600.0) for duty in (Duty.COOL, Duty.FAN))
        inputs = Inputs({}, commands, {"garage": headroom_a})
        _, decision = chamber.step(bench.state, bench.settings, inputs, now)
        return [output.on for output in decision.outputs]

    assert switched_on(3.5) == [False, True, True]
    assert switched_on(3.4) == [False, True, False]
    assert switched_on(1.5) == [False, False, True]
    assert switched_on(1.4) == [False, False, False]


def test_an_output_that_has_run_its_longest_rests_for_that_reason() -> None:
    limited = ProtectionSettings(longest_run_s=100.0, rest_s=600.0)
    bench = awake(outputs=(heater(protection=limited), fridge(protection=UNPROTECTED)))
    bench.tick(SetTarget(30.0))
    bench.run(100.0)
    assert not bench.on(Duty.HEAT)
    assert bench.state.resting == {Duty.HEAT: Rule.LONGEST_RUN}
    assert AlarmKind.LONGEST_RUN in bench.alarms()


def idle_fridge(**given: object) -> Bench:
    """A fridge that is on the watch for two hours, in which what it is judged by has warmed."""
    bench = awake(**given)
    bench.tick(OverrideOutput(Duty.COOL, True, 14400.0))
    since_s = bench.mono_s - bench.settings.outputs[1].effect.within_s
    bench.state = replace(bench.state, watches={Duty.COOL: Watch(17.0, since_s, 17.0)})
    return bench


def test_an_output_without_effect_rests_for_that_reason_from_the_next_tick_on() -> None:
    bench = idle_fridge()
    bench.tick()
    assert bench.on(Duty.COOL)
    assert bench.state.watches == {}
    rest_s = bench.settings.outputs[1].protection.rest_s
    assert bench.state.histories[Duty.COOL].rest_until_mono_s == bench.mono_s + rest_s
    assert bench.state.resting == {Duty.COOL: Rule.NO_EFFECT}
    bench.tick()
    assert not bench.on(Duty.COOL)


def test_a_fridge_is_judged_by_the_air_and_by_the_vessel_only_where_there_is_no_air() -> None:
    by_air = idle_fridge()
    by_air.vessel_c = 16.5
    by_air.tick()
    assert by_air.state.resting == {Duty.COOL: Rule.NO_EFFECT}
    by_vessel = idle_fridge(air_probe=None)
    by_vessel.tick()
    assert by_vessel.state.resting == {Duty.COOL: Rule.NO_EFFECT}


def test_while_its_air_probe_is_lost_a_fridge_is_not_judged() -> None:
    bench = awake(limits=LimitSettings(carry_on_without_air=True))
    bench.tick(OverrideOutput(Duty.COOL, True, 14400.0))
    bench.air_c = None
    bench.run(60.0)
    watched = {Duty.COOL: Watch(17.0, 0.0, 17.0)}
    bench.state = replace(bench.state, watches=watched)
    bench.tick(after_s=200.0)
    assert bench.on(Duty.COOL)
    assert bench.state.watches == watched
    assert bench.state.resting == {}


def test_air_far_below_the_beer_acquits_a_fridge_and_air_above_it_acquits_heat() -> None:
    for duty, air_c in ((Duty.COOL, 17.0), (Duty.HEAT, 19.0)):
        bench = Bench(unprotected(air_probe=air_probe(median_of=1))).knows_its_past()
        bench.run(60.0)
        bench.tick(OverrideOutput(duty, True, 14400.0))
        judged_c = 15.0 if duty is Duty.COOL else 20.0
        bench.state = replace(bench.state, watches={duty: Watch(judged_c, -1e5, judged_c)})
        bench.air_c = air_c
        bench.tick()
        assert bench.state.resting == {}


def told(state: ChamberState, target: Target, mode: Mode) -> list[TargetChanged]:
    bench = awake()
    bench.state = replace(state, mode=mode, hand=target)
    return [event for event in bench.tick().events if isinstance(event, TargetChanged)]


def test_a_target_is_told_again_only_if_it_or_its_source_has_changed() -> None:
    state = replace(awake().state, told_target=Target.at(12.0), told_source="hand")
    assert told(state, Target.at(12.0), Mode.HAND) == []
    assert told(state, Target.at(13.0), Mode.HAND) == [TargetChanged(13.0, 13.0, "hand")]
    assert told(state, Target(11.0, 12.0), Mode.PAUSED) == [TargetChanged(11.0, 12.0, "hand")]
    assert told(state, Target.at(12.0), Mode.OFF) == [TargetChanged(None, None, "off")]


def test_a_new_chamber_knows_nothing_but_since_when() -> None:
    given = settings()
    state = first_state(given, 5.0, {Duty.HEAT: History()})
    assert {name: one.since_mono_s for name, one in state.healths.items()} == {
        "beer": 5.0,
        "air": 5.0,
    }
    assert state.histories[Duty.HEAT] == History()
    cool = state.histories[Duty.COOL]
    protection = given.by_duty[Duty.COOL].protection
    assert (cool.stopped_mono_s, cool.unknown_until_mono_s) == (
        5.0,
        5.0 + protection.power_up_delay_s,
    )


def test_a_tick_remembers_when_it_was_and_how_far_the_beer_was_off() -> None:
    bench = awake()
    bench.tick(SetTarget(10.0))
    assert bench.state.last_mono_s == bench.mono_s
    assert bench.state.call is Call.COOL
    assert bench.state.deviation == Deviation(True, 8.0, bench.mono_s)
