"""Probes and relays of simulated chambers, with every fault that real ones have.

They keep the same rules as the real ones: an `on` is a lease and is let go at its end, to the
64th of a second, whether or not anybody calls; samples carry the time at which they were taken;
what goes off in a `drive` goes before what goes on. All randomness comes from the caller's seed.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from math import inf
from random import Random
from threading import RLock
from types import TracebackType
from typing import Final, Self

from fermd.control.reading import ProbeFault, Sample
from fermd.control.settings import Duty
from fermd.hardware.ports import RelayError, RelayState
from fermd.hardware.simulated_clock import SimulatedClock
from fermd.hardware.simulated_plant import SimulatedPlant
from fermd.physics.probe import ProbeModel
from fermd.physics.thermal import ThermalState

_KEPT_SAMPLES: Final = 256
"""So many samples of each probe are there to be taken, as of the real bus."""

Spot = Callable[[ThermalState], float]
"""Where in a chamber a probe is: the temperature (°C) that its body has."""


def in_vessel(state: ThermalState) -> float:
    """Give the vessel probe's place, with its lag."""
    return state.vessel_probe_c


def in_air(state: ThermalState) -> float:
    """Give the air probe's place, with its lag."""
    return state.air_probe_c


@dataclass(frozen=True, slots=True)
class SimulatedProbe:
    """A probe in its place."""

    plant: SimulatedPlant
    spot: Spot = in_vessel
    model: ProbeModel = field(default_factory=ProbeModel)


@dataclass(frozen=True, slots=True)
class Contact:
    """What a relay switches."""

    plant: SimulatedPlant
    duty: Duty
    active_high: bool = True


class SimulatedProbeBus:
    """The probes of simulated chambers; a `ProbeBus`.

    Every probe gives a sample at each multiple of the period since the bus was entered.
    """

    def __init__(
        self,
        probes: Mapping[str, SimulatedProbe],
        period_s: float,
        clock: SimulatedClock,
        seed: int = 0,
    ) -> None:
        self._probes = dict(probes)
        self._period_s = period_s
        self._clock = clock
        self._random = Random(seed)  # noqa: S311 - noise of a probe, no secret
        self._entered_mono_s = 0.0
        self._next = 0
        self._faults: dict[str, ProbeFault | None] = {}
        self._frozen_c: dict[str, float] = {}

    def __enter__(self) -> Self:
        self._entered_mono_s = self._clock.now().mono_s
        self._next = 0
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        return None

    def take(self) -> Mapping[str, Sequence[Sample]]:
        """Return the samples gathered since the last call, oldest first, by the probe's id."""
        last = int((self._clock.now().mono_s - self._entered_mono_s) / self._period_s + 1e-9)
        taken: dict[str, list[Sample]] = {}
        for number in range(max(self._next, last - _KEPT_SAMPLES + 1), last + 1):
            mono_s = self._entered_mono_s + number * self._period_s
            for probe_id, probe in self._probes.items():
                state = probe.plant.advance_to(self._clock.true_at(mono_s))
                sample = self._sample(probe_id, probe, state, mono_s)
                if sample is not None:
                    taken.setdefault(probe_id, []).append(sample)
        self._next = last + 1
        return taken

    def listed(self) -> Sequence[str]:
        """Return the ids of all probes but those that are disconnected."""
        gone = {one for one, fault in self._faults.items() if fault is ProbeFault.DISCONNECTED}
        return tuple(sorted(set(self._probes) - gone))

    def break_probe(self, probe_id: str, fault: ProbeFault) -> None:
        """Let every sample of a probe have this fault from now on."""
        self._faults[probe_id] = fault

    def silence(self, probe_id: str) -> None:
        """Let a probe give no samples at all, as one on a bus that hangs."""
        self._faults[probe_id] = None

    def freeze(self, probe_id: str, temp_c: float) -> None:
        """Let a probe show one value for ever."""
        self._frozen_c[probe_id] = temp_c

    def mend(self, probe_id: str) -> None:
        """Take back every fault of a probe."""
        self._faults.pop(probe_id, None)
        self._frozen_c.pop(probe_id, None)

    def move(self, probe_id: str, probe: SimulatedProbe) -> None:
        """Put a probe somewhere else: it has fallen out of the vessel, or been swapped."""
        self._probes[probe_id] = probe

    def _sample(
        self, probe_id: str, probe: SimulatedProbe, state: ThermalState, mono_s: float
    ) -> Sample | None:
        # Read in any case, so that a fault of one probe does not change the noise of the others.
        temp_c = probe.model.read_c(probe.spot(state), self._random)
        if probe_id in self._faults:
            fault = self._faults[probe_id]
            return None if fault is None else Sample(mono_s, fault=fault)
        return Sample(mono_s, self._frozen_c.get(probe_id, temp_c))


class SimulatedRelayBank:
    """The relays of simulated chambers; a `RelayBank`."""

    def __init__(self, contacts: Mapping[str, Contact], clock: SimulatedClock) -> None:
        self._contacts = dict(contacts)
        self._clock = clock
        self._lock = RLock()
        self._in_use = False
        self._states: dict[str, RelayState] = {}
        self._expired: list[str] = []
        self._broken: set[str] = set()
        self._first_end_mono_s = inf
        """No lease ends before this, so that there is nothing to look after until then."""

    def __enter__(self) -> Self:
        with self._lock:
            self._in_use = True
            for line in self._contacts:
                self._switch(line, on=False)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.release_all()
        self._in_use = False

    def drive(self, on_by_line: Mapping[str, bool], lease_until_mono_s: float) -> None:
        """Drive these lines; those that go off are switched before those that go on.

        Raises RelayError if a line is unknown or broken; every line named is then off.
        """
        with self._lock:
            self._settle()
            wrong = [one for one in on_by_line if one not in self._states or one in self._broken]
            if wrong or not self._in_use:
                for line in on_by_line:
                    if line in self._states:
                        self._switch(line, on=False)
                raise RelayError(f"line {', '.join(wrong or on_by_line)}: cannot be driven")
            for line, on in on_by_line.items():
                if not on and self._states[line].on:
                    self._switch(line, on=False)
            for line, on in on_by_line.items():
                # What has let go stays off until the caller has been told.
                if on and line not in self._expired:
                    self._switch(line, on=True, lease_until_mono_s=lease_until_mono_s)
            self._settle()

    def release_all(self) -> None:
        """Drive everything off; what a loss of power does as well."""
        with self._lock:
            self._settle()
            for line in self._states:
                self._switch(line, on=False)

    def expired(self) -> Sequence[str]:
        """Return the lines that let go by themselves since the last call."""
        with self._lock:
            self._settle()
            gone, self._expired = self._expired, []
        return tuple(gone)

    def states(self) -> Mapping[str, RelayState]:
        """Return every line as it was last driven."""
        with self._lock:
            self._settle()
            return dict(self._states)

    def kill(self) -> None:
        """End as by SIGKILL: nothing lets go any more, and what is on stays on.

        Until another bank is entered, or the power is cut.
        """
        with self._lock:
            self._settle()
            self._in_use = False
            true_s = self._clock.true_utc_s
            for line, state in self._states.items():
                contact = self._contacts[line]
                contact.plant.switch(contact.duty, state.on, true_s)
            self._states = {}

    def break_line(self, line: str) -> None:
        """Let every attempt to drive this line fail, as a line that another process took away."""
        self._broken.add(line)

    def stick(self, line: str, on: bool) -> None:
        """Let the relay's contacts be welded (on) or burnt away (off), whatever it is told."""
        contact = self._contacts[line]
        contact.plant.stick(contact.duty, on, self._clock.true_utc_s)

    def mend(self, line: str) -> None:
        """Take back every fault of a line and its relay."""
        self._broken.discard(line)
        contact = self._contacts[line]
        contact.plant.stick(contact.duty, None, self._clock.true_utc_s)

    def _settle(self) -> None:
        """Note what has let go by itself; the plant did so at that very moment."""
        if self._first_end_mono_s == inf:
            return
        now_s = self._clock.now().mono_s
        if now_s < self._first_end_mono_s:
            return
        for line, state in self._states.items():
            if state.on and state.lease_until_mono_s <= now_s:
                self._switch(line, on=False)
                self._expired.append(line)
        ends = (state.lease_until_mono_s for state in self._states.values() if state.on)
        self._first_end_mono_s = min(ends, default=inf)

    def _switch(self, line: str, *, on: bool, lease_until_mono_s: float = 0.0) -> None:
        contact, clock = self._contacts[line], self._clock
        until_s = clock.true_at(lease_until_mono_s) if on else None
        contact.plant.switch(contact.duty, on, clock.true_utc_s, until_s)
        if on:
            self._first_end_mono_s = min(self._first_end_mono_s, lease_until_mono_s)
        self._states[line] = RelayState(on, on == contact.active_high, lease_until_mono_s)
