"""Endpoints to log in and out, and to learn as whom one asks."""

from __future__ import annotations

import logging
import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated, Any, Final, Literal

from anyio import CapacityLimiter, to_thread
from pydantic import Field, StringConstraints
from starlette.responses import JSONResponse, Response

from fermd import __version__
from fermd.config.house_unit import UnitName
from fermd.config.web import WebSettings
from fermd.web import shapes
from fermd.web.doors import Right
from fermd.web.endpoint import NO_CONTENT, Call, Endpoint, Shape
from fermd.web.gate import COOKIE, SECURE_COOKIE
from fermd.web.house import House
from fermd.web.passwords import LONGEST_CHARS, PasswordError, PasswordFile
from fermd.web.refusals import RefusedError
from fermd.web.sessions import LONGEST_S, Sessions
from fermd.web.throttle import Throttle

log = logging.getLogger(__name__)

TAG: Final = "session"

USUAL_NAME: Final = "brewer"


class LogIn(Shape):
    """The password, and by whose name the journal should know the session."""

    password: Annotated[
        str, Field(max_length=LONGEST_CHARS, json_schema_extra={"format": "password"})
    ]
    who: Annotated[
        str, StringConstraints(strip_whitespace=True, max_length=40, pattern=r"^[^\x00-\x1f\x7f]*$")
    ] = ""


class SessionNow(shapes.Answer):
    """As whom one asks, and what the page needs to know before anything else."""

    role: Literal["local", "brewer", "guest"] | None
    """None: nobody; log in."""
    who: str | None
    """The name that goes into the journal; None: the body's own word."""
    csrf: str
    """For the header X-CSRF-Token; empty where none is needed."""
    units: UnitName
    time_zone: str
    guests: bool
    """Whether whoever has not logged in may look."""
    version: str


@dataclass(slots=True)
class Keeper:
    """Who may come in by the network: the password, the tries, the sessions."""

    password: PasswordFile
    sessions: Sessions = field(default_factory=lambda: Sessions(time.monotonic))
    throttle: Throttle = field(default_factory=lambda: Throttle(time.monotonic))
    checking: CapacityLimiter = field(default_factory=lambda: CapacityLimiter(1))
    """A hash takes memory by intent: one at a time."""
    stamp: object = None

    def look(self) -> None:
        """End every session if the password has been changed or taken away."""
        stamp = self.password.stamp()
        if stamp != self.stamp:
            self.stamp = stamp
            self.sessions.end_all()


class LoggingIn:
    """The endpoints."""

    def __init__(self, house: House, web: WebSettings | None, keeper: Keeper | None) -> None:
        self._house = house
        self._web = web or WebSettings()
        self._keeper = keeper

    def endpoints(self) -> list[Endpoint]:
        """Return them, in the order of the description."""
        return [
            Endpoint(
                "GET", "/api/session", self.session, Right.NOTHING, TAG,
                "As whom one asks, and the token for what changes something", SessionNow,
            ),
            Endpoint(
                "POST", "/api/session", self.log_in, Right.NOTHING, TAG,
                "Log in: sets the session's cookie", SessionNow, body=LogIn,
                refusals=(401, 409, 429, 503),
            ),
            Endpoint(
                "DELETE", "/api/session", self.log_out, Right.NOTHING, TAG,
                "Log out", None,
            ),
        ]  # fmt: skip

    async def session(self, call: Call) -> Mapping[str, Any]:
        """Answer as whom one asks."""
        caller = call.caller
        return self._told(caller.role, caller.who, caller.csrf)

    async def log_in(self, call: Call) -> Response:
        """Log in."""
        keeper = self._keeper
        if keeper is None or call.caller.role == "local":
            raise RefusedError(409, "the local socket needs no password")
        asked: LogIn = call.body
        client = call.request.client
        address = "" if client is None else client.host
        wait_s = keeper.throttle.take(address)
        if wait_s > 0.0:
            # No warning: nobody shall fill the log, and with it a flash card, by asking.
            log.debug("log-in from %s: too many tries", address)
            raise RefusedError(
                429,
                "too many tries: wait a while",
                headers={"Retry-After": str(int(wait_s) + 1)},
            )
        try:
            right = await to_thread.run_sync(
                keeper.password.is_right, asked.password, limiter=keeper.checking
            )
        except PasswordError as error:
            log.error("%s", error)
            raise RefusedError(503, "no password is set: run `fermd password`") from error
        if not right:
            log.warning("log-in from %s: wrong password", address)
            raise RefusedError(401, "this is not the password")
        keeper.throttle.give_back(address)
        if call.caller.session:
            keeper.sessions.end(call.caller.session)
        keeper.look()
        who = asked.who or USUAL_NAME
        secret = keeper.sessions.begin(who)
        session = keeper.sessions.find(secret)
        log.info("log-in from %s as %s", address, who)
        csrf = "" if session is None else session.csrf
        answer = JSONResponse(self._told("brewer", who, csrf))
        is_https = call.request.url.scheme == "https"
        answer.set_cookie(
            SECURE_COOKIE if is_https else COOKIE,
            secret,
            max_age=int(LONGEST_S),
            path="/",
            secure=is_https,
            httponly=True,
            samesite="strict",
        )
        return answer

    async def log_out(self, call: Call) -> Response:
        """Log out."""
        if self._keeper is not None and call.caller.session:
            self._keeper.sessions.end(call.caller.session)
        answer = Response(status_code=NO_CONTENT)
        is_https = call.request.url.scheme == "https"
        answer.delete_cookie(
            SECURE_COOKIE if is_https else COOKIE,
            path="/",
            secure=is_https,
            httponly=True,
            samesite="strict",
        )
        return answer

    def _told(self, role: str | None, who: str | None, csrf: str) -> dict[str, Any]:
        return {
            "role": role,
            "who": who,
            "csrf": csrf,
            "units": self._web.units,
            "time_zone": self._house.time_zone,
            "guests": self._web.guests,
            "version": __version__,
        }
