"""The HTTP interface that the command line (and the page) use.

    GET  /api/status                      everything at a glance, numbers and words
    GET  /api/probes                      every probe with its health and counters
    GET  /api/events?limit=50             what happened last, newest first
    POST /api/chambers/{name}/commands    a command; answered once the loop has taken or refused it
    POST /api/site/commands               the same for the board (acknowledge an alarm)
    POST /api/chambers/{name}/notes       a note for the record

Answers come from the copy in memory; a command goes through the loop like any other, and
protection has the last word. A refusal is 409 with the reason, a chamber that there is not 404, a
request that cannot be understood 422 (too large: 413), and while the loop has not run yet, has
stopped or does not answer, 503.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Sequence
from typing import Any, Protocol

from anyio import to_thread
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from fermd.control.moment import Moment
from fermd.journal.reader import JournalUnreadable
from fermd.service.requests import Requests
from fermd.service.snapshot import Snapshot
from fermd.web import answers, orders
from fermd.web.callers import CallersMayGo

LONGEST_NOTE_CHARS = 4000
LARGEST_BODY_BYTES = 256 * 1024
MOST_EVENTS = 1000

_WHOLE_NUMBER = re.compile(r"[0-9]{1,9}")


class Site(Protocol):
    """What the interface needs of the daemon."""

    @property
    def requests(self) -> Requests:
        """Where commands are left for the loop."""
        ...

    def snapshot(self) -> Snapshot | None:
        """The newest copy in memory."""
        ...

    def now(self) -> Moment:
        """The present on both clocks."""
        ...

    def note(self, chamber: str, who: str, text: str) -> None:
        """Put a note by the brewer into the journal."""
        ...

    def events(self, limit: int) -> Sequence[dict[str, Any]]:
        """What happened last, newest first, worded; read from the journal."""
        ...


def application(site: Site, readers: orders.Readers, *, time_zone: str = "UTC") -> Starlette:
    """Build the interface for one site; `time_zone` is the IANA name of the one it lives by."""
    routes = _Routes(site, readers, time_zone)
    return Starlette(
        routes=[
            Route("/api/status", routes.status, methods=["GET"]),
            Route("/api/probes", routes.probes, methods=["GET"]),
            Route("/api/events", routes.events, methods=["GET"]),
            Route("/api/chambers/{chamber}/commands", routes.command, methods=["POST"]),
            Route("/api/site/commands", routes.command, methods=["POST"]),
            Route("/api/chambers/{chamber}/notes", routes.note, methods=["POST"]),
        ],
        middleware=[Middleware(CallersMayGo)],
    )


class _Routes:
    def __init__(self, site: Site, readers: orders.Readers, time_zone: str) -> None:
        self._site = site
        self._readers = readers
        self._time_zone = time_zone

    async def status(self, _request: Request) -> Response:
        return self._from_snapshot(
            lambda snapshot, now: answers.status(snapshot, now) | {"time_zone": self._time_zone}
        )

    async def probes(self, _request: Request) -> Response:
        return self._from_snapshot(answers.probes)

    async def events(self, request: Request) -> Response:
        limit = request.query_params.get("limit", "50")
        if not _WHOLE_NUMBER.fullmatch(limit) or not 1 <= int(limit) <= MOST_EVENTS:
            why = f"must be a whole number from 1 to {MOST_EVENTS}"
            return _refusal(422, f"limit = {orders.shown(limit)}: {why}")
        try:
            found = await to_thread.run_sync(self._site.events, int(limit))
        except JournalUnreadable as error:
            return _refusal(503, str(error))
        return JSONResponse(list(found))

    async def command(self, request: Request) -> Response:
        body = await _body(request)
        if isinstance(body, Response):
            return body
        try:
            command = orders.read(body, self._readers)
        except orders.OrderError as error:
            return _refusal(422, str(error))
        chamber = request.path_params.get("chamber", "")
        snapshot = self._site.snapshot()
        if chamber and snapshot is not None and chamber not in snapshot.chambers:
            return _no_chamber(chamber, snapshot)
        asked = self._site.requests.ask(chamber, command)
        answer = await to_thread.run_sync(asked.wait)
        if not answer.taken:
            return _refusal(409 if answer.from_loop else 503, answer.why)
        return JSONResponse({"taken": True})

    async def note(self, request: Request) -> Response:
        body = await _body(request)
        if isinstance(body, Response):
            return body
        unknown = set(body) - {"text", "who"}
        if unknown:
            named = orders.shown(sorted(unknown)[0])
            return _refusal(422, f"unknown field {named}: allowed are text and who")
        text, who = body.get("text"), body.get("who", "unknown")
        if not isinstance(text, str) or not 0 < len(text.strip()) <= LONGEST_NOTE_CHARS:
            return _refusal(422, f"text: must be 1 to {LONGEST_NOTE_CHARS} characters")
        if not isinstance(who, str) or len(who) > orders.LONGEST_TEXT_CHARS:
            most = orders.LONGEST_TEXT_CHARS
            return _refusal(422, f"who: must be a name of at most {most} characters")
        chamber = request.path_params["chamber"]
        snapshot = self._site.snapshot()
        if snapshot is None:
            return _not_run_yet()
        if chamber not in snapshot.chambers:
            return _no_chamber(chamber, snapshot)
        self._site.note(chamber, who, text.strip())
        return JSONResponse({"taken": True})

    def _from_snapshot(self, answer: Callable[[Snapshot, Moment], Any]) -> Response:
        snapshot = self._site.snapshot()
        if snapshot is None:
            return _not_run_yet()
        return JSONResponse(answer(snapshot, self._site.now()))


async def _body(request: Request) -> dict[str, Any] | Response:
    """Read a JSON object, no larger than anybody needs."""
    raw = bytearray()
    try:
        async for chunk in request.stream():
            raw += chunk
            if len(raw) > LARGEST_BODY_BYTES:
                return _refusal(413, f"the body is larger than {LARGEST_BODY_BYTES} bytes")
    except ClientDisconnect:
        return _refusal(400, "the body ended before it was whole")
    try:
        body = json.loads(raw.decode("utf-8"))
        # Half a character (\ud800) is JSON, but no text that could be stored or sent on.
        json.dumps(body, ensure_ascii=False).encode("utf-8")
    except (ValueError, RecursionError) as error:
        return _refusal(422, f"the body is not JSON: {error}")
    if not isinstance(body, dict):
        return _refusal(422, "the body must be a JSON object")
    return body


def _not_run_yet() -> Response:
    return _refusal(503, "the control loop has not completed a tick yet")


def _no_chamber(chamber: str, snapshot: Snapshot) -> Response:
    known = ", ".join(snapshot.chambers)
    return _refusal(404, f"no chamber {orders.shown(chamber)}; there are: {known}")


def _refusal(status: int, why: str) -> Response:
    return JSONResponse({"taken": False, "why": why}, status_code=status)
