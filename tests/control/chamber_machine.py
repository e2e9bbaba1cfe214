"""A machine that does to a chamber whatever a month may bring, with witnesses to the outcome.

It ticks the real core with arbitrary readings, faults, spans of time, wall clocks and commands,
and ends its process in each way there is: a proven stop, a kill, a reboot, a lost power.
"""

from __future__ import annotations

import json
from types import MappingProxyType

from chamber_witness import RelayWitness
from chamber_world import Trouble, Weather, chambers, orders, other_numbers, profiles
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, rule
from probe_witness import ProbeWitness
from profile_witness import ProfileWitness

from fermd.control import chamber, memory, protection
from fermd.control.chamber import Inputs
from fermd.control.commands import Command, OverrideOutput, PlanStart, SetTarget
from fermd.control.decision import Decision
from fermd.control.moment import Moment
from fermd.control.reasons import Rule
from fermd.control.settings import ChamberSettings, Duty
from fermd.control.state import ChamberState, first_state
from fermd.control.steps import Profile

TICKS_S = st.sampled_from([1.0, 10.0, 30.0, 60.0, 200.0])
NO_CONTROL_S = 300.0
"""A longer time between two ticks does not count for a profile."""


class ChamberMachine(RuleBasedStateMachine):
    """One chamber, from its first start through everything that happens to it."""

    state: ChamberState
    settings: ChamberSettings

    @initialize(settings=chambers(), target_c=st.sampled_from([None, 4.0, 16.0, 20.0]))
    def is_put_up(self, settings: ChamberSettings, target_c: float | None) -> None:
        self.settings = settings
        self.true_s, self.boot_true_s, self.wall_off_s = 0.0, -500.0, 1.7e9
        self.weather = Weather()
        self.relays = RelayWitness(settings)
        self.profile = ProfileWitness()
        self.decision: Decision | None = None
        self.number = 0
        for line in self.relays.lines.values():
            line.unknown_since_s = 0.0
        self._new_process(first_state(settings, self.mono_s))
        if target_c is not None:
            self._tick(1.0, SetTarget(target_c))

    @property
    def mono_s(self) -> float:
        return self.true_s - self.boot_true_s

    @rule(
        ticks=st.integers(1, 25),
        every_s=TICKS_S,
        vessel=st.sampled_from(Trouble.ALL),
        air=st.sampled_from(Trouble.ALL),
    )
    def runs(self, ticks: int, every_s: float, vessel: str, air: str) -> None:
        for _ in range(ticks):
            self._tick(every_s, vessel=vessel, air=air)

    @rule(for_s=st.sampled_from([301.0, 900.0, 4000.0, 20000.0]))
    def is_suspended(self, for_s: float) -> None:
        self._tick(for_s)

    @rule(
        ambient_c=st.sampled_from([-5.0, 12.0, 24.0, 35.0]),
        fridge_works=st.booleans(),
        heater_works=st.booleans(),
        ferments_c_per_h=st.sampled_from([0.0, 0.0, 0.4, 2.0, -2.0]),
    )
    def weather_changes(
        self, ambient_c: float, fridge_works: bool, heater_works: bool, ferments_c_per_h: float
    ) -> None:
        self.weather.ambient_c, self.weather.ferments_c_per_h = ambient_c, ferments_c_per_h
        self.weather.fridge_works, self.weather.heater_works = fridge_works, heater_works

    @rule(vessel_c=st.sampled_from([-2.0, -1.5, -1.4, 4.0, 12.0, 16.0, 19.0, 21.0, 28.0]))
    def another_vessel_is_put_in(self, vessel_c: float) -> None:
        self.weather.vessel_c = vessel_c
        for _ in range(6):
            self._tick(10.0)

    @rule(air_c=st.sampled_from([-8.0, 5.0, 15.0, 25.0, 41.0]))
    def air_is_changed(self, air_c: float) -> None:
        self.weather.air_c = air_c
        for _ in range(6):
            self._tick(10.0)

    @rule(order=orders, after_s=TICKS_S)
    def somebody_steps_in(self, order: Command, after_s: float) -> None:
        self._tick(after_s, order)

    @rule(profile=profiles, in_s=st.sampled_from([-3600.0, 5.0, 200.0, 5000.0]))
    def start_is_planned(self, profile: Profile, in_s: float) -> None:
        self._tick(1.0, PlanStart(profile, self.true_s + self.wall_off_s + in_s))

    @rule(
        duty=st.sampled_from([Duty.HEAT, Duty.COOL]),
        times=st.integers(2, 9),
        each_s=st.sampled_from([10.0, 61.0, 130.0, 310.0, 650.0]),
        vessel=st.sampled_from([Trouble.NONE, Trouble.NONE, Trouble.FAULTS]),
    )
    def somebody_plays_with_a_switch(
        self, duty: Duty, times: int, each_s: float, vessel: str
    ) -> None:
        for time in range(times):
            self._tick(1.0, OverrideOutput(duty, not time % 2, 14000.0))
            left_s = each_s
            while left_s > 0:
                self._tick(min(left_s, 60.0), vessel=vessel)
                left_s -= 60.0

    @rule(by_s=st.sampled_from([-3600.0, -30.0, 90.0, 86400.0, -1.7e9]))
    def wall_clock_is_stepped(self, by_s: float) -> None:
        self.wall_off_s += by_s

    @rule(duties=st.sets(st.sampled_from(list(Duty))))
    def lease_runs_out(self, duties: set[Duty]) -> None:
        lines = {output.line for output in self.settings.outputs if output.duty in duties}
        rule = Rule.LEASE_EXPIRED
        self.state, events = chamber.let_go(self.state, self.settings, rule, self.mono_s, lines)
        self.relays.hears(self.true_s, events, duties & set(self.relays.lines))
        for line in self.relays.lines.values():
            line.run = []

    @rule(out_s=st.sampled_from([2.0, 100.0, 1000.0, 8000.0]), data=st.data())
    def is_stopped_and_started(self, out_s: float, data: st.DataObject) -> None:
        kept, histories = self._stops_cleanly()
        if data.draw(st.booleans(), "site file is edited"):
            self.settings = data.draw(other_numbers(self.settings), "to")
        self._pass(out_s)
        after = {
            output.duty: protection.history_after_restart(
                histories[output.duty], output.protection, self.mono_s, proven=True
            )
            for output in self.settings.outputs
        }
        self.relays.restarts(self.true_s, self.settings, off_s=None, rest_kept=True)
        self._goes_on_from(kept, first_state(self.settings, self.mono_s, after))

    @rule(out_s=st.sampled_from([2.0, 100.0, 1000.0, 8000.0]), fell_off=st.floats(0, 1))
    def is_killed_and_started(self, out_s: float, fell_off: float) -> None:
        kept, histories = self._remembered(), self.state.histories
        off_s = self.true_s + fell_off * out_s
        self._pass(out_s)
        after = {
            output.duty: protection.history_after_restart(
                histories[output.duty], output.protection, self.mono_s, proven=False
            )
            for output in self.settings.outputs
        }
        self.relays.restarts(self.true_s, self.settings, off_s=off_s, rest_kept=True)
        self._goes_on_from(kept, first_state(self.settings, self.mono_s, after))

    @rule(out_s=st.sampled_from([20.0, 1000.0, 8000.0]), fell_off=st.floats(0, 1))
    def loses_power(self, out_s: float, fell_off: float) -> None:
        kept = self._remembered()
        off_s = self.true_s + fell_off * out_s
        self._reboots(out_s, off_s, kept)

    @rule(out_s=st.sampled_from([20.0, 1000.0]))
    def is_rebooted(self, out_s: float) -> None:
        kept, _ = self._stops_cleanly()
        self._reboots(out_s, self.true_s, kept)

    def _reboots(self, out_s: float, off_s: float, kept: str) -> None:
        self._pass(out_s)
        self.boot_true_s = self.true_s - 7.0
        self.relays.restarts(self.true_s, self.settings, off_s=off_s, rest_kept=False)
        after = {
            output.duty: protection.history_after_restart(
                None, output.protection, self.mono_s, proven=False
            )
            for output in self.settings.outputs
        }
        self._goes_on_from(kept, first_state(self.settings, self.mono_s, after))

    def _tick(
        self,
        after_s: float,
        order: Command | None = None,
        vessel: str = Trouble.NONE,
        air: str = Trouble.NONE,
    ) -> None:
        self._pass(after_s)
        self.number += 1
        samples = {
            "beer": self.weather.sample(self.mono_s, self.weather.vessel_c, vessel, self.number),
            "air": self.weather.sample(self.mono_s, self.weather.air_c, air, self.number),
        }
        orders_now = () if order is None else (order,)
        now = Moment(self.mono_s, self.true_s + self.wall_off_s, True)
        before, fresh = self.decision, self.state.last_mono_s is None
        self.state, decision = chamber.step(
            self.state, self.settings, Inputs(MappingProxyType(samples), orders_now), now
        )
        self.decision = decision
        self.relays.sees(self.true_s, self.mono_s, decision)
        self.probe.sees(self.mono_s, samples["beer"], decision.vessel)
        passed_s = 0.0 if fresh or after_s > NO_CONTROL_S else after_s
        before_c = None if before is None or before.target is None else before.target.cool_c
        self.profile.sees(passed_s, order, decision, before_c)

    def _pass(self, for_s: float) -> None:
        lines = self.relays.lines
        self.weather.passes(
            for_s,
            heats=Duty.HEAT in lines and lines[Duty.HEAT].on,
            cools=lines[Duty.COOL].on,
        )
        self.true_s += for_s

    def _stops_cleanly(self) -> tuple[str, dict[Duty, protection.History]]:
        self.state, events = chamber.let_go(self.state, self.settings, Rule.STOPPING, self.mono_s)
        self.relays.hears(self.true_s, events, set(self.relays.lines))
        return self._remembered(), dict(self.state.histories)

    def _remembered(self) -> str:
        return json.dumps(memory.to_plain(self.state))

    def _goes_on_from(self, kept: str, fresh: ChamberState) -> None:
        for line in self.relays.lines.values():
            line.forgets_run()
        self.profile.restarted()
        self._new_process(memory.from_plain(fresh, json.loads(kept), self.mono_s))

    def _new_process(self, state: ChamberState) -> None:
        self.state = state
        self.probe = ProbeWitness(self.settings.vessel_probe)
