"""The real prometheus on a port of this machine, and a fleet of boards for it and a broker."""

from __future__ import annotations

import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx
from broker_rig import BOUND_S, Broker, Site, free_port, until
from certificates import make_authority

import fermd.broker
from fermd.web.passwords import write_password

FLEET = Path(fermd.broker.__file__).parent / "fleet"
NAMES = ("cellar", "loft", "barn")
PASSWORD = "nine-barrels-of-lager"  # noqa: S105 - of these tests alone
TOKEN = "3b5c0e4f7a1d9286e0f1c2"  # noqa: S105 - of these tests alone


def secret(path: Path, text: str) -> Path:
    path.touch(mode=0o600)
    path.write_text(text)
    return path


class Prometheus:
    """prometheus with the configuration that is shipped, but for places and pace."""

    def __init__(self, folder: Path, targets: list[str]) -> None:
        self.folder = folder
        self.port = free_port()
        self.config = folder / "prometheus.yml"
        text = (FLEET / "prometheus.yml").read_text()
        first, _, last = text.partition("          - cellar.local:8080\n")
        assert last == "          - loft.local:8080\n          - barn.local:8080\n"
        text = first + "".join(f"          - {target}\n" for target in targets)
        for old, new in (
            ("/etc/prometheus/fermd-token", str(secret(folder / "fermd-token", f"{TOKEN}\n"))),
            ("scrape_interval: 15s", "scrape_interval: 1s\n  evaluation_interval: 1s"),
        ):
            assert old in text
            text = text.replace(old, new)
        self.config.write_text(text)
        (folder / "fermd.rules.yml").write_text((FLEET / "fermd.rules.yml").read_text())
        self.log = folder / "prometheus.log"
        self._process: subprocess.Popen[bytes] | None = None
        base = f"http://127.0.0.1:{self.port}/api/v1"
        self._client = httpx.Client(base_url=base, timeout=BOUND_S)

    def __enter__(self) -> Prometheus:
        with self.log.open("wb") as log:
            self._process = subprocess.Popen(
                [
                    "prometheus", f"--config.file={self.config}",
                    f"--storage.tsdb.path={self.folder / 'series'}",
                    f"--web.listen-address=127.0.0.1:{self.port}",
                ],
                stdout=log, stderr=log,
            )  # fmt: skip
        until(self._is_ready)
        return self

    def __exit__(self, *_: object) -> None:
        assert self._process is not None
        self._process.terminate()
        self._process.wait(BOUND_S)
        self._client.close()

    def _is_ready(self) -> bool:
        assert self._process is not None
        assert self._process.poll() is None, self.log.read_text()
        return b"Server is ready" in self.log.read_bytes()

    def ask(self, place: str, **query: str) -> Any:
        answer = self._client.get(place, params=query)
        assert answer.is_success, answer.text
        return answer.json()["data"]

    def values(self, expression: str) -> dict[tuple[str, ...], float]:
        """The values of a query by the values of its labels but the name, in their order."""
        return {
            tuple(
                value
                for label, value in sorted(one["metric"].items())
                if label not in ("__name__", "job")
            ): float(one["value"][1])
            for one in self.ask("query", query=expression)["result"]
        }


@dataclass
class Fleet:
    """Three boards, one broker, one store of time series."""

    folder: Path
    boards: dict[str, Site]
    addresses: dict[str, str]
    broker: Broker
    prometheus: Prometheus

    @property
    def reader(self) -> list[str]:
        """Who may read at the broker, as mosquitto_sub takes it."""
        return ["--cafile", f"{self.folder}/ca.pem", "-u", "reader", "-P", PASSWORD]


def fleet_broker(folder: Path) -> Broker:
    """Mosquitto with the configuration that is shipped, but for places."""
    make_authority(folder)
    users = folder / "passwords"
    users.touch(mode=0o600)
    for user in (*NAMES, "reader"):
        made = ["mosquitto_passwd", "-b", str(users), user, PASSWORD]
        subprocess.run(made, check=True, capture_output=True)
    (folder / "acl").write_text((FLEET / "mosquitto.acl").read_text())
    broker = Broker(folder)
    text = (FLEET / "mosquitto.conf").read_text()
    assert "listener 8883\n" in text
    text = text.replace("listener 8883\n", f"listener {broker.port} 127.0.0.1\n")
    broker.configure(text.replace("/etc/mosquitto/fermd", str(folder)))
    return broker


def fleet_board(folder: Path, name: str, web_port: int, broker_port: int) -> Site:
    secret(folder / f"{name}-broker.toml", f'user = "{name}"\npassword = "{PASSWORD}"\n')
    home = folder / name
    home.mkdir()
    secret(home / "metrics-token", f"{TOKEN}\n")
    write_password(home / "password", PASSWORD)
    return Site(
        folder,
        name,
        f'[web]\nlisten = "127.0.0.1:{web_port}"\npassword_file = "{name}/password"\n'
        f'metrics_token_file = "{name}/metrics-token"\n'
        f'[broker]\nhost = "127.0.0.1"\nport = {broker_port}\ntls = true\ncafile = "ca.pem"\n'
        f'secrets_file = "{name}-broker.toml"\n',
    )


@contextmanager
def fleet() -> Iterator[Fleet]:
    """Start all of it, and end it when left."""
    with tempfile.TemporaryDirectory(prefix="fermd-") as place:
        folder = Path(place)
        broker = fleet_broker(folder)
        ports = {name: free_port() for name in NAMES}
        boards = {name: fleet_board(folder, name, ports[name], broker.port) for name in NAMES}
        addresses = {name: f"127.0.0.1:{port}" for name, port in ports.items()}
        try:
            broker.start()
            for board in boards.values():
                board.start()
            with Prometheus(folder, list(addresses.values())) as prometheus:
                yield Fleet(folder, boards, addresses, broker, prometheus)
        finally:
            broker.stop()
            for board in boards.values():
                board.clear()
