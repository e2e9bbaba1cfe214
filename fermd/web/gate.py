"""The door to the network: what every request has to pass before anything answers it.

- Host: a name that the site file has, or the very address that the request came in on. A web site
  whose name is made to point at this board (DNS rebinding) asks under its own name.
- Origin, if a browser says one: this page's own, for streams and questions too, not only for what
  changes something. Sec-Fetch-Site, if there: never another site's, but to open the page itself.
- The session's cookie says who it is; whatever changes something repeats the session's token in
  X-CSRF-Token, which no other site can read.
- A collector of figures has no session: for /metrics alone it may show a token (RFC 6750) instead.
- Every answer carries what keeps a browser from running or framing anything that is not the page's.
"""

from __future__ import annotations

import hmac
import ipaddress
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from http.cookies import CookieError, SimpleCookie
from typing import Final

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from fermd.web.doors import COLLECTOR, GUEST, NOBODY, Caller, Right, came_as
from fermd.web.refusals import refusal
from fermd.web.sessions import Sessions

SAFE_METHODS: Final = ("GET", "HEAD", "OPTIONS")

LOG_IN: Final = ("POST", "/api/session")
"""What needs no token: there is no session yet, and Origin and SameSite hold."""

COOKIE: Final = "fermd_session"
SECURE_COOKIE: Final = "__Host-fermd_session"
"""Over https; browsers take this name only from https, for this host and whole (RFC 6265bis)."""

HEADERS: Final = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; "
        "font-src 'self'; connect-src 'self'; manifest-src 'self'; base-uri 'none'; "
        "form-action 'self'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=()",
}


@dataclass(frozen=True, slots=True)
class Gate:
    """What the door goes by."""

    names: Callable[[], Sequence[str]]
    """The names that are this board's, in lower case."""
    guests: Callable[[], bool]
    """Whether whoever has not logged in may look."""
    sessions: Sessions
    look: Callable[[], None]
    """Ends the sessions whose password is no longer the password."""
    may_scrape: Callable[[Headers], bool]
    """Whether a request for the figures brings the token of a collector."""


class NetworkDoor:
    """The door itself."""

    def __init__(self, app: ASGIApp, gate: Gate) -> None:
        self._app = app
        self._gate = gate

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let one request in, or not."""
        if scope["type"] != "http":
            # There is nothing here that speaks anything else.
            return
        headers = Headers(scope=scope)

        async def send_guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                guarded = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    guarded[name] = value
                if scope["path"].startswith(("/api/", "/metrics", "/openapi")):
                    guarded.setdefault("Cache-Control", "no-store")
            await send(message)

        why = self._refused(scope, headers)
        if why is not None:
            await refusal(403, why)(scope, receive, send_guarded)
            return
        caller = self._caller(scope, headers)
        why = _without_token(scope, headers, caller)
        if why is not None:
            await refusal(403, why)(scope, receive, send_guarded)
            return
        came_as(scope, caller)
        await self._app(scope, receive, send_guarded)

    def _refused(self, scope: Scope, headers: Headers) -> str | None:
        hosts = headers.getlist("host")
        host = hosts[0].strip().lower() if len(hosts) == 1 else ""
        if not self._is_ours(_without_port(host), scope):
            return (
                "this board does not answer to that name; open the page by its IP address, or add "
                "the name to names in the [web] table of the site file"
            )
        for origin in headers.getlist("origin"):
            if not _is_same(origin.strip().lower(), host, scope["scheme"]):
                return "the request comes from another site"
        site = headers.get("sec-fetch-site", "same-origin").lower()
        if site not in ("same-origin", "none") and not _opens_page(scope, headers):
            return "the request comes from another site"
        return None

    def _is_ours(self, host: str, scope: Scope) -> bool:
        if not host:
            return False
        if host in self._gate.names():
            return True
        server = scope.get("server")
        try:
            here = _plain_ip(str(server[0]).partition("%")[0]) if server else None
            if host == "localhost":
                # No name server is asked for this one (RFC 6761, 6.3).
                return here is not None and here.is_loopback
            asked = _plain_ip(host.strip("[]"))
        except ValueError:
            return False
        return asked == here

    def _caller(self, scope: Scope, headers: Headers) -> Caller:
        secret = cookie_of(headers, scope["scheme"] == "https")
        if secret is not None:
            self._gate.look()
        session = None if secret is None else self._gate.sessions.find(secret)
        if session is None and scope["path"] == "/metrics" and self._gate.may_scrape(headers):
            return COLLECTOR
        if secret is None or session is None:
            return GUEST if self._gate.guests() else NOBODY
        return Caller("brewer", Right.ACT, session.who, session.csrf, secret)


def _plain_ip(text: str) -> ipaddress.IPv4Address | ipaddress.IPv6Address:
    found = ipaddress.ip_address(text)
    mapped = found.ipv4_mapped if isinstance(found, ipaddress.IPv6Address) else None
    return found if mapped is None else mapped


def cookie_of(headers: Headers, is_https: bool) -> str | None:
    """Return the session's id that a request brings, if any."""
    wanted = SECURE_COOKIE if is_https else COOKIE
    for text in headers.getlist("cookie"):
        try:
            found = SimpleCookie(text).get(wanted)
        except CookieError:
            continue
        if found is not None:
            return found.value
    return None


def _without_token(scope: Scope, headers: Headers, caller: Caller) -> str | None:
    method = scope["method"]
    if method in SAFE_METHODS or caller.right < Right.ACT or (method, scope["path"]) == LOG_IN:
        return None
    given = headers.get("x-csrf-token", "")
    if hmac.compare_digest(given.encode("utf-8", "replace"), caller.csrf.encode()):
        return None
    return "X-CSRF-Token is missing or wrong: it must be the csrf that GET /api/session gives"


def _opens_page(scope: Scope, headers: Headers) -> bool:
    """Whether a link elsewhere is followed to the page: that shows it, and changes nothing."""
    return (
        scope["method"] == "GET"
        and not scope["path"].startswith("/api/")
        and headers.get("sec-fetch-mode") == "navigate"
        and headers.get("sec-fetch-dest") == "document"
    )


def _is_same(origin: str, host: str, scheme: str) -> bool:
    way, found, there = origin.partition("://")
    # A proxy that ends https in front of this speaks http to it: the other way round never is.
    return bool(found) and there == host and (way == scheme or (scheme, way) == ("http", "https"))


def _without_port(host: str) -> str:
    if host.startswith("["):
        return host.partition("]")[0] + "]"
    return host.partition(":")[0]
