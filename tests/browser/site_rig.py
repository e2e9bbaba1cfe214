"""The real daemon on simulated chambers, in a process of its own, behind a password.

It is what `fermd run` starts, served on a port of this machine.
"""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from threading import Event
from typing import Any, Final

import httpx

import fermd
from fermd.web.passwords import write_password

BOUND_S = float(os.environ.get("FERMD_TEST_BOUND_S", "60"))
"""Far beyond what anything here takes; reaching it fails the test."""

PASSWORD = "wet hands in the cellar"  # noqa: S105 - of a site that lives for one test
PACE = 20
"""A lockout of 20 minutes lasts a minute."""

SITE = f"""\
time_zone = "Europe/Vienna"
journal_path = "FOLDER/journal.db"
socket_path = "FOLDER/s"

[web]
listen = "127.0.0.1:PORT"
password_file = "FOLDER/password"

[probe.vessel]
id = "28-000006b67845"

[probe.air]
id = "28-0000071a2b3c"

[probe.bucket]
id = "28-00000aaaaaaa"

[probe.shelf]
id = "28-00000bbbbbbb"

[output.fridge]
gpio = 17
active = "low"
duty = "cool"

[output.belt]
gpio = 27
active = "low"
duty = "heat"

[output.mat]
gpio = 22
active = "low"
duty = "heat"

[chamber.lager]
vessel_probe = "vessel"
air_probe = "air"
outputs = ["fridge", "belt"]

[chamber.ale]
vessel_probe = "bucket"
watching_probes = ["shelf"]
outputs = ["mat"]

[simulated]
times_real_time = {PACE}
"""

PROFILE = """\
name = "Short lager"

[[step]]
kind = "hold"
name = "pitch"
target_c = 16.0
for = "5 d"

[[step]]
kind = "wait"
name = "hops"
target_c = 16.0
prompt = "Add the dry hops"

[[step]]
kind = "final-hold"
target_c = 12.0
"""


def until(fact: Callable[[], object], what: str = "") -> None:
    deadline_s = time.monotonic() + BOUND_S
    while not fact():
        assert time.monotonic() < deadline_s, f"did not become so within the bound: {what}"
        # Each look costs the browser a layout of the page.
        Event().wait(0.1)


class Port:
    """A port of this machine, kept from everybody but the daemon that it is meant for."""

    def __init__(self) -> None:
        self._held = socket.socket()
        self._held.bind(("127.0.0.1", 0))
        # Bound and not listening, it lets whoever says the same listen beside it (Linux, tcp(7));
        # and the system gives it to nobody who asks for any port.
        self._held.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        self.number: Final = int(self._held.getsockname()[1])

    def close(self) -> None:
        self._held.close()


@dataclass
class Site:
    """A site in charge, or stopped."""

    folder: Path
    text: str = SITE
    command: Sequence[str] = (sys.executable, "-m", "fermd.cli", "run", "--site")
    more: Sequence[str] = ()
    environment: Mapping[str, str] = field(default_factory=dict)
    process: subprocess.Popen[bytes] | None = None

    def __post_init__(self) -> None:
        self._port = Port()
        self.port: Final = self._port.number
        self.address: Final = f"http://127.0.0.1:{self.port}"
        self.path: Final = self.folder / "fermd.toml"
        text = self.text.replace("FOLDER", str(self.folder)).replace("PORT", str(self.port))
        self.path.write_text(text, "utf-8")
        write_password(self.folder / "password", PASSWORD)
        transport = httpx.HTTPTransport(uds=str(self.folder / "s"), verify=False)
        self._local = httpx.Client(transport=transport, base_url="http://fermd", timeout=BOUND_S)

    def start(self) -> None:
        self.process = subprocess.Popen(
            [*self.command, str(self.path), *self.more],
            env={
                **os.environ,
                "PYTHONPATH": os.pathsep.join(
                    [str(Path(fermd.__file__).parent.parent), os.environ.get("PYTHONPATH", "")]
                ),
                **self.environment,
            },
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        until(self.answers, "the daemon answers")

    def answers(self) -> bool:
        assert self.process is not None
        assert self.process.poll() is None, "the daemon has ended"
        with socket.socket(socket.AF_UNIX) as local, socket.socket() as network:
            if local.connect_ex(str(self.folder / "s")):
                return False
            if network.connect_ex(("127.0.0.1", self.port)):
                return False
        return self._local.get("/api/status").is_success

    def stop(self, how: signal.Signals = signal.SIGTERM) -> None:
        if self.process is not None and self.process.poll() is None:
            self.process.send_signal(how)
            self.process.wait(BOUND_S)

    def close(self) -> None:
        self.stop()
        self._local.close()
        self._port.close()

    def status(self) -> Any:
        return self._local.get("/api/status").json()

    def chamber(self, name: str) -> Any:
        return self.status()["chambers"][name]

    def until_recorded(self, chamber: str, words: str) -> None:
        """Wait until the journal has something that happened; it is written a little later."""

        def there() -> bool:
            found = self._local.get("/api/events?limit=200").json()
            return any(one["chamber"] == chamber and one["words"] == words for one in found)

        until(there, f"the record has {words!r}")

    def order(self, chamber: str, command: str, **more: Any) -> None:
        answer = self._local.post(
            f"/api/chambers/{chamber}/commands", json={"command": command, "who": "rig", **more}
        )
        assert answer.is_success, answer.text

    def until_ticked(self) -> None:
        before = self.status()["tick"]
        until(lambda: self.status()["tick"] > before, "another tick")
