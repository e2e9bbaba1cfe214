"""A batch whose process is killed, and whose power is cut, at any moment of it.

A kill takes the process away as SIGKILL does: nothing is asked, nothing is closed, and the next
process has what was on the disk at that moment. The journal is the real one, with the settings of
the daemon: readings and the state of a step that nothing happened to wait for up to ten minutes.

`Tick`s are what a witness saw of every process; true time is the simulation's own, which no kill,
outage or wrong clock touches.
"""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from batch_rig import HOUR_S, PERIOD_S, simulated_site

from fermd.config.site import SiteFile
from fermd.control.commands import Command, ConfirmStep
from fermd.control.reading import Trusted
from fermd.control.state import ChamberState
from fermd.hardware.simulated_clock import SimulatedClock
from fermd.journal.reader import EventRow, JournalReader
from fermd.journal.settings import JournalSettings
from fermd.journal.writer import SqliteJournal
from fermd.service.daemon import wiring
from fermd.service.loop import ControlLoop
from fermd.service.trial import trial_board

AS_THE_DAEMON = JournalSettings(linger_s=0.0)
"""But for the twentieth of a second that a commit waits for company: ten minutes pass in that."""

CONFIRMS_AFTER_S = 3 * HOUR_S
"""How long the brewer takes to come and see what a profile waits for, s."""


class Killed(BaseException):
    """What ends a process in the middle of a tick."""


class FatalJournal:
    """The journal, at whose door the process ends before anything of the tick has come in."""

    def __init__(self, journal: SqliteJournal) -> None:
        self._journal = journal
        self.is_fatal = False

    def __getattr__(self, name: str) -> Any:
        return getattr(self._journal, name)

    def readings(self, rows: Sequence[Any]) -> None:
        # The first that the loop hands over in a tick, once the relays are driven.
        if self.is_fatal:
            raise Killed
        self._journal.readings(rows)


@dataclass(frozen=True, slots=True)
class Tick:
    """One tick of control, as it was in truth."""

    process: int
    at_s: float
    """True time, POSIX."""
    clock_set: bool
    index: int | None
    """The step after the tick; None with no profile."""
    elapsed_s: float
    """The step's own clock after the tick, with what was counted of an outage."""
    beer_c: float | None
    """As the chamber has it."""


@dataclass
class Process:
    """One run of the daemon."""

    started_s: float
    """True time, POSIX; so are all below."""
    recalled_s: float
    """The step's clock that it went on from, s."""
    recalled_index: int | None
    ended_s: float = float("inf")
    true_beer_before_c: float = float("nan")
    """What the beer truly had when the process before ended, °C."""


@dataclass
class KilledBatch:
    """A board with one chamber, and the processes that run on it one after another."""

    folder: Path
    start_utc_s: float
    site: SiteFile = field(
        default_factory=lambda: simulated_site(ambient_c=20, ambient_swing_c=2, start_c=18)
    )
    seed: int = 0
    ticks: list[Tick] = field(default_factory=list)
    processes: list[Process] = field(default_factory=list)

    def __post_init__(self) -> None:
        assert self.site.simulated is not None
        self.clock = SimulatedClock(self.start_utc_s)
        self.board = trial_board(self.site, self.site.simulated, self.clock, self.seed)
        self.path = self.folder / "journal-0.db"
        self._kills = 0
        self.booted_s = [self.clock.true_at(0.0)]
        """True time of every start of the board."""
        self._start()

    # -- processes and power ------------------------------------------------------------------

    def _start(self) -> None:
        self.board.relays.__enter__()
        journal = SqliteJournal(
            self.path,
            boot_id=self.clock.boot_id(),
            moment=self.clock.now(),
            version="simulated",
            settings=AS_THE_DAEMON,
        )
        self.journal = FatalJournal(journal)
        self.board.probes.__enter__()
        self.loop = ControlLoop(
            self.site.settings,
            wiring(self.site),
            self.clock,
            self.board.probes,
            self.board.relays,
            self.journal,
        )
        going_on = self.state.progress
        self.processes.append(
            Process(
                self.clock.true_utc_s,
                0.0 if going_on is None else going_on.elapsed_s,
                None if going_on is None else going_on.index,
            )
        )

    def kill(self, *, in_tick: bool = False) -> None:
        """End the process as SIGKILL does: between two ticks, or in the middle of one."""
        # More than a tenth of a second has passed since the last tick.
        assert self.journal.settle()
        if in_tick:
            self.journal.is_fatal = True
            try:
                self.loop.tick()
            except Killed:
                pass
            else:
                raise AssertionError("the tick came to its end")
        self._kills += 1
        kept = self.folder / f"journal-{self._kills}.db"
        for ending in ("", "-wal"):
            there = self.path.with_name(self.path.name + ending)
            if there.exists():
                shutil.copy(there, kept.with_name(kept.name + ending))
        # The thread of the old process ends; its words go into a file that nobody reads any more.
        self.journal.close(self.clock.now(), cleanly=False)
        self.path.unlink()
        self.path = kept
        self.board.relays.kill()
        self.processes[-1].ended_s = self.clock.true_utc_s

    def restart(self, after_s: float) -> None:
        """Start the next process on the same boot; until then the relays are off."""
        beer_c = self.true_beer_c
        # The service manager has a killed process's relays released.
        with self.board.relays:
            pass
        self.let_pass(after_s)
        self._start()
        self.processes[-1].true_beer_before_c = beer_c

    def power_returns(self, after_s: float, clock_set_after_s: float | None = None) -> None:
        """Let the power, cut at the kill, return; the clock is set so much later, or at once."""
        beer_c = self.true_beer_c
        self.board.power_cut(after_s, wall_survives=clock_set_after_s is None)
        self.booted_s.append(self.clock.true_at(0.0))
        if clock_set_after_s is not None:
            self.clock.after(clock_set_after_s, self.set_clock)
        self._start()
        self.processes[-1].true_beer_before_c = beer_c

    def stop(self) -> None:
        """Stop the process in order."""
        self.loop.stop()
        self.loop.run()
        self.board.relays.__exit__(None, None, None)
        self.journal.close(self.clock.now(), cleanly=True)
        self.processes[-1].ended_s = self.clock.true_utc_s

    def set_clock(self) -> None:
        """The network time has come."""
        self.clock.step_wall(self.clock.true_utc_s - self.clock.now().wall_utc_s)
        self.clock.vouch_for_wall(True)

    # -- time -----------------------------------------------------------------------------------

    def let_pass(self, span_s: float) -> None:
        until_s = self.clock.now().mono_s + span_s
        while self.clock.now().mono_s < until_s - 0.001:
            # A wait that a command has ended is waited again.
            self.clock.wait_until(until_s)

    def tick(self) -> Tick:
        """One tick of the loop, and most of the wait until the next."""
        at_s = self.clock.true_utc_s
        snapshot = self.loop.tick()
        decision = snapshot.chambers["lager"].decision
        progress = self.state.progress
        tick = Tick(
            len(self.processes) - 1,
            at_s,
            snapshot.moment.wall_trusted,
            None if progress is None else progress.index,
            0.0 if progress is None else progress.elapsed_s,
            decision.vessel.temp_c if isinstance(decision.vessel, Trusted) else None,
        )
        self.ticks.append(tick)
        shown = decision.outlook
        waits = shown is not None and shown.kind == "wait"
        if waits and shown is not None and shown.elapsed_s > CONFIRMS_AFTER_S:
            self.loop.requests.ask("lager", ConfirmStep("brewer"))
        if len(self.ticks) % 1000 == 0:
            # A simulation that outruns its record would have to give up readings.
            assert self.journal.settle()
        self.let_pass(PERIOD_S)
        return tick

    def run_for(self, span_s: float) -> Tick:
        """Let the loop tick for so long."""
        tick = self.tick()
        for _ in range(round(span_s / PERIOD_S) - 1):
            tick = self.tick()
        return tick

    def ask(self, command: Command) -> None:
        """Ask for what is taken, once the probes are trusted."""
        while self.tick().beer_c is None:
            pass
        request = self.loop.requests.ask("lager", command)
        self.tick()
        assert request.wait(0.0).taken

    # -- what there is --------------------------------------------------------------------------

    @property
    def state(self) -> ChamberState:
        return self.loop._state.chambers["lager"]

    @property
    def true_beer_c(self) -> float:
        return self.board.plants["lager"].advance_to(self.clock.true_utc_s).beer_c

    def rows(self) -> list[EventRow]:
        """What the journal has of what happened, oldest first."""
        assert self.journal.settle()
        return JournalReader(self.path).last_events(1_000_000)

    def told(self, kind: type[Any]) -> list[Any]:
        return [row.happening for row in self.rows() if isinstance(row.happening, kind)]

    def true_s(self, row: EventRow) -> float:
        """When a row was written in truth, whatever the clock on the wall showed."""
        return self.booted_s[row.boot - 1] + row.moment.mono_s
