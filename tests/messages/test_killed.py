"""The real daemon in a process of its own, killed while it sends; and no secret in all it says."""

from __future__ import annotations

import json
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest
from receivers import BOUND_S, Receiver, until

MARKER = "GEHEIM7f3a"

SITE = """\
site_name = "cellar"
time_zone = "Europe/Vienna"
journal_path = "journal.db"
socket_path = "s"

[probe.vessel]
id = "28-000006b67845"

[chamber.lager]
vessel_probe = "vessel"

[chamber.lager.attention]
off_target_c = 0.5
off_target_for_s = 60

[simulated]
times_real_time = 100

[messages]
secrets_file = "addresses.toml"

[messages.to.anna]

[messages.heartbeat]
every_s = 30
"""


class Daemon:
    """`fermd run` in a process; all it says is kept."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.said = folder / "said"
        with self.said.open("ab") as output:
            self.process = subprocess.Popen(
                [*_fermd(), "run", "--site", str(folder / "fermd.toml")],
                stdout=output,
                stderr=output,
                cwd=folder,
            )
        until(self._answers, 60.0)

    def target(self, target_c: float) -> None:
        order = {"command": "set-target", "target_c": target_c, "who": "bert"}
        with self._client() as client:
            answer = client.post("/api/chambers/lager/commands", json=order)
        assert answer.status_code == httpx.codes.OK

    def kill(self) -> None:
        self.process.kill()
        self.process.wait(BOUND_S)

    def stop(self) -> None:
        self.process.send_signal(signal.SIGTERM)
        assert self.process.wait(BOUND_S) == 0

    def _client(self) -> httpx.Client:
        transport = httpx.HTTPTransport(uds=str(self.folder / "s"))
        return httpx.Client(transport=transport, base_url="http://fermd", timeout=BOUND_S)

    def _answers(self) -> bool:
        assert self.process.poll() is None, self.said.read_text()
        with socket.socket(socket.AF_UNIX) as trial:
            if trial.connect_ex(str(self.folder / "s")) != 0:
                return False
        with self._client() as client:
            return client.get("/api/status").status_code == httpx.codes.OK


def _fermd() -> list[str]:
    return [sys.executable, "-c", "from fermd.cli import main; main()"]


def said_by(folder: Path, *arguments: str, codes: Sequence[int] = (0,)) -> str:
    done = subprocess.run([*_fermd(), *arguments], cwd=folder, capture_output=True, text=True)
    assert done.returncode in codes, done.stderr
    return done.stdout + done.stderr


@contextmanager
def cellar(folder: Path, url: str, heartbeat: str) -> Iterator[Path]:
    secrets = folder / "addresses.toml"
    secrets.touch(mode=0o600)
    secrets.write_text(f'anna = "{url}"\nheartbeat = "{heartbeat}"\n')
    (folder / "fermd.toml").write_text(SITE)
    yield folder


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    with Receiver() as one:
        yield one


def test_killed_while_it_sends_it_sends_the_same_message_again_and_loses_none(
    tmp_path: Path, receiver: Receiver
) -> None:
    url = receiver.url(MARKER, f"fermd:{MARKER}@") + "?rto=60"
    beat = f"http://127.0.0.1:{receiver.port}/beat/{MARKER}"
    with cellar(tmp_path, url, beat):
        receiver.hold.clear()
        daemon = Daemon(tmp_path)
        daemon.target(5.0)

        def messages() -> list[tuple[int, str]]:
            return [(one.number, one.text) for one in receiver.heard if isinstance(one.body, dict)]

        until(lambda: messages(), 60.0)
        daemon.kill()
        receiver.hold.set()
        daemon = Daemon(tmp_path)
        until(lambda: len(messages()) >= 2, 60.0)
        first, second = messages()[:2]
        assert first == second
        assert "the beer stays too warm" in first[1]
        daemon.target(18.0)
        until(lambda: any("all right again" in text for _, text in messages()), 60.0)
        until(lambda: any(one.path == f"/beat/{MARKER}" for one in receiver.heard), 60.0)
        daemon.stop()
        # Marked secrets went to the receiver, and to nobody else.
        told = said_by(tmp_path, "messages", "--site", "fermd.toml", "--json")
        told += said_by(tmp_path, "messages", "--site", "fermd.toml", "--try", "--json")
        receiver.status = 500
        told += said_by(tmp_path, "messages", "--site", "fermd.toml", "--try", codes=[75])
        told += said_by(tmp_path, "check", "--site", "fermd.toml", "--json")
        log = said_by(tmp_path, "log", "--journal", "journal.db", "--json")
        kinds = {row["kind"] for row in json.loads(log)}
        assert "MessageEnded" in kinds
        everything = told + log + daemon.said.read_text()
        for path in tmp_path.iterdir():
            if path.is_file() and path.name != "addresses.toml":
                everything += path.read_bytes().decode("utf-8", "replace")
        assert "heartbeat" in (tmp_path / "addresses.toml").read_text()
        assert MARKER not in everything
        assert str(receiver.port) not in told
        assert (tmp_path / "journal-messages.db").stat().st_mode & 0o077 == 0
