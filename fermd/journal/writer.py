"""The journal that the loop writes to: it queues, and a thread of its own writes.

The rules:

- No call of the port waits for the disk or raises because of it. What is wrong is told by
  `trouble()`.
- What happened is committed at once, with `synchronous=FULL`: once in the file it outlives
  kill -9 and a power cut. At risk is what came within the last tenth of a second.
- Readings are written every ten minutes, and with whatever happens: a power cut takes up to ten
  minutes of the curve. See remembering.py for the state that a restart goes on from.
- While the file cannot be written, rows wait in memory up to a bound; beyond it they are counted
  and the count becomes a row. Writing is tried again until it succeeds; nobody needs to help.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from fermd.control.events import Event, Severity
from fermd.control.moment import Moment
from fermd.journal.figures import Figures, figures_of
from fermd.journal.file import JournalFile
from fermd.journal.marker import Marker
from fermd.journal.ports import ChamberRecord, LineHistory, Outage, ReadingRow, Trouble
from fermd.journal.rows import (
    BrewerNote,
    ClockStepped,
    DaemonRun,
    Happening,
    MessageEnded,
    ProfileKept,
)
from fermd.journal.settings import JournalSettings
from fermd.journal.writing import Writing


class SqliteJournal:
    """The `Journal` port on a SQLite file.

    `boot_id` names the boot that all moments' `mono_s` belong to; `moment` is that of the start.
    `marker` names a file on a disk that the boot clears (below /run): there a run leaves word until
    its orderly stop is committed, so that the next one does not take an older stop for the last.

    >>> from tempfile import TemporaryDirectory
    >>> from fermd.control.events import TargetChanged
    >>> from fermd.journal.reader import JournalReader
    >>> with TemporaryDirectory() as folder:
    ...     path = Path(folder) / "journal.sqlite"
    ...     start = Moment(12.0, 1_790_000_000.0, wall_trusted=True)
    ...     journal = SqliteJournal(path, boot_id="first", moment=start, version="1")
    ...     journal.events(start, "lager", [TargetChanged(12.0, 12.0, "hand", "Ann")])
    ...     journal.close(start, cleanly=True)
    ...     JournalReader(path).last_events(3)[1].happening
    TargetChanged(heat_c=12.0, cool_c=12.0, source='hand', who='Ann')
    """

    def __init__(
        self,
        path: Path,
        *,
        boot_id: str,
        moment: Moment,
        version: str,
        marker: Path | None = None,
        settings: JournalSettings | None = None,
    ) -> None:
        self.path = path
        self._settings = settings or JournalSettings()
        self._version = version
        self._file = JournalFile(path, boot_id, moment.mono_s, self._settings.busy_s)
        self._writing = Writing(self._file, Marker(marker), moment, version, self._settings)
        self._changed = self._writing.changed
        self._writing.pending.put(moment, "", DaemonRun("started", version))
        self._outage = self._writing.begin(boot_id)

    def outage(self) -> Outage:
        """What was known when this journal was opened."""
        return self._outage

    def readings(self, rows: Sequence[ReadingRow]) -> None:
        """Queue samples; they are written in batches."""
        with self._changed:
            if self._writing.closing or not rows:
                return
            self._writing.newest = rows[-1].moment
            for row in rows:
                self._writing.pending.put_reading(row)
            self._writing.remembering.read_mono_s = rows[-1].moment.mono_s
            self._writing.readings_came()

    def events(self, moment: Moment, chamber: str, events: Sequence[Event]) -> None:
        """Queue events; they are committed without delay."""
        self._put(moment, chamber, events)

    def remember(
        self, moment: Moment, lines: Sequence[LineHistory], chambers: Sequence[ChamberRecord]
    ) -> None:
        """Take over what a restart must know; written when it matters (see remembering.py)."""
        with self._changed:
            if self._writing.closing:
                return
            self._writing.newest = moment
            state = self._writing.remembering.take(moment, lines, chambers)
            if state is not None:
                self._writing.queue_state(state)
                self._changed.notify_all()

    def clock_stepped(self, moment: Moment, by_s: float) -> None:
        """Queue a step of the wall clock."""
        self._put(moment, "", (ClockStepped(by_s),))

    def note(self, moment: Moment, chamber: str, who: str, text: str) -> None:
        """Queue a note by the brewer."""
        self.write_down(moment, chamber, BrewerNote(who, text))

    def write_down(self, moment: Moment, chamber: str, note: BrewerNote) -> None:
        """Queue a note with its kind, its value and its time, or one that takes another back."""
        self._put(moment, chamber, (note,))

    def profile_kept(self, moment: Moment, kept: ProfileKept) -> None:
        """Queue that somebody saved, replaced or deleted a profile of the site's own."""
        self._put(moment, "", (kept,))

    def message_ended(self, moment: Moment, outcome: MessageEnded) -> None:
        """Queue what became of a message to a person."""
        self._put(moment, "", (outcome,))

    def thin(self, now: Moment) -> None:
        """Have old readings thinned, between other writes (for the nightly calendar)."""
        with self._changed:
            self._writing.jobs.append(now)
            self._changed.notify_all()

    def trouble(self) -> Trouble | None:
        """What is wrong at present, if anything; failing to write comes first."""
        if self._writing.failure is None and self._writing.set_aside is None:
            # Asked at every tick: while all is well the loop does not even wait for the lock.
            return None
        with self._changed:
            if (failure := self._writing.failure) is not None:
                losses = self._writing.pending.losses
                lost = f", {losses.readings + losses.happenings} are lost" if losses else ""
                detail = f"{failure} (control goes on; {self._waiting()} rows wait{lost})"
                return Trouble("not-writing", Severity.WARNING, detail)
            if self._writing.set_aside is None:
                return None
            aside, since_mono_s = self._writing.set_aside
            if self._writing.newest.mono_s - since_mono_s >= self._settings.tell_set_aside_s:
                return None
            detail = (
                f"{self.path}: could not be used ({aside.cause}) and is kept as {aside.kept_as}; "
                "a new journal was begun. See whether the disk is sound; `fermd repair` makes one "
                "record of both"
            )
            return Trouble("set-aside", Severity.WARNING, detail)

    def figures(self) -> Figures:
        """Sizes and counts, to judge the journal's health by. Reads the disk: not for the loop."""
        with self._changed:
            waiting = self._waiting()
        return figures_of(
            self.path,
            waiting_rows=waiting,
            bytes_written=self._writing.bytes_written,
            wal_held_by_reader=self._file.wal_held,
        )

    def flush(self, timeout_s: float = 10.0) -> bool:
        """Wait until everything queued is written; whether it was. Never called by the loop."""
        with self._changed:
            return self._writing.flush(timeout_s)

    def settle(self, timeout_s: float = 10.0) -> bool:
        """Wait until nothing is due; unlike after `flush`, batches may still wait to grow."""
        with self._changed:
            return self._writing.settle(timeout_s)

    def close(self, moment: Moment, *, cleanly: bool) -> None:
        """Write out everything queued, note the stop, and close. Again: nothing happens."""
        with self._changed:
            if self._writing.closing:
                return
            self._writing.newest = moment
            self._writing.queue_state(self._writing.remembering.last_word())
            self._writing.pending.put(moment, "", DaemonRun("stopped", self._version, cleanly))
        self._writing.close(cleanly=cleanly)

    def _put(self, moment: Moment, chamber: str, happenings: Sequence[Happening]) -> None:
        with self._changed:
            if self._writing.closing or not happenings:
                return
            self._writing.newest = moment
            for happening in happenings:
                self._writing.pending.put(moment, chamber, happening)
            self._writing.queue_state(self._writing.remembering.happened(moment))
            self._changed.notify_all()

    def _waiting(self) -> int:
        return len(self._writing.pending.happenings) + len(self._writing.pending.readings)
