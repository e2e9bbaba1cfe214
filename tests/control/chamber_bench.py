"""A chamber on the bench: the real core, fed with readings and moved through time by hand."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from fermd.control import chamber
from fermd.control.alarms import AlarmKind
from fermd.control.chamber import Inputs
from fermd.control.commands import Command
from fermd.control.decision import Decision, OutputDecision
from fermd.control.events import Event, OutputChanged
from fermd.control.moment import Moment
from fermd.control.reading import ProbeFault, Sample
from fermd.control.reasons import Rule
from fermd.control.settings import (
    PROTECTION_BY_KIND,
    ChamberSettings,
    CoolBandSettings,
    Duty,
    HeatBandSettings,
    OutputKind,
    OutputSettings,
    ProbeRole,
    ProbeSettings,
    ProtectionSettings,
)
from fermd.control.state import ChamberState, first_state

START_MONO_S = 1000.0
TICK_S = 10.0


def vessel_probe(**given: Any) -> ProbeSettings:
    """A vessel probe for beer that stands perfectly still, or is another beer from now on."""
    still = {"name": "beer", "role": ProbeRole.CONTROLLING, "frozen_s": 0.0, "jump_c": 50.0}
    return ProbeSettings(**still | given)


def air_probe(**given: Any) -> ProbeSettings:
    still = {"name": "air", "role": ProbeRole.LIMITING, "frozen_s": 0.0, "jump_c": 50.0}
    return ProbeSettings(**still | given)


def fridge(**given: Any) -> OutputSettings:
    kind = OutputKind.COMPRESSOR
    return OutputSettings(
        **{
            "name": "fridge",
            "line": "17",
            "duty": Duty.COOL,
            "kind": kind,
            "protection": PROTECTION_BY_KIND[kind],
        }
        | given
    )


def heater(**given: Any) -> OutputSettings:
    kind = OutputKind.HEATER
    return OutputSettings(
        **{
            "name": "belt",
            "line": "27",
            "duty": Duty.HEAT,
            "kind": kind,
            "protection": PROTECTION_BY_KIND[kind],
        }
        | given
    )


def fan(**given: Any) -> OutputSettings:
    kind = OutputKind.FAN
    return OutputSettings(
        **{
            "name": "fan",
            "line": "22",
            "duty": Duty.FAN,
            "kind": kind,
            "protection": PROTECTION_BY_KIND[kind],
        }
        | given
    )


UNPROTECTED = ProtectionSettings()
"""For tests of something else than protection."""


def settings(**given: Any) -> ChamberSettings:
    """A fridge with a heating belt and two probes, unless a test says otherwise."""
    return ChamberSettings(
        **{
            "name": "lager",
            "vessel_probe": vessel_probe(),
            "air_probe": air_probe(),
            "outputs": (heater(), fridge()),
            "heat": HeatBandSettings(0.3, 0.3),
            "cool": CoolBandSettings(0.3, 0.3),
        }
        | given
    )


def unprotected(**given: Any) -> ChamberSettings:
    """The same with relays that may switch at any time, to see calls pass straight through."""
    outputs = (
        heater(protection=UNPROTECTED),
        fridge(protection=UNPROTECTED, kind=OutputKind.VALVE),
    )
    return settings(**{"outputs": outputs, "changeover_s": 0.0} | given)


class Bench:
    """One chamber under test."""

    def __init__(
        self, given: ChamberSettings, *, vessel_c: float | None = 18.0, air_c: float | None = 18.0
    ) -> None:
        self.settings = given
        self.mono_s = START_MONO_S
        self.wall_utc_s = 1.75e9
        self.state: ChamberState = first_state(given, self.mono_s)
        self.vessel_c = vessel_c
        self.air_c = air_c
        self.fault = ProbeFault.NO_ANSWER
        """What a probe without a temperature shows."""
        self.silent = False
        """No samples at all: the probe threads are stuck."""
        self.events: list[Event] = []
        self.decision: Decision | None = None

    def knows_its_past(self) -> Bench:
        """Forget that the history of the lines is not known: they have been off for ever."""
        rested = {
            duty: replace(history, stopped_mono_s=None, starts_mono_s=(), unknown_until_mono_s=None)
            for duty, history in self.state.histories.items()
        }
        self.state = replace(self.state, histories=rested)
        return self

    def tick(self, *commands: Command, after_s: float = TICK_S) -> Decision:
        """One tick, `after_s` after the last."""
        self.mono_s += after_s
        self.wall_utc_s += after_s
        inputs = Inputs(self._samples(), commands)
        now = Moment(self.mono_s, self.wall_utc_s, True)
        self.state, self.decision = chamber.step(self.state, self.settings, inputs, now)
        self.events.extend(self.decision.events)
        return self.decision

    def run(self, for_s: float, *, every_s: float = TICK_S) -> Decision:
        """Ticks for a while."""
        end_mono_s = self.mono_s + for_s
        decision = self.tick(after_s=min(every_s, for_s))
        while self.mono_s < end_mono_s - 1e-9:
            decision = self.tick(after_s=min(every_s, end_mono_s - self.mono_s))
        return decision

    def run_until(
        self, reached: Callable[[Decision], bool], *, within_s: float, every_s: float = TICK_S
    ) -> float:
        """Ticks until something is so; returns how long that took, s."""
        began_mono_s = self.mono_s
        while self.mono_s - began_mono_s < within_s:
            if reached(self.tick(after_s=every_s)):
                return self.mono_s - began_mono_s
        raise AssertionError(f"did not come within {within_s:g} s")

    def output(self, duty: Duty) -> OutputDecision:
        assert self.decision is not None
        return next(decided for decided in self.decision.outputs if decided.duty is duty)

    def on(self, duty: Duty) -> bool:
        return self.output(duty).on

    def rules(self, duty: Duty) -> list[Rule]:
        """The rules that decided on an output, the deciding one first."""
        return [reason.rule for reason in self.output(duty).reasons]

    def alarms(self) -> set[AlarmKind]:
        """The alarms that a person is shown."""
        assert self.decision is not None
        return {alarm.kind for alarm in self.decision.alarms}

    def happened(self, kind: type[Event]) -> list[Any]:
        return [event for event in self.events if isinstance(event, kind)]

    def switched(self, duty: Duty) -> list[bool]:
        return [event.on for event in self.happened(OutputChanged) if event.duty is duty]

    def _samples(self) -> Mapping[str, Sequence[Sample]]:
        if self.silent:
            return {}
        samples = {self.settings.vessel_probe.name: (self._sample(self.vessel_c),)}
        if self.settings.air_probe is not None:
            samples[self.settings.air_probe.name] = (self._sample(self.air_c),)
        for probe in self.settings.watching_probes:
            samples[probe.name] = (self._sample(self.vessel_c),)
        return samples

    def _sample(self, temp_c: float | None) -> Sample:
        if temp_c is None:
            return Sample(self.mono_s, fault=self.fault)
        return Sample(self.mono_s, temp_c)
