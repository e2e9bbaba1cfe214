"""What the service manager is told, heard on a real datagram socket in its place."""

from __future__ import annotations

import os
import socket
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from fermd.service.notify import LONGEST_STATUS_CHARS, ServiceManager


class Ear:
    """A service manager's socket, and what came in on it."""

    def __init__(self, address: str) -> None:
        self.address = address
        self.socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.socket.bind("\0" + address[1:] if address[0] == "@" else address)
        self.socket.settimeout(10.0)

    def hears(self) -> list[str]:
        return self.socket.recv(4096).decode().split("\n")

    def hears_nothing(self) -> bool:
        self.socket.setblocking(False)
        try:
            return not self.socket.recv(4096)
        except BlockingIOError:
            return True
        finally:
            self.socket.settimeout(10.0)


@pytest.fixture(params=["path", "abstract"])
def ear(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Ear]:
    name = f"@fermd-test-{os.getpid()}"
    ear = Ear(name if request.param == "abstract" else str(tmp_path_factory.mktemp("n") / "sock"))
    yield ear
    ear.socket.close()


@pytest.fixture
def manager(ear: Ear) -> Iterator[ServiceManager]:
    manager = ServiceManager.from_environment(
        {
            "NOTIFY_SOCKET": ear.address,
            "WATCHDOG_USEC": "60000000",
            "WATCHDOG_PID": str(os.getpid()),
        }
    )
    yield manager
    manager.close()


def test_the_manager_hears_the_whole_life_of_a_daemon(ear: Ear, manager: ServiceManager) -> None:
    before_us = time.clock_gettime_ns(time.CLOCK_MONOTONIC) // 1000
    assert manager.listens
    assert manager.extend_timeout(90.0)
    assert manager.ready("holding 18.0 °C")
    assert manager.alive()
    assert manager.status("cooling")
    assert manager.reloading()
    assert manager.stopping("relays are off")

    assert ear.hears() == ["EXTEND_TIMEOUT_USEC=90000000"]
    assert ear.hears() == ["READY=1", "STATUS=holding 18.0 °C"]
    assert ear.hears() == ["WATCHDOG=1"]
    assert ear.hears() == ["STATUS=cooling"]
    reload, stamp = ear.hears()
    assert reload == "RELOADING=1"
    stamp_us = int(stamp.removeprefix("MONOTONIC_USEC="))
    assert before_us <= stamp_us <= time.clock_gettime_ns(time.CLOCK_MONOTONIC) // 1000
    assert ear.hears() == ["STOPPING=1", "STATUS=relays are off"]


def test_a_tick_can_feed_the_watchdog_and_say_how_things_are(
    ear: Ear, manager: ServiceManager
) -> None:
    assert manager.alive("beer 18.1 °C, idle")
    assert ear.hears() == ["WATCHDOG=1", "STATUS=beer 18.1 °C, idle"]


def test_a_status_cannot_smuggle_in_another_message(ear: Ear, manager: ServiceManager) -> None:
    manager.status("lager\nREADY=1\r\nMAINPID=1")
    assert ear.hears() == ["STATUS=lager READY=1 MAINPID=1"]


def test_a_long_status_is_cut(ear: Ear, manager: ServiceManager) -> None:
    manager.status("x" * 10_000)
    (line,) = ear.hears()
    assert len(line.removeprefix("STATUS=")) == LONGEST_STATUS_CHARS


def test_the_watchdogs_period_is_in_seconds(manager: ServiceManager) -> None:
    assert manager.watchdog_s == 60.0


@pytest.mark.parametrize(
    "environment",
    [
        {},
        {"WATCHDOG_USEC": "60000000", "WATCHDOG_PID": "1"},
        {"WATCHDOG_USEC": "0"},
        {"WATCHDOG_USEC": "soon"},
        {"WATCHDOG_USEC": "60000000", "WATCHDOG_PID": "me"},
    ],
    ids=["none", "another process's", "zero", "no number", "no pid"],
)
def test_no_watchdog_of_ours_is_not_fed(ear: Ear, environment: dict[str, str]) -> None:
    manager = ServiceManager.from_environment({"NOTIFY_SOCKET": ear.address, **environment})
    assert manager.watchdog_s is None
    assert not manager.alive()
    assert ear.hears_nothing()
    manager.close()


def test_a_watchdog_for_whoever_reads_it_is_ours() -> None:
    assert ServiceManager.from_environment({"WATCHDOG_USEC": "1500000"}).watchdog_s == 1.5


def test_without_a_manager_nothing_is_said_and_nothing_fails() -> None:
    manager = ServiceManager.from_environment({})
    assert not manager.listens
    assert not manager.ready()
    assert not manager.alive("x")


@pytest.mark.parametrize("address", ["run/notify", "@", "tcp:1.2.3.4"])
def test_an_address_that_is_none_is_told_and_left_alone(
    address: str, caplog: pytest.LogCaptureFixture
) -> None:
    manager = ServiceManager.from_environment({"NOTIFY_SOCKET": address})
    assert not manager.ready()
    assert "NOTIFY_SOCKET" in caplog.text


def test_a_manager_that_is_gone_never_stops_the_loop(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    manager = ServiceManager(str(tmp_path / "nobody"), watchdog_s=60.0)
    assert not manager.alive()
    assert not manager.alive()
    assert len(caplog.records) == 1
    manager.close()


def test_a_manager_that_does_not_listen_never_blocks_the_loop(
    ear: Ear, manager: ServiceManager
) -> None:
    sent = 0
    while manager.status("x" * 180):
        sent += 1
    assert not manager.alive()
    for _ in range(sent):
        ear.hears()
    assert manager.alive()  # and it recovers by itself
    assert ear.hears() == ["WATCHDOG=1"]
