"""The copy in memory that everything but the loop reads: page, interface, command line, status.

The loop replaces it whole after each tick; a reader takes the reference and has a picture in
which everything belongs together. No reader ever waits for the loop, the hardware or the
database.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from fermd.control.alarms import Alarm
from fermd.control.decision import Decision
from fermd.control.health import Health
from fermd.control.moment import Moment
from fermd.control.progress import Progress
from fermd.control.reading import Reading
from fermd.journal.ports import Trouble


@dataclass(frozen=True, slots=True)
class ChamberView:
    """One chamber after a tick."""

    decision: Decision
    healths: Mapping[str, Health]
    """By the probe's name: counters of faults for people to see."""
    progress: Progress | None = None
    """The profile under way, running or paused: what is still to come can be laid out from it."""

    def probes(self) -> Iterator[tuple[str, str, Reading]]:
        """Each probe's name, its part (`vessel`, `air`, `watching`), and what it reads."""
        decision, names = self.decision, list(self.healths)
        yield names[0], "vessel", decision.vessel
        if decision.air is not None:
            yield names[1], "air", decision.air
        for name, seen in decision.watching:
            yield name, "watching", seen


@dataclass(frozen=True, slots=True)
class Snapshot:
    """The whole site after a tick."""

    moment: Moment
    tick: int
    """Counts ticks since the start: a reader that sees the same number twice sees nothing new."""
    chambers: Mapping[str, ChamberView]
    site_alarms: tuple[Alarm, ...]
    journal_trouble: Trouble | None
    started: Moment
