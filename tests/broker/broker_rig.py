"""The real mosquitto, a daemon in a process of its own on the simulated site, and who listens."""

from __future__ import annotations

import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from threading import Event
from typing import Any, TypeVar

import httpx
from jsonschema import Draft202012Validator

import fermd
import fermd.broker

T = TypeVar("T")

BOUND_S = 60.0
"""Far beyond what anything here takes; reaching it fails the test."""

SCHEMA = json.loads((Path(fermd.broker.__file__).parent / "payloads.schema.json").read_text())

SITE = """\
site_name = "NAME"
time_zone = "Europe/Vienna"
journal_path = "FOLDER/NAME/journal.db"
socket_path = "FOLDER/NAME/s"

[probe.vessel]
id = "28-000006b67845"

[probe.air]
id = "28-0000071a2b3c"

[probe.room]
id = "28-00000bbbbbbb"

[output.fridge]
gpio = 17
active = "low"
duty = "cool"

[output.belt]
gpio = 27
active = "low"
duty = "heat"

[chamber.lager]
vessel_probe = "vessel"
air_probe = "air"
watching_probes = ["room"]
outputs = ["fridge", "belt"]

[simulated]
times_real_time = PACE
"""


def until(fact: Callable[[], T], bound_s: float = BOUND_S) -> T:
    deadline_s = time.monotonic() + bound_s
    while not (found := fact()):
        assert time.monotonic() < deadline_s, "did not become so within the bound"
        Event().wait(0.05)
    return found


def free_port() -> int:
    with socket.socket() as trial:
        trial.bind(("127.0.0.1", 0))
        port: int = trial.getsockname()[1]
        return port


def takes_calls(port: int) -> bool:
    with socket.socket() as trial:
        return trial.connect_ex(("127.0.0.1", port)) == 0


@dataclass(frozen=True)
class Heard:
    """A message as mosquitto_sub tells it."""

    topic: str
    payload: bytes
    retained: bool
    qos: int
    expiry_s: int | None

    @property
    def told(self) -> Any:
        return json.loads(self.payload)

    def check(self) -> None:
        """Hold it against the published schema, by the definition of its topic."""
        last = self.topic.split("/")[-1]
        inner = self.topic.split("/")[-2]
        kind = {"state": "chamber_state" if "/chamber/" in self.topic else "board_state"}.get(
            last, "reading" if inner == "reading" else last
        )
        schema = {**SCHEMA, "oneOf": [{"$ref": f"#/$defs/{kind}"}]}
        checker = Draft202012Validator.FORMAT_CHECKER
        Draft202012Validator(schema, format_checker=checker).validate(self.told)
        told = self.told
        if told["at_utc"] is None:
            assert kind == "availability"
        assert told.get("chamber", "") == (
            self.topic.split("/chamber/")[1].split("/")[0] if "/chamber/" in self.topic else ""
        )


class Broker:
    """mosquitto on a port of this machine; may be stopped and started anew, forgetting all."""

    def __init__(self, folder: Path, lines: str = "allow_anonymous true\n") -> None:
        self.port = free_port()
        self.folder = folder
        self._config = folder / "mosquitto.conf"
        self.log = folder / "mosquitto.log"
        self.configure(f"listener {self.port} 127.0.0.1\n{lines}persistence false\n")
        self._process: subprocess.Popen[bytes] | None = None

    def configure(self, text: str) -> None:
        # Run by root it would become a user that may not look into this folder.
        own = "user root\n" if os.geteuid() == 0 else ""
        self._config.write_text(text + own)

    def start(self) -> None:
        with self.log.open("ab") as log:
            self._process = subprocess.Popen(
                [_mosquitto(), "-v", "-c", str(self._config)], stdout=log, stderr=log
            )
        until(lambda: takes_calls(self.port))

    def stop(self, how: signal.Signals = signal.SIGTERM) -> None:
        if self._process is not None:
            self._process.send_signal(signal.SIGCONT)
            self._process.send_signal(how)
            self._process.wait(BOUND_S)
            self._process = None

    def pause(self) -> None:
        """Let it hang: it reads no more, and its connections stay."""
        assert self._process is not None
        self._process.send_signal(signal.SIGSTOP)

    def go_on(self) -> None:
        assert self._process is not None
        self._process.send_signal(signal.SIGCONT)

    def kept(self, topic: str, *more: str) -> dict[str, Heard]:
        """What the broker keeps, by topic; without what arrives while it is asked."""
        told = subprocess.run(
            [*_sub(self.port, topic), *more, "--retained-only", "-W", "1"],
            capture_output=True,
            check=False,
        )
        return {one.topic: one for one in map(_heard, told.stdout.splitlines()) if one.payload}

    @contextmanager
    def listening(self, topic: str, *more: str) -> Iterator[Listener]:
        """Somebody who stays."""
        process = subprocess.Popen([*_sub(self.port, topic), *more], stdout=subprocess.PIPE)
        listener = Listener(process)
        try:
            yield listener
        finally:
            listener.close()


def _mosquitto() -> str:
    return shutil.which("mosquitto") or "/usr/sbin/mosquitto"


def _sub(port: int, topic: str) -> list[str]:
    return [
        "mosquitto_sub", "-V", "5", "-h", "127.0.0.1", "-p", str(port), "-q", "1",
        "-t", topic, "-F", "%r %q %E|%t|%p",
    ]  # fmt: skip


def _heard(line: bytes) -> Heard:
    about, topic, payload = line.split(b"|", 2)
    retained, qos, *expiry = about.split()
    return Heard(
        topic.decode(),
        payload,
        retained == b"1",
        int(qos),
        int(expiry[0]) if expiry and expiry[0].isdigit() else None,
    )


class Listener:
    """A subscriber whose messages are read as they come."""

    def __init__(self, process: subprocess.Popen[bytes]) -> None:
        from threading import Thread

        self._process = process
        self.heard: list[Heard] = []
        self._thread = Thread(target=self._listen, daemon=True)
        self._thread.start()

    def _listen(self) -> None:
        assert self._process.stdout is not None
        for line in self._process.stdout:
            self.heard.append(_heard(line.rstrip(b"\n")))

    def of(self, end: str) -> list[Heard]:
        return [one for one in self.heard if one.topic.endswith(end)]

    def close(self) -> None:
        self._process.terminate()
        self._process.wait(BOUND_S)
        self._thread.join(BOUND_S)
        assert self._process.stdout is not None
        self._process.stdout.close()


@dataclass
class Site:
    """One board: `fermd run` in a process of its own."""

    folder: Path
    name: str
    more: str
    pace: float = 60.0
    processes: list[subprocess.Popen[bytes]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.path = self.folder / f"{self.name}.toml"
        text = SITE + self.more
        for key, value in (
            ("FOLDER", str(self.folder)), ("NAME", self.name), ("PACE", f"{self.pace:g}"),
        ):  # fmt: skip
            text = text.replace(key, value)
        self.path.write_text(text)
        self.log = self.folder / f"{self.name}.log"
        self._client = httpx.Client(
            transport=httpx.HTTPTransport(
                uds=str(self.folder / self.name / "s"),
                limits=httpx.Limits(max_keepalive_connections=0),
                verify=False,
            ),
            base_url="http://fermd",
            timeout=BOUND_S,
        )

    def start(self) -> None:
        with self.log.open("ab") as log:
            process = subprocess.Popen(
                [sys.executable, "-m", "fermd.cli", "run", "--site", str(self.path)],
                env={**environment(), "FERMD_SITE": str(self.path)},
                stdout=log,
                stderr=log,
            )
        self.processes.append(process)

        def ticking() -> bool:
            assert process.poll() is None, self.log.read_text()
            return self._is_served() and self._client.get("/api/status").is_success

        until(ticking)

    def _is_served(self) -> bool:
        with socket.socket(socket.AF_UNIX) as caller:
            return caller.connect_ex(str(self.folder / self.name / "s")) == 0

    def end(self, how: signal.Signals = signal.SIGTERM) -> int:
        self.processes[-1].send_signal(how)
        return self.processes[-1].wait(BOUND_S)

    def status(self) -> Any:
        return self._client.get("/api/status").json()

    def order(self, command: str, **fields: Any) -> None:
        body = {"command": command, "who": "anna", **fields}
        answer = self._client.post("/api/chambers/lager/commands", json=body)
        assert answer.status_code == 200, answer.text

    def resident_kb(self) -> int:
        about = Path(f"/proc/{self.processes[-1].pid}/status").read_text()
        return int(about.split("VmRSS:")[1].split()[0])

    def told_of_broker(self) -> list[str]:
        """The lines of the log about the broker."""
        return [line for line in self.log.read_text().splitlines() if "MQTT" in line]

    def clear(self) -> None:
        for process in self.processes:
            process.kill()
            process.wait()
        self._client.close()


def environment() -> Mapping[str, str]:
    return {
        **{key: value for key, value in os.environ.items() if key != "NOTIFY_SOCKET"},
        "PYTHONPATH": str(Path(fermd.__file__).parent.parent),
    }


def run_fermd(arguments: Sequence[str]) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "fermd.cli", *arguments],
        env=environment(),
        capture_output=True,
        text=True,
        check=False,
    )


def table(port: int, more: str = "") -> str:
    return f'[broker]\nhost = "127.0.0.1"\nport = {port}\n{more}'


Boards = Callable[..., Site]
"""Makes boards: see the fixture."""
