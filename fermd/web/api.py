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

from fermd.web.callers import CallersMayGo
from fermd.web.charting import Charting
from fermd.web.doors import LocalDoor
from fermd.web.endpoint import LARGEST_BODY_BYTES as LARGEST_BODY_BYTES
from fermd.web.endpoint import Endpoint
from fermd.web.house import House, Site
from fermd.web.orders import Readers
from fermd.web.stepping_in import LONGEST_NOTE_CHARS as LONGEST_NOTE_CHARS
from fermd.web.stepping_in import SteppingIn
from fermd.web.watching import Watching


def application(site: Site, readers: Readers, *, time_zone: str = "UTC") -> Starlette:
    """Build the interface for one site; `time_zone` is the IANA name of the one it lives by."""
    house = House(site, readers, time_zone)
    watching = Watching(house, None)
    endpoints: Sequence[Endpoint] = [
        *watching.endpoints(),
        *Charting(house).endpoints(),
        *SteppingIn(house).endpoints(),
    ]
    app = Starlette(
        routes=[endpoint.route() for endpoint in endpoints],
        middleware=[Middleware(CallersMayGo), Middleware(LocalDoor)],
    )
    app.state.ending = watching.live.close
    return app
