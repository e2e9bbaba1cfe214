"""fermd as shipped: its core, with its defaults, running the plan as a profile."""

from __future__ import annotations

from collections.abc import Sequence

from scenario import DAY_S, Scenario

from fermd.control.chamber import Inputs, step
from fermd.control.commands import Command, StartProfile
from fermd.control.moment import Moment
from fermd.control.protection import History
from fermd.control.reading import Sample
from fermd.control.settings import Duty
from fermd.control.state import first_state
from fermd.control.steps import FinalHold, Hold, Profile, Ramp, Step
from thermostats.thermostat import Running, Seen

MONO_AT_START_S = 60.0


class AsShipped:
    """`fermd.control.chamber.step`, tick by tick."""

    def __init__(self, scenario: Scenario) -> None:
        self._settings = scenario.settings
        self._profile = profile_of(scenario)
        self._utc_s = scenario.start_utc_s
        # The outputs are known to have been off for long, as every contestant's are.
        known = {output.duty: History() for output in self._settings.outputs}
        self.state = first_state(self._settings, 0.0, known)
        self._started = False

    def decide(self, at_s: float, seen: Seen) -> Running:
        """Run one tick of the core."""
        mono_s = MONO_AT_START_S + at_s
        samples = {self._settings.vessel_probe.name: (Sample(mono_s, seen.vessel_c),)}
        if self._settings.air_probe is not None:
            samples[self._settings.air_probe.name] = (Sample(mono_s, seen.air_c),)
        commands: Sequence[Command] = ()
        if not self._started and at_s >= 0.0:
            self._started = True
            commands = (StartProfile(self._profile, "comparison"),)
        self.state, _ = step(
            self.state,
            self._settings,
            Inputs(samples, commands),
            Moment(mono_s, self._utc_s + at_s, wall_trusted=True),
        )
        histories = self.state.histories
        return Running(
            Duty.COOL in histories and histories[Duty.COOL].on,
            Duty.HEAT in histories and histories[Duty.HEAT].on,
        )


def profile_of(scenario: Scenario) -> Profile:
    """Return the plan as a profile: a ramp or a jump of the target, then a hold."""
    steps: list[Step] = []
    before_c = scenario.start_c
    for leg in scenario.plan:
        held_s = leg.lasts_s
        if leg.ramp_s:
            # A ramp begins where the target is, which for the first leg is the beer itself.
            if not steps:
                steps.append(Hold(before_c, scenario.period_s))
                held_s -= scenario.period_s
            rate = abs(leg.target_c - before_c) / leg.ramp_s * DAY_S
            steps.append(Ramp(leg.target_c, rate))
            held_s -= leg.ramp_s
        if held_s > 0.0:
            steps.append(Hold(leg.target_c, held_s))
        before_c = leg.target_c
    steps.append(FinalHold(before_c))
    return Profile(scenario.name, tuple(steps))
