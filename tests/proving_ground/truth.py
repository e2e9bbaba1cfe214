"""What truly happened: an independent record, taken at the coils of the relays, on true time.

The plant is told of every switching at its very moment, a lease that runs out included, so the
record owes nothing to what fermd believes or writes. Beside it stands when each process began and
ended, where each profile stood then, and what was asked.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from fermd.control.settings import Duty, SiteSettings
from fermd.hardware.simulated_plant import SimulatedPlant

UNIT_S = 1 / 64
"""The plant counts in 64ths of a second: two times this near to each other are the same."""


@dataclass(frozen=True, slots=True)
class Switching:
    """A coil that was energised or let go."""

    at_s: float
    """True time, POSIX; so is every other `at_s` here."""
    chamber: str
    duty: Duty
    on: bool
    process: int
    """Which process was alive then (its number), or had been the last to be."""
    settings: SiteSettings
    """What was in force."""


@dataclass(frozen=True, slots=True)
class Broken:
    """A promise that was not kept."""

    invariant: int
    """Its number in the list of what must never happen."""
    promise: str
    chamber: str
    at_s: float
    """True time, POSIX; 0 where a row of the journal says when."""
    detail: str

    def told(self, start_s: float) -> str:
        """Say it, with the time since the world began."""
        when = f"day {(self.at_s - start_s) / 86400:.3f}, " if self.at_s else ""
        return f"invariant {self.invariant}, {self.promise}: {when}{self.chamber} {self.detail}"


@dataclass(slots=True)
class Process:
    """One run of the daemon."""

    number: int
    boot: int
    """Counts the starts of the board, from 1."""
    started_s: float
    ended_s: float = float("inf")
    """When it ended; what it left on is released within `RELEASE_WITHIN_S`."""
    how: str = "running"
    """`stop`, `kill`, `crash` or `power`."""
    written_until_s: float = float("-inf")
    """Everything that happened up to then is on the disk."""
    ticks_s: list[float] = field(default_factory=list)
    """When the first completed tick began, and the last."""
    gaps_s: list[tuple[float, float]] = field(default_factory=list)
    """Spans between two completed ticks that were longer than two sample periods."""


@dataclass(frozen=True, slots=True)
class Standing:
    """Where a chamber's profile stood after a tick."""

    at_s: float
    process: int
    profile: str | None
    index: int
    elapsed_s: float
    paused: bool
    commands: int
    """How many commands the chamber had been given by then."""


@dataclass(slots=True)
class Truth:
    """The whole record of one world."""

    switchings: list[Switching] = field(default_factory=list)
    processes: list[Process] = field(default_factory=list)
    boots_s: list[float] = field(default_factory=list)
    """When the board was started, each time."""
    settings: list[tuple[float, SiteSettings]] = field(default_factory=list)
    """From when on which settings were in force."""
    outages_s: list[tuple[float, float]] = field(default_factory=list)
    """Spans without mains."""
    standings: dict[str, list[Standing]] = field(default_factory=dict)
    asked: list[tuple[float, str, Any]] = field(default_factory=list)
    """Commands that were left for the loop: when, for which chamber, what."""
    broken: list[Broken] = field(default_factory=list)
    """What the world itself saw go wrong at once."""
    injected: dict[str, int] = field(default_factory=dict)
    """How often each kind of fault was injected."""
    wall_wrong_s: list[tuple[float, float]] = field(default_factory=list)
    """From when on a wall clock that counts as set was off by how much."""
    torn_s: list[tuple[float, float]] = field(default_factory=list)
    """Spans of which a disk that lied has torn what it had promised: what was committed then may be
    gone. From minus infinity on where a page of the database itself was torn."""
    set_aside_s: list[float] = field(default_factory=list)
    """When a journal was set aside: what was written before is in a file of another name."""

    @property
    def whole_from_s(self) -> float:
        """From when on the journal that is left has everything but the torn spans."""
        spoilt_s = [to_s for from_s, to_s in self.torn_s if from_s == float("-inf")]
        return max([*spoilt_s, *self.set_aside_s], default=float("-inf"))

    def may_have_lost(self, from_s: float, to_s: float) -> bool:
        """Whether something of that span may be missing from the journal that is left."""
        if from_s <= self.whole_from_s:
            return True
        return any(torn_s <= to_s and from_s <= until_s for torn_s, until_s in self.torn_s)


class RecordedPlant(SimulatedPlant):
    """A plant that tells of every coil at the moment of its switching."""

    def __init__(self, *given: Any, **more: Any) -> None:
        super().__init__(*given, **more)
        self.tell: Callable[[Duty, bool, float], None] = lambda *_: None
        self._told_on = dict.fromkeys(Duty, False)

    def switch(
        self, duty: Duty, on: bool, at_utc_s: float, until_utc_s: float | None = None
    ) -> None:
        super().switch(duty, on, at_utc_s, until_utc_s)
        self._compare(at_utc_s)

    def power_cut(self, at_utc_s: float, lasted_s: float) -> None:
        self.advance_to(at_utc_s)
        for duty, on in self._told_on.items():
            if on:
                self._told_on[duty] = False
                self.tell(duty, False, at_utc_s)
        super().power_cut(at_utc_s, lasted_s)

    def _let_go(self) -> None:
        super()._let_go()
        self._compare(self._start_utc_s + self._now / 64)

    def _compare(self, at_s: float) -> None:
        for duty, switch in self._switches.items():
            if switch.on is not self._told_on[duty]:
                self._told_on[duty] = switch.on
                self.tell(duty, switch.on, at_s)


@dataclass(frozen=True, slots=True)
class Span:
    """A coil was energised from the one switching to the other."""

    began: Switching
    until_s: float


def on_spans(truth: Truth, until_s: float) -> Mapping[tuple[str, Duty], list[Span]]:
    """Return when each coil was energised, in order."""
    spans: dict[tuple[str, Duty], list[Span]] = {}
    began: dict[tuple[str, Duty], Switching] = {}
    for one in truth.switchings:
        key = (one.chamber, one.duty)
        if one.on:
            began[key] = one
        elif key in began:
            spans.setdefault(key, []).append(Span(began.pop(key), one.at_s))
    for key, start in began.items():
        spans.setdefault(key, []).append(Span(start, until_s))
    return spans
