"""Callers that hang up, or that send what is no HTTP: no business of the daemon's log.

The server finds out only when it answers, and raises then. To nobody an answer is owed; without
this, each such caller would leave a traceback in the log.
"""

from __future__ import annotations

from h11 import LocalProtocolError
from starlette.types import ASGIApp, Message, Receive, Scope, Send


class CallersMayGo:
    """An application whose answers are dropped once nobody can take them any more."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        gone = False

        async def send_while_there(message: Message) -> None:
            nonlocal gone
            if gone:
                return
            try:
                await send(message)
            except (LocalProtocolError, OSError):
                gone = True

        await self._app(scope, receive, send_while_there)
