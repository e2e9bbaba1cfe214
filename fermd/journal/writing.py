"""The journal's own thread: takes what waits and writes it, whatever becomes of the disk.

Whatever goes wrong is kept as `failure` and tried again, later and later, up to a minute apart.
A file that turns out to be spoilt is set aside while running, and a new one is begun.
"""

from __future__ import annotations

import logging
import sqlite3
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

from fermd.control.moment import Moment
from fermd.journal.errors import JournalError, NotWritable, Unusable, as_journal_error
from fermd.journal.figures import bytes_written_by_thread
from fermd.journal.file import JournalFile
from fermd.journal.marker import Marker
from fermd.journal.opening import SetAside, outage_of_unwritable
from fermd.journal.pending import Batch, Pending, Remembered, WaitingHappening
from fermd.journal.ports import Outage
from fermd.journal.remembering import Remembering, State
from fermd.journal.rows import DaemonRun, Incident
from fermd.journal.settings import JournalSettings

TRIES_AT_CLOSING = 3
"""A lock may pass; a full disk will not be empty at the third try."""

_DONE = object()
_log = logging.getLogger(__name__)


class Writing:
    """What waits, and the thread that writes it.

    Everything but `file`, `marker` and the job is only touched while `changed` is held.
    """

    def __init__(
        self,
        file: JournalFile,
        marker: Marker,
        now: Moment,
        version: str,
        settings: JournalSettings,
    ) -> None:
        self.changed = threading.Condition()
        self.pending = Pending(settings.most_rows_in_memory)
        self.remembering = Remembering(settings.remember_every_s)
        self.jobs: deque[Moment] = deque()
        self.newest = now
        self.failure: JournalError | None = None
        self.set_aside: tuple[SetAside, float] | None = None
        """The last file that was set aside, and when (mono_s)."""
        self.bytes_written = 0
        self._file, self._marker, self._version, self._settings = file, marker, version, settings
        self._failing_since = now
        self._next_try_s, self._retry_s = 0.0, settings.first_retry_s
        self._readings_wait_since_s: float | None = None
        self._wanted_flush = self._done_flush = 0
        self._closing = self._idle = False
        self._job: Iterator[None] | None = None
        self._thread = threading.Thread(target=self._work, name="journal", daemon=True)

    # -- for the port ---------------------------------------------------------------------------

    def begin(self, boot_id: str) -> Outage:
        """Open, note the start, and start the thread.

        The start is noted before anything may rely on an earlier orderly stop.
        """
        broken_off = self._marker.left_by(boot_id)
        self._marker.leave(boot_id)
        outage: Outage | None = None

        def open_and_note() -> None:
            nonlocal outage
            outage = self._open()
            self._write()

        if not self._succeeds(open_and_note) or outage is None:
            outage = outage_of_unwritable(self._file.path)
        elif broken_off and outage.ended_cleanly:
            # The journal does not know of the last run: whatever it says is from before that.
            outage = replace(outage, ended_cleanly=False, lines=())
        self._thread.start()
        return outage

    def queue_state(self, state: State | None) -> None:
        """Have this written as what a restart goes on from."""
        if state is not None:
            order = self.pending.number()
            new = Remembered(order, state.moment, state.lines, state.chambers)
            if (waiting := self.pending.remembered) is not None:
                self.pending.remember(waiting, new)
            else:
                self.pending.remembered = new

    def readings_came(self) -> None:
        """Readings were queued."""
        if self._readings_wait_since_s is None:
            self._readings_wait_since_s = time.monotonic()
        # A thread that is at work looks again by itself; waking it for nothing costs two switches.
        if self._idle and self._readings_due():
            self.changed.notify_all()

    @property
    def closing(self) -> bool:
        """Nothing more is taken."""
        return self._closing

    def close(self, *, cleanly: bool) -> None:
        """Let the thread write what there is and end; called without `changed` held."""
        with self.changed:
            self._closing = True
            self.changed.notify_all()
        self._thread.join(self._settings.close_within_s)
        if self._thread.is_alive() or self.failure is not None:
            _log.warning("%s: closed without having written everything", self._file.path)
        elif cleanly and not self.pending.happenings:
            self._marker.remove()

    def flush(self, timeout_s: float) -> bool:
        """Wait until everything is written; called with `changed` held."""
        self._wanted_flush += 1
        wanted = self._wanted_flush
        self.changed.notify_all()
        self.changed.wait_for(
            lambda: self._done_flush >= wanted or not self._thread.is_alive(), timeout_s
        )
        return self._done_flush >= wanted and self.failure is None

    def settle(self, timeout_s: float) -> bool:
        """Wait until nothing is due; called with `changed` held."""
        return self.changed.wait_for(lambda: self._idle and not self._something_due(), timeout_s)

    # -- the thread -----------------------------------------------------------------------------

    def _work(self) -> None:
        while True:
            with self.changed:
                while not self._something_due():
                    self._idle = True
                    self.changed.notify_all()
                    self.changed.wait(self._until_due_s())
                self._idle = False
                # What belongs together comes within milliseconds: one commit for all of it.
                self.changed.wait_for(self._hurried, self._settings.linger_s)
            if self.work_once():
                return

    def work_once(self) -> bool:
        """One round of the thread: write what is due; whether it was the last one."""
        with self.changed:
            closing, flush = self._closing, self._wanted_flush
        succeeded = self._succeeds(self._round)
        for _ in range(TRIES_AT_CLOSING - 1):
            if closing and not succeeded:
                succeeded = self._succeeds(self._round)
        with self.changed:
            # A file that was set aside in this round is neither: the next round writes.
            if succeeded or self.failure is not None:
                self._done_flush = flush
            self.changed.notify_all()
        if closing:
            self._file.let_go()
        return closing

    def _succeeds(self, action: Callable[[], None]) -> bool:
        """Do it; whatever goes wrong is noted, and seen to as far as it can be."""
        try:
            action()
        except JournalError as error:
            self._failed(error)
        except sqlite3.Error as error:
            self._file.suspect(error)
            self._failed(as_journal_error(self._file.path, error))
        except Exception as error:  # noqa: BLE001 - the thread must outlive it, whatever it is
            _log.warning("%s: not written", self._file.path, exc_info=True)
            remedy = "report this as a fault of fermd"
            self._failed(NotWritable(self._file.path, repr(error), remedy))
        else:
            return True
        return False

    def _round(self) -> None:
        if not self._file.is_open:
            self._open()
        self._file.check()
        self._write()
        self._thin_a_little()

    def _open(self, spoilt: str | None = None) -> Outage:
        with self.changed:
            lowest, wall_utc_s = self.pending.lowest_order(), self.newest.wall_utc_s
        opened = self._file.open(wall_utc_s, lowest, spoilt=spoilt)
        self._introduce(opened.set_aside)
        if opened.kept_log is not None:
            self._tell_of_log(opened.kept_log)
        return opened.outage

    def _introduce(self, set_aside: SetAside | None) -> None:
        """After opening: what a file is told that does not know this run."""
        with self.changed:
            if set_aside is not None:
                self.set_aside = (set_aside, self.newest.mono_s)
                detail = f"{set_aside.cause}; kept as {set_aside.kept_as.name}"
                self.pending.put(self.newest, "", Incident("set-aside", detail))
                _log.warning("%s: set aside: %s", self._file.path, detail)
            waiting = self.pending.happenings
            started = any(isinstance(each.happening, DaemonRun) for each in waiting)
            if not self._file.knows_this_run and not started:
                self.pending.put(self.newest, "", DaemonRun("continued", self._version))
                self.queue_state(self.remembering.all_again())

    def _tell_of_log(self, kept_log: Path) -> None:
        detail = (
            "the last write was cut off, or the end of the write-ahead log is damaged; the log is "
            f"kept as {kept_log.name}"
        )
        with self.changed:
            self.pending.put(self.newest, "", Incident("log-cut-short", detail))
        _log.warning("%s: %s", self._file.path, detail)

    def _write(self) -> None:
        with self.changed:
            batch = self.pending.take()
            end_of_failure = self._end_of_failure()
            self._readings_wait_since_s = None
        before = bytes_written_by_thread()
        try:
            told = [*batch.happenings, *end_of_failure]
            notes = self._file.write(Batch(told, batch.readings, batch.remembered))
            notes += self._file.tend_log()
        except BaseException:
            with self.changed:
                self.pending.put_back(batch)
            raise
        finally:
            self.bytes_written += bytes_written_by_thread() - before
        with self.changed:
            self.failure = None
            self._retry_s, self._next_try_s = self._settings.first_retry_s, 0.0
            for waiting in end_of_failure:
                self.pending.losses.less(waiting.happening)
            for note in notes:
                self.pending.put(self.newest, "", note)
        if notes:
            self._write()

    def _end_of_failure(self) -> list[WaitingHappening]:
        """What is to be told if this write succeeds: that it did not for a while, and the cost."""
        losses = self.pending.losses
        if self.failure is not None:
            lasted_s = self.newest.mono_s - self._failing_since.mono_s
            detail = f"for {lasted_s:.0f} s: {self.failure.cause}"
        elif losses:
            detail = "more came than could be written"
        else:
            return []
        told = Incident("not-writing", detail, losses.readings, losses.happenings)
        return [WaitingHappening(self.pending.number(), self.newest, "", told)]

    def _failed(self, error: JournalError) -> None:
        self._job = None
        if isinstance(error, Unusable):
            try:
                self._open(spoilt=error.cause)
            except JournalError as worse:
                error = worse
            else:
                return
        self._file.let_go()
        with self.changed:
            if self.failure is None:
                self._failing_since = self.newest
                _log.warning("%s", error)
            self.failure = error
            self._next_try_s = time.monotonic() + self._retry_s
            self._retry_s = min(2 * self._retry_s, self._settings.longest_retry_s)

    def _thin_a_little(self) -> None:
        if self._job is None:
            with self.changed:
                if not self.jobs:
                    return
                now = self.jobs.popleft()
            self._write()
            self._job = self._file.thin(now, self._settings.thinning)
        before = bytes_written_by_thread()
        if next(self._job, _DONE) is _DONE:
            self._job = None
        self.bytes_written += bytes_written_by_thread() - before

    # -- what is due (with `changed` held) ------------------------------------------------------

    def _hurried(self) -> bool:
        return self._closing or self._wanted_flush > self._done_flush

    def _something_due(self) -> bool:
        if self._hurried():
            return True
        if time.monotonic() < self._next_try_s:
            return False
        waiting = self.pending.happenings or self.pending.remembered is not None
        return bool(waiting or self.jobs or self._job is not None) or self._readings_due()

    def _readings_due(self) -> bool:
        if not self.pending.readings:
            return False
        since_s = self._readings_wait_since_s
        waited_s = 0.0 if since_s is None else time.monotonic() - since_s
        return max(waited_s, self.pending.readings_span_s()) >= self._settings.batch_s

    def _until_due_s(self) -> float | None:
        now_s = time.monotonic()
        if now_s < self._next_try_s:
            return self._next_try_s - now_s
        if self._readings_wait_since_s is not None:
            return max(0.1, self._readings_wait_since_s + self._settings.batch_s - now_s)
        return None
