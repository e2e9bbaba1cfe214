"""What every open page is sent as it happens: Server-Sent Events (HTML Living Standard, 9.2).

    event: status      the site after a tick, as GET /api/status has it; at most one a second
    event: beat        every few seconds, whatever the loop does: how old the newest tick is

A page that hears no beat has lost the daemon; one that hears beats with a growing age knows that
the loop stands still. One task looks at the copy in memory for everybody; the loop knows of no
page. A page that is slow gets the newest status and never a queue of old ones.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass, field
from typing import Any, Final, Protocol

from fermd.control.moment import Moment
from fermd.control.wording import Unit
from fermd.service.snapshot import Snapshot

MOST_PAGES: Final = 100
"""More streams than this are refused: a household has a dozen."""

LOOK_EVERY_S: Final = 0.25
"""How often the copy in memory is looked at, s ..."""
LEAST_APART_S: Final = 1.0
"""... and how far apart two statuses are at the least, s: a number is read no faster."""
BEAT_EVERY_S: Final = 4.0
"""How often a beat is sent, s; the page is promised one every 5 s."""

RETRY_MS: Final = 2000
"""How soon a page comes back that has lost its stream, ms."""


class Source(Protocol):
    """Where the news comes from."""

    def snapshot(self) -> Snapshot | None:
        """The newest copy in memory."""
        ...

    def now(self) -> Moment:
        """The present on both clocks."""
        ...


@dataclass(eq=False, slots=True)
class _Page:
    """One open stream: at most one status and one beat wait in it."""

    unit: Unit
    allowed: Callable[[], bool]
    news: asyncio.Event = field(default_factory=asyncio.Event)
    status: bytes | None = None
    beat: bytes | None = None
    over: bool = False

    def end(self) -> None:
        """Let the stream come to its end."""
        self.over = True
        self.news.set()


class Live:
    """All open streams. Belongs to the event loop that serves them."""

    def __init__(self, source: Source, status: Callable[[Snapshot, Moment, Unit], Any]) -> None:
        self._source = source
        self._status = status
        self._pages: set[_Page] = set()
        self._task: asyncio.Task[None] | None = None
        self._closed = False

    @property
    def pages(self) -> int:
        """How many streams are open."""
        return len(self._pages)

    @property
    def is_full(self) -> bool:
        """Whether no further stream is taken."""
        return self._closed or len(self._pages) >= MOST_PAGES

    def close(self) -> None:
        """End every stream, and take no more."""
        self._closed = True
        for page in self._pages:
            page.end()

    async def stream(self, unit: Unit, allowed: Callable[[], bool]) -> AsyncIterator[bytes]:
        """Yield one page's events until it goes, or until it is no longer `allowed` to look."""
        page = _Page(unit, allowed)
        self._pages.add(page)
        try:
            if self._task is None or self._task.done():
                self._task = asyncio.create_task(self._feed())
            snapshot = self._source.snapshot()
            yield f"retry: {RETRY_MS}\n\n".encode()
            if snapshot is not None:
                yield self._status_event(snapshot, unit)
            yield self._beat_event(snapshot)
            while not page.over:
                await page.news.wait()
                page.news.clear()
                status, beat = page.status, page.beat
                page.status = page.beat = None
                if status is not None:
                    yield status
                if beat is not None:
                    yield beat
        finally:
            self._pages.discard(page)

    async def _feed(self) -> None:
        """Look for news while anybody listens."""
        clock = asyncio.get_running_loop().time
        sent_tick, sent_s, beat_s = -1, 0.0, clock()
        while self._pages and not self._closed:
            await asyncio.sleep(LOOK_EVERY_S)
            now_s, snapshot = clock(), self._source.snapshot()
            if (
                snapshot is not None
                and snapshot.tick != sent_tick
                and (now_s - sent_s >= LEAST_APART_S)
            ):
                sent_tick, sent_s = snapshot.tick, now_s
                self._tell_status(snapshot)
            if now_s - beat_s >= BEAT_EVERY_S:
                beat_s = now_s
                self._tell_beat(snapshot)

    def _tell_status(self, snapshot: Snapshot) -> None:
        made: dict[Unit, bytes] = {}
        for page in self._pages:
            if page.unit not in made:
                made[page.unit] = self._status_event(snapshot, page.unit)
            page.status = made[page.unit]
            page.news.set()

    def _tell_beat(self, snapshot: Snapshot | None) -> None:
        beat = self._beat_event(snapshot)
        for page in self._pages:
            if not page.allowed():
                page.end()
                continue
            page.beat = beat
            page.news.set()

    def _status_event(self, snapshot: Snapshot, unit: Unit) -> bytes:
        told = self._status(snapshot, self._source.now(), unit)
        return _event("status", told, snapshot.tick)

    def _beat_event(self, snapshot: Snapshot | None) -> bytes:
        now = self._source.now()
        age_s = None if snapshot is None else round(now.mono_s - snapshot.moment.mono_s, 1)
        tick = 0 if snapshot is None else snapshot.tick
        return _event("beat", {"age_s": age_s, "tick": tick, "wall_utc_s": now.wall_utc_s})


def _event(name: str, told: Any, number: int | None = None) -> bytes:
    mark = "" if number is None else f"id: {number}\n"
    text = json.dumps(told, ensure_ascii=False, separators=(",", ":"))
    return f"event: {name}\n{mark}data: {text}\n\n".encode()
