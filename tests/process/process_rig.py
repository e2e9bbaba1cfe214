"""Starts the daemon in a process of its own, and looks at it from outside only.

What the relays do comes from the pins' own record, what the daemon says from its socket, what is
kept from its journal. Nothing here sleeps for a time and hopes: facts are waited for, with a bound.
"""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from threading import Event, Thread
from typing import Any, TypeVar

import httpx
from daemon_on_mock_pins import PACE

import fermd
from fermd.hardware.fake_w1 import FakeW1Tree
from fermd.journal.reader import EventRow, JournalReader, JournalUnreadable

T = TypeVar("T")

BOUND_S = 60.0
"""Far beyond what anything here takes; reaching it fails the test."""

MINIMUM_OFF_S = 180.0
PERIOD_S = 60.0
LEASE_S = 180.0
VESSEL_ID = "28-000006b67845"
AIR_ID = "28-0000071a2b3c"
FRIDGE_GPIO = 17
BELT_GPIO = 27
HARNESS = Path(__file__).with_name("daemon_on_mock_pins.py")

SITE = f"""\
time_zone = "Europe/Berlin"
pin_factory = "lgpio"
chip = "pinctrl-bcm2711"
journal_path = "FOLDER/journal.db"
socket_path = "FOLDER/s"
w1_root = "FOLDER/w1/bus/w1/devices"
sample_period_s = {PERIOD_S:g}

[probe.vessel]
id = "{VESSEL_ID}"
stale_s = 600
good_run = 1
median_of = 1
jump_c = 50

[probe.air]
id = "{AIR_ID}"
stale_s = 600
good_run = 1
median_of = 1
jump_c = 50

[output.fridge]
gpio = {FRIDGE_GPIO}
active = "low"
duty = "cool"

[output.fridge.protection]
minimum_off_s = {MINIMUM_OFF_S:g}
minimum_run_s = 120
starts_per_hour = 12
power_up_delay_s = 0

[output.belt]
gpio = {BELT_GPIO}
active = "low"
duty = "heat"

[output.belt.protection]
minimum_off_s = 0
minimum_run_s = 0

[chamber.lager]
vessel_probe = "vessel"
air_probe = "air"
outputs = ["fridge", "belt"]
changeover_s = 60
"""


def until(fact: Callable[[], T], bound_s: float = BOUND_S) -> T:
    """Wait until something is so, and return it."""
    deadline_s = time.monotonic() + bound_s
    while not (found := fact()):
        assert time.monotonic() < deadline_s, "did not become so within the bound"
        Event().wait(0.02)
    return found


@dataclass(frozen=True)
class Edge:
    """A level that a pin was driven to."""

    at_s: float
    """On the machine's boot clock, in real seconds."""
    pid: int
    gpio: int
    on: bool
    """Both relays are energised by a low level."""
    pace: float = PACE

    @property
    def mono_s(self) -> float:
        """On the boot clock as the daemon has it."""
        return self.at_s * self.pace


class Listener:
    """The service manager's end of the notification socket, read all the time as it does."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / "notify"
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC)
        self._socket.bind(str(self.path))
        self.heard: list[str] = []
        """Everything heard so far, one datagram each."""
        self._thread = Thread(target=self._listen, daemon=True)
        self._thread.start()

    def watchdogs(self) -> int:
        return sum("WATCHDOG=1" in heard for heard in self.heard)

    def close(self) -> None:
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as last:
            last.sendto(b"", str(self.path))
        self._thread.join(BOUND_S)
        self._socket.close()

    def _listen(self) -> None:
        while heard := self._socket.recv(65536).decode():
            self.heard.append(heard)


@dataclass
class Board:
    """A board with its probes, pins, files, and the daemon that runs on it at present."""

    folder: Path
    processes: list[subprocess.Popen[str]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.site_path = self.folder / "fermd.toml"
        self.write_site(SITE)
        self.tree = FakeW1Tree(self.folder / "w1")
        self.listener = Listener(self.folder)
        self._client = httpx.Client(
            transport=httpx.HTTPTransport(
                uds=str(self.folder / "s"),
                # Each question over a connection of its own: daemons come and go.
                limits=httpx.Limits(max_keepalive_connections=0),
                verify=False,
            ),
            base_url="http://fermd",
            timeout=BOUND_S,
        )

    def write_site(self, text: str) -> None:
        self.site_path.write_text(text.replace("FOLDER", str(self.folder)), "utf-8")

    # -- the processes --------------------------------------------------------------------------

    def start(self, what: str = "run", **environment: str) -> subprocess.Popen[str]:
        """Start a process; whether it gets anywhere is for others to see."""
        process = subprocess.Popen(
            [sys.executable, str(HARNESS), what, str(self.site_path), str(self.folder)],
            env={
                **{k: v for k, v in os.environ.items() if k != "NOTIFY_SOCKET"},
                "PYTHONPATH": str(Path(fermd.__file__).parent.parent),
                "NOTIFY_SOCKET": str(self.listener.path),
                "WATCHDOG_USEC": "60000000",
                **environment,
            },
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
        )
        self.processes.append(process)
        return process

    def start_and_tick(self) -> subprocess.Popen[str]:
        """Start the daemon and wait for its first tick."""
        process = self.start()

        def ticking() -> bool:
            assert process.poll() is None, self.complaint()
            return self._is_served() and self.ask("GET", "/api/status").is_success

        until(ticking)
        return process

    def _is_served(self) -> bool:
        with socket.socket(socket.AF_UNIX) as caller:
            return caller.connect_ex(str(self.folder / "s")) == 0

    @property
    def daemon(self) -> subprocess.Popen[str]:
        return self.processes[-1]

    def end(self, how: signal.Signals = signal.SIGTERM) -> int:
        """Send a signal and wait for the end; returns the exit code."""
        self.daemon.send_signal(how)
        return self.daemon.wait(BOUND_S)

    def complaint(self) -> str:
        """What the newest process has written to standard error, once it has ended."""
        self.daemon.wait(BOUND_S)
        assert self.daemon.stderr is not None
        return self.daemon.stderr.read()

    def clear(self) -> None:
        for process in self.processes:
            process.kill()
            process.wait()
            assert process.stderr is not None
            process.stderr.close()
        self._client.close()
        self.listener.close()

    # -- the world ------------------------------------------------------------------------------

    def plug_in(self, temp_c: float) -> None:
        for probe_id in (VESSEL_ID, AIR_ID):
            self.tree.add_probe(probe_id, temp_c)

    def warm_to(self, temp_c: float) -> None:
        for probe_id in (VESSEL_ID, AIR_ID):
            self.tree.show(probe_id, temp_c)

    def plant(self, name: str, text: str = "") -> Path:
        """Put a file where the daemon's harness looks for it, whole."""
        spare = self.folder / f"{name}.new"
        spare.write_text(text, "ascii")
        return spare.replace(self.folder / name)

    def set_wall_by(self, offset_s: float) -> None:
        self.plant("wall-offset", repr(offset_s))

    # -- what can be seen -----------------------------------------------------------------------

    def edges(self, gpio: int | None = None) -> list[Edge]:
        lines = (self.folder / "edges").read_text("ascii").splitlines()
        found = []
        for line in lines:
            at_s, pid, number, level = line.split()
            found.append(Edge(float(at_s), int(pid), int(number), level == "0"))
        return [edge for edge in found if gpio in (None, edge.gpio)]

    def is_on(self, gpio: int) -> bool:
        return self.edges(gpio)[-1].on

    def switchings(self, gpio: int) -> list[bool]:
        """The edges that changed something, beginning with the first."""
        levels = [edge.on for edge in self.edges(gpio)]
        return [on for n, on in enumerate(levels) if n == 0 or on != levels[n - 1]]

    def until_on(self, gpio: int) -> Edge:
        until(lambda: self.is_on(gpio))
        return [edge for edge in self.edges(gpio) if edge.on][-1]

    def until_off(self, gpio: int) -> Edge:
        until(lambda: not self.is_on(gpio))
        return self.edges(gpio)[-1]

    def ask(self, method: str, place: str, body: Any = None) -> httpx.Response:
        return self._client.request(method, place, json=body)

    def status(self) -> Any:
        return self.ask("GET", "/api/status").json()

    def lager(self) -> Any:
        return self.status()["chambers"]["lager"]

    def order(self, command: str, **fields: Any) -> None:
        answer = self.ask(
            "POST", "/api/chambers/lager/commands", {"command": command, "who": "anna", **fields}
        )
        assert answer.status_code == 200, answer.text

    def tick(self) -> int:
        return int(self.status()["tick"])

    def until_ticked(self, more: int = 1) -> None:
        """Wait for so many more ticks."""
        wanted = self.tick() + more
        until(lambda: self.tick() >= wanted)

    def site_alarms(self) -> dict[str, str]:
        return {alarm["alarm"]: alarm["phase"] for alarm in self.status()["alarms"]}

    def rows(self) -> list[EventRow]:
        """What the journal has of what happened, oldest first."""
        try:
            return JournalReader(self.folder / "journal.db").last_events(100_000)
        except JournalUnreadable:
            return []

    def told(self, kind: Any) -> list[Any]:
        return [row.happening for row in self.rows() if isinstance(row.happening, kind)]
