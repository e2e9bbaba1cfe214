"""The socket: who may use it, who has it, and what becomes of it."""

from __future__ import annotations

import logging
import os
import socket
import stat
from pathlib import Path

import pytest
from starlette.applications import Starlette
from starlette.responses import PlainTextResponse
from starlette.routing import Route
from web_rig import Caller

from fermd.web.server import SocketInUseError, UnixServer


def served(path: Path) -> UnixServer:
    async def hello(_: object) -> PlainTextResponse:
        return PlainTextResponse("hello")

    return UnixServer(Starlette(routes=[Route("/", hello)]), path)


def asked(path: Path) -> str:
    caller = Caller(path)
    try:
        return caller.get("/").text
    finally:
        caller.close()


@pytest.mark.parametrize("umask", [0o000, 0o022, 0o077])
def test_owner_and_group_may_use_the_socket_and_nobody_else(folder: Path, umask: int) -> None:
    before = os.umask(umask)
    try:
        with served(folder / "s"):
            assert stat.S_IMODE((folder / "s").stat().st_mode) == 0o660
            assert os.umask(umask) == umask
    finally:
        os.umask(before)


def test_the_socket_is_gone_when_the_server_is(folder: Path) -> None:
    with served(folder / "s"):
        assert asked(folder / "s") == "hello"
    assert not (folder / "s").exists()


def test_the_log_of_the_daemon_has_no_words_of_the_server_in_it(
    folder: Path, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO)
    with served(folder / "s"):
        assert asked(folder / "s") == "hello"
    assert [one for one in caplog.records if one.name.startswith("uvicorn")] == []


def test_the_folder_of_the_socket_is_made(folder: Path) -> None:
    with served(folder / "run" / "fermd" / "s"):
        assert asked(folder / "run" / "fermd" / "s") == "hello"


def test_a_socket_that_a_killed_daemon_left_behind_is_taken_over(folder: Path) -> None:
    with socket.socket(socket.AF_UNIX) as dead:
        dead.bind(str(folder / "s"))
    assert (folder / "s").exists()
    with served(folder / "s"):
        assert asked(folder / "s") == "hello"


def test_a_socket_that_somebody_answers_on_is_left_to_him(folder: Path) -> None:
    with served(folder / "s"):
        with pytest.raises(SocketInUseError, match="another process listens there"):
            served(folder / "s").__enter__()
        assert asked(folder / "s") == "hello"


def test_a_socket_too_busy_to_take_another_caller_is_left_to_him(folder: Path) -> None:
    with socket.socket(socket.AF_UNIX) as busy, socket.socket(socket.AF_UNIX) as first:
        busy.bind(str(folder / "s"))
        busy.listen(0)
        first.connect(str(folder / "s"))
        with pytest.raises(SocketInUseError, match="another process listens there"):
            served(folder / "s").__enter__()
    assert (folder / "s").exists()


def test_a_file_that_is_no_socket_is_not_taken_away(folder: Path) -> None:
    (folder / "s").write_text("notes", "utf-8")
    with pytest.raises(SocketInUseError, match="is no socket"):
        served(folder / "s").__enter__()
    assert (folder / "s").read_text("utf-8") == "notes"


@pytest.mark.parametrize("name", ["x" * 120, "file/s"])
def test_a_place_that_cannot_have_a_socket_is_named(folder: Path, name: str) -> None:
    (folder / "file").write_text("", "utf-8")
    with pytest.raises(SocketInUseError, match="the socket cannot be made"):
        served(folder / name).__enter__()


def test_a_caller_after_the_end_finds_nobody(folder: Path) -> None:
    server = served(folder / "s")
    with server:
        pass
    with socket.socket(socket.AF_UNIX) as caller:
        assert caller.connect_ex(str(folder / "s")) != 0


@pytest.mark.parametrize(
    "sent",
    [
        b"POST /api/chambers/lager/notes HTTP/1.1\r\nHost: f\r\nContent-Length: 50\r\n\r\n{",
        b"POST /api/site/commands HTTP/1.1\r\nHost: f\r\nTransfer-Encoding: chunked\r\n\r\n5\r\n{",
        b"GET /nowhere HTTP/1.1\r\nHost: f\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n" * 2,
        b"GET /api/status HTTP/1.1\r\nHost: f\r\nConnection: close\r\n\r\n\x00\x01\r\n\r\n" * 2,
        b"\x00" * 100,
    ],
)
@pytest.mark.parametrize("half", [True, False])
def test_a_caller_that_hangs_up_or_sends_no_http_leaves_no_traceback(
    site: Caller, caplog: pytest.LogCaptureFixture, sent: bytes, half: bool
) -> None:
    for _ in range(5):
        with socket.socket(socket.AF_UNIX) as caller:
            caller.connect(site.socket_path)
            caller.sendall(sent)
            if half:
                caller.shutdown(socket.SHUT_WR)
                caller.settimeout(5.0)
                while caller.recv(4096):
                    pass
    assert site.get("/api/status").is_success
    assert [record for record in caplog.records if record.exc_info] == []
