"""The heartbeat is heard while control does its rounds, and only then."""

from __future__ import annotations

import logging
from dataclasses import dataclass
from pathlib import Path
from threading import Event

import pytest
from receivers import Receiver, free_port, until

from fermd.config.messages import HeartbeatSettings
from fermd.control.moment import Moment
from fermd.messages.heartbeat import OLDEST_TICK_S, Heartbeat
from fermd.messages.secret_file import SecretFile
from fermd.service.snapshot import Snapshot

MARKER = "GEHEIM7f3a"


@dataclass
class Loop:
    """A loop that ticks when the test says so."""

    tick: int = 0
    ticked_mono_s: float = 0.0
    mono_s: float = 0.0

    def snapshot(self) -> Snapshot | None:
        moment = Moment(self.ticked_mono_s)
        return Snapshot(moment, self.tick, {}, (), None, Moment(0.0)) if self.tick else None

    def now(self) -> Moment:
        return Moment(self.mono_s)


def addresses(folder: Path, url: str) -> SecretFile:
    path = folder / "addresses.toml"
    path.touch(mode=0o600)
    path.write_text(f'heartbeat = "{url}"\n')
    return SecretFile(path)


def beating(loop: Loop, secrets: SecretFile, method: str = "GET") -> Heartbeat:
    settings = HeartbeatSettings(every_s=0.01, method=method)  # type: ignore[arg-type]
    return Heartbeat(loop, settings, secrets)


def test_it_beats_with_the_ticks_and_is_silent_when_they_end(tmp_path: Path) -> None:
    loop = Loop()
    with Receiver() as watch:
        secrets = addresses(tmp_path, f"http://127.0.0.1:{watch.port}/{MARKER}")
        with beating(loop, secrets):
            Event().wait(0.2)
            assert watch.heard == []
            for tick in (1, 2, 3):
                loop.tick = tick
                until(lambda: len(watch.heard) == tick)  # noqa: B023 - waited for here
            # The loop stands still: fifty times the interval, and no beat.
            Event().wait(0.5)
            assert len(watch.heard) == 3
        assert {(heard.method, heard.path) for heard in watch.heard} == {("GET", f"/{MARKER}")}


def test_a_tick_of_long_ago_is_no_sign_of_life(tmp_path: Path) -> None:
    loop = Loop(tick=1, ticked_mono_s=0.0, mono_s=OLDEST_TICK_S + 1.0)
    with Receiver() as watch:
        secrets = addresses(tmp_path, f"http://127.0.0.1:{watch.port}/")
        with beating(loop, secrets):
            Event().wait(0.2)
            assert watch.heard == []


def test_it_can_be_a_post(tmp_path: Path) -> None:
    with Receiver() as watch:
        secrets = addresses(tmp_path, f"http://127.0.0.1:{watch.port}/beat")
        assert beating(Loop(), secrets, "POST").beat() == ""
    assert [(heard.method, heard.body) for heard in watch.heard] == [("POST", "")]


@pytest.mark.parametrize("status", [404, 500])
def test_an_answer_that_says_no_is_told_by_its_status(tmp_path: Path, status: int) -> None:
    with Receiver() as watch:
        watch.status = status
        secrets = addresses(tmp_path, f"http://127.0.0.1:{watch.port}/{MARKER}")
        why = beating(Loop(), secrets).beat()
    assert why.startswith(f"HTTP status {status} ")
    assert MARKER not in why


@pytest.mark.parametrize(
    ("url", "why"),
    [
        (f"http://127.0.0.1:PORT/{MARKER}", "refused"),
        (f"http://{MARKER}.invalid/", "not known"),
        (f"file:///etc/{MARKER}", "must be an http or https URL"),
        (f"http://[{MARKER}/", ""),
    ],
)
def test_what_does_not_get_through_is_told_without_the_url(
    tmp_path: Path, url: str, why: str
) -> None:
    told = beating(Loop(), addresses(tmp_path, url.replace("PORT", str(free_port())))).beat()
    assert told
    assert why in told
    assert MARKER not in told


def test_failing_is_said_once_and_so_is_getting_through_again(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.DEBUG)
    loop = Loop()
    with Receiver() as watch:
        watch.status = 500
        secrets = addresses(tmp_path, f"http://127.0.0.1:{watch.port}/{MARKER}")
        with beating(loop, secrets):
            for tick in range(1, 6):
                loop.tick = tick
                until(lambda: len(watch.heard) == tick)  # noqa: B023 - waited for here
            watch.status = 200
            loop.tick = 6
            until(lambda: "it gets through again" in caplog.text)
    assert caplog.text.count("it does not get through: HTTP status 500") == 1
    assert MARKER not in caplog.text


def test_a_monitor_that_never_answers_does_not_hold_up_the_end(tmp_path: Path) -> None:
    with Receiver() as watch:
        watch.hold.clear()
        secrets = addresses(tmp_path, f"http://127.0.0.1:{watch.port}/")
        with beating(Loop(tick=1), secrets):
            until(lambda: watch.heard)
        # Left within a second although the request still waits.
        watch.hold.set()
