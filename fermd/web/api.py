"""The HTTP interface that the command line and the page use.

What there is stands in the endpoints' own files; `GET /openapi.json` describes all of it. Answers
come from the copy in memory or from the journal, read in a thread beside; a command goes through
the loop like any other, and protection has the last word.

A refusal is 409 with the reason, a chamber that there is not 404, a request that cannot be
understood 422 (too large: 413), and while the loop has not run yet, has stopped or does not
answer, 503. Over the network somebody who has not logged in gets 401, and 403 whoever may not.
"""

from __future__ import annotations

from collections.abc import Sequence

from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware

from fermd.config.web import WebSettings
from fermd.web.calibrating import Calibrating
from fermd.web.callers import CallersMayGo
from fermd.web.charting import Charting
from fermd.web.collector import CollectorToken
from fermd.web.doors import LocalDoor
from fermd.web.endpoint import LARGEST_BODY_BYTES as LARGEST_BODY_BYTES
from fermd.web.endpoint import Endpoint
from fermd.web.gate import Gate, NetworkDoor
from fermd.web.house import House, Site
from fermd.web.logging_in import Keeper, LoggingIn
from fermd.web.machines import Machines
from fermd.web.orders import Readers
from fermd.web.pages import Pages
from fermd.web.profiling import Profiling
from fermd.web.stepping_in import LONGEST_NOTE_CHARS as LONGEST_NOTE_CHARS
from fermd.web.stepping_in import SteppingIn
from fermd.web.watching import Watching

SMALLEST_PACKED_BYTES = 2000
"""What is smaller goes as it is: a session's token is never among what is packed."""


def application(site: Site, readers: Readers, *, time_zone: str = "UTC") -> Starlette:
    """Build the interface for one site; `time_zone` is the IANA name of the one it lives by.

    For the local socket: whoever asks may do everything.
    """
    return _built(House(site, readers, time_zone), None, None, [Middleware(LocalDoor)])


def network_application(house: House, web: WebSettings, keeper: Keeper) -> Starlette:
    """Build the interface for the network, where nothing goes without the password."""
    names = frozenset(name.lower() for name in web.names)
    may_scrape = CollectorToken(web.metrics_token_file).is_shown
    gate = Gate(lambda: tuple(names), lambda: web.guests, keeper.sessions, keeper.look, may_scrape)
    packing = Middleware(GZipMiddleware, minimum_size=SMALLEST_PACKED_BYTES, compresslevel=5)
    return _built(house, web, keeper, [Middleware(NetworkDoor, gate), packing])


def _built(
    house: House,
    web: WebSettings | None,
    keeper: Keeper | None,
    door: Sequence[Middleware],
) -> Starlette:
    watching = Watching(house, None if keeper is None else keeper.sessions)
    machines = Machines(house, lambda: watching.live.pages)
    endpoints: Sequence[Endpoint] = [
        *LoggingIn(house, web, keeper).endpoints(),
        *watching.endpoints(),
        *Charting(house).endpoints(),
        *SteppingIn(house).endpoints(),
        *Calibrating(house).endpoints(),
        *Profiling(house).endpoints(),
        *machines.endpoints(),
    ]
    machines.describes(endpoints)
    app = Starlette(
        routes=[*(endpoint.route() for endpoint in endpoints), *Pages().routes()],
        middleware=[Middleware(CallersMayGo), *door],
    )
    # A place has one name: nobody is sent on to an address made of what he said he was asking.
    app.router.redirect_slashes = False
    app.state.ending = watching.live.close
    return app
