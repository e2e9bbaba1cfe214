"""A running site with its page on the network, and phones that ask for it."""

from __future__ import annotations

import socket
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import httpx
from web_rig import BOUND_S, Caller, running_site, until

from fermd.web.passwords import write_password

PASSWORD = "correct horse battery"  # noqa: S105 - of this test alone
METRICS_TOKEN = "3b5c0e4f7a1d9286e0f1"  # noqa: S105 - of this test alone


def free_port() -> int:
    with socket.socket() as trial:
        trial.bind(("127.0.0.1", 0))
        port: int = trial.getsockname()[1]
        return port


@dataclass
class Lan:
    """The network."""

    local: Caller
    port: int
    folder: Path
    phones: list[httpx.Client] = field(default_factory=list)

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def phone(self, **headers: str) -> Phone:
        self.phones.append(httpx.Client(base_url=self.address, timeout=BOUND_S, headers=headers))
        return Phone(self.phones[-1])

    @contextmanager
    def logged_in(self, who: str = "anna") -> Iterator[Phone]:
        phone = self.phone()
        assert phone.log_in(who=who).status_code == 200
        yield phone


@dataclass
class Phone:
    """A browser, as far as cookies and headers go."""

    http: httpx.Client
    csrf: str = ""

    def log_in(self, password: str = PASSWORD, **more: Any) -> httpx.Response:
        answer = self.http.post("/api/session", json={"password": password, **more})
        if answer.is_success:
            self.csrf = answer.json()["csrf"]
        return answer

    def get(self, place: str, **headers: str) -> httpx.Response:
        return self.http.get(place, headers=headers)

    def ask(self, method: str, place: str, body: Any = None, **headers: str) -> httpx.Response:
        token = {"X-CSRF-Token": self.csrf} if self.csrf else {}
        return self.http.request(method, place, json=body, headers=token | headers)


@contextmanager
def site_on_the_lan(more: str = "", password: str | None = PASSWORD) -> Iterator[Lan]:
    port = free_port()
    # Not pytest's own folder: a socket's path has 107 bytes at the most.
    with tempfile.TemporaryDirectory(prefix="fermd-") as name:
        folder = Path(name)
        if password is not None:
            write_password(folder / "password", password)
        token = folder / "metrics-token"
        token.touch(mode=0o600)
        token.write_text(f"{METRICS_TOKEN}\n")
        web = f'[web]\nlisten = "127.0.0.1:{port}"\npassword_file = "password"\n{more}'
        with running_site(folder, web) as local:
            if password is not None:
                until(lambda: answers(port))
            lan = Lan(local, port, folder)
            try:
                yield lan
            finally:
                for phone in lan.phones:
                    phone.close()


def answers(port: int) -> bool:
    with socket.socket() as trial:
        return trial.connect_ex(("127.0.0.1", port)) == 0
