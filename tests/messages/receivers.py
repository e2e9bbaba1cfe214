"""Real receivers on the loopback: what answers an HTTP request, and how well or badly."""

from __future__ import annotations

import json
import socket
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any, Self

BOUND_S = 30.0
"""Far beyond what anything here takes; reaching it fails the test."""


def until(fact: Callable[[], object], bound_s: float = BOUND_S) -> None:
    deadline_s = time.monotonic() + bound_s
    while not fact():
        assert time.monotonic() < deadline_s, "did not become so within the bound"
        threading.Event().wait(0.01)


@dataclass
class Heard:
    """One request."""

    method: str
    path: str
    body: Any
    at_s: float = field(default_factory=time.monotonic)

    @property
    def title(self) -> str:
        return str(self.body["title"])

    @property
    def text(self) -> str:
        return str(self.body["message"])

    @property
    def number(self) -> int:
        return int(self.text.rpartition("(fermd message ")[2].rstrip(")"))


class Receiver:
    """An HTTP server that takes messages; `answers` says with which status, and how late."""

    def __init__(self) -> None:
        self.heard: list[Heard] = []
        self.status = 200
        self.delay_s = 0.0
        self.hold = threading.Event()
        """While this is not set, no request is answered."""
        self.hold.set()
        receiver = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                length = int(self.headers.get("Content-Length") or 0)
                raw = self.rfile.read(length)
                body = json.loads(raw) if raw[:1] == b"{" else raw.decode()
                receiver.heard.append(Heard(self.command, self.path, body))
                receiver.hold.wait(BOUND_S)
                threading.Event().wait(receiver.delay_s)
                try:
                    self.send_response(receiver.status)
                    self.send_header("Content-Length", "0")
                    self.end_headers()
                except OSError:
                    # Whoever asked has gone.
                    self.close_connection = True

            do_GET = do_POST  # noqa: N815 - the base's names

            def log_message(self, *_: object) -> None:
                """Say nothing."""

        class Server(ThreadingHTTPServer):
            daemon_threads = True

        self._server = Server(("127.0.0.1", 0), Handler)
        self.port = self._server.server_port
        self._thread = threading.Thread(
            target=self._server.serve_forever, args=(0.05,), daemon=True
        )

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.hold.set()
        self._server.shutdown()
        self._server.server_close()
        self._thread.join(BOUND_S)

    def url(self, path: str = "", user: str = "") -> str:
        return f"json://{user}127.0.0.1:{self.port}/{path}"

    def titles(self) -> list[str]:
        return [heard.title for heard in self.heard]


def free_port() -> int:
    """A port on which nobody listens."""
    with socket.socket() as trial:
        trial.bind(("127.0.0.1", 0))
        return int(trial.getsockname()[1])
