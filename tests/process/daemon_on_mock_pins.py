"""The real daemon in a process of its own, on a fake 1-Wire tree and pins that are lines in a file.

    python daemon_on_mock_pins.py run|release SITE FOLDER

Everything is what `fermd run` starts, but for three things that a test needs:

- Each level that a pin is driven to is a line in FOLDER/edges, written at once: what the relays did
  can be seen from outside, also after kill -9. A pin whose process is gone keeps its level there,
  as on a board whose kernel keeps its outputs.
- Time runs PACE times faster (or as often as FERMD_TEST_PACE says). All of it: boot clock, waits,
  leases, reads of the bus. The boot id is the machine's own, so that minutes of protection are
  seconds of test and a restart is one within the same boot.
- Files in FOLDER plant what a test wants: `wall-offset` (s) sets the wall clock, `wall-unset` makes
  it one that is not known to be set, `boot` (an id, and when that boot began, s of the faster boot
  clock) makes this another boot, `hang` holds the loop for as long as it is there, `explode` lets
  the tick end in an exception that nobody expects. `ticks`, if there, is touched in each tick.
  `die-at-commit` has the process killed by SIGKILL at the journal's next commit: `before` it,
  `after` it, or so many seconds into it.
"""

from __future__ import annotations

import os
import signal
import sqlite3
import sys
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import replace
from functools import partial
from pathlib import Path
from threading import Event, Timer
from types import TracebackType
from typing import Any, Self

from gpiozero.pins.mock import MockFactory, MockPin

from fermd.cli.release import release
from fermd.cli.run import serve
from fermd.config.site import SiteFile
from fermd.control.moment import Moment
from fermd.control.reading import Sample
from fermd.hardware.ports import ProbeBus
from fermd.hardware.w1_bus import W1ProbeBus
from fermd.service.board import board_ports
from fermd.service.clock import SystemClock
from fermd.service.hold import Ports

PACE = 120.0
"""A minute passes in half a second, unless FERMD_TEST_PACE says otherwise."""

WALL_AT_BOOT_UTC_S = 1_790_000_000.0
PLANTED = "a fault that was planted"


def machine_s() -> float:
    """Return the machine's boot clock, s."""
    return time.clock_gettime(time.CLOCK_BOOTTIME)


class EdgePin(MockPin):  # type: ignore[misc]
    """A pin made an output with its level in one step, as lgpio's relay pin is."""

    def output_with_state(self, state: bool) -> None:
        self._function = "output"
        self._state = bool(state)
        self._tell()

    def _set_state(self, value: bool) -> None:
        super()._set_state(value)
        self._tell()

    def _tell(self) -> None:
        edge = f"{machine_s():.6f} {os.getpid()} {self._number} {int(self._state)}\n"
        os.write(self.factory.edges, edge.encode("ascii"))


class EdgePins:
    """A `PinSource` of edge pins."""

    def __init__(self, folder: Path) -> None:
        self._file = folder / "edges"

    def open(self) -> Any:
        factory = MockFactory(pin_class=EdgePin)
        factory.edges = os.open(self._file, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
        return factory


class FastClock(SystemClock):
    """The machine's boot clock, faster, and a wall clock that a file can set."""

    def __init__(self, folder: Path, pace: float) -> None:
        super().__init__()
        self._folder = folder
        self._pace = pace
        self._booted_s = 0.0
        if (boot := folder / "boot").exists():
            self._boot_id, booted_s = boot.read_text("ascii").split()
            self._booted_s = float(booted_s)

    def now(self) -> Moment:
        mono_s = self.mono_s_at(machine_s())
        try:
            offset_s = float((self._folder / "wall-offset").read_text("ascii"))
        except FileNotFoundError:
            offset_s = 0.0
        known = not (self._folder / "wall-unset").exists()
        wall_utc_s = WALL_AT_BOOT_UTC_S + self._booted_s + mono_s + offset_s
        return Moment(mono_s, wall_utc_s, wall_trusted=known)

    def mono_s_at(self, at_s: float) -> float:
        """Return a time of the machine's boot clock as it is on this one."""
        return at_s * self._pace - self._booted_s

    def wait_until(self, mono_s: float) -> bool:
        return super().wait_until((mono_s + self._booted_s) / self._pace)


class PlantedProbes:
    """The real bus, until something is planted."""

    def __init__(self, bus: ProbeBus, clock: FastClock, folder: Path) -> None:
        self._bus = bus
        self._clock = clock
        self._folder = folder

    def __enter__(self) -> Self:
        self._bus.__enter__()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._bus.__exit__(kind, error, trace)

    def take(self) -> Mapping[str, Sequence[Sample]]:
        with suppress(FileNotFoundError):
            os.utime(self._folder / "ticks")
        if (self._folder / "explode").exists():
            raise ZeroDivisionError(PLANTED)
        while (self._folder / "hang").exists():
            Event().wait(0.01)
        return {
            probe_id: [
                replace(sample, taken_mono_s=self._clock.mono_s_at(sample.taken_mono_s))
                for sample in samples
            ]
            for probe_id, samples in self._bus.take().items()
        }

    def listed(self) -> Sequence[str]:
        return self._bus.listed()


class MortalConnection(sqlite3.Connection):
    """A connection to the journal in the midst of whose commit the process can be killed."""

    folder: Path

    def execute(self, *statement: Any) -> sqlite3.Cursor:
        if statement[0] != "COMMIT" or not (self.folder / "die-at-commit").exists():
            return super().execute(*statement)
        when = (self.folder / "die-at-commit").read_text("ascii")
        if when == "before":
            die()
        elif when != "after":
            # SQLite lets other threads run while it writes and waits for the disk.
            Timer(float(when), die).start()
        done = super().execute(*statement)
        if when == "after":
            die()
        return done


def die() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def main(what: str, site_path: Path, folder: Path) -> int:
    if what == "release":
        return release(site_path, EdgePins(folder))

    pace = float(os.environ.get("FERMD_TEST_PACE", PACE))
    MortalConnection.folder = folder
    sqlite3.connect = partial(sqlite3.connect, factory=MortalConnection)

    @contextmanager
    def open_ports(site: SiteFile) -> Iterator[Ports]:
        with FastClock(folder, pace) as clock:
            ports = board_ports(site, clock, EdgePins(folder))
            # The bus waits in real time, so that it counts in it; what it read is dated anew.
            ids, period_s = tuple(site.probe_ids.values()), site.sample_period_s / pace
            bus = W1ProbeBus(site.w1_root, ids, period_s, machine_s)
            yield replace(ports, probes=PlantedProbes(bus, clock, folder))

    return serve(site_path, open_ports)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1], Path(sys.argv[2]), Path(sys.argv[3])))
