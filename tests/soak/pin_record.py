"""What the pins did, from outside, held against what must never happen.

The pins' record is all that is known of the relays, and the journal all that is said of them. A
level lasts until the line is driven to another, or the power is lost.

Protection counts a stop from the moment of its tick (the journal's), the relay lets go a little
later: that little is measured, and a pause is counted from the moment that was counted from.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from process_rig import Edge
from soak_board import SOAK_PACE, Life
from two_chambers import (
    CHANGEOVER_S,
    LIMIT_A,
    LONGEST_RUN_S,
    MINIMUM_OFF_S,
    STARTS_PER_HOUR,
    UNKNOWN_PAST_S,
    WIRE,
)

from fermd.control.settings import HOUR_S, Duty

ROUNDING_S = 0.01
UNTOLD_S = 2.0 * SOAK_PACE
"""What a process that is killed did in its last two (real) seconds need not be in the journal: a
commit waits 50 ms for what belongs to it, and the machine may be busy."""
LATE_S = 5.0 * SOAK_PACE
"""A row and its edge lie no further apart: five real seconds, on a machine that is starved."""


@dataclass(frozen=True)
class Told:
    """A switching in the journal."""

    line: str
    on: bool
    at_s: float
    """True time, s."""


@dataclass
class Switch:
    """A change of a relay."""

    gpio: int
    on: bool
    at_s: float
    pid: int
    """0: the power went."""
    decided_s: float
    """When it was decided, as far as it is known; never after the change itself."""


@dataclass
class PinFigures:
    """What was seen, beside what was wrong."""

    starts: int = 0
    shortest_off_s: float = float("inf")
    """Pin to pin."""
    latest_s: float = 0.0
    """Longest from a decision to its relay, real s."""
    edges: int = 0
    told: int = 0


@dataclass
class PinRecord:
    """Everything that the pins did on one board."""

    edges: Sequence[Edge]
    lives: Sequence[Life]
    power_losses_s: Sequence[float]
    told: Sequence[Told]
    """What the journal says of it, by its moments."""
    disk_full_s: Sequence[tuple[float, float]] = ()
    must_be_off: Sequence[tuple[int, float, float, str]] = ()
    """(gpio, from, to, why): a line that no living process may have on in this time."""
    figures: PinFigures = field(default_factory=PinFigures)

    def faults(self) -> list[str]:
        """Everything that must not be, in plain words."""
        switches = self._switches()
        found = list(self._first_off())
        found += self._against_the_journal(switches)
        found += self._opposites(switches)
        found += self._compressors(switches)
        found += self._supply(switches)
        found += self._runs(switches)
        found += self._after_orderly_ends(switches)
        self.figures.edges = len(self.edges)
        self.figures.told = len(self.told)
        return found

    def _switches(self) -> list[Switch]:
        level = dict.fromkeys(WIRE, False)
        events: list[tuple[float, Edge | None]] = [(edge.mono_s, edge) for edge in self.edges]
        events += [(at_s, None) for at_s in self.power_losses_s]
        found: list[Switch] = []
        for at_s, edge in sorted(events, key=lambda event: event[0]):
            for gpio in WIRE if edge is None else (edge.gpio,):
                on = edge is not None and edge.on
                if level[gpio] != on:
                    level[gpio] = on
                    found.append(Switch(gpio, on, at_s, edge.pid if edge else 0, at_s))
        return found

    def _first_off(self) -> Iterator[str]:
        """Each process drives every line off before it drives any on."""
        for life in self.lives:
            off: set[int] = set()
            for edge in self.edges:
                if edge.pid != life.pid:
                    continue
                if edge.on and off != set(WIRE):
                    yield f"process {life.pid} drove {edge.gpio} on with {set(WIRE) - off} unseen"
                    break
                off.add(edge.gpio)

    def _against_the_journal(self, switches: Sequence[Switch]) -> Iterator[str]:
        claimed = 0
        for life in self.lives:
            within = [one for one in self.told if life.born_s <= one.at_s <= life.died_s]
            claimed += len(within)
            for gpio, wire in WIRE.items():
                told = [one for one in within if one.line == wire.line]
                did = [one for one in switches if one.pid == life.pid and one.gpio == gpio]
                if did and not did[0].on:
                    # It was left on by somebody before, and driven off at the start.
                    did = did[1:]
                yield from self._one_line(life, gpio, did, told)
        if claimed != len(self.told):
            yield f"{len(self.told) - claimed} switchings are told of times when nobody was there"

    def _one_line(
        self, life: Life, gpio: int, did: Sequence[Switch], told: Sequence[Told]
    ) -> Iterator[str]:
        who = f"line {gpio} of process {life.pid} ({life.how})"
        if [one.on for one in told] != [one.on for one in did[: len(told)]]:
            yield f"{who}: told {[one.on for one in told]}, did {[one.on for one in did]}"
            return
        for switch, row in zip(did, told, strict=False):
            late_s = switch.at_s - row.at_s
            if abs(late_s) > LATE_S:
                yield f"{who}: {late_s / SOAK_PACE:.2f} s (real) between its row and its edge"
            if late_s > 0:
                switch.decided_s = row.at_s
                if not switch.on:
                    self.figures.latest_s = max(self.figures.latest_s, late_s / SOAK_PACE)
        for switch in did[len(told) :]:
            if not self._may_be_untold(life, switch):
                before_s = (life.died_s - switch.at_s) / SOAK_PACE
                word = "on" if switch.on else "off"
                yield f"{who}: {word} {before_s:.2f} s (real) before its end is not in the journal"

    def _may_be_untold(self, life: Life, switch: Switch) -> bool:
        killed = life.exit_code is not None and life.exit_code < 0
        if killed and switch.at_s >= life.died_s - UNTOLD_S:
            return True
        return any(
            from_s <= life.died_s and to_s >= switch.at_s for from_s, to_s in self.disk_full_s
        )

    def _opposites(self, switches: Sequence[Switch]) -> Iterator[str]:
        on: set[int] = set()
        stopped: dict[int, Switch] = {}
        for switch in switches:
            if not switch.on:
                on.discard(switch.gpio)
                stopped[switch.gpio] = switch
                continue
            on.add(switch.gpio)
            ours = WIRE[switch.gpio]
            for other in WIRE.values():
                if other.chamber != ours.chamber or other.duty is ours.duty:
                    continue
                if other.gpio in on:
                    yield f"{ours.output} went on with {other.output} on, at {switch.at_s:.1f}"
                before = stopped.get(other.gpio)
                gap_s = CHANGEOVER_S if before is None else switch.at_s - before.decided_s
                if gap_s < CHANGEOVER_S - ROUNDING_S:
                    yield f"{ours.output} on {gap_s:.1f} s after {other.output}, {switch.at_s:.1f}"

    def _compressors(self, switches: Sequence[Switch]) -> Iterator[str]:
        for gpio, wire in WIRE.items():
            if not wire.is_compressor:
                continue
            own = [one for one in switches if one.gpio == gpio]
            starts = [one for one in own if one.on]
            self.figures.starts += len(starts)
            for before, after in pairwise(own):
                if after.on:
                    pins_s = after.at_s - before.at_s
                    self.figures.shortest_off_s = min(self.figures.shortest_off_s, pins_s)
                    if after.at_s - before.decided_s < MINIMUM_OFF_S - ROUNDING_S:
                        yield f"{wire.output} was off for {pins_s:.1f} s only, at {after.at_s:.1f}"
            for first, last in zip(starts, starts[STARTS_PER_HOUR:], strict=False):
                if last.at_s - first.decided_s < HOUR_S - ROUNDING_S:
                    yield f"{wire.output} started {STARTS_PER_HOUR + 1} times in an hour"
            yield from self._unknown_past(gpio, starts)

    def _unknown_past(self, gpio: int, starts: Sequence[Switch]) -> Iterator[str]:
        """After an end without a word the first start waits as long as the worst past asks for."""
        known, boot_id = True, ""
        for life in self.lives:
            if life.released:
                continue
            known = known and life.boot_id == boot_id
            first = next((one for one in starts if one.pid == life.pid), None)
            if first is not None and not known:
                yield from self._waited(gpio, life, first)
            if life.ticked:
                # One that never came to a tick was in charge of nothing: what was known, is.
                known, boot_id = life.exit_code == 0, life.boot_id

    def _waited(self, gpio: int, life: Life, first: Switch) -> Iterator[str]:
        claimed = next(e for e in self.edges if e.pid == life.pid and e.gpio == gpio)
        waited_s = first.at_s - claimed.mono_s
        if waited_s < UNKNOWN_PAST_S - ROUNDING_S:
            yield (
                f"{WIRE[gpio].output} started {waited_s:.1f} s after process {life.pid} took over "
                "an unknown past"
            )

    def _supply(self, switches: Sequence[Switch]) -> Iterator[str]:
        on: set[int] = set()
        for switch in switches:
            (on.add if switch.on else on.discard)(switch.gpio)
            drawn_a = sum(WIRE[gpio].rated_a for gpio in on)
            if switch.on and drawn_a > LIMIT_A + 1e-9:
                yield f"the supply carried {drawn_a:g} A at {switch.at_s:.1f}"

    def _runs(self, switches: Sequence[Switch]) -> Iterator[str]:
        """No run of a living process is too long, or goes on where it must not."""
        for gpio, wire in WIRE.items():
            own = [one for one in switches if one.gpio == gpio]
            for begun, ended in pairwise([*own, Switch(gpio, False, float("inf"), 0, 0.0)]):
                if not begun.on:
                    continue
                life = next(one for one in self.lives if one.pid == begun.pid)
                end_s = min(ended.at_s, life.died_s)
                ran_s = end_s - begun.at_s
                if wire.duty is Duty.COOL and ran_s > LONGEST_RUN_S + LATE_S / 5:
                    yield f"{wire.output} ran for {ran_s:.0f} s"
                for which, from_s, to_s, why in self.must_be_off:
                    if which == gpio and begun.at_s < to_s and end_s > from_s:
                        yield f"{wire.output} was on from {begun.at_s:.0f} to {end_s:.0f}: {why}"

    def _after_orderly_ends(self, switches: Sequence[Switch]) -> Iterator[str]:
        """Whoever ends by his own stop, or by an exception, leaves everything off."""
        for life in self.lives:
            if life.exit_code is None or life.exit_code < 0:
                continue
            left = {s.gpio for s in switches if s.at_s <= life.died_s and s.on}
            left = {
                gpio
                for gpio in left
                if [s for s in switches if s.gpio == gpio and s.at_s <= life.died_s][-1].on
            }
            if left:
                yield f"process {life.pid} ({life.how}) left {left} on"
