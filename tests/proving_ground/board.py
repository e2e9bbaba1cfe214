"""The ports of a board on which a process may end at any moment of a tick.

Each port tells `Fate` which phase of a tick has been reached; there the process may be killed, or
an exception may rise. A dead process's ports do nothing any more, whatever Python still unwinds.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from random import Random
from typing import Any

from fermd.control.reading import ProbeFault, Sample
from fermd.hardware.simulated import SimulatedProbe, SimulatedProbeBus, SimulatedRelayBank
from fermd.hardware.simulated_clock import SimulatedClock

TICK_TAKES_S = 1 / 16
"""What a tick takes, s: two that follow on each other (a command has come) are not at one time."""

PHASES = (
    "claiming the lines",
    "opening the journal",
    "hearing of leases",
    "reading the probes",
    "driving the relays",
    "switching on",
    "switched on",
    "switching off",
    "switched off",
    "handing over readings",
    "handing over events",
    "handing over the state",
    "waiting",
)
"""Where in a tick (or a start) a process can be ended; all but the first two come at any tick."""

BAD_FAULTS = (
    ProbeFault.CHECKSUM,
    ProbeFault.POWER_ON_VALUE,
    ProbeFault.DISCONNECTED,
    ProbeFault.NO_ANSWER,
)


class Killed(BaseException):
    """What ends a process as SIGKILL and a cut of the power do."""


class Crashed(RuntimeError):  # noqa: N818 - what became of the process
    """An exception that nobody expected."""


class Fate:
    """Whether the process lives, and where it is to end."""

    def __init__(self) -> None:
        self.alive = False
        self.kill_at: str | None = None
        self.crash_at: str | None = None
        self.dies: Callable[[], None] = lambda: None

    def reaches(self, phase: str) -> None:
        """The process has come to this phase."""
        if not self.alive:
            return
        if self.kill_at == phase:
            self.kill_at = None
            self.kill()
        if self.crash_at == phase:
            self.crash_at = None
            raise Crashed(f"an exception in a test, while {phase}")

    def kill(self) -> None:
        """End the process here and now."""
        self.dies()
        self.alive = False
        raise Killed


class WorldClock(SimulatedClock):
    """Time that passes in waits; before each one, what has its own threads does its work."""

    def __init__(self, start_utc_s: float, fate: Fate, **more: Any) -> None:
        super().__init__(start_utc_s, **more)
        self._fate = fate
        self.between_ticks: Callable[[], None] = lambda: None

    def wait_until(self, mono_s: float) -> bool:
        if not self._fate.alive:
            return super().wait_until(mono_s)
        self.between_ticks()
        self._fate.reaches("waiting")
        woken = super().wait_until(mono_s)
        if woken:
            self.let_pass(TICK_TAKES_S)
        return woken

    def let_pass(self, span_s: float) -> None:
        """Let true time pass, whoever is woken meanwhile; the process hangs, or there is none."""
        until_s = self.true_utc_s + span_s
        while self.true_utc_s < until_s - 1e-6:
            woken_before, self._woken = self._woken, False
            super().wait_until(self.now().mono_s + until_s - self.true_utc_s)
            self._woken = self._woken or woken_before


class WorldProbes(SimulatedProbeBus):
    """The probe bus, with more faults, and with a witness to what the loop is given."""

    def __init__(
        self,
        probes: Mapping[str, SimulatedProbe],
        period_s: float,
        clock: WorldClock,
        seed: int,
        fate: Fate,
    ) -> None:
        super().__init__(probes, period_s, clock, seed)
        self._fate = fate
        self._world_clock = clock
        self._spoils: dict[str, Callable[[Sample], Sample | None]] = {}
        self.stalls_s = 0.0
        self.given: Mapping[str, Sequence[Sample]] = {}
        """What was given at the last tick."""

    def take(self) -> Mapping[str, Sequence[Sample]]:
        if not self._fate.alive:
            return {}
        self._fate.reaches("reading the probes")
        if self.stalls_s:
            stalls_s, self.stalls_s = self.stalls_s, 0.0
            self._world_clock.let_pass(stalls_s)
        self.given = super().take()
        return self.given

    def spoil(self, probe_id: str, spoils: Callable[[Sample], Sample | None] | None) -> None:
        """Let every sample of a probe go through this; None mends it."""
        if spoils is None:
            self._spoils.pop(probe_id, None)
        else:
            self._spoils[probe_id] = spoils

    def place_of(self, probe_id: str) -> SimulatedProbe:
        """Return where a probe is."""
        return self._probes[probe_id]

    def _sample(self, probe_id: str, probe: SimulatedProbe, state: Any, mono_s: float) -> Any:
        sample = super()._sample(probe_id, probe, state, mono_s)
        spoils = self._spoils.get(probe_id)
        return sample if spoils is None or sample is None else spoils(sample)


def mixed(seed: int) -> Callable[[Sample], Sample | None]:
    """Every kind of fault in turn, good readings among them: a loose contact."""
    random = Random(seed)

    def spoils(sample: Sample) -> Sample | None:
        what = random.randrange(10)
        if what < 4:
            return Sample(sample.taken_mono_s, fault=BAD_FAULTS[what])
        if what == 4:
            return None
        if what == 5:
            return Sample(sample.taken_mono_s, random.choice([-54.0, 85.0, 124.0]))
        return sample

    return spoils


def moved_by(by_c: Callable[[], float]) -> Callable[[Sample], Sample | None]:
    """Readings that are off by so much."""

    def spoils(sample: Sample) -> Sample | None:
        if sample.temp_c is None:
            return sample
        moved_c = round(16 * (sample.temp_c + by_c())) / 16
        return Sample(sample.taken_mono_s, max(-55.0, min(125.0, moved_c)))

    return spoils


class WorldRelays(SimulatedRelayBank):
    """The relays, at which a process may end before, between and after two switchings."""

    def __init__(self, contacts: Any, clock: SimulatedClock, fate: Fate) -> None:
        super().__init__(contacts, clock)
        self._fate = fate
        self.entered = 0

    def __enter__(self) -> WorldRelays:
        self.entered += 1
        super().__enter__()
        self._fate.reaches("claiming the lines")
        return self

    def expired(self) -> Sequence[str]:
        self._fate.reaches("hearing of leases")
        return super().expired() if self._fate.alive else ()

    def drive(self, on_by_line: Mapping[str, bool], lease_until_mono_s: float) -> None:
        if not self._fate.alive:
            return
        self._fate.reaches("driving the relays")
        change = self._change(on_by_line)
        if change is not None:
            self._fate.reaches(f"switching {change}")
        super().drive(on_by_line, lease_until_mono_s)
        if change is not None:
            self._fate.reaches(f"switched {change}")

    def _change(self, on_by_line: Mapping[str, bool]) -> str | None:
        states = self._states
        for line, on in on_by_line.items():
            if line in states and states[line].on is not on:
                return "on" if on else "off"
        return None
