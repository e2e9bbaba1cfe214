"""The copy in memory that everything but the loop reads: page, interface, command line, status.

The loop replaces it whole after each tick; a reader takes the reference and has a picture in
which everything belongs together. No reader ever waits for the loop, the hardware or the
database.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fermd.control.alarms import Alarm
from fermd.control.decision import Decision
from fermd.control.health import Health
from fermd.control.moment import Moment
from fermd.control.progress import Progress
from fermd.journal.ports import Trouble


@dataclass(frozen=True, slots=True)
class ChamberView:
    """One chamber after a tick."""

    decision: Decision
    healths: Mapping[str, Health]
    """By the probe's name: counters of faults for people to see."""
    progress: Progress | None = None
    """The profile under way, running or paused: what is still to come can be laid out from it."""


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
