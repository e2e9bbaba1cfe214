"""Watches the relays of a rehearsal and says where a promise of fermd was broken.

It keeps its own book from what it is told (what is on, what the probes read), does its own sums and
calls nothing of the core. Held against the site's settings are:

- heat and cooling never on together, and the changeover delay between them;
- no start before the minimum off time, nor more often than the starts per hour, nor within the
  power-up delay after the first tick, before which nothing is known;
- no run longer than the longest run, by more than a tick;
- no cooling with the beer below its freezing margin, no cooling or heating with the air beyond its
  limits;
- nothing on, but for the fan, while the vessel probe is not trusted and no fail-safe was chosen.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from fermd.control.settings import HOUR_S, ChamberSettings, Duty, OutputSettings

_ROUNDING_S: Final = 0.01

MOST_TOLD: Final = 100
"""So many broken promises are told; a core that is broken breaks them at every tick."""


@dataclass(frozen=True, slots=True)
class Broken:
    """One broken promise."""

    mono_s: float
    promise: str
    detail: str

    def __str__(self) -> str:
        return f"{self.promise}: {self.detail}"


@dataclass(slots=True)
class _Line:
    output: OutputSettings
    on: bool = False
    started_s: float = 0.0
    stopped_s: float | None = None
    starts_s: list[float] = field(default_factory=list)


class Witness:
    """The book of one chamber's relays. All times are on the boot clock, s."""

    def __init__(self, settings: ChamberSettings, first_mono_s: float, period_s: float) -> None:
        """`first_mono_s`: when control began; `period_s`: the time between two ticks."""
        self._settings = settings
        self._first_mono_s = first_mono_s
        self._period_s = period_s
        self._lines = {output.duty: _Line(output) for output in settings.outputs}
        self.broken: list[Broken] = []
        """What was seen to be broken, up to `MOST_TOLD`."""

    def sees(
        self, mono_s: float, on: Mapping[Duty, bool], beer_c: float | None, air_c: float | None
    ) -> None:
        """Take in a tick: what is on from now on, and what the probes read (None: not known)."""
        for duty, line in self._lines.items():
            if on[duty] is not line.on:
                if on[duty]:
                    self._starts(mono_s, line)
                else:
                    line.on, line.stopped_s = False, mono_s
            elif line.on:
                longest_s = line.output.protection.longest_run_s
                if mono_s - line.started_s > longest_s + self._period_s:
                    self._tell(mono_s, "longest run", f"{line.output.name}, {longest_s:g} s")
        cooling, heating = on.get(Duty.COOL, False), on.get(Duty.HEAT, False)
        if cooling or heating:
            self._limits(mono_s, cooling, heating, beer_c, air_c)

    def _starts(self, mono_s: float, line: _Line) -> None:
        protection, name = line.output.protection, line.output.name
        off_since_s = self._first_mono_s if line.stopped_s is None else line.stopped_s
        off_s, least_s = mono_s - off_since_s, protection.minimum_off_s
        if off_s < least_s - _ROUNDING_S:
            self._tell(mono_s, "minimum off time", f"{name}, {off_s:.0f} s, not {least_s:g} s")
        if mono_s < self._first_mono_s + protection.power_up_delay_s - _ROUNDING_S:
            self._tell(mono_s, "power-up delay", name)
        line.starts_s = [at_s for at_s in line.starts_s if mono_s - at_s < HOUR_S - _ROUNDING_S]
        line.starts_s.append(mono_s)
        most = protection.starts_per_hour
        if most and len(line.starts_s) > most:
            self._tell(mono_s, "starts per hour", f"{name}, {len(line.starts_s)}, not {most}")
        self._changeover(mono_s, line)
        line.on, line.started_s = True, mono_s

    def _changeover(self, mono_s: float, line: _Line) -> None:
        opposite = {Duty.HEAT: Duty.COOL, Duty.COOL: Duty.HEAT}.get(line.output.duty)
        other = self._lines.get(opposite) if opposite is not None else None
        if other is None or other.stopped_s is None:
            return
        gap_s = mono_s - other.stopped_s
        if gap_s < self._settings.changeover_s - _ROUNDING_S:
            detail = f"{gap_s:.0f} s, not {self._settings.changeover_s:g} s"
            self._tell(mono_s, "changeover delay", detail)

    def _limits(
        self,
        mono_s: float,
        cooling: bool,
        heating: bool,
        beer_c: float | None,
        air_c: float | None,
    ) -> None:
        limits = self._settings.limits
        if cooling and heating:
            self._tell(mono_s, "heat and cooling never together", "both are on")
        if beer_c is None and self._settings.fail_safe.duty is None:
            self._tell(mono_s, "nothing runs blind", "the vessel probe is not trusted")
        if cooling and beer_c is not None and beer_c < limits.coldest_beer_c:
            self._tell(mono_s, "freezing margin", f"cooling at {beer_c:.2f} °C")
        if air_c is None:
            return
        if cooling and air_c < limits.air_lowest_c:
            self._tell(mono_s, "lowest air temperature", f"cooling at {air_c:.2f} °C")
        if heating and air_c > limits.air_highest_c:
            self._tell(mono_s, "highest air temperature", f"heating at {air_c:.2f} °C")

    def _tell(self, mono_s: float, promise: str, detail: str) -> None:
        if len(self.broken) < MOST_TOLD:
            self.broken.append(Broken(mono_s, promise, detail))
