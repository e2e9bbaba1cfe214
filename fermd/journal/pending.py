"""What waits in memory to be written, and what is given up first when there is too much.

Rows wait here until they are committed, however long the disk is full or locked. Their number is
bounded: beyond it the oldest readings go first (their neighbours tell nearly the same), then the
oldest happenings; what is given up is counted, and the count becomes a row of its own.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field, replace

from fermd.control.moment import Moment
from fermd.journal.ports import ChamberRecord, LineHistory, ReadingRow
from fermd.journal.rows import Happening, Incident


@dataclass(frozen=True, slots=True)
class WaitingHappening:
    """A happening with its place in the order of this run."""

    order: int
    moment: Moment
    chamber: str
    happening: Happening


@dataclass(frozen=True, slots=True)
class WaitingReading:
    """A reading with its place in the order of this run."""

    order: int
    row: ReadingRow


@dataclass(frozen=True, slots=True)
class Remembered:
    """What a restart must know, as it was at one moment."""

    order: int
    moment: Moment
    lines: tuple[LineHistory, ...]
    chambers: tuple[ChamberRecord, ...] | None
    """None: they stay as they are written."""


@dataclass(slots=True)
class Losses:
    """What was given up since the journal could last be written."""

    readings: int = 0
    happenings: int = 0

    def __bool__(self) -> bool:
        return self.readings + self.happenings > 0

    def less(self, told: Happening) -> None:
        """These have been told of by a row; more may have come since."""
        if isinstance(told, Incident):
            self.readings -= told.lost_readings
            self.happenings -= told.lost_events


@dataclass(slots=True)
class Batch:
    """What one transaction is to write."""

    happenings: list[WaitingHappening]
    readings: list[WaitingReading]
    remembered: Remembered | None

    def __bool__(self) -> bool:
        return bool(self.happenings or self.readings or self.remembered)

    def has_undated(self) -> bool:
        """Whether a row was made while the wall clock was not known to be set."""
        return not all(moment.wall_trusted for moment in self._moments())

    def newest_trusted(self) -> Moment | None:
        """The newest moment with a wall clock that is known to be set.

        Not the first: the clock may be set and then stepped within one batch.
        """
        trusted = (moment for moment in self._moments() if moment.wall_trusted)
        return max(trusted, key=lambda moment: moment.mono_s, default=None)

    def _moments(self) -> list[Moment]:
        moments = [each.moment for each in self.happenings]
        moments += [each.row.moment for each in self.readings]
        if self.remembered is not None:
            moments.append(self.remembered.moment)
        return moments


@dataclass(slots=True)
class Pending:
    """The rows that wait. Not safe for threads: its owner holds a lock."""

    most_rows: int
    happenings: deque[WaitingHappening] = field(default_factory=deque)
    readings: deque[WaitingReading] = field(default_factory=deque)
    remembered: Remembered | None = None
    losses: Losses = field(default_factory=Losses)
    _next_order: int = 1

    def number(self) -> int:
        """The next place in the order."""
        self._next_order += 1
        return self._next_order - 1

    def lowest_order(self) -> int:
        """The lowest place that may still be written."""
        heads = [waiting[0].order for waiting in (self.happenings, self.readings) if waiting]
        if self.remembered is not None:
            heads.append(self.remembered.order)
        return min(heads, default=self._next_order)

    def put(self, moment: Moment, chamber: str, happening: Happening) -> None:
        """Add a happening."""
        self.happenings.append(WaitingHappening(self.number(), moment, chamber, happening))
        self._give_up_surplus()

    def put_reading(self, row: ReadingRow) -> None:
        """Add a reading."""
        self.readings.append(WaitingReading(self.number(), row))
        self._give_up_surplus()

    def take(self) -> Batch:
        """Everything there is, to be written now. What fails is to be `put_back`."""
        batch = Batch(list(self.happenings), list(self.readings), self.remembered)
        self.happenings.clear()
        self.readings.clear()
        self.remembered = None
        return batch

    def put_back(self, batch: Batch) -> None:
        """What could not be written waits again, before what has come since."""
        self.happenings.extendleft(reversed(batch.happenings))
        self.readings.extendleft(reversed(batch.readings))
        if batch.remembered is not None:
            self.remember(batch.remembered, self.remembered)
        self._give_up_surplus()

    def remember(self, older: Remembered, newer: Remembered | None) -> None:
        """Have the newer written, with the older's chambers where it says nothing of them."""
        if newer is None:
            self.remembered = older
        elif newer.chambers is None:
            self.remembered = replace(newer, chambers=older.chambers)
        else:
            self.remembered = newer

    def readings_span_s(self) -> float:
        """How far apart the oldest and the newest waiting reading are, s."""
        if not self.readings:
            return 0.0
        return self.readings[-1].row.moment.mono_s - self.readings[0].row.moment.mono_s

    def _give_up_surplus(self) -> None:
        while len(self.happenings) + len(self.readings) > self.most_rows:
            if self.readings:
                self.readings.popleft()
                self.losses.readings += 1
            else:
                self.happenings.popleft()
                self.losses.happenings += 1
