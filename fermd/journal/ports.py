"""What the loop hands to the journal. The loop never waits for it: every call only queues.

`SqliteJournal` writes them down in a thread of its own. Whatever goes wrong there (full disk,
lock, torn file) shows up in `trouble()`, never as an exception in the loop.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Protocol

from fermd.control.events import Event, Severity
from fermd.control.moment import Moment


@dataclass(frozen=True, slots=True)
class ReadingRow:
    """One raw sample for the record."""

    moment: Moment
    chamber: str
    probe: str
    temp_c: float | None
    """Calibrated, °C; None for a fault."""
    fault: str | None


@dataclass(frozen=True, slots=True)
class LineHistory:
    """What protection must remember of one relay line, whatever happens to the process."""

    line: str
    on: bool
    stopped_mono_s: float | None
    started_mono_s: float | None
    starts_mono_s: tuple[float, ...]
    rest_until_mono_s: float | None
    """Times are on the boot clock of the boot that the row was written in."""


@dataclass(frozen=True, slots=True)
class ChamberRecord:
    """What a chamber goes on from after a restart (target, profile progress, alarms)."""

    chamber: str
    state_json: str
    boot_id: str | None = field(default=None, compare=False)
    """The boot whose clock the times in `state_json` are on; filled in by the journal when it
    gives a record back. May be older than `Outage.previous_boot_id`."""


@dataclass(frozen=True, slots=True)
class Outage:
    """What the journal knows of the time before this start."""

    previous_boot_id: str | None
    """None: the journal is new."""
    ended_cleanly: bool
    """The previous daemon wrote its stop, and this one could write its start; else nothing is
    known of the relays since `last`."""
    last: Moment | None
    """The newest moment in the journal."""
    lines: tuple[LineHistory, ...]
    """Only what was written in the boot `previous_boot_id`; a line without history is not here."""
    chambers: tuple[ChamberRecord, ...]


@dataclass(frozen=True, slots=True)
class Trouble:
    """Something is wrong with the journal; control goes on without it."""

    kind: str
    """`not-writing` or `set-aside`."""
    severity: Severity
    detail: str
    """For a person: what happened, to which file, what to do."""


class Journal(Protocol):
    """The record, as the loop sees it."""

    def outage(self) -> Outage:
        """What was known when this journal was opened."""
        ...

    def readings(self, rows: Sequence[ReadingRow]) -> None:
        """Queue samples; written in batches, so that a flash card lasts."""
        ...

    def events(self, moment: Moment, chamber: str, events: Sequence[Event]) -> None:
        """Queue events; committed without delay."""
        ...

    def remember(
        self, moment: Moment, lines: Sequence[LineHistory], chambers: Sequence[ChamberRecord]
    ) -> None:
        """Queue what a restart must know; replaces what was remembered before."""
        ...

    def clock_stepped(self, moment: Moment, by_s: float) -> None:
        """Queue a step of the wall clock by so many seconds (positive is forward)."""
        ...

    def note(self, moment: Moment, chamber: str, who: str, text: str) -> None:
        """Queue a note by the brewer."""
        ...

    def trouble(self) -> Trouble | None:
        """What is wrong at present, if anything."""
        ...

    def close(self, moment: Moment, *, cleanly: bool) -> None:
        """Write out everything queued, note the stop, and close."""
        ...
