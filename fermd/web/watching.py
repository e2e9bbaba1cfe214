"""Endpoints to watch by: the present at a glance, live, and what happened last."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Final

from annotated_types import Ge, Le
from starlette.responses import Response, StreamingResponse

from fermd.control.moment import Moment
from fermd.control.wording import Unit
from fermd.service.snapshot import Snapshot
from fermd.web import answers, shapes
from fermd.web.doors import Right
from fermd.web.endpoint import Call, Endpoint, Whole
from fermd.web.house import House, InUnit
from fermd.web.live import Live
from fermd.web.refusals import RefusedError
from fermd.web.sessions import Sessions

MOST_EVENTS: Final = 1000

EVENT_STREAM: Final = "text/event-stream"

TAG: Final = "watch"


class EventsQuery(InUnit):
    """How much of what happened last is wanted."""

    limit: Annotated[Whole, Ge(1), Le(MOST_EVENTS)] = 50


class Watching:
    """The endpoints."""

    def __init__(self, house: House, sessions: Sessions | None) -> None:
        self._house = house
        self._sessions = sessions
        self.live = Live(house.site, self._status)

    def endpoints(self) -> list[Endpoint]:
        """Return them, in the order of the description."""
        return [
            Endpoint(
                "GET", "/api/status", self.status, Right.LOOK, TAG,
                "Everything at a glance, in numbers and words",
                shapes.Status, InUnit, refusals=(503,),
            ),
            Endpoint(
                "GET", "/api/live", self.events_as_they_come, Right.LOOK, TAG,
                "The same after every tick, as Server-Sent Events `status` and `beat`",
                EVENT_STREAM, InUnit, refusals=(503,),
            ),
            Endpoint(
                "GET", "/api/probes", self.probes, Right.LOOK, TAG,
                "Every probe with its health and counters",
                list[shapes.Probe], InUnit, refusals=(503,),
            ),
            Endpoint(
                "GET", "/api/events", self.events, Right.LOOK, TAG,
                "What happened last, newest first",
                list[shapes.Event], EventsQuery, refusals=(503,),
            ),
        ]  # fmt: skip

    async def status(self, call: Call) -> Mapping[str, Any]:
        """Answer with everything at a glance."""
        return self._status(self._house.snapshot(), self._house.site.now(), call.query.unit)

    async def probes(self, call: Call) -> Any:
        """Answer with every probe."""
        snapshot = self._house.snapshot()
        return answers.probes(snapshot, self._house.site.now(), call.query.unit)

    async def events(self, call: Call) -> Any:
        """Answer with what happened last."""
        wanted: EventsQuery = call.query
        found = await self._house.read(lambda: self._house.site.events(wanted.limit, wanted.unit))
        return list(found)

    async def events_as_they_come(self, call: Call) -> Response:
        """Answer with a stream that does not end by itself."""
        if self.live.is_full:
            raise RefusedError(
                503, "too many pages are open: close some", headers={"Retry-After": "10"}
            )
        caller, sessions = call.caller, self._sessions

        def allowed() -> bool:
            return not caller.session or (sessions is not None and sessions.holds(caller.session))

        # A proxy that collects what it passes on would make old numbers of new ones.
        headers = {"Cache-Control": "no-store", "X-Accel-Buffering": "no"}
        if call.request.method == "HEAD":
            return Response(media_type=EVENT_STREAM, headers=headers)
        stream = self.live.stream(call.query.unit, allowed)
        return StreamingResponse(stream, media_type=EVENT_STREAM, headers=headers)

    def _status(self, snapshot: Snapshot, now: Moment, unit: Unit) -> Mapping[str, Any]:
        file = self._house.site.site_file
        trial = None if file is None else file.simulated
        told = answers.status(snapshot, now, unit)
        return told | {
            "time_zone": self._house.time_zone,
            "sample_period_s": None if file is None else file.sample_period_s,
            "times_real_time": 1.0 if trial is None else trial.times_real_time,
        }
