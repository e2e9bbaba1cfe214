"""One round of the soak: a board, its lives and their ends, and then everything is looked at.

What happens, and in which order, is drawn from a seed; when exactly a process is hit is up to the
machine, so that the same seed draws the same round again but not the same microseconds.
"""

from __future__ import annotations

import signal
import time
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from threading import Event

from outside_reader import OutsideReader
from soak_board import Chambers, SoakBoard, watching
from soak_disk import small_disk
from soak_figures import Figures
from soak_power_and_disk import PowerAndDisk
from soak_troubles import Troubles
from torn_copy import copy_journal

KILLS_A_ROUND = 50
"""With each of the other ends once."""

PHASES = ("start-up", "tick", "compressor", "switching", "commit", "shutdown", "any")
"""Where a kill is aimed at."""

ENDED_BY_A_KILL = (
    "copy",
    "copy-torn",
    "full-disk",
    "full-files",
    "second",
    "site",
    "probe",
    "cold",
)
OTHER_ENDS = ("stop", "watchdog", "exception", "power", *ENDED_BY_A_KILL)


class Round(Troubles, PowerAndDisk):
    """One board from its first start to the last look at it."""

    def __init__(self, seed: int, kills: int, folder: Path) -> None:
        super().__init__(seed, folder)
        self._kills = kills

    def run(self) -> Figures:
        """Live through it; what was wrong is in the figures' violations."""
        with ExitStack() as stack:
            self._disk = stack.enter_context(small_disk(self._folder / "disk"))
            # Without a disk of its own, or in every third round, fsync takes as long as it takes.
            on_disk = self._disk if self._chance.random() < 2 / 3 else None
            self._board = SoakBoard(self._folder, on_disk)
            stack.callback(self._board.clear)
            self._chambers = Chambers(self._board)
            stack.callback(self._chambers.close)
            self._reader = OutsideReader(self._board.journal)
            stack.callback(self._reader.close)
            self._disk = on_disk
            try:
                for what in self._script():
                    self._live(what)
                self._end_well()
                self._verdict.judge(
                    self._board, disk_full_s=self._disk_full_s, must_be_off=self._must_be_off
                )
                self._verdict.profile(self._board)
            except Exception as error:  # noqa: BLE001 - told with the seed, and the folder is kept
                self._verdict.fault(f"the round could not go on: {error!r}")
                if self._board.current is not None:
                    self._board.current.kill()
            finally:
                if on_disk is not None and self.figures.violations:
                    copy_journal(self._board.journal, self._folder)
        return self.figures

    def _script(self) -> list[str]:
        times = max(1, round(self._kills / KILLS_A_ROUND))
        aimed = max(0, self._kills - times * len(ENDED_BY_A_KILL))
        phases = [PHASES[n % len(PHASES)] for n in range(aimed)]
        script = [*phases, *(OTHER_ENDS * times)]
        self._chance.shuffle(script)
        return script

    def _live(self, what: str) -> None:
        fresh = self._chance.random() < 0.1
        self.figures.starts_by_a_fresh_interpreter += fresh
        self._board.begin(fresh=fresh)
        if what == "start-up":
            Event().wait(self._chance.uniform(0.0, 0.8 if fresh else 0.35))
            self._kill(what)
            return
        self._board.until_ticking()
        self._check_after_start()
        self._give_orders()
        if self._chance.random() < 0.35:
            self._step_clock()
        act: dict[str, Callable[[], None]] = {
            "stop": self._stop,
            "watchdog": self._watchdog,
            "exception": self._exception,
            "power": self._power,
            "copy": lambda: self._copy(torn=False),
            "copy-torn": lambda: self._copy(torn=True),
            "full-disk": lambda: self._full(with_disk=True),
            "full-files": lambda: self._full(with_disk=False),
            "second": self._second,
            "site": self._site,
            "probe": lambda: self._misread(None),
            "cold": lambda: self._misread(-6.0),
        }
        if what in act:
            act[what]()
        else:
            self._kill_aimed(what)

    def _kill_aimed(self, phase: str) -> None:
        wait = Event().wait
        match phase:
            case "tick":
                wait(self._chance.uniform(0.0, 0.6))
                with watching(self._board.folder / "ticks") as touched:
                    touched(2.0)
                    wait(self._chance.choice((0.0, 0.0005, 0.001, 0.002, 0.004)))
                    self._signal(signal.SIGKILL)
            case "compressor":
                self._want_cold()
                self._board.wait_for(self._compressor_on, 4.0)
                wait(self._chance.uniform(0.0, 0.5))
            case "switching":
                self._want_cold()
                with watching(self._board.folder / "edges") as switched:
                    before = self._board.on_now()
                    until_s = time.monotonic() + 3.0
                    # A line is driven in every tick; a change of one is waited for.
                    while self._board.on_now() == before and time.monotonic() < until_s:
                        switched(0.5)
                    wait(self._chance.choice((0.0, 0.001, 0.01, 0.05)))
                    self._signal(signal.SIGKILL)
            case "commit":
                self._give_orders()
                # By its own hand, to hit it: before, within, or after it and before anybody knows.
                within = [f"{self._chance.uniform(0.0, 0.0015):.6f}" for _ in range(4)]
                when = self._chance.choice(["before", "after", *within])
                order = self._board.plant("die-at-commit", when)
                daemon = self._board.current
                assert daemon is not None
                died = self._board.wait_for(lambda: daemon.poll() is not None, 8.0)
                order.unlink()
                place = when if when in ("before", "after") else "within"
                phase = f"commit ({place})" if died else "any"
            case "shutdown":
                wait(self._chance.uniform(0.0, 1.2))
                self._signal(signal.SIGTERM)
                wait(self._chance.uniform(0.0, 0.06))
            case _:
                wait(self._chance.uniform(0.0, 1.6))
        if not self._kill(phase):
            # It had stopped before the kill came, which is still owed.
            self._live(phase)

    def _end_well(self) -> None:
        self._board.begin()
        self._board.until_ticking()
        self._check_after_start()
        self._orderly()
        self.figures.rows_of_journals += len(self._reader.look())
