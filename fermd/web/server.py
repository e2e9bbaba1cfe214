"""Serves the HTTP interface over a Unix socket for the local user, in a thread of its own.

The socket's file permissions are the access control: owner and group may talk to the daemon,
nobody else. A request never touches hardware and never waits for the database.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import os
import socket
import stat
import threading
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Any, Final, Self

import h11
import uvicorn
from starlette.applications import Starlette
from uvicorn.protocols.http.h11_impl import H11Protocol

from fermd.web.errors import SocketInUseError

log = logging.getLogger(__name__)

SOCKET_MODE = 0o660
"""Owner and group may read and write: put a user into the group to let them command fermd."""

START_WAIT_S = 10.0


REQUEST_WAIT_S: Final = 10.0
"""So long after its first byte, or after the connection was made, a request must be whole, s: who
sends one byte a minute would hold a connection for ever, and there are not many."""


class _Protocol(H11Protocol):
    """uvicorn's, but for requests that are slow in coming or no HTTP at all."""

    _deadline: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Take a connection; its first request is waited for."""
        super().connection_made(transport)
        self._wait_for_request()

    def data_received(self, data: bytes) -> None:
        """Take bytes, and see whether a request has become whole by them."""
        super().data_received(data)
        self._look_at_request()

    def on_response_complete(self) -> None:
        """Go on to the next request; a part of it may be here already."""
        super().on_response_complete()
        self._look_at_request()

    def connection_lost(self, exc: Exception | None) -> None:
        """Take note that the connection is over."""
        self._stop_waiting()
        super().connection_lost(exc)

    def _look_at_request(self) -> None:
        state = self.conn.their_state
        # Between two requests uvicorn's own limit counts (timeout_keep_alive).
        begun = state is h11.IDLE and bool(self.conn.trailing_data[0])
        if state is h11.SEND_BODY or begun:
            self._wait_for_request()
        else:
            self._stop_waiting()

    def _wait_for_request(self) -> None:
        if self._deadline is None:
            self._deadline = self.loop.call_later(REQUEST_WAIT_S, self.transport.abort)

    def _stop_waiting(self) -> None:
        if self._deadline is not None:
            self._deadline.cancel()
            self._deadline = None

    def send_400_response(self, msg: str) -> None:
        """Say that it is no HTTP; or nothing, where no answer can be sent any more."""
        try:
            super().send_400_response(msg)
        except h11.LocalProtocolError:
            self.transport.close()


def serving_settings(app: Starlette, **more: Any) -> uvicorn.Config:
    """Return what a server is told, wherever it listens."""
    return uvicorn.Config(
        app,
        http=_Protocol,
        log_config=None,
        # Its starts and stops are the daemon's, which tells of them in its own words.
        log_level=logging.WARNING,
        access_log=False,
        server_header=False,
        lifespan="off",
        # Whoever is still answered then is cut off.
        timeout_graceful_shutdown=1,
        **more,
    )


async def last_words() -> None:
    """Let connections that were closed at the very end be gone before the event loop is."""
    await asyncio.sleep(0.01)


def end_streams(app: Starlette) -> Callable[[], object]:
    """Return what ends an application's open streams; they would hold up its stop."""
    ending: Callable[[], object] = getattr(app.state, "ending", _nothing)
    return ending


class UnixServer:
    """An application on a Unix socket. A context manager: served while it is entered."""

    def __init__(self, app: Starlette, path: Path) -> None:
        self._path = path
        self._app = app
        self._socket: socket.socket | None = None
        self._server: uvicorn.Server | None = None
        self._thread: threading.Thread | None = None
        self._loop: asyncio.AbstractEventLoop | None = None

    def __enter__(self) -> Self:
        self._socket = _listen(self._path)
        self._server = uvicorn.Server(serving_settings(self._app, proxy_headers=False))
        self._thread = threading.Thread(target=self._run, name="http", daemon=True)
        self._thread.start()
        return self

    def _run(self) -> None:
        asyncio.run(self._serve())

    async def _serve(self) -> None:
        self._loop = asyncio.get_running_loop()
        if self._server is not None and self._socket is not None:
            await self._server.serve(sockets=[self._socket])
            await last_words()

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._server is not None:
            self._server.should_exit = True
        if self._loop is not None:
            # Closed by now if the server has ended by itself.
            with contextlib.suppress(RuntimeError):
                self._loop.call_soon_threadsafe(end_streams(self._app))
        if self._thread is not None:
            self._thread.join(timeout=START_WAIT_S)
        if self._socket is not None:
            self._socket.close()
        with contextlib.suppress(FileNotFoundError):
            self._path.unlink()


def _nothing() -> None:
    """What an application has to do at its end that has no streams open."""


def _listen(path: Path) -> socket.socket:
    """Bind the socket with its permissions set before anybody can connect.

    A file left behind by a killed daemon is taken away; one that somebody answers on is not.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        if path.exists():
            if not stat.S_ISSOCK(path.stat().st_mode):
                raise SocketInUseError(
                    f"{path}: is there already and is no socket; move it away, or set another "
                    "socket path in the site file"
                )
            if _answers(path):
                raise SocketInUseError(
                    f"{path}: another process listens there; stop it, or set another "
                    "socket path in the site file"
                )
            path.unlink()
        listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        try:
            _bind(listener, path)
        except BaseException:
            listener.close()
            raise
    except OSError as error:
        raise SocketInUseError(
            f"{path}: the socket cannot be made ({error.strerror or error}); its folder must exist "
            "and be writable, and the path no longer than 107 bytes"
        ) from error
    return listener


def _bind(listener: socket.socket, path: Path) -> None:
    before = os.umask(0o777 & ~SOCKET_MODE)
    try:
        listener.bind(str(path))
    finally:
        os.umask(before)
    listener.listen(64)


def _answers(path: Path) -> bool:
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as probe:
        probe.settimeout(1.0)
        try:
            probe.connect(str(path))
        except (ConnectionRefusedError, FileNotFoundError):
            return False
        except OSError:
            # Too busy to take a connection, say: somebody is there.
            return True
        return True
