"""Serves the page to the network, in a thread of its own, once there is a password.

Whatever keeps it from that (no password yet, an address that is not there, a certificate that
cannot be read) is told in the log and tried again: the beer does not wait for its page.
"""

from __future__ import annotations

import asyncio
import contextlib
import ipaddress
import logging
import socket
import ssl
import threading
from collections.abc import Callable
from types import TracebackType
from typing import Final, Self

import uvicorn
from starlette.applications import Starlette

from fermd.config.web import WebSettings
from fermd.web.passwords import PasswordError, PasswordFile
from fermd.web.server import end_streams, last_words, serving_settings

log = logging.getLogger(__name__)

TRY_AGAIN_S: Final = 5.0
MOST_CONNECTIONS: Final = 200
"""More than this are turned away with 503, so that nobody can take the board's memory."""
KEEP_ALIVE_S: Final = 15
JOIN_WAIT_S: Final = 10.0


class NetworkServer:
    """An application on a TCP port. A context manager: served while it is entered."""

    def __init__(
        self, make: Callable[[], Starlette], web: WebSettings, password: PasswordFile
    ) -> None:
        """`make` builds the application; it is called when there is something to serve."""
        self._make = make
        self._web = web
        self._password = password
        self._thread = threading.Thread(target=self._run, name="http-network", daemon=True)
        self._ending = threading.Event()
        self._loop: asyncio.AbstractEventLoop | None = None
        self._over: asyncio.Event | None = None
        self._told = ""
        self.listens = threading.Event()
        """Set while the page is served."""

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._ending.set()
        loop, over = self._loop, self._over
        if loop is not None and over is not None:
            # Closed by now if the thread has come to its end by itself.
            with contextlib.suppress(RuntimeError):
                loop.call_soon_threadsafe(over.set)
        self._thread.join(JOIN_WAIT_S)

    def _run(self) -> None:
        try:
            asyncio.run(self._serve_when_possible())
        except Exception:
            log.exception("the page is served no more: a fault of its own")

    async def _serve_when_possible(self) -> None:
        self._loop, self._over = asyncio.get_running_loop(), asyncio.Event()
        while not self._ending.is_set():
            try:
                self._password.check()
                with _listener(self._web) as listener:
                    await self._serve(listener)
            except (PasswordError, OSError, ssl.SSLError) as error:
                self._tell(error)
                with contextlib.suppress(TimeoutError):
                    await asyncio.wait_for(self._over.wait(), TRY_AGAIN_S)

    async def _serve(self, listener: socket.socket) -> None:
        app = self._make()
        web = self._web
        config = serving_settings(
            app,
            proxy_headers=bool(web.trusted_proxies),
            forwarded_allow_ips=list(web.trusted_proxies) or "",
            ssl_certfile=None if web.certfile is None else str(web.certfile),
            ssl_keyfile=None if web.keyfile is None else str(web.keyfile),
            limit_concurrency=MOST_CONNECTIONS,
            timeout_keep_alive=KEEP_ALIVE_S,
        )
        # Reads the certificate, so that what is wrong with it is known here.
        config.load()
        server = uvicorn.Server(config)
        way = "http" if web.certfile is None else "https"
        log.info("the page is served at %s://%s", way, web.listen)
        self._told = ""
        serving = asyncio.create_task(server.serve(sockets=[listener]))
        ending = asyncio.create_task(self._wait_for_end())
        self.listens.set()
        try:
            await asyncio.wait({serving, ending}, return_when=asyncio.FIRST_COMPLETED)
            server.should_exit = True
            end_streams(app)()
            await serving
            await last_words()
        finally:
            self.listens.clear()
            ending.cancel()

    async def _wait_for_end(self) -> None:
        if self._over is not None:
            await self._over.wait()

    def _tell(self, error: Exception) -> None:
        why = str(error)
        if isinstance(error, OSError) and not isinstance(error, ssl.SSLError):
            what = error.filename or self._web.listen
            why = f"{what}: {error.strerror or error}"
        if why != self._told:
            self._told = why
            log.warning("the page is not served to the network yet: %s", why)


def _listener(web: WebSettings) -> socket.socket:
    host, port = web.address
    address = ipaddress.ip_address(host)
    family = socket.AF_INET if address.version == 4 else socket.AF_INET6
    listener = socket.socket(family, socket.SOCK_STREAM)
    try:
        # A restart must not wait for connections of the run before to be forgotten.
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        if family == socket.AF_INET6:
            listener.setsockopt(
                socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, int(not address.is_unspecified)
            )
        listener.bind((host, port))
        listener.listen(128)
    except BaseException:
        listener.close()
        raise
    return listener
