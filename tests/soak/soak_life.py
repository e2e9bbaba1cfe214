"""One life of a daemon on the board: what it is asked for, how it ends, what is looked at then."""

from __future__ import annotations

import os
import random
import signal
from contextlib import closing, suppress
from pathlib import Path

import httpx
from outside_reader import OutsideReader, newest_seq
from soak_board import Chambers, Life, SoakBoard
from soak_figures import Figures
from soak_verdict import PROFILE, MustBeOff, Span, Verdict
from torn_copy import is_torn, wal_of
from two_chambers import WIRE

from fermd.journal.readonly import connect_to_read


class Lives:
    """The board, those who look at it, and what a life can be made to do."""

    _board: SoakBoard
    _chambers: Chambers
    _reader: OutsideReader
    _disk: Path | None
    """The small disk that the journal is on, if it could be mounted."""

    def __init__(self, seed: int, folder: Path) -> None:
        self._chance = random.Random(seed)
        self._folder = folder
        self.figures = Figures()
        self._verdict = Verdict(self.figures)
        self._disk_full_s: list[Span] = []
        self._must_be_off: list[MustBeOff] = []
        self._offset_s = 0.0
        self._started_profile = False
        self._copies = 0
        self._newest_before = 0

    def _give_orders(self) -> None:
        if not self._started_profile:
            self._started_profile = self._board.command(
                "lager", "start-profile", profile_toml=PROFILE
            )
        colder = self._chance.random() < 0.6
        by_c = self._chance.uniform(1.0, 4.0) * (-1 if colder else 1)
        target_c = min(24.0, max(3.0, self._chambers.beer_c("ale") + by_c))
        self._board.command("ale", "set-target", target_c=round(target_c, 1))

    def _compressor_on(self) -> bool:
        on = self._board.on_now()
        return any(WIRE[gpio].is_compressor for gpio in on)

    def _want_cold(self) -> None:
        target_c = max(2.0, self._chambers.beer_c("ale") - 4.0)
        self._board.command("ale", "set-target", target_c=round(target_c, 1))

    def _tick(self) -> int | None:
        with suppress(httpx.HTTPError, KeyError):
            return self._board.tick()
        return None

    def _signal(self, number: signal.Signals) -> None:
        assert self._board.current is not None
        self._board.current.send_signal(number)

    def _kill(self, phase: str) -> bool:
        """Kill it; False if it had ended by its own stop just before."""
        life = self._board.finish(f"kill -9, {phase}", signal.SIGKILL)
        if life.exit_code == -signal.SIGKILL:
            self.figures.kills += 1
            self.figures.kills_by_phase[phase] += 1
            self.figures.kills_with_a_relay_on += bool(self._board.on_now())
            with suppress(FileNotFoundError):
                log = wal_of(self._board.journal).read_bytes()
                self.figures.transactions_torn_by_kills += is_torn(log)
        elif phase == "shutdown" and life.exit_code == 0:
            # It was quicker than the kill: an orderly stop, and a kill still owed.
            self.figures.orderly_stops += 1
            self._after_end()
            return False
        else:
            self._verdict.fault(
                f"killed in {phase}, it ended with {life.exit_code} ({self._errors(life)})"
            )
        self._after_end()
        return True

    def _orderly(self, how: signal.Signals = signal.SIGTERM) -> None:
        life = self._board.finish(f"stop by {how.name}", how)
        self.figures.orderly_stops += 1
        if life.exit_code != os.EX_OK:
            self._verdict.fault(f"{how.name}: ended with {life.exit_code} ({self._errors(life)})")
        if self._board.on_now():
            self._verdict.fault(f"{how.name}: left {self._board.on_now()} on")
        with closing(connect_to_read(self._board.journal)) as connection:
            newest = connection.execute(
                "SELECT change, cleanly FROM daemon_runs ORDER BY seq DESC LIMIT 1"
            ).fetchone()
        if newest != ("stopped", 1):
            self._verdict.fault(f"{how.name}: the last word is {newest}")
        self._after_end()

    def _errors(self, life: Life) -> str:
        process = next(one for one in self._board.processes if one.pid == life.pid)
        return self._board.last_words(process)[-2000:]

    def _after_end(self) -> None:
        """Nobody is in charge: everything that was committed is there, and sound."""
        seen = self._reader.look()
        self._verdict.compare(self._board, seen)
        self._newest_before = newest_seq(seen)
        self._verdict.soundness(self._board.journal)
        if self._chance.random() < 0.3 and (code := self._board.release()) != os.EX_OK:
            self._verdict.fault(f"release ended with {code}")

    def _check_after_start(self) -> None:
        """Nothing is lost by a start either, and it goes on after the newest that was seen."""
        with suppress(httpx.HTTPError):
            if any(alarm == "journal-set-aside" for alarm in self._board.site_alarms()):
                self._verdict.fault("a sound journal was set aside")
        self._verdict.compare(self._board, self._reader.look())
        with closing(connect_to_read(self._board.journal)) as connection:
            newest = connection.execute(
                "SELECT max(seq) FROM daemon_runs WHERE change <> 'stopped'"
            ).fetchone()[0]
        if newest <= self._newest_before:
            self._verdict.fault(
                f"the start is row {newest}, but {self._newest_before} was there before"
            )
