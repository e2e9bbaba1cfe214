"""Who asks, and by which door they came: the local socket, or the network.

The socket's file permissions are its access control: whoever came in by it may do everything. What
the network's door asks for stands in `gate.py`. An endpoint says whom it is for; who has come by no
door at all is nobody.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from typing import Final

from starlette.types import ASGIApp, Receive, Scope, Send


class Right(IntEnum):
    """What somebody may do; each includes those before it."""

    NOTHING = 0
    """See that there is a page, and log in."""
    LOOK = 1
    ACT = 2


@dataclass(frozen=True, slots=True)
class Caller:
    """Who asks."""

    role: str | None
    """`local`, `brewer`, `guest`, `collector`; None: somebody who has not logged in."""
    right: Right
    who: str | None = None
    """The name that goes into the journal; None: whoever it says that it is (the local user)."""
    csrf: str = ""
    """What a request that changes something has to repeat in the header X-CSRF-Token; empty for the
    local socket, which no web page can reach."""
    session: str = ""
    """The session's id."""


LOCAL: Final = Caller("local", Right.ACT)
NOBODY: Final = Caller(None, Right.NOTHING)
COLLECTOR: Final = Caller("collector", Right.LOOK, "collector")
GUEST: Final = Caller("guest", Right.LOOK, "guest")

_KEY: Final = "fermd.caller"


def came_as(scope: Scope, caller: Caller) -> None:
    """Note who it is that asks."""
    scope[_KEY] = caller


def caller_of(scope: Scope) -> Caller:
    """Return who asks."""
    found = scope.get(_KEY)
    return found if isinstance(found, Caller) else NOBODY


class LocalDoor:
    """The Unix socket: who can open it is the local user."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let one request in."""
        came_as(scope, LOCAL)
        await self._app(scope, receive, send)
