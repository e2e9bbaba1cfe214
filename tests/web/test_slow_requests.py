"""Requests that never become whole hold no connection; slow answers are waited for.

Sources: RFC 9112, section 9.5 (a server closes connections that it has waited for long enough);
CVE-2007-6750, the attack by request heads that are sent a byte at a time.
"""

from __future__ import annotations

import asyncio
import socket
from collections.abc import Iterator
from pathlib import Path
from threading import Event

import h11
import pytest
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import PlainTextResponse
from starlette.routing import Route
from web_rig import BOUND_S

from fermd.web import server
from fermd.web.server import UnixServer

WAIT_S = 0.3
WHOLE = b"POST / HTTP/1.1\r\nHost: fermd\r\nContent-Length: 5\r\n\r\nhello"


@pytest.fixture
def caller(folder: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[socket.socket]:
    async def echo(request: Request) -> PlainTextResponse:
        return PlainTextResponse(await request.body())

    async def slowly(_: Request) -> PlainTextResponse:
        await asyncio.sleep(3 * WAIT_S)
        return PlainTextResponse("at last")

    monkeypatch.setattr(server, "REQUEST_WAIT_S", WAIT_S)
    routes = [Route("/", echo, methods=["POST"]), Route("/slowly", slowly)]
    with (
        UnixServer(Starlette(routes=routes), folder / "s"),
        socket.socket(socket.AF_UNIX) as connection,
    ):
        connection.settimeout(BOUND_S)
        connection.connect(str(folder / "s"))
        yield connection


def answer(connection: socket.socket) -> bytes:
    """Read one answer; its body."""
    parser = h11.Connection(h11.CLIENT)
    parser.send(h11.Request(method="GET", target="/", headers=[("Host", "fermd")]))
    parser.send(h11.EndOfMessage())
    body = b""
    while True:
        event = parser.next_event()
        if event is h11.NEED_DATA:
            parser.receive_data(connection.recv(1000))
        elif isinstance(event, h11.Data):
            body += event.data
        elif isinstance(event, h11.EndOfMessage):
            return body


def is_closed(connection: socket.socket) -> bool:
    """Wait for the other side to close; False if it says anything."""
    try:
        return connection.recv(1000) == b""
    except ConnectionResetError:
        return True


@pytest.mark.parametrize(
    "sent",
    [b"", b"G", b"GET / HTTP/1.1\r\nHost: fermd\r\nX-One-More: ", WHOLE[:-1]],
    ids=["nothing", "one byte", "half a head", "half a body"],
)
def test_who_never_comes_to_an_end_is_cut_off(caller: socket.socket, sent: bytes) -> None:
    caller.sendall(sent)
    assert is_closed(caller)


def test_one_byte_now_and_then_wins_no_time(caller: socket.socket) -> None:
    for _ in range(int(BOUND_S / 0.05)):
        try:
            caller.sendall(b"G")
        except (BrokenPipeError, ConnectionResetError):
            return
        Event().wait(0.05)
    pytest.fail("the connection is still held")


def test_a_second_request_on_the_connection_must_come_to_an_end_too(caller: socket.socket) -> None:
    caller.sendall(WHOLE + b"GET / HT")
    assert answer(caller) == b"hello"
    assert is_closed(caller)


def test_an_answer_may_take_longer_than_a_request(caller: socket.socket) -> None:
    caller.sendall(b"GET /slowly HTTP/1.1\r\nHost: fermd\r\n\r\n")
    assert answer(caller) == b"at last"


def test_between_two_requests_nobody_is_hurried(caller: socket.socket) -> None:
    for _ in range(2):
        caller.sendall(WHOLE[:20])
        caller.sendall(WHOLE[20:])
        assert answer(caller) == b"hello"
        Event().wait(3 * WAIT_S)
