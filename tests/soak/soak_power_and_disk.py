"""Power that goes and disks that are full: on the board itself, and on copies of its journal."""

from __future__ import annotations

import signal
from pathlib import Path
from threading import Event

from outside_reader import Rows, committed_rows, lost
from soak_board import SoakBoard, true_s, watching
from soak_disk import fill, limit_files
from soak_life import Lives
from torn_copy import commit_ends, copy_journal, cut_log, wal_of, whole_up_to
from two_chambers import PROBES, WIRE


class PowerAndDisk(Lives):
    """Each of them ends the life that it befalls."""

    def _power(self) -> None:
        """The board loses its power in the middle of it, and boots again."""
        self._want_cold()
        self._board.wait_for(self._compressor_on, 4.0)
        self._board.finish("power cut", signal.SIGKILL)
        self._board.lose_power()
        self._chambers.lose_power()
        self.figures.power_cuts_while_running += 1
        self._after_end()

    def _full(self, *, with_disk: bool) -> None:
        """No room for the journal: control goes on, and the record catches up or owns its gap."""
        pid, from_s = self._board.lives[-1].pid, true_s()
        ballast = fill(self._disk) if with_disk and self._disk is not None else None
        if ballast is None:
            # The pins' own record still fits, what the journal has and needs does not.
            size = (self._board.folder / "edges").stat().st_size + 6144
            limit_files(pid, size)
        self.figures.disk_full_episodes["ENOSPC" if ballast else "EFBIG"] += 1
        self._want_cold()
        noticed = self._board.wait_for(self._writes_in_vain, 4.0)
        self.figures.disk_full_episodes["noticed"] += noticed
        tick = self._tick()
        if not self._board.wait_for(lambda: (self._tick() or 0) > (tick or 0), 5.0):
            self._verdict.fault("control did not go on with a full disk")
        if ballast is not None and self._chance.random() < 0.5:
            # Killed with a full disk, and started on it.
            self._board.finish("kill -9, full disk", signal.SIGKILL)
            self.figures.kills_by_phase["full disk"] += 1
            self.figures.kills += 1
            self._after_end()
            self._board.begin()
            self._board.until_ticking()
            self._verdict.compare(self._board, self._reader.look())
            Event().wait(self._chance.uniform(0.2, 1.2))
        if ballast is not None:
            ballast.unlink()
        else:
            limit_files(pid, None)
        if not self._board.wait_for(lambda: self._board.status()["journal"] is None, 12.0):
            self._verdict.fault("the journal did not catch up when there was room")
        self._disk_full_s.append((from_s, true_s()))
        self._kill("full disk over")

    def _writes_in_vain(self) -> bool:
        """Give it something to write, and ask whether it can."""
        self._give_orders()
        return self._board.status()["journal"] is not None

    def _copy(self, *, torn: bool) -> None:
        """The power goes at one moment: what the files say then is all that there is.

        The daemon stands still while they are copied, so that both are of one moment; it goes on
        afterwards. With `torn` the log ends at any byte.
        """
        self._give_orders()
        Event().wait(self._chance.uniform(0.0, 1.2))
        if torn:
            with watching(wal_of(self._board.journal)) as written:
                written(2.0)
        self._signal(signal.SIGSTOP)
        try:
            seen = self._reader.look()
            self._copies += 1
            folder = self._folder / f"c{self._copies}"
            copy = copy_journal(self._board.journal, folder)
        finally:
            self._signal(signal.SIGCONT)
        if torn and wal_of(copy).exists():
            log = wal_of(copy).read_bytes()
            ends = commit_ends(log)
            end = ends[-1] if ends else 0
            at = self._chance.randrange(32, max(33, min(len(log), end + 8192)))
            whole = copy_journal(copy, folder / "whole")
            cut_log(whole, whole_up_to(log, at))
            seen = committed_rows(whole)
            cut_log(copy, at)
            self.figures.torn_logs += 1
        self.figures.power_cuts_on_copies += 1
        self._start_on_copy(folder, seen)
        self._kill("copied")

    def _start_on_copy(self, folder: Path, seen: Rows) -> None:
        board = SoakBoard(folder)
        try:
            for vessel, air in PROBES.values():
                board.tree.add_probe(vessel, 30.0)
                board.tree.add_probe(air, 30.0)
            # Nobody of this folder is known to have lived: the first start knows nothing.
            board.lose_power()
            board.begin()
            board.until_ticking()
            for text in lost(seen, committed_rows(board.journal)):
                self._verdict.fault(f"on copy {folder.name}: {text}")
            self.figures.rows_checked += len(seen)
            board.command("ale", "set-target", target_c=15.0)
            started = board.wait_for(
                lambda: any(WIRE[gpio].is_compressor for gpio in board.on_now()), 10.0
            )
            if not started:
                self._verdict.fault(f"on copy {folder.name}: no compressor started")
            board.finish("stop", signal.SIGTERM)
            self._verdict.soundness(board.journal)
            # The end of a log that was cut off may be kept apart; the journal itself may not.
            for aside in set(folder.glob("*.set-aside-*")) - set(folder.glob("*-wal")):
                self._verdict.fault(f"on copy {folder.name}: set aside as {aside}")
        finally:
            board.clear()
        self._verdict.judge_copy(board, self._board.boots, f"on copy {folder.name}")
