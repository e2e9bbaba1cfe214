"""Whether a chamber acts on nothing: held, tick by tick, against what its probes gave.

A probe is believed here as the site file says and no less readily than that, by sums of this file's
own: jumps are let pass. What is off because fermd believes less is no fault. What may be on because
of that (a fail-safe that the brewer chose, an air probe that can be done without) is one only once
the readings have been near each other for long enough to be believed by anybody.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from truth import Broken

from fermd.control.alarms import AlarmKind
from fermd.control.reading import STARTING_PATIENCE_S, Sample
from fermd.control.settings import ChamberSettings, Duty, ProbeSettings

ALARM_AFTER_S = 60.0
"""A lost probe is told of after a minute (the alarm's rule, held here as a number of its own)."""


@dataclass(slots=True)
class Probe:
    """What one probe has given to one process."""

    since_s: float
    """Since when it is believed or not; all times are of the board's boot clock, s."""
    lost_s: float | None = None
    """Since when it was known, at the latest, that it is not to be believed; None: not yet."""
    believed: bool = False
    good: int = 0
    bad: int = 0
    steady: int = 0
    """Good samples in a row, each within reach of the one before."""
    last_c: float | None = None
    good_s: float | None = None
    same_c: float | None = None
    same_since_s: float = 0.0
    newest_c: deque[float] = field(default_factory=lambda: deque(maxlen=32))

    def takes(self, sample: Sample, settings: ProbeSettings) -> None:
        """Take a sample, good or bad."""
        temp_c, at_s = sample.temp_c, sample.taken_mono_s
        good = temp_c is not None and settings.lowest_c <= temp_c <= settings.highest_c
        if good and temp_c == self.same_c:
            if 0 < self.steady <= settings.bad_run:
                # May still be taken for a jump, which is not the value of anything yet.
                self.same_since_s = at_s
            frozen = settings.frozen_s and at_s - self.same_since_s >= settings.frozen_s
            good = not frozen
        elif good:
            self.same_c, self.same_since_s = temp_c, at_s
        else:
            self.same_c = None
        if not good or temp_c is None:
            self.good, self.steady, self.bad = 0, 0, self.bad + 1
            if self.bad >= settings.bad_run:
                self._is(False, at_s)
            return
        if not self.steady or not self._is_near(temp_c, at_s, settings):
            self.steady = 0
        self.good, self.steady, self.bad = self.good + 1, self.steady + 1, 0
        self.good_s, self.last_c = at_s, temp_c
        self.newest_c.append(temp_c + settings.offset_c)
        if self.good >= settings.good_run:
            self._is(True, at_s)

    def ages(self, now_s: float, settings: ProbeSettings) -> None:
        """Time has passed."""
        if self.good_s is not None and now_s - self.good_s > settings.stale_s:
            self._is(False, now_s)

    def is_beyond(
        self, settings: ProbeSettings, low_c: float, high_c: float, *, surely: bool
    ) -> bool:
        """Whether everything that could stand behind its value is outside of these bounds.

        `surely`: only once nobody takes it for a jump any more. A run of bad samples ends the trust
        in the level before, a run of good ones founds the trust in the new one.
        """
        if surely and self.steady < settings.bad_run + settings.good_run:
            return False
        count = max(settings.bad_run, settings.median_of) + 1
        newest = list(self.newest_c)[-count:]
        return len(newest) == count and (max(newest) < low_c or min(newest) > high_c)

    def _is_near(self, temp_c: float, at_s: float, settings: ProbeSettings) -> bool:
        if self.last_c is None or self.good_s is None:
            return False
        reach_c = settings.jump_c + settings.jump_c_per_min * (at_s - self.good_s) / 60.0
        return abs(temp_c - self.last_c) <= reach_c

    def _is(self, believed: bool, at_s: float) -> None:
        if believed is not self.believed:
            self.believed, self.since_s = believed, at_s
            if not believed:
                self.newest_c.clear()


class ReadingWitness:
    """One chamber under one process."""

    def __init__(self, started_s: float, period_s: float) -> None:
        self._started_s = started_s
        self._period_s = period_s
        self._probes: dict[str, Probe] = {}
        self._blind_runs_s = 0.0
        self._cycle_s: float | None = None
        self._last_s = started_s

    def sees(
        self,
        now_s: float,
        true_s: float,
        settings: ChamberSettings,
        given: Mapping[str, Sequence[Sample]],
        on: Mapping[Duty, bool],
        alarms: Sequence[tuple[str, str]],
    ) -> list[Broken]:
        """Take in a tick: what the probes gave, and what is on from now on."""
        for probe in settings.probes:
            seen = self._probes.setdefault(probe.name, Probe(self._started_s))
            was_believed = seen.believed
            for sample in given.get(probe.name, ()):
                seen.takes(sample, probe)
            seen.ages(now_s, probe)
            patience_over = now_s - self._started_s >= STARTING_PATIENCE_S
            if (was_believed and not seen.believed) or (seen.lost_s is None and patience_over):
                # Who was late learns of it late: that is when its time begins.
                seen.lost_s = now_s
        found: list[tuple[int, str, str]] = []
        running = [duty for duty in (Duty.COOL, Duty.HEAT) if on.get(duty)]
        if running:
            self._running(found, settings, running, now_s)
        self._alarms(found, settings, now_s, alarms)
        self._last_s = now_s
        return [
            Broken(invariant, promise, settings.name, true_s, detail)
            for invariant, promise, detail in found
        ]

    def _running(
        self,
        found: list[tuple[int, str, str]],
        settings: ChamberSettings,
        running: Sequence[Duty],
        now_s: float,
    ) -> None:
        vessel = self._probes[settings.vessel_probe.name]
        air = None if settings.air_probe is None else self._probes[settings.air_probe.name]
        limits = settings.limits
        for duty in running:
            if not vessel.believed and duty is not settings.fail_safe.duty:
                found.append((3, "nothing runs blind", f"{duty} is on without a vessel probe"))
            if not vessel.believed and duty is settings.fail_safe.duty:
                self._cycles(found, settings, vessel, duty, now_s)
            if air is None or settings.air_probe is None:
                continue
            if not air.believed and not limits.carry_on_without_air:
                found.append((3, "nothing runs without the air", f"{duty} is on"))
            low_c = limits.air_lowest_c if duty is Duty.COOL else -999.0
            high_c = limits.air_highest_c if duty is Duty.HEAT else 999.0
            surely = limits.carry_on_without_air
            if air.believed and air.is_beyond(settings.air_probe, low_c, high_c, surely=surely):
                found.append((4, "air limits", f"{duty} is on at {air.newest_c[-1]:.2f} °C"))
        coldest_c = limits.coldest_beer_c
        surely = settings.fail_safe.duty is Duty.COOL
        freezes = vessel.believed and vessel.is_beyond(
            settings.vessel_probe, coldest_c, 999.0, surely=surely
        )
        if Duty.COOL in running and freezes:
            found.append((4, "freezing margin", f"cooling at {vessel.newest_c[-1]:.2f} °C"))

    def _cycles(
        self,
        found: list[tuple[int, str, str]],
        settings: ChamberSettings,
        vessel: Probe,
        duty: Duty,
        now_s: float,
    ) -> None:
        """Blind, an output runs for no longer than was chosen out of every cycle."""
        chosen = settings.fail_safe
        cycle_s = now_s - (now_s - vessel.since_s) % chosen.every_s
        if self._cycle_s is None or abs(cycle_s - self._cycle_s) > 1.0:
            self._cycle_s, self._blind_runs_s = cycle_s, 0.0
        else:
            self._blind_runs_s += min(now_s - self._last_s, 3 * self._period_s)
        shortest_s = settings.by_duty[duty].protection.minimum_run_s
        most_s = chosen.run_s + shortest_s + 3 * self._period_s
        if self._blind_runs_s > most_s:
            detail = f"{duty} for {self._blind_runs_s:.0f} s of a cycle, not {chosen.run_s:g} s"
            found.append((3, "fail-safe as chosen", detail))

    def _alarms(
        self,
        found: list[tuple[int, str, str]],
        settings: ChamberSettings,
        now_s: float,
        alarms: Sequence[tuple[str, str]],
    ) -> None:
        for kind, probe in (
            (AlarmKind.VESSEL_PROBE_LOST, settings.vessel_probe),
            (AlarmKind.AIR_PROBE_LOST, settings.air_probe),
        ):
            if probe is None:
                continue
            seen = self._probes[probe.name]
            if seen.believed or seen.lost_s is None:
                continue
            lost_s = now_s - seen.lost_s
            if lost_s <= ALARM_AFTER_S + 2 * self._period_s:
                continue
            if (kind.value, probe.name) not in alarms:
                found.append((3, "alarm raised", f"none about {probe.name} after {lost_s:.0f} s"))
