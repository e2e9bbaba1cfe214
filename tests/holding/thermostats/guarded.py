"""What fermd protects, for a rival too: believed probes, locks, minimum runs, limits, the watcher.

A rival only says what it calls for. All that stands between a call and a relay in fermd stands
there for it as well, by the very same functions with the same settings: the probe's health and
median, `protect` with the output's protections, the changeover, the air's limits and the freezing
margin, and the watcher for an output without effect.
"""

from __future__ import annotations

from typing import Protocol

from scenario import Scenario

from fermd.control import health, safety
from fermd.control.effect import Watch, watch
from fermd.control.protection import History, Surroundings, protect, rest
from fermd.control.reading import Reading, Sample, Trusted
from fermd.control.settings import Duty, ProbeSettings
from thermostats.as_shipped import MONO_AT_START_S
from thermostats.thermostat import Running, Seen


class Law(Protocol):
    """What a rival calls for."""

    def call(self, at_s: float, vessel_c: float, target_c: float) -> Running:
        """Say what should be on, by a believed reading of the vessel probe (°C)."""
        ...


_OPPOSITE = {Duty.HEAT: Duty.COOL, Duty.COOL: Duty.HEAT}


class Guarded:
    """A rival's law behind fermd's protections."""

    def __init__(self, scenario: Scenario, law: Law) -> None:
        self._scenario = scenario
        self._settings = scenario.settings
        self._law = law
        self._healths = {probe.name: health.Health() for probe in self._settings.probes}
        self._histories = {output.duty: History() for output in self._settings.outputs}
        self._watches: dict[Duty, Watch] = {}

    def decide(self, at_s: float, seen: Seen) -> Running:
        """Let the law call, and protection have the last word; what is on goes off first."""
        settings, mono_s = self._settings, MONO_AT_START_S + at_s
        vessel = self._look(settings.vessel_probe, seen.vessel_c, mono_s)
        air: Reading | None = None
        if settings.air_probe is not None:
            air = self._look(settings.air_probe, seen.air_c, mono_s)
        vessel_c = vessel.temp_c if isinstance(vessel, Trusted) else None
        called = Running(cool=False, heat=False)
        if at_s >= 0.0 and vessel_c is not None:
            called = self._law.call(at_s, vessel_c, self._scenario.target_c(at_s))
        wanted = {Duty.COOL: called.cool, Duty.HEAT: called.heat}
        for duty in sorted(self._histories, key=lambda duty: not self._histories[duty].on):
            history = self._histories[duty]
            if not wanted[duty] and not history.on:
                continue
            other = self._histories.get(_OPPOSITE[duty])
            around = Surroundings(
                safety.against(settings, duty, history.on, vessel_c, air),
                other is not None and other.on,
                None if other is None else other.stopped_mono_s,
                settings.changeover_s,
            )
            output = settings.by_duty[duty]
            self._histories[duty] = protect(history, output, wanted[duty], around, mono_s).history
        self._watch(vessel_c, air.temp_c if isinstance(air, Trusted) else None, mono_s)
        return Running(self._is_on(Duty.COOL), self._is_on(Duty.HEAT))

    def _look(self, probe: ProbeSettings, temp_c: float, mono_s: float) -> Reading:
        sample = Sample(mono_s, temp_c)
        after = health.absorb(self._healths[probe.name], probe, (sample,), mono_s)
        self._healths[probe.name] = after
        return health.reading(after, probe)

    def _is_on(self, duty: Duty) -> bool:
        return duty in self._histories and self._histories[duty].on

    def _watch(self, vessel_c: float | None, air_c: float | None, mono_s: float) -> None:
        """Send an output without effect to rest, judged as the core judges it."""
        for duty, history in self._histories.items():
            if not history.on:
                self._watches.pop(duty, None)
                continue
            output = self._settings.by_duty[duty]
            after, reason = watch(
                self._watches.get(duty),
                output.effect,
                duty,
                True,
                air_c if duty is Duty.COOL and air_c is not None else vessel_c,
                mono_s,
                driving=safety.drives(duty, vessel_c, air_c),
            )
            if after is None:
                self._watches.pop(duty, None)
            else:
                self._watches[duty] = after
            if reason is not None:
                self._histories[duty] = rest(history, output.protection, mono_s)
