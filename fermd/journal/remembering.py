"""Decides when what a restart must know is worth a write.

A flash card wears out, and the loop hands over its state every minute. So:

- the history of a line is written at once when an output was switched or a rest was set;
- the state of a chamber is written at once when something happened, else every ten minutes, if it
  is another then, or if nothing else shows that somebody was in charge: without a reading (a silent
  probe) an outage would be told from hours before it.

What is at risk when the power fails is therefore up to ten minutes of a step's own clock: the
step then runs longer by what was not counted, never shorter. Measured with
tests/benchmarks/bytes_written.py on ext4, everything else the same: 12.8 MB a day with the state
written every minute, 5.2 MB every five, 4.4 MB every ten.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from fermd.control.moment import Moment
from fermd.journal.ports import ChamberRecord, LineHistory


@dataclass(frozen=True, slots=True)
class State:
    """What was handed over last."""

    moment: Moment
    lines: tuple[LineHistory, ...]
    chambers: tuple[ChamberRecord, ...] | None
    """None: what is written already will do."""


@dataclass(slots=True)
class Remembering:
    """What was handed over, what of it was passed on to be written, and what is due."""

    every_s: float
    latest: State | None = None
    read_mono_s: float = float("-inf")
    """When the last reading came that was passed on."""
    _passed_on: State | None = None
    """The last that was passed on with the chambers."""
    _lines_passed_on: tuple[LineHistory, ...] = ()
    _something_happened: bool = True

    def take(
        self,
        moment: Moment,
        lines: Sequence[LineHistory],
        chambers: Sequence[ChamberRecord],
    ) -> State | None:
        """Take over the newest state; give it back if it is to be written now."""
        self.latest = State(moment, tuple(lines), tuple(chambers))
        if self._is_due(self.latest):
            return self._pass_on()
        if _switched(self._lines_passed_on, self.latest.lines):
            self._lines_passed_on = self.latest.lines
            return replace(self.latest, chambers=None)
        return None

    def happened(self, moment: Moment) -> State | None:
        """Something happened: the state that goes with it is to be written.

        Now, if it is here already; else as soon as it comes.
        """
        self._something_happened = True
        if self.latest is not None and self.latest.moment.mono_s == moment.mono_s:
            return self._pass_on()
        return None

    def last_word(self) -> State | None:
        """What has not been written yet, at the end."""
        return None if self.latest is self._passed_on else self._pass_on()

    def all_again(self) -> State | None:
        """A new file: everything is to be written again."""
        return self._pass_on()

    def _pass_on(self) -> State | None:
        self._passed_on = self.latest
        self._something_happened = self.latest is None
        if self.latest is not None:
            self._lines_passed_on = self.latest.lines
        return self.latest

    def _is_due(self, new: State) -> bool:
        old = self._passed_on
        if old is None or self._something_happened:
            return True
        now_s = new.moment.mono_s
        if now_s - old.moment.mono_s < self.every_s:
            return False
        is_other = (old.lines, old.chambers) != (new.lines, new.chambers)
        return is_other or now_s - self.read_mono_s >= self.every_s


def _switched(old: tuple[LineHistory, ...], new: tuple[LineHistory, ...]) -> bool:
    """Whether more has changed than that a start has become too old to count."""
    before = {line.line: line for line in old}
    if before.keys() != {line.line for line in new}:
        return True
    for line in new:
        was = before[line.line]
        if not set(line.starts_mono_s) <= set(was.starts_mono_s):
            return True
        if replace(line, starts_mono_s=()) != replace(was, starts_mono_s=()):
            return True
    return False
