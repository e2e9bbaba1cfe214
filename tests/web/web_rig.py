"""A daemon on a simulated board, a thousand times faster than real, asked over its own socket."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from threading import Event
from typing import Any

import httpx

from fermd.config.site import SiteFile
from fermd.config.site_file import load_site
from fermd.journal.writer import SqliteJournal
from fermd.service.board import site_ports
from fermd.service.daemon import Daemon, RunningSite, wiring
from fermd.service.hold import hold
from fermd.service.loop import ControlLoop
from fermd.service.notify import ServiceManager
from fermd.web.serving import on_network, on_socket

BOUND_S = 30.0

SITE = """\
time_zone = "Europe/Berlin"
journal_path = "FOLDER/journal.db"
socket_path = "FOLDER/s"

[probe.vessel]
id = "28-000006b67845"

[probe.air]
id = "28-0000071a2b3c"

[probe.room]
id = "28-00000bbbbbbb"

[probe.bucket]
id = "28-00000aaaaaaa"

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

[chamber.ale]
vessel_probe = "bucket"

[simulated]
times_real_time = 1000
"""

PROFILE = """\
name = "Lager"

[[step]]
kind = "hold"
target_c = 10.0
for = "5 d"

[[step]]
kind = "final-hold"
target_c = 2.0
"""


def site_in(folder: Path, more: str = "") -> SiteFile:
    path = folder / "fermd.toml"
    path.write_text(SITE.replace("FOLDER", str(folder)) + more)
    return load_site(path)


def until(fact: Callable[[], object]) -> None:
    deadline_s = time.monotonic() + BOUND_S
    while not fact():
        assert time.monotonic() < deadline_s, "did not become so within the bound"
        Event().wait(0.01)


class Caller:
    """Asks over the socket."""

    def __init__(self, place: Path) -> None:
        self.socket_path = str(place)
        self._client = httpx.Client(
            transport=httpx.HTTPTransport(uds=str(place), verify=False),
            base_url="http://fermd",
            timeout=BOUND_S,
        )

    def get(self, place: str) -> httpx.Response:
        return self._client.get(place)

    def post(self, place: str, body: Any) -> httpx.Response:
        return self._client.post(place, json=body)

    def send(self, place: str, raw: bytes) -> httpx.Response:
        return self._client.post(place, content=raw)

    def order(self, chamber: str, command: str, **fields: Any) -> httpx.Response:
        body = {"command": command, **fields}
        return self.post(f"/api/chambers/{chamber}/commands", body)

    def ask(self, method: str, place: str, body: Any = None) -> httpx.Response:
        return self._client.request(method, place, json=body)

    def stream(self, place: str) -> AbstractContextManager[httpx.Response]:
        return self._client.stream("GET", place)

    def close(self) -> None:
        self._client.close()


def listens(path: Path) -> bool:
    """Tell whether somebody takes calls at a Unix socket."""
    with socket.socket(socket.AF_UNIX) as trial:
        return trial.connect_ex(str(path)) == 0


@contextmanager
def running_site(folder: Path, more: str = "") -> Iterator[Caller]:
    """Serve a site that is in charge, until left; `more` goes into its site file."""
    site = site_in(folder, more)
    with site_ports(site) as ports, hold(site, ports):
        interfaces = [on_socket(site), on_network(site)]
        daemon = Daemon(site, ports, ServiceManager(None), interfaces)
        thread = threading.Thread(target=daemon.run, daemon=True)
        thread.start()
        # The socket is there a moment before anybody listens at it.
        until(lambda: listens(site.socket_path))
        caller = Caller(site.socket_path)
        until(lambda: caller.get("/api/status").status_code == httpx.codes.OK)
        try:
            yield caller
        finally:
            caller.close()
            daemon.stop()
            thread.join(BOUND_S)
    assert not thread.is_alive()


@contextmanager
def site_that_has_not_ticked(folder: Path) -> Iterator[Caller]:
    """Serve a site whose loop has not run yet."""
    site = site_in(folder)
    with site_ports(site) as ports, hold(site, ports):
        journal = SqliteJournal(
            site.journal_path,
            boot_id=ports.clock.boot_id(),
            moment=ports.clock.now(),
            version="test",
        )
        loop = ControlLoop(
            site.settings, wiring(site), ports.clock, ports.probes, ports.relays, journal
        )
        with on_socket(site)(RunningSite(loop, ports.clock, journal)):
            caller = Caller(site.socket_path)
            yield caller
            caller.close()
        journal.close(ports.clock.now(), cleanly=True)
