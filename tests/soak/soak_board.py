"""The board that is soaked: real daemons one after the other, and chambers that follow the pins."""

from __future__ import annotations

import ctypes
import os
import select
import signal
import subprocess
import time
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from threading import Event, Lock, RLock, Thread
from typing import Any

import httpx
from process_rig import BOUND_S, Board, Edge, until
from soak_child import ForkedDaemon
from two_chambers import PROBES, WIRE, site_text

from fermd.hardware.simulated_plant import SimulatedPlant
from fermd.physics.parameters import ChamberParameters
from fermd.physics.thermal import ThermalModel

SOAK_PACE = 400.0
"""A sample period of 60 s passes in 0.15 s, a compressor's 300 s in 0.75 s."""

FOLLOWED_EVERY_S = 0.08
"""The beer follows the pins, and the probes the beer, so often (real, s): twice a sample period."""

BEER_L = 2.0
"""Little beer: it moves by degrees within minutes, so that there is something to switch for."""


def true_s() -> float:
    """The boot clock, at the soak's pace."""
    return time.clock_gettime(time.CLOCK_BOOTTIME) * SOAK_PACE


@dataclass
class Life:
    """One process that was in charge, or tried to be. Times are true (accelerated), s."""

    pid: int
    born_s: float
    boot_id: str
    how: str = ""
    died_s: float = float("inf")
    exit_code: int | None = None
    ticked: bool = False
    """It came to a tick: it was in charge."""
    released: bool = False
    """It was `fermd release`."""


class SoakBoard(Board):
    """A board with two chambers; its journal may lie on a disk of its own."""

    def __init__(self, folder: Path, disk: Path | None = None) -> None:
        super().__init__(folder)
        self.journal = (disk or folder) / "journal.db"
        self.write_site(site_text(str(self.journal)))
        self.lives: list[Life] = []
        self.power_losses_s: list[float] = []
        self.boots = {_machines_boot_id(): 0.0}
        """When each boot began (true, s), by its id."""
        self.boot_id = _machines_boot_id()
        self.current: ForkedDaemon | subprocess.Popen[str] | None = None
        self._edges: list[Edge] = []
        self._edges_read, self._edges_lock = 0, Lock()
        self._on: set[int] = set()
        (folder / "edges").touch()
        (folder / "ticks").touch()

    def strict_site(self, strict: bool) -> None:
        self.write_site(site_text(str(self.journal), strict=strict))

    # -- lives ----------------------------------------------------------------------------------

    def begin(self, *, fresh: bool = False, what: str = "run") -> Life:
        """Start a process; `fresh` by a new interpreter."""
        life = Life(0, true_s(), self.boot_id, released=what == "release")
        pace = {"FERMD_TEST_PACE": str(SOAK_PACE)}
        process: Any
        if fresh:
            process = self.start(what, **pace)
        else:
            manager = {"NOTIFY_SOCKET": str(self.listener.path), "WATCHDOG_USEC": "60000000"}
            errors = self.folder / f"errors-{len(self.processes)}"
            process = ForkedDaemon(what, self.site_path, self.folder, pace | manager, errors)
            self.processes.append(process)
        life.pid = process.pid
        self.lives.append(life)
        self.current = process
        return life

    def until_ticking(self) -> None:
        """Wait for the first tick of the present process."""
        process = self.current
        assert process is not None

        def ticking() -> bool:
            if (code := process.poll()) is not None:
                raise AssertionError(f"it ended with {code}: {self.last_words(process)}")
            with suppress(httpx.HTTPError):
                return self.ask("GET", "/api/status").is_success
            return False

        until(ticking)
        self.lives[-1].ticked = True

    def finish(self, how: str, number: signal.Signals | None) -> Life:
        """Send a signal (or none) and wait for the end of the present process."""
        process, life = self.current, self.lives[-1]
        assert process is not None
        if number is not None:
            process.send_signal(number)
        life.exit_code = process.wait(BOUND_S)
        life.died_s, life.how = true_s(), how
        self.current = None
        return life

    def release(self) -> int:
        """What the service manager runs after every end."""
        self.begin(what="release")
        return int(self.finish("release", None).exit_code or 0)

    def lose_power(self) -> None:
        """After the process is gone: relays drop, and the next start is in another boot."""
        self.power_losses_s.append(true_s())
        self.boot_id = str(uuid.uuid4())
        self.boots[self.boot_id] = true_s() - 15.0
        self.plant("boot", f"{self.boot_id} {self.boots[self.boot_id]!r}")

    def last_words(self, process: Any) -> str:
        return str(process.stderr.read()) if process.poll() is not None else "(alive)"

    # -- looks ----------------------------------------------------------------------------------

    def edges(self, gpio: int | None = None) -> list[Edge]:
        with self._edges_lock:
            with (self.folder / "edges").open("rb") as file:
                file.seek(self._edges_read)
                whole, newline, _ = file.read().rpartition(b"\n")
            self._edges_read += len(whole) + len(newline)
            for line in whole.decode("ascii").splitlines():
                at_s, pid, number, level = line.split()
                edge = Edge(float(at_s), int(pid), int(number), level == "0", SOAK_PACE)
                self._edges.append(edge)
                if edge.on:
                    self._on.add(edge.gpio)
                else:
                    self._on.discard(edge.gpio)
            return [edge for edge in self._edges if gpio in (None, edge.gpio)]

    def on_now(self) -> set[int]:
        """The lines that are at their on level."""
        self.edges()
        return set(self._on)

    def command(self, chamber: str, command: str, **fields: Any) -> bool:
        """Give an order; whether it was taken. A loop that is starved answers that it is."""
        body = {"command": command, "who": "anna", **fields}
        with suppress(httpx.HTTPError):
            return self.ask("POST", f"/api/chambers/{chamber}/commands", body).is_success
        return False

    def wait_for(self, fact: Callable[[], Any], bound_s: float) -> bool:
        """Wait until something is so; whether it became so."""
        deadline_s = time.monotonic() + bound_s
        while time.monotonic() < deadline_s:
            with suppress(httpx.HTTPError, KeyError):
                if fact():
                    return True
            Event().wait(0.02)
        return False


class Chambers:
    """The two chambers behind the pins: they see the levels and show the probes what becomes of it.

    A line whose process is gone keeps its level, as on a board whose kernel keeps its outputs.
    """

    def __init__(self, board: SoakBoard, beer_c: float = 18.0) -> None:
        self._board = board
        model = ThermalModel(ChamberParameters.for_batch(volume_l=BEER_L))
        start_s = true_s()
        self._plants = {
            name: SimulatedPlant(
                model, beer_c=beer_c, ambient_c=lambda _: 20.0, start_utc_s=start_s
            )
            for name in PROBES
        }
        self.shown: dict[str, float | None] = {}
        """What a probe shows in place of the truth; None is a wrong checksum."""
        self._seen = 0
        self._lock = RLock()
        self._ended = Event()
        for vessel, air in PROBES.values():
            board.tree.add_probe(vessel, beer_c)
            board.tree.add_probe(air, beer_c)
        self._thread = Thread(target=self._work, name="chambers", daemon=True)
        self._thread.start()

    def close(self) -> None:
        self._ended.set()
        self._thread.join(BOUND_S)

    def beer_c(self, chamber: str) -> float:
        with self._lock:
            return self._plants[chamber].state.beer_c

    def lose_power(self) -> None:
        with self._lock:
            for wire in WIRE.values():
                self._plants[wire.chamber].switch(wire.duty, False, true_s())

    def _work(self) -> None:
        while not self._ended.wait(FOLLOWED_EVERY_S):
            with self._lock:
                self._follow()
            self._show()

    def _follow(self) -> None:
        edges = self._board.edges()
        for edge in edges[self._seen :]:
            wire = WIRE[edge.gpio]
            self._plants[wire.chamber].switch(wire.duty, edge.on, edge.mono_s)
        self._seen = len(edges)
        for plant in self._plants.values():
            plant.advance_to(true_s())

    def _show(self) -> None:
        for chamber, (vessel, air) in PROBES.items():
            state = self._plants[chamber].state
            for probe, true_c in ((vessel, state.vessel_probe_c), (air, state.air_probe_c)):
                shown_c = self.shown.get(probe, true_c)
                if shown_c is None:
                    self._board.tree.show_wrong_checksum(probe)
                else:
                    self._board.tree.show(probe, shown_c)


@contextmanager
def watching(path: Path) -> Iterator[Callable[[float], bool]]:
    """Wake within a tenth of a millisecond of a file's change (inotify(7)).

    The function that is yielded waits for so many seconds at most, and says whether there was one.
    """
    libc = ctypes.CDLL(None, use_errno=True)
    descriptor = libc.inotify_init1(os.O_CLOEXEC | os.O_NONBLOCK)
    try:
        changed = 0x2 | 0x4  # IN_MODIFY, IN_ATTRIB
        if libc.inotify_add_watch(descriptor, os.fsencode(path), changed) < 0:
            number = ctypes.get_errno()
            raise OSError(number, os.strerror(number), str(path))
        poll = select.poll()
        poll.register(descriptor, select.POLLIN)

        def wait(bound_s: float) -> bool:
            if not poll.poll(bound_s * 1000.0):
                return False
            with suppress(BlockingIOError):
                os.read(descriptor, 65536)
            return True

        yield wait
    finally:
        os.close(descriptor)


def _machines_boot_id() -> str:
    return Path("/proc/sys/kernel/random/boot_id").read_text("ascii").strip()
